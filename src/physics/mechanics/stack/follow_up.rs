//! A stack followed up from light load: at its place without loads first, then friction, what presses on tips,
//! and lengths come up by shares, each state from the one before.
//!
//! Without loads a stack has one state, whatever the start; a bundle in a wide vessel has many under its loads, and
//! rounds that begin somewhere among them end anywhere. On the way up shapes are kept near the share before by
//! [`LoadSettings::proximal_n_per_mm`](super::load_settings::LoadSettings), which stands for what friction holds
//! across rods; that centre stays while a share is sought, so that loads, lengths and shape have one state in which
//! they agree, and the last one is told.

use super::arrangement::{self, StackProblem};
use super::coupling::{Mover, Residual};
use super::moving::Moving;
use super::present::HubLoad;
use super::solver::StackSolver;
use super::state::StackState;
use crate::mechanics::equilibrium::solution::{RodState, Solution};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::linear_algebra::norms::larger;

/// First share, and the least by which shares still grow: a bundle that snaps on the way is not followed further.
const FIRST_SHARE: f64 = 1.0 / 3.0;
const LEAST_SHARE: f64 = 0.06;
/// How well loads, N, and lengths, mm, agree on the way, and at its end.
const ON_THE_WAY: (f64, f64) = (1e-2, 1e-1);
const AT_THE_END: (f64, f64) = (3e-6, 3e-5);
/// What a millimetre that a length misses by counts as, N.
const MILLIMETRE_N: f64 = 0.1;
/// Force out of balance without loads, N, and later as a share of what loads still miss, between these.
const LIGHT_N: f64 = 1e-7;
const ROUGHLY: f64 = 3e-3;
const ROUGH_N: (f64, f64) = (1e-8, 1e-4);
/// Most rounds of a share, and those without coming nearer.
const MOST_ROUNDS: usize = 30;
const PATIENCE: usize = 10;
/// Share of the nearest miss so far that counts as nearer.
const NEARER: f64 = 0.8;

/// A state on the way up.
struct Step {
    share: f64,
    found: Solution,
    ends: Vec<f64>,
    hubs: Vec<HubLoad>,
    added_n: Vec<Vec<f64>>,
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

fn shapes(found: &Solution) -> Vec<Option<&RodState>> {
    found.rods.iter().map(Some).collect()
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
        let Some(found) = self.climb(problem, &mut cost) else {
            return Ok(None);
        };
        let mover = self.mover_of(problem);
        let state = self.report(problem, &found, (mover, None), from);
        Ok(Some(StackState {
            rounds: cost.rounds,
            newton_steps: cost.newton_steps,
            factorised_unknowns: self.settle.worked(),
            ..state
        }))
    }

    fn mover_of(&self, problem: &StackProblem<'_>) -> Mover {
        (problem.moving).and_then(|m| Some((self.rods.rod_of(m.device)?, m)))
    }

    /// From light load to all of it.
    fn climb(&mut self, problem: &StackProblem<'_>, cost: &mut Cost) -> Option<Solution> {
        let wished_mm = self.rods.target_mm.clone();
        let held_at_mm = self.rods.ends.clone();
        let mut at = self.without_loads(problem, cost)?;
        let light_mm: Vec<f64> = at.found.rods.iter().map(|r| r.path_length_mm).collect();
        let mut more = FIRST_SHARE;
        while at.share < 1.0 {
            // thirds do not add up to one
            let left = 1.0 - at.share;
            let share = if more > 0.99 * left {
                1.0
            } else {
                at.share + more
            };
            let lengths_mm = wished_mm.iter().zip(&light_mm);
            self.rods.target_mm.clear();
            (self.rods.target_mm).extend(
                lengths_mm.map(|(wished, light)| wished.map(|w| light + share * (w - light))),
            );
            self.coupling.restart();
            self.coupling.come_up(share, &held_at_mm);
            match self.come_to_share(problem, &at.found, share, cost) {
                Some(found) => {
                    at = self.step_at(share, found);
                    more *= 2.0;
                }
                None => {
                    self.rods.ends.clone_from(&at.ends);
                    self.rods.hubs.clone_from(&at.hubs);
                    self.rods.added_n.clone_from(&at.added_n);
                    more *= 0.5;
                    if more < LEAST_SHARE {
                        return None;
                    }
                }
            }
        }
        Some(at.found)
    }

    fn step_at(&self, share: f64, found: Solution) -> Step {
        Step {
            share,
            found,
            ends: self.rods.ends.clone(),
            hubs: self.rods.hubs.clone(),
            added_n: self.rods.added_n.clone(),
        }
    }

    /// All tips at their places, nothing pushed or pulled: the same state whatever was before.
    fn without_loads(&mut self, problem: &StackProblem<'_>, cost: &mut Cost) -> Option<Step> {
        for hub in &mut self.rods.hubs {
            *hub = HubLoad::default();
        }
        for load_n in self.rods.added_n.iter_mut().flatten() {
            *load_n = 0.0;
        }
        self.settle.ask_for(LIGHT_N);
        let none = vec![None; self.rods.rods.len()];
        let light = self.settle_rods(problem.tube, &none, None).ok()?;
        cost.newton_steps += light.steps;
        for (hub, rod) in self.rods.hubs.iter_mut().zip(&light.rods) {
            *hub = HubLoad {
                load_n: 0.0,
                inserted_mm: rod.path_length_mm,
                known: true,
            };
        }
        self.rods.update_ports(&light);
        Some(self.step_at(0.0, light))
    }

    /// A share of the loads, from the state before.
    fn come_to_share(
        &mut self,
        problem: &StackProblem<'_>,
        before: &Solution,
        share: f64,
        cost: &mut Cost,
    ) -> Option<Solution> {
        let friction = |k: usize, other: Option<usize>| share * (problem.friction)(k, other);
        let part = StackProblem {
            friction: &friction,
            moving: problem.moving.map(|m| Moving {
                tip_resistance_n: share * m.tip_resistance_n,
                ..m
            }),
            ..*problem
        };
        let enough = if share < 1.0 { ON_THE_WAY } else { AT_THE_END };
        let mover = self.mover_of(&part);
        let spring_n_per_mm = self.load_settings.hub_spring_n_per_mm;
        let mut at = before.clone();
        let mut residual = (self.coupling).compare(&mut self.rods, &part, mover, &at);
        let (mut best_n, mut waiting) = (f64::INFINITY, 0);
        for _ in 0..MOST_ROUNDS {
            let rough_n = ROUGHLY * misses_n(&residual);
            self.settle.ask_for(rough_n.clamp(ROUGH_N.0, ROUGH_N.1));
            (self.coupling)
                .advance_together(&mut self.rods, part.tube, spring_n_per_mm, &at)
                .ok()?;
            let near = Some(shapes(before));
            at = self
                .settle_rods(part.tube, &shapes(&at), near.as_deref())
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
