//! Chains of the tree made into branches: smoothed, their lumens filtered, each starting on its parent.

use super::chain::RADII_MM;
use super::graph::Chain;
use super::smooth::{Smoothed, Strength, along, smooth};
use super::{Smoothing, Told, TraceFault, TraceSettings, TracedBranch, spline_fault};
use crate::geometry::{Curve, Point};

/// Curvature times radius of a traced branch stays below this; routes refuse 0.9, and points between those looked
/// at bend a little more.
const MOST_OVERLAP: f64 = 0.85;
/// A branch that bends more tightly than its lumen allows is smoothed more strongly by this factor.
const STRONGER: f64 = 1.3;
/// So many times; then the lumen is narrowed in the bend.
const TIMES: u32 = 4;
/// Points farther apart than this get others on the straight line between them, mm: a spline has nothing to hold on to in
/// between.
const MOST_GAP_MM: f64 = 8.0;
/// A smoothed line longer than the traced one by this factor has run away.
const MOST_LONGER: f64 = 2.0;
/// Most branches; a tree of the brain has some hundred.
const MOST_BRANCHES: usize = 5_000;

/// Smooths all chains, parents first.
pub(super) fn smoothed(
    chains: Vec<Chain>,
    settings: &TraceSettings,
    told: &mut Vec<Told>,
) -> Result<Vec<TracedBranch>, TraceFault> {
    if chains.len() > MOST_BRANCHES {
        return Err(TraceFault::at(
            None,
            format!(
                "the lines make {} branches, more than the {MOST_BRANCHES} that a vessel may have",
                chains.len()
            ),
            "export only the vessels that are rehearsed",
        ));
    }
    let mut branches: Vec<TracedBranch> = Vec::new();
    // index of each chain among the branches, if it became one
    let mut index: Vec<Option<usize>> = Vec::new();
    for mut chain in chains {
        let mut leaves = None;
        if let Some(parent) = chain.parent {
            let Some(parent) = index[parent] else {
                // it leaves what was dropped
                index.push(None);
                continue;
            };
            leaves = Some(start_on(&branches[parent], parent, &mut chain));
        }
        let tip = chain.rows.last().copied().unwrap_or(0);
        cut_narrow_tip(&mut chain, told);
        fill_gaps(&mut chain);
        let length_mm = along(&chain.points_mm).last().copied().unwrap_or(0.0);
        let within_mm = leaves.map_or(0.0, |(parent, at_mm)| radius_at(&branches[parent], at_mm));
        if length_mm <= within_mm || chain.points_mm.len() < 2 {
            told.push(Told::Stub {
                row: tip,
                length_mm,
            });
            index.push(None);
            continue;
        }
        index.push(Some(branches.len()));
        branches.push(branch(&chain, leaves, settings.strength)?);
    }
    if branches.is_empty() {
        return Err(TraceFault::at(
            None,
            "no line is left",
            "are the radii right?",
        ));
    }
    Ok(branches)
}

/// Lets a chain start on its parent's smoothed line.
fn start_on(parent: &TracedBranch, index: usize, chain: &mut Chain) -> (usize, f64) {
    let (at_mm, off_mm) = parent.curve.closest(&chain.points_mm[0]);
    let on = parent.curve.point_at(at_mm);
    // a start in the parent's middle is moved onto it, one beside it gets a point more
    if off_mm < 0.5 * chain.radii_mm[0] && chain.points_mm.len() > 1 {
        chain.points_mm[0] = on;
        if (chain.points_mm[1] - on).norm() < 1e-3 {
            chain.points_mm.remove(1);
            chain.radii_mm.remove(1);
            chain.rows.remove(1);
        }
    } else {
        chain.points_mm.insert(0, on);
        chain.radii_mm.insert(0, chain.radii_mm[0]);
        chain.rows.insert(0, chain.rows[0]);
    }
    (index, at_mm)
}

/// Puts points into gaps, of no row.
fn fill_gaps(chain: &mut Chain) {
    let mut filled = Chain {
        parent: chain.parent,
        ..Chain::default()
    };
    for (i, point) in chain.points_mm.iter().enumerate() {
        if let Some(before) = i.checked_sub(1) {
            let (from, radius_mm) = (chain.points_mm[before], chain.radii_mm[before]);
            let parts = ((point - from).norm() / MOST_GAP_MM).ceil();
            let mut part = 1.0;
            while part < parts {
                let share = part / parts;
                filled.points_mm.push(from + (point - from) * share);
                filled
                    .radii_mm
                    .push(radius_mm + (chain.radii_mm[i] - radius_mm) * share);
                filled.rows.push(usize::MAX);
                part += 1.0;
            }
        }
        filled.points_mm.push(*point);
        filled.radii_mm.push(chain.radii_mm[i]);
        filled.rows.push(chain.rows[i]);
    }
    *chain = filled;
}

fn radius_at(branch: &TracedBranch, at_mm: f64) -> f64 {
    let at = branch.curve.passes(&branch.points_mm);
    let after = at
        .partition_point(|s| *s < at_mm)
        .min(branch.radii_mm.len() - 1);
    branch.radii_mm[after]
}

