//! Writing files.

use std::io;
use std::path::Path;

/// Writes a text to a file, all of it or nothing: to a file beside it first, which then takes its
/// name.
///
/// # Errors
/// Those of the file system; where the file exists already and `overwrite` is not given,
/// [`io::ErrorKind::AlreadyExists`].
#[expect(
    clippy::disallowed_methods,
    reason = "the one place where files are written"
)]
pub fn write_text(path: &Path, text: &str, overwrite: bool) -> io::Result<()> {
    if !overwrite && path.exists() {
        return Err(io::Error::new(
            io::ErrorKind::AlreadyExists,
            format!(
                "`{}` exists already: name another file, or allow it to be replaced (--replace)",
                path.display()
            ),
        ));
    }
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    std::fs::write(&beside, text)?;
    std::fs::rename(&beside, path)
}
