//! What a device carries: stent, retriever, balloon.

use crate::units::text;
use serde::{Deserialize, Serialize};

/// What a device carries near its tip.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Payload {
    /// Self-expanding stent.
    Stent(StentSpec),
    /// Stent retriever.
    Retriever(RetrieverSpec),
    /// Angioplasty balloon.
    Balloon(BalloonSpec),
    /// Occlusion balloon near the tip of a guide.
    OcclusionBalloon(OcclusionBalloonSpec),
    /// Filter basket; its open diameter in mm.
    Filter {
        /// Open diameter, mm.
        #[serde(rename = "open_diameter", deserialize_with = "text::lumen_mm")]
        open_diameter_mm: f64,
    },
}

/// Cells of a laser-cut stent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Cells {
    /// Not every strut is joined to its neighbours: struts may stand out in a bend.
    Open,
    /// Every strut is joined.
    Closed,
}

/// How a stent is made.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum StentDesign {
    /// Braided from round wire.
    Braided {
        /// Number of wires.
        wires: u32,
        /// Wire diameter, mm.
        #[serde(rename = "wire_diameter", deserialize_with = "text::length_mm")]
        wire_diameter_mm: f64,
        /// Angle of the wires from the circumferential direction at rest, degrees, in (0, 90).
        #[serde(deserialize_with = "text::angle_deg")]
        braid_angle_deg: f64,
        /// Young's modulus of the wire, GPa.
        #[serde(deserialize_with = "text::positive")]
        youngs_modulus_gpa: f64,
        /// Poisson's ratio of the wire.
        #[serde(deserialize_with = "text::positive")]
        poisson_ratio: f64,
    },
    /// Laser-cut from a tube.
    Cut {
        /// Open or closed cells.
        cells: Cells,
        /// Strut thickness, mm.
        #[serde(rename = "strut_thickness", deserialize_with = "text::length_mm")]
        strut_thickness_mm: f64,
        /// Axial length of a cell, mm.
        #[serde(rename = "cell_length", deserialize_with = "text::length_mm")]
        cell_length_mm: f64,
        /// Shortening from delivered to free, percent.
        #[serde(deserialize_with = "text::positive")]
        foreshortening_percent: f64,
    },
}

/// A self-expanding stent in its delivery catheter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StentSpec {
    /// How it is made.
    pub design: StentDesign,
    /// Diameter at rest, mm.
    #[serde(rename = "free_diameter", deserialize_with = "text::lumen_mm")]
    pub free_diameter_mm: f64,
    /// Length at rest, mm.
    #[serde(rename = "free_length", deserialize_with = "text::length_mm")]
    pub free_length_mm: f64,
    /// From the tip of the delivery catheter to the distal end of the loaded stent, mm.
    #[serde(rename = "nose_length", deserialize_with = "text::length_mm")]
    pub nose_length_mm: f64,
}

/// A stent retriever.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RetrieverSpec {
    /// Diameter at rest, mm.
    #[serde(rename = "free_diameter", deserialize_with = "text::lumen_mm")]
    pub free_diameter_mm: f64,
    /// Working length at rest, mm.
    #[serde(rename = "free_length", deserialize_with = "text::length_mm")]
    pub free_length_mm: f64,
    /// Length when folded in its microcatheter, tip to the proximal marker, mm.
    #[serde(rename = "folded_length", deserialize_with = "text::length_mm")]
    pub folded_length_mm: f64,
    /// Smallest vessel it is meant for, mm.
    #[serde(rename = "vessel_from", deserialize_with = "text::lumen_mm")]
    pub vessel_from_mm: f64,
    /// Largest vessel it is meant for, mm.
    #[serde(rename = "vessel_to", deserialize_with = "text::lumen_mm")]
    pub vessel_to_mm: f64,
}

/// An angioplasty balloon.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BalloonSpec {
    /// Diameter at nominal pressure, mm.
    #[serde(rename = "nominal_diameter", deserialize_with = "text::lumen_mm")]
    pub nominal_diameter_mm: f64,
    /// Working length, mm.
    #[serde(rename = "length", deserialize_with = "text::length_mm")]
    pub length_mm: f64,
    /// From the tip to the distal end of the working length, mm.
    #[serde(rename = "nose_length", deserialize_with = "text::length_mm")]
    pub nose_length_mm: f64,
    /// Nominal pressure, atm.
    #[serde(deserialize_with = "text::positive")]
    pub nominal_pressure_atm: f64,
    /// Rated burst pressure, atm.
    #[serde(deserialize_with = "text::positive")]
    pub rated_pressure_atm: f64,
    /// Growth above nominal, percent of the nominal diameter per atm.
    #[serde(deserialize_with = "text::positive")]
    pub compliance_percent_per_atm: f64,
}

