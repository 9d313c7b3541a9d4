//! The law by which a traced centre line is smoothed.
//!
//! What is sought is a cubic spline on even knots, `x(t) = sum of P_k B(t / h - k)`, that makes
//!
//! ```text
//! integral of |x - traced|^2 dt  +  L^4 * sum over knots of |change of the curvature vector|
//! ```
//!
//! as small as it gets: the spline with the least change of curvature in all that stays by the points. Its bends
//! are arcs: constant curvature costs nothing, a change costs as much as it is large, wherever it happens, so that
//! a straight stretch comes out straight and a bend keeps its full curvature, without the ringing that penalties on
//! squares leave beside a bend. `L` is the strength, a length in mm. The sum of absolute values is minimised by
//! reweighting: a few solves of a matrix of seven diagonals.
//!
//! The strength is chosen by leaving every fifth point out in turn: the strongest of a series whose error in the
//! points left out is no more than a sixteenth above the least.

use super::super::{Point, Vector};

/// Control points lie so far apart along the line, mm. A spline cuts a bend of 4 mm radius by a hundredth of a millimetre then.
const KNOTS_MM: f64 = 0.5;
/// Short lines get at least so many stretches between knots.
const LEAST_CELLS: usize = 12;
/// Most of them: longer lines get wider ones.
const MOST_CELLS: usize = 6000;
/// Changes of curvature below this, 1/mm, are not told from none.
const CHANGE_PER_MM: f64 = 1e-4;
/// Strengths tried, mm: from far below any spacing to wider than any bend.
const STRENGTHS_MM: (f64, f64) = (0.05, 16.0);
/// The strength of a first look, mm.
const FIRST_MM: f64 = 1.0;
/// Ratio of neighbouring strengths.
const STEP: f64 = 1.25;
/// Points left out in turn.
const FOLDS: usize = 5;
/// How much worse than the best a stronger smoothing may foretell points left out.
const AS_GOOD: f64 = 1.12;
/// Differences of predictions below this mean nothing, mm.
const NOTHING_MM: f64 = 3e-3;
/// Reweighted solves at each strength of the series; the next one goes on from there.
const SOLVES: usize = 4;
/// Reweighted solves at the strength that is taken.
const LAST_SOLVES: usize = 40;
/// Weight of a point that is held, against one of the others.
const HELD: f64 = 1e6;

/// How strongly lines are smoothed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Strength {
    /// Found by cross-validation, line by line.
    ByCrossValidation,
    /// This strength, mm; 0 leaves hardly anything smoothed.
    GivenMm(f64),
}

/// A smoothed line.
#[derive(Debug, Clone)]
pub(super) struct Smoothed {
    /// Points of the smoothed line, evenly spaced but for its ends; the natural spline through them is it.
    pub(super) knots_mm: Vec<Point>,
    /// Arc length, mm, on the smoothed line of every traced point.
    pub(super) at_mm: Vec<f64>,
    /// The strength taken, mm.
    pub(super) strength_mm: f64,
    /// Distance between traced points and where they came to lie, root of the mean square, mm.
    pub(super) moved_mm: f64,
}

/// Smooths a line; its first point stays where it is, if that is asked for.
pub(super) fn smooth(points: &[Point], hold_start: bool, strength: Strength) -> Smoothed {
    let mut at = along(points);
    // a first look only for the parameter: lengths along noisy points are too long
    let first_mm = match strength {
        Strength::GivenMm(mm) => mm.max(STRENGTHS_MM.0),
        Strength::ByCrossValidation => FIRST_MM,
    };
    for _ in 0..2 {
        let mut fit = Fit::new(points, &at, hold_start, None);
        fit.settle(first_mm, 3 * SOLVES);
        at = fit.arc_lengths(&at);
    }
    let strength_mm = match strength {
        Strength::GivenMm(mm) => mm.max(STRENGTHS_MM.0),
        Strength::ByCrossValidation => cross_validated(points, &at, hold_start),
    };
    for _ in 0..2 {
        let mut fit = Fit::new(points, &at, hold_start, None);
        fit.settle(strength_mm, LAST_SOLVES);
        at = fit.arc_lengths(&at);
    }
    let mut fit = Fit::new(points, &at, hold_start, None);
    fit.settle(strength_mm, LAST_SOLVES);
    let moved = points
        .iter()
        .zip(&at)
        .map(|(p, &t)| (fit.at(t) - p).norm_squared());
    let moved_mm = (moved.sum::<f64>() / to_f64(points.len())).sqrt();
    Smoothed {
        at_mm: fit.arc_lengths(&at),
        knots_mm: fit.knots(),
        strength_mm,
        moved_mm,
    }
}