/// Cuts off the end of a chain beyond which its lumen is too narrow to be one.
fn cut_narrow_tip(chain: &mut Chain, told: &mut Vec<Told>) {
    let wide = chain.radii_mm.iter().rposition(|r| r >= RADII_MM.start());
    let keep = wide.map_or(0, |i| i + 1);
    if keep < chain.radii_mm.len() {
        let at = along(&chain.points_mm);
        told.push(Told::TooNarrow {
            row: chain.rows.last().copied().unwrap_or(0),
            length_mm: at.last().copied().unwrap_or(0.0)
                - at.get(keep.saturating_sub(1)).copied().unwrap_or(0.0),
        });
        chain.points_mm.truncate(keep);
        chain.radii_mm.truncate(keep);
        chain.rows.truncate(keep);
    }
}

fn branch(
    chain: &Chain,
    leaves: Option<(usize, f64)>,
    strength: Strength,
) -> Result<TracedBranch, TraceFault> {
    let row = chain.rows.first().copied();
    let mut line = smooth(&chain.points_mm, leaves.is_some(), strength);
    let traced_mm = along(&chain.points_mm).last().copied().unwrap_or(0.0);
    let radii = |line: &Smoothed| super::radii::filtered(&line.at_mm, &chain.radii_mm);
    let made = |line: &Smoothed| -> Result<(Curve, Vec<f64>), TraceFault> {
        let smoothed_mm = along(&line.knots_mm).last().copied().unwrap_or(f64::NAN);
        // not a number is no length either
        let sound = smoothed_mm.is_finite() && smoothed_mm <= MOST_LONGER * traced_mm + 1.0;
        if !sound {
            return Err(TraceFault::at(
                row,
                "the line that begins here cannot be smoothed: its points lie too unevenly",
                "export it with points at even distances of a millimetre or less",
            ));
        }
        let curve =
            Curve::through_points(&line.knots_mm).map_err(|error| spline_fault(row, &error))?;
        Ok((curve, radii(line)))
    };
    let (mut curve, mut filtered) = made(&line)?;
    for _ in 0..TIMES {
        let tight = overlap(&curve, &line, &filtered) > MOST_OVERLAP;
        if !tight || !matches!(strength, Strength::ByCrossValidation) {
            break;
        }
        let stronger_mm = STRONGER * line.strength_mm.max(0.1);
        line = smooth(
            &chain.points_mm,
            leaves.is_some(),
            Strength::GivenMm(stronger_mm),
        );
        (curve, filtered) = made(&line)?;
    }
    let at_mm = curve.passes(&line.knots_mm);
    let mut radii_mm = Vec::with_capacity(at_mm.len());
    let mut narrowed_mm = 0.0_f64;
    for (&at, _) in at_mm.iter().zip(&line.knots_mm) {
        let wide_mm =
            interpolated(&line.at_mm, &filtered, at).clamp(*RADII_MM.start(), *RADII_MM.end());
        let fits_mm = MOST_OVERLAP / curvature_around(&curve, at).max(1e-9);
        narrowed_mm = narrowed_mm.max(wide_mm - fits_mm);
        radii_mm.push(wide_mm.min(fits_mm).max(*RADII_MM.start()));
    }
    let changed = filtered
        .iter()
        .zip(&chain.radii_mm)
        .map(|(a, b)| (a - b).abs());
    let smoothing = Smoothing {
        strength_mm: line.strength_mm,
        moved_mm: line.moved_mm,
        length_before_mm: along(&chain.points_mm).last().copied().unwrap_or(0.0),
        length_after_mm: curve.length_mm(),
        curvature_before_per_mm: largest_as_traced(&chain.points_mm),
        curvature_after_per_mm: at_mm
            .iter()
            .map(|s| curve.curvature_at(*s))
            .fold(0.0, f64::max),
        radius_changed_mm: changed.fold(0.0, f64::max),
        narrowed_mm: narrowed_mm.max(0.0),
    };
    Ok(TracedBranch {
        leaves,
        radii_mm,
        rows: chain
            .rows
            .iter()
            .copied()
            .zip(line.at_mm.iter().copied())
            .collect(),
        points_mm: line.knots_mm,
        curve,
        smoothing,
    })
}

/// Largest curvature near a place: bends of the spline peak at its knots.
fn curvature_around(curve: &Curve, at_mm: f64) -> f64 {
    [-0.5, -0.25, 0.0, 0.25, 0.5]
        .map(|off| curve.curvature_at(at_mm + off))
        .into_iter()
        .fold(0.0, f64::max)
}

fn overlap(curve: &Curve, line: &Smoothed, radii_mm: &[f64]) -> f64 {
    let products = curve.passes(&line.knots_mm).into_iter();
    products
        .map(|s| curve.curvature_at(s) * interpolated(&line.at_mm, radii_mm, s))
        .fold(0.0, f64::max)
}

/// Largest curvature of the circles through three neighbouring points, 1/mm.
fn largest_as_traced(points: &[Point]) -> f64 {
    let circles = points.windows(3).map(|p| {
        let (before, after, across) = (p[1] - p[0], p[2] - p[1], p[2] - p[0]);
        2.0 * before.cross(&after).norm()
            / (before.norm() * after.norm() * across.norm()).max(1e-12)
    });
    circles.fold(0.0, f64::max)
}

/// Linear between places that do not fall, constant beyond the ends.
fn interpolated(at: &[f64], values: &[f64], s: f64) -> f64 {
    let after = at.partition_point(|a| *a <= s);
    if after == 0 {
        return values[0];
    }
    if after == at.len() {
        return values[after - 1];
    }
    let share = (s - at[after - 1]) / (at[after] - at[after - 1]).max(1e-12);
    values[after - 1] + (values[after] - values[after - 1]) * share
}
