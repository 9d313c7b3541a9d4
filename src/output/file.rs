//! Writing files.

use std::io;
use std::path::Path;

/// Refuses to touch a file that exists.
///
/// # Errors
/// [`io::ErrorKind::AlreadyExists`] where it does and `overwrite` is not given.
pub fn refuse_existing(path: &Path, overwrite: bool) -> io::Result<()> {
    if overwrite || !path.exists() {
        return Ok(());
    }
    Err(io::Error::new(
        io::ErrorKind::AlreadyExists,
        format!(
            "`{}` exists already: name another file, or allow it to be replaced (--replace, --force)",
            path.display()
        ),
    ))
}

/// Writes bytes to a file, all of them or none: to a file beside it first, which then takes its name.
///
/// # Errors
/// Those of the file system; where the file exists already and `overwrite` is not given,
/// [`io::ErrorKind::AlreadyExists`].
#[expect(
    clippy::disallowed_methods,
    reason = "the one place where files are written"
)]
pub fn write_bytes(path: &Path, bytes: &[u8], overwrite: bool) -> io::Result<()> {
    refuse_existing(path, overwrite)?;
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    std::fs::write(&beside, bytes)?;
    std::fs::rename(&beside, path)
}

/// The same for a text.
///
/// # Errors
/// As [`write_bytes`].
pub fn write_text(path: &Path, text: &str, overwrite: bool) -> io::Result<()> {
    write_bytes(path, text.as_bytes(), overwrite)
}
