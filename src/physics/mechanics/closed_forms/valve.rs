//! Haemostatic valves: what a ring of silicone costs the hand.

use crate::math;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// How tight the valves are that a step's devices pass.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Tightness {
    /// Opened for the passage: it bleeds back.
    Open,
    /// So tight that it hardly drips, and what lies in it still runs.
    #[default]
    Snug,
    /// Screwed down on what lies in it.
    Closed,
}

impl Tightness {
    /// In one word.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Snug => "snug",
            Self::Closed => "closed",
        }
    }
}

/// Force, N, with which a valve holds back what slides in it: something `sliding_mm` wide beside something `still_mm`
/// wide that lies in it as well (0: nothing).
///
/// `grip_n_per_mm` is what one device alone costs for each mm of its diameter. Such a ring is a belt whose tension
/// grows with what it is opened to. Round two devices side by side it is opened to the sum of both; it bears on the sliding one
/// along the arc that it wraps, and presses both together with the pull of its two straight runs:
///
/// `F = g (d + e) (w + 2 cos a) / 2 pi`, `sin a = (d - e) / (d + e)`, `w = pi + 2 a`.
///
/// | argument | unit | range |
/// | --- | --- | --- |
/// | `grip_n_per_mm` | N/mm | `>= 0` |
/// | `sliding_mm` | mm | `>= 0` |
/// | `still_mm` | mm | `>= 0` |
///
/// # Validity
/// Two round devices that touch; devices are taken to be as slippery on each other as in the ring. A thin one beside a
/// thick one lies in the wedge between both and costs next to nothing. Derived; no measurement of two devices in one
/// valve is known.
///
/// # Example
/// ```
/// use nestline_physics::mechanics::valve_friction_n;
/// assert!((valve_friction_n(0.3, 2.0, 0.0) - 0.6).abs() < 1e-12);
/// let beside_its_like_n = 0.3 * 4.0 * (0.5 + 1.0 / std::f64::consts::PI);
/// assert!((valve_friction_n(0.3, 2.0, 2.0) - beside_its_like_n).abs() < 1e-12);
/// ```
#[must_use]
pub fn valve_friction_n(grip_n_per_mm: f64, sliding_mm: f64, still_mm: f64) -> f64 {
    let both_mm = sliding_mm + still_mm;
    if both_mm <= 0.0 {
        return 0.0;
    }
    let sine = (sliding_mm - still_mm) / both_mm;
    let cosine = (1.0 - sine * sine).max(0.0).sqrt();
    let wrapped_rad = std::f64::consts::PI + 2.0 * math::atan2(sine, cosine);
    grip_n_per_mm * both_mm * (wrapped_rad + 2.0 * cosine) / TAU
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_limits_of_two_in_one_ring() {
        let alone = valve_friction_n(0.3, 2.7, 0.0);
        assert!((alone - 0.81).abs() < 1e-12, "alone: {alone}");
        // a hair beside it changes nothing, and a hair beside a catheter costs next to nothing: with the root of its width
        assert!((valve_friction_n(0.3, 2.7, 1e-9) - alone).abs() < 1e-4);
        assert!(valve_friction_n(0.3, 1e-9, 2.7).abs() < 1e-4);
        assert!(
            valve_friction_n(0.3, 0.0, 0.0).abs() < 1e-15,
            "nothing in it"
        );
    }

    #[test]
    fn property_what_slides_together_costs_the_whole_ring() {
        // the arcs that both wrap are the ring: without the press of one on the other they cost its tension alone
        for (d, e) in [(2.7, 0.4), (1.0, 1.0), (0.36, 1.9)] {
            let sine: f64 = (d - e) / (d + e);
            let press = 0.3 * (d + e) * 2.0 * (1.0 - sine * sine).sqrt() / TAU;
            let arcs = valve_friction_n(0.3, d, e) + valve_friction_n(0.3, e, d) - 2.0 * press;
            assert!((arcs - 0.3 * (d + e)).abs() < 1e-12, "{d} {e}: {arcs}");
        }
    }

    #[test]
    fn property_it_grows_with_grip_width_and_company() {
        for (d, e) in [(0.36, 0.0), (0.5, 0.8), (2.1, 0.4), (2.7, 2.7)] {
            let found = valve_friction_n(0.3, d, e);
            assert!((valve_friction_n(0.6, d, e) - 2.0 * found).abs() < 1e-12);
            assert!(valve_friction_n(0.3, d + 0.1, e) > found, "{d} {e}");
            assert!(valve_friction_n(0.3, d, e + 0.1) > found, "{d} {e}");
        }
    }
}
