//! A path: a stack taken from state to state in small increments of feed, friction holding it where it was.
//!
//! Friction keeps the place that a rod is in; which place that is, the path decides. Each increment is a balance with
//! the drag of [`slip`](super::slip) at all contacts, told from the state before, and with friction along the rod that
//! slides by the same law. Rods that are held slip across only: what surfaces at rest hold of them along is told as a
//! range, as elsewhere.

use super::arrangement::{Drive, StackDevice, StackProblem};
use super::coupling::Stretching;
use super::follow_up::shapes_of;
use super::slip::{Before, Slip};
use super::solver::{Kept, StackSolver};
use super::state::StackState;
use crate::mechanics::equilibrium::solution::{RodState, Solution};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::linear_algebra::norms::larger;
use crate::units::Allowed;

/// How well loads and drag, N, and lengths, mm, agree at the end of an increment.
const AGREE_N: f64 = 1e-6;
const AGREE_MM: f64 = 1e-5;
/// Force out of balance, N, as a share of what loads miss, between these.
const ROUGHLY: f64 = 3e-3;
const ROUGH_N: (f64, f64) = (1e-9, 1e-5);
/// How often an increment is halved at most.
const MOST_HALVINGS: usize = 6;
/// Most rounds of an increment.
const MOST_ROUNDS: usize = 80;

/// A stack on its way.
#[derive(Debug, Clone)]
pub struct StackPath {
    solver: StackSolver,
    state: StackState,
    before: Before,
    dissipated_n_mm: f64,
}

/// What an increment came to.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Increment {
    /// Work that friction took, N mm, by the mean of the contact forces at both of its ends.
    pub dissipated_n_mm: f64,
    /// By how much the device that slides stretched, mm.
    pub stretched_mm: f64,
    /// Rounds between loads, drag and shape.
    pub rounds: usize,
}

impl StackPath {
    /// A path that begins at the equilibrium of a stack under light load: without friction.
    ///
    /// `stick_mm`: the distance over which surfaces take hold, mm, > 0; 0.01 is far below what lengths are told to,
    /// smaller ones are for closed forms.
    ///
    /// # Errors
    /// As [`StackSolver::solve`]; [`MechanicsError::OutOfRange`] where a device is not far enough in to bend.
    pub fn begin(
        mut solver: StackSolver,
        problem: &StackProblem<'_>,
        stick_mm: f64,
    ) -> Result<Self, MechanicsError> {
        let light = StackProblem {
            friction: &|_, _| 0.0,
            ..*problem
        };
        let state = solver.solve(&light, None)?;
        let solution = bent(&state)?;
        let before = Before::at(solution, stick_mm);
        Ok(Self {
            solver,
            before,
            state,
            dissipated_n_mm: 0.0,
        })
    }

    /// Where it is.
    #[must_use]
    pub const fn state(&self) -> &StackState {
        &self.state
    }

    /// Work that friction took since it began, N mm.
    #[must_use]
    pub const fn dissipated_n_mm(&self) -> f64 {
        self.dissipated_n_mm
    }

    /// The device that slides is fed by so much, mm, negative where it is drawn back; the problem says what holds its
    /// tip and what friction there is, its devices what else acts on them. Where loads, drag and shape come to no agreement
    /// over the whole of it, halves are tried.
    ///
    /// # Errors
    /// As [`StackSolver::solve`]; [`MechanicsError::OutOfRange`] where nothing slides, and
    /// [`MechanicsError::LoadsNotSettled`] where they come to none over a sixty-fourth of it either.
    pub fn feed(
        &mut self,
        problem: &StackProblem<'_>,
        fed_mm: f64,
    ) -> Result<Increment, MechanicsError> {
        self.feed_in_parts(problem, fed_mm, MOST_HALVINGS)
    }

