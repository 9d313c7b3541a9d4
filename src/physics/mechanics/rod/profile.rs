//! A quantity along a rod, by distance from the rod's own tip.

use crate::math;
use crate::mechanics::error::MechanicsError;
use crate::units::Allowed;

/// A piecewise linear quantity by distance from the tip, constant beyond its ends; the same
/// distance twice makes a step.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    knots: Vec<(f64, f64)>,
}

/// Which mean of a profile over a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mean {
    /// For diameters.
    Plain,
    /// For stiffness: the moment is continuous, so compliances add.
    Harmonic,
}

impl Profile {
    /// The same everywhere, in the unit of the field that it is for.
    #[must_use]
    pub fn constant(value: f64) -> Self {
        Self {
            knots: vec![(0.0, value)],
        }
    }

    /// From `(distance from the tip mm, value)`, `[n]`, n >= 1, distances not falling; `what` names it in errors.
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] for no knots, falling distances, or a value that is not
    /// finite and positive.
    pub fn new(what: &str, knots: &[(f64, f64)]) -> Result<Self, MechanicsError> {
        let refuse = |i: usize, found, needed| MechanicsError::OutOfRange {
            what: format!("{what}[{i}]"),
            found,
            needed,
        };
        if knots.is_empty() {
            return Err(refuse(
                0,
                f64::NAN,
                Allowed::in_words("given: at least one value"),
            ));
        }
        for (i, (from_tip_mm, value)) in knots.iter().enumerate() {
            if !(value.is_finite() && *value > 0.0) {
                return Err(refuse(i, *value, Allowed::POSITIVE));
            }
            if !from_tip_mm.is_finite() || (i > 0 && *from_tip_mm < knots[i - 1].0) {
                return Err(refuse(
                    i,
                    *from_tip_mm,
                    Allowed::in_words("a distance from the tip not below the one before it"),
                ));
            }
        }
        Ok(Self {
            knots: knots.to_vec(),
        })
    }

    /// Distances of its knots from the tip, mm.
    pub(crate) fn distances_mm(&self) -> impl Iterator<Item = f64> + '_ {
        self.knots.iter().map(|k| k.0)
    }

    /// The value at a distance from the tip, mm; at a step the one nearer the tip.
    #[must_use]
    pub fn at(&self, from_tip_mm: f64) -> f64 {
        let i = self.knots.partition_point(|k| k.0 < from_tip_mm);
        match (
            i.checked_sub(1).and_then(|j| self.knots.get(j)),
            self.knots.get(i),
        ) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (from_tip_mm - a.0) / (b.0 - a.0),
            (Some(a), None) => a.1,
            (None, Some(b)) => b.1,
            (None, None) => f64::NAN,
        }
    }

    /// Its least value anywhere.
    pub(crate) fn least(&self) -> f64 {
        let values = self.knots.iter().map(|knot| knot.1);
        values.fold(f64::INFINITY, f64::min)
    }

    /// Whether it is the same everywhere.
    pub(crate) fn is_constant(&self) -> bool {
        self.knots
            .iter()
            .all(|k| k.1.total_cmp(&self.knots[0].1).is_eq())
    }

    /// Means over the cells of the nodes at these distances from the tip (falling, the last one
    /// the tip): a node's cell reaches halfway to its neighbours. Means, unlike samples, move
    /// continuously when a step of the profile passes a node.
    pub(crate) fn cell_means(&self, from_tip_mm: &[f64], mean: Mean, out: &mut Vec<f64>) {
        out.clear();
        out.resize(from_tip_mm.len(), self.knots[0].1);
        let mut walk = Walk::new(self, mean);
        walk.low_mm = from_tip_mm.last().copied().unwrap_or(0.0);
        for i in (0..from_tip_mm.len()).rev() {
            out[i] = walk.mean_to(if i == 0 {
                from_tip_mm[0]
            } else {
                0.5 * (from_tip_mm[i] + from_tip_mm[i - 1])
            });
        }
    }

    /// Mean over `low..high`; `segment` is the first knot beyond `low`.
    fn mean(&self, low: f64, high: f64, mut segment: usize, mean: Mean) -> f64 {
        let (mut from, mut sum) = (low, 0.0);
        loop {
            let to = self.knots.get(segment).map_or(high, |k| k.0.min(high));
            if to > from {
                let piece = self.piece(segment);
                let (a, b) = (piece.at(from), piece.at(to));
                sum += (to - from)
                    * match mean {
                        Mean::Plain => 0.5 * (a + b),
                        Mean::Harmonic => mean_inverse(a, b),
                    };
            }
            from = from.max(to);
            segment += 1;
            if from >= high {
                break;
            }
        }
        match mean {
            Mean::Plain => sum / (high - low),
            Mean::Harmonic => (high - low) / sum,
        }
    }

    /// The piece between knots `segment - 1` and `segment`, as far as there are such.
    fn piece(&self, segment: usize) -> Piece {
        let before = segment.checked_sub(1).and_then(|j| self.knots.get(j));
        match (before, self.knots.get(segment)) {
            (Some(a), Some(b)) => Piece {
                to_mm: b.0,
                from_mm: a.0,
                value: a.1,
                slope: (b.1 - a.1) / (b.0 - a.0),
            },
            (Some(last), None) => Piece::level(f64::INFINITY, last.1),
            (None, first) => first.map_or(Piece::NONE, |first| Piece::level(first.0, first.1)),
        }
    }
}

