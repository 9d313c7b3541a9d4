//! Equilibrium of a scene, by one way after the other.

use super::continuation::{bends_up, settle_bending};
use super::direction::InnerStrategy;
use super::passes::Passes;
use super::solution::{RodState, Solution, Status};
use super::work::Work;
use super::workspace::Workspace;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::scene::Scene;
use crate::mechanics::rod::settings::Settings;

/// Finds equilibria; keeps its memory from one solve to the next.
///
/// ```
/// use nestline::geometry::{Frame, Point, Vector};
/// use nestline::mechanics::{Rod, Scene, Settings, Settle, TubeStation};
/// let start = Frame::new(Point::origin(), Vector::x(), Vector::y());
/// let tube: Vec<TubeStation> = (0..=60)
///     .map(|i| TubeStation {
///         s_mm: f64::from(i),
///         frame: start.along_arc(f64::from(i), f64::from(i) / 40.0, 0.0),
///         radius_mm: 2.0,
///         wall_stiffness_n_per_mm2: 10.0,
///     })
///     .collect();
/// let rods = [Rod::uniform(20.0, 1.0)];
/// let scene = Scene { tube: &tube, rods: &rods, beside: &[] };
/// let found = Settle::new(Settings::default()).settle(&scene)?;
/// // a straight rod cuts the bend short
/// assert!(found.rods[0].path_length_mm < 60.0);
/// # Ok::<(), nestline::mechanics::MechanicsError>(())
/// ```
#[derive(Debug, Clone, Default)]
pub struct Settle {
    passes: Passes,
    /// Whether several solves share what work they may take.
    shares_work: bool,
}

impl Settle {
    /// With these settings.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        Self {
            passes: Passes {
                ws: Workspace {
                    settings,
                    ..Workspace::default()
                },
                ..Passes::default()
            },
            ..Self::default()
        }
    }

    /// The settings.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.passes.ws.settings
    }

    /// Changes the largest force out of balance, N: rough on the way, sharp at the end.
    pub(crate) fn ask_for(&mut self, gradient_tolerance_n: f64) {
        self.passes.ws.settings.gradient_tolerance_n = gradient_tolerance_n;
    }

    /// Equilibrium from scratch: all devices on one axis first, starting on the centre line, then
    /// each on its own, then with walls stiffened step by step where they are stiffer than
    /// [`Settings::first_stiffness_n_per_mm2`].
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`], [`MechanicsError::LengthMismatch`],
    /// [`MechanicsError::BadContainer`] and [`MechanicsError::DoesNotFit`] for scenes that cannot
    /// be posed, [`MechanicsError::Prolapsed`] where a rod runs away from the route,
    /// [`MechanicsError::NotConverged`] where no equilibrium was found.
    pub fn settle(&mut self, scene: &Scene<'_>) -> Result<Solution, MechanicsError> {
        self.restart_work();
        self.settle_in_all_ways(scene)
    }

    /// By long steps, else with natural bends that come up in parts, else by short steps.
    fn settle_in_all_ways(&mut self, scene: &Scene<'_>) -> Result<Solution, MechanicsError> {
        let passes = &mut self.passes;
        let bends = bends_up(scene);
        passes.ws.gives_up = bends;
        let found = match passes.start_from_scratch(scene) {
            Err(lost) if bends && lost.is_lost() => settle_bending(passes, scene),
            found => found,
        };
        passes.ws.gives_up = false;
        match found {
            // between two shapes rounds that do not give up may find the one in agreement
            Ok(off) if bends && matches!(off.status, Status::Unsettled { .. }) => {
                match passes.start_from_scratch(scene) {
                    Ok(found) if found.status == Status::Converged => Ok(found),
                    _ => Ok(off),
                }
            }
            // long steps may lose a rod that short ones keep; one that bends up and runs away stays lost
            Err(lost) if lost.is_lost() && !(bends && lost.has_left()) => {
                passes.ws.newton.direction.strategy = InnerStrategy::SHORT;
                let found = passes.start_from_scratch(scene);
                passes.ws.newton.direction.strategy = InnerStrategy::LONG;
                found
            }
            found => found,
        }
    }

    /// From scratch by long steps alone: on the way between states a second try costs more than it finds.
    ///
    /// # Errors
    /// As [`Self::settle`].
    pub(crate) fn settle_from_scratch(
        &mut self,
        scene: &Scene<'_>,
    ) -> Result<Solution, MechanicsError> {
        self.passes.start_from_scratch(scene)
    }

    /// Equilibrium from a neighbouring one, such as before a device moved by a millimetre; from
    /// scratch where the way from there is lost.
    ///
    /// # Errors
    /// As [`Self::settle`].
    pub fn settle_from(
        &mut self,
        scene: &Scene<'_>,
        before: &Solution,
    ) -> Result<Solution, MechanicsError> {
        if before.rods.len() != scene.rods.len() {
            return self.settle(scene);
        }
        self.restart_work();
        match self.passes.follow_from(scene, before) {
            Err(lost) if lost.is_lost() => self.settle_in_all_ways(scene),
            found => found,
        }
    }

    /// From here on all solves together may take so many factorised unknowns.
    pub(crate) fn allow(&mut self, most: u64) {
        self.passes.ws.newton.effort.work = Work { done: 0, most };
        self.shares_work = true;
    }

    /// Factorised unknowns since the work was counted anew.
    pub(crate) fn worked(&self) -> u64 {
        self.passes.ws.newton.effort.work.done
    }

    fn restart_work(&mut self) {
        if !self.shares_work {
            self.passes.ws.newton.effort.work = Work {
                done: 0,
                most: self.passes.ws.settings.most_factorised_unknowns,
            };
        }
    }

    /// Equilibrium from shapes near it, kept near these by a proximal term of this weight; a rod without one
    /// starts along what it lies in.
    ///
    /// # Errors
    /// As [`Self::settle`].
    pub(crate) fn settle_near(
        &mut self,
        scene: &Scene<'_>,
        shapes: &[Option<&RodState>],
        proximal_n_per_mm: f64,
    ) -> Result<Solution, MechanicsError> {
        self.restart_work();
        if shapes.len() != scene.rods.len() || shapes.iter().all(Option::is_none) {
            return self.settle(scene);
        }
        self.passes.near(scene, shapes, proximal_n_per_mm)
    }

    /// Assembles and factorises the matrix of the last solve once more, for measurements; tells
    /// whether it is positive definite. Its cost in multiplications and additions is
    /// [`Solution::factorisation_flops`].
    pub fn factorise_again(&mut self) -> bool {
        self.passes.ws.model.factorise(0.0)
    }
}
