//! A rehearsal's clock as plain data: what runs when, what is critical, how it lands.

use super::RehearsalError;
use super::blood::{BloodRow, blood_rows};
use super::outcome::{DeviceRow, Outcome};
use super::run::outcome_of;
use super::walk::{walk, walk_through};
use crate::procedure::{
    Clock, Disturbed, Durations, Known, Lane, Ledger, Load, NetworkError, Parts, Passed,
    Percentiles, Placer, Plan, Sampling, Schedule, SearchStatus, SpreadOfTimes, Times, ledger,
};
use crate::units::fixed;
use serde::{Deserialize, Serialize};

/// Most placements tried in search of a shorter order: a tenth of a second; networks of a dozen
/// activities are proved well below it.
const MOST_PLACEMENTS: usize = 5_000;
/// Slack below which an activity is critical, s: a hundredth of what a clock on the wall shows.
const CRITICAL_S: f64 = 0.01;

/// One activity on the clock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockRow {
    /// Its name in words.
    pub name: String,
    /// Number of its step, from 1; none for preparation and for the retriever's wait.
    pub step: Option<usize>,
    /// Where it takes place.
    pub lane: Lane,
    /// Start, s from the puncture.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// What its duration is made of.
    pub parts: Parts,
    /// How much later it may start without delaying the end of the last step, s.
    pub slack_s: f64,
    /// The same without delaying reperfusion; none where reperfusion does not depend on it.
    pub slack_to_reperfusion_s: Option<f64>,
    /// On the chain that decides when the brain is reperfused.
    pub critical: bool,
}

/// A time set beside what is known from outside.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Anchor {
    /// What is timed.
    pub what: String,
    /// What the clock says, s: the mean course.
    pub expected_s: f64,
    /// How it varies.
    pub spread: Option<Percentiles>,
    /// The same on average where tries fail and passes are made again, s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub disturbed_s: Option<f64>,
    /// How that varies.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub disturbed: Option<Percentiles>,
    /// What is known, in words.
    pub known: String,
    /// Where that is known from.
    pub source: String,
    /// The table was fitted to it: an agreement is no validation then.
    pub calibrated: bool,
}

/// Whether another order of the steps would be shorter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OtherOrder {
    /// What the best order found would save of the total, s.
    pub saves_s: f64,
    /// No order saves more than this, s.
    pub saves_at_most_s: f64,
}

/// A script on the clock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockReport {
    /// Name of the table of step times.
    pub table: String,
    /// What that was fitted to.
    pub calibrated_to: Vec<Known>,
    /// Courses drawn.
    pub courses: usize,
    /// Seed they were drawn from.
    pub seed: u64,
    /// Activities by lane, then by start.
    pub activities: Vec<ClockRow>,
    /// Names along the chain that decides when the brain is reperfused (or, without a clot, when the
    /// last step ends).
    pub critical_chain: Vec<String>,
    /// Milestones where everything takes its mean time.
    pub expected: Times,
    /// How they vary, each step done once.
    pub spread: SpreadOfTimes,
    /// The same where tries fail by the table's chances; none where it has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub disturbed: Option<Disturbed>,
    /// Where they land against what is known.
    pub anchors: Vec<Anchor>,
    /// Whether another order would be shorter.
    pub other_order: OtherOrder,
    /// Steps whose duration knows a force at the hub.
    pub steps_with_force: usize,
    /// Blood that suction draws, by step and lumen: an estimate.
    #[serde(default)]
    pub blood: Vec<BloodRow>,
    /// How the times were had.
    pub method: String,
}

/// A moment or a span that a clock is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Milestone {
    /// What it is, in words.
    pub what: &'static str,
    /// Where everything takes its mean time, s; none where it never comes.
    pub mean_s: Option<f64>,
    /// How it varies.
    pub spread: Option<Percentiles>,
}

impl ClockReport {
    /// Blood that suction draws in all and how long it is on, mL and s, as a sentence; none where nothing is on suction.
    #[must_use]
    pub fn blood_in_words(&self) -> Option<String> {
        let most = self
            .blood
            .iter()
            .max_by(|a, b| a.blood_ml.total_cmp(&b.blood_ml))?;
        let sum_ml: f64 = self.blood.iter().map(|b| b.blood_ml).sum();
        // known to a tenth at best
        let about = |ml: f64| fixed(10.0 * (0.1 * ml).round(), 0);
        Some(format!(
            "Suction draws about {} mL of blood, {} of it at step {} through the {}: flow times time, an estimate.",
            about(sum_ml),
            about(most.blood_ml),
            most.step,
            most.device
        ))
    }

