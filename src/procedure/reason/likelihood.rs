//! How likely a device is caught at the edge of a stent, in one word.

use crate::mechanics::Share;
use crate::procedure::script::EdgeRules;
use serde::{Deserialize, Serialize};

/// How likely a crossing catches.
///
/// What is drawn at random are assumed spreads, so a share of samples is no rate: a word says what it
/// can bear, and the share stands beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Likelihood {
    /// Less than [`EdgeRules::warns_at`] of the samples catch.
    Unlikely,
    /// In between.
    Possible,
    /// [`EdgeRules::fails_at`] of the samples or more catch, by the lower end of the interval.
    Likely,
}

impl Likelihood {
    /// What a share of samples is called.
    #[must_use]
    pub fn of(share: &Share, rules: &EdgeRules) -> Self {
        if share.low >= rules.fails_at {
            Self::Likely
        } else if share.probability >= rules.warns_at {
            Self::Possible
        } else {
            Self::Unlikely
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_words_at_their_borders() {
        let rules = EdgeRules::default();
        let word = |probability: f64, low: f64| {
            let share = Share {
                probability,
                low,
                high: 1.0,
            };
            Likelihood::of(&share, &rules)
        };
        for (probability, low, expected) in [
            (0.049, 0.04, Likelihood::Unlikely),
            (0.05, 0.04, Likelihood::Possible),
            (0.51, 0.499, Likelihood::Possible),
            (0.52, 0.50, Likelihood::Likely),
        ] {
            assert_eq!(
                word(probability, low),
                expected,
                "{probability}, from {low} on"
            );
        }
    }
}
