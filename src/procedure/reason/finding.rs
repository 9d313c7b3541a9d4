//! What a step is told about: what fails, what to watch, what happened.

use super::Reason;
use serde::{Deserialize, Serialize};

/// How grave a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// The plan goes on, but this is a weak point.
    Warning,
    /// Whether the plan holds here is not known.
    Undecided,
    /// The plan breaks here.
    Failure,
}

/// What kind of finding it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Topic {
    /// A device is too short.
    Reach,
    /// A device does not fit in or beside another.
    Fit,
    /// A device against a vessel.
    Vessel,
    /// A device against the lesion.
    Lesion,
    /// A rail is too short to hold or travels in nobody's hand.
    Exchange,
    /// A step's precondition does not hold.
    Precondition,
    /// Access across the lesion in the true lumen.
    Access,
    /// Stent, balloon or retriever and where they act.
    Treatment,
    /// An edge of a stent and what crosses it.
    StentEdge,
    /// Pushing, pulling, falling back.
    Force,
    /// What no equilibrium is known of.
    Unknown,
    /// What flows or does not through a lumen.
    Lumen,
    /// Who watches what.
    Image,
}

/// One finding of one step: how grave, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// How grave.
    pub severity: Severity,
    /// What was found, with its values.
    pub reason: Reason,
}

impl Finding {
    /// A finding of this gravity.
    #[must_use]
    pub fn new(severity: Severity, reason: impl Into<Reason>) -> Self {
        Self {
            severity,
            reason: reason.into(),
        }
    }

    /// A failure.
    #[must_use]
    pub fn failure(reason: impl Into<Reason>) -> Self {
        Self::new(Severity::Failure, reason)
    }

    /// Something that decides and is not known.
    #[must_use]
    pub fn undecided(reason: impl Into<Reason>) -> Self {
        Self::new(Severity::Undecided, reason)
    }

    /// A warning.
    #[must_use]
    pub fn warning(reason: impl Into<Reason>) -> Self {
        Self::new(Severity::Warning, reason)
    }

    /// What kind it is.
    #[must_use]
    pub const fn topic(&self) -> Topic {
        self.reason.topic()
    }

    /// A note.
    #[must_use]
    pub fn note(reason: impl Into<Reason>) -> Self {
        Self::new(Severity::Note, reason)
    }
}
