//! Friction in a bare problem: one rod slides, the others are held where they start.

use super::{Posed, Problem, ProblemEnd};
use crate::mechanics::equilibrium::solution::{Flag, Solution, Status};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::stack::arrangement::{Containment, Drive, StackDevice, StackProblem};
use crate::mechanics::stack::load_report::LoadReport;
use crate::mechanics::stack::load_settings::LoadSettings;
use crate::mechanics::stack::moving::{Direction, Moving};
use crate::mechanics::stack::solver::StackSolver;
use crate::mechanics::stack::state::Failure;
use crate::units::Allowed;
use serde::{Deserialize, Serialize};

/// Friction between two partners.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProblemFriction {
    /// Index of a rod.
    pub rod: usize,
    /// Index of the rod that it touches; left out, the tube.
    #[serde(default)]
    pub against: Option<usize>,
    /// Coulomb's coefficient.
    pub coefficient: f64,
}

/// The rod that slides, pushed or pulled at its start.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProblemMove {
    /// Its index.
    pub rod: usize,
    /// Which way it slides.
    pub direction: Direction,
    /// What holds its distal end back, N: a dead weight at the end of a rod that is pulled, what a tip
    /// that is pushed has to overcome. On a path the force against the end, whichever way it goes: a weight that draws it
    /// on is negative.
    #[serde(default)]
    pub held_back_n: f64,
}

/// What the move takes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FrictionReport {
    /// The rod that slides.
    pub rod: String,
    /// Which way.
    pub direction: Direction,
    /// Configurational load at station 0 in the direction of the move, N: the force at a hub that
    /// stands straight behind it.
    pub hub_force_n: f64,
    /// Axial force there, N: less than that by `M²/(2B)`.
    pub start_force_n: f64,
    /// Force against the distal end, N: what holds it back and what walls press back on a tip.
    pub end_force_n: f64,
    /// Friction in all, N.
    pub friction_n: f64,
    /// Hub force over end force; none without one.
    pub factor: Option<f64>,
    /// What a limp string along the centre line would have as that factor, `exp(sum of mu theta)`.
    pub string_factor: f64,
    /// Where friction is met, most first.
    pub losses: Vec<FrictionLoss>,
    /// What holds the others back.
    pub held: Vec<FrictionHeld>,
    /// Rounds between shape and loads.
    pub rounds: usize,
}

/// Friction along one stretch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FrictionLoss {
    /// What it is met on: `tube` or a rod.
    pub against: String,
    /// From this arc length of the centre line, mm.
    pub from_mm: f64,
    /// To this one, mm.
    pub to_mm: f64,
    /// Friction, N.
    pub friction_n: f64,
}

/// What a rod that is held feels.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FrictionHeld {
    /// The rod.
    pub rod: String,
    /// Force at its start if surfaces at rest carry nothing, N; positive: it is drawn in.
    pub reaction_n: f64,
    /// The least and the most it may be: surfaces at rest carry anything up to their friction.
    pub range_n: [f64; 2],
    /// Friction of the sliding rod on it, N; positive: towards its distal end.
    pub drag_n: f64,
}

