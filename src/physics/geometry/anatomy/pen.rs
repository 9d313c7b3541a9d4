//! Draws a centre line by headings in space and remembers which measurement rules each stretch.

use super::super::{Branch, Curve, Frame, GeometryError, Lumen, Point, Run, Vector};
use crate::math;

/// Largest curvature times lumen radius inside a branch. At 1 the inner wall of a bend shrinks to a
/// point; the rest is room for the rounding at ostia and for the sampling of the track.
pub(super) const MOST_CURVATURE_TIMES_RADIUS: f64 = 0.9;

/// Shortest stretch worth drawing, mm: shorter ones would only add rounding errors.
const LEAST_RUN_MM: f64 = 1e-6;

#[derive(Debug, Clone)]
pub(super) struct Pen {
    start: Frame,
    frame: Frame,
    runs: Vec<(Run, &'static str)>,
    length_mm: f64,
    /// Only where it comes to is asked, not the way.
    sketches: bool,
}

impl Pen {
    pub(super) fn new(origin_mm: Point, heading: Vector) -> Self {
        let frame = Frame::new(origin_mm, heading, Vector::x());
        Self {
            start: frame,
            frame,
            runs: Vec::new(),
            length_mm: 0.0,
            sketches: false,
        }
    }

    /// A pen at the same place that draws nothing, for trials of where a course ends.
    pub(super) fn sketching(&self) -> Self {
        Self {
            start: self.frame,
            runs: Vec::new(),
            sketches: true,
            ..*self
        }
    }

    pub(super) fn place_mm(&self) -> Point {
        self.frame.origin_mm
    }

    pub(super) fn length_mm(&self) -> f64 {
        self.length_mm
    }

    /// A straight stretch; nothing where its length is not positive.
    pub(super) fn straight(&mut self, length_mm: f64, field: &'static str) {
        self.arc(length_mm, 0.0, 0.0, field);
    }

    /// An arc of given length from the present heading to another one.
    pub(super) fn bend_to(&mut self, heading: Vector, length_mm: f64, field: &'static str) {
        let turn_rad = self.angle_to(heading);
        self.arc(length_mm, turn_rad, self.roll_towards(heading), field);
    }

    /// An arc of given radius from the present heading to another one; returns its length.
    pub(super) fn bend_to_by_radius(
        &mut self,
        heading: Vector,
        radius_mm: f64,
        field: &'static str,
    ) -> f64 {
        let length_mm = radius_mm * self.angle_to(heading);
        self.bend_to(heading, length_mm, field);
        length_mm
    }

    /// An arc that turns by a given angle, half turns and more included, towards a side.
    pub(super) fn bend(
        &mut self,
        towards: Vector,
        turn_rad: f64,
        length_mm: f64,
        field: &'static str,
    ) {
        self.arc(length_mm, turn_rad, self.roll_towards(towards), field);
    }

    fn angle_to(&self, heading: Vector) -> f64 {
        // atan2 keeps its digits for nearly equal headings, where acos loses half of them
        let t = self.frame.tangent;
        math::atan2(t.cross(&heading).norm(), t.dot(&heading))
    }

    fn roll_towards(&self, side: Vector) -> f64 {
        math::atan2(side.dot(&self.frame.n2), side.dot(&self.frame.n1))
    }

    fn arc(&mut self, length_mm: f64, turn_rad: f64, roll_rad: f64, field: &'static str) {
        if length_mm < LEAST_RUN_MM {
            return;
        }
        if !self.sketches {
            let run = Run {
                length_mm,
                turn_rad,
                roll_rad,
                diameter_start_mm: 0.0,
                diameter_end_mm: 0.0,
            };
            self.runs.push((run, field));
        }
        self.frame = self.frame.along_arc(length_mm, turn_rad, roll_rad);
        self.length_mm += length_mm;
    }

