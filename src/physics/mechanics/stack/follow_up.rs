//! A stack followed up from light load: at its place without loads first, then friction, what presses on tips,
//! and lengths.
//!
//! Without loads a stack has one state, whatever the start; a bundle in a wide vessel has many under its loads, and
//! rounds that begin somewhere among them end anywhere. So shapes are kept near the one without loads by
//! [`LoadSettings::proximal_n_per_mm`](super::load_settings::LoadSettings), which stands for what friction holds across
//! rods, and that centre stays: loads, lengths and shape then have one state in which they agree, and this is
//! sought to the last digits that are told. Where the search begins is of no account to what is told, only to how long
//! it takes: from the loads and shapes before, and where that is lost by shares of the loads, from none on.

use super::arrangement::{self, StackProblem};
use super::coupling::{Mover, Residual};
use super::moving::Moving;
use super::present::HubLoad;
use super::solver::{Kept, StackSolver};
use super::state::StackState;
use crate::mechanics::equilibrium::solution::{RodState, Solution};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::linear_algebra::norms::larger;

/// First share of the loads where these come up from none, and the least by which shares still grow: a bundle that snaps
/// on the way is not followed further.
const FIRST_SHARE: f64 = 1.0 / 3.0;
const LEAST_SHARE: f64 = 0.06;
/// How well loads, N, and lengths, mm, agree on the way, and at its end.
const ON_THE_WAY: (f64, f64) = (1e-2, 1e-1);
const AT_THE_END: (f64, f64) = (3e-6, 3e-5);
/// What a millimetre that a length misses by counts as, N.
const MILLIMETRE_N: f64 = 0.1;
/// Force out of balance without loads, N, where a search begins, and on its way as a share of what loads still miss,
/// between these.
const LIGHT_N: f64 = 1e-7;
const FIRST_N: f64 = 1e-4;
const ROUGHLY: f64 = 3e-3;
const ROUGH_N: (f64, f64) = (1e-8, 1e-4);
/// Most rounds of a share, and those without coming nearer.
const MOST_ROUNDS: usize = 30;
const PATIENCE: usize = 10;
/// Share of the nearest miss so far that counts as nearer.
const NEARER: f64 = 0.8;

/// Where rods are held, and what they carry. Lists run by rod.
#[derive(Clone)]
struct Carried {
    ends: Vec<f64>,
    hubs: Vec<HubLoad>,
    added_n: Vec<Vec<f64>>,
}

/// A state on the way up.
struct Step {
    share: f64,
    found: Solution,
    carried: Carried,
}

/// What every search of a solve shares.
struct Way<'a> {
    problem: &'a StackProblem<'a>,
    /// Lengths wished, and tips that surfaces at rest hold rods at, mm.
    wished_mm: Vec<Option<f64>>,
    held_at_mm: Vec<f64>,
    /// The rods without loads.
    light: Solution,
}

/// What the way has cost.
#[derive(Default)]
struct Cost {
    rounds: usize,
    newton_steps: usize,
}

fn misses_n(residual: &Residual) -> f64 {
    larger(residual.load_n, MILLIMETRE_N * residual.length_mm)
}

/// All of these shapes, as a solve takes them.
pub(super) fn shapes_of(rods: &[RodState]) -> Vec<Option<&RodState>> {
    rods.iter().map(Some).collect()
}

impl StackSolver {
    /// Follows a stack up; none where that way is lost.
    ///
    /// # Errors
    /// [`MechanicsError`] where the problem is refused.
    pub(super) fn follow_up(
        &mut self,
        problem: &StackProblem<'_>,
        from: Option<&StackState>,
    ) -> Result<Option<StackState>, MechanicsError> {
        arrangement::check(problem)?;
        let from = from.filter(|f| f.devices.len() == problem.devices.len());
        self.rods.pose(problem, from);
        if self.rods.device.is_empty() {
            return Ok(None);
        }
        let mut cost = Cost::default();
        let Some(found) = self.climb(problem, from, &mut cost) else {
            return Ok(None);
        };
        let mover = self.mover_of(problem);
        let state = self.report(problem, &found, (mover, None), from);
        Ok(Some(StackState {
            rounds: cost.rounds,
            newton_steps: cost.newton_steps,
            factorised_unknowns: self.settle.worked(),
            light: self.light.clone(),
            ..state
        }))
    }

