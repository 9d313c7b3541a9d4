//! Folding the script over the states.

use super::outcome::{
    AccessRow, DeviceRow, ExchangeRow, FitRow, LesionRow, Outcome, ReachRow, SCHEMA_VERSION,
    StackRow, StepRow, Verdict,
};
use super::words;
use crate::device::{FitRules, Verdict as FitVerdict};
use crate::mechanics::{BendContact, Surface, capstan_factor, friction};
use crate::procedure::{
    Finding, Meeting, Plan, Severity, State, StepEffect, Topic, meetings, perform,
};

/// How lengths and loads are had in this outcome.
const METHOD: &str = "Lengths are ruled along the centre line of the route: a real device cuts corners and is fed \
20 to 35 mm less over a femoral route. Loads are the capstan estimate: turning and friction only, no stiffness.";

/// The caution that goes with every output.
pub const CAUTION: &str = "For training and rehearsal only; not a medical device. Instructions for use, local protocol \
and licensed operators decide. No figure here says that a force or a manoeuvre is harmless.";

/// Rehearses a plan from its first step to its last.
#[must_use]
pub fn rehearse(plan: &Plan) -> Outcome {
    let fit_rules = FitRules::default();
    let mut state = State::start(plan);
    let mut gathered = Gathered::default();
    for (i, step) in plan.script.iter().enumerate() {
        let (after, effect) = perform(plan, &state, &step.act);
        let met = meetings(plan, &after, &effect.moves, &fit_rules);
        let say = step.say.clone().unwrap_or_else(|| step.act.in_words());
        gathered.step(plan, i + 1, say, &after, effect, &met);
        state = after;
    }
    gathered.finish(plan, &state)
}

#[derive(Default)]
struct Gathered {
    steps: Vec<StepRow>,
    fits: Vec<FitRow>,
    exchanges: Vec<ExchangeRow>,
}

impl Gathered {
    fn step(
        &mut self,
        plan: &Plan,
        number: usize,
        say: String,
        state: &State,
        effect: StepEffect,
        met: &[Meeting],
    ) {
        let mut findings = effect.findings;
        for meeting in met {
            findings.extend(self.meeting(plan, number, meeting));
        }
        findings.sort_by_key(|f| std::cmp::Reverse(f.severity));
        for exchange in &effect.exchanges {
            self.exchanges.push(ExchangeRow {
                step: number,
                device: plan.devices[exchange.device].name.clone(),
                rail: plan.devices[exchange.rail].name.clone(),
                direction: exchange.direction,
                rapid: exchange.rapid,
                rail_outside_mm: exchange.rail_outside_mm,
                needed_mm: exchange.needed_mm,
                blind_mm: exchange.blind_mm,
                blind_where: exchange.blind_between_mm.map(|(near_mm, far_mm)| {
                    format!(
                        "{} to {}",
                        plan.place_in_words(near_mm),
                        plan.place_in_words(far_mm)
                    )
                }),
            });
        }
        let devices = (0..plan.devices.len())
            .filter_map(|k| {
                let moved = effect.moves.iter().any(|m| m.device == k);
                device_row(plan, state, k, moved, met)
            })
            .collect();
        let stents = state
            .stents
            .iter()
            .map(|s| {
                (
                    plan.devices[s.device].name.clone(),
                    s.proximal_mm,
                    s.distal_mm,
                )
            })
            .collect();
        let suction = (0..plan.devices.len())
            .filter(|k| state.suction[*k])
            .map(|k| plan.devices[k].name.clone())
            .collect();
        self.steps.push(StepRow {
            number,
            say,
            performed: effect.performed,
            findings,
            devices,
            access: access_rows(plan, state),
            stents,
            suction,
        });
    }