    /// The curve, once every bend is known to be wider than the lumen.
    pub(super) fn finish(self, lumen: &Lumen) -> Result<Curve, GeometryError> {
        let mut start_mm = 0.0;
        let mut runs = Vec::with_capacity(self.runs.len());
        for (mut run, field) in self.runs {
            let end_mm = start_mm + run.length_mm;
            run.diameter_start_mm = diameter_mm(lumen, start_mm);
            run.diameter_end_mm = diameter_mm(lumen, end_mm);
            let widest_mm = widest_mm(lumen, start_mm, end_mm);
            let curvature_per_mm = run.turn_rad / run.length_mm;
            if curvature_per_mm * 0.5 * widest_mm > MOST_CURVATURE_TIMES_RADIUS {
                return Err(GeometryError::Measurement {
                    field: field.into(),
                    found: format!(
                        "a bend of {:.2} mm radius in a lumen of {widest_mm:.2} mm",
                        1.0 / curvature_per_mm
                    ),
                    needed: format!(
                        "a radius of at least {:.2} mm",
                        0.5 * widest_mm / MOST_CURVATURE_TIMES_RADIUS
                    ),
                    mend: "widen the bend, narrow the lumen or lengthen the vessel".into(),
                });
            }
            runs.push(run);
            start_mm = end_mm;
        }
        Curve::from_runs(self.start, &runs)
    }
}

/// Lumen diameter at an arc length, mm.
pub(super) fn diameter_mm(lumen: &Lumen, s_mm: f64) -> f64 {
    let knots = &lumen.knots_mm;
    let after = knots.partition_point(|k| k.0 <= s_mm);
    match (
        after.checked_sub(1).and_then(|i| knots.get(i)),
        knots.get(after),
    ) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (s_mm - a.0) / (b.0 - a.0),
        (Some(k), None) | (None, Some(k)) => k.1,
        (None, None) => 0.0,
    }
}

fn widest_mm(lumen: &Lumen, from_mm: f64, to_mm: f64) -> f64 {
    let ends = diameter_mm(lumen, from_mm).max(diameter_mm(lumen, to_mm));
    let inside = |k: &&(f64, f64)| k.0 >= from_mm && k.0 <= to_mm;
    lumen
        .knots_mm
        .iter()
        .filter(inside)
        .fold(ends, |widest, k| widest.max(k.1))
}

