//! Reading a text file, or saying why not.

use super::error::{DataError, Problem, nearest};
use std::io::{ErrorKind, Read};
use std::path::Path;

/// Largest file that is read, bytes. Our largest own file is below 100 kB and a centre line of
/// 10,000 points below 1 MB; anything beyond 4 MB is a mistaken file, and is refused by the size
/// the system states, before a byte is read.
pub(super) const LARGEST_BYTES: u64 = 4 * 1024 * 1024;

/// Reads a UTF-8 file, called `shown` in messages; a byte order mark at its start is dropped.
///
/// # Errors
/// A [`DataError`] for everything that is not a regular, readable, non-empty UTF-8 file of at most
/// [`LARGEST_BYTES`].
pub(super) fn read_text(path: &Path, shown: &str) -> Result<String, DataError> {
    decode_utf8(shown, read_limited(path, shown, LARGEST_BYTES)?)
}

/// Reads a file's bytes, called `shown` in messages.
///
/// # Errors
/// A [`DataError`] for everything that is not a regular, readable file of at most so many bytes.
pub(super) fn read_limited(
    path: &Path,
    shown: &str,
    most_bytes: u64,
) -> Result<Vec<u8>, DataError> {
    let about = std::fs::metadata(path).map_err(|error| unreadable(path, shown, &error))?;
    if about.is_dir() {
        return Err(
            DataError::new(Problem::NotAFile, format!("`{shown}` is a folder")).with_help(
                match files_like(path, "") {
                    names if names.is_empty() => "name a file in it".to_owned(),
                    names => format!("name a file in it: {}", names.join(", ")),
                },
            ),
        );
    }
    if !about.is_file() {
        return Err(DataError::new(
            Problem::NotAFile,
            format!("`{shown}` is not a regular file"),
        )
        .with_help("save the text in a file first"));
    }
    if about.len() > most_bytes {
        return Err(too_large(shown, about.len(), most_bytes));
    }
    let bytes = read_bytes(path, most_bytes).map_err(|error| unreadable(path, shown, &error))?;
    if bytes.len() as u64 > most_bytes {
        return Err(too_large(shown, bytes.len() as u64, most_bytes));
    }
    Ok(bytes)
}

/// The one place where files are read.
fn read_bytes(path: &Path, most_bytes: u64) -> std::io::Result<Vec<u8>> {
    let mut options = std::fs::OpenOptions::new();
    options.read(true);
    // some files of the system are regular by name only: whoever reads them waits for ever
    #[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
    {
        use std::os::unix::fs::OpenOptionsExt as _;
        options.custom_flags(rustix::fs::OFlags::NONBLOCK.bits().cast_signed());
    }
    let mut bytes = Vec::new();
    // one byte more than allowed, so that a file that grows meanwhile is noticed
    options
        .open(path)?
        .take(most_bytes + 1)
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Text from bytes.
pub(super) fn decode_utf8(shown: &str, bytes: Vec<u8>) -> Result<String, DataError> {
    let mut text = String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let bytes = error.as_bytes();
        let before = bytes.get(..at).unwrap_or(bytes);
        let line = 1 + before.iter().filter(|&&b| b == b'\n').count();
        let byte = bytes.get(at).copied().unwrap_or_default();
        let help = if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
            "it looks like UTF-16: save it as UTF-8"
        } else if before.contains(&0) {
            "it looks like no text at all: is it the right file?"
        } else {
            "save it as UTF-8; an old encoding of accents or of `µ` and `°` is the usual cause"
        };
        DataError::new(
            Problem::NotText,
            format!(
                "`{shown}` is not UTF-8 text: byte {at} (0x{byte:02X}), in line {line}, is no character"
            ),
        )
        .with_help(help)
    })?;
    if text.starts_with('\u{FEFF}') {
        text.drain(..'\u{FEFF}'.len_utf8());
    }
    if text.trim().is_empty() {
        return Err(
            DataError::new(Problem::Empty, format!("`{shown}` is empty"))
                .with_help("start from a copy of a file that comes with the tool"),
        );
    }
    Ok(text)
}

fn too_large(shown: &str, bytes: u64, most_bytes: u64) -> DataError {
    let tenths = bytes.saturating_mul(10).div_ceil(1024 * 1024);
    DataError::new(
        Problem::TooLarge,
        format!(
            "`{shown}` has {}.{} MB, more than the {} MB that are read",
            tenths / 10,
            tenths % 10,
            most_bytes / (1024 * 1024)
        ),
    )
    .with_help(if most_bytes > LARGEST_BYTES {
        "centre lines are small, images and surfaces are not: is it the right file?"
    } else {
        "vessels, devices and scenes are small text files: is it the right file?"
    })
}

fn unreadable(path: &Path, shown: &str, error: &std::io::Error) -> DataError {
    match error.kind() {
        ErrorKind::NotFound => {
            let error = DataError::new(Problem::NotFound, format!("there is no file `{shown}`"));
            let folder = match path.parent() {
                Some(parent) if parent.as_os_str().is_empty() => Path::new("."),
                Some(parent) => parent,
                None => return error,
            };
            if !folder.is_dir() {
                return error.with_help("its folder is not there either: check the path");
            }
            let wanted = path
                .file_name()
                .map(|name| name.to_string_lossy().into_owned())
                .unwrap_or_default();
            match files_like(folder, &wanted).as_slice() {
                [] => error.with_help("check the path; it is taken from where the command runs, or from the file that names it"),
                names => error.with_help(format!("that folder has {}", names.join(", "))),
            }
        }
        ErrorKind::PermissionDenied => {
            DataError::new(Problem::NoPermission, format!("`{shown}` may not be read"))
                .with_help("its owner has to allow reading it")
        }
        _ => DataError::new(
            Problem::Unreadable,
            format!("`{shown}` cannot be read: {error}"),
        ),
    }
}

/// Names of RON files in a folder, the likest first, at most six; without a wanted name in order.
fn files_like(folder: &Path, wanted: &str) -> Vec<String> {
    // six names fit a line; a folder with more is better listed by the shell
    const SHOWN: usize = 6;
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut names: Vec<String> = entries
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| Path::new(name).extension().is_some_and(|e| e == "ron"))
        .collect();
    names.sort();
    if let Some(near) = nearest(wanted, names.iter().map(String::as_str)) {
        return vec![near.to_owned()];
    }
    let more = names.len().saturating_sub(SHOWN);
    names.truncate(SHOWN);
    if more > 0 {
        names.push(format!("{more} more"));
    }
    names
}
