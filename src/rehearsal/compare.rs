//! Plans side by side: which comes first, and by what.

use super::compare_flip::{Flip, flips};
use super::compare_words;
use super::how_sure::Chance;
use super::outcome::{Outcome, Verdict};
use super::run::{CAUTION, outcome_of};
use super::timing::loads_of;
use super::verdict::{first_that_stands, undecided};
use super::walk::{walk, walk_with};
use crate::procedure::reason::{Retrieving, Unknown, Why};
use crate::procedure::{
    Clock, Durations, Finding, Known, Ledger, Likelihood, Load, Meets, NetworkError, Passed,
    Percentiles, Plan, Reason, Rods, Sampling, Times, ledger,
};
use crate::threads::in_order;
use serde::{Deserialize, Serialize};

/// Version of the schema of a comparison.
pub const COMPARISON_VERSION: u32 = 2;

/// A plan to compare, with what is known about it.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Name in the comparison.
    pub name: String,
    /// The plan.
    pub plan: Plan,
    /// How long its steps take.
    pub durations: Durations,
    /// Lay devices along the centre line, without rods and forces: quick, and wrong by centimetres.
    pub ruler: bool,
}

impl Candidate {
    /// A plan to be solved with rods.
    #[must_use]
    pub const fn new(name: String, plan: Plan, durations: Durations) -> Self {
        Self {
            name,
            plan,
            durations,
            ruler: false,
        }
    }
}

/// A candidate with everything worked out.
#[derive(Debug, Clone)]
pub(super) struct Judged<'a> {
    pub(super) candidate: &'a Candidate,
    pub(super) passed: Vec<Passed>,
    pub(super) loads: Vec<Load>,
    pub(super) row: CompareRow,
}

/// The least room a device has.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeastReach {
    /// The device.
    pub device: String,
    /// What it has to spare, mm.
    pub margin_mm: f64,
    /// Number of the step, from 1.
    pub step: usize,
}

/// One plan in a comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CompareRow {
    /// Name.
    pub name: String,
    /// What it does.
    pub about: String,
    /// Whether the plan holds.
    pub verdict: Verdict,
    /// Lengths were ruled along the centre line, as asked for.
    pub by_ruler: bool,
    /// The first failure that stands: number of the step and what is wrong.
    pub breaks_at: Option<(usize, String)>,
    /// What is not known: number of the step and what, in the order of the script.
    pub undecided: Vec<(usize, String)>,
    /// Milestones of the course where everything takes its mean time.
    pub expected: Times,
    /// Puncture to reperfusion; none where it is never reached.
    pub reperfusion: Option<Percentiles>,
    /// Retriever's opening to reperfusion.
    pub open_to_reperfusion: Option<Percentiles>,
    /// Tips across the lesions of the neck, from below.
    pub crossings: usize,
    /// Times a lesion or the clot was passed with nothing across it.
    pub unled_crossings: usize,
    /// Where and when access was let go of with work left: obstacle and number of the step.
    pub let_go: Vec<(String, usize)>,
    /// Steps at the neck during which access was held but nothing had shown the true lumen.
    pub true_lumen_unproven: usize,
    /// Largest force at any hub, N; none where no rods were solved.
    pub largest_hub_force_n: Option<f64>,
    /// Largest capstan factor of any device that moves: force at the hub over force at the tip from
    /// turning and friction alone.
    pub largest_capstan_factor: f64,
    /// Smallest signed clearance of what crosses a stent's edge uncovered, mm (negative: it interferes);
    /// none where nothing does.
    pub edge_clearance_mm: Option<f64>,
    /// Times the open retriever is drawn bare across a stent's edge.
    pub bare_edges: usize,
    /// How likely clot is stripped where it is drawn through what is narrower than it: the worst of the way; none where it
    /// never is.
    #[serde(default)]
    pub clot_stripped: Option<Likelihood>,
    /// Share of patients in whom nothing is short, as far as lengths go; none where no margin rests on lengths.
    #[serde(default)]
    pub goes_through: Option<Chance>,
    /// Smallest reach margin; none where every device goes in to its hub.
    pub least_reach: Option<LeastReach>,
    /// Exchanges over the whole length of a device.
    pub whole_exchanges: usize,
    /// Exchanges by a side port.
    pub rapid_exchanges: usize,
    /// Longest travel of a rail out of hand, mm.
    pub longest_blind_mm: f64,
    /// All travel of rails out of hand, mm.
    pub blind_mm: f64,
    /// What the neck lesions leave in the end: NASCET percent of the tightest, an estimate.
    pub neck_left_percent: Option<f64>,
    /// Steps that act on the neck, and those of them under suction or a stopped flow.
    pub neck_steps: (usize, usize),
}

