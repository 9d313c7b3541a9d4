//! Where the project lies.

use std::path::Path;

/// The project's folder; tests of its inner crate are compiled below it.
pub(crate) fn root() -> &'static Path {
    let compiled = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut above = compiled.ancestors();
    above
        .find(|folder| folder.join("DEVELOPERS.md").is_file())
        .unwrap_or(compiled)
}
