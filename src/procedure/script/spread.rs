//! A time that is known by its least, usual and most value.

use crate::units::Refusal;
use serde::Serialize;
use serde::de::{Deserialize, Deserializer, Error, SeqAccess, Visitor};
use std::fmt;
use std::marker::PhantomData;

/// Largest value of a spread: the seconds of a day, longer than any procedure.
const MOST: f64 = 86_400.0;

/// What the values of a spread are, and from where to where they may lie.
pub trait SpreadKind {
    /// What one of them is, with its unit.
    const WHAT: &'static str;
    /// The least that is accepted.
    const LEAST: f64;
    /// The most that is accepted.
    const MOST: f64;
}

/// Times: up to a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seconds;

impl SpreadKind for Seconds {
    const WHAT: &'static str = "time in s";
    const LEAST: f64 = 0.0;
    const MOST: f64 = MOST;
}

/// Factors on all times of an operator: nobody is a hundred times as fast, and who needs ten times as long does
/// something else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pace;

impl SpreadKind for Pace {
    const WHAT: &'static str = "factor on times";
    const LEAST: f64 = 0.01;
    const MOST: f64 = 10.0;
}

/// Speeds of a hand, mm/s: at the slowest a device of 2 m takes five hours and a half, and no hand is faster
/// than a few metres a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HandSpeed;

impl SpreadKind for HandSpeed {
    const WHAT: &'static str = "speed in mm/s";
    const LEAST: f64 = 0.1;
    const MOST: f64 = 10_000.0;
}

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
        if ![least, usual, most]
            .iter()
            .all(|value| (0.0..=MOST).contains(value))
        {
            return Err(format!(
                "the spread ({least}, {usual}, {most}) has a value outside 0 to {MOST}"
            ));
        }
        if !(least <= usual && usual <= most) {
            return Err(format!(
                "the spread ({least}, {usual}, {most}) does not rise: give least, usual and most in this order"
            ));
        }
        Ok(Self { least, usual, most })
    }
}

impl<'de> Deserialize<'de> for Spread {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        read_spread::<Seconds, D>(source)
    }
}

/// Reads a spread of a kind: one number, or least, usual and most in parentheses.
///
/// # Errors
/// The deserializer's own, where a value is no number or out of its range, or where the three do not rise.
pub(crate) fn read_spread<'de, K: SpreadKind, D: Deserializer<'de>>(
    source: D,
) -> Result<Spread, D::Error> {
    source.deserialize_any(OneOrThree::<K>(PhantomData))
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

struct OneOrThree<K>(PhantomData<K>);

impl<K: SpreadKind> OneOrThree<K> {
    fn of<E: Error>(least: f64, usual: f64, most: f64) -> Result<Spread, E> {
        let range = format!("{} to {}", K::LEAST, K::MOST);
        let outside = |value: &f64| !(K::LEAST..=K::MOST).contains(value);
        let refusal = match [least, usual, most].into_iter().find(outside) {
            Some(found) => Refusal::new(
                format!("the {} {found} is outside {range}", K::WHAT),
                format!(
                    "give one number, or least, usual and most in parentheses, each from {range}"
                ),
            ),
            None => match Spread::try_from((least, usual, most)) {
                Ok(spread) => return Ok(spread),
                Err(_) => Refusal::new(
                    format!("the spread ({least}, {usual}, {most}) does not rise"),
                    "give least, usual and most in this order",
                ),
            },
        };
        Err(E::custom(refusal.in_one_text()))
    }
}

impl<'de, K: SpreadKind> Visitor<'de> for OneOrThree<K> {
    type Value = Spread;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "a number, or least, usual and most in parentheses, from {} to {}",
            K::LEAST,
            K::MOST
        )
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<Spread, E> {
        Self::of(value, value, value)
    }

    #[expect(clippy::cast_precision_loss, reason = "no duration comes near 2^52 s")]
    fn visit_i64<E: Error>(self, value: i64) -> Result<Spread, E> {
        self.visit_f64(value as f64)
    }

    #[expect(clippy::cast_precision_loss, reason = "no duration comes near 2^52 s")]
    fn visit_u64<E: Error>(self, value: u64) -> Result<Spread, E> {
        self.visit_f64(value as f64)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut values: A) -> Result<Spread, A::Error> {
        let mut next = |i: usize| {
            let value = values.next_element::<f64>()?;
            value.ok_or_else(|| A::Error::invalid_length(i, &"least, usual and most"))
        };
        Self::of(next(0)?, next(1)?, next(2)?)
    }
}
