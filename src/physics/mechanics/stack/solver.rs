//! Inserted lengths in, tips out, with friction where one device moves: rounds between loads, lengths and
//! shape.

use super::arrangement::{self, StackProblem};
use super::coupling::{Coupling, Mover, Residual};
use super::load_settings::LoadSettings;
use super::moving::Moving;
use super::present::{HubLoad, PresentRods};
use super::report::Reporter;
use super::state::{StackState, absent};
use crate::mechanics::equilibrium::passes::Nearness;
use crate::mechanics::equilibrium::settle::Settle;
use crate::mechanics::equilibrium::solution::{Flag, RodState, Solution};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::linear_algebra::norms::larger;
use crate::mechanics::rod::drag::DragAt;
use crate::mechanics::rod::scene::TubeStation;
use crate::mechanics::rod::settings::Settings;
use crate::units::Allowed;
use std::sync::Arc;

/// Force out of balance on the way, as a share of what loads still miss.
const ROUGHLY: f64 = 3e-3;
/// Length for which the route has no room, mm, above which a device runs off it.
const BEYOND_MM: f64 = 1.0;
/// Share of the nearest residual so far that counts as nearer, not as waiting: smaller gains are what rounds
/// wander by.
const NEARER: f64 = 0.8;
/// Share of the residual that a round may leave while loads and shape still come to agree.
const FAST: f64 = 0.3;
/// Shares of friction and of what holds the tip back in which these come up where all at once lead round in
/// circles.
const SHARES: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];
/// How much more firmly than usual axes are kept near the round before on that way, one after the other.
const FIRMER: [f64; 2] = [1.0, 4.0];
/// Force with which a shape may still be held near the one before, as a share of the balance asked for.
const STILL: f64 = 10.0;

/// A state on the way, and by how much its loads and lengths miss.
#[derive(Debug)]
struct BestIterate {
    residual_n: f64,
    found: Solution,
    ends: Vec<f64>,
    hubs: Vec<HubLoad>,
    added_n: Vec<Vec<f64>>,
}

/// How far rounds have come.
#[derive(Debug)]
struct Progress {
    rounds: usize,
    newton_steps: usize,
    /// What the last round missed by, as a force, N, and the one before it.
    residual_n: f64,
    before_n: f64,
    /// Rounds since one came nearer.
    waiting: usize,
    best: Option<BestIterate>,
}

/// What a round comes to.
enum Round {
    /// Loads, lengths and shape agree.
    Agrees,
    /// The hub force, N, is beyond every limit.
    Locked(f64),
    /// They do not come nearer any more; how the round missed, and the hub force, N.
    Stalls(Residual, f64),
    /// On with the next one.
    GoesOn,
}

/// What axes are kept near while a shape is sought.
#[derive(Clone, Copy)]
pub(super) enum Kept<'a> {
    /// Nothing.
    Free,
    /// Where they start.
    NearStart,
    /// These shapes, by rod.
    Near(&'a [Option<&'a RodState>]),
    /// The same by drag at contacts alone.
    Dragged(&'a [Option<&'a RodState>], &'a [DragAt]),
}

/// Solves stacks; keeps its memory from one to the next.
#[derive(Debug, Clone, Default)]
pub struct StackSolver {
    pub(super) load_settings: LoadSettings,
    pub(super) settle: Settle,
    pub(super) rods: PresentRods,
    pub(super) coupling: Coupling,
    /// The rods without loads, as last found.
    pub(super) light: Option<Arc<[RodState]>>,
}

impl Progress {
    fn new() -> Self {
        Self {
            rounds: 0,
            newton_steps: 0,
            residual_n: f64::INFINITY,
            before_n: f64::INFINITY,
            waiting: 0,
            best: None,
        }
    }

    fn best_n(&self) -> f64 {
        self.best.as_ref().map_or(f64::INFINITY, |b| b.residual_n)
    }