    /// Records a meeting; tells it where it is new and tight, or grows tighter than told before.
    fn meeting(&mut self, plan: &Plan, step: usize, meeting: &Meeting) -> Option<Finding> {
        let name = |k: &usize| plan.devices[*k].name.clone();
        let inside: Vec<String> = meeting.inside.iter().map(name).collect();
        let around = name(&meeting.around);
        let fit = &meeting.fit;
        let known = self
            .fits
            .iter_mut()
            .find(|f| f.around == around && f.inside == inside);
        let told = known.as_ref().map(|f| f.verdict);
        match known {
            Some(row) if row.clearance_mm <= fit.clearance_mm => {}
            Some(row) => {
                row.verdict = fit.verdict;
                row.clearance_mm = fit.clearance_mm;
                row.worst_clearance_mm = fit.worst_clearance_mm;
                row.reason.clone_from(&fit.reason);
            }
            None => self.fits.push(FitRow {
                inside: inside.clone(),
                around: around.clone(),
                verdict: fit.verdict,
                clearance_mm: fit.clearance_mm,
                worst_clearance_mm: fit.worst_clearance_mm,
                reason: fit.reason.clone(),
                step,
            }),
        }
        if told.is_some_and(|t| t >= fit.verdict) {
            return None;
        }
        let who = inside.join(" beside the ");
        match fit.verdict {
            FitVerdict::Fits => None,
            FitVerdict::Tight => Some(
                Finding::warning(
                    Topic::Fit,
                    format!("the {who} runs tight in the {around}: {}", fit.reason),
                )
                .with_help("a thinner device inside or a wider one around it"),
            ),
            FitVerdict::DoesNotFit => Some(
                Finding::failure(
                    Topic::Fit,
                    format!("the {who} does not fit in the {around}: {}", fit.reason),
                )
                .with_help("a thinner device inside or a wider one around it"),
            ),
        }
    }

    fn finish(mut self, plan: &Plan, state: &State) -> Outcome {
        self.fits
            .sort_by(|a, b| a.clearance_mm.total_cmp(&b.clearance_mm));
        let failed = self
            .steps
            .iter()
            .any(|s| s.worst() == Some(Severity::Failure));
        let track = &plan.track;
        let mut outcome = Outcome {
            schema: "nestline.rehearsal".into(),
            version: SCHEMA_VERSION,
            scene: plan.name.clone(),
            about: plan.about.clone(),
            vessel: plan.vessel.clone(),
            stack: stack_rows(plan),
            verdict: if failed {
                Verdict::Fails
            } else {
                Verdict::Passes
            },
            headline: Vec::new(),
            route_mm: track.length_mm(),
            route_turning_deg: track.turning_between(0.0, track.length_mm()).to_degrees(),
            landmarks: track
                .landmarks
                .iter()
                .map(|l| (l.name.clone(), l.s_mm))
                .collect(),
            reach: reach_rows(plan, &self.steps),
            steps: self.steps,
            fits: self.fits,
            exchanges: self.exchanges,
            lesions: lesion_rows(plan, state),
            method: METHOD.into(),
            caution: CAUTION.into(),
        };
        outcome.headline = words::headline(&outcome);
        outcome
    }
}

fn stack_rows(plan: &Plan) -> Vec<StackRow> {
    let devices = plan.devices.iter();
    devices
        .map(|d| StackRow {
            name: d.name.clone(),
            device: d.device.name.clone(),
            class: d.device.class,
            usable_length_mm: d.device.usable_length_mm,
            basis: d.device.basis.clone(),
        })
        .collect()
}

