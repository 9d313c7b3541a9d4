//! Traced centre lines made into a tree: joined, smoothed, reported.
//!
//! Lines come as whoever segmented the images wrote them: one from the root to every tip, so that trunks repeat;
//! or one a vessel, touching without a shared point; noisy, some of them twice. [`trace`] makes one tree of them:
//! what runs along another line is taken once, ends that lie in another line's lumen are joined to it, branches
//! run from the root outwards, the one to the target whole; then each is smoothed (`smooth` states the law) and its
//! radii are filtered. [`Traced::told`] says all that was changed.
//!
//! # Validity
//! A vessel is a tree: where lines close a ring it is opened. Points are mm in the vessel's coordinates. A line that crosses itself,
//! a radius that is not positive and a part that touches nothing are refused, with the row they stand in.

mod branches;
mod chain;
mod graft;
mod graph;
mod grid;
mod narrowing;
mod radii;
mod smooth;
mod vessel;

pub use graft::{Cut, Grafted, Piece, graft};
pub use narrowing::{Narrowing, narrowings};
pub use smooth::Strength;
pub use vessel::{TracedLesion, TracedOnto, TracedVessel};

use super::{Curve, GeometryError, Point};
use crate::units::Refusal;
use serde::Serialize;

/// A line as traced: points in order.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TracedLine {
    /// Points, mm, `[n]`.
    pub points_mm: Vec<Point>,
    /// Radii of the lumen, mm, `[n]`.
    pub radii_mm: Vec<f64>,
    /// Where each point stands in its file, `[n]`: a row, or a number of its own.
    pub rows: Vec<usize>,
}

/// A place named by a point in space or by the row it stands in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spot {
    /// The nearest place to a point, mm.
    Point(Point),
    /// The place of the point in this row.
    Row(usize),
}

/// How lines are made into a tree.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct TraceSettings {
    /// Ends this near to another line are joined to it, mm; where left out, those within its lumen.
    pub join_mm: Option<f64>,
    /// How strongly lines are smoothed.
    pub strength: Strength,
    /// The end that flow comes in by; the widest where left out. Parts that do not hang together with it are left out
    /// then, instead of being refused.
    pub root: Option<Spot>,
    /// Where the first branch leads; to the end farthest along the lines where left out.
    pub target: Option<Spot>,
}

impl TraceSettings {
    /// The default with some values changed.
    #[must_use]
    pub fn with(change: impl FnOnce(&mut Self)) -> Self {
        let mut settings = Self::default();
        change(&mut settings);
        settings
    }
}

impl Default for TraceSettings {
    fn default() -> Self {
        Self {
            join_mm: None,
            strength: Strength::ByCrossValidation,
            root: None,
            target: None,
        }
    }
}

/// Why lines make no vessel.
#[derive(Debug, Clone, PartialEq)]
pub struct TraceFault {
    /// The row to look at.
    pub row: Option<usize>,
    /// What is wrong, and how to mend it.
    pub refusal: Refusal,
}

impl TraceFault {
    fn at(row: Option<usize>, what: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            row,
            refusal: Refusal::new(what, help),
        }
    }
}

/// A branch of a traced tree.
#[derive(Debug, Clone, PartialEq)]
pub struct TracedBranch {
    /// Where it leaves which branch (an index below its own), mm along it; none for the first.
    pub leaves: Option<(usize, f64)>,
    /// Points of the smoothed line, mm, `[n]`: the natural spline through them is the centre line.
    pub points_mm: Vec<Point>,
    /// Radii of the lumen, mm, `[n]`.
    pub radii_mm: Vec<f64>,
    /// Rows of the traced points and where they came to lie, mm along the branch.
    pub rows: Vec<(usize, f64)>,
    /// The spline.
    pub curve: Curve,
    /// What smoothing changed.
    pub smoothing: Smoothing,
}