    pub(super) fn mover_of(&self, problem: &StackProblem<'_>) -> Mover {
        (problem.moving).and_then(|m| Some((self.rods.rod_of(m.device)?, m)))
    }

    /// From light load to all of it.
    fn climb(
        &mut self,
        problem: &StackProblem<'_>,
        from: Option<&StackState>,
        cost: &mut Cost,
    ) -> Option<Solution> {
        let wished_mm = self.rods.target_mm.clone();
        let held_at_mm = self.rods.ends.clone();
        let before = self.carried();
        let light = self.without_loads(problem, from, cost)?;
        self.light = Some(light.rods.clone().into());
        let way = Way {
            problem,
            wished_mm,
            held_at_mm,
            light,
        };
        let unloaded = self.carried();
        if let Some(from) = from
            && let Some(found) = self.come_from_before(&way, from, before, cost)
        {
            return Some(found);
        }
        self.carry(unloaded);
        self.come_up_by_shares(&way, cost)
    }

    fn carried(&self) -> Carried {
        Carried {
            ends: self.rods.ends.clone(),
            hubs: self.rods.hubs.clone(),
            added_n: self.rods.added_n.clone(),
        }
    }

    fn carry(&mut self, carried: Carried) {
        self.rods.ends = carried.ends;
        self.rods.hubs = carried.hubs;
        self.rods.added_n = carried.added_n;
    }

    /// All tips at their places, nothing pushed or pulled: the same state whatever was before. That of the state
    /// before is a start.
    fn without_loads(
        &mut self,
        problem: &StackProblem<'_>,
        from: Option<&StackState>,
        cost: &mut Cost,
    ) -> Option<Solution> {
        for hub in &mut self.rods.hubs {
            *hub = HubLoad::default();
        }
        for load_n in self.rods.added_n.iter_mut().flatten() {
            *load_n = 0.0;
        }
        self.settle.ask_for(LIGHT_N);
        let before = from.and_then(|f| Some((f, f.light.as_deref()?)));
        let rod_before = |device: &usize| {
            let (from, rods) = before?;
            rods.get(from.devices[*device].rod?)
        };
        let shapes: Vec<_> = self.rods.device.iter().map(rod_before).collect();
        let light = self.settle_rods(problem.tube, &shapes, Kept::Free).ok()?;
        cost.newton_steps += light.steps;
        for (hub, rod) in self.rods.hubs.iter_mut().zip(&light.rods) {
            *hub = HubLoad {
                load_n: 0.0,
                inserted_mm: rod.path_length_mm,
                known: true,
            };
        }
        self.rods.update_ports(&light);
        Some(light)
    }

    /// All of the loads at once, from those and the shapes of the state before.
    fn come_from_before(
        &mut self,
        way: &Way<'_>,
        from: &StackState,
        mut before: Carried,
        cost: &mut Cost,
    ) -> Option<Solution> {
        let devices = way.problem.devices.len();
        let mut shapes = self.rods.shapes(devices, None, Some(from));
        if shapes.iter().all(Option::is_none) {
            return None;
        }
        let new = shapes.iter_mut().zip(&way.light.rods);
        for (shape, light) in new.filter(|(shape, _)| shape.is_none()) {
            *shape = Some(light);
        }
        for (hub, light) in before.hubs.iter_mut().zip(&self.rods.hubs) {
            if !hub.known {
                *hub = *light;
            }
        }
        self.carry(before);
        self.coupling.restart();
        self.coupling.come_up(1.0, &way.held_at_mm);
        self.settle.ask_for(FIRST_N);
        let near = shapes_of(&way.light.rods);
        let first = self
            .settle_rods(way.problem.tube, &shapes, Kept::Near(&near))
            .ok()?;
        cost.newton_steps += first.steps;
        self.come_to_share(way, first, 1.0, cost)
    }

