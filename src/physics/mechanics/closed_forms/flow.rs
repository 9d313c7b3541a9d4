//! Laminar flow through occupied lumens, and what suction pulls with.

use crate::math;
use crate::mechanics::error::MechanicsError;
use crate::units::Allowed;
use std::f64::consts::PI;

/// Share of a round lumen's free flow that is left, at the same pressure drop, with a concentric
/// round shaft in it; `ratio` is shaft diameter over lumen diameter, 0 to 1.
///
/// `(1 - k^4) - (1 - k^2)^2 / ln(1/k)` for `0 < k < 1`; 1 without a shaft, 0 at a full lumen.
///
/// # Validity
/// Steady laminar flow of a Newtonian fluid, long compared with the gap. A shaft that lies on the
/// wall lets more through: [`eccentric_flow_fraction`].
///
/// # References
/// Bird, Stewart & Lightfoot, *Transport Phenomena*, section 2.4.
#[must_use]
pub fn annulus_flow_fraction(ratio: f64) -> f64 {
    if ratio <= 0.0 {
        return 1.0;
    }
    let gap = 1.0 - ratio;
    if gap <= 0.0 {
        return 0.0;
    }
    // The closed form loses digits in narrow gaps; there the flow is that between flat plates,
    // 4/3 gap^3 (1 - gap/2), to second order in the gap.
    if gap < 1e-3 {
        return 4.0 / 3.0 * math::power(gap, 3) * (1.0 - 0.5 * gap);
    }
    let k2 = ratio * ratio;
    (1.0 - k2 * k2) - math::power(1.0 - k2, 2) / (-math::ln(ratio))
}

/// Force that pushes a shaft forward whose rear end lies in a flushed lumen, N: pressure on that end, and what
/// the flow drags along it. `pressure_n_per_mm2` at the hub over that at the tip, `>= 0`; diameters in mm.
///
/// `p pi R^2 (1 - k^2) / (2 ln(1/k))` with `k` the ratio of the diameters; `p pi R^2` where the shaft fills the
/// lumen, 0 without one.
///
/// # Validity
/// As [`annulus_flow_fraction`]: steady laminar flow round a concentric shaft along the whole lumen. A shaft on
/// the wall is dragged less.
///
/// # References
/// Balance of the forces on the fluid in the annulus, from the velocities of Bird, Stewart & Lightfoot,
/// *Transport Phenomena*, section 2.4.
#[must_use]
pub fn flush_push_n(pressure_n_per_mm2: f64, shaft_mm: f64, lumen_mm: f64) -> f64 {
    let piston_n = pressure_n_per_mm2 * 0.25 * PI * lumen_mm * lumen_mm;
    let ratio = shaft_mm / lumen_mm;
    if ratio <= 0.0 {
        return 0.0;
    }
    // the quotient tends to 1 and loses digits on the way
    if ratio > 1.0 - 1e-6 {
        return piston_n;
    }
    piston_n * (1.0 - ratio * ratio) / (-2.0 * math::ln(ratio))
}

/// The same with the shaft aside: `eccentricity` is the distance of the centres over the one at
/// which the shaft touches, 0 to 1.
///
/// # Validity
/// As [`annulus_flow_fraction`]. The series of bipolar coordinates does not converge at the touch
/// itself; beyond 0.999 the value at 0.999 is returned, 0.2 % from the touch. In gaps below a
/// hundredth of the lumen's radius the narrow-gap law `1 + 1.5 e^2` times the concentric flow is
/// used, good to the ratio of gap and radius.
///
/// # References
/// Piercy, Hooper & Winny (1933), *Phil. Mag.* 15, 647-676 (from memory).
#[must_use]
pub fn eccentric_flow_fraction(ratio: f64, eccentricity: f64) -> f64 {
    let concentric = annulus_flow_fraction(ratio);
    let aside = eccentricity.clamp(0.0, 0.999);
    let gap = 1.0 - ratio;
    if ratio <= 0.0 || gap <= 0.0 {
        return concentric;
    }
    // The series cancels when the circles are nearly concentric; there the share is even in the
    // eccentricity, and a parabola errs by its fourth power, 6e-6 at most.
    const NEARLY_CONCENTRIC: f64 = 0.05;
    if aside < NEARLY_CONCENTRIC {
        let there = eccentric_flow_fraction(ratio, NEARLY_CONCENTRIC);
        return concentric + (there - concentric) * math::power(aside / NEARLY_CONCENTRIC, 2);
    }
    if gap < 0.01 {
        return concentric * (1.0 + 1.5 * aside * aside);
    }
    let c = aside * gap;
    let f = (1.0 - ratio * ratio + c * c) / (2.0 * c);
    let m = (f * f - 1.0).sqrt();
    let alpha = 0.5 * math::ln((f + m) / (f - m));
    let beta = 0.5 * math::ln((f - c + m) / (f - c - m));
    let mut sum = 0.0;
    // terms fall like n exp(-2 n alpha); near the touch that takes hundreds
    const MOST_TERMS: u32 = 20_000;
    for n in 1..=MOST_TERMS {
        let n = f64::from(n);
        // n exp(-n (beta + alpha)) / sinh(n (beta - alpha)) without overflow
        let term =
            2.0 * n * math::exp(-2.0 * n * beta) / (1.0 - math::exp(-2.0 * n * (beta - alpha)));
        sum += term;
        if term < 1e-17 * sum {
            break;
        }
    }
    let k4 = math::power(ratio, 4);
    1.0 - k4 - 4.0 * c * c * m * m / (beta - alpha) - 8.0 * c * c * m * m * sum
}

