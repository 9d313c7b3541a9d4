//! One case: a plan with its numbers drawn, rehearsed, and what came of it.

use super::super::outcome::{Outcome, Verdict};
use super::super::run::outcome_of;
use super::super::timing::loads_of;
use super::super::walk::{walk, walk_on};
use crate::mechanics::Level;
use crate::procedure::reason::Reach;
use crate::procedure::{Clock, Durations, Passed, Plan, Reason, Rods, Sampling, Severity, Topic};
use serde::{Deserialize, Serialize};

/// How a case ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ends {
    /// The plan passes.
    Passes,
    /// It fails.
    Fails,
    /// It is undecided.
    Undecided,
    /// Nobody can be built of the numbers drawn: measurements that contradict each other.
    NoSuchPatient,
}

/// What breaks a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Breaks {
    /// A device is too short.
    Short,
    /// A device does not fit in another, or in the vessel.
    DoesNotFit,
    /// A push takes more than a hand has.
    LocksUp,
    /// A rail is lost.
    RailLost,
    /// A device catches at the edge of a stent.
    Catches,
    /// A step cannot be done, for another reason or in the wake of one of these.
    NotDone,
}

impl Breaks {
    /// All of them, in the order in which they are told.
    pub const ALL: [Self; 6] = [
        Self::Short,
        Self::DoesNotFit,
        Self::LocksUp,
        Self::RailLost,
        Self::Catches,
        Self::NotDone,
    ];

    /// In words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Short => "a device is too short",
            Self::DoesNotFit => "a device does not fit",
            Self::LocksUp => "a push takes more than a hand has",
            Self::RailLost => "a rail is lost",
            Self::Catches => "a device catches at a stent's edge",
            Self::NotDone => "a step cannot be done, by itself or after one of these",
        }
    }

    const fn of(topic: Topic) -> Self {
        match topic {
            Topic::Reach => Self::Short,
            Topic::Fit | Topic::Vessel | Topic::Lesion => Self::DoesNotFit,
            Topic::Force => Self::LocksUp,
            Topic::Exchange => Self::RailLost,
            Topic::StentEdge => Self::Catches,
            _ => Self::NotDone,
        }
    }
}

/// What came of a case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Case {
    /// Its number; it depends on that and on the seed alone.
    pub number: u64,
    /// How it ends.
    pub ends: Ends,
    /// What breaks it, each once.
    pub breaks: Vec<Breaks>,
    /// What the device that has least of it has to spare, mm, negative where it is short; none where nobody could be
    /// built.
    pub spare_mm: Option<f64>,
    /// Largest force at any hub, N; none by ruler.
    pub hub_force_n: Option<f64>,
    /// Largest share of samples in which anything catches at a stent's edge.
    pub catch_share: Option<f64>,
    /// Puncture to reperfusion in a course drawn for it, s; none where it is never reached.
    pub reperfusion_s: Option<f64>,
}

impl Case {
    pub(super) const fn nobody(number: u64) -> Self {
        Self {
            number,
            ends: Ends::NoSuchPatient,
            breaks: Vec::new(),
            spare_mm: None,
            hub_force_n: None,
            catch_share: None,
            reperfusion_s: None,
        }
    }

    /// Rehearses a plan by itself, on this thread alone.
    pub(super) fn of(
        number: u64,
        plan: &Plan,
        durations: &Durations,
        ruler: bool,
        seed: u64,
    ) -> Self {
        let (passed, refused) = match ruler {
            true => (walk(plan), false),
            false => match walk_on(plan, &mut Rods::default(), 1) {
                Ok(passed) => (passed, false),
                // a step that rods refuse leaves the plan to the ruler, and nothing of it decided
                Err(_) => (walk(plan), true),
            },
        };
        let outcome = outcome_of(plan, &passed);
        let ends = match outcome.verdict {
            _ if refused => Ends::Undecided,
            Verdict::Passes => Ends::Passes,
            Verdict::Fails => Ends::Fails,
            Verdict::Undecided => Ends::Undecided,
        };
        let hub = loads_of(&outcome);
        let hub = hub.iter().filter_map(|load| load.hub_force_n);
        let catch = outcome.edges.iter().map(|edge| edge.probability);
        Self {
            number,
            ends,
            breaks: match ends {
                Ends::Fails => breaks(&outcome),
                _ => Vec::new(),
            },
            spare_mm: spare_mm(&outcome),
            hub_force_n: hub.max_by(f64::total_cmp),
            catch_share: catch.max_by(f64::total_cmp),
            reperfusion_s: reperfusion_s(plan, durations, &outcome, &passed, seed),
        }
    }
}

fn breaks(outcome: &Outcome) -> Vec<Breaks> {
    let findings = outcome.steps.iter().flat_map(|step| &step.findings);
    let failures = findings.filter(|f| f.severity == Severity::Failure);
    let mut found: Vec<Breaks> = failures.map(|f| Breaks::of(f.topic)).collect();
    found.sort();
    found.dedup();
    found
}

/// What is left of the shortest, less by what it is short.
fn spare_mm(outcome: &Outcome) -> Option<f64> {
    let findings = outcome.steps.iter().flat_map(|step| &step.findings);
    let short = findings.filter_map(|finding| match &finding.reason {
        Reason::Reach(Reach::TooShort { short_mm, .. }) => Some(-short_mm),
        _ => None,
    });
    let spare = outcome.reach.first().map(|row| row.margin_mm);
    short.chain(spare).min_by(f64::total_cmp)
}

/// When the brain is reperfused in one course of its own.
fn reperfusion_s(
    plan: &Plan,
    durations: &Durations,
    outcome: &Outcome,
    passed: &[Passed],
    seed: u64,
) -> Option<f64> {
    let clock = Clock::new(plan, durations, &loads_of(outcome), passed).ok()?;
    let one = Sampling {
        courses: 1,
        seed,
        threads: 1,
    };
    let course = clock.disturbed_courses(&one);
    course.first().and_then(|(times, _)| times.reperfusion_s)
}

/// In words, for a table and for a file.
#[must_use]
pub(super) const fn level_in_words(level: Level) -> &'static str {
    match level {
        Level::Least => "least",
        Level::Usual => "usual",
        Level::Most => "most",
    }
}
