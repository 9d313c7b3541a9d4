//! Where a report goes.

use super::Stop;
use clap::Args;
use nestline::output::Folder;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

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
    /// Write the plots as PNG too (feature `png`).
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

    /// Whether files that nestline did not write may be replaced.
    pub(crate) const fn force(&self) -> bool {
        self.force
    }

    /// Whether pictures are wanted as PNG.
    pub(crate) const fn png(&self) -> bool {
        self.png
    }

    /// Refuses pictures that this program cannot draw, before anything is worked out.
    pub(crate) fn check(&self) -> Result<(), Stop> {
        if self.png && !cfg!(feature = "png") {
            return Err(Stop::Refused(
                "`--png` draws letters, and this program was built without: build it with `cargo install --path . \
                 --features png`, or leave out `--png`: every plot is written as SVG"
                    .into(),
            ));
        }
        Ok(())
    }

    /// Writes all of it, or nothing. What is in the way of it ends the command; what the system does not let
    /// us write is told after everything else has been.
    pub(crate) fn write(&self, into: &Path, folder: &Folder) -> Result<Saved, Stop> {
        match folder.write(into, self.force) {
            Ok(()) => {}
            Err(error)
                if matches!(
                    error.kind(),
                    ErrorKind::AlreadyExists | ErrorKind::ResourceBusy
                ) =>
            {
                return Err(Stop::Write(error));
            }
            Err(error) => {
                return Ok(Saved {
                    told: String::new(),
                    failed: Some(error),
                });
            }
        }
        let count = |ending: &str| {
            let names = folder.sizes().map(|(name, _)| Path::new(name));
            names
                .filter(|n| n.extension().is_some_and(|e| e == ending))
                .count()
        };
        let pictures = match count("png") {
            0 => String::new(),
            png => format!(", {png} PNG"),
        };
        let told = format!(
            "\nReport: {}, {} tables, {} plots{pictures}\n",
            into.join("report.html").display(),
            count("csv"),
            count("svg"),
        );
        Ok(Saved { told, failed: None })
    }
}

/// What became of a report.
#[derive(Debug, Default)]
pub(crate) struct Saved {
    /// The line that says where it is; empty where there is none.
    pub(crate) told: String,
    failed: Option<std::io::Error>,
}

impl Saved {
    /// How a command ends that has told everything else.
    pub(crate) fn end(self, code: ExitCode) -> Result<ExitCode, Stop> {
        self.failed
            .map_or(Ok(code), |error| Err(Stop::Write(error)))
    }
}
