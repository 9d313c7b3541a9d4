//! Stacks that do not do the script, by their first reason.

use super::super::outcome::FindingRow;
use super::StackOf;
use crate::procedure::reason::{Fit, Reach, Reason, StentEdge};
use crate::procedure::{Severity, Topic};
use crate::units::fixed;
use serde::{Deserialize, Serialize};

/// What a stack breaks on first: reasons of one kind and of the same roles are one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Why {
    /// Devices do not fit in another one.
    DoesNotFit {
        /// Roles inside, one or several side by side.
        inside: Vec<String>,
        /// Role around them.
        around: String,
    },
    /// A device is too short.
    TooShort {
        /// Its role.
        device: String,
    },
    /// A device catches at a stent's edge.
    Catches {
        /// Its role.
        device: String,
    },
    /// A catheter does not reach the place that was asked for.
    DoesNotReach {
        /// Its role.
        device: String,
    },
    /// Anything else, by the step where it shows.
    Other {
        /// Number of the step, from 1.
        step: usize,
        /// What it is about.
        topic: Topic,
    },
}

impl Why {
    /// What a reason that breaks a step (its number from 1) is counted as.
    #[must_use]
    pub fn of(step: usize, reason: &Reason) -> Self {
        match reason {
            Reason::Fit(Fit::DoesNotFit(within)) => Self::DoesNotFit {
                inside: within.inside.clone(),
                around: within.around.clone(),
            },
            Reason::Reach(Reach::TooShort { device, .. }) => Self::TooShort {
                device: device.clone(),
            },
            Reason::StentEdge(
                StentEdge::PassesInside { device, .. }
                | StentEdge::DrawnBare { device, .. }
                | StentEdge::StepPasses { device, .. },
            ) => Self::Catches {
                device: device.clone(),
            },
            other => Self::Other {
                step,
                topic: other.topic(),
            },
        }
    }
}

/// Stacks with the same first reason.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Rejected {
    /// How many.
    pub stacks: u64,
    /// What they break on.
    #[serde(flatten)]
    pub why: Why,
    /// No failure: whether they go is not known.
    pub undecided: bool,
    /// Number of the step where the first of them that was found breaks, from 1; none for what the script does not ask for.
    pub step: Option<usize>,
    /// What is said of the first of them.
    pub example: String,
    /// Its devices, of roles that the script has named by then.
    pub stack: Vec<StackOf>,
}

impl Rejected {
    pub(super) fn new(step: usize, finding: &FindingRow, stack: Vec<StackOf>) -> Self {
        Self {
            stacks: 0,
            why: Why::of(step, &finding.reason),
            undecided: finding.severity == Severity::Undecided,
            step: Some(step),
            example: finding.text.clone(),
            stack,
        }
    }
}

impl Rejected {
    pub(super) fn by_wish(why: Why, short_mm: f64, stack: Vec<StackOf>) -> Self {
        Self {
            stacks: 0,
            why,
            undecided: false,
            step: None,
            example: format!("{} mm short of it", fixed(short_mm, 0)),
            stack,
        }
    }
}