/// Plans side by side, the best first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// `nestline.comparison`.
    pub schema: String,
    /// [`COMPARISON_VERSION`].
    pub version: u32,
    /// Plans, the best first; those that are undecided after all others, in no order of merit.
    pub rows: Vec<CompareRow>,
    /// Why the first is first, in words.
    pub why: Vec<String>,
    /// Under what change the order by time turns round.
    pub flips: Vec<Flip>,
    /// The same in words.
    pub flips_in_words: Vec<String>,
    /// How they were ordered.
    pub order: String,
    /// What large series found of such orders, in words.
    #[serde(default)]
    pub series: Vec<String>,
    /// What the table of step times was fitted to.
    pub calibrated_to: Vec<Known>,
    /// The caution that goes with every output.
    pub caution: String,
}

/// How plans are ordered.
const ORDER: &str = "ordered by: does the plan hold; how often access is let go of with work left; how often the open \
retriever is drawn bare across a stent's edge; what the neck is left with (NASCET to 30 %, to 50 %, more); how likely clot is \
stripped on its way out; the share of patients in whom nothing is short, only where what two of them are known to does not overlap; time to reperfusion only where eight courses in ten of one end before those of the other begin. Plans that \
differ in none of these are told in the order of their names; those that are undecided stand apart at the end, in no order of merit";

/// NASCET percentages up to which what is left in the neck counts alike: what is accepted after a stent (20 to 30 %, from
/// memory), and what counts as a moderate stenosis from there on (50 %, from memory).
const LEFT_ALIKE: [f64; 2] = [30.0, 50.0];

/// What large series found of orders of treatment, with where that is from.
const SERIES: [&str; 3] = [
    "Head first or neck first, 11 studies, 1,517 patients: reperfusion 83.8 against 78.0 % (Min et al., Front Neurol 2022, 757665).",
    "The same, 36 studies, 3,038 patients: reperfusion 83 against 78 %, good outcome 51 against 44 %, complications 17 against 15 % (poster, neurosurgical congress, 2025).",
    "Puncture to reperfusion, 106 patients: 80 min on average, 14 to 180 (Sagga et al., Neurosciences (Riyadh) 23, 194, 2018; journal and year from memory).",
];

/// Rehearses and times plans and sets them side by side.
///
/// # Errors
/// As [`Clock::new`], for the first plan that cannot be timed.
pub fn compare(candidates: &[Candidate], sampling: &Sampling) -> Result<Comparison, NetworkError> {
    let judged = in_order(candidates, sampling.threads, |candidate| {
        judge(candidate, sampling)
    })
    .into_iter()
    .collect::<Result<Vec<_>, _>>()?;
    let judged = sorted(judged);
    let flips = flips(&judged)?;
    let rows: Vec<CompareRow> = judged.iter().map(|j| j.row.clone()).collect();
    Ok(Comparison {
        schema: "nestline.comparison".into(),
        version: COMPARISON_VERSION,
        why: compare_words::why(&rows),
        flips_in_words: flips.iter().map(compare_words::flip).collect(),
        flips,
        rows,
        order: ORDER.into(),
        series: SERIES.map(str::to_owned).to_vec(),
        calibrated_to: candidates
            .first()
            .map_or_else(Vec::new, |c| c.durations.calibrated_to.clone()),
        caution: CAUTION.into(),
    })
}

/// One plan on its own, as a row.
///
/// # Errors
/// As [`Clock::new`].
pub fn assess(candidate: &Candidate, sampling: &Sampling) -> Result<CompareRow, NetworkError> {
    judge(candidate, sampling).map(|judged| judged.row)
}

/// The smallest clearance of what crosses an edge uncovered.
fn edge_clearance_mm(outcome: &Outcome) -> Option<f64> {
    let bare = outcome.edges.iter().filter(|e| !e.shielded);
    bare.map(|e| e.clearance_mm).min_by(f64::total_cmp)
}

