//! What a step is told: how grave, and why.

use super::any::Reason;
use super::topic::{Severity, Topic};

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
