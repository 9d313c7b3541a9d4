//! Self-expanding stents: length, outward force and bending stiffness by diameter.

use super::{Braid, Cells, DeviceError, StentDesign, StentSpec};
use crate::math;
use crate::units::Allowed;
use std::f64::consts::PI;

/// Young's modulus of nitinol as a beam, N/mm2: the initial modulus measured on wire, *Advanced
/// Materials & Processes*, October 2019, p. 49.
const NITINOL_MPA: f64 = 48e3;
/// Share of a plain tube's bending stiffness that a cut tube keeps, closed and open cells. Assumed,
/// order of magnitude only: the struts between cells bend in the plane of the wall; joined all round
/// they keep some ten-thousandths, with most bridges left out less.
const CUT_TUBE_SHARE: (f64, f64) = (3.0e-4, 1.0e-4);

impl StentSpec {
    /// The braid, where it is one.
    #[must_use]
    pub fn braid(&self) -> Option<Braid> {
        match self.design {
            StentDesign::Braided {
                wires,
                wire_diameter_mm,
                braid_angle_deg,
                youngs_modulus_gpa,
                poisson_ratio,
            } => Some(Braid {
                free_diameter_mm: self.free_diameter_mm,
                free_length_mm: self.free_length_mm,
                wires,
                wire_diameter_mm,
                braid_angle_rad: braid_angle_deg.to_radians(),
                youngs_modulus_mpa: 1e3 * youngs_modulus_gpa,
                poisson_ratio,
            }),
            StentDesign::Cut { .. } => None,
        }
    }

    /// Length of the stent while loaded at `loaded_diameter_mm` (mm, above zero and at most the
    /// free diameter), mm; not a number outside that range.
    ///
    /// A braid conserves the length of each wire ([`Braid::length_mm`]). A cut stent shortens by
    /// its stated percentage when it opens, whatever the loaded diameter.
    #[must_use]
    pub fn loaded_length_mm(&self, loaded_diameter_mm: f64) -> f64 {
        match (self.braid(), self.design) {
            (Some(braid), _) => braid.length_mm(loaded_diameter_mm).unwrap_or(f64::NAN),
            (
                None,
                StentDesign::Cut {
                    foreshortening_percent,
                    ..
                },
            ) => self.free_length_mm / (1.0 - foreshortening_percent / 100.0),
            (None, StentDesign::Braided { .. }) => f64::NAN,
        }
    }

    /// Length of the released stent where it holds one diameter (mm) all along, mm.
    ///
    /// A braid's wires keep their length, so it is longer in a narrower vessel and at its free
    /// length in a wider one. A cut stent has its free length.
    #[must_use]
    pub fn deployed_length_mm(&self, diameter_mm: f64) -> f64 {
        match self.design {
            StentDesign::Braided { .. } => {
                self.loaded_length_mm(diameter_mm.min(self.free_diameter_mm))
            }
            StentDesign::Cut { .. } => self.free_length_mm,
        }
    }

    /// Length of vessel that a millimetre of the stent at rest takes up at a diameter (mm).
    #[must_use]
    pub fn stretch(&self, diameter_mm: f64) -> f64 {
        self.deployed_length_mm(diameter_mm) / self.free_length_mm
    }

    /// Outward force per length of vessel at a diameter (mm), N/mm; zero from the free diameter on.
    ///
    /// The force is the pressure times the circumference. A braid: [`Braid::pressure_mpa`]. A cut
    /// stent: its stated stiffness times what its diameter lacks, up to its stated plateau
    /// (superelastic struts push with nearly the same force over most of their way).
    ///
    /// # Errors
    /// [`DeviceError::OutOfRange`] for a diameter that is not above zero.
    pub fn outward_n_per_mm(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        if diameter_mm >= self.free_diameter_mm {
            return Ok(0.0);
        }
        match (self.braid(), self.design) {
            (
                None,
                StentDesign::Cut {
                    radial_stiffness_n_per_mm2,
                    plateau_n_per_mm,
                    ..
                },
            ) if diameter_mm > 0.0 => Ok((radial_stiffness_n_per_mm2
                * (self.free_diameter_mm - diameter_mm))
                .min(plateau_n_per_mm)),
            (Some(braid), _) => Ok(braid.pressure_mpa(diameter_mm)? * PI * diameter_mm),
            _ => Err(DeviceError::OutOfRange {
                what: "diameter_mm of a stent",
                found: diameter_mm,
                needed: Allowed::in_words("above 0").above(0.0),
            }),
        }
    }

