//! What a step is told about: what fails, what to watch, what happened.

use serde::{Deserialize, Serialize};

/// How grave a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// The plan goes on, but this is a weak point.
    Warning,
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
    /// What flows or does not through a lumen.
    Lumen,
    /// Who watches what.
    Image,
}

/// One finding of one step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// How grave.
    pub severity: Severity,
    /// What kind.
    pub topic: Topic,
    /// What was found, in plain words.
    pub text: String,
    /// What would help.
    pub help: Option<String>,
}

impl Finding {
    /// A failure.
    #[must_use]
    pub fn failure(topic: Topic, text: String) -> Self {
        Self {
            severity: Severity::Failure,
            topic,
            text,
            help: None,
        }
    }

    /// A warning.
    #[must_use]
    pub fn warning(topic: Topic, text: String) -> Self {
        Self {
            severity: Severity::Warning,
            topic,
            text,
            help: None,
        }
    }

    /// A note.
    #[must_use]
    pub fn note(topic: Topic, text: String) -> Self {
        Self {
            severity: Severity::Note,
            topic,
            text,
            help: None,
        }
    }

    /// The same with a way out.
    #[must_use]
    pub fn with_help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}
