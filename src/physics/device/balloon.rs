//! Angioplasty balloons: diameter by pressure, and tension in the wall.

use super::{BalloonSpec, DeviceError};
use crate::units::Allowed;

/// One atmosphere, N/mm2.
pub(crate) const ATM_MPA: f64 = 0.101_325;

impl BalloonSpec {
    /// Diameter at a pressure across its wall (atm), mm, growing evenly about the nominal diameter.
    #[must_use]
    pub fn diameter_at_mm(&self, pressure_atm: f64) -> f64 {
        let above_atm = pressure_atm - self.nominal_pressure_atm;
        self.nominal_diameter_mm * (1.0 + self.compliance_percent_per_atm / 100.0 * above_atm)
    }

    /// Refuses a pressure that the balloon must not be brought to.
    ///
    /// # Errors
    /// [`DeviceError::OutOfRange`] above the rated pressure or at no pressure.
    pub fn check_pressure(&self, pressure_atm: f64) -> Result<(), DeviceError> {
        if pressure_atm > 0.0 && pressure_atm <= self.rated_pressure_atm {
            return Ok(());
        }
        Err(DeviceError::OutOfRange {
            what: "pressure_atm of a balloon",
            found: pressure_atm,
            needed: Allowed::in_words("above 0 and at most its rated pressure")
                .above(0.0)
                .at_most(self.rated_pressure_atm),
        })
    }

    /// Tension in the balloon's wall at a pressure (atm), N per mm of its length: `T = p R`.
    ///
    /// # References
    /// Laplace's law of a thin cylinder.
    #[must_use]
    pub fn hoop_tension_n_per_mm(&self, pressure_atm: f64) -> f64 {
        pressure_atm * ATM_MPA * 0.5 * self.diameter_at_mm(pressure_atm)
    }

    /// Widest balloon of the trade's half-millimetre steps that is not wider than an artery (mm).
    #[must_use]
    pub fn no_wider_than_mm(artery_mm: f64) -> f64 {
        // a measured 4.5 must not become 4.0 by rounding
        ((artery_mm + 1e-9) * 2.0).floor() / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn balloon() -> BalloonSpec {
        BalloonSpec {
            nominal_diameter_mm: 4.0,
            length_mm: 20.0,
            nose_length_mm: 5.0,
            nominal_pressure_atm: 8.0,
            rated_pressure_atm: 14.0,
            compliance_percent_per_atm: 0.9,
        }
    }

    #[test]
    fn exact_laplace_and_compliance() {
        // 8 atm = 0.8106 N/mm2 on a radius of 2 mm
        let tension = balloon().hoop_tension_n_per_mm(8.0);
        assert!((tension - 8.0 * 0.101_325 * 2.0).abs() < 1e-12, "{tension}");
        let wide_mm = balloon().diameter_at_mm(14.0);
        assert!((wide_mm - 4.0 * 1.054).abs() < 1e-12, "{wide_mm}");
    }

    #[test]
    fn exact_above_rated_is_refused() {
        assert!(balloon().check_pressure(14.0).is_ok(), "at rated");
        let refused = balloon().check_pressure(14.5).unwrap_err().to_string();
        assert_eq!(
            refused,
            "pressure_atm of a balloon is 14.5, must be above 0 and at most its rated pressure",
            "told in full"
        );
    }

    #[test]
    fn exact_half_millimetre_steps() {
        for (artery_mm, balloon_mm) in [(4.9, 4.5), (4.5, 4.5), (4.49, 4.0), (5.1, 5.0)] {
            let found = BalloonSpec::no_wider_than_mm(artery_mm);
            assert!((found - balloon_mm).abs() < 1e-12, "{artery_mm}: {found}");
        }
    }
}
