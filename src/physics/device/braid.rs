//! Braids: tubes of helical wires whose length each wire keeps.

use super::DeviceError;
use crate::math;
use crate::units::Allowed;
use std::f64::consts::PI;

/// A braid at rest.
///
/// All wires are helices, half of them in each direction. At any diameter a wire keeps its length
/// and its number of turns, so diameter and length of the braid go together, and the force follows
/// from bending and twisting the wires.
///
/// # Validity
/// Wires slide on each other without friction and are not joined; diameters up to the one at rest.
///
/// # References
/// Jedwab & Clerc, *J. Appl. Biomater.* 4, 77-85 (1993); pitch `pi D tan(b)` with `b` from the
/// circumferential direction: Zaccaria et al., *J. Mech. Behav. Biomed. Mater.* 119, 104560 (2021).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Braid {
    /// Diameter at rest, mm.
    pub free_diameter_mm: f64,
    /// Length at rest, mm.
    pub free_length_mm: f64,
    /// Number of wires, both directions together.
    pub wires: u32,
    /// Wire diameter, mm.
    pub wire_diameter_mm: f64,
    /// Angle of the wires from the circumferential direction at rest, rad, in (0, pi/2).
    pub braid_angle_rad: f64,
    /// Young's modulus of the wire, N/mm2.
    pub youngs_modulus_mpa: f64,
    /// Poisson's ratio of the wire.
    pub poisson_ratio: f64,
}

impl Braid {
    /// Refuses a diameter that the braid does not have.
    ///
    /// # Errors
    /// [`DeviceError::OutOfRange`] for a diameter that is not above zero and at most the free one.
    fn check(&self, diameter_mm: f64) -> Result<(), DeviceError> {
        if diameter_mm > 0.0 && diameter_mm <= self.free_diameter_mm * (1.0 + 1e-12) {
            return Ok(());
        }
        Err(DeviceError::OutOfRange {
            what: "diameter_mm of a braid",
            found: diameter_mm,
            needed: Allowed::in_words("above 0 and at most its free diameter")
                .above(0.0)
                .at_most(self.free_diameter_mm),
        })
    }

    fn cos_at(&self, diameter_mm: f64) -> f64 {
        (math::cos(self.braid_angle_rad) * diameter_mm / self.free_diameter_mm).min(1.0)
    }

    /// Angle of the wires from the circumferential direction at a diameter (mm), rad.
    ///
    /// # Errors
    /// [`DeviceError::OutOfRange`] for a diameter above the free one or not above zero.
    pub fn angle_rad(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        self.check(diameter_mm)?;
        Ok(math::acos(self.cos_at(diameter_mm)))
    }

    /// Length at a diameter (mm), mm: `L0 sin(b) / sin(b0)`.
    ///
    /// # Errors
    /// As [`Self::angle_rad`].
    pub fn length_mm(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        Ok(
            self.free_length_mm * math::sin(self.angle_rad(diameter_mm)?)
                / math::sin(self.braid_angle_rad),
        )
    }

    /// Length of one wire, mm.
    #[must_use]
    pub fn wire_length_mm(&self) -> f64 {
        self.free_length_mm / math::sin(self.braid_angle_rad)
    }

    /// Advance of one turn of a wire at a diameter (mm), mm.
    ///
    /// # Errors
    /// As [`Self::angle_rad`].
    pub fn pitch_mm(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        Ok(PI * diameter_mm * math::tan(self.angle_rad(diameter_mm)?))
    }

    /// Turns of one wire, at any diameter.
    #[must_use]
    pub fn turns(&self) -> f64 {
        self.free_length_mm / (PI * self.free_diameter_mm * math::tan(self.braid_angle_rad))
    }

    /// Bending and twisting stiffness of one wire, N mm2.
    fn wire_stiffness_n_mm2(&self) -> (f64, f64) {
        let bending = self.youngs_modulus_mpa * PI * math::power(self.wire_diameter_mm, 4) / 64.0;
        (bending, bending / (1.0 + self.poisson_ratio))
    }

    /// Axial pull that holds the braid at a diameter (mm) without any wall, N.
    ///
    /// # Errors
    /// As [`Self::angle_rad`].
    pub fn axial_force_n(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        self.check(diameter_mm)?;
        let (bending, twisting) = self.wire_stiffness_n_mm2();
        let (free_mm, rest) = (self.free_diameter_mm, self.braid_angle_rad);
        let (sin, cos) = math::sin_cos(self.angle_rad(diameter_mm)?);
        let k1 = math::sin(2.0 * rest) / free_mm;
        let k2 = 2.0 * math::power(math::cos(rest), 2) / free_mm;
        let k3 = free_mm / math::cos(rest);
        Ok(2.0
            * f64::from(self.wires)
            * (twisting / k3 * (2.0 * sin / k3 - k1)
                - bending * (sin / cos) / k3 * (2.0 * cos / k3 - k2)))
    }

    /// Pressure with which the braid, free to change its length, pushes a wall of a diameter (mm)
    /// outwards, N/mm2: `2 F / (pi D^2 tan^2(b))`.
    ///
    /// # Errors
    /// As [`Self::angle_rad`].
    pub fn pressure_mpa(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        let tan = math::tan(self.angle_rad(diameter_mm)?);
        let force_n = self.axial_force_n(diameter_mm)?;
        Ok(2.0 * force_n / (PI * diameter_mm * diameter_mm * tan * tan))
    }

    /// Bending stiffness of the whole braid at a diameter (mm), N mm2.
    ///
    /// Each wire is a helical spring in bending: over one turn the moment bends the wire about its
    /// normal (half of it), its binormal (`sin^2(b) / 2`) and twists it (`cos^2(b) / 2`); per length
    /// of axis there is `1 / sin(b)` of wire. For a closely wound coil this is the textbook
    /// `2 sin(b) / (1/EI + 1/GJ)`.
    ///
    /// # Validity
    /// Wires in parallel, free to slide, nothing held at the ends: the least a braid can have.
    ///
    /// # Errors
    /// As [`Self::angle_rad`].
    ///
    /// # References
    /// Helical springs in bending, textbook mechanics (from memory).
    pub fn bending_stiffness_n_mm2(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        let (sin, cos) = math::sin_cos(self.angle_rad(diameter_mm)?);
        let (bending, twisting) = self.wire_stiffness_n_mm2();
        let give = 0.5 * ((1.0 + sin * sin) / bending + cos * cos / twisting);
        Ok(f64::from(self.wires) * sin / give)
    }

    /// Axial length of one diamond of the braid at a diameter (mm), mm: wires of one direction lie
    /// `pitch / (wires / 2)` apart.
    ///
    /// # Errors
    /// As [`Self::angle_rad`].
    pub fn cell_length_mm(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        Ok(self.pitch_mm(diameter_mm)? / (0.5 * f64::from(self.wires)))
    }
}
