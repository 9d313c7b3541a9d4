//! Smooth curves through measured points: cubic splines and their polynomial spans.

use super::{GeometryError, Point, Vector};
use crate::math;
use crate::units::Allowed;

/// Nodes and weights of the five-point Gauss-Legendre rule on [-1, 1], from memory, checked by the
/// tests of arc length: exact for polynomials of degree nine.
const GAUSS_5: [(f64, f64); 5] = [
    (-0.906_179_845_938_664, 0.236_926_885_056_189_08),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_47),
    (0.0, 0.568_888_888_888_888_9),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_47),
    (0.906_179_845_938_664, 0.236_926_885_056_189_08),
];

/// A piece of a spline may turn by this much, rad. Smaller pieces make arc length and frames more
/// precise and evaluation no dearer, but cost memory: at 0.1 the Gauss rule is good to 1e-12 and
/// the frame's twist to 1e-7 rad a piece.
const TURN_PER_PIECE_RAD: f64 = 0.1;

/// A span is cut into at most this many pieces, so that a cusp cannot ask for infinitely many.
const MOST_PIECES_PER_SPAN: u32 = 64;

/// Speed, relative to the chord's, below which points are taken to fold back on themselves. Chord
/// parametrisation of sensible points stays above 0.3; at a cusp the tangent is lost.
const LEAST_SPEED: f64 = 1e-3;

/// A cubic `u (c1 + u (c2 + u c3))` for `u` in 0..=1, relative to its start; mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Cubic {
    pub(crate) c1: Vector,
    pub(crate) c2: Vector,
    pub(crate) c3: Vector,
}

impl Cubic {
    pub(crate) fn offset(&self, u: f64) -> Vector {
        (self.c1 + (self.c2 + self.c3 * u) * u) * u
    }

    pub(crate) fn velocity(&self, u: f64) -> Vector {
        self.c1 + (self.c2 * 2.0 + self.c3 * (3.0 * u)) * u
    }

    fn acceleration(&self, u: f64) -> Vector {
        self.c2 * 2.0 + self.c3 * (6.0 * u)
    }

    pub(super) fn curvature(&self, u: f64) -> f64 {
        let v = self.velocity(u);
        v.cross(&self.acceleration(u)).norm() / math::power(v.norm(), 3)
    }

    /// Vector of the curvature, towards the bend's centre.
    pub(super) fn curvature_vector(&self, u: f64) -> Vector {
        let (v, a) = (self.velocity(u), self.acceleration(u));
        let square = v.norm_squared();
        (a - v * (v.dot(&a) / square)) / square
    }

    /// Torsion; 0 where the curve is straight and has none.
    pub(super) fn torsion(&self, u: f64) -> f64 {
        let b = self.velocity(u).cross(&self.acceleration(u));
        let square = b.norm_squared();
        if square > 0.0 {
            b.dot(&(self.c3 * 6.0)) / square
        } else {
            0.0
        }
    }

    fn integral(to_u: f64, of: impl Fn(f64) -> f64) -> f64 {
        let half = 0.5 * to_u;
        GAUSS_5
            .iter()
            .map(|&(node, weight)| half * weight * of(half * (1.0 + node)))
            .sum()
    }

    pub(super) fn length_to(&self, u: f64) -> f64 {
        Self::integral(u, |u| self.velocity(u).norm())
    }

    /// Integral of curvature over arc length from the start, rad.
    pub(super) fn turning_to(&self, u: f64) -> f64 {
        Self::integral(u, |u| self.curvature(u) * self.velocity(u).norm())
    }

    /// The parameter at an arc length by Newton's method; the speed varies little in one piece, so
    /// three or four steps reach rounding error.
    pub(super) fn parameter_at(&self, along_mm: f64, length_mm: f64) -> f64 {
        /// Relative to the piece: rounding error of the Gauss sum.
        const TOLERANCE: f64 = 1e-14;
        let mut u = along_mm / length_mm;
        for _ in 0..20 {
            let miss = self.length_to(u) - along_mm;
            if miss.abs() <= TOLERANCE * length_mm {
                break;
            }
            u = (u - miss / self.velocity(u).norm()).clamp(0.0, 1.0);
        }
        u
    }

    /// The part between two parameters, run the other way round if `to < from`.
    pub(super) fn part(&self, from: f64, to: f64) -> Self {
        let d = to - from;
        Self {
            c1: self.velocity(from) * d,
            c2: (self.c2 + self.c3 * (3.0 * from)) * (d * d),
            c3: self.c3 * (d * d * d),
        }
    }

