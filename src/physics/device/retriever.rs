//! Stent retrievers: open length in a vessel, and the force with which they push outwards.

use super::{DeviceError, RetrieverSpec};
use crate::math;
use crate::units::Allowed;

/// Outward force of a retriever per length, N/mm, for each mm that its diameter is below the free
/// one. Set so that the pull of a bare retriever out of a straight vessel is that of the simplest
/// bench model: 0.24 to 0.37 N for two devices (*Front. Neurol.* 15, 1486738, 2024), with the
/// friction of metal on a lubricated wall.
const OUTWARD_N_PER_MM2: f64 = 0.02;

/// Diameters of vessels are told to a tenth of a millimetre: what differs by less than half of that is the
/// same, mm.
const TOLD_TO_MM: f64 = 0.05;

impl RetrieverSpec {
    /// Diameter it opens to in a vessel (mm), mm.
    #[must_use]
    pub fn open_diameter_mm(&self, vessel_mm: f64) -> f64 {
        vessel_mm.min(self.free_diameter_mm)
    }

    /// Open length in a vessel (mm), mm, given the diameter it has when folded (mm).
    ///
    /// Its struts keep their length, as the wires of a braid or the sides of a lattice of diamonds
    /// do: `L^2 + a D^2` stays the same, with `a` from its sizes folded and at rest.
    ///
    /// # Validity
    /// From the folded diameter to the free one; a wider vessel leaves it at rest.
    ///
    /// # Errors
    /// [`DeviceError::OutOfRange`] for a vessel narrower than the folded retriever, or a folded
    /// diameter that is not below the free one.
    pub fn open_length_mm(
        &self,
        vessel_mm: f64,
        folded_diameter_mm: f64,
    ) -> Result<f64, DeviceError> {
        let (free_mm, folded_mm) = (self.free_diameter_mm, folded_diameter_mm);
        if !(folded_mm >= 0.0 && folded_mm < free_mm) {
            return Err(DeviceError::OutOfRange {
                what: "folded diameter of a retriever, mm",
                found: folded_mm,
                needed: Allowed::in_words("below its free diameter")
                    .at_least(0.0)
                    .below(free_mm),
            });
        }
        let open_mm = self.open_diameter_mm(vessel_mm);
        if open_mm.is_nan() || open_mm < folded_mm {
            return Err(DeviceError::OutOfRange {
                what: "vessel of a retriever, mm",
                found: vessel_mm,
                needed: Allowed::in_words("at least its folded diameter").at_least(folded_mm),
            });
        }
        let lengths = math::power(self.folded_length_mm, 2) - math::power(self.free_length_mm, 2);
        let squares = free_mm * free_mm - folded_mm * folded_mm;
        let short = lengths / squares * (open_mm * open_mm - folded_mm * folded_mm);
        Ok((math::power(self.folded_length_mm, 2) - short)
            .max(0.0)
            .sqrt())
    }

    /// Outward force per length in a vessel (mm), N/mm: linear in what the diameter lacks.
    ///
    /// # Validity
    /// Order of magnitude: makers publish no law; see the bench pull it is set by.
    #[must_use]
    pub fn outward_n_per_mm(&self, vessel_mm: f64) -> f64 {
        OUTWARD_N_PER_MM2 * (self.free_diameter_mm - self.open_diameter_mm(vessel_mm)).max(0.0)
    }

    /// Refuses a vessel that the retriever is not meant for, by more than diameters are told.
    ///
    /// # Errors
    /// [`DeviceError::OutOfRange`] with the range.
    pub fn check_vessel(&self, vessel_mm: f64) -> Result<(), DeviceError> {
        let usual_mm = self.vessel_from_mm - TOLD_TO_MM..=self.vessel_to_mm + TOLD_TO_MM;
        if usual_mm.contains(&vessel_mm) {
            return Ok(());
        }
        Err(DeviceError::OutOfRange {
            what: "vessel of a retriever, mm",
            found: vessel_mm,
            needed: Allowed::in_words("in the range of vessels it is meant for")
                .at_least(*usual_mm.start())
                .at_most(*usual_mm.end()),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spec() -> RetrieverSpec {
        RetrieverSpec {
            free_diameter_mm: 4.0,
            free_length_mm: 20.0,
            folded_length_mm: 34.0,
            vessel_from_mm: 2.0,
            vessel_to_mm: 4.0,
        }
    }

    #[test]
    fn exact_lengths_folded_and_at_rest() {
        let length = |vessel_mm| spec().open_length_mm(vessel_mm, 0.43).unwrap();
        assert!((length(0.43) - 34.0).abs() < 1e-12, "folded");
        assert!((length(4.0) - 20.0).abs() < 1e-12, "at rest");
        assert!((length(7.0) - 20.0).abs() < 1e-12, "wider than at rest");
        // by hand: a = (1156 - 400) / (16 - 0.1849) = 47.802; L = sqrt(1156 - 47.802 (9 - 0.1849))
        assert!((length(3.0) - 27.105).abs() < 2e-3, "{}", length(3.0));
    }

    #[test]
    fn exact_same_law_as_a_braid() {
        // A braid's L^2 + a D^2 is its wire length squared: two of its sizes give all others.
        let braid = crate::device::Braid {
            free_diameter_mm: 4.0,
            free_length_mm: 20.0,
            wires: 16,
            wire_diameter_mm: 0.06,
            braid_angle_rad: 0.7,
            youngs_modulus_mpa: 48e3,
            poisson_ratio: 0.3,
        };
        let basket = RetrieverSpec {
            folded_length_mm: braid.length_mm(0.5).unwrap(),
            ..spec()
        };
        for vessel_mm in [0.8, 1.7, 2.6, 3.4] {
            let (a, b) = (
                basket.open_length_mm(vessel_mm, 0.5).unwrap(),
                braid.length_mm(vessel_mm).unwrap(),
            );
            assert!((a - b).abs() < 1e-9, "{vessel_mm}: {a} against {b}");
        }
    }

    #[test]
    fn exact_vessels_out_of_range_are_refused() {
        assert!(spec().check_vessel(2.4).is_ok(), "in range");
        assert!(spec().check_vessel(1.96).is_ok(), "told as 2.0 mm");
        assert!(spec().check_vessel(1.94).is_err(), "told as 1.9 mm");
        assert!(spec().check_vessel(4.9).is_err(), "too wide");
        assert!(
            spec().open_length_mm(0.3, 0.43).is_err(),
            "narrower than folded"
        );
    }
}
