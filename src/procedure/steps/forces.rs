//! What the forces of a step mean: what fails, what presses, what moves although it is held.

use super::effect::StepEffect;
use crate::mechanics::{Direction, Failure, KNOWN_TO_FACTOR, LoadReport, flush_push_n};
use crate::procedure::placing::{StackPlacement, UnsolvedPull, retriever_holds_n};
use crate::procedure::reason;
use crate::procedure::reason::{Finding, Fit, Force, Severity, Unknown, Why, Within};
use crate::procedure::script::Plan;
use crate::procedure::state::{Direction as StepDirection, Exchange, Move, State};

/// Tip force above which a warning shows, N, for devices up to [`MICRO_MM`] wide and for wider
/// ones. From memory, for display only: no accepted figure was found below which a vessel is not
/// harmed.
const TIP_SHOWN_N: (f64, f64) = (0.1, 0.5);
/// Widest device judged as a micro-wire, mm.
const MICRO_MM: f64 = 0.5;
/// Movement of a held tip below which nothing is said, mm: what is seen on a screen.
const SEEN_MM: f64 = 1.0;
/// Fall-back of a held catheter from which it is a weak point, mm: a landing margin.
const FALL_BACK_MM: f64 = 5.0;
/// Force of a device that moves by itself from which it is told, N: what a hand hardly feels is not.
const HELD_TOLD_N: f64 = 0.01;
/// Share of what holds a rail in nobody's hand from which its drag is a weak point: from there on it is lost
/// if friction is as large as it may be.
const NEARLY_LOST: f64 = 1.0 / KNOWN_TO_FACTOR;
/// One atmosphere, N/mm2 (by definition).
const ATM_N_PER_MM2: f64 = 0.101_325;
/// Slack from which it is worth knowing, mm.
const SLACK_MM: f64 = 10.0;

/// Tells what the forces of a step mean, from the state before it to the one after.
pub fn tell_forces(plan: &Plan, before: &State, after: &State, effect: &mut StepEffect) {
    let mut teller = Teller {
        plan,
        before,
        after,
        told: Vec::new(),
    };
    for placed in &effect.placements {
        teller.tell_all(placed, &effect.exchanges);
    }
    teller.tell_fall_back(&effect.placements, &effect.moves, before);
    effect.findings.extend(teller.told);
}

/// Why no equilibrium is known, as an operator can use it; none for what an equilibrium says.
fn why(plan: &Plan, failure: &Failure) -> Option<Why> {
    let name = |device: usize| plan.devices[device].name.clone();
    Some(match *failure {
        Failure::Prolapse {
            device,
            station_mm,
            angle_deg,
        } => Why::OutsideModel {
            device: name(device),
            place: plan.spot(station_mm),
            angle_deg,
        },
        Failure::NotConverged {
            device,
            station_mm,
            residual_n,
        } => Why::NoRest {
            device: name(device),
            place: plan.spot(station_mm),
            residual_n,
        },
        Failure::NonFinite => Why::NotANumber,
        Failure::OverBound { most } => Why::TooMuchWork { most },
        Failure::LoadsNotSettled { .. } => Why::LoadsUnsettled,
        Failure::LockUp { .. } | Failure::HubForce { .. } | Failure::DoesNotFit { .. } => {
            return None;
        }
    })
}

/// Puts forces into words.
struct Teller<'a> {
    plan: &'a Plan,
    before: &'a State,
    after: &'a State,
    told: Vec<Finding>,
}

