//! A path in a bare problem: the rod that moves is fed and drawn back in legs, friction holding it where it was.

use super::{Posed, Problem, ProblemMove};
use crate::geometry::Vector;
use crate::mechanics::equilibrium::solution::Solution;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::stack::arrangement::{StackDevice, StackProblem};
use crate::mechanics::stack::moving::{Direction, Moving};
use crate::mechanics::stack::path::{Increment, StackPath};
use crate::mechanics::stack::solver::StackSolver;
use crate::units::Allowed;
use serde::{Deserialize, Serialize};

/// Feeds and thrusts in order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProblemPath {
    /// The legs, one after the other.
    pub legs: Vec<ProblemLeg>,
    /// Longest increment, mm, > 0. Default 5.
    #[serde(default = "five")]
    pub increment_mm: f64,
    /// Distance over which surfaces take hold, mm, > 0. Default 0.01.
    #[serde(default = "ten_micrometres")]
    pub stick_mm: f64,
}

/// One leg of a path.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProblemLeg {
    /// Feed, mm; negative: drawn back; 0: held. Not with `hub_push_n`.
    #[serde(default)]
    pub feed_mm: f64,
    /// Instead of a feed: fed or drawn back until the hub pushes with this force, N (negative: pulls). The rod needs an
    /// `axial_stiffness_n`.
    #[serde(default)]
    pub hub_push_n: Option<f64>,
    /// Force against the distal end at the leg's end, N, reached in proportion to the feed; left out, as before it.
    /// The first leg begins with `moves.held_back_n`.
    #[serde(default)]
    pub held_back_n: Option<f64>,
    /// Load on every rod at the leg's end, N per mm of rod, fixed in space, reached in proportion; left out, as before
    /// it. The first leg begins with the problem's.
    #[serde(default)]
    pub line_load_n_per_mm: Option<[f64; 3]>,
}

/// A path as it went.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PathReport {
    /// The rod that moves.
    pub rod: String,
    /// Its start, and the end of every increment.
    pub points: Vec<PathPoint>,
}

/// A place on a path.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PathPoint {
    /// Number of the leg that led here, from 1; 0 at the start.
    pub leg: usize,
    /// Feed since the start, mm.
    pub fed_mm: f64,
    /// Configurational load at station 0, N; positive: the hub pushes.
    pub hub_push_n: f64,
    /// Force against the distal end, N.
    pub held_back_n: f64,
    /// By how much its material has come on at its distal end since the start, mm: the feed, less what its path has
    /// lengthened by, and what it has stretched.
    pub end_fed_mm: f64,
    /// Length of the rod from station 0 to its end, mm.
    pub path_length_mm: f64,
    /// Arc length of the centre line at its end, mm.
    pub tip_mm: f64,
    /// Offset of its axis in the middle of the tube, mm, on the station's normals, shape `[2]`.
    pub middle_offset_mm: [f64; 2],
    /// Work of the hub since the start, N mm, less what went out at the distal end and what line loads took (by the mean of
    /// both ends of each increment).
    pub work_n_mm: f64,
    /// Energy stored in rods and walls, more than at the start, N mm.
    pub stored_n_mm: f64,
    /// Work that friction took, N mm (by the mean of contact forces at both ends of each increment).
    pub dissipated_n_mm: f64,
    /// Energy that the last increment set free, N mm: work that was neither stored nor taken by friction. Of the second order in
    /// the increment where the state goes on smoothly; a rod that snaps to another place lets go of more.
    pub released_n_mm: f64,
    /// Rounds between loads, drag and shape.
    pub rounds: usize,
}

const fn five() -> f64 {
    5.0
}

const fn ten_micrometres() -> f64 {
    0.01
}

/// What acts besides the hub.
#[derive(Clone, Copy)]
struct Acting {
    held_back_n: f64,
    line_load_n_per_mm: Vector,
}

impl Acting {
    fn towards(&self, to: &Self, part: f64) -> Self {
        Self {
            held_back_n: self.held_back_n + (to.held_back_n - self.held_back_n) * part,
            line_load_n_per_mm: self.line_load_n_per_mm
                + (to.line_load_n_per_mm - self.line_load_n_per_mm) * part,
        }
    }
}

