//! The devices to choose from: those of a folder, or those built into the program.

use super::device_file::read_device;
use super::document::{FileKind, file_kind};
use super::error::{DataError, Problem};
use super::source::Source;
use crate::procedure::Equipment;
use crate::rehearsal::choose::Shelved;
use std::path::{Path, PathBuf};

/// Reads every device file (`*.ron`) of a folder, in the order of their names; without a folder the built-in devices. Valves,
/// clips and tools are left out: they stay with the stack.
///
/// # Errors
/// A [`DataError`] where the folder cannot be read or holds no device, and for everything in its files that is wrong.
pub fn read_cabinet(folder: Option<&Path>) -> Result<Vec<Shelved>, DataError> {
    let files = match folder {
        Some(folder) => files_of(folder)?,
        None => Source::built_in_devices().collect(),
    };
    let mut shelved = Vec::new();
    let mut errors = Vec::new();
    for (name, source) in files {
        match device(&source) {
            Ok(Some(device)) => shelved.push(Shelved { name, device }),
            Ok(None) => {}
            Err(error) => errors.push(error),
        }
    }
    let place = folder.map_or_else(
        || "the built-in cabinet".to_owned(),
        |folder| Source::from(folder).to_string(),
    );
    DataError::collect(&place, errors)?;
    if shelved.is_empty() {
        let message = format!("`{place}` holds no device");
        let help = "name a folder with device files (`*.ron` that start with `Device(`), or leave it out for the built-in devices";
        return Err(DataError::new(Problem::NotFound, message).with_help(help));
    }
    Ok(shelved)
}

/// A file's device; none where it describes a part.
fn device(source: &Source) -> Result<Option<crate::device::Device>, DataError> {
    if file_kind(source)? == FileKind::Accessory {
        read_device(source)?;
        return Ok(None);
    }
    Ok(match read_device(source)? {
        Equipment::Device(device) => Some(*device),
        Equipment::Accessory(_) => None,
    })
}

/// Device files of a folder with what they are called, in order.
fn files_of(folder: &Path) -> Result<Vec<(String, Source)>, DataError> {
    let unreadable = |error: std::io::Error| {
        let message = format!(
            "`{}` cannot be read as a folder: {error}",
            Source::from(folder)
        );
        DataError::new(Problem::Unreadable, message)
            .with_help("name a folder with device files, or leave it out for the built-in devices")
    };
    let mut files: Vec<PathBuf> = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if path.extension().is_some_and(|ending| ending == "ron") {
            files.push(path);
        }
    }
    files.sort();
    let named = |path: PathBuf| {
        let name = path
            .file_stem()
            .map(|stem| stem.to_string_lossy().into_owned());
        (name.unwrap_or_default(), Source::from(path))
    };
    Ok(files.into_iter().map(named).collect())
}
