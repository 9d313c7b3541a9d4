//! The handout as PDF: a browser of this machine prints the page.

use super::file::{Placed, UNFINISHED, folder_of, refuse_existing, told};
use std::io::{self, ErrorKind, Write as _};
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::thread::sleep;
use std::time::Duration;
use tempfile::Builder;

/// How long a browser may take, and how often it is asked whether it has finished.
const PATIENCE: Duration = Duration::from_secs(90);
const ASKED_EVERY: Duration = Duration::from_millis(50);

/// Prints a page into a PDF file, whole or not at all. `browser` is a program that takes Chromium's arguments.
///
/// # Errors
/// Those of [`refuse_existing`]; those of the system where the browser does not start; [`ErrorKind::TimedOut`] and
/// [`ErrorKind::Other`] where it prints nothing.
pub fn print_pdf(html: &str, path: &Path, browser: &Path, overwrite: bool) -> io::Result<()> {
    refuse_existing(path, overwrite)?;
    let profile = Builder::new().prefix(UNFINISHED).tempdir()?;
    let mut page = Builder::new()
        .prefix(UNFINISHED)
        .suffix(".html")
        .tempfile_in(profile.path())?;
    page.write_all(html.as_bytes())?;
    page.flush()?;
    let printed = Builder::new()
        .prefix(UNFINISHED)
        .suffix(".pdf")
        .tempfile_in(folder_of(path))?;
    let mut last = None;
    // a browser that runs as root, or in a container, has no sandbox; the page forbids itself scripts and requests
    for sandbox in [None, Some("--no-sandbox")] {
        let status = run(Command::new(browser)
            .args(sandbox)
            .arg("--headless")
            .arg("--disable-gpu")
            .arg("--no-first-run")
            .arg("--disable-background-networking")
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("--no-pdf-header-footer")
            .arg(format!("--print-to-pdf={}", printed.path().display()))
            .arg(page.path()))?;
        if status.success() && std::fs::metadata(printed.path())?.len() > 0 {
            return Placed::put(printed, path, overwrite).map(|_| ());
        }
        last = Some(status);
    }
    let ended = last.map_or_else(String::new, |status| format!(" ({status})"));
    Err(told(
        ErrorKind::Other,
        format!(
            "`{}` printed nothing{ended}: name another browser in NESTLINE_BROWSER, or open the report and print its first page",
            browser.display()
        ),
    ))
}

/// Runs a program to its end, without a word.
fn run(command: &mut Command) -> io::Result<ExitStatus> {
    let quiet = command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let mut child: Child = quiet.spawn()?;
    let mut waited = Duration::ZERO;
    while waited < PATIENCE {
        if let Some(status) = child.try_wait()? {
            return Ok(status);
        }
        sleep(ASKED_EVERY);
        waited += ASKED_EVERY;
    }
    child.kill()?;
    child.wait()?;
    Err(io::Error::new(
        ErrorKind::TimedOut,
        format!(
            "the browser did not print within {} s: open the report and print its first page",
            PATIENCE.as_secs()
        ),
    ))
}