/// A stretch of a profile that is a straight line.
#[derive(Debug, Clone, Copy)]
struct Piece {
    to_mm: f64,
    from_mm: f64,
    /// At `from_mm`.
    value: f64,
    slope: f64,
}

impl Piece {
    const NONE: Self = Self::level(f64::NEG_INFINITY, f64::NAN);

    const fn level(to_mm: f64, value: f64) -> Self {
        Self {
            to_mm,
            from_mm: 0.0,
            value,
            slope: 0.0,
        }
    }

    fn at(&self, from_tip_mm: f64) -> f64 {
        self.value + self.slope * (from_tip_mm - self.from_mm)
    }
}

/// A way along a profile from the tip, cell by cell.
#[derive(Debug)]
pub(crate) struct Walk<'a> {
    profile: &'a Profile,
    mean: Mean,
    low_mm: f64,
    /// First knot beyond `low_mm`.
    segment: usize,
    /// The piece `low_mm` lies on, as far as it is known.
    piece: Piece,
}

impl<'a> Walk<'a> {
    pub(crate) fn new(profile: &'a Profile, mean: Mean) -> Self {
        Self {
            profile,
            mean,
            low_mm: 0.0,
            segment: 0,
            piece: if profile.is_constant() {
                Piece::level(f64::INFINITY, profile.knots[0].1)
            } else {
                Piece::NONE
            },
        }
    }

    /// Goes on to a distance from the tip; the mean on the way there, or the value here where that is
    /// no further.
    #[inline]
    pub(crate) fn mean_to(&mut self, high_mm: f64) -> f64 {
        let low_mm = self.low_mm;
        if high_mm > self.piece.to_mm || high_mm <= low_mm {
            return self.mean_beyond(high_mm);
        }
        self.low_mm = high_mm;
        self.mean_on_piece(low_mm, high_mm)
    }

    /// The value where it has come to; at a step the one nearer the tip.
    pub(crate) fn value(&self) -> f64 {
        if self.low_mm <= self.piece.to_mm {
            self.piece.at(self.low_mm)
        } else {
            self.profile.at(self.low_mm)
        }
    }