fn judge<'a>(candidate: &'a Candidate, sampling: &Sampling) -> Result<Judged<'a>, NetworkError> {
    let plan = &candidate.plan;
    let (passed, refused) = if candidate.ruler {
        (walk(plan), None)
    } else {
        match walk_with(plan, &mut Rods::default()) {
            Ok(passed) => (passed, None),
            // a step that rods refuse leaves the whole plan to the ruler, and nothing of it decided
            Err((step, _)) => (walk(plan), Some(step)),
        }
    };
    let outcome = match refused {
        None => outcome_of(plan, &passed),
        Some(step) => refused_outcome(plan, &passed, step),
    };
    let loads = loads_of(&outcome);
    let clock = Clock::new(plan, &candidate.durations, &loads, &passed)?;
    let ledger = ledger(plan, &passed);
    let spread = clock.sample(sampling);
    let forces = loads.iter().filter_map(|l| l.hub_force_n);
    let row = CompareRow {
        name: candidate.name.clone(),
        about: plan.about.clone(),
        verdict: outcome.verdict,
        by_ruler: outcome.by_ruler,
        breaks_at: first_that_stands(&outcome.steps).map(|(step, f)| (step, f.text.clone())),
        undecided: undecided(&outcome.steps)
            .map(|(step, f)| (step, f.text.clone()))
            .collect(),
        expected: clock.times(&clock.expected()),
        reperfusion: spread.reperfusion,
        open_to_reperfusion: spread.open_to_reperfusion,
        crossings: outcome.lesions.iter().map(|l| l.crossings).sum(),
        unled_crossings: ledger.unled(),
        let_go: let_go(&ledger),
        true_lumen_unproven: unproven(&ledger),
        largest_hub_force_n: forces.max_by(f64::total_cmp),
        largest_capstan_factor: largest_capstan(&outcome),
        edge_clearance_mm: edge_clearance_mm(&outcome),
        bare_edges: bare_edges(&outcome),
        clot_stripped: clot_stripped(&outcome),
        goes_through: outcome.sure.short.map(Chance::turned),
        least_reach: least_reach(&outcome),
        whole_exchanges: outcome.exchanges.iter().filter(|e| !e.rapid).count(),
        rapid_exchanges: outcome.exchanges.iter().filter(|e| e.rapid).count(),
        longest_blind_mm: outcome
            .exchanges
            .iter()
            .map(|e| e.blind_mm)
            .fold(0.0, f64::max),
        blind_mm: outcome.exchanges.iter().map(|e| e.blind_mm).sum(),
        neck_left_percent: outcome
            .lesions
            .iter()
            .map(|l| l.nascet_after_percent)
            .max_by(f64::total_cmp),
        neck_steps: (
            ledger.neck_work.len(),
            ledger
                .neck_work
                .iter()
                .filter(|p| !(p.suction.is_empty() && p.flow_stopped_by.is_empty()))
                .count(),
        ),
    };
    Ok(Judged {
        candidate,
        passed,
        loads,
        row,
    })
}

