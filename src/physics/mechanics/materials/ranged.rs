//! A number that is not well known: least, usual and most, and what it rests on.

use crate::units::Refusal;
use serde::{Deserialize, Serialize};

/// Which end of what is known of materials is taken.
///
/// All values of a table go to one end together: what is not known of them is ignorance that all devices of a case
/// share, not scatter between them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// The least plausible values.
    Least,
    /// The usual ones.
    Usual,
    /// The largest plausible values.
    Most,
}

impl Level {
    /// All of them, from least to most.
    pub const ALL: [Self; 3] = [Self::Least, Self::Usual, Self::Most];

    /// In one word.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Least => "least",
            Self::Usual => "usual",
            Self::Most => "most",
        }
    }
}

/// A value with its range and what it rests on, written `(least, usual, most, "basis")`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "(f64, f64, f64, String)", into = "(f64, f64, f64, String)")]
pub struct Ranged {
    least: f64,
    usual: f64,
    most: f64,
    basis: String,
}

impl TryFrom<(f64, f64, f64, String)> for Ranged {
    type Error = String;

    fn try_from((least, usual, most, basis): (f64, f64, f64, String)) -> Result<Self, String> {
        Self::new([least, usual, most], basis).map_err(|refusal| refusal.in_one_text())
    }
}

impl From<Ranged> for (f64, f64, f64, String) {
    fn from(value: Ranged) -> Self {
        (value.least, value.usual, value.most, value.basis)
    }
}

impl Ranged {
    /// Least, usual and most value, and what they rest on.
    ///
    /// # Errors
    /// A [`Refusal`] for numbers that are not finite, below zero or do not rise, and for an empty basis.
    pub fn new([least, usual, most]: [f64; 3], basis: impl Into<String>) -> Result<Self, Refusal> {
        let basis = basis.into();
        let values = [least, usual, most];
        if let Some(wrong) = values.iter().find(|v| !(v.is_finite() && **v >= 0.0)) {
            return Err(Refusal::new(
                format!("the value {wrong} is not finite and >= 0"),
                "give least, usual and most, each finite and not below 0",
            ));
        }
        if !(least <= usual && usual <= most) {
            return Err(Refusal::new(
                format!("({least}, {usual}, {most}) does not rise"),
                "give least, usual and most in this order, then what they rest on in quotes",
            ));
        }
        if basis.trim().is_empty() {
            return Err(Refusal::new(
                "the value does not say what it rests on",
                "name a source, or write \"from memory\"",
            ));
        }
        Ok(Self {
            least,
            usual,
            most,
            basis,
        })
    }

    /// The value at one end of its range.
    #[must_use]
    pub const fn at(&self, level: Level) -> f64 {
        match level {
            Level::Least => self.least,
            Level::Usual => self.usual,
            Level::Most => self.most,
        }
    }

    /// What it rests on.
    #[must_use]
    pub fn basis(&self) -> &str {
        &self.basis
    }

    /// In figures: `0.04 (0.01 to 0.06)`.
    #[must_use]
    pub fn in_figures(&self) -> String {
        format!("{} ({} to {})", self.usual, self.least, self.most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_ranges_that_do_not_rise_are_refused() {
        let new = |values| Ranged::new(values, "from memory");
        assert!(new([0.0, 0.0, 0.0]).is_ok(), "nothing at all is a value");
        for (values, told) in [
            ([0.1, 0.05, 0.2], "does not rise"),
            ([0.1, 0.2, 0.15], "does not rise"),
            ([-0.1, 0.2, 0.3], "-0.1"),
            ([0.1, f64::NAN, 0.3], "NaN"),
            ([0.1, 0.2, f64::INFINITY], "inf"),
        ] {
            let refused = new(values).unwrap_err().in_one_text();
            assert!(refused.contains(told), "{values:?}: {refused}");
        }
        let refused = Ranged::new([0.1, 0.2, 0.3], "  ").unwrap_err();
        assert!(refused.in_one_text().contains("rests on"), "{refused:?}");
    }

    #[test]
    fn exact_each_level_has_its_own_value() {
        let value = Ranged::new([0.01, 0.04, 0.06], "from memory").unwrap();
        let found = Level::ALL.map(|level| value.at(level));
        for (found, given) in found.into_iter().zip([0.01, 0.04, 0.06]) {
            assert!((found - given).abs() < 1e-12, "{found} for {given}");
        }
        assert_eq!(value.in_figures(), "0.04 (0.01 to 0.06)");
    }
}
