//! The verbs of the command line: read, work, print. Part of the `main` layer.

mod choose;
mod each;
mod export;
mod handout;
mod import;
mod lanes;
mod laying;
mod measure;
mod more;
mod picture_arguments;
#[cfg(feature = "viewer")]
mod pictures;
mod plans;
mod save;
mod stop;
#[cfg(not(feature = "viewer"))]
mod undrawn;
mod vary;

pub(crate) use choose::{ChooseArguments, choose};
pub(crate) use export::{Exports, export};
pub(crate) use import::{IMPORT_EXAMPLE, ImportArguments, import};
pub(crate) use lanes::choose_lanes;
pub(crate) use measure::{MeasureArguments, measure};
pub(crate) use picture_arguments::{FilmArguments, ViewArguments};
#[cfg(feature = "viewer")]
pub(crate) use pictures::{film, view};
pub(crate) use plans::{Changes, Run, compare, draft, run};
pub(crate) use save::Save;
pub(crate) use stop::{Stop, arguments};
#[cfg(not(feature = "viewer"))]
pub(crate) use undrawn::{film, view};
pub(crate) use vary::{VaryArguments, vary};

use nestline::data::{self, Source};
use nestline::mechanics::{Settle, Status};
use nestline::output::{problem_text, to_json};
use std::ffi::{OsStr, OsString};
use std::io::{Write, stdout};
use std::process::ExitCode;
use std::time::Instant;

/// What the help ends with.
pub(crate) const EXAMPLES: &str = "Examples:
  nestline                                   the built-in default scene
  nestline run scenes/right-radial.ron       a scene of your own
  nestline compare scenes/dissection.ron     five strategies on its vessel and stack
  nestline choose --reach guide:stent+10mm   which stacks of the cabinet do that
  nestline run --set neck.stenosis.percent=95 --each
  nestline measure vessels/left-type-3-kink.ron
  nestline check vessels/*.ron scenes/*.ron
  nestline import lines.vtp --unit mm -o mine.ron
Files built into the program: embedded:scenes/NAME.ron, embedded:vessels/NAME.ron, cabinet:DEVICE.
Exit codes: 0 done, 1 the plan fails, 2 could not run, 3 undecided: whether the plan holds is not known.";

/// What the help of a verb that draws ends with: how to get it where it was left out, and an example.
pub(crate) fn drawn(example: &str) -> String {
    let missing = if cfg!(feature = "viewer") {
        ""
    } else {
        "This program was built without what draws: `cargo install --path . --features viewer`.\n"
    };
    format!("{missing}Example: nestline {example}")
}

#[expect(
    clippy::disallowed_methods,
    reason = "the report says how long the solve took; nothing depends on it"
)]
pub(crate) fn settle(problem: &OsStr, best_of: u32, json: bool) -> Result<ExitCode, Stop> {
    let source = Source::from_argument(problem);
    let problem = data::read_problem(&source)?;
    let fault = |fault| data::unsolved(&source, &fault);
    let posed = problem.pose().map_err(fault)?;
    let mut settle = Settle::new(problem.settings);
    let mut timed = || {
        let start = Instant::now();
        let report = problem.solve_posed(&posed, &mut settle).map_err(fault)?;
        Ok::<_, Stop>((report, start.elapsed().as_secs_f64() * 1e3))
    };
    let (mut report, mut milliseconds) = timed()?;
    for _ in 1..best_of {
        let (again, took) = timed()?;
        if took < milliseconds {
            (report, milliseconds) = (again, took);
        }
    }
    report.milliseconds = Some(milliseconds);
    print(json, &report, || problem_text(&report, columns()))?;
    Ok(match report.status {
        Status::Converged => ExitCode::SUCCESS,
        // loads and shape did not come to agree
        Status::Unsettled { .. } => ExitCode::from(2),
        // in balance, but not within what the model can tell
        _ => ExitCode::from(3),
    })
}

pub(crate) fn check(files: &[OsString], json: bool) -> Result<ExitCode, Stop> {
    let mut all_good = true;
    let mut rows = Vec::new();
    let mut text = String::new();
    for file in files {
        let source = Source::from_argument(file);
        let file = source.to_string();
        match data::check_file(&source) {
            Ok(kind) => {
                text += &format!("good  {file} is {}\n", kind.in_words());
                rows.push(
                    serde_json::json!({ "file": file, "kind": kind.in_words(), "good": true }),
                );
            }
            Err(error) => {
                all_good = false;
                stop::complain(&error, json);
                rows.push(serde_json::json!({
                    "file": file, "good": false, "error": error.to_string(),
                    "why": stop::described(&error),
                }));
            }
        }
    }
    let report = serde_json::json!({ "schema": "nestline.check", "version": 1, "files": rows });
    print(json, &report, || text)?;
    Ok(if all_good {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(2)
    })
}

/// Rehearses the built-in default scene as it is.
pub(crate) fn run_default(json: bool) -> Result<ExitCode, Stop> {
    run(&Run::default(), json)
}

/// Prints JSON or text.
fn print(
    json: bool,
    value: &impl serde::Serialize,
    text: impl FnOnce() -> String,
) -> std::io::Result<()> {
    let out = if json {
        to_json(value).map_err(std::io::Error::other)?
    } else {
        text()
    };
    if out.is_empty() {
        return Ok(());
    }
    let mut to = stdout().lock();
    stop::told(writeln!(to, "{}", out.trim_end()).and_then(|()| to.flush()))
}

/// Narrowest width that is written for: below it words would have to be cut.
const NARROWEST: u16 = 40;

/// Width of the terminal; without one what `COLUMNS` says, or 80.
fn columns() -> u16 {
    let terminal = terminal_size::terminal_size().map(|(width, _)| width.0);
    let said = || std::env::var("COLUMNS").ok()?.trim().parse().ok();
    terminal.or_else(said).unwrap_or(80).max(NARROWEST)
}
