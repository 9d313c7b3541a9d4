//! Centre lines imported in tests.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and writes its own files"
)]

use nestline::data::{self, ImportOptions, Source, Vessel};
use nestline::geometry::traced::TracedVessel;
use nestline::output::{LineFormat, traced_vessel_text};

/// Endings of files, and their formats.
pub(crate) const FORMATS: [(&str, LineFormat); 4] = [
    ("csv", LineFormat::Csv),
    ("vtk", LineFormat::Vtk),
    ("vtp", LineFormat::Vtp),
    ("swc", LineFormat::Swc),
];

/// A text as a file of this name, imported.
pub(crate) fn imported(
    name: &str,
    text: &str,
    options: &ImportOptions,
) -> Result<TracedVessel, data::DataError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, text).unwrap();
    data::import(&path, options)
}

/// The vessel of the file that an import would write.
pub(crate) fn written(traced: &TracedVessel) -> Vessel {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("vessel.ron");
    std::fs::write(&path, traced_vessel_text(traced)).unwrap();
    data::read_vessel(&Source::Disk(path)).unwrap()
}

/// Options with nothing but the unit.
pub(crate) fn mm() -> ImportOptions {
    ImportOptions::with("mm", |_| {})
}