    /// How stiffly the stent as a ring answers a change of diameter, N/mm2: the secant from where it
    /// is held (mm) to the free diameter, so that a superelastic plateau does not count as limp.
    ///
    /// # Errors
    /// [`DeviceError::OutOfRange`] for a diameter that is not above zero and below the free one.
    pub fn ring_stiffness_n_per_mm2(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        if diameter_mm >= self.free_diameter_mm {
            return Err(DeviceError::OutOfRange {
                what: "diameter_mm of a held stent",
                found: diameter_mm,
                needed: Allowed::in_words("below its free diameter").below(self.free_diameter_mm),
            });
        }
        Ok(self.outward_n_per_mm(diameter_mm)? / (self.free_diameter_mm - diameter_mm))
    }

    /// Bending stiffness at a diameter (mm), N mm2.
    ///
    /// A braid: [`Braid::bending_stiffness_n_mm2`]. A cut stent: a share of the plain thin tube's
    /// `pi E t D^3 / 8`, larger for closed cells; the share is assumed, order of magnitude only.
    ///
    /// # Errors
    /// [`DeviceError::OutOfRange`] for a diameter that is not above zero.
    pub fn bending_stiffness_n_mm2(&self, diameter_mm: f64) -> Result<f64, DeviceError> {
        let diameter_mm = diameter_mm.min(self.free_diameter_mm);
        match (self.braid(), self.design) {
            (Some(braid), _) => braid.bending_stiffness_n_mm2(diameter_mm),
            (
                None,
                StentDesign::Cut {
                    cells,
                    strut_thickness_mm,
                    ..
                },
            ) if diameter_mm > 0.0 => {
                let share = match cells {
                    Cells::Closed => CUT_TUBE_SHARE.0,
                    Cells::Open => CUT_TUBE_SHARE.1,
                };
                Ok(
                    share * PI * NITINOL_MPA * strut_thickness_mm * math::power(diameter_mm, 3)
                        / 8.0,
                )
            }
            _ => Err(DeviceError::OutOfRange {
                what: "diameter_mm of a stent",
                found: diameter_mm,
                needed: Allowed::in_words("above 0").above(0.0),
            }),
        }
    }

    /// How far the rim's struts stand into the lumen, mm: the strut of a cut stent, one wire of a
    /// braid, whose wires end or turn singly at the rim.
    #[must_use]
    pub fn rim_thickness_mm(&self) -> f64 {
        match self.design {
            StentDesign::Braided {
                wire_diameter_mm, ..
            } => wire_diameter_mm,
            StentDesign::Cut {
                strut_thickness_mm, ..
            } => strut_thickness_mm,
        }
    }

    /// Points (crowns or wire ends) of the rim: one for each pair of a braid's wires; a cut stent's
    /// cells are taken to be as wide as long when free.
    #[must_use]
    pub fn crowns(&self) -> u32 {
        match self.design {
            StentDesign::Braided { wires, .. } => (wires / 2).max(2),
            StentDesign::Cut { cell_length_mm, .. } => {
                let count = (PI * self.free_diameter_mm / cell_length_mm).round();
                // crowns of any stent fit a byte; the cast is in range by the clamp
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "clamped to 2..=255"
                )]
                let count = count.clamp(2.0, 255.0) as u32;
                count
            }
        }
    }

    /// Length over which a crown at the rim, or a strut of an open cell, is held by nothing, mm: one
    /// cell at a diameter (mm).
    #[must_use]
    pub fn free_strut_mm(&self, diameter_mm: f64) -> f64 {
        match (self.braid(), self.design) {
            (Some(braid), _) => braid
                .cell_length_mm(diameter_mm.min(self.free_diameter_mm))
                .unwrap_or(0.0),
            (None, StentDesign::Cut { cell_length_mm, .. }) => cell_length_mm,
            (None, StentDesign::Braided { .. }) => 0.0,
        }
    }

    /// Whether struts inside the stent, not only at its rims, may stand out into the lumen.
    #[must_use]
    pub fn has_open_cells(&self) -> bool {
        matches!(
            self.design,
            StentDesign::Cut {
                cells: Cells::Open,
                ..
            }
        )
    }
}