/// Where a rising function crosses zero, by halving; `None` where it does not. `guess` is a place it may cross near.
///
/// 60 halvings leave 1e-18 of the interval, below the rounding of any f64 in it. Most of them are told without
/// asking the function, from two places close around the crossing between which rounding hides its sign.
pub(super) fn crossing(
    mut low: f64,
    mut high: f64,
    guess: Option<f64>,
    f: impl Fn(f64) -> f64,
) -> Option<f64> {
    let (below, above) = close_around(low, high, guess, &f);
    if (below < low && f(low) > 0.0) || (above > high && f(high) < 0.0) {
        return None;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if middle <= below || (middle < above && f(middle) < 0.0) {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

/// Two places close around the crossing of a rising function, well below and well above it; infinite where they
/// were not found.
fn close_around(low: f64, high: f64, guess: Option<f64>, f: &impl Fn(f64) -> f64) -> (f64, f64) {
    /// Their distance from the crossing: where a vessel bends at all the function is a hundred times its rounding there.
    const APART: f64 = 1e-12;
    /// Values are sure of their sign from here on, some hundred roundings of numbers about 1.
    const CLEAR: f64 = 3e-14;
    /// Secants: from a guess three or four are enough.
    const MOST: usize = 12;
    /// How far the second place of the first secant lies from the first.
    const STEP: f64 = 1e-3;
    let mut last = guess.unwrap_or(0.5 * (low + high)).clamp(low, high - STEP);
    let mut at_last = f(last);
    let mut next = last + STEP;
    for _ in 0..MOST {
        let at_next = f(next);
        let rise = (at_next - at_last) / (next - last);
        (last, at_last) = (next, at_next);
        if rise.is_nan() || rise <= 0.0 {
            break;
        }
        let step = at_last / rise;
        next = (last - step).clamp(low, high);
        // the next one would be as near as the square of this step
        if step.abs() < 1e-7 {
            break;
        }
    }
    let (below, above) = (next - APART, next + APART);
    (
        if f(below) < -CLEAR {
            below
        } else {
            f64::NEG_INFINITY
        },
        if f(above) > CLEAR {
            above
        } else {
            f64::INFINITY
        },
    )
}

/// The unit vector at `angle_rad` from `axis` towards `side`.
pub(super) fn tilted(axis: Vector, side: Vector, angle_rad: f64) -> Vector {
    let axis = axis.normalize();
    let across = (side - axis * axis.dot(&side)).normalize();
    axis * math::cos(angle_rad) + across * math::sin(angle_rad)
}

/// The worst overlap of two stretches of a branch that are no neighbours: where and by how much.
///
/// Stretches closer along the branch than half the girth of both lumens are neighbours round one
/// bend, where curvature times radius is what counts.
pub(super) fn overlap(branch: &Branch) -> Option<(f64, f64)> {
    /// Spacing of the samples, mm: on the tightest bends the walls' gap is missed by under 0.1 mm.
    const SPACING_MM: f64 = 1.0;
    let mut samples = Vec::new();
    let mut s_mm = 0.0;
    while s_mm <= branch.curve.length_mm() {
        let radius_mm = 0.5 * diameter_mm(&branch.lumen, s_mm);
        samples.push((s_mm, branch.curve.point_at(s_mm), radius_mm));
        s_mm += SPACING_MM;
    }
    let mut worst: Option<(f64, f64)> = None;
    for (i, a) in samples.iter().enumerate() {
        for b in &samples[i + 1..] {
            let radii_mm = a.2 + b.2;
            let overlap_mm = radii_mm - (a.1 - b.1).norm();
            let apart = b.0 - a.0 > std::f64::consts::PI * radii_mm;
            if apart && overlap_mm > worst.map_or(0.0, |w| w.1) {
                worst = Some((b.0, overlap_mm));
            }
        }
    }
    worst
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All sixty halvings asked of the function.
    fn by_halving(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> Option<f64> {
        if f(low) > 0.0 || f(high) < 0.0 {
            return None;
        }
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if f(middle) < 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(0.5 * (low + high))
    }

    #[test]
    fn exact_a_crossing_is_that_of_all_halvings() {
        use std::cell::Cell;
        for k in 1..400 {
            let wished = 1.0 + 0.004 * f64::from(k);
            // the length over chord of an arc, flat at its start, steep at its end
            let ratio = |a: f64| if a > 0.0 { a / math::sin(a) } else { 1.0 };
            let f = |a: f64| ratio(a) - wished;
            let plain = by_halving(0.0, 2.0, f);
            assert_eq!(plain.is_some(), wished <= ratio(2.0), "{wished}");
            for guess in [None, Some(0.3), Some(1.9), plain] {
                let asked = Cell::new(0);
                let counted = |a: f64| {
                    asked.set(asked.get() + 1);
                    f(a)
                };
                let found = crossing(0.0, 2.0, guess, counted);
                assert_eq!(found.map(f64::to_bits), plain.map(f64::to_bits), "{wished}");
                assert!(
                    asked.get() <= 60,
                    "{wished} from {guess:?}: asked {} times",
                    asked.get()
                );
            }
        }
        // steps, flats and what never crosses
        let step = |x: f64| if x < 0.7 { -1.0 } else { 1.0 };
        assert_eq!(crossing(0.0, 2.0, None, step), by_halving(0.0, 2.0, step));
        let flat = |x: f64| (x - 1.0).max(0.0) - 1e-20;
        assert_eq!(crossing(0.0, 2.0, None, flat), by_halving(0.0, 2.0, flat));
        assert_eq!(crossing(0.0, 2.0, None, |x| x + 1.0), None);
        assert_eq!(crossing(0.0, 2.0, Some(1.0), |x| x - 3.0), None);
    }
}
