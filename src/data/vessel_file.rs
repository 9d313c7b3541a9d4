//! Vessel files.
//!
//! ```text
//! Vessel(
//!     name: "Bend for teaching",
//!     source: "invented",                      // where the numbers come from; never empty
//!     teaches: "What one bend does to a wire.",
//!     form: Branches((                         // or Measured((…)): trade measurements
//!         wall_stiffness_n_per_mm2: 0.1,
//!         branches: [
//!             (name: "aorta",
//!              course: Runs(
//!                 start: Root(direction: (0, 0, 1)),
//!                 runs: [(length: "80 mm", lumen: "25 mm"),
//!                        (length: "60 mm", turn_deg: 180, lumen: "25 mm", lumen_end: "22 mm")])),
//!             (name: "carotid",
//!              course: Runs(
//!                 start: Leaves(branch: "aorta", at: "110 mm", turn_deg: 70, roll_deg: 180),
//!                 runs: [(length: "120 mm", lumen: "7 mm", lumen_end: "5 mm")])),
//!         ],
//!         access: (branch: "aorta", at: "end - 10 mm"),
//!         targets: [(name: "carotid-end", branch: "carotid", at: "end")],
//!     )),
//! )
//! ```

use super::branches::Branches;
use super::document::{Document, FileKind};
use super::error::{Complaint, DataError};
use super::source::Source;
use crate::geometry::{Place, Tree};
use serde::Deserialize;

/// A vessel as read from its file.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Vessel {
    /// Name in plain words.
    pub name: String,
    /// Where its numbers come from.
    pub source: String,
    /// What it is good for.
    pub teaches: String,
    /// The vessel itself.
    pub tree: Tree,
    /// Where devices enter.
    pub access: Place,
    /// Named ends of routes.
    pub targets: Vec<(String, Place)>,
}

/// The file.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Vessel")]
struct VesselFile {
    name: String,
    source: String,
    teaches: String,
    form: Form,
}

/// How the vessel is described.
#[derive(Debug, Clone, Deserialize)]
enum Form {
    /// Branch by branch.
    Branches(Branches),
}

/// Reads a vessel.
///
/// # Errors
/// A [`DataError`] naming everything in the file that is wrong.
pub fn read_vessel(source: &Source) -> Result<Vessel, DataError> {
    let document = Document::open(source)?;
    document.must_be(&[FileKind::Vessel])?;
    let file: VesselFile = document.decode()?;
    let mut complaints = Vec::new();
    for (field, words, help) in [
        ("name", &file.name, "give it a name in plain words"),
        (
            "source",
            &file.source,
            "say where the numbers come from: a publication, a measurement, or \"invented\"",
        ),
        (
            "teaches",
            &file.teaches,
            "say in a sentence what it is good for",
        ),
    ] {
        if words.trim().is_empty() {
            complaints.push(Complaint::new(field, format!("`{field}` is empty")).help(help));
        }
    }
    let built = match &file.form {
        Form::Branches(branches) => branches.build("form", &mut complaints),
    };
    let built = document.all_or_refuse(built, complaints)?;
    Ok(Vessel {
        name: file.name,
        source: file.source,
        teaches: file.teaches,
        tree: built.tree,
        access: built.access,
        targets: built.targets,
    })
}