    /// Takes a round over that did not agree.
    fn note(&mut self, rods: &PresentRods, found: &Solution) {
        let best_n = self.best_n();
        if self.residual_n < NEARER * best_n {
            self.waiting = 0;
        } else {
            self.waiting += 1;
        }
        if self.residual_n < best_n && rods.all_known() {
            self.best = Some(BestIterate {
                residual_n: self.residual_n,
                found: found.clone(),
                ends: rods.ends.clone(),
                hubs: rods.hubs.clone(),
                added_n: rods.added_n.clone(),
            });
        }
    }
}

impl StackSolver {
    /// With these settings.
    #[must_use]
    pub fn new(settings: Settings, load_settings: LoadSettings) -> Self {
        Self {
            load_settings,
            settle: Settle::new(settings),
            ..Self::default()
        }
    }

    /// Gives solves up as lock-up at this force at the hub, N ([`LoadSettings::lock_up_n`]).
    pub fn lock_up_at(&mut self, lock_up_n: f64) {
        self.load_settings.lock_up_n = lock_up_n;
    }

    /// Equilibrium of a stack whose inserted lengths or tips are given, from the state before if there is
    /// one; where something moves and loads and shape lead each other round in circles, with friction that
    /// comes up by and by.
    ///
    /// # Errors
    /// As [`Settle::settle`], and [`MechanicsError::OutOfRange`] where an inserted length leads beyond
    /// the last station.
    pub fn solve(
        &mut self,
        problem: &StackProblem<'_>,
        from: Option<&StackState>,
    ) -> Result<StackState, MechanicsError> {
        self.settle
            .allow(self.load_settings.most_factorised_unknowns);
        self.light = None;
        if self.load_settings.follows_up
            && let Some(state) = self.follow_up(problem, from)?
        {
            return Ok(state);
        }
        let lost = match self.solve_at_once(problem, from) {
            Err(lost) if lost.is_lost() => lost,
            found => return found,
        };
        let Some(moving) = problem.moving else {
            return Err(lost);
        };
        let proximal_n_per_mm = self.load_settings.proximal_n_per_mm;
        for firmer in FIRMER {
            self.load_settings.proximal_n_per_mm = firmer * proximal_n_per_mm;
            let found = self.solve_by_shares(problem, moving, from);
            self.load_settings.proximal_n_per_mm = proximal_n_per_mm;
            if let Ok(Some(state)) = found {
                return Ok(state);
            }
        }
        Err(lost)
    }

    /// The same with shares of the friction, one after the other.
    fn solve_by_shares(
        &mut self,
        problem: &StackProblem<'_>,
        moving: Moving,
        from: Option<&StackState>,
    ) -> Result<Option<StackState>, MechanicsError> {
        let mut state = from.cloned();
        let mut spent = (0, 0);
        for share in SHARES {
            let friction = |k: usize, other: Option<usize>| share * (problem.friction)(k, other);
            let part = StackProblem {
                friction: &friction,
                moving: Some(Moving {
                    tip_resistance_n: share * moving.tip_resistance_n,
                    ..moving
                }),
                resistance: problem.resistance.times(share),
                ..*problem
            };
            let next = self.solve_at_once(&part, state.as_ref())?;
            spent = (spent.0 + next.rounds, spent.1 + next.newton_steps);
            state = Some(next);
        }
        let (rounds, newton_steps) = spent;
        Ok(state.map(|state| StackState {
            rounds,
            newton_steps,
            ..state
        }))
    }

