//! The verbs of the command line: read, work, print. Part of the `main` layer.

mod export;
mod lanes;
mod laying;
mod picture_arguments;
#[cfg(feature = "viewer")]
mod pictures;
mod plans;
mod save;
#[cfg(not(feature = "viewer"))]
mod undrawn;

pub(crate) use export::{Exports, export};
pub(crate) use lanes::choose_lanes;
pub(crate) use picture_arguments::{FilmArguments, ViewArguments};
#[cfg(feature = "viewer")]
pub(crate) use pictures::{film, view};
pub(crate) use plans::{Changes, More, compare, draft, run};
pub(crate) use save::Save;
#[cfg(not(feature = "viewer"))]
pub(crate) use undrawn::{film, view};

use nestline::data::{self, DataError, Rendering, Source};
use nestline::mechanics::{Settle, Status};
use nestline::output::{measures_text, problem_text, to_json};
use nestline::procedure::StrategyError;
use std::io::{IsTerminal, Write, stderr, stdout};
use std::process::ExitCode;
use std::time::Instant;

/// What the help ends with.
pub(crate) const EXAMPLES: &str = "Examples:
  nestline                                   the built-in default scene
  nestline run scenes/right-radial.ron       a scene of your own
  nestline compare scenes/dissection.ron     five strategies on its vessel and stack
  nestline run --set neck.stenosis.percent=95 --each
  nestline measure vessels/left-type-3-kink.ron
  nestline check vessels/*.ron scenes/*.ron
Files built into the program: embedded:scenes/NAME.ron, embedded:vessels/NAME.ron, cabinet:DEVICE.
Exit codes: 0 done, 1 the plan fails, 2 could not run, 3 undecided: whether the plan holds is not known.";

/// What the help of verbs that draw begins its end with.
pub(crate) const DRAWS: &str = if cfg!(feature = "viewer") {
    ""
} else {
    "This program was built without what draws: `cargo install --path . --features viewer`.\n"
};

/// Why a command ended early.
pub(crate) enum Stop {
    /// What was read is wrong, or could not be worked on.
    Data(DataError),
    /// A strategy cannot be written for this stack or vessel.
    Strategy(StrategyError),
    /// What was asked for on the command line cannot be done.
    Refused(String),
    /// What was to be written could not be.
    Write(std::io::Error),
}

impl From<DataError> for Stop {
    fn from(error: DataError) -> Self {
        Self::Data(error)
    }
}

impl From<StrategyError> for Stop {
    fn from(error: StrategyError) -> Self {
        Self::Strategy(error)
    }
}

impl From<std::io::Error> for Stop {
    fn from(error: std::io::Error) -> Self {
        Self::Write(error)
    }
}

#[cfg(feature = "viewer")]
impl From<nestline::output::screen::ScreenError> for Stop {
    fn from(error: nestline::output::screen::ScreenError) -> Self {
        Self::Refused(error.to_string())
    }
}

#[cfg(feature = "viewer")]
impl From<nestline::output::film::FilmError> for Stop {
    fn from(error: nestline::output::film::FilmError) -> Self {
        Self::Refused(error.to_string())
    }
}

impl Stop {
    /// Says why, and gives the exit code for it.
    pub(crate) fn tell(self) -> ExitCode {
        match self {
            Self::Data(error) => {
                complain(&error);
                ExitCode::from(2)
            }
            Self::Strategy(error) => {
                let _ = writeln!(stderr().lock(), "nestline: {error}");
                ExitCode::from(2)
            }
            Self::Refused(text) => {
                let _ = writeln!(stderr().lock(), "nestline: {text}");
                ExitCode::from(2)
            }
            // whoever reads us has seen enough, as `head` does
            Self::Write(error) if error.kind() == std::io::ErrorKind::BrokenPipe => {
                ExitCode::SUCCESS
            }
            Self::Write(error) => {
                // nothing left to write to if even this fails
                let _ = writeln!(stderr(), "nestline cannot write its output: {error}");
                ExitCode::from(2)
            }
        }
    }
}

pub(crate) fn measure(vessel: &str, target: Option<&str>, json: bool) -> Result<ExitCode, Stop> {
    let report = data::measure_vessel(&Source::from_argument(vessel), target)?;
    print(json, &report, || measures_text(&report, columns()))?;
    Ok(ExitCode::SUCCESS)
}

#[expect(
    clippy::disallowed_methods,
    reason = "the report says how long the solve took; nothing depends on it"
)]
pub(crate) fn settle(problem: &str, best_of: u32, json: bool) -> Result<ExitCode, Stop> {
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
        Status::OutsideModel { .. } => ExitCode::from(3),
    })
}

pub(crate) fn check(files: &[String], json: bool) -> Result<ExitCode, Stop> {
    let mut all_good = true;
    let mut rows = Vec::new();
    let mut text = String::new();
    for file in files {
        match data::check_file(&Source::from_argument(file)) {
            Ok(kind) => {
                text += &format!("good  {file} is {}\n", kind.in_words());
                rows.push(
                    serde_json::json!({ "file": file, "kind": kind.in_words(), "good": true }),
                );
            }
            Err(error) => {
                all_good = false;
                complain(&error);
                rows.push(
                    serde_json::json!({ "file": file, "good": false, "error": error.to_string() }),
                );
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
    writeln!(stdout().lock(), "{}", out.trim_end())
}

fn complain(error: &DataError) {
    let rendering = Rendering {
        colour: stderr().is_terminal(),
        columns: usize::from(columns()),
    };
    // nowhere else to tell it if stderr is gone
    let _ = writeln!(stderr().lock(), "{}", error.render(rendering).trim_end());
}

/// Width of the terminal, or one that fits a printed page.
fn columns() -> u16 {
    terminal_size::terminal_size().map_or(140, |(width, _)| width.0.max(80))
}