    /// The moments and spans worth telling: every table and plot of milestones shows these, in these words.
    #[must_use]
    pub fn milestones(&self) -> [Milestone; 9] {
        let (mean, spread) = (&self.expected, &self.spread);
        [
            (
                "guide in the neck",
                mean.guide_in_neck_s,
                spread.guide_in_neck,
            ),
            (
                "retriever open",
                mean.retriever_open_s,
                spread.retriever_open,
            ),
            (
                "first balloon up in the neck",
                mean.neck_dilated_s,
                spread.neck_dilated,
            ),
            ("neck open", mean.neck_open_s, spread.neck_open),
            ("last device off the neck", mean.neck_done_s, None),
            ("reperfusion", mean.reperfusion_s, spread.reperfusion),
            ("end of the last step", mean.total_s, spread.total),
            (
                "span: retriever sits in the clot",
                mean.retriever_sat_s,
                spread.retriever_sat,
            ),
            (
                "span: retriever open to reperfusion",
                mean.open_to_reperfusion_s,
                spread.open_to_reperfusion,
            ),
        ]
        .map(|(what, mean_s, spread)| Milestone {
            what,
            mean_s,
            spread,
        })
    }
}

/// A rehearsal with its clock and its access ledger, as one piece of plain data.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rehearsed {
    /// The rehearsal.
    #[serde(flatten)]
    pub outcome: Outcome,
    /// Its clock.
    pub clock: ClockReport,
    /// Who holds the way meanwhile.
    pub ledger: Ledger,
}

/// Spans that published series time, and that failed tries lengthen.
const TO_RETRIEVER: &str = "puncture to retriever opened";
const TO_REPERFUSION: &str = "puncture to reperfusion";

/// How the times are had in this report.
const METHOD: &str = "Times are for rehearsal: spans of a table, not measurements of anybody. Steps run side by side where \
hands, assistants, planes, pumps and what they rely on allow. Milestones, lanes and comparisons tell an undisturbed course: each step \
succeeds at the first try, and the first pass brings the clot. Where the table has chances, the times \"with failed tries\" draw further \
passes, stents that need a balloon first and a way from the groin that is given up. Spreads are drawn independently but for one pace a \
course: what goes wrong together in a real case is not in them.";

/// What is known of the forces of each step: the largest at any hub that moves in it.
#[must_use]
pub fn loads_of(outcome: &Outcome) -> Vec<Load> {
    let force = |device: &DeviceRow| Some(device.load.as_ref()?.hub_force_n);
    outcome
        .steps
        .iter()
        .map(|step| Load {
            hub_force_n: step.devices.iter().filter_map(force).max_by(f64::total_cmp),
        })
        .collect()
}

/// Rehearses a plan with the given way of laying the stack, keeps its access ledger and puts it on
/// the clock.
///
/// # Errors
/// [`RehearsalError`] where no equilibrium was found, or as [`Clock::new`].
pub fn rehearse_all(
    plan: &Plan,
    table: &Durations,
    sampling: &Sampling,
    placer: &mut dyn Placer,
) -> Result<Rehearsed, RehearsalError> {
    let passed = walk_through(plan, placer)?;
    Ok(rehearsed_of(plan, table, sampling, &passed)?)
}

/// The same of a script that has been walked through.
///
/// # Errors
/// As [`Clock::new`].
pub fn rehearsed_of(
    plan: &Plan,
    table: &Durations,
    sampling: &Sampling,
    passed: &[Passed],
) -> Result<Rehearsed, NetworkError> {
    let outcome = outcome_of(plan, passed);
    let loads = loads_of(&outcome);
    Ok(Rehearsed {
        clock: timed(plan, table, &loads, sampling, passed)?,
        ledger: ledger(plan, passed),
        outcome,
    })
}

/// Puts a plan on the clock, its steps ruled along the centre line.
///
/// # Errors
/// As [`Clock::new`].
pub fn time(
    plan: &Plan,
    table: &Durations,
    loads: &[Load],
    sampling: &Sampling,
) -> Result<ClockReport, NetworkError> {
    timed(plan, table, loads, sampling, &walk(plan))
}

