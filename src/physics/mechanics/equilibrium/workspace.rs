//! What a solve works with, kept from one to the next.

use super::newton::Newton;
use crate::mechanics::rod::model::Model;
use crate::mechanics::rod::numbering::Sharing;
use crate::mechanics::rod::scene::{End, Rod, Roll, Scene};
use crate::mechanics::rod::settings::Settings;

/// How well loads and shape of the state found agree.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Agreement {
    /// Mismatch of the loads used and those of the shape, N, where rounds ran out.
    pub(crate) unsettled_n: f64,
    /// The same, whatever ended the rounds.
    pub(crate) off_n: f64,
    /// Whether the state found would leave for another if nobody held the hubs.
    pub(crate) between: bool,
}

/// Settings and memory.
#[derive(Debug, Clone, Default)]
pub(crate) struct Workspace {
    pub(crate) settings: Settings,
    pub(crate) model: Model,
    pub(crate) newton: Newton,
    /// Whether some rod's load follows its shape.
    pub(crate) follows: bool,
    pub(crate) agreement: Agreement,
    /// Whether rounds that stall are given up at once, because there is a better way.
    pub(crate) gives_up: bool,
}

impl Workspace {
    /// Begins with a scene that was checked.
    pub(crate) fn begin(&mut self, scene: &Scene<'_>) {
        self.newton.effort.history = Default::default();
        self.model.coefficients.proximal.centre.clear();
        self.model.coefficients.drags.clear();
        self.agreement = Agreement::default();
        self.follows = scene.rods.iter().any(Rod::goes_by_rounds);
        self.newton.direction.restart();
        self.newton.at.rolls = Model::first_rolls(scene);
        self.newton.at.free_rolls = scene
            .rods
            .iter()
            .enumerate()
            .filter(|(_, r)| matches!(r.natural.map(|n| n.roll), Some(Roll::Free(_))))
            .map(|(k, _)| k)
            .collect();
    }

    /// Lays the terms out at the stored offsets and makes these the unknowns.
    pub(crate) fn lay_out_terms(&mut self, scene: &Scene<'_>, sharing: Sharing) {
        self.model.lay_out_terms(scene, &self.settings, sharing);
        self.model.gather(&mut self.newton.at.x);
    }

    /// Rods share an axis where they fit so tightly.
    pub(crate) fn tight_fits(&self) -> Sharing {
        Sharing::TightFits(self.settings.shared_axis_gap_mm)
    }

    /// Stores the unknowns and brings all coefficients up to date with them.
    pub(crate) fn update(&mut self, scene: &Scene<'_>, stiffest: f64) {
        self.model.store(&self.newton.at.x);
        self.model
            .update(scene, &self.settings, &self.newton.at.rolls, stiffest);
    }

    /// The stiffest contact of a scene, N/mm2.
    pub(crate) fn stiffest(&self, scene: &Scene<'_>) -> f64 {
        let walls = scene.tube.iter().map(|t| t.wall_stiffness_n_per_mm2);
        let tips = scene.rods.iter().filter_map(|r| match &r.end {
            End::Tip(tip) => Some(tip.wall_stiffness_n_per_mm2),
            End::ExitPlane => None,
        });
        let devices = (scene.rods.len() > 1).then_some(self.settings.device_stiffness_n_per_mm2);
        walls.chain(tips).chain(devices).fold(0.0, f64::max)
    }
}

/// One stage of a solve.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stage<'a> {
    pub(crate) scene: &'a Scene<'a>,
    /// Cap on the stiffness of contacts, N/mm2.
    pub(crate) stiffest: f64,
    /// Largest force that may be out of balance, N.
    pub(crate) tolerance_n: f64,
    /// Whether its outcome only prepares the next one: a few rounds do, and a shape near balance is as good.
    pub(crate) prepares: bool,
}

/// Loads need agree less closely than forces balance: they act through curvature times spacing.
pub(crate) const LOADS_TO_FORCES: f64 = 10.0;

impl Stage<'_> {
    /// How closely loads and shape must agree, N.
    pub(crate) fn loads_n(&self) -> f64 {
        LOADS_TO_FORCES * self.tolerance_n
    }
}
