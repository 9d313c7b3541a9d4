//! A rehearsal: the script walked through, and what every step of it comes to as an outcome.

use super::edge_rows::{Crossings, EdgeRow, EdgeRows, crossings, stent_rows};
use super::how_sure::HowSure;
use super::load_rows::{held_row, load_row};
use super::outcome::{
    AccessRow, DeviceRow, ExchangeRow, FindingRow, FitRow, LesionRow, Outcome, ReachRow,
    SCHEMA_VERSION, StackRow, StepRow,
};
use super::phases::phase_rows;
use super::verdict::verdict;
use super::walk::walk_through;
use super::weak_points::weak_points;
use super::{RehearsalError, words};
use crate::device::{FitRules, Verdict as FitVerdict};
use crate::geometry::{ecst_percent, nascet_percent};
use crate::mechanics::{BendContact, Surface, Tightness, capstan_factor};
use crate::procedure::reason::{Fit, Within};
use crate::procedure::{
    Finding, Meeting, Passed, Placer, Plan, Reason, Rods, State, StepEffect, meetings,
};

/// How lengths and loads are had where devices are laid as rods.
const BY_RODS: &str = "Every device is an elastic rod of its own in the lumen it lies in; fed lengths, tips and forces follow \
from their equilibrium, with friction where one moves. Stiffness and friction are class values known to a factor of \
about three: compare plans by them. What a ruler on the centre line would say stands beside it, and what turning and friction alone would make of a force \
between tip and hub. What balloons and stents leave open is an estimate.";
/// The same where they are ruled.
const BY_RULER: &str = "Lengths are ruled along the centre line of the route: a real device cuts corners and is fed 20 to 35 mm \
less over a femoral route. What turning and friction alone make of a force between tip and hub is an estimate without \
stiffness. What balloons and stents leave open is an estimate.";

/// The caution that goes with every output.
pub const CAUTION: &str = "For training and rehearsal only; not a medical device. Instructions for use, local protocol \
and licensed operators decide. No figure here says that a force or a manoeuvre is harmless.";

/// Rehearses a plan from its first step to its last, every device as an elastic rod.
///
/// # Errors
/// As [`rehearse_with`]. Where rods come to no rest, the step is ruled and says so.
pub fn rehearse(plan: &Plan) -> Result<Outcome, RehearsalError> {
    rehearse_with(plan, &mut Rods::default())
}

/// Rehearses a plan with the given way of laying the stack.
///
/// # Errors
/// [`RehearsalError`] where `placer` finds none.
pub fn rehearse_with(plan: &Plan, placer: &mut dyn Placer) -> Result<Outcome, RehearsalError> {
    Ok(outcome_of(plan, &walk_through(plan, placer)?))
}

/// The outcome of a script that has been walked through.
#[must_use]
pub fn outcome_of(plan: &Plan, passed: &[Passed]) -> Outcome {
    let mut gathered = Gathered::default();
    let judged = crossings(plan, passed);
    for (i, (done, judged)) in passed.iter().zip(judged).enumerate() {
        gathered.pass(plan, i + 1, done, judged);
        gathered.at_edges.suction(plan, i + 1, &done.after);
    }
    let start = State::start(plan);
    gathered.by_rods = passed.iter().any(|p| {
        let mut placed = p.effect.placements.iter();
        placed.any(|placed| placed.shape.is_some() || placed.unsolved.is_some())
    });
    gathered.sure = HowSure::of(plan, passed);
    gathered.finish(plan, passed.last().map_or(&start, |last| &last.after))
}

/// What one step of a script (its number from 1) comes to by itself, and the edges that it crosses: what
/// [`outcome_of`] says of it where nothing before it is tight.
pub(super) fn step_alone(
    plan: &Plan,
    number: usize,
    done: &Passed,
    judged: Crossings,
) -> (Vec<StepRow>, Vec<EdgeRow>) {
    let mut gathered = Gathered::default();
    gathered.pass(plan, number, done, judged);
    (gathered.steps, gathered.at_edges.edges)
}