/// A stretch of a lumen with what lies in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OccupiedStretch {
    /// Its length, mm, > 0.
    pub length_mm: f64,
    /// Lumen diameter, mm, > 0.
    pub lumen_mm: f64,
    /// Share of the free flow that what lies in it lets through, 0 to 1.
    pub share: f64,
}

/// Share of a catheter's free flow left where its stretches are occupied differently: they lie in
/// series, each with a resistance of `length / (lumen^4 share)`. `stretches`: `[n]`; without any the flow is free.
///
/// # Errors
/// [`MechanicsError::OutOfRange`] for a length or lumen that is not above zero.
pub fn series_flow_fraction(stretches: &[OccupiedStretch]) -> Result<f64, MechanicsError> {
    let (mut free, mut occupied) = (0.0, 0.0);
    for (i, stretch) in stretches.iter().enumerate() {
        for (what, found) in [
            ("length_mm", stretch.length_mm),
            ("lumen_mm", stretch.lumen_mm),
        ] {
            if !(found > 0.0 && found.is_finite()) {
                return Err(MechanicsError::OutOfRange {
                    what: format!("stretches[{i}].{what}"),
                    found,
                    needed: Allowed::POSITIVE,
                });
            }
        }
        let resistance = stretch.length_mm / math::power(stretch.lumen_mm, 4);
        free += resistance;
        occupied += if stretch.share > 0.0 {
            resistance / stretch.share
        } else {
            f64::INFINITY
        };
    }
    Ok(if free > 0.0 { free / occupied } else { 1.0 })
}

/// Suction of a pump, kPa: 25.63 inHg, measured by Froehler (2017), *Interv. Neurol.* 6:199.
pub const PUMP_KPA: f64 = 86.8;

/// Pull of suction on a clot that closes a tip, N: pressure (kPa) times the area of the lumen (mm).
///
/// An ideal seal. A bench measured 0.26 N on a 0.068 in class and 0.42 N on an 8 French guide (*J. Neurointervent.
/// Surg.* 13, 1157, 2021), a quarter more than this: it compares catheters and
/// promises no force.
#[must_use]
pub fn suction_force_n(lumen_mm: f64, pressure_kpa: f64) -> f64 {
    0.25 * PI * lumen_mm * lumen_mm * pressure_kpa * 1e-3
}
#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_annulus_flows() {
        // Course problem quoted with its data (R 5 mm, r 1 mm, 10 kPa/m, 0.1 Pa s): 1.0450e-5 m3/s.
        let free_m3_s = PI * 1e4 * math::power(5e-3, 4) / (8.0 * 0.1);
        let found = free_m3_s * annulus_flow_fraction(0.2);
        assert!((found / 1.0450e-5 - 1.0).abs() < 1e-4, "{found}");
        // Textbook problem, restated in SI units: 1.26 / 2.8 cm, 0.057 Pa s, 8.2 m, 37 162 Pa: 3.119e-3.
        let free_m3_s = PI * 37_162.0 * math::power(2.8e-2, 4) / (8.0 * 0.057 * 8.2);
        let found = free_m3_s * annulus_flow_fraction(1.26 / 2.8);
        assert!((found / 3.119e-3 - 1.0).abs() < 1e-3, "{found}");
    }

    #[test]
    fn exact_narrow_gap_joins_the_closed_form() {
        // the plate formula is used below a gap of 1e-3, the closed form above: they meet there
        let plates = |gap: f64| 4.0 / 3.0 * math::power(gap, 3) * (1.0 - 0.5 * gap);
        for gap in [1.001e-3, 2e-3, 4e-3] {
            let found = annulus_flow_fraction(1.0 - gap);
            assert!(
                (found / plates(gap) - 1.0).abs() < 2.0 * gap,
                "gap {gap}: {found}"
            );
        }
        assert!(
            annulus_flow_fraction(2.11 / 2.235) < 3e-4,
            "a full lumen moves nothing"
        );
    }
}