    fn feed_in_parts(
        &mut self,
        problem: &StackProblem<'_>,
        fed_mm: f64,
        halvings: usize,
    ) -> Result<Increment, MechanicsError> {
        // one that is lost leaves the path where it was
        match self.feed_at_once(problem, fed_mm) {
            Err(MechanicsError::LoadsNotSettled { .. }) if halvings > 0 => {}
            ended => return ended,
        }
        let half_mm = 0.5 * fed_mm;
        let first = self.feed_in_parts(problem, half_mm, halvings - 1)?;
        let second = self.feed_in_parts(problem, half_mm, halvings - 1)?;
        Ok(Increment {
            dissipated_n_mm: first.dissipated_n_mm + second.dissipated_n_mm,
            stretched_mm: first.stretched_mm + second.stretched_mm,
            rounds: first.rounds + second.rounds,
        })
    }

    /// One increment.
    fn feed_at_once(
        &mut self,
        problem: &StackProblem<'_>,
        fed_mm: f64,
    ) -> Result<Increment, MechanicsError> {
        let Some(moving) = problem.moving else {
            return Err(MechanicsError::OutOfRange {
                what: "moving".into(),
                found: 0.0,
                needed: Allowed::in_words("a device that slides"),
            });
        };
        let devices: Vec<StackDevice> = (problem.devices.iter().enumerate())
            .map(|(k, device)| {
                let inserted_mm = self.state.devices[k].inserted_mm;
                let more_mm = if k == moving.device { fed_mm } else { 0.0 };
                let drive = match device.drive {
                    Drive::Through => Drive::Through,
                    _ => Drive::Inserted(inserted_mm + more_mm),
                };
                StackDevice::new(device.rod.clone(), drive)
            })
            .collect();
        let problem = StackProblem {
            devices: &devices,
            ..*problem
        };
        let solver = &mut self.solver;
        solver.rods.pose(&problem, Some(&self.state));
        let Some(mover) = solver.rods.rod_of(moving.device) else {
            return Err(not_bent());
        };
        if solver.rods.rods.len() != self.before.rods.len() {
            return Err(not_bent());
        }
        self.before.fed_mm.fill(0.0);
        self.before.fed_mm[mover] = fed_mm;
        let start = bent(&self.state)?.clone();
        let EndOfIncrement {
            found,
            slips,
            stretch_mm,
            rounds,
        } = solver.follow_slip(&problem, mover, &self.before, start)?;
        let mut state = solver.report(&problem, &found, (Some((mover, moving)), None), None);
        state.rounds = rounds;
        let before = &self.before;
        let stretch = |slips: &mut [Slip]| {
            before.stretch(mover, &found.rods[mover], &stretch_mm, slips);
        };
        let friction = Before::friction_of(&solver.rods, problem.friction, mover);
        let dissipated_n_mm = before.work_n_mm(&found, &slips, stretch, friction);
        self.before.go_on(&found, slips);
        self.dissipated_n_mm += dissipated_n_mm;
        self.state = state;
        let stretched_mm = stretch_mm.last().copied().unwrap_or(0.0);
        Ok(Increment {
            dissipated_n_mm,
            stretched_mm,
            rounds,
        })
    }
}

fn not_bent() -> MechanicsError {
    MechanicsError::OutOfRange {
        what: "devices".into(),
        found: 0.0,
        needed: Allowed::in_words("all far enough in to bend, on all of the path"),
    }
}

fn bent(state: &StackState) -> Result<&Solution, MechanicsError> {
    (state.solution.as_ref())
        .filter(|_| state.devices.iter().all(|d| d.rod.is_some()))
        .ok_or_else(not_bent)
}