    /// Angle between the tangents at neighbouring samples, summed.
    fn rough_turning(&self) -> f64 {
        const SAMPLES: u32 = 8;
        let mut turning = 0.0;
        let mut last = self.velocity(0.0);
        for i in 1..=SAMPLES {
            let next = self.velocity(f64::from(i) / f64::from(SAMPLES));
            turning += last.angle(&next);
            last = next;
        }
        turning
    }
}

/// The spans of the C2 natural cubic spline through points, each cut so that it turns little.
/// Returns the start of every piece with its polynomial.
pub(super) fn natural_spline(points: &[Point]) -> Result<Vec<(Point, Cubic)>, GeometryError> {
    if points.len() < 2 {
        return Err(GeometryError::TooFew {
            what: "points".into(),
            needed: 2,
            found: points.len(),
        });
    }
    for (i, p) in points.iter().enumerate() {
        if let Some(axis) = (0..3).find(|&axis| !p[axis].is_finite()) {
            return Err(GeometryError::OutOfRange {
                what: format!("points[{i}].{}", ["x", "y", "z"][axis]),
                found: p[axis],
                needed: Allowed::FINITE,
            });
        }
    }
    let chords: Vec<f64> = points.windows(2).map(|w| (w[1] - w[0]).norm()).collect();
    if let Some(i) = chords.iter().position(|c| *c <= 0.0) {
        return Err(GeometryError::OutOfRange {
            what: format!("the distance from points[{i}] to points[{}]", i + 1),
            found: chords[i],
            needed: Allowed::in_words("> 0 mm")
                .above(0.0)
                .mended_by("drop one of two equal points"),
        });
    }
    let mut pieces = Vec::with_capacity(2 * chords.len());
    for (i, (span, &h)) in natural_spans(points, &chords).zip(&chords).enumerate() {
        let wanted = (span.rough_turning() / TURN_PER_PIECE_RAD).ceil();
        let mut count = 1;
        while f64::from(count) < wanted && count < MOST_PIECES_PER_SPAN {
            count += 1;
        }
        for k in 0..count {
            let at = |k: u32| f64::from(k) / f64::from(count);
            let (from, to) = (at(k), at(k + 1));
            let slowest = [from, 0.5 * (from + to), to]
                .iter()
                .map(|&u| span.velocity(u).norm() / h)
                .fold(f64::INFINITY, f64::min);
            if slowest < LEAST_SPEED {
                return Err(GeometryError::OutOfRange {
                    what: format!("the speed of the curve between points[{i}] and the next"),
                    found: slowest,
                    needed: Allowed::in_words("above 0.001")
                        .above(LEAST_SPEED)
                        .mended_by("the points fold back on themselves, smooth or thin them"),
                });
            }
            pieces.push((points[i] + span.offset(from), span.part(from, to)));
        }
    }
    Ok(pieces)
}

/// The spans of the C2 natural cubic spline through points, parametrised by these chords.
pub(crate) fn natural_spans(points: &[Point], chords: &[f64]) -> impl Iterator<Item = Cubic> {
    let bends = second_derivatives(points, chords);
    chords.iter().enumerate().map(move |(i, h)| Cubic {
        c1: points[i + 1] - points[i] - (bends[i] * 2.0 + bends[i + 1]) * (h * h / 6.0),
        c2: bends[i] * (0.5 * h * h),
        c3: (bends[i + 1] - bends[i]) * (h * h / 6.0),
    })
}

/// Second derivatives at the points, zero at both ends (tridiagonal elimination).
fn second_derivatives(points: &[Point], chords: &[f64]) -> Vec<Vector> {
    let last = points.len() - 1;
    let mut bends = vec![Vector::zeros(); points.len()];
    let mut upper = vec![0.0; points.len()];
    for i in 1..last {
        let (before, after) = (chords[i - 1], chords[i]);
        let jump = (points[i + 1] - points[i]) / after - (points[i] - points[i - 1]) / before;
        let pivot = 2.0 * (before + after) - before * upper[i - 1];
        upper[i] = after / pivot;
        bends[i] = (jump * 6.0 - bends[i - 1] * before) / pivot;
    }
    for i in (1..last).rev() {
        let next = bends[i + 1];
        bends[i] -= next * upper[i];
    }
    bends
}