impl ProblemPath {
    pub(super) fn check(&self) -> Result<(), MechanicsError> {
        let refuse = |what: String, found, needed| {
            Err(MechanicsError::OutOfRange {
                what,
                found,
                needed,
            })
        };
        for (what, found) in [
            ("increment_mm", self.increment_mm),
            ("stick_mm", self.stick_mm),
        ] {
            if !(found.is_finite() && found > 0.0) {
                return refuse(format!("path.{what}"), found, Allowed::POSITIVE);
            }
        }
        if self.legs.is_empty() {
            return refuse(
                "path.legs".into(),
                0.0,
                Allowed::in_words("at least one leg"),
            );
        }
        for (i, leg) in self.legs.iter().enumerate() {
            if leg.hub_push_n.is_some() && leg.feed_mm.abs() > 0.0 {
                let needed = Allowed::in_words("left out where `hub_push_n` is given");
                return refuse(format!("path.legs[{i}].feed_mm"), leg.feed_mm, needed);
            }
            let load = leg.line_load_n_per_mm.into_iter().flatten();
            let given_n = [leg.held_back_n, leg.hub_push_n];
            let numbers = given_n.into_iter().flatten().chain([leg.feed_mm]);
            if let Some(found) = numbers.chain(load).find(|x| !x.is_finite()) {
                return refuse(format!("path.legs[{i}]"), found, Allowed::FINITE);
            }
            let increments = leg.feed_mm.abs() / self.increment_mm;
            if increments > MOST_INCREMENTS {
                return refuse(
                    format!("path.legs[{i}].feed_mm"),
                    leg.feed_mm,
                    Allowed::in_words("at most 10000 increments")
                        .at_most(MOST_INCREMENTS * self.increment_mm),
                );
            }
        }
        Ok(())
    }
}

/// Most increments of a leg.
const MOST_INCREMENTS: f64 = 10_000.0;

impl Problem {
    /// Follows the path; the state at its end, and all on the way.
    pub(super) fn follow(
        &self,
        posed: &Posed,
        moved: &ProblemMove,
        path: &ProblemPath,
    ) -> Result<(Solution, PathReport), MechanicsError> {
        let mut devices = self.stack_devices(posed);
        let containments = self.containments(posed);
        let friction = |rod, other| self.coefficient(rod, other);
        let mut acting = Acting {
            held_back_n: moved.held_back_n,
            line_load_n_per_mm: Vector::from(self.line_load_n_per_mm),
        };
        let solver = StackSolver::new(self.settings, self.slide_settings());
        let first = stack(&posed.tube, &devices, moved.rod, 1.0, acting)
            .with_containments(&containments)
            .with_friction(&friction);
        let mut on = StackPath::begin(solver, &first, path.stick_mm)?;
        let mut walk = Walk::begin(
            &on,
            (moved.rod, self.rods[moved.rod].axial_stiffness_n),
            acting,
        )?;
        for (i, leg) in path.legs.iter().enumerate() {
            let from = acting;
            let to = Acting {
                held_back_n: leg.held_back_n.unwrap_or(acting.held_back_n),
                line_load_n_per_mm: leg
                    .line_load_n_per_mm
                    .map_or(acting.line_load_n_per_mm, Vector::from),
            };
            let mut feed = |on: &mut StackPath, acting: Acting, fed_mm: f64| {
                for device in &mut devices {
                    device.rod.line_load_n_per_mm = acting.line_load_n_per_mm;
                }
                let problem = stack(&posed.tube, &devices, moved.rod, fed_mm, acting)
                    .with_containments(&containments)
                    .with_friction(&friction);
                on.feed(&problem, fed_mm)
            };
            acting = to;
            if let Some(hub_push_n) = leg.hub_push_n {
                let (fed_mm, increment) = push_to(&mut on, moved.rod, hub_push_n, |on, fed_mm| {
                    feed(on, to, fed_mm)
                })?;
                walk.note(&on, (i + 1, fed_mm), to, increment)?;
                continue;
            }
            let increments = (leg.feed_mm.abs() / path.increment_mm - 1e-9)
                .ceil()
                .max(1.0);
            let fed_mm = leg.feed_mm / increments;
            let mut done = 0.0;
            while done < increments {
                done += 1.0;
                let now = from.towards(&to, done / increments);
                let increment = feed(&mut on, now, fed_mm)?;
                walk.note(&on, (i + 1, fed_mm), now, increment)?;
            }
        }
        let solution = walk.solution(&on)?.clone();
        let report = PathReport {
            rod: self.name(moved.rod),
            points: walk.points,
        };
        Ok((solution, report))
    }
}

