//! A time that is known by its least, usual and most value.

use serde::Serialize;
use serde::de::{Deserialize, Deserializer, Error, SeqAccess, Visitor};
use std::fmt;

/// Largest value of a spread: the seconds of a day, longer than any procedure.
const MOST: f64 = 86_400.0;

/// A duration, speed or factor that varies: least, usual, most, as a triangle.
///
/// Written `(5, 8, 20)`, or as one number where it does not vary; density rises from nought at the least value to its peak at the usual one
/// and falls to nought at the most.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(into = "(f64, f64, f64)")]
pub struct Spread {
    least: f64,
    usual: f64,
    most: f64,
}

impl TryFrom<(f64, f64, f64)> for Spread {
    type Error = String;

    fn try_from((least, usual, most): (f64, f64, f64)) -> Result<Self, String> {
        if !(least.is_finite() && most.is_finite() && least >= 0.0) {
            return Err(format!(
                "the spread ({least}, {usual}, {most}) has a value below 0: give least, usual and most, 0 or more"
            ));
        }
        if !(least <= usual && usual <= most) {
            return Err(format!(
                "the spread ({least}, {usual}, {most}) does not rise: give least, usual and most in this order"
            ));
        }
        if most > MOST {
            return Err(format!(
                "the spread ({least}, {usual}, {most}) goes beyond {MOST}, the seconds of a day: give least, usual and most, {MOST} or less"
            ));
        }
        Ok(Self { least, usual, most })
    }
}

impl<'de> Deserialize<'de> for Spread {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        source.deserialize_any(OneOrThree)
    }
}

impl From<Spread> for (f64, f64, f64) {
    fn from(spread: Spread) -> Self {
        (spread.least, spread.usual, spread.most)
    }
}

impl Spread {
    /// Its least value.
    #[must_use]
    pub const fn least(&self) -> f64 {
        self.least
    }

    /// Its largest value.
    #[must_use]
    pub const fn most(&self) -> f64 {
        self.most
    }

    /// A value that does not vary; `None` if it is negative or not finite.
    #[must_use]
    pub fn fixed(value: f64) -> Option<Self> {
        Self::try_from((value, value, value)).ok()
    }

    /// The usual value: the peak.
    #[must_use]
    pub const fn usual(self) -> f64 {
        self.usual
    }

    /// The value that a share of all cases stays below, for shares from 0 to 1.
    ///
    /// Inverse of the triangle's distribution function, in closed form.
    #[must_use]
    pub fn quantile(self, share: f64) -> f64 {
        let width = self.most - self.least;
        if width <= 0.0 {
            return self.usual;
        }
        let rising = self.usual - self.least;
        if share * width < rising {
            self.least + (share * width * rising).sqrt()
        } else {
            self.most - ((1.0 - share) * width * (self.most - self.usual)).sqrt()
        }
    }

    /// Mean.
    #[must_use]
    pub fn mean(self) -> f64 {
        (self.least + self.usual + self.most) / 3.0
    }

    /// Variance.
    #[must_use]
    pub fn variance(self) -> f64 {
        let Self { least, usual, most } = self;
        (least * least + usual * usual + most * most - least * usual - least * most - usual * most)
            / 18.0
    }
}

struct OneOrThree;

impl OneOrThree {
    fn fixed<E: Error>(value: f64) -> Result<Spread, E> {
        Spread::try_from((value, value, value)).map_err(E::custom)
    }
}

impl<'de> Visitor<'de> for OneOrThree {
    type Value = Spread;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a number, or least, usual and most in parentheses")
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<Spread, E> {
        Self::fixed(value)
    }

    #[expect(clippy::cast_precision_loss, reason = "no duration comes near 2^52 s")]
    fn visit_i64<E: Error>(self, value: i64) -> Result<Spread, E> {
        Self::fixed(value as f64)
    }

    #[expect(clippy::cast_precision_loss, reason = "no duration comes near 2^52 s")]
    fn visit_u64<E: Error>(self, value: u64) -> Result<Spread, E> {
        Self::fixed(value as f64)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut values: A) -> Result<Spread, A::Error> {
        let mut next = |i: usize| {
            let value = values.next_element::<f64>()?;
            value.ok_or_else(|| A::Error::invalid_length(i, &"least, usual and most"))
        };
        let three = (next(0)?, next(1)?, next(2)?);
        Spread::try_from(three).map_err(A::Error::custom)
    }
}