    #[inline]
    fn mean_on_piece(&self, low_mm: f64, high_mm: f64) -> f64 {
        let piece = &self.piece;
        if piece.slope.abs() <= 0.0 {
            return piece.value;
        }
        let (a, b) = (piece.at(low_mm), piece.at(high_mm));
        match self.mean {
            Mean::Plain => 0.5 * (a + b),
            Mean::Harmonic => 0.5 * (a + b) / atanh_ratio(a, b),
        }
    }

    fn mean_beyond(&mut self, high_mm: f64) -> f64 {
        let knots = &self.profile.knots;
        let low_mm = std::mem::replace(&mut self.low_mm, high_mm);
        while knots.get(self.segment).is_some_and(|k| k.0 <= low_mm) {
            self.segment += 1;
        }
        if high_mm <= low_mm {
            return self.profile.at(low_mm);
        }
        let piece = self.profile.piece(self.segment);
        if high_mm > piece.to_mm {
            return (self.profile).mean(low_mm, high_mm, self.segment, self.mean);
        }
        self.piece = piece;
        self.mean_on_piece(low_mm, high_mm)
    }
}

/// Mean of `1 / y` where `y` runs linearly from `a` to `b`.
fn mean_inverse(a: f64, b: f64) -> f64 {
    2.0 / (a + b) * atanh_ratio(a, b)
}

/// `ln(b / a) = 2 atanh(x)` over `2 x`, with `x = (b - a) / (b + a)`.
#[inline]
fn atanh_ratio(a: f64, b: f64) -> f64 {
    let x = (b - a) / (b + a);
    // Below 0.03 the series' first dropped term is x^6 / 7 < 2e-10.
    if x.abs() < 0.03 {
        let x2 = x * x;
        1.0 + x2 * (1.0 / 3.0 + x2 / 5.0)
    } else {
        math::atanh(x) / x
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_means_of_a_ramp_and_a_step() {
        // y = 1 + a to a = 4, then a step to 10. Mean of 1/y over 1..3 is ln(4/2)/2.
        let p = Profile::new("y", &[(0.0, 1.0), (4.0, 5.0), (4.0, 10.0)]).unwrap();
        assert!((p.at(2.0) - 3.0).abs() < 1e-15, "{}", p.at(2.0));
        assert!((p.at(4.0) - 5.0).abs() < 1e-15, "{}", p.at(4.0));
        assert!((p.at(9.0) - 10.0).abs() < 1e-15, "{}", p.at(9.0));
        let (mut plain, mut harmonic) = (Vec::new(), Vec::new());
        // cells 6..7, 3..6, 1..3, 0..1
        let nodes = [7.0, 5.0, 1.0, 1.0, 0.0];
        p.cell_means(&nodes, Mean::Plain, &mut plain);
        p.cell_means(&nodes, Mean::Harmonic, &mut harmonic);
        // node 5.0: cell 3..6, plain (4.5 + 20) / 3, inverse (ln(5/4) + 2/10) / 3
        assert!((plain[1] - 24.5 / 3.0).abs() < 1e-14, "{plain:?}");
        let expected = 3.0 / (math::ln(5.0_f64 / 4.0) + 0.2);
        assert!((harmonic[1] - expected).abs() < 1e-14, "{harmonic:?}");
        // node 1.0 (the first): cell 1..3
        let expected = 2.0 / math::ln(2.0_f64);
        assert!((harmonic[2] - expected).abs() < 1e-14, "{harmonic:?}");
        assert!((plain[0] - 10.0).abs() < 1e-15, "{plain:?}");
    }

    #[test]
    fn exact_refusals_name_the_entry() {
        let found = Profile::new("rods[0].stiffness", &[(0.0, 1.0), (1.0, -2.0)])
            .unwrap_err()
            .to_string();
        assert_eq!(found, "rods[0].stiffness[1] is -2, must be finite and > 0");
        assert!(
            Profile::new("d", &[(1.0, 1.0), (0.0, 1.0)]).is_err(),
            "falling distances taken"
        );
    }
}
