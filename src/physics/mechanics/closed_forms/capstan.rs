//! The capstan estimate of what bends cost.

use crate::math;
/// A stretch of a route along which one pair of surfaces slides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BendContact {
    /// Total turning over the stretch, rad, >= 0.
    pub turning_rad: f64,
    /// Coefficient of friction, >= 0.
    pub friction_coefficient: f64,
}

/// Force at the hub over force at the tip for a limp, weightless device that slides through bends.
///
/// `T_hub = T_tip exp(sum(mu theta))`: the force grows with the angle turned, whatever the radius.
///
/// # Validity
/// A string without bending stiffness that lies on the wall everywhere. A stiff device pays for
/// its stiffness as well, and one with room to cut corners turns by less: an estimate only.
///
/// # References
/// Euler's belt equation; Singh (2022), *J. Elasticity* 151, 321-346,
/// <https://doi.org/10.1007/s10659-022-09939-8>.
///
/// # Example
/// ```
/// use nestline_physics::mechanics::{BendContact, capstan_factor};
/// let half_turn = BendContact { turning_rad: std::f64::consts::PI, friction_coefficient: 0.1 };
/// assert!((capstan_factor([half_turn]) - 1.3691).abs() < 1e-4);
/// ```
#[must_use]
pub fn capstan_factor(stretches: impl IntoIterator<Item = BendContact>) -> f64 {
    let turned: f64 = stretches
        .into_iter()
        .map(|s| s.friction_coefficient * s.turning_rad)
        .sum();
    math::exp(turned)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_belt_table() {
        // exp(mu theta); the half turn at 0.40 is the handbook's 100 lb against 28.46 lb.
        for (mu, degrees, factor) in [
            (0.02, 1080.0, 1.4579),
            (0.05, 720.0, 1.8745),
            (0.10, 90.0, 1.1701),
            (0.10, 360.0, 1.8745),
            (0.20, 540.0, 6.5861),
            (0.40, 180.0, 100.0 / 28.46),
        ] {
            let found = capstan_factor([BendContact {
                turning_rad: f64::to_radians(degrees),
                friction_coefficient: mu,
            }]);
            assert!(
                (found / factor - 1.0).abs() < 1e-4,
                "{mu} {degrees}: {found} against {factor}"
            );
        }
    }

    #[test]
    fn property_cutting_a_bend_changes_nothing() {
        let bend = |turning_rad| BendContact {
            turning_rad,
            friction_coefficient: 0.17,
        };
        let whole = capstan_factor([bend(2.0)]);
        let cut = capstan_factor([bend(0.3), bend(1.1), bend(0.6)]);
        assert!((whole - cut).abs() < 1e-12, "{whole} against {cut}");
    }
}
