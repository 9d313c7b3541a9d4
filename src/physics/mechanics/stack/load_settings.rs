//! How exactly loads, lengths and shape must agree.

use crate::mechanics::error::MechanicsError;
use crate::units::Allowed;
use serde::{Deserialize, Serialize};

/// Settings of [`super::solver::StackSolver`], each with its default and its trade-off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[non_exhaustive]
pub struct LoadSettings {
    /// Largest change of any load from one round to the next, N. Default 1e-6.
    pub force_tolerance_n: f64,
    /// Largest difference between a length fed and the length found, mm. Default 1e-7: a tenth of
    /// what a round trip from length to tip and back may lose.
    pub length_tolerance_mm: f64,
    /// Force out of balance of the last round, N. Default 1e-7: paths of soft rods move by
    /// 1e-6 mm for it.
    pub gradient_tolerance_n: f64,
    /// Most force out of balance of the rounds before, N. Default 5e-6: the soft modes of a bundle answer a
    /// rough balance with tenths of a millimetre, which look like loads that do not settle; a sharp one
    /// costs Newton steps.
    pub roughest_n: f64,
    /// Most rounds between loads and shape. Default 60: a usual move takes 5 to 20, a bundle that
    /// gives way in a wide vessel all of them.
    pub most_rounds: usize,
    /// Rounds without getting nearer by a fifth after which the nearest state is taken, if it is within
    /// `most_unsettled_n`. Default 10.
    pub patience: usize,
    /// Force at the hub at which a solve is given up as lock-up, N. Default 100; a rehearsal takes ten
    /// times the hub force that its scene allows (10 N unless it says otherwise), so that a move fails by
    /// the scene's own limit long before: this one only ends loads that grow without end.
    pub lock_up_n: f64,
    /// Stiffness of the springs that hold the devices at their hubs while loads and shape are sought,
    /// N/mm. Default 0.1: stiff against the thousandths of a newton a millimetre by which bundles in wide
    /// vessels give, soft against taut devices. At the end lengths are met, so that nothing depends
    /// on it but the way there.
    pub hub_spring_n_per_mm: f64,
    /// Largest mismatch between the loads and those that the shape calls for with which a state is
    /// reported, N, where several equilibria leave none in which both agree. Default 0.05: a tenth of
    /// the least forces that are judged; such a state carries a flag.
    pub most_unsettled_n: f64,
    /// Weight of the proximal term: force with which each station's axis is kept near where it was a round before, N/mm: a bundle in
    /// a wide vessel has shapes without end within thousandths of a newton, and creeps among them.
    /// Default 1e-3; as shapes come to rest from round to round, nothing of it is left.
    pub proximal_n_per_mm: f64,
    /// Mismatch at which no more rounds are spent where they bring loads and shape together only slowly, N.
    /// Default 1e-3: a bundle in a wide vessel gives by centimetres for a thousandth of a newton, far less than
    /// friction leaves open. Such a state carries a flag as well.
    pub enough_n: f64,
    /// The same as a share of the moving device's hub force. Default 0.
    pub enough_share: f64,
    /// What a millimetre that a length misses by counts as, N. Default 0.1: taut devices answer a tenth of a
    /// newton by about that.
    pub millimetre_n: f64,
    /// Most work of one solve, all rounds and all ways that were lost included, as in
    /// [`Settings::most_factorised_unknowns`](crate::mechanics::rod::settings::Settings::most_factorised_unknowns). Default 300
    /// million, ten times as much: 20 to 90 s of one core. A rehearsal allows each of its moves 20 million,
    /// 2.6 s at the 7.7 million a second measured over whole scripts, where all moves of a usual one together
    /// take 9 million.
    pub most_factorised_unknowns: u64,
    /// Whether a solve begins with the stack at its place without loads, and seeks the one state near it in which loads,
    /// lengths and shape agree to 3e-6 N and 3e-5 mm, axes being held near that place by
    /// [`Self::proximal_n_per_mm`]; where that is lost it goes on from the state before. Default false: from the
    /// state before, where nothing holds axes in the end. Followed up, what is told depends on the inputs and not on the way there, and
    /// rounding does not move it, unless a rod snaps; axes give 5 mN a millimetre less than they would without friction across
    /// them. A rehearsal follows up; it takes one and a half to twice as much work (whole scripts).
    pub follows_up: bool,
}

