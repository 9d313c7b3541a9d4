//! The handout as PDF, for whoever has a browser.

use super::Stop;
use clap::Args;
use nestline::output::{Report, print_pdf, refuse_existing};
use std::env;
use std::path::{Path, PathBuf};

/// Variable that names the browser to print with.
const CHOSEN: &str = "NESTLINE_BROWSER";
/// Browsers looked for where none is named: those of the general-purpose engine that prints without a window.
const KNOWN: [&str; 2] = ["chromium", "chromium-browser"];

/// One sheet to take along.
#[derive(Debug, Clone, Default, Args)]
pub(crate) struct Handout {
    /// Print the report's first page, one sheet of A4, into this PDF file, by the browser Chromium (or the one that
    /// the variable `NESTLINE_BROWSER` names). Without a browser print the first page of the report.
    #[arg(long = "handout", value_name = "FILE", conflicts_with = "each")]
    file: Option<PathBuf>,
}

/// A handout that is wanted, and what prints it.
#[derive(Debug)]
pub(crate) struct Wanted<'a> {
    path: &'a Path,
    browser: PathBuf,
    overwrite: bool,
}

impl Handout {
    /// Refuses what cannot be printed, before anything is worked out.
    pub(crate) fn check(&self, overwrite: bool) -> Result<Option<Wanted<'_>>, Stop> {
        let Some(path) = self.file.as_deref() else {
            return Ok(None);
        };
        refuse_existing(path, overwrite)?;
        let browser = browser().ok_or_else(|| {
            Stop::Refused(format!(
                "`--handout` prints by a browser, and none is here: install `chromium`, or name one in {CHOSEN}; \
                 without one, open the report and print its first page"
            ))
        })?;
        Ok(Some(Wanted {
            path,
            browser,
            overwrite,
        }))
    }
}

impl Wanted<'_> {
    /// Prints it, and says where it is.
    pub(crate) fn print(&self, report: &Report<'_>) -> Result<String, Stop> {
        print_pdf(&report.handout(), self.path, &self.browser, self.overwrite)?;
        Ok(format!(
            "Handout: {} (one sheet of A4)\n",
            self.path.display()
        ))
    }
}

fn browser() -> Option<PathBuf> {
    if let Some(chosen) = env::var_os(CHOSEN).filter(|v| !v.is_empty()) {
        return Some(chosen.into());
    }
    let path = env::var_os("PATH")?;
    let places = env::split_paths(&path);
    let mut programs = places.flat_map(|folder| KNOWN.map(|name| folder.join(name)));
    programs.find(|program| program.is_file())
}
