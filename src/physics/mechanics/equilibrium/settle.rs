//! Equilibrium of a scene, by one way after the other.

use super::continuation::{bends_up, settle_bending};
use super::direction::InnerStrategy;
use super::passes::{Nearness, Passes};
use super::solution::{RodState, Solution};
use super::start_shapes::StartShapes;
use super::work::Work;
use super::workspace::Workspace;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::scene::Scene;
use crate::mechanics::rod::settings::Settings;

/// A way to an equilibrium where rounds by long steps lead to none.
#[derive(Debug, Clone, Copy)]
enum Way {
    /// Rounds between shape and loads, from scratch.
    Rounds(InnerStrategy),
    /// Natural bends that come up in shares, the first of this size.
    BendingUp(f64),
}

impl Way {
    const OTHERS: [Self; 1] = [Self::Rounds(InnerStrategy::SHORT)];
    /// For rods that [`bends_up`]: between two shapes it depends on the way which one is found, and whether
    /// loads agree there; what is dearest comes last.
    const BENT: [Self; 4] = [
        Self::BendingUp(0.5),
        Self::Rounds(InnerStrategy::LONG),
        Self::Rounds(InnerStrategy::SHORT),
        Self::BendingUp(0.25),
    ];

    fn take(self, passes: &mut Passes, scene: &Scene<'_>) -> Result<Solution, MechanicsError> {
        match self {
            Self::Rounds(strategy) => {
                passes.ws.newton.direction.strategy = strategy;
                let found = passes.start_from_scratch(scene);
                passes.ws.newton.direction.strategy = InnerStrategy::LONG;
                found
            }
            Self::BendingUp(first_step) => settle_bending(passes, scene, first_step),
        }
    }
}

/// Finds equilibria; keeps its memory from one solve to the next.
///
/// ```
/// use nestline_physics::geometry::{Frame, Point, Vector};
/// use nestline_physics::mechanics::{Rod, Scene, Settings, Settle, TubeStation};
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
/// let scene = Scene::new(&tube, &rods);
/// let found = Settle::new(Settings::default()).settle(&scene)?;
/// // a straight rod cuts the bend short
/// assert!(found.rods[0].path_length_mm < 60.0);
/// # Ok::<(), nestline_physics::mechanics::MechanicsError>(())
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

    /// By long steps, else in other ways until one comes to agree.
    fn settle_in_all_ways(&mut self, scene: &Scene<'_>) -> Result<Solution, MechanicsError> {
        let bends = bends_up(scene);
        self.passes.ws.gives_up = bends;
        let mut found = self.passes.start_from_scratch(scene);
        self.passes.ws.gives_up = false;
        let ways = if bends { &Way::BENT[..] } else { &Way::OTHERS };
        for (tried, way) in ways.iter().enumerate() {
            let goes_on = match &found {
                Ok(found) => bends && found.is_unsettled(),
                // short steps may keep a rod that long ones lose; one that bends up and runs away stays lost
                Err(lost) => lost.is_lost() && (tried == 0 || !lost.has_left()),
            };
            if !goes_on {
                break;
            }
            found = match (found, way.take(&mut self.passes, scene)) {
                (Ok(off), Ok(next)) if next.is_unsettled() && off.load_off_n < next.load_off_n => {
                    Ok(off)
                }
                (Ok(off), Err(_)) => Ok(off),
                (_, next) => next,
            };
        }
        found
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
        before: impl Into<StartShapes>,
    ) -> Result<Solution, MechanicsError> {
        let before = before.into();
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

    /// Equilibrium from shapes near it, kept near these or others; a rod without one starts along what it lies in.
    ///
    /// # Errors
    /// As [`Self::settle`].
    pub(crate) fn settle_near(
        &mut self,
        scene: &Scene<'_>,
        shapes: &[Option<&RodState>],
        kept: Nearness<'_>,
    ) -> Result<Solution, MechanicsError> {
        self.restart_work();
        if shapes.len() != scene.rods.len() || shapes.iter().all(Option::is_none) {
            return self.settle(scene);
        }
        self.passes.near(scene, shapes, kept)
    }

    /// Assembles and factorises the matrix of the last solve once more, for measurements; tells
    /// whether it is positive definite. Its cost in multiplications and additions is
    /// [`Solution::factorisation_flops`].
    pub fn factorise_again(&mut self) -> bool {
        self.passes.ws.model.factorise(0.0)
    }
}
