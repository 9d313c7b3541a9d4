//! Tables of step times.
//!
//! A file starts with `Durations(`; its fields are those of [`Durations`]. The built-in table is
//! `embedded:scenes/times/defaults.ron`.

use super::document::{Document, FileKind};
use super::error::{Complaint, DataError};
use super::source::Source;
use crate::procedure::Durations;

/// The built-in table.
const BUILT_IN: &str = "embedded:scenes/times/defaults.ron";

/// The source of the built-in table.
pub(super) fn built_in() -> Source {
    Source::from_argument(BUILT_IN)
}

/// Reads a table of step times and checks it.
///
/// # Errors
/// A [`DataError`] naming everything in the file that is wrong.
pub fn read_durations(source: &Source) -> Result<Durations, DataError> {
    durations_of(&Document::open(source)?)
}

/// The built-in table of step times.
///
/// # Errors
/// None as long as the built-in file is sound, which a test sees to.
pub fn default_durations() -> Result<Durations, DataError> {
    read_durations(&built_in())
}

pub(super) fn durations_of(document: &Document) -> Result<Durations, DataError> {
    document.must_be(&[FileKind::Durations])?;
    let table: Durations = document.decode()?;
    let mut complaints: Vec<Complaint> = table
        .check()
        .into_iter()
        .map(|(path, message)| {
            Complaint::new(path, message).help("let it need less, or give the team more")
        })
        .collect();
    if table.name.trim().is_empty() {
        complaints.push(Complaint::new("name", "`name` is empty").help("say whose table it is"));
    }
    document.all_or_refuse(Some(table), complaints)
}
