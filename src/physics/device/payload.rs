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
        /// Outward force per length of vessel gained per mm that the diameter is below the free one,
        /// N/mm2.
        #[serde(default = "radial_stiffness", deserialize_with = "text::positive")]
        radial_stiffness_n_per_mm2: f64,
        /// Largest outward force per length of vessel, N/mm.
        #[serde(default = "plateau", deserialize_with = "text::positive")]
        plateau_n_per_mm: f64,
    },
}

/// Default of a cut stent's radial stiffness, N/mm2: of the order of braids for the same vessel
/// (assumed; makers must report radial force under ISO 25539-2, but no table for the class is
/// public).
const fn radial_stiffness() -> f64 {
    0.06
}

/// Default of a cut stent's largest outward force, N/mm; assumed in the same way.
const fn plateau() -> f64 {
    0.20
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