impl Problem {
    /// Refuses moves and friction that cannot be.
    pub(super) fn check_friction(&self) -> Result<(), MechanicsError> {
        let refuse = |what: String, found: f64, needed| {
            Err(MechanicsError::OutOfRange {
                what,
                found,
                needed,
            })
        };
        let rods = self.rods.len();
        #[expect(clippy::cast_precision_loss, reason = "small counts")]
        let number = |index: usize| index as f64;
        for (k, rod) in self.rods.iter().enumerate() {
            let Some(found) = rod.axial_stiffness_n else {
                continue;
            };
            let what = format!("rods[{k}].axial_stiffness_n");
            if self.path.is_none() {
                let needed = Allowed::in_words("left out where no `path` is posed");
                return refuse(what, found, needed);
            }
            if !(found.is_finite() && found > 0.0) {
                return refuse(what, found, Allowed::POSITIVE);
            }
        }
        if let Some(path) = &self.path {
            path.check()?;
            let force = path.legs.iter().find_map(|leg| leg.hub_push_n);
            let stretches = |m: &ProblemMove| {
                let rod = self.rods.get(m.rod);
                rod.is_some_and(|rod| rod.axial_stiffness_n.is_some())
            };
            if let (Some(_), Some(m)) = (force, self.moves.filter(|m| !stretches(m))) {
                let needed = Allowed::in_words(
                    "an `axial_stiffness_n` of the rod that `moves`, where a leg gives `hub_push_n`",
                );
                return refuse(format!("rods[{}].axial_stiffness_n", m.rod), 0.0, needed);
            }
            if self.moves.is_none() {
                let needed = Allowed::in_words("left out where no rod `moves`");
                return refuse("path".into(), number(path.legs.len()), needed);
            }
        }
        let Some(moved) = &self.moves else {
            if !self.friction.is_empty() {
                return refuse(
                    "friction".into(),
                    number(self.friction.len()),
                    Allowed::in_words(
                        "left out where no rod `moves`: friction acts on what slides",
                    ),
                );
            }
            return Ok(());
        };
        if moved.rod >= rods {
            let needed = Allowed::in_words("the index of a rod, counted from 0")
                .at_least(0.0)
                .below(number(rods));
            return refuse("moves.rod".into(), number(moved.rod), needed);
        }
        let drawn = self.path.is_some() && moved.held_back_n < 0.0;
        if !(moved.held_back_n.is_finite() && (moved.held_back_n >= 0.0 || drawn)) {
            let needed = Allowed::NOT_NEGATIVE;
            return refuse("moves.held_back_n".into(), moved.held_back_n, needed);
        }
        for (i, pair) in self.friction.iter().enumerate() {
            let at = |field: &str| format!("friction[{i}].{field}");
            if pair.rod >= rods {
                let needed = Allowed::in_words("the index of a rod, counted from 0")
                    .at_least(0.0)
                    .below(number(rods));
                return refuse(at("rod"), number(pair.rod), needed);
            }
            if let Some(other) = pair.against.filter(|j| *j >= rods || *j == pair.rod) {
                let needed =
                    Allowed::in_words("the index of another rod, or left out for the tube")
                        .at_least(0.0)
                        .below(number(rods));
                return refuse(at("against"), number(other), needed);
            }
            if !(pair.coefficient.is_finite() && pair.coefficient >= 0.0) {
                return refuse(at("coefficient"), pair.coefficient, Allowed::NOT_NEGATIVE);
            }
            let twice = self.friction[..i].iter().any(|p| p.is_same_pair(pair));
            if twice {
                let needed = Allowed::in_words("given once for a pair");
                return refuse(at("coefficient"), pair.coefficient, needed);
            }
        }
        for (k, rod) in self.rods.iter().enumerate() {
            if rod.axial_load_n.abs() > 0.0 || !rod.frictionless {
                let needed = Allowed::in_words(
                    "left out, and `frictionless` too, where a rod `moves`: loads follow from the friction, give `moves.held_back_n`",
                );
                return refuse(format!("rods[{k}].axial_load_n"), rod.axial_load_n, needed);
            }
            if !rod.containers.is_empty() {
                let needed =
                    Allowed::in_words("left out where a rod `moves`: rods nest by themselves then");
                return refuse(
                    format!("rods[{k}].containers"),
                    number(rod.containers.len()),
                    needed,
                );
            }
        }
        if !self.beside.is_empty() {
            let needed =
                Allowed::in_words("left out where a rod `moves`: rods nest by themselves then");
            return refuse("beside".into(), number(self.beside.len()), needed);
        }
        Ok(())
    }

    /// Coefficient of a rod on the tube (none) or on another rod; none given, no friction.
    pub(super) fn coefficient(&self, rod: usize, other: Option<usize>) -> f64 {
        let wanted = ProblemFriction {
            rod,
            against: other,
            coefficient: 0.0,
        };
        let mut given = self.friction.iter();
        given
            .find(|pair| pair.is_same_pair(&wanted))
            .map_or(0.0, |pair| pair.coefficient)
    }