/// Feeds the rod until its hub pushes with a force, in one increment; the feed, mm.
fn push_to(
    on: &mut StackPath,
    rod: usize,
    hub_push_n: f64,
    mut feed: impl FnMut(&mut StackPath, f64) -> Result<Increment, MechanicsError>,
) -> Result<(f64, Increment), MechanicsError> {
    /// Force to which it is met, N, first feed tried, mm, and most of them.
    const MET_N: f64 = 1e-9;
    const FIRST_MM: f64 = 1e-3;
    const MOST_TRIES: usize = 200;
    let pushes_n = |on: &StackPath| -on.state().devices[rod].hub_load_n;
    let start = on.clone();
    let off_n = pushes_n(on) - hub_push_n;
    // a feed at which it pushes too little or too much, on both sides of the one sought
    let mut low = (0.0, off_n);
    let mut step_mm = -FIRST_MM.copysign(off_n);
    let mut high = loop {
        let mut at = start.clone();
        feed(&mut at, step_mm)?;
        let there_n = pushes_n(&at) - hub_push_n;
        if there_n * off_n <= 0.0 {
            break (step_mm, there_n);
        }
        low = (step_mm, there_n);
        step_mm *= 2.0;
        if step_mm.abs() > LONGEST_MM {
            return Err(MechanicsError::OutOfRange {
                what: "path.legs.hub_push_n".into(),
                found: hub_push_n,
                needed: Allowed::in_words("a force that the rod comes to: it slides on for ever"),
            });
        }
    };
    for tried in 0..MOST_TRIES {
        // regula falsi, halving now and then where one side stays
        let part = if tried % 3 == 2 {
            0.5
        } else {
            low.1 / (low.1 - high.1)
        };
        let fed_mm = low.0 + (high.0 - low.0) * part;
        let mut at = start.clone();
        let increment = feed(&mut at, fed_mm)?;
        let there_n = pushes_n(&at) - hub_push_n;
        let narrow = (high.0 - low.0).abs() <= 1e-12 * high.0.abs();
        if there_n.abs() < MET_N || narrow {
            *on = at;
            return Ok((fed_mm, increment));
        }
        if there_n * low.1 > 0.0 {
            low = (fed_mm, there_n);
        } else {
            high = (fed_mm, there_n);
        }
    }
    Err(MechanicsError::LoadsNotSettled {
        rounds: MOST_TRIES,
        change_n: low.1.abs().min(high.1.abs()),
        off_mm: (high.0 - low.0).abs(),
    })
}

/// Longest feed that looks for a force, mm.
const LONGEST_MM: f64 = 100.0;

/// The stack of an increment.
fn stack<'a>(
    tube: &'a [crate::mechanics::rod::scene::TubeStation],
    devices: &'a [StackDevice],
    rod: usize,
    fed_mm: f64,
    acting: Acting,
) -> StackProblem<'a> {
    let direction = if fed_mm < 0.0 {
        Direction::Pull
    } else {
        Direction::Push
    };
    // what holds a tip back acts against the move; a force against the end does not turn with it
    let against = match direction {
        Direction::Push => acting.held_back_n,
        Direction::Pull => -acting.held_back_n,
    };
    StackProblem::new(tube, devices).with_moving(Moving {
        device: rod,
        direction,
        tip_resistance_n: against,
    })
}

/// Points of a path as they come.
struct Walk {
    rod: usize,
    /// Its axial stiffness, N.
    axial_n: Option<f64>,
    points: Vec<PathPoint>,
    stored_at_start_n_mm: f64,
    before: Acting,
    end_fed_mm: f64,
    centroids: Vec<Vector>,
}

impl Walk {
    fn begin(
        on: &StackPath,
        (rod, axial_n): (usize, Option<f64>),
        acting: Acting,
    ) -> Result<Self, MechanicsError> {
        let mut walk = Self {
            rod,
            axial_n,
            points: Vec::new(),
            stored_at_start_n_mm: 0.0,
            before: acting,
            end_fed_mm: 0.0,
            centroids: Vec::new(),
        };
        let found = walk.solution(on)?.clone();
        walk.stored_at_start_n_mm = stored_n_mm(&found, walk.stretches());
        walk.centroids = first_moments(&found);
        walk.push(on, &found, (0, 0.0), acting, (0.0, on.state().rounds));
        Ok(walk)
    }

