//! Tables of materials: friction, plaque, stiffness, each value with its range and source.
//!
//! A file starts with `Materials(`; its fields are those of [`GivenMaterials`], and whatever it leaves out is taken
//! from the built-in table, `embedded:scenes/materials/usual.ron`.

use super::document::{Document, FileKind};
use super::error::{Complaint, DataError};
use super::source::Source;
use crate::mechanics::{GivenMaterials, Materials};

/// The built-in table.
const BUILT_IN: &str = "embedded:scenes/materials/usual.ron";

/// The source of the built-in table.
pub(super) fn built_in() -> Source {
    Source::from_argument(BUILT_IN)
}

/// Reads a table of materials and checks it; what it leaves out is taken from the built-in one.
///
/// # Errors
/// A [`DataError`] naming everything in the file that is wrong.
pub fn read_materials(source: &Source) -> Result<Materials, DataError> {
    materials_of(&Document::open(source)?, &Document::open(&built_in())?)
}

/// The built-in table of materials.
///
/// # Errors
/// None as long as the built-in file is sound, which a test sees to.
pub fn usual_materials() -> Result<Materials, DataError> {
    read_materials(&built_in())
}

/// A table, with what it leaves out taken from the usual one.
pub(super) fn materials_of(own: &Document, usual: &Document) -> Result<Materials, DataError> {
    let whole = given_in(usual)?.whole().map_err(|(group, line)| {
        usual.refuse_at(
            Complaint::new(group, format!("`{group}` does not give `{line}`"))
                .help("the usual table gives every line"),
        )
    })?;
    Ok(given_in(own)?.over(&whole))
}

/// What a table gives by itself.
pub(super) fn given_in(document: &Document) -> Result<GivenMaterials, DataError> {
    document.must_be(&[FileKind::Materials])?;
    let given: GivenMaterials = document.decode()?;
    let wrong = given.check().into_iter();
    let mut complaints: Vec<Complaint> = wrong
        .map(|(path, refusal)| Complaint::of(path, refusal))
        .collect();
    if given.name.trim().is_empty() {
        complaints.push(Complaint::new("name", "`name` is empty").help("say whose table it is"));
    }
    document.all_or_refuse(Some(given), complaints)
}