    /// The problem with the rod that slides, and what that takes.
    pub(super) fn slide(
        &self,
        posed: &Posed,
        moved: &ProblemMove,
    ) -> Result<(Solution, FrictionReport), MechanicsError> {
        let devices = self.stack_devices(posed);
        let containments = self.containments(posed);
        let settings = self.slide_settings();
        let friction = |rod, other| self.coefficient(rod, other);
        let stack = StackProblem::new(&posed.tube, &devices)
            .with_containments(&containments)
            .with_friction(&friction)
            .with_moving(Moving {
                device: moved.rod,
                direction: moved.direction,
                tip_resistance_n: moved.held_back_n,
            });
        let state = StackSolver::new(self.settings, settings).solve(&stack, None)?;
        if let Some(k) = state.devices.iter().position(|d| d.rod.is_none()) {
            return Err(MechanicsError::OutOfRange {
                what: format!("rods[{k}].end.tip_at_mm"),
                found: state.devices[k].tip_mm,
                needed: Allowed::in_words("at least 2.7 cells from the start"),
            });
        }
        for failure in &state.failures {
            if let Failure::LockUp {
                station_mm,
                hub_force_n,
            } = *failure
            {
                return Err(MechanicsError::LockedUp {
                    rod: moved.rod,
                    station_mm,
                    hub_force_n,
                });
            }
        }
        let (Some(mut solution), Some(load)) = (state.solution, state.load) else {
            return Err(MechanicsError::OutOfRange {
                what: "rods".into(),
                found: 0.0,
                needed: Allowed::in_words("long enough to bend"),
            });
        };
        solution.steps = state.newton_steps;
        if solution.status == Status::Converged {
            for flag in &solution.flags {
                if let Flag::Unsettled { load_n } = *flag {
                    solution.status = Status::Unsettled { load_n };
                }
            }
        }
        let report = self.friction_report(&load, state.rounds);
        Ok((solution, report))
    }

    /// Every rod in all those before it that have a lumen.
    pub(super) fn containments(&self, posed: &Posed) -> Vec<Containment> {
        let hollow = |j: &usize| posed.rods[*j].inner_mm.is_some();
        (0..self.rods.len())
            .flat_map(|k| {
                (0..k)
                    .filter(hollow)
                    .map(move |j| Containment::coaxial(k, j))
            })
            .collect()
    }

    /// The rods as devices of a stack, driven to where they end.
    pub(super) fn stack_devices(&self, posed: &Posed) -> Vec<StackDevice> {
        posed
            .rods
            .iter()
            .zip(&self.rods)
            .map(|(rod, given)| StackDevice {
                rod: rod.clone(),
                drive: match given.end {
                    ProblemEnd::ExitPlane | ProblemEnd::ExitOnAxis => Drive::Through,
                    ProblemEnd::Tip(s_mm) => Drive::Tip(s_mm),
                },
            })
            .collect()
    }

    /// Settings of a slide.
    pub(super) fn slide_settings(&self) -> LoadSettings {
        // to the last digit: no mismatch is enough, and rounds that come nearer slowly go on
        LoadSettings {
            enough_n: 0.0,
            most_rounds: 400,
            patience: 60,
            gradient_tolerance_n: self
                .settings
                .gradient_tolerance_n
                .min(LoadSettings::default().gradient_tolerance_n),
            most_factorised_unknowns: self.settings.most_factorised_unknowns,
            ..LoadSettings::default()
        }
    }

    fn friction_report(&self, load: &LoadReport, rounds: usize) -> FrictionReport {
        let partner = |other: Option<usize>| other.map_or_else(|| "tube".into(), |j| self.name(j));
        FrictionReport {
            rod: self.name(load.device),
            direction: load.direction,
            hub_force_n: load.hub_force_n,
            start_force_n: load.start_force_n,
            end_force_n: load.tip_force_n,
            friction_n: load.friction_n,
            factor: load.force_factor,
            string_factor: load.capstan_factor,
            losses: load
                .losses
                .iter()
                .map(|loss| FrictionLoss {
                    against: partner(loss.other),
                    from_mm: loss.from_mm,
                    to_mm: loss.to_mm,
                    friction_n: loss.lost_n,
                })
                .collect(),
            held: load
                .held
                .iter()
                .map(|held| FrictionHeld {
                    rod: self.name(held.device),
                    reaction_n: held.hub_reaction_n,
                    range_n: held.hub_range_n,
                    drag_n: held.drag_n,
                })
                .collect(),
            rounds,
        }
    }
}

impl ProblemFriction {
    fn is_same_pair(&self, other: &Self) -> bool {
        let turned =
            other.against.is_some_and(|j| j == self.rod) && self.against == Some(other.rod);
        (self.rod == other.rod && self.against == other.against) || turned
    }
}
