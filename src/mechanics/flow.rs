//! Laminar flow through occupied lumens.

/// Share of a round lumen's free flow that is left, at the same pressure drop, with a concentric
/// round shaft in it; `ratio` is shaft diameter over lumen diameter, 0 to 1.
///
/// `(1 - k^4) - (1 - k^2)^2 / ln(1/k)` for `0 < k < 1`; 1 without a shaft, 0 at a full lumen.
///
/// # Validity
/// Steady laminar flow of a Newtonian fluid, long compared with the gap. A shaft that lies on the
/// wall lets more through, up to about 2.5 times as much in a narrow gap.
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
        return 4.0 / 3.0 * gap.powi(3) * (1.0 - 0.5 * gap);
    }
    let k2 = ratio * ratio;
    (1.0 - k2 * k2) - (1.0 - k2).powi(2) / (-ratio.ln())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_annulus_flows() {
        // Course problem quoted with its data (R 5 mm, r 1 mm, 10 kPa/m, 0.1 Pa s): 1.0450e-5 m3/s.
        let free_m3_s = std::f64::consts::PI * 1e4 * 5e-3_f64.powi(4) / (8.0 * 0.1);
        let found = free_m3_s * annulus_flow_fraction(0.2);
        assert!((found / 1.0450e-5 - 1.0).abs() < 1e-4, "{found}");
        // Textbook problem, restated in SI units: 1.26 / 2.8 cm, 0.057 Pa s, 8.2 m, 37 162 Pa: 3.119e-3.
        let free_m3_s = std::f64::consts::PI * 37_162.0 * 2.8e-2_f64.powi(4) / (8.0 * 0.057 * 8.2);
        let found = free_m3_s * annulus_flow_fraction(1.26 / 2.8);
        assert!((found / 3.119e-3 - 1.0).abs() < 1e-3, "{found}");
    }

    #[test]
    fn exact_narrow_gap_joins_the_closed_form() {
        // the plate formula is used below a gap of 1e-3, the closed form above: they meet there
        let plates = |gap: f64| 4.0 / 3.0 * gap.powi(3) * (1.0 - 0.5 * gap);
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