    const fn stretches(&self) -> (usize, Option<f64>) {
        (self.rod, self.axial_n)
    }

    fn solution<'a>(&self, on: &'a StackPath) -> Result<&'a Solution, MechanicsError> {
        on.state()
            .solution
            .as_ref()
            .ok_or(MechanicsError::NonFinite {
                what: "a path without rods",
            })
    }

    fn note(
        &mut self,
        on: &StackPath,
        (leg, fed_mm): (usize, f64),
        acting: Acting,
        increment: Increment,
    ) -> Result<(), MechanicsError> {
        let found = self.solution(on)?.clone();
        let Some(last) = self.points.last().copied() else {
            return Ok(());
        };
        let hub_n = 0.5 * (last.hub_push_n - found.rods[self.rod].load_n[0]);
        let end_n = 0.5 * (last.held_back_n + acting.held_back_n);
        // what comes through the exit plane, or moves on with the tip
        let out_mm = fed_mm + increment.stretched_mm
            - (found.rods[self.rod].path_length_mm - last.path_length_mm);
        let moments = first_moments(&found);
        let line = 0.5 * (self.before.line_load_n_per_mm + acting.line_load_n_per_mm);
        let lifted: f64 = (moments.iter().zip(&self.centroids))
            .map(|(now, before)| line.dot(&(now - before)))
            .sum();
        let went_mm = on.state().devices[self.rod].tip_mm - last.tip_mm;
        let on_mm = if went_mm.abs() > 0.0 { went_mm } else { out_mm };
        let work = last.work_n_mm + hub_n * fed_mm - end_n * on_mm + lifted;
        self.end_fed_mm += out_mm;
        self.before = acting;
        self.centroids = moments;
        self.push(
            on,
            &found,
            (leg, last.fed_mm + fed_mm),
            acting,
            (work, increment.rounds),
        );
        Ok(())
    }

    fn push(
        &mut self,
        on: &StackPath,
        found: &Solution,
        (leg, fed_mm): (usize, f64),
        acting: Acting,
        (work_n_mm, rounds): (f64, usize),
    ) {
        let rod = &found.rods[self.rod];
        let stored_n_mm = stored_n_mm(found, self.stretches()) - self.stored_at_start_n_mm;
        let kept_n_mm = stored_n_mm + on.dissipated_n_mm();
        let released_n_mm = self.points.last().map_or(0.0, |last| {
            (work_n_mm - last.work_n_mm) - (kept_n_mm - last.stored_n_mm - last.dissipated_n_mm)
        });
        self.points.push(PathPoint {
            leg,
            fed_mm,
            hub_push_n: -rod.load_n[0],
            held_back_n: acting.held_back_n,
            end_fed_mm: self.end_fed_mm,
            path_length_mm: rod.path_length_mm,
            tip_mm: on.state().devices[self.rod].tip_mm,
            middle_offset_mm: rod.offset_mm[rod.offset_mm.len() / 2],
            work_n_mm,
            stored_n_mm,
            dissipated_n_mm: on.dissipated_n_mm(),
            released_n_mm,
            rounds,
        });
    }
}

/// Energy of rods and walls, N mm, as it is balanced, and of rod `k` as it is stretched.
fn stored_n_mm(found: &Solution, (k, axial_n): (usize, Option<f64>)) -> f64 {
    let rods = found.rods.iter();
    let bent: f64 = rods
        .map(|rod| rod.bending_energy_n_mm - rod.averaging_n_mm)
        .sum();
    let rod = &found.rods[k];
    let cells = rod.load_n.windows(2).zip(rod.from_tip_mm.windows(2));
    let stretched = axial_n.map_or(0.0, |axial_n| {
        let squares = cells.map(|(t, d)| 0.25 * (t[0] + t[1]) * (t[0] + t[1]) * (d[0] - d[1]));
        squares.sum::<f64>() / (2.0 * axial_n)
    });
    bent + stretched + found.contact_energy_n_mm
}

/// By rod: the integral of its place along it, mm², for what a line load does.
fn first_moments(found: &Solution) -> Vec<Vector> {
    let rods = found.rods.iter().map(|rod| {
        let edges = rod.position_mm.windows(2);
        edges
            .map(|p| 0.5 * (p[0].coords + p[1].coords) * (p[1] - p[0]).norm())
            .sum()
    });
    rods.collect()
}