/// Cumulated distances of points, mm.
pub(super) fn along(points: &[Point]) -> Vec<f64> {
    let mut at_mm = 0.0;
    let steps = points.windows(2).map(|pair| {
        at_mm += (pair[1] - pair[0]).norm();
        at_mm
    });
    let mut all = vec![0.0];
    all.extend(steps);
    all
}

/// A count as a number.
pub(super) fn to_f64(count: usize) -> f64 {
    u32::try_from(count).map_or(f64::from(u32::MAX), f64::from)
}

/// The strongest strength that foretells points left out as well as the best.
fn cross_validated(points: &[Point], at: &[f64], hold_start: bool) -> f64 {
    if points.len() < 2 * FOLDS {
        // too few to leave any out: close to the points, but without ringing
        return FIRST_MM;
    }
    let mut folds: Vec<Fit> = (0..FOLDS)
        .map(|fold| Fit::new(points, at, hold_start, Some(fold)))
        .collect();
    let mut series = Vec::new();
    let mut strength_mm = STRENGTHS_MM.1;
    while strength_mm > STRENGTHS_MM.0 {
        let mut error = 0.0;
        for (fold, fit) in folds.iter_mut().enumerate() {
            fit.settle(strength_mm, SOLVES);
            error += left_out(points.len(), fold)
                .map(|i| (fit.at(at[i]) - points[i]).norm_squared())
                .sum::<f64>();
        }
        series.push((strength_mm, error / to_f64(points.len())));
        strength_mm /= STEP;
    }
    let least = series.iter().map(|s| s.1).fold(f64::INFINITY, f64::min);
    let allowed = AS_GOOD * least + NOTHING_MM * NOTHING_MM;
    series
        .iter()
        .find(|s| s.1 <= allowed)
        .map_or(FIRST_MM, |s| s.0)
}

/// Points of a fold; the ends stay in all.
fn left_out(count: usize, fold: usize) -> impl Iterator<Item = usize> {
    (1..count - 1).filter(move |i| i % FOLDS == fold)
}

/// A spline in the making.
struct Fit {
    knot_mm: f64,
    cells: usize,
    /// Upper half of the seven diagonals of the points' part, `[k][0]` the middle one.
    matrix: Vec<[f64; 4]>,
    right: Vec<Vector>,
    /// Control points, one before the start and one after the end.
    control: Vec<Vector>,
}

impl Fit {
    fn new(points: &[Point], at: &[f64], hold_start: bool, without: Option<usize>) -> Self {
        let length_mm = at.last().copied().unwrap_or(0.0);
        let mut cells = LEAST_CELLS;
        while cells < MOST_CELLS && length_mm / to_f64(cells) > KNOTS_MM {
            cells += 1 + cells / 64;
        }
        let knot_mm = length_mm / to_f64(cells);
        let count = cells + 3;
        let mut fit = Self {
            knot_mm,
            cells,
            matrix: vec![[0.0; 4]; count],
            right: vec![Vector::zeros(); count],
            control: vec![Vector::zeros(); count],
        };
        let last = points.len() - 1;
        for (i, point) in points.iter().enumerate() {
            let inside = i > 0 && i < last;
            if inside && without.is_some_and(|fold| i % FOLDS == fold) {
                continue;
            }
            let weight = match i {
                0 if hold_start => HELD,
                _ => 0.5 * (at[(i + 1).min(last)] - at[i.saturating_sub(1)]),
            };
            let (first, shares) = fit.shares(at[i]);
            for a in 0..4 {
                for b in a..4 {
                    fit.matrix[first + a][b - a] += weight * shares[a] * shares[b];
                }
                fit.right[first + a] += point.coords * (weight * shares[a]);
            }
        }
        fit.start(points, at);
        fit
    }

    /// Control points on the traced line itself.
    fn start(&mut self, points: &[Point], at: &[f64]) {
        let mut i = 0;
        for k in 0..self.control.len() {
            let t = (to_f64(k) - 1.0) * self.knot_mm;
            while i + 2 < at.len() && at[i + 1] < t {
                i += 1;
            }
            let span = at[i + 1] - at[i];
            let share = if span > 0.0 { (t - at[i]) / span } else { 0.0 };
            let share = share.clamp(-1.0, 2.0);
            self.control[k] = points[i].coords + (points[i + 1] - points[i]) * share;
        }
    }

