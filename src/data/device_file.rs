//! Device and part files.
//!
//! A file starts with `Device(` for what travels along the route, and with `Valve(`, `Clip(` or
//! `InsertionTool(` for what sits on a hub or a rail. The fields are those of
//! [`Device`] and [`Accessory`].

use super::document::{Document, FileKind};
use super::error::{Complaint, DataError};
use super::source::Source;
use crate::device::{Accessory, Device, DeviceError};
use crate::procedure::Equipment;

/// Reads a device or a part and checks it.
///
/// # Errors
/// A [`DataError`] naming everything in the file that is wrong.
pub fn read_device(source: &Source) -> Result<Equipment, DataError> {
    device_of(&Document::open(source)?)
}

pub(super) fn device_of(document: &Document) -> Result<Equipment, DataError> {
    if document.must_be(&[FileKind::Device, FileKind::Accessory])? == FileKind::Device {
        let device: Device = document.decode()?;
        let complaints = device.check().iter().map(complaint).collect();
        let device = document.all_or_refuse(Some(device), complaints)?;
        return Ok(Equipment::Device(Box::new(device)));
    }
    let part: Accessory = document.decode()?;
    let complaints = part.check().iter().map(complaint).collect();
    document
        .all_or_refuse(Some(part), complaints)
        .map(Equipment::Accessory)
}

fn complaint(error: &DeviceError) -> Complaint {
    match error {
        DeviceError::OutOfRange { what, .. } => Complaint::new(what, error.to_string()),
        DeviceError::Invalid { field, found, mend } => {
            Complaint::new(field, format!("`{field}` {found}")).help(mend)
        }
    }
}
