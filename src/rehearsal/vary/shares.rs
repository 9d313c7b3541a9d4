//! How often something happened, and between which values its chance lies.

use crate::math::power;
use serde::{Deserialize, Serialize};

/// 95 of 100 intervals hold what they are of.
const Z: f64 = 1.959_963_984_540_054;

/// A share of cases with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// Cases in which it happened.
    pub count: usize,
    /// Cases in all.
    pub of: usize,
    /// Their share.
    pub share: f64,
    /// Lower end of the interval (95 of 100).
    pub from: f64,
    /// Upper end.
    pub to: f64,
}

impl Share {
    /// By Wilson's score interval (J. Am. Stat. Assoc. 22:209, 1927; from memory), which holds for few cases and for
    /// shares of nought.
    #[must_use]
    pub fn of(count: usize, of: usize) -> Self {
        let whole = |n: usize| f64::from(u32::try_from(n).unwrap_or(u32::MAX));
        if of == 0 {
            return Self {
                count,
                of,
                share: 0.0,
                from: 0.0,
                to: 1.0,
            };
        }
        let (n, share) = (whole(of), whole(count) / whole(of));
        let z2 = Z * Z;
        let middle = (share + 0.5 * z2 / n) / (1.0 + z2 / n);
        let half =
            Z / (1.0 + z2 / n) * (share * (1.0 - share) / n + 0.25 * z2 / power(n, 2)).sqrt();
        Self {
            count,
            of,
            share,
            from: if count == 0 {
                0.0
            } else {
                (middle - half).max(0.0)
            },
            to: if count == of {
                1.0
            } else {
                (middle + half).min(1.0)
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::draws::share;
    use super::*;

    /// 2 of 10 by hand: middle (0.2 + 3.8415 / 20) / 1.38415, half 1.95996 / 1.38415 sqrt(0.016 + 0.0096036).
    #[test]
    fn exact_wilson_by_hand() {
        let found = Share::of(2, 10);
        assert!((found.from - 0.0567).abs() < 2e-4, "{found:?}");
        assert!((found.to - 0.5098).abs() < 2e-4, "{found:?}");
        assert!(Share::of(0, 50).from <= 0.0 && Share::of(50, 50).to >= 1.0);
        assert!(
            (Share::of(0, 50).to - 0.0713).abs() < 2e-4,
            "3.8415 / 53.8415"
        );
    }

    /// Of 2,000 samples of 200 draws each (of 60 it would be 93.4 of 100 at 0.3, exactly) the interval holds the true chance in 95 ± 1.5 of 100.
    #[test]
    fn property_intervals_hold_what_they_are_of() {
        for chance in [0.1, 0.3, 0.5] {
            let held = (0..2000_u32).filter(|sample| {
                let draws = 0..200_u64;
                let drawn = |i: u64| share(11, u64::from(*sample), i, 0) < chance;
                let count = draws.filter(|i| drawn(*i)).count();
                let found = Share::of(count, 200);
                found.from <= chance && chance <= found.to
            });
            let held = held.count();
            assert!((1870..=1955).contains(&held), "{chance}: {held} of 2000");
        }
    }
}