    /// The same with all of the friction from the first round on.
    fn solve_at_once(
        &mut self,
        problem: &StackProblem<'_>,
        from: Option<&StackState>,
    ) -> Result<StackState, MechanicsError> {
        arrangement::check(problem)?;
        let devices = problem.devices;
        let from = from.filter(|f| f.devices.len() == devices.len());
        self.rods.pose(problem, from);
        if self.rods.device.is_empty() {
            return Ok(absent(devices, problem.tube[0].s_mm));
        }
        let mover = problem
            .moving
            .and_then(|m| Some((self.rods.rod_of(m.device)?, m)));
        let mut progress = Progress::new();
        let mut last: Option<Solution> = None;
        self.coupling.restart();
        let (solution, locked) = loop {
            let shapes = self.rods.shapes(devices.len(), last.as_ref(), from);
            let (found, round) = self.round(problem, mover, &shapes, &mut progress)?;
            match round {
                Round::Agrees => break (found, None),
                Round::Locked(hub_n) => break (found, Some(hub_n)),
                Round::Stalls(residual, hub_n) => {
                    let nearest = (progress.best.take())
                        .filter(|best| best.residual_n < self.most_unsettled_n(hub_n))
                        .ok_or_else(|| {
                            self.never_agrees(problem, &found, residual, progress.rounds)
                        })?;
                    let near = self.sharpen(problem, mover, nearest, &mut progress)?;
                    break (near, None);
                }
                Round::GoesOn => {
                    let spring_n_per_mm = self.load_settings.hub_spring_n_per_mm;
                    let tube = problem.tube;
                    (self.coupling).advance(&mut self.rods, tube, spring_n_per_mm, &found)?;
                    last = Some(found);
                }
            }
        };
        let state = self.report(problem, &solution, (mover, locked), from);
        Ok(StackState {
            rounds: progress.rounds,
            newton_steps: progress.newton_steps,
            factorised_unknowns: self.settle.worked(),
            light: self.light.clone(),
            ..state
        })
    }

    /// One round: shapes under the loads as they are, and what these miss by.
    fn round(
        &mut self,
        problem: &StackProblem<'_>,
        mover: Mover,
        shapes: &[Option<&RodState>],
        progress: &mut Progress,
    ) -> Result<(Solution, Round), MechanicsError> {
        let settings = self.load_settings;
        let sharp = settings.gradient_tolerance_n;
        let rough_n = ROUGHLY * progress.residual_n;
        self.settle
            .ask_for(rough_n.clamp(sharp, settings.roughest_n.max(sharp)));
        let found = self.settle_rods(problem.tube, shapes, Kept::NearStart)?;
        progress.newton_steps += found.steps;
        progress.rounds += 1;
        let residual = (self.coupling).compare(&mut self.rods, problem, mover, &found);
        progress.residual_n = larger(residual.load_n, residual.length_mm * settings.millimetre_n);
        if !progress.residual_n.is_finite() {
            return Err(MechanicsError::NonFinite {
                what: "what loads and lengths miss by",
            });
        }
        let hub_n = mover.map_or(0.0, |(rod, _)| found.rods[rod].load_n[0].abs());
        if hub_n > settings.lock_up_n {
            return Ok((found, Round::Locked(hub_n)));
        }
        let agrees = residual.load_n < settings.force_tolerance_n
            && residual.length_mm < settings.length_tolerance_mm
            && found.residual_n <= sharp
            && found.moved_mm * settings.proximal_n_per_mm <= STILL * sharp;
        if agrees {
            return Ok((found, Round::Agrees));
        }
        let best_n = progress.best_n();
        progress.note(&self.rods, &found);
        let slow = self.rods.all_known() && progress.residual_n > FAST * progress.before_n;
        progress.before_n = progress.residual_n;
        let enough_n = settings.enough_n.max(settings.enough_share * hub_n);
        let stalls = (slow && best_n.min(progress.residual_n) < enough_n)
            || (progress.waiting > settings.patience && best_n < settings.most_unsettled_n);
        let round = if stalls || progress.rounds >= settings.most_rounds {
            Round::Stalls(residual, hub_n)
        } else {
            Round::GoesOn
        };
        Ok((found, round))
    }

    /// Mismatch with which a state is still reported, N.
    fn most_unsettled_n(&self, hub_n: f64) -> f64 {
        let settings = &self.load_settings;
        settings.most_unsettled_n.max(settings.enough_share * hub_n)
    }