/// What smoothing did to a branch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Smoothing {
    /// The strength, mm.
    pub strength_mm: f64,
    /// Root of the mean square of how far points were moved, mm.
    pub moved_mm: f64,
    /// Length as traced, from point to point, mm.
    pub length_before_mm: f64,
    /// Length of the smoothed line, mm.
    pub length_after_mm: f64,
    /// Largest curvature of the circles through three neighbouring points as traced, 1/mm.
    pub curvature_before_per_mm: f64,
    /// The same of the smoothed line.
    pub curvature_after_per_mm: f64,
    /// The most a radius was changed by the filter, mm.
    pub radius_changed_mm: f64,
    /// The most a lumen was narrowed to fit a bend, mm.
    pub narrowed_mm: f64,
}

/// Something done on the way that whoever gave the lines should know.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", rename_all_fields = "snake_case")]
pub enum Told {
    /// Points that coincide with the one before were dropped.
    SamePoints {
        /// How many.
        count: usize,
    },
    /// A stretch that runs along another line was dropped.
    RunsAlong {
        /// Row of its first point.
        row: usize,
        /// Its length, mm.
        length_mm: f64,
    },
    /// An end that shared no point with another line was joined to it.
    Joined {
        /// Row of the end.
        row: usize,
        /// The gap that was closed, mm.
        gap_mm: f64,
    },
    /// A ring was opened: the stretch that closed it was dropped.
    RingOpened {
        /// Row in its middle.
        row: usize,
        /// Its length, mm.
        length_mm: f64,
    },
    /// A side branch that does not leave the lumen it starts in was dropped.
    Stub {
        /// Row of its end.
        row: usize,
        /// Its length, mm.
        length_mm: f64,
    },
    /// A part that hangs together with nothing was left out.
    LeftOut {
        /// Row of one of its ends.
        row: usize,
        /// Its length, mm.
        length_mm: f64,
    },
    /// The end of a branch whose lumen is too narrow for any device was cut off.
    TooNarrow {
        /// Row of its tip.
        row: usize,
        /// What was cut off, mm.
        length_mm: f64,
    },
}

/// A tree made of traced lines; the first branch leads from the root to the target.
#[derive(Debug, Clone, PartialEq)]
pub struct Traced {
    /// Branches, parents first.
    pub branches: Vec<TracedBranch>,
    /// What was done on the way.
    pub told: Vec<Told>,
}

impl Traced {
    /// Branch and arc length, mm, of a spot.
    ///
    /// # Errors
    /// A [`TraceFault`] for a row that is not in the tree.
    pub fn place(&self, spot: Spot) -> Result<(usize, f64), TraceFault> {
        match spot {
            Spot::Row(row) => {
                let mut all = self.branches.iter().enumerate();
                let found = all.find_map(|(i, b)| {
                    let at = b.rows.iter().find(|(known, _)| *known == row)?;
                    Some((i, at.1.min(b.curve.length_mm())))
                });
                found.ok_or_else(|| {
                    TraceFault::at(
                        Some(row),
                        format!("row {row} is no point of the tree"),
                        "name the row of a point, or a point X,Y,Z",
                    )
                })
            }
            Spot::Point(point) => Ok(self.nearest(&point)),
        }
    }

    fn nearest(&self, point: &Point) -> (usize, f64) {
        let mut best = (0, 0.0, f64::INFINITY);
        for (i, branch) in self.branches.iter().enumerate() {
            let (at_mm, off_mm) = branch.curve.closest(point);
            if off_mm < best.2 {
                best = (i, at_mm, off_mm);
            }
        }
        (best.0, best.1)
    }
}

/// Makes a tree of traced lines.
///
/// # Errors
/// The first [`TraceFault`]: no line, a line of one point, values that are no lumen, a line that crosses itself, parts that
/// do not hang together.
pub fn trace(lines: &[TracedLine], settings: &TraceSettings) -> Result<Traced, TraceFault> {
    let mut told = Vec::new();
    let lines = chain::cleaned(lines, &mut told)?;
    let graph = graph::Graph::of(&lines, settings, &mut told)?;
    let chains = graph.chains(settings, &mut told)?;
    let branches = branches::smoothed(chains, settings, &mut told)?;
    Ok(Traced { branches, told })
}

fn spline_fault(row: Option<usize>, error: &GeometryError) -> TraceFault {
    TraceFault {
        row,
        refusal: error.refusal(),
    }
}