fn timed(
    plan: &Plan,
    table: &Durations,
    loads: &[Load],
    sampling: &Sampling,
    passed: &[Passed],
) -> Result<ClockReport, NetworkError> {
    let clock = Clock::new(plan, table, loads, passed)?;
    let course = clock.expected();
    let expected = clock.times(&course);
    let spread = clock.sample(sampling);
    let chances = table.chances.is_some();
    let disturbed = chances.then(|| clock.disturbed(sampling));
    let network = clock.network();
    let duration_s = network.durations_s();
    let slack = network.slack(&course, &duration_s, None);
    let goal = clock.reperfused_by(&course);
    let to_goal = network.slack(&course, &duration_s, goal);
    let mut activities: Vec<ClockRow> = clock
        .activities()
        .iter()
        .enumerate()
        .map(|(i, activity)| ClockRow {
            name: activity.name.clone(),
            step: activity.step.map(|s| s + 1),
            lane: activity.lane,
            start_s: course.start_s[i],
            end_s: course.end_s[i],
            parts: clock.parts(i),
            slack_s: slack.slack_s[i].max(0.0),
            slack_to_reperfusion_s: Some(to_goal.slack_s[i].max(0.0)).filter(|s| s.is_finite()),
            critical: duration_s[i] > 0.0 && to_goal.slack_s[i] < CRITICAL_S,
        })
        .collect();
    let ends = |step: usize| {
        let of_step = activities.iter().filter(|a| a.step == Some(step + 1));
        of_step.map(|a| a.end_s).max_by(f64::total_cmp)
    };
    let end_s: Vec<Option<f64>> = (0..passed.len()).map(ends).collect();
    activities.sort_by(|a, b| a.lane.cmp(&b.lane).then(a.start_s.total_cmp(&b.start_s)));
    Ok(ClockReport {
        table: table.name.clone(),
        calibrated_to: table.calibrated_to.clone(),
        courses: sampling.courses,
        seed: sampling.seed,
        activities,
        critical_chain: to_goal
            .chain
            .iter()
            .filter(|i| duration_s[**i] > 0.0)
            .map(|i| network.activities()[*i].name.clone())
            .collect(),
        anchors: anchors(&expected, &spread, disturbed.as_ref(), table),
        expected,
        spread,
        disturbed,
        other_order: other_order(&clock, &course),
        blood: blood_rows(plan, passed, &end_s),
        steps_with_force: loads.iter().filter(|l| l.hub_force_n.is_some()).count(),
        method: METHOD.into(),
    })
}

fn other_order(clock: &Clock, course: &Schedule) -> OtherOrder {
    let network = clock.network();
    let shortest = network.shortest(network.sorted(), MOST_PLACEMENTS);
    let saves_s = course.total_s() - shortest.total_s;
    OtherOrder {
        saves_s,
        saves_at_most_s: match shortest.status {
            SearchStatus::Proved => saves_s,
            SearchStatus::CutOff => course.total_s() - shortest.bound_s,
        },
    }
}

fn anchors(
    expected: &Times,
    spread: &SpreadOfTimes,
    disturbed: Option<&Disturbed>,
    table: &Durations,
) -> Vec<Anchor> {
    const SERIES: &str = "Paul et al., Interv Neuroradiol 26, 205-210 (2020)";
    let from_open = |at: Option<f64>| {
        let s = at? - expected.retriever_open_s?;
        (s > 0.0).then_some(s)
    };
    let fitted = |known: Known| table.calibrated_to.contains(&known);
    let rows = [
        (
            "puncture to the guide in the neck",
            expected.guide_in_neck_s,
            spread.guide_in_neck,
            "24.3 min to the internal carotid where the brain was reperfused, 35.6 min where not",
            "Interv Neuroradiol 2017, doi 10.1177/1591019917729364",
            fitted(Known::PunctureToNeck),
        ),
        (
            "retriever opened to reperfusion",
            expected.open_to_reperfusion_s,
            spread.open_to_reperfusion,
            "6 to 8 min",
            "common practice, no source",
            fitted(Known::RetrieverOpenToReperfusion),
        ),
        (
            "retriever opened to the last device off the neck",
            from_open(expected.neck_done_s),
            None,
            "about 5 min",
            "common practice, no source",
            fitted(Known::RetrieverOpenToReperfusion),
        ),
        (
            "retriever opened to the first balloon in the neck",
            from_open(expected.neck_dilated_s),
            None,
            "6 min, within a wait of 5 min; four patients",
            SERIES,
            false,
        ),
        (
            TO_RETRIEVER,
            expected.retriever_open_s,
            spread.retriever_open,
            "63 min; four patients",
            SERIES,
            false,
        ),
        (
            TO_REPERFUSION,
            expected.reperfusion_s,
            spread.reperfusion,
            "80.3 min on average, 14 to 180; 106 patients",
            "Sagga et al., Neurosciences (Riyadh) 23, 194 (2018; journal and year from memory)",
            false,
        ),
    ];
    rows.into_iter()
        .filter_map(|(what, expected_s, spread, known, source, calibrated)| {
            let (disturbed_s, disturbed) = match (what, disturbed) {
                (TO_RETRIEVER, Some(d)) => (d.retriever_open_mean_s, d.spread.retriever_open),
                (TO_REPERFUSION, Some(d)) => (d.reperfusion_mean_s, d.spread.reperfusion),
                _ => (None, None),
            };
            Some(Anchor {
                what: what.into(),
                expected_s: expected_s?,
                spread,
                disturbed_s,
                disturbed,
                known: known.into(),
                source: source.into(),
                calibrated,
            })
        })
        .collect()
}