impl Teller<'_> {
    fn tell_all(&mut self, placed: &StackPlacement, exchanges: &[Exchange]) {
        for failure in &placed.failures {
            self.tell_failure(failure, &placed.loads);
        }
        if let Some(why) = &placed.unsolved {
            self.tell_failure(why, &placed.loads);
        }
        for unsolved in &placed.unsolved_pulls {
            self.tell_unsolved_pull(unsolved);
        }
        for load in &placed.loads {
            self.tell_load(load, placed.within_n);
        }
        self.tell_slack(placed);
        for exchange in exchanges {
            self.tell_blind_drag(exchange, placed);
        }
    }

    fn tell(&mut self, finding: Finding) {
        self.told.push(finding);
    }

    fn name(&self, device: usize) -> String {
        self.plan.devices[device].name.clone()
    }

    fn tell_failure(&mut self, failure: &Failure, loads: &[LoadReport]) {
        let moving = loads
            .first()
            .map_or_else(|| "device".into(), |l| self.name(l.device));
        let place = |station_mm: f64| self.plan.spot(station_mm);
        let reason = match *failure {
            Failure::LockUp {
                station_mm,
                hub_force_n,
            } => Force::LocksUp {
                device: moving,
                place: place(station_mm),
                hub_force_n,
            },
            Failure::HubForce {
                station_mm,
                hub_force_n,
                limit_n,
            } => Force::AboveLimit {
                device: moving,
                place: place(station_mm),
                hub_force_n,
                limit_n,
            },
            Failure::DoesNotFit {
                inner,
                beside,
                outer,
                station_mm,
                outer_diameter_mm,
                lumen_mm,
            } => {
                let inside = [beside, Some(inner)].into_iter().flatten();
                return self.tell(Finding::failure(Fit::DoesNotFit(Within {
                    inside: inside.map(|k| self.name(k)).collect(),
                    around: self.name(outer),
                    room: format!("{outer_diameter_mm:.3} mm in a lumen of {lumen_mm:.3} mm"),
                    place: Some(place(station_mm)),
                })));
            }
            Failure::Prolapse { .. }
            | Failure::NotConverged { .. }
            | Failure::LoadsNotSettled { .. }
            | Failure::NonFinite
            | Failure::OverBound { .. } => {
                let why = why(self.plan, failure).unwrap_or(Why::Refused);
                return self.tell(Finding::undecided(Unknown::Step { why }));
            }
        };
        self.tell(Finding::failure(reason));
    }

    /// A pull of which no equilibrium is known: it may not come, unless only its slack was asked for.
    fn tell_unsolved_pull(&mut self, unsolved: &UnsolvedPull) {
        let device = self.name(unsolved.device);
        let found = unsolved.why.as_ref();
        if let Some(why @ Failure::DoesNotFit { .. }) = found {
            return self.tell_failure(why, &[]);
        }
        let why = found
            .and_then(|failure| why(self.plan, failure))
            .unwrap_or(Why::Refused);
        self.tell(if unsolved.asks_slack {
            Finding::note(Unknown::Slack { device, why })
        } else {
            Finding::undecided(Unknown::Pull { device, why })
        });
    }

    fn tell_load(&mut self, load: &LoadReport, within_n: f64) {
        let device = &self.plan.devices[load.device].device;
        let shown_n = if device.max_outer_between(0.0, 1.0) <= MICRO_MM {
            TIP_SHOWN_N.0
        } else {
            TIP_SHOWN_N.1
        };
        if load.direction == Direction::Push && load.tip_force_n > shown_n {
            self.tell(Finding::warning(Force::TipPresses {
                device: self.name(load.device),
                tip_force_n: load.tip_force_n,
                shown_n,
            }));
        }
        if -load.hub_force_n > within_n.max(HELD_TOLD_N) {
            self.tell(Finding::note(Force::MovesByItself {
                device: self.name(load.device),
                forward: load.direction == Direction::Push,
                held_n: -load.hub_force_n,
            }));
        }
        if let Some(buckling) = &load.buckling {
            self.tell(Finding::note(Force::Buckles {
                device: self.name(load.device),
                length_mm: buckling.length_mm,
                place: self.plan.spot(buckling.station_mm),
            }));
        }
    }

    fn tell_slack(&mut self, placed: &StackPlacement) {
        if let (Some(slack_mm), Some(load)) = (placed.slack_mm, placed.loads.first())
            && slack_mm > SLACK_MM
        {
            self.tell(Finding::note(Force::Slack {
                device: self.name(load.device),
                slack_mm,
            }));
        }
    }

    /// Held devices whose tips move while another one is moved: each once, by the most of the whole step.
    fn tell_fall_back(&mut self, placed: &[StackPlacement], moves: &[Move], before: &State) {
        let moved = |k: &usize| {
            moves.iter().any(|m| m.device == *k)
                || placed.iter().flat_map(|l| &l.loads).any(|l| l.device == *k)
        };
        for k in (0..before.in_place.len()).filter(|k| !moved(k)) {
            let Some(at) = before.in_place[k] else {
                continue;
            };
            let tips = placed.iter().filter_map(|l| *l.loaded_tip_mm.get(k)?);
            let most = tips
                .map(|tip_mm| at.tip_mm - tip_mm)
                .max_by(|a, b| a.abs().total_cmp(&b.abs()));
            let Some(back_mm) = most.filter(|back_mm| back_mm.abs() > SEEN_MM) else {
                continue;
            };
            let device = self.name(k);
            self.tell(if back_mm > FALL_BACK_MM {
                Finding::warning(Force::FallsBack { device, back_mm })
            } else if back_mm > 0.0 {
                Finding::note(Force::FallsBack { device, back_mm })
            } else {
                Finding::note(Force::JumpsForward {
                    device,
                    forward_mm: -back_mm,
                })
            });
        }
    }

    /// A rail in nobody's hand against what still holds it.
    fn tell_blind_drag(&mut self, exchange: &Exchange, placed: &StackPlacement) {
        if exchange.blind_mm <= 0.0 || !self.after.open[exchange.rail] {
            return;
        }
        let drag_n = placed
            .loads
            .iter()
            .filter(|l| l.device == exchange.device)
            .flat_map(|l| &l.held)
            .find(|h| h.device == exchange.rail)
            .map(|h| h.drag_n.abs());
        let Some(drag_n) = drag_n else {
            return;
        };
        // lengths and outward forces of a retriever are sound once its device is checked
        let Ok(holds) = retriever_holds_n(self.plan, self.after, exchange.rail) else {
            return;
        };
        let holds_n = holds.iter().sum();
        let flush_n = self.flushed_forward_n(exchange);
        let net_n = drag_n - flush_n;
        let severity = if net_n >= holds_n {
            Severity::Failure
        } else if net_n >= NEARLY_LOST * holds_n {
            Severity::Warning
        } else {
            Severity::Note
        };
        self.tell(Finding::new(
            severity,
            reason::Exchange::RailDragged {
                rail: self.name(exchange.rail),
                device: self.name(exchange.device),
                drag_n,
                holds_n,
                flush_n,
            },
        ));
    }

    /// What saline pressed through a device that comes off pushes its rail forward with, N.
    fn flushed_forward_n(&self, exchange: &Exchange) -> f64 {
        let stacked = &self.plan.devices[exchange.device].device;
        let lumen_mm = stacked.min_inner_between(0.0, stacked.usable_length_mm);
        let (Some(atm), Some(lumen_mm), StepDirection::Removal) = (
            self.before.flushed_atm[exchange.device],
            lumen_mm,
            exchange.direction,
        ) else {
            return 0.0;
        };
        let rail_mm = self.plan.devices[exchange.rail].device.shaft_outer_mm();
        flush_push_n(atm * ATM_N_PER_MM2, rail_mm, lumen_mm)
    }
}