#[derive(Default)]
struct Gathered {
    steps: Vec<StepRow>,
    fits: Vec<FitRow>,
    exchanges: Vec<ExchangeRow>,
    at_edges: EdgeRows,
    by_rods: bool,
    sure: HowSure,
    /// What rods found no room for and has been told.
    without_room: Vec<Within>,
}

/// Whether rods found no room for devices.
fn lacks_room(finding: &Finding) -> bool {
    matches!(&finding.reason, Reason::Fit(Fit::DoesNotFit(_)))
}

impl Gathered {
    fn pass(&mut self, plan: &Plan, number: usize, done: &Passed, judged: Crossings) {
        let Some(step) = plan.script.get(number - 1) else {
            return;
        };
        let met = meetings(plan, &done.after, &done.effect.moves, &FitRules::default());
        let states = [&done.before, &done.after];
        let at_edges = self
            .at_edges
            .step(plan, number, states, &done.effect, judged);
        self.step(plan, number, step.in_words(), states, &done.effect, &met);
        self.tell(at_edges);
    }

    fn step(
        &mut self,
        plan: &Plan,
        number: usize,
        say: String,
        [before, state]: [&State; 2],
        effect: &StepEffect,
        met: &[Meeting],
    ) {
        let (without_room, mut findings): (Vec<Finding>, Vec<Finding>) =
            effect.findings.iter().cloned().partition(lacks_room);
        for meeting in met {
            findings.extend(self.meeting(plan, number, meeting));
        }
        for found in without_room {
            self.tell_room(found, &mut findings);
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
        let tightness = plan.script[number - 1].tightness();
        let devices = (0..plan.devices.len())
            .filter_map(|k| device_row(plan, [before, state], k, effect, met, tightness))
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
            findings: findings.into_iter().map(FindingRow::from).collect(),
            devices,
            access: access_rows(plan, state),
            stents,
            suction,
        });
    }

    /// Adds findings to the step that was gathered last, the gravest first.
    fn tell(&mut self, told: Vec<Finding>) {
        if let Some(step) = self.steps.last_mut() {
            step.findings.extend(told.into_iter().map(FindingRow::from));
            step.findings.sort_by_key(|f| std::cmp::Reverse(f.severity));
        }
    }

    /// Tells what rods found no room for, once for the same devices: where lengths and diameters alone say so
    /// already, only the place is added.
    fn tell_room(&mut self, found: Finding, findings: &mut Vec<Finding>) {
        let Reason::Fit(Fit::DoesNotFit(lacking)) = &found.reason else {
            return;
        };
        let same = |other: &Within| other.is_of(&lacking.inside, &lacking.around);
        for told in findings.iter_mut() {
            if let Reason::Fit(Fit::DoesNotFit(told)) = &mut told.reason
                && same(told)
            {
                told.place = told.place.take().or_else(|| lacking.place.clone());
                return;
            }
        }
        let by_diameters = self.fits.iter().any(|fit| {
            fit.verdict == FitVerdict::DoesNotFit && lacking.is_of(&fit.inside, &fit.around)
        });
        if by_diameters || self.without_room.iter().any(same) {
            return;
        }
        self.without_room.push(lacking.clone());
        findings.push(found);
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
        let found = Within {
            inside,
            around,
            room: fit.reason.clone(),
            place: None,
        };
        match fit.verdict {
            FitVerdict::Fits => None,
            FitVerdict::Tight => Some(Finding::warning(Fit::Tight(found))),
            FitVerdict::DoesNotFit => Some(Finding::failure(Fit::DoesNotFit(found))),
        }
    }

    fn finish(mut self, plan: &Plan, state: &State) -> Outcome {
        self.fits
            .sort_by(|a, b| a.clearance_mm.total_cmp(&b.clearance_mm));
        let track = &plan.track;
        let mut outcome = Outcome {
            schema: "nestline.rehearsal".into(),
            version: SCHEMA_VERSION,
            scene: plan.name.clone(),
            about: plan.about.clone(),
            vessel: plan.vessel.clone(),
            stack: stack_rows(plan),
            verdict: verdict(&self.steps),
            by_ruler: !self.by_rods,
            headline: Vec::new(),
            numbers: Vec::new(),
            weak_points: weak_points(&self.steps),
            phases: phase_rows(plan, &self.steps, &self.exchanges, &self.at_edges.edges),
            route_mm: track.length_mm(),
            route_turning_deg: track.turning_between(0.0, track.length_mm()).to_degrees(),
            landmarks: track
                .landmarks
                .iter()
                .map(|l| (l.name.clone(), l.s_mm))
                .collect(),
            reach: reach_rows(plan, &self.steps),
            sure: self.sure,
            steps: self.steps,
            fits: self.fits,
            exchanges: self.exchanges,
            lesions: lesion_rows(plan, state),
            stents: stent_rows(plan, state),
            edges: self.at_edges.edges,
            counterfactuals: self.at_edges.counterfactuals,
            pulls: self.at_edges.pulls,
            suction: self.at_edges.suction,
            method: if self.by_rods { BY_RODS } else { BY_RULER }.into(),
            caution: CAUTION.into(),
        };
        outcome.headline = words::headline(&outcome);
        outcome.numbers = words::numbers(&outcome);
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
    [before, state]: [&State; 2],
    k: usize,
    effect: &StepEffect,
    met: &[Meeting],
    tightness: Tightness,
) -> Option<DeviceRow> {
    let at = state.in_place[k]?;
    let stacked = &plan.devices[k];
    let tip_mm = state.distal_end_mm(plan, k)?;
    let outside_mm = state.outside_mm(plan, k)?;
    let container = state.container_at(plan, k, tip_mm);
    let name = |k: usize| plan.devices[k].name.clone();
    let ruler_fed_mm = plan.fed_mm(at.tip_mm);
    Some(DeviceRow {
        name: stacked.name.clone(),
        moved: effect.moves.iter().any(|m| m.device == k),
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
        ruler_fed_mm,
        ruler_error_mm: ruler_fed_mm - at.fed_mm,
        turning_deg: plan
            .track
            .turning_between(0.0, tip_mm.max(0.0))
            .to_degrees(),
        capstan_factor: capstan_of(plan, state, k, tip_mm),
        load: effect
            .placements
            .iter()
            .find_map(|placed| load_row(plan, (state, effect, tightness), k, placed)),
        held: effect
            .placements
            .iter()
            .find_map(|placed| held_row(before, k, placed)),
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
            friction_coefficient: plan.values.friction.of(device.outer_surface, against),
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

/// The least margin of each catheter; rails are judged by the exchanges they serve, and what the script
/// brings in to its hub has no margin to speak of.
fn reach_rows(plan: &Plan, steps: &[StepRow]) -> Vec<ReachRow> {
    let mut rows: Vec<ReachRow> = plan
        .devices
        .iter()
        .filter(|d| !d.is_rail() && !plan.goes_to_hub(&d.name))
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

pub(super) fn lesion_rows(plan: &Plan, state: &State) -> Vec<LesionRow> {
    let lesions = plan.track.lesions.iter().enumerate();
    lesions
        .map(|(i, lesion)| {
            let percent = |lumen_mm: f64| nascet_percent(lumen_mm, lesion.reference_mm);
            let original_mm = plan.track.healthy_diameter_at(lesion.middle_mm());
            LesionRow {
                name: lesion.name.clone(),
                before_mm: lesion.residual_mm,
                after_mm: state.residual_mm[i],
                nascet_before_percent: percent(lesion.residual_mm),
                nascet_after_percent: percent(state.residual_mm[i]),
                ecst_before_percent: ecst_percent(lesion.residual_mm, original_mm),
                ecst_after_percent: ecst_percent(state.residual_mm[i], original_mm),
                crossings: state.crossings[i],
            }
        })
        .collect()
}
