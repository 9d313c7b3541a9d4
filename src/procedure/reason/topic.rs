//! How grave a finding is, and what it is about.

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