impl Default for LoadSettings {
    fn default() -> Self {
        Self {
            force_tolerance_n: 1e-6,
            length_tolerance_mm: 1e-7,
            gradient_tolerance_n: 1e-7,
            roughest_n: 5e-6,
            hub_spring_n_per_mm: 0.1,
            most_unsettled_n: 0.05,
            enough_n: 1e-3,
            enough_share: 0.0,
            proximal_n_per_mm: 1e-3,
            millimetre_n: 0.1,
            most_rounds: 60,
            patience: 10,
            lock_up_n: 100.0,
            most_factorised_unknowns: 300_000_000,
            follows_up: false,
        }
    }
}

impl LoadSettings {
    /// The default with some values changed, checked as a whole.
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] with the field, what was found and its range: tolerances and limits are finite
    /// and above 0, weights and shares finite and not below 0.
    pub fn with(change: impl FnOnce(&mut Self)) -> Result<Self, MechanicsError> {
        let mut settings = Self::default();
        change(&mut settings);
        settings.check()?;
        Ok(settings)
    }

    fn check(&self) -> Result<(), MechanicsError> {
        let above = [
            ("force_tolerance_n", self.force_tolerance_n),
            ("length_tolerance_mm", self.length_tolerance_mm),
            ("gradient_tolerance_n", self.gradient_tolerance_n),
            ("roughest_n", self.roughest_n),
            ("lock_up_n", self.lock_up_n),
            ("hub_spring_n_per_mm", self.hub_spring_n_per_mm),
            ("millimetre_n", self.millimetre_n),
        ];
        let not_below = [
            ("most_unsettled_n", self.most_unsettled_n),
            ("proximal_n_per_mm", self.proximal_n_per_mm),
            ("enough_n", self.enough_n),
            ("enough_share", self.enough_share),
        ];
        let above = above.map(|(what, found)| (what, found, Allowed::POSITIVE));
        let not_below = not_below.map(|(what, found)| (what, found, Allowed::NOT_NEGATIVE));
        for (what, found, needed) in above.into_iter().chain(not_below) {
            if !needed.allows(found) {
                return Err(MechanicsError::OutOfRange {
                    what: format!("load_settings.{what}"),
                    found,
                    needed,
                });
            }
        }
        Ok(())
    }

    /// For rehearsals: followed up, to the last digits that are told. Axes are kept near their place without loads by what
    /// friction across a bundle on the wall is of the size of, which the model leaves out: 5 mN a millimetre and cell,
    /// while a wall force of 0.01 N/mm times 0.1 holds 4 mN a cell; most axes are moved by less than a millimetre,
    /// and holding them with 5 mN at most changes lengths of the default script by 0.6 mm at most. With 2 instead of 5 mN/mm
    /// a default script takes a third more work and its wire is fed 1.4 mm further, of 953.
    ///
    /// Where following up is lost: forces to 5 mN or 5 % of the hub force, lengths to two tenths of a millimetre, from
    /// the state before.
    #[must_use]
    pub fn rehearsal() -> Self {
        Self {
            force_tolerance_n: 5e-4,
            length_tolerance_mm: 1e-2,
            gradient_tolerance_n: 1e-6,
            roughest_n: 1e-3,
            enough_n: 5e-3,
            enough_share: 0.05,
            proximal_n_per_mm: 5e-3,
            millimetre_n: 0.03,
            most_unsettled_n: 0.1,
            patience: 3,
            most_factorised_unknowns: 20_000_000,
            follows_up: true,
            ..Self::default()
        }
    }
}
