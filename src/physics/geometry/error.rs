//! Why a piece of geometry is refused.

use crate::units::{Allowed, Refusal};
use std::error::Error;
use std::fmt::{self, Display, Formatter};

const CYCLE: &str = "a vessel is a tree, so give it another parent";
const OVERLAP: &str = "widen the bend or narrow the lumen";
const DUPLICATE: &str = "give each its own name";
const DETACHED: &str = "move its first point onto the parent";

fn meant(name: &str) -> String {
    format!("did you mean `{name}`?")
}

/// Why a curve, tree or track cannot be had.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum GeometryError {
    /// A quantity outside its range.
    OutOfRange {
        /// Name of the quantity, with its path (`runs[3].length_mm`).
        what: String,
        /// Its value.
        found: f64,
        /// What it must be: limits as numbers, and in words.
        needed: Allowed,
    },
    /// A name that nothing in the vessel bears.
    Unknown {
        /// `landmark`, `branch`…
        kind: &'static str,
        /// The name asked for.
        name: String,
        /// The nearest name there is.
        suggestion: Option<String>,
    },
    /// Too few points or runs.
    TooFew {
        /// What is too short.
        what: String,
        /// Entries needed.
        needed: usize,
        /// Entries found.
        found: usize,
    },
    /// Two lists that must be equally long.
    LengthMismatch {
        /// Name of the list.
        what: String,
        /// The length it must have.
        needed: usize,
        /// Its length.
        found: usize,
    },
    /// Branches that are each other's parents.
    Cycle {
        /// A branch on the cycle.
        branch: String,
    },
    /// A tube that would overlap itself.
    SelfOverlap {
        /// Arc length from the access, mm.
        station_mm: f64,
        /// Where that is, in words.
        place: String,
        /// Curvature of the centre line there, 1/mm.
        curvature_per_mm: f64,
        /// Lumen radius there, mm.
        radius_mm: f64,
        /// What their product must stay below, at most 1.
        limit: f64,
    },
    /// Two things of one kind with one name.
    Duplicate {
        /// `branch`, `landmark`…
        kind: &'static str,
        /// The shared name.
        name: String,
        /// How often it appears.
        count: usize,
    },
    /// A parent or place on a branch that is not in the tree.
    NoSuchBranch {
        /// Who refers (`landmarks[2]`).
        what: String,
        /// The index found.
        found: usize,
        /// Number of branches.
        branches: usize,
    },
    /// A place beyond the end of its branch.
    OffBranch {
        /// What lies there (`landmark skull-base`).
        what: String,
        /// Where, mm.
        at_mm: f64,
        /// The branch.
        branch: String,
        /// Its length, mm.
        length_mm: f64,
    },
    /// A branch that does not start on its parent.
    Detached {
        /// The branch.
        branch: String,
        /// Its parent.
        parent: String,
        /// Distance from the ostium on the parent's centre line, mm.
        gap_mm: f64,
        /// The largest distance taken as touching, mm.
        allowed_mm: f64,
    },
    /// Two places in trees that do not hang together.
    NoRoute {
        /// Branch of the access.
        from: String,
        /// Branch of the target.
        to: String,
    },
    /// A measurement that contradicts another one or cannot be built.
    Measurement {
        /// The field of the form (`common_carotid.length_to_chord`).
        field: String,
        /// What it is.
        found: String,
        /// What it would have to be.
        needed: String,
        /// How to mend it.
        mend: String,
    },
}

impl Display for GeometryError {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        self.refusal().fmt(f)
    }
}

impl Error for GeometryError {}

impl GeometryError {
    /// What is wrong and how to mend it, apart.
    #[must_use]
    pub fn refusal(&self) -> Refusal {
        Refusal {
            what: self.what(),
            help: self.advice(),
        }
    }

    /// What was found, and why it will not do.
    fn what(&self) -> String {
        match self {
            Self::OutOfRange {
                what,
                found,
                needed,
            } => format!("{what} is {found}, must be {needed}"),
            Self::Unknown { kind, name, .. } => format!("no {kind} is named `{name}`"),
            Self::TooFew {
                what,
                needed,
                found,
            } => format!("{what} needs at least {needed} entries, has {found}"),
            Self::LengthMismatch {
                what,
                needed,
                found,
            } => format!("{what} has {found} entries, must have {needed}"),
            Self::Cycle { branch } => format!("branch `{branch}` is its own ancestor"),
            Self::SelfOverlap {
                station_mm,
                place,
                curvature_per_mm,
                radius_mm,
                limit,
            } => format!(
                "the lumen overlaps itself {station_mm:.1} mm from the access, in {place}: curvature {curvature_per_mm:.3}/mm times radius {radius_mm:.2} mm is {:.2}, must stay below {limit}",
                curvature_per_mm * radius_mm
            ),
            Self::Duplicate { kind, name, count } => {
                format!("{kind} `{name}` appears {count} times")
            }
            Self::NoSuchBranch {
                what,
                found,
                branches,
            } => format!(
                "{what} refers to branch number {found}, but there are only {branches}, counted from 0"
            ),
            Self::OffBranch {
                what,
                at_mm,
                branch,
                length_mm,
            } => format!(
                "{what} lies at {at_mm} mm on `{branch}`, which runs from 0 to {length_mm:.3} mm"
            ),
            Self::Detached {
                branch,
                parent,
                gap_mm,
                allowed_mm,
            } => format!(
                "branch `{branch}` starts {gap_mm:.3} mm from the centre line of its parent `{parent}`, must be within {allowed_mm} mm"
            ),
            Self::NoRoute { from, to } => {
                format!("no route leads from `{from}` to `{to}`: both must descend from one root")
            }
            Self::Measurement {
                field,
                found,
                needed,
                ..
            } => format!("{field} is {found}, must be {needed}"),
        }
    }

    /// How to mend it, where that can be said; for a number out of range the range, for a list the entries needed.
    #[must_use]
    pub fn help(&self) -> Option<String> {
        match self {
            Self::OutOfRange { needed, .. } => Some(needed.help()),
            Self::TooFew { needed, .. } => Some(format!("give at least {needed}")),
            Self::LengthMismatch { needed, .. } => Some(format!("give it {needed} entries")),
            _ => self.advice(),
        }
    }

    /// What a refusal says beside what is wrong: nothing where that names the range already.
    fn advice(&self) -> Option<String> {
        match self {
            Self::Unknown { suggestion, .. } => suggestion.as_deref().map(meant),
            Self::Cycle { .. } => Some(CYCLE.to_owned()),
            Self::SelfOverlap { .. } => Some(OVERLAP.to_owned()),
            Self::Duplicate { .. } => Some(DUPLICATE.to_owned()),
            Self::Detached { .. } => Some(DETACHED.to_owned()),
            Self::Measurement { mend, .. } => Some(mend.clone()),
            Self::OutOfRange { .. }
            | Self::TooFew { .. }
            | Self::LengthMismatch { .. }
            | Self::NoSuchBranch { .. }
            | Self::OffBranch { .. }
            | Self::NoRoute { .. } => None,
        }
    }
}