/// The occlusion balloon of a balloon-tip guide.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OcclusionBalloonSpec {
    /// Largest diameter it may be inflated to, mm.
    #[serde(rename = "largest_diameter", deserialize_with = "text::lumen_mm")]
    pub largest_diameter_mm: f64,
    /// From the tip to the distal end of the balloon, mm.
    #[serde(rename = "nose_length", deserialize_with = "text::length_mm")]
    pub nose_length_mm: f64,
}

impl StentSpec {
    /// Length of the stent while loaded at `loaded_diameter_mm` (mm, above zero and at most the
    /// free diameter), mm.
    ///
    /// A braid conserves the length of each wire: `L = L0 sin(b) / sin(b0)` with
    /// `cos(b) = cos(b0) D / D0`, `b` from the circumferential direction. A cut stent shortens by
    /// its stated percentage when it opens, whatever the loaded diameter.
    ///
    /// # References
    /// Jedwab & Clerc, *J. Appl. Biomater.* 4, 77-85 (1993).
    #[must_use]
    pub fn loaded_length_mm(&self, loaded_diameter_mm: f64) -> f64 {
        match self.design {
            StentDesign::Braided {
                braid_angle_deg, ..
            } => {
                let (sin_free, cos_free) = braid_angle_deg.to_radians().sin_cos();
                let cos_loaded = cos_free * loaded_diameter_mm / self.free_diameter_mm;
                self.free_length_mm * (1.0 - cos_loaded * cos_loaded).sqrt() / sin_free
            }
            StentDesign::Cut {
                foreshortening_percent,
                ..
            } => self.free_length_mm / (1.0 - foreshortening_percent / 100.0),
        }
    }
}

impl StentSpec {
    /// Length of the released stent in a vessel of `vessel_mm` diameter, mm.
    ///
    /// A braid's wires keep their length, so it is longer in a narrower vessel
    /// ([`StentSpec::loaded_length_mm`]) and at its free length in a wider one. A cut stent has its
    /// free length.
    #[must_use]
    pub fn deployed_length_mm(&self, vessel_mm: f64) -> f64 {
        match self.design {
            StentDesign::Braided { .. } => {
                self.loaded_length_mm(vessel_mm.min(self.free_diameter_mm))
            }
            StentDesign::Cut { .. } => self.free_length_mm,
        }
    }
}

impl BalloonSpec {
    /// Diameter at a pressure, mm, growing evenly about the nominal diameter.
    #[must_use]
    pub fn diameter_at_mm(&self, pressure_atm: f64) -> f64 {
        let above_atm = pressure_atm - self.nominal_pressure_atm;
        self.nominal_diameter_mm * (1.0 + self.compliance_percent_per_atm / 100.0 * above_atm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_braid_table_lengths() {
        // Jedwab and Clerc's geometry, D0 9 mm, L0 40 mm, braid angle 30 degrees.
        let spec = StentSpec {
            design: StentDesign::Braided {
                wires: 24,
                wire_diameter_mm: 0.1,
                braid_angle_deg: 30.0,
                youngs_modulus_gpa: 206.0,
                poisson_ratio: 0.3,
            },
            free_diameter_mm: 9.0,
            free_length_mm: 40.0,
            nose_length_mm: 0.0,
        };
        for (diameter_mm, length_mm) in [
            (9.0, 40.0),
            (8.0, 51.063),
            (7.0, 59.129),
            (5.0, 70.132),
            (1.6, 79.046),
        ] {
            let found = spec.deployed_length_mm(diameter_mm);
            assert!(
                (found - length_mm).abs() < 6e-4,
                "{diameter_mm}: {found} against {length_mm}"
            );
        }
        assert!(
            (spec.deployed_length_mm(12.0) - 40.0).abs() < 1e-12,
            "wider than at rest"
        );
    }
}
