//! Why a piece of geometry is refused.

use thiserror::Error;

/// Why a curve, tree or track cannot be had.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum GeometryError {
    /// A quantity outside its range.
    #[error("{what} is {found}, must be {needed}")]
    OutOfRange {
        /// Name of the quantity, with its path (`runs[3].length_mm`).
        what: String,
        /// Its value.
        found: f64,
        /// The range in words.
        needed: &'static str,
    },
    /// A name that nothing in the vessel bears.
    #[error("no {kind} is named `{name}`{}", suggestion.as_ref().map(|s| format!(": did you mean `{s}`?")).unwrap_or_default())]
    Unknown {
        /// `landmark`, `branch`…
        kind: &'static str,
        /// The name asked for.
        name: String,
        /// The nearest name there is.
        suggestion: Option<String>,
    },
    /// Too few points or runs.
    #[error("{what} needs at least {needed} entries, has {found}")]
    TooFew {
        /// What is too short.
        what: String,
        /// Entries needed.
        needed: usize,
        /// Entries found.
        found: usize,
    },
    /// Branches that are each other's parents.
    #[error("branch `{branch}` is its own ancestor: a vessel is a tree, so give it another parent")]
    Cycle {
        /// A branch on the cycle.
        branch: String,
    },
    /// A tube that would overlap itself.
    #[error(
        "the lumen overlaps itself {station_mm:.1} mm from the access, in {place}: curvature {curvature_per_mm:.3}/mm times radius {radius_mm:.2} mm is {:.2}, must stay below 1: widen the bend or narrow the lumen",
        curvature_per_mm * radius_mm
    )]
    SelfOverlap {
        /// Arc length from the access, mm.
        station_mm: f64,
        /// Where that is, in words.
        place: String,
        /// Curvature of the centre line there, 1/mm.
        curvature_per_mm: f64,
        /// Lumen radius there, mm.
        radius_mm: f64,
    },
    /// A measurement that contradicts another one or cannot be built.
    #[error("{field} is {found}, must be {needed}: {mend}")]
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
