//! A vessel described branch by branch.
//!
//! Here is the form as a file has it; [`build`](self::build) makes the tree and
//! [`course`](self::course) the centre lines.

mod build;
mod course;
#[cfg(test)]
mod tests;

use super::place::Along;
use crate::geometry::{Lumen, Point};
use crate::units::{Refusal, text};
use serde::Deserialize;

pub(super) use course::geometry_complaint;

/// The form `Branches((…))` of a vessel file. Places and names refer by name.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Branches {
    /// Radial stiffness of the walls, N per mm of length per mm of indentation.
    #[serde(deserialize_with = "text::positive")]
    wall_stiffness_n_per_mm2: f64,
    branches: Vec<BranchEntry>,
    #[serde(default)]
    landmarks: Vec<PlaceEntry>,
    #[serde(default)]
    lesions: Vec<LesionEntry>,
    #[serde(default)]
    clots: Vec<ClotEntry>,
    /// Left out of a piece that is grafted: devices enter by the vessel below it.
    #[serde(default)]
    access: Option<AccessEntry>,
    targets: Vec<PlaceEntry>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Branch")]
struct BranchEntry {
    name: String,
    course: Course,
    /// Where it differs from the rest of the vessel.
    #[serde(default, deserialize_with = "text::optional_positive")]
    wall_stiffness_n_per_mm2: Option<f64>,
}

/// The centre line and lumen of a branch.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
enum Course {
    /// Straight stretches and arcs.
    Runs { start: Start, runs: Vec<RunEntry> },
    /// A smooth curve through points (x, y, z, lumen radius), all in `unit`, in the vessel's
    /// coordinates; the first one lies on the parent's centre line.
    Points {
        #[serde(default)]
        leaves: Option<Ostial>,
        unit: PointUnit,
        points: Vec<PointEntry>,
    },
}

/// A place on a centre line and the lumen around it.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(expecting = "4 values, x, y, z and the radius of the lumen")]
struct PointEntry(f64, f64, f64, f64);

impl PointEntry {
    fn at_mm(&self, unit: PointUnit) -> Point {
        Point::new(self.0, self.1, self.2) * unit.mm()
    }

    fn radius_mm(&self, unit: PointUnit) -> f64 {
        self.3 * unit.mm()
    }
}

/// Unit of coordinates and radii, written as text like every unit; there is no default.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
enum PointUnit {
    Millimetre,
    Centimetre,
}

impl TryFrom<String> for PointUnit {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        match text.trim() {
            "mm" => Ok(Self::Millimetre),
            "cm" => Ok(Self::Centimetre),
            other => Err(Refusal::new(
                format!("the unit `{other}` is not known for coordinates"),
                "use \"mm\" or \"cm\"",
            )
            .in_one_text()),
        }
    }
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
enum Start {
    /// The root: where it starts (mm; the origin if left out) and its direction there. Roll is
    /// counted from `normal`, or from a direction of our choice across it.
    Root {
        #[serde(default)]
        origin_mm: (f64, f64, f64),
        direction: (f64, f64, f64),
        #[serde(default)]
        normal: Option<(f64, f64, f64)>,
    },
    /// A child: its first direction is the parent's direction of flow at the ostium, turned by
    /// `turn_deg` towards `roll_deg` of the parent's twist-free frame.
    Leaves {
        branch: String,
        at: Along,
        #[serde(deserialize_with = "text::angle_deg")]
        turn_deg: f64,
        #[serde(deserialize_with = "text::signed_angle_deg")]
        roll_deg: f64,
    },
}

/// Where a branch of points leaves its parent.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Ostial {
    branch: String,
    at: Along,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, rename = "Run")]
struct RunEntry {
    #[serde(rename = "length", deserialize_with = "text::length_mm")]
    length_mm: f64,
    /// 0 where left out: straight.
    #[serde(default, deserialize_with = "text::angle_deg")]
    turn_deg: f64,
    #[serde(default, deserialize_with = "text::signed_angle_deg")]
    roll_deg: f64,
    #[serde(rename = "lumen", deserialize_with = "text::lumen_mm")]
    lumen_mm: f64,
    /// As at the start where left out.
    #[serde(
        rename = "lumen_end",
        default,
        deserialize_with = "text::optional_lumen_mm"
    )]
    lumen_end_mm: Option<f64>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Place")]
struct PlaceEntry {
    name: String,
    branch: String,
    at: Along,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Access")]
struct AccessEntry {
    branch: String,
    at: Along,
}

#[derive(Debug, Clone, Copy, Deserialize)]
enum KindEntry {
    Plaque,
    Dissection,
    PlaqueAndDissection,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Lesion")]
struct LesionEntry {
    name: String,
    kind: KindEntry,
    branch: String,
    start: Along,
    #[serde(rename = "length", deserialize_with = "text::length_mm")]
    length_mm: f64,
    #[serde(deserialize_with = "text::stenosis_percent")]
    nascet_percent: f64,
    /// The healthy lumen at the lesion's distal end where left out.
    #[serde(
        rename = "reference",
        default,
        deserialize_with = "text::optional_lumen_mm"
    )]
    reference_mm: Option<f64>,
    #[serde(
        rename = "false_lumen",
        default,
        deserialize_with = "text::optional_lumen_mm"
    )]
    false_lumen_mm: Option<f64>,
    #[serde(default)]
    rigid: bool,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Clot")]
struct ClotEntry {
    name: String,
    branch: String,
    start: Along,
    #[serde(rename = "length", deserialize_with = "text::length_mm")]
    length_mm: f64,
}

impl BranchEntry {
    /// Name of its parent and where it leaves it.
    fn parent(&self) -> Option<(&str, &Along, &'static str)> {
        match &self.course {
            Course::Runs {
                start: Start::Leaves { branch, at, .. },
                ..
            } => Some((branch, at, "course.start")),
            Course::Points {
                leaves: Some(leaves),
                ..
            } => Some((&leaves.branch, &leaves.at, "course.leaves")),
            _ => None,
        }
    }

    fn lumen(&self) -> Lumen {
        let mut knots_mm = Vec::new();
        if let Course::Runs { runs, .. } = &self.course {
            let mut at_mm = 0.0;
            for run in runs {
                knots_mm.push((at_mm, run.lumen_mm));
                at_mm += run.length_mm;
                knots_mm.push((at_mm, run.lumen_end_mm.unwrap_or(run.lumen_mm)));
            }
        }
        Lumen { knots_mm }
    }
}
