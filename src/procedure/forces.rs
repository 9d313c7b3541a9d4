//! What the forces of a step mean: what fails, what presses, what moves although it is held.

use super::{Exchange, Finding, Laid, Plan, RETRIEVER_HOLDS_N, State, StepEffect, Topic};
use crate::mechanics::{Direction, Failure, LoadReport};

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
/// Slack from which it is worth knowing, mm.
const SLACK_MM: f64 = 10.0;

/// Tells what the forces of a step mean, from the state before it to the one after.
pub(super) fn tell_forces(plan: &Plan, before: &State, after: &State, effect: &mut StepEffect) {
    let mut teller = Teller {
        plan,
        after,
        told: Vec::new(),
    };
    for laid in &effect.laid {
        teller.tell_all(laid, before, &effect.exchanges);
    }
    effect.findings.extend(teller.told);
}

/// Puts forces into words.
struct Teller<'a> {
    plan: &'a Plan,
    after: &'a State,
    told: Vec<Finding>,
}

impl Teller<'_> {
    fn tell_all(&mut self, laid: &Laid, before: &State, exchanges: &[Exchange]) {
        for failure in &laid.failures {
            self.tell_failure(failure, laid);
        }
        if let Some(why) = &laid.unsolved {
            self.tell(
                Finding::warning(
                    Topic::Force,
                    format!(
                        "no rest was found for the devices as rods here: lengths of this step are ruled along the centre line, and it has no forces ({why})"
                    ),
                )
                .with_help("a softer device, a smaller move, or a wider lumen at that place"),
            );
        }
        for (device, why) in &laid.unfelt {
            let text = format!(
                "no rest was found for a pull on the {} here: its lengths stand, what the pull takes is not known ({why})",
                self.name(*device)
            );
            self.tell(
                Finding::warning(Topic::Force, text)
                    .with_help("a softer device, a smaller move, or a wider lumen at that place"),
            );
        }
        for load in &laid.loads {
            self.tell_load(load);
        }
        self.tell_slack(laid);
        self.tell_fall_back(laid, before);
        for exchange in exchanges {
            self.tell_blind_drag(exchange, laid);
        }
    }

    fn tell(&mut self, finding: Finding) {
        self.told.push(finding);
    }

    fn name(&self, device: usize) -> &str {
        &self.plan.devices[device].name
    }

    fn tell_failure(&mut self, failure: &Failure, laid: &Laid) {
        let moving = laid
            .loads
            .first()
            .map_or("device", |l| self.name(l.device))
            .to_owned();
        let place = |station_mm: f64| self.plan.place_in_words(station_mm);
        let (text, help) = match *failure {
            Failure::LockUp {
                station_mm,
                hub_force_n,
            } => (
                format!(
                    "the {moving} locks up: {hub_force_n:.1} N at the hub and it still does not move; most is lost {}",
                    place(station_mm)
                ),
                "more support, a softer device, or another approach",
            ),
            Failure::HubForce {
                station_mm,
                hub_force_n,
                limit_n,
            } => (
                format!(
                    "the {moving} takes {hub_force_n:.1} N at the hub, the scene allows {limit_n:.1} N; most is lost {}",
                    place(station_mm)
                ),
                "more support, a softer device, or another approach",
            ),
            Failure::Prolapse {
                device,
                station_mm,
                angle_deg,
            } => (
                format!(
                    "the {} leaves the vessel's direction by {angle_deg:.0} degrees {}: it loops or prolapses, which is outside the model",
                    self.name(device),
                    place(station_mm)
                ),
                "more support at that place, or a stiffer shaft there",
            ),
            Failure::DoesNotFit {
                inner,
                outer,
                station_mm,
                outer_diameter_mm,
                lumen_mm,
            } => (
                format!(
                    "the {} is {outer_diameter_mm:.2} mm wide {}, the lumen of the {} there {lumen_mm:.2} mm: it does not fit",
                    self.name(inner),
                    place(station_mm),
                    self.name(outer)
                ),
                "a thinner device, or a wider lumen around it",
            ),
            Failure::NotConverged {
                device, station_mm, ..
            } => (
                format!(
                    "the rods came to no rest: the {} stays out of balance {}",
                    self.name(device),
                    place(station_mm)
                ),
                "smaller moves one after the other",
            ),
            Failure::LoadsNotSettled { .. } => (
                format!("the forces on the {moving} came to no rest"),
                "smaller moves one after the other",
            ),
            Failure::NonFinite | Failure::OverBound { .. } => (
                format!("where the {moving} comes to lie could not be found"),
                "smaller moves one after the other",
            ),
        };
        self.tell(Finding::failure(Topic::Force, text).with_help(help));
    }

    fn tell_load(&mut self, load: &LoadReport) {
        let device = &self.plan.devices[load.device].device;
        let name = self.name(load.device).to_owned();
        let shown_n = if device.max_outer_between(0.0, 1.0) <= MICRO_MM {
            TIP_SHOWN_N.0
        } else {
            TIP_SHOWN_N.1
        };
        if load.direction == Direction::Push && load.tip_force_n > shown_n {
            let text = format!(
                "the {name} presses with {:.2} N at its tip; from {shown_n} N on this is shown (from memory, no accepted limit is known)",
                load.tip_force_n
            );
            self.tell(Finding::warning(Topic::Force, text).with_help("let a softer device lead"));
        }
        if let Some(buckling) = &load.buckling {
            let text = format!(
                "the {name} buckles along {:.0} mm in all, most {}: it lies in waves on the wall there",
                buckling.length_mm,
                self.plan.place_in_words(buckling.station_mm)
            );
            self.tell(Finding::note(Topic::Force, text));
        }
    }

    fn tell_slack(&mut self, laid: &Laid) {
        if let (Some(slack_mm), Some(load)) = (laid.slack_mm, laid.loads.first())
            && slack_mm > SLACK_MM
        {
            let text = format!(
                "{slack_mm:.0} mm of the {} come out before its tip follows a pull",
                self.name(load.device)
            );
            self.tell(Finding::note(Topic::Force, text));
        }
    }

    /// Held devices whose tips move while another one is moved.
    fn tell_fall_back(&mut self, laid: &Laid, before: &State) {
        let moved: Vec<usize> = laid.loads.iter().map(|l| l.device).collect();
        for k in (0..before.in_place.len()).filter(|k| !moved.contains(k)) {
            let (Some(at), Some(Some(loaded_mm))) =
                (before.in_place[k], laid.loaded_tip_mm.get(k).copied())
            else {
                continue;
            };
            let back_mm = at.tip_mm - loaded_mm;
            let name = self.name(k);
            if back_mm.abs() <= SEEN_MM {
                continue;
            }
            let text = if back_mm > 0.0 {
                format!("the {name}'s tip falls back by {back_mm:.1} mm while it is held")
            } else {
                format!(
                    "the {name}'s tip jumps forward by {:.1} mm while it is held",
                    -back_mm
                )
            };
            let finding = if back_mm > FALL_BACK_MM {
                Finding::warning(Topic::Force, text)
                    .with_help("hold it forward, or give it more support")
            } else {
                Finding::note(Topic::Force, text)
            };
            self.tell(finding);
        }
    }

    /// A rail in nobody's hand against what still holds it.
    fn tell_blind_drag(&mut self, exchange: &Exchange, laid: &Laid) {
        if exchange.blind_mm <= 0.0 || !self.after.open[exchange.rail] {
            return;
        }
        let drag_n = laid
            .loads
            .iter()
            .filter(|l| l.device == exchange.device)
            .flat_map(|l| &l.held)
            .find(|h| h.device == exchange.rail)
            .map(|h| h.drag_n.abs());
        let Some(drag_n) = drag_n else {
            return;
        };
        let rail = self.name(exchange.rail).to_owned();
        let text = format!(
            "with nobody holding it, the {} drags on the {rail} with {drag_n:.2} N; the open retriever holds on with about {RETRIEVER_HOLDS_N} N",
            self.name(exchange.device)
        );
        let finding = if drag_n >= RETRIEVER_HOLDS_N {
            Finding::failure(Topic::Exchange, format!("{text}: the rail is lost"))
                .with_help("a longer rail, a rapid-exchange device, or less friction")
        } else {
            Finding::note(Topic::Exchange, text)
        };
        self.tell(finding);
    }
}