fn device_row(
    plan: &Plan,
    state: &State,
    k: usize,
    moved: bool,
    met: &[Meeting],
) -> Option<DeviceRow> {
    let at = state.in_place[k]?;
    let stacked = &plan.devices[k];
    let tip_mm = state.distal_end_mm(plan, k)?;
    let outside_mm = state.outside_mm(plan, k)?;
    let container = state.container_at(plan, k, tip_mm);
    let name = |k: usize| plan.devices[k].name.clone();
    Some(DeviceRow {
        name: stacked.name.clone(),
        moved,
        fed_mm: at.fed_mm,
        tip_mm,
        tip_at: plan.place_in_words(tip_mm),
        to_landmarks_mm: plan
            .track
            .landmarks
            .iter()
            .map(|l| (l.name.clone(), l.s_mm - tip_mm))
            .collect(),
        through: at.through.map(name),
        outside_mm,
        margin_mm: outside_mm - stacked.grip_mm(&plan.rules),
        tip_in: container.map_or_else(|| "vessel".into(), name),
        turning_deg: plan
            .track
            .turning_between(0.0, tip_mm.max(0.0))
            .to_degrees(),
        capstan_factor: capstan_of(plan, state, k, tip_mm),
        clearance_mm: met
            .iter()
            .filter(|m| m.inside.contains(&k))
            .map(|m| m.fit.clearance_mm)
            .min_by(f64::total_cmp),
    })
}

/// The capstan factor from access to tip, with the friction of what the device lies in, stretch by
/// stretch.
fn capstan_of(plan: &Plan, state: &State, k: usize, tip_mm: f64) -> f64 {
    let device = &plan.devices[k].device;
    let stations = &plan.track.stations;
    let cells = stations.windows(2).take_while(|c| c[1].s_mm <= tip_mm);
    capstan_factor(cells.map(|c| {
        let against = match state.container_at(plan, k, f64::midpoint(c[0].s_mm, c[1].s_mm)) {
            None => Surface::Vessel,
            Some(j) => {
                let outer = &plan.devices[j].device;
                Surface::Device(outer.inner_surface.unwrap_or(outer.outer_surface))
            }
        };
        BendContact {
            turning_rad: c[1].turning_rad - c[0].turning_rad,
            friction_coefficient: friction(device.outer_surface, against).coefficient,
        }
    }))
}

fn access_rows(plan: &Plan, state: &State) -> Vec<AccessRow> {
    let lesions = plan.track.lesions.iter().enumerate();
    lesions
        .map(|(i, lesion)| AccessRow {
            lesion: lesion.name.clone(),
            held_by: state
                .across(plan, i)
                .map(|k| plan.devices[k].name.clone())
                .collect(),
            crossings: state.crossings[i],
            lost: state.access_lost[i],
            true_lumen_shown: state.true_lumen_shown[i],
            residual_mm: state.residual_mm[i],
        })
        .collect()
}

/// The least margin of each catheter; rails are judged by the exchanges they serve.
fn reach_rows(plan: &Plan, steps: &[StepRow]) -> Vec<ReachRow> {
    let mut rows: Vec<ReachRow> = plan
        .devices
        .iter()
        .filter(|d| !d.is_rail())
        .filter_map(|d| {
            let rows = steps
                .iter()
                .flat_map(|s| s.devices.iter().map(move |r| (s.number, r)));
            rows.filter(|(_, r)| r.name == d.name)
                .min_by(|a, b| a.1.margin_mm.total_cmp(&b.1.margin_mm))
                .map(|(step, r)| ReachRow {
                    device: d.name.clone(),
                    margin_mm: r.margin_mm,
                    step,
                })
        })
        .collect();
    rows.sort_by(|a, b| a.margin_mm.total_cmp(&b.margin_mm));
    rows
}

fn lesion_rows(plan: &Plan, state: &State) -> Vec<LesionRow> {
    let lesions = plan.track.lesions.iter().enumerate();
    lesions
        .map(|(i, lesion)| {
            let percent = |lumen_mm: f64| 100.0 * (1.0 - lumen_mm / lesion.reference_mm);
            LesionRow {
                name: lesion.name.clone(),
                before_mm: lesion.residual_mm,
                after_mm: state.residual_mm[i],
                nascet_before_percent: percent(lesion.residual_mm),
                nascet_after_percent: percent(state.residual_mm[i]),
                crossings: state.crossings[i],
            }
        })
        .collect()
}
