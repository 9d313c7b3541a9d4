//! Where a report goes.

use super::Stop;
use clap::Args;
use nestline::output::Folder;
use std::path::{Path, PathBuf};

/// The folder where none is named.
const FOLDER: &str = "nestline-out";

/// Where and how a report is written.
#[derive(Debug, Clone, Default, Args)]
pub(crate) struct Save {
    /// Folder for the report and its tables. Its own earlier files are replaced, nobody else's.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Replace files of the same names that nestline did not write, or that were changed since.
    #[arg(long)]
    force: bool,
    /// Write the plots as PNG too.
    #[arg(long)]
    png: bool,
}

impl Save {
    /// The folder to write into, where one was named.
    pub(crate) fn named(&self) -> Option<&Path> {
        self.out.as_deref()
    }

    /// The folder to write into, named or not; none where machines read and no folder was named.
    pub(crate) fn folder(&self, json: bool) -> Option<&Path> {
        match &self.out {
            Some(out) => Some(out),
            None => (!json).then_some(Path::new(FOLDER)),
        }
    }

    /// Whether pictures are wanted as PNG.
    pub(crate) const fn png(&self) -> bool {
        self.png
    }

    /// Writes all of it, or nothing; gives the line that says where.
    pub(crate) fn write(&self, into: &Path, folder: &Folder) -> Result<String, Stop> {
        folder.write(into, self.force)?;
        let count = |ending: &str| {
            let names = folder.sizes().map(|(name, _)| Path::new(name));
            names
                .filter(|n| n.extension().is_some_and(|e| e == ending))
                .count()
        };
        let pictures = match count("png") {
            0 => String::new(),
            png => format!(" and {png} as PNG"),
        };
        Ok(format!(
            "\nReport: {} (open it in a browser)\nData: report.json, {} tables as CSV, {} plots as SVG{pictures}, in the same folder\n",
            into.join("report.html").display(),
            count("csv"),
            count("svg"),
        ))
    }
}