/// How the rod that slides answers a load: it stretches since the increment began, and its path shortens since the shape
/// `at` by what that shape gives for a newton, taken as spread evenly along it. Friction that follows the path one round late
/// would swing between holding and letting go.
fn foresee(at: &Solution, before: &RodState, mover: usize, axial_n: Option<f64>) -> Stretching {
    let now = &at.rods[mover];
    let path_per_n = at.compliance_mm_per_n[mover][mover].max(0.0) / now.path_length_mm;
    let stretch_per_n = axial_n.map_or(0.0, f64::recip);
    let per_n = (path_per_n + stretch_per_n).max(LEAST_PER_N);
    let loads = before.load_n.iter().zip(&now.load_n);
    Stretching {
        stiffness_n: per_n.recip(),
        before_n: loads
            .map(|(before_n, now_n)| now_n + (before_n - now_n) * (stretch_per_n / per_n).min(1.0))
            .collect(),
        stretch_mm: Vec::new(),
    }
}

/// Least share of its length that a rod gives by for a newton: what neither stretches nor can shorten its path still lets
/// friction find its balance.
const LEAST_PER_N: f64 = 1e-7;

/// What rounds come to.
struct EndOfIncrement {
    found: Solution,
    slips: Vec<Slip>,
    /// By station: by how much the rod that slides stretched up to there, mm.
    stretch_mm: Vec<f64>,
    rounds: usize,
}

impl StackSolver {
    /// Loads, drag and shape of an increment, in rounds from a shape.
    fn follow_slip(
        &mut self,
        problem: &StackProblem<'_>,
        mover: usize,
        before: &Before,
        mut at: Solution,
    ) -> Result<EndOfIncrement, MechanicsError> {
        self.settle
            .allow(self.load_settings.most_factorised_unknowns);
        let moves = self.mover_of(problem);
        let held_at_mm = self.rods.ends.clone();
        self.coupling.restart();
        self.coupling.come_up(1.0, &held_at_mm);
        let axial_n = self.rods.rods[mover].axial_stiffness_n;
        let fed_mm = self.rods.target_mm[mover];
        let near = shapes_of(&before.rods);
        let mut used: Vec<Slip> = Vec::new();
        let mut last = (f64::INFINITY, 0.0);
        for round in 0..=MOST_ROUNDS {
            let friction = Before::friction_of(&self.rods, problem.friction, mover);
            let mut slips = before.slips(&at, friction);
            self.coupling.slip_along(mover, &slips, before.stick_mm);
            self.coupling.stretching = Some(foresee(&at, &before.rods[mover], mover, axial_n));
            let residual = (self.coupling).compare(&mut self.rods, problem, moves, &at);
            // what the shape is to give by is none once it has given
            let stretch_mm = (self.coupling.stretching.as_ref())
                .filter(|_| axial_n.is_some())
                .map_or_else(|| vec![0.0], |s| s.stretch_mm.clone());
            before.stretch(mover, &at.rods[mover], &stretch_mm, &mut slips);
            let longer_mm = stretch_mm.last().copied().unwrap_or(0.0);
            self.rods.target_mm[mover] = fed_mm.map(|fed_mm| fed_mm + longer_mm);
            let drag_n = before.change_n(&used, &slips);
            let missed_n = larger(residual.load_n, drag_n);
            last = (missed_n, residual.length_mm);
            if round > 0 && missed_n < AGREE_N && residual.length_mm < AGREE_MM {
                return Ok(EndOfIncrement {
                    found: at,
                    slips,
                    stretch_mm,
                    rounds: round,
                });
            }
            let rough_n = ROUGHLY * larger(missed_n, 0.1 * residual.length_mm);
            self.settle.ask_for(rough_n.clamp(ROUGH_N.0, ROUGH_N.1));
            (self.coupling).advance_together(
                &mut self.rods,
                problem.tube,
                self.load_settings.hub_spring_n_per_mm,
                &at,
            )?;
            let drags = before.drags(&slips);
            at = self.settle_rods(
                problem.tube,
                &shapes_of(&at.rods),
                Kept::Dragged(&near, &drags),
            )?;
            used = slips;
        }
        Err(MechanicsError::LoadsNotSettled {
            rounds: MOST_ROUNDS,
            change_n: last.0,
            off_mm: last.1,
        })
    }
}