    /// A share of the loads after the other, each from the state before.
    fn come_up_by_shares(&mut self, way: &Way<'_>, cost: &mut Cost) -> Option<Solution> {
        let mut at = Step {
            share: 0.0,
            found: way.light.clone(),
            carried: self.carried(),
        };
        let mut more = FIRST_SHARE;
        while at.share < 1.0 {
            // thirds do not add up to one
            let left = 1.0 - at.share;
            let share = if more > 0.99 * left {
                1.0
            } else {
                at.share + more
            };
            let lengths_mm = way.wished_mm.iter().zip(&way.light.rods);
            self.rods.target_mm.clear();
            (self.rods.target_mm).extend(lengths_mm.map(|(wished, rod)| {
                let light_mm = rod.path_length_mm;
                wished.map(|wished_mm| light_mm + share * (wished_mm - light_mm))
            }));
            self.coupling.restart();
            self.coupling.come_up(share, &way.held_at_mm);
            match self.come_to_share(way, at.found.clone(), share, cost) {
                Some(found) => {
                    at = Step {
                        share,
                        found,
                        carried: self.carried(),
                    };
                    more *= 2.0;
                }
                None => {
                    self.carry(at.carried.clone());
                    more *= 0.5;
                    if more < LEAST_SHARE {
                        return None;
                    }
                }
            }
        }
        Some(at.found)
    }

    /// A share of the loads, from a shape.
    fn come_to_share(
        &mut self,
        way: &Way<'_>,
        mut at: Solution,
        share: f64,
        cost: &mut Cost,
    ) -> Option<Solution> {
        let problem = way.problem;
        let friction = |k: usize, other: Option<usize>| share * (problem.friction)(k, other);
        let part = StackProblem {
            friction: &friction,
            moving: problem.moving.map(|m| Moving {
                tip_resistance_n: share * m.tip_resistance_n,
                ..m
            }),
            resistance: problem.resistance.times(share),
            ..*problem
        };
        let enough = if share < 1.0 { ON_THE_WAY } else { AT_THE_END };
        let mover = self.mover_of(&part);
        let spring_n_per_mm = self.load_settings.hub_spring_n_per_mm;
        let mut residual = (self.coupling).compare(&mut self.rods, &part, mover, &at);
        let (mut best_n, mut waiting) = (f64::INFINITY, 0);
        for _ in 0..MOST_ROUNDS {
            let rough_n = ROUGHLY * misses_n(&residual);
            self.settle.ask_for(rough_n.clamp(ROUGH_N.0, ROUGH_N.1));
            (self.coupling)
                .advance_together(&mut self.rods, part.tube, spring_n_per_mm, &at)
                .ok()?;
            let near = shapes_of(&way.light.rods);
            at = self
                .settle_rods(part.tube, &shapes_of(&at.rods), Kept::Near(&near))
                .ok()?;
            cost.rounds += 1;
            cost.newton_steps += at.steps;
            residual = (self.coupling).compare(&mut self.rods, &part, mover, &at);
            if residual.load_n < enough.0 && residual.length_mm < enough.1 {
                return Some(at);
            }
            let hubs = at.rods.iter().map(|rod| rod.load_n[0].abs());
            let hub_n = hubs.fold(misses_n(&residual), larger);
            if hub_n.is_nan() || hub_n > self.load_settings.lock_up_n {
                return None;
            }
            waiting = if misses_n(&residual) < NEARER * best_n {
                0
            } else {
                waiting + 1
            };
            best_n = best_n.min(misses_n(&residual));
            if waiting > PATIENCE {
                return None;
            }
        }
        None
    }
}