/// The better ones first; of plans of one class those that are clearly surer, and then those that are clearly sooner.
fn sorted(judged: Vec<Judged<'_>>) -> Vec<Judged<'_>> {
    let surer = |row: &CompareRow| judged.iter().filter(|o| o.row.clearly_surer(row)).count();
    let sooner = |row: &CompareRow| judged.iter().filter(|o| o.row.clearly_sooner(row)).count();
    let behind = judged.iter().map(|j| (surer(&j.row), sooner(&j.row)));
    let behind: Vec<(usize, usize)> = behind.collect();
    let mut ranked: Vec<_> = judged.into_iter().zip(behind).collect();
    ranked.sort_by_key(|(judged, behind)| (judged.row.class(), *behind));
    ranked.into_iter().map(|(judged, _)| judged).collect()
}

impl CompareRow {
    /// What plans are ordered by before any time: whether it holds, access let go of, bare edges, the neck in the end, clot.
    /// Plans that are undecided are all of one class.
    pub(super) fn class(&self) -> (u8, [usize; 4]) {
        match self.verdict {
            Verdict::Passes => (0, self.criteria()),
            Verdict::Fails => (1, self.criteria()),
            Verdict::Undecided => (2, [0; 4]),
        }
    }

    fn criteria(&self) -> [usize; 4] {
        let clot = clot_class(self.clot_stripped);
        [self.let_go.len(), self.bare_edges, self.neck_class(), clot]
    }

    /// How the neck is left: as is accepted, moderately narrowed, or more.
    pub(super) fn neck_class(&self) -> usize {
        neck_class(self.neck_left_percent)
    }

    /// Whether nothing is short in more patients than in another plan of its class, beyond what both shares are known to.
    pub(super) fn clearly_surer(&self, other: &Self) -> bool {
        let shares = self.goes_through.zip(other.goes_through);
        self.class() == other.class()
            && self.verdict != Verdict::Undecided
            && shares.is_some_and(|(own, others)| own.from > others.to)
    }

    /// Whether eight courses in ten of it end before those of another plan of its class begin.
    pub(super) fn clearly_sooner(&self, other: &Self) -> bool {
        self.class() == other.class()
            && self.verdict != Verdict::Undecided
            && match (self.reperfusion, other.reperfusion) {
                (Some(own), Some(others)) => own.p90_s < others.p10_s,
                (own, others) => own.is_some() && others.is_none(),
            }
    }
}

/// How the neck is left (NASCET percent): as is accepted, moderately narrowed, or more.
pub(super) fn neck_class(left_percent: Option<f64>) -> usize {
    let left = left_percent.unwrap_or(0.0);
    LEFT_ALIKE.iter().filter(|most| left > **most).count()
}

/// How likely clot is stripped: hardly, perhaps, or likely.
pub(super) const fn clot_class(stripped: Option<Likelihood>) -> usize {
    match stripped {
        None | Some(Likelihood::Unlikely) => 0,
        Some(Likelihood::Possible) => 1,
        Some(Likelihood::Likely) => 2,
    }
}

/// How likely clot is stripped on its way out, the worst of all places.
fn clot_stripped(outcome: &Outcome) -> Option<Likelihood> {
    let findings = outcome.steps.iter().flat_map(|s| &s.findings);
    let stripped = findings.filter_map(|f| match &f.reason {
        Reason::Retrieving(Retrieving::ClotThroughNarrow { stripped, .. }) => Some(*stripped),
        _ => None,
    });
    stripped.max()
}

/// The outcome of a plan ruled from end to end because rods refused a step of it (its index): from there on
/// nothing is known.
fn refused_outcome(plan: &Plan, passed: &[Passed], step: usize) -> Outcome {
    let mut passed = passed.to_vec();
    if let Some(done) = passed.get_mut(step) {
        let finding = Finding::undecided(Unknown::Step { why: Why::Refused });
        done.effect.findings.insert(0, finding);
    }
    Outcome {
        by_ruler: false,
        ..outcome_of(plan, &passed)
    }
}

pub(super) fn let_go(ledger: &Ledger) -> Vec<(String, usize)> {
    let crossings = ledger.crossings.iter();
    crossings
        .flat_map(|c| c.let_go_at.iter().map(|step| (c.across.clone(), *step)))
        .collect()
}

/// Steps at the neck at which a dissected lesion is held without the true lumen shown.
fn unproven(ledger: &Ledger) -> usize {
    let at_neck = ledger.neck_work.iter().filter_map(|work| {
        let row = ledger.rows.iter().find(|row| row.step == work.step)?;
        Some(row.holds.iter().any(|h| !h.true_lumen))
    });
    at_neck.filter(|unproven| *unproven).count()
}

fn largest_capstan(outcome: &Outcome) -> f64 {
    let devices = outcome.steps.iter().flat_map(|s| &s.devices);
    devices
        .filter(|d| d.moved)
        .map(|d| d.capstan_factor)
        .fold(1.0, f64::max)
}

fn bare_edges(outcome: &Outcome) -> usize {
    let edges = outcome.edges.iter();
    edges
        .filter(|e| e.meets == Meets::Struts && !e.shielded)
        .count()
}

/// The smallest margin of what is not meant to go in to its hub.
pub(super) fn least_reach(outcome: &Outcome) -> Option<LeastReach> {
    let row = outcome.reach.first()?;
    Some(LeastReach {
        device: row.device.clone(),
        margin_mm: row.margin_mm,
        step: row.step,
    })
}