    /// The cell that a parameter, in cells, lies in.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "not negative, and taken down to the number of cells"
    )]
    fn cell(&self, u: f64) -> usize {
        (u as usize).min(self.cells - 1)
    }

    /// The first control point that counts at a parameter, and the shares of four.
    fn shares(&self, t: f64) -> (usize, [f64; 4]) {
        let u = (t / self.knot_mm).max(0.0);
        let first = self.cell(u);
        let v = (u - to_f64(first)).min(1.0);
        let w = 1.0 - v;
        (
            first,
            [
                w * w * w / 6.0,
                (3.0 * v * v * v - 6.0 * v * v + 4.0) / 6.0,
                (3.0 * w * w * w - 6.0 * w * w + 4.0) / 6.0,
                v * v * v / 6.0,
            ],
        )
    }

    fn at(&self, t: f64) -> Point {
        let (first, shares) = self.shares(t);
        let sum = (0..4).map(|a| self.control[first + a] * shares[a]);
        Point::from(sum.sum::<Vector>())
    }

    /// Values at the knots.
    fn knots(&self) -> Vec<Point> {
        let value = |w: &[Vector]| Point::from((w[0] + w[1] * 4.0 + w[2]) / 6.0);
        self.control.windows(3).map(value).collect()
    }

    /// Arc lengths of parameters that do not fall.
    fn arc_lengths(&self, at: &[f64]) -> Vec<f64> {
        let mut last = (0.0, self.at(0.0));
        let mut length_mm = 0.0;
        let mut cell = 1;
        let mut found = Vec::with_capacity(at.len());
        for &t in at {
            while cell <= self.cells && to_f64(cell) * self.knot_mm < t {
                let next = to_f64(cell) * self.knot_mm;
                length_mm += self.step(&mut last, next);
                cell += 1;
            }
            length_mm += self.step(&mut last, t);
            found.push(length_mm);
        }
        found
    }

    fn step(&self, last: &mut (f64, Point), to: f64) -> f64 {
        if to <= last.0 {
            return 0.0;
        }
        let middle = self.at(0.5 * (last.0 + to));
        let end = self.at(to);
        let (halves, chord) = (
            (middle - last.1).norm() + (end - middle).norm(),
            (end - last.1).norm(),
        );
        *last = (to, end);
        // chords of halves and of the whole, extrapolated
        halves + (halves - chord) / 3.0
    }

    /// Lowers the sum by reweighted solves; ends as soon as nothing moves.
    fn settle(&mut self, strength_mm: f64, solves: usize) {
        let fourth = strength_mm * strength_mm * strength_mm * strength_mm;
        for _ in 0..solves {
            let next = self.solve(fourth);
            let moved = next.iter().zip(&self.control).map(|(a, b)| (a - b).norm());
            let moved_mm = moved.fold(0.0, f64::max);
            self.control = next;
            if moved_mm < 1e-5 {
                break;
            }
        }
    }

    fn solve(&self, fourth: f64) -> Vec<Vector> {
        const CHANGE: [f64; 4] = [-1.0, 3.0, -3.0, 1.0];
        const BEND: [f64; 3] = [1.0, -2.0, 1.0];
        let mut matrix = self.matrix.clone();
        let per_mm = 1.0 / (self.knot_mm * self.knot_mm);
        for k in 0..self.control.len() - 3 {
            let change = (0..4).map(|a| self.control[k + a] * CHANGE[a]);
            let change_per_mm = change.sum::<Vector>().norm() * per_mm;
            let size = (change_per_mm * change_per_mm + CHANGE_PER_MM * CHANGE_PER_MM).sqrt();
            // half of it: the sum of squares beside it is not halved either
            let weight = 0.5 * fourth * per_mm * per_mm / size;
            for a in 0..4 {
                for b in a..4 {
                    matrix[k + a][b - a] += weight * CHANGE[a] * CHANGE[b];
                }
            }
        }
        // straight at both ends, as the spline through the knots is
        for k in [0, self.control.len() - 3] {
            for a in 0..3 {
                for b in a..3 {
                    matrix[k + a][b - a] += HELD * BEND[a] * BEND[b];
                }
            }
        }
        solve_banded(matrix, self.right.clone())
    }
}

/// Solves a positive definite system of seven diagonals, its upper half given row by row.
fn solve_banded(mut matrix: Vec<[f64; 4]>, mut right: Vec<Vector>) -> Vec<Vector> {
    let count = matrix.len();
    for k in 0..count {
        let pivot = matrix[k][0];
        for a in 1..4.min(count - k) {
            let factor = matrix[k][a] / pivot;
            for b in a..4.min(count - k) {
                matrix[k + a][b - a] -= factor * matrix[k][b];
            }
            let taken = right[k] * factor;
            right[k + a] -= taken;
        }
    }
    for k in (0..count).rev() {
        let mut sum = right[k];
        for a in 1..4.min(count - k) {
            sum -= right[k + a] * matrix[k][a];
        }
        right[k] = sum / matrix[k][0];
    }
    right
}
