//! What a quantity must be: in words, and its limits as numbers.

use std::fmt::{self, Display, Formatter};

/// A limit of a quantity, in the quantity's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The limit.
    pub value: f64,
    /// Whether the limit itself is allowed.
    pub included: bool,
}

/// What a quantity must be. Every error that refuses a number carries one.
///
/// The words are for readers, the limits for programs: a form can set the ends of its slider by them, and nobody
/// has to take numbers out of a sentence. A demand that no limit tells ("not below the one before it") has
/// words alone.
///
/// ```
/// use nestline_physics::geometry::{Curve, GeometryError, Lumen, Point, Track};
/// let line = Curve::through_points(&[Point::new(0.0, 0.0, 0.0), Point::new(90.0, 0.0, 0.0)])?;
/// let refused = Track::from_curve(line, Lumen::uniform(4.0), -10.0, 1.0);
/// let Err(GeometryError::OutOfRange { what, found, needed }) = refused else {
///     panic!("a wall cannot push the other way");
/// };
/// assert_eq!((what.as_str(), found), ("wall_stiffness_n_per_mm2", -10.0));
/// let least = needed.least().unwrap();
/// assert_eq!((least.value, least.included), (0.0, false));
/// assert!(needed.most().is_none() && needed.allows(10.0) && !needed.allows(found));
/// # Ok::<(), GeometryError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Allowed {
    words: &'static str,
    mend: Option<&'static str>,
    least: Option<Limit>,
    most: Option<Limit>,
}

impl Allowed {
    /// Any finite number.
    pub const FINITE: Self = Self::in_words("finite");
    /// A finite number above 0.
    pub const POSITIVE: Self = Self::in_words("finite and > 0").above(0.0);
    /// A finite number not below 0.
    pub const NOT_NEGATIVE: Self = Self::in_words("finite and >= 0").at_least(0.0);

    /// What is demanded, to be read after "must be"; limits are added to it.
    #[must_use]
    pub const fn in_words(words: &'static str) -> Self {
        Self {
            words,
            mend: None,
            least: None,
            most: None,
        }
    }

    /// The quantity must lie above this.
    #[must_use]
    pub const fn above(mut self, value: f64) -> Self {
        self.least = Some(Limit {
            value,
            included: false,
        });
        self
    }

    /// The quantity must be at least this.
    #[must_use]
    pub const fn at_least(mut self, value: f64) -> Self {
        self.least = Some(Limit {
            value,
            included: true,
        });
        self
    }

    /// The quantity must lie below this.
    #[must_use]
    pub const fn below(mut self, value: f64) -> Self {
        self.most = Some(Limit {
            value,
            included: false,
        });
        self
    }

    /// The quantity must be at most this.
    #[must_use]
    pub const fn at_most(mut self, value: f64) -> Self {
        self.most = Some(Limit {
            value,
            included: true,
        });
        self
    }

    /// How to mend what is out of range, where more can be said than the range.
    #[must_use]
    pub const fn mended_by(mut self, mend: &'static str) -> Self {
        self.mend = Some(mend);
        self
    }

    /// The range in words, to be read after "must be".
    #[must_use]
    pub const fn words(&self) -> &'static str {
        self.words
    }

    /// The least that is allowed; none where there is no such limit.
    #[must_use]
    pub const fn least(&self) -> Option<Limit> {
        self.least
    }

    /// The most that is allowed; none where there is no such limit.
    #[must_use]
    pub const fn most(&self) -> Option<Limit> {
        self.most
    }

    /// How to mend it, where more can be said than the range.
    #[must_use]
    pub const fn mend(&self) -> Option<&'static str> {
        self.mend
    }

    /// Whether a value is finite and within both limits. What stands in words alone is not tested.
    #[must_use]
    pub fn allows(&self, value: f64) -> bool {
        let reaches = |l: Limit| value > l.value || (l.included && value >= l.value);
        let stays = |l: Limit| value < l.value || (l.included && value <= l.value);
        value.is_finite() && self.least.is_none_or(reaches) && self.most.is_none_or(stays)
    }

    /// The range as advice.
    #[must_use]
    pub fn help(&self) -> String {
        format!("it must be {self}")
    }
}

impl Display for Allowed {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        f.write_str(self.words)?;
        match self.mend {
            Some(mend) => write!(f, ": {mend}"),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_limits_are_kept_or_left_out() {
        let half_open = Allowed::in_words("from 1 to below 2")
            .at_least(1.0)
            .below(2.0);
        for (value, allowed) in [
            (0.999, false),
            (1.0, true),
            (1.999, true),
            (2.0, false),
            (f64::NAN, false),
            (f64::INFINITY, false),
        ] {
            assert_eq!(half_open.allows(value), allowed, "{value}");
        }
        assert!(!Allowed::POSITIVE.allows(0.0), "0 is not above 0");
        assert!(Allowed::NOT_NEGATIVE.allows(0.0), "0 is not below 0");
        assert!(!Allowed::FINITE.allows(f64::NEG_INFINITY), "without limits");
    }

    #[test]
    fn exact_words_and_advice_read_as_one() {
        let apart = Allowed::in_words("> 0 mm").above(0.0).mended_by("drop one");
        assert_eq!(apart.to_string(), "> 0 mm: drop one", "both");
        assert_eq!(apart.words(), "> 0 mm", "the range");
        assert_eq!(apart.mend(), Some("drop one"), "the advice");
        assert_eq!(Allowed::FINITE.help(), "it must be finite", "a range helps");
    }
}