    /// Loads and shape do not come to agree, and no state on the way was near.
    fn never_agrees(
        &self,
        problem: &StackProblem<'_>,
        found: &Solution,
        residual: Residual,
        rounds: usize,
    ) -> MechanicsError {
        let last_mm = problem.tube[problem.tube.len() - 1].s_mm;
        let rods = self.rods.target_mm.iter().zip(&found.rods).enumerate();
        let mut beyond = rods.filter_map(|(k, (target_mm, rod))| {
            let target_mm = target_mm.filter(|target_mm| {
                self.rods.ends[k] >= last_mm && target_mm - rod.path_length_mm > BEYOND_MM
            })?;
            Some((self.rods.device[k], target_mm, rod.path_length_mm))
        });
        match beyond.next() {
            Some((device, target_mm, room_mm)) => MechanicsError::OutOfRange {
                what: format!("devices[{device}].drive.Inserted"),
                found: target_mm,
                needed: Allowed::in_words("short enough to stay on the route").at_most(room_mm),
            },
            None => MechanicsError::LoadsNotSettled {
                rounds,
                change_n: residual.load_n,
                off_mm: residual.length_mm,
            },
        }
    }

    /// Loads and shape do not come to agree to the last digit, or there is no equilibrium in which they do:
    /// the nearest state found, brought into balance under the loads that it has, with how far these are
    /// from those that its shape calls for.
    fn sharpen(
        &mut self,
        problem: &StackProblem<'_>,
        mover: Mover,
        best: BestIterate,
        progress: &mut Progress,
    ) -> Result<Solution, MechanicsError> {
        self.rods.ends = best.ends;
        self.rods.hubs = best.hubs;
        self.rods.added_n = best.added_n;
        let sharp_n = self.load_settings.gradient_tolerance_n;
        let mut near = best.found;
        if near.residual_n > sharp_n {
            self.settle.ask_for(sharp_n);
            let shapes: Vec<_> = near.rods.iter().map(Some).collect();
            near = self.settle_rods(problem.tube, &shapes, Kept::NearStart)?;
            progress.newton_steps += near.steps;
        }
        let residual = (self.coupling).compare(&mut self.rods, problem, mover, &near);
        let length_n = residual.length_mm * self.load_settings.millimetre_n;
        near.flags.push(Flag::Unsettled {
            load_n: residual.load_n.max(length_n),
        });
        Ok(near)
    }

    /// Shapes under the loads as they are, from those given; from scratch where that way is lost, unless they are
    /// kept near others.
    pub(super) fn settle_rods(
        &mut self,
        tube: &[TubeStation],
        shapes: &[Option<&RodState>],
        kept: Kept<'_>,
    ) -> Result<Solution, MechanicsError> {
        self.rods
            .arrange(tube, self.load_settings.hub_spring_n_per_mm);
        let scene = self.rods.scene(tube);
        let proximal_n_per_mm = self.load_settings.proximal_n_per_mm;
        let near = |centre, proximal_n_per_mm, drags| Nearness {
            centre,
            proximal_n_per_mm,
            drags,
        };
        let near = match kept {
            Kept::Free => near(None, 0.0, &[][..]),
            Kept::NearStart => near(None, proximal_n_per_mm, &[]),
            Kept::Near(shapes) => near(Some(shapes), proximal_n_per_mm, &[]),
            Kept::Dragged(shapes, drags) => near(Some(shapes), 0.0, drags),
        };
        let found = self.settle.settle_near(&scene, shapes, near);
        let found = match found {
            Err(lost) if lost.is_lost() && near.centre.is_none() => {
                self.settle.settle_from_scratch(&scene).map_err(|_| lost)
            }
            found => found,
        };
        // the caller knows devices, not those of them that are far enough in
        let device = &self.rods.device;
        found.map_err(|why| why.renumbered(|rod| device.get(rod).copied().unwrap_or(rod)))
    }

    pub(super) fn report(
        &self,
        problem: &StackProblem<'_>,
        solution: &Solution,
        (mover, locked): (Mover, Option<f64>),
        from: Option<&StackState>,
    ) -> StackState {
        let reporter = Reporter {
            problem,
            rods: &self.rods,
            sliding: &self.coupling.friction.list,
            solution,
            from,
        };
        reporter.state(mover, locked)
    }
}
