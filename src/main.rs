//! Command line of nestline: arguments, dispatch, exit code.

use clap::{Parser, Subcommand};
use nestline::data::{self, DataError, Rendering, Source};
use nestline::output::{measures_text, rehearsal_text, to_json};
use nestline::rehearsal::{CAUTION, Verdict, rehearse};
use std::io::{IsTerminal, Write, stderr, stdout};
use std::process::ExitCode;

/// Rehearse a nested stack of neuro-interventional devices on a vessel before anyone stands at the
/// table: does it reach, does it fit, can it be exchanged, where does the plan break.
///
/// Without a command the built-in default scene is rehearsed.
#[derive(Parser)]
#[command(version, after_help = EXAMPLES, after_long_help = format!("{EXAMPLES}\n\n{CAUTION}"))]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
    /// Print JSON for machines instead of text.
    #[arg(long, global = true)]
    json: bool,
}

const EXAMPLES: &str = "Examples:
  nestline                                   the built-in default scene
  nestline run scenes/right-radial.ron       a scene of your own
  nestline measure vessels/left-type-3-kinked.ron
  nestline check vessels/*.ron scenes/*.ron
Files built into the program: embedded:scenes/NAME.ron, embedded:vessels/NAME.ron, cabinet:DEVICE.
Exit codes: 0 done, 1 the plan fails, 2 could not run.";

#[derive(Subcommand)]
enum Command {
    /// Rehearse a scene and print the table.
    #[command(after_help = "Example: nestline run scenes/too-short.ron")]
    Run {
        /// Scene file; the built-in default scene if left out.
        scene: Option<String>,
    },
    /// Measures of a vessel: lengths, angles, stenoses, tortuosity, and what each value rests on.
    #[command(
        after_help = "Example: nestline measure vessels/left-tandem-type-2.ron --target m2-superior"
    )]
    Measure {
        /// Vessel file.
        vessel: String,
        /// Target the route ends in; the vessel's first one if left out.
        #[arg(long)]
        target: Option<String>,
    },
    /// Validate vessel, device and scene files.
    #[command(after_help = "Example: nestline check my-scene.ron my-devices/*.ron")]
    Check {
        /// Files.
        #[arg(required = true)]
        files: Vec<String>,
    },
}

/// The scene that runs when none is named.
const DEFAULT_SCENE: &str = "embedded:scenes/left-tandem-retriever-first.ron";

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let outcome = match &arguments.command {
        None => run(DEFAULT_SCENE, arguments.json),
        Some(Command::Run { scene }) => {
            run(scene.as_deref().unwrap_or(DEFAULT_SCENE), arguments.json)
        }
        Some(Command::Measure { vessel, target }) => {
            measure(vessel, target.as_deref(), arguments.json)
        }
        Some(Command::Check { files }) => check(files, arguments.json),
    };
    match outcome {
        Ok(code) => code,
        Err(Stop::Data(error)) => {
            complain(&error);
            ExitCode::from(2)
        }
        // whoever reads us has seen enough, as `head` does
        Err(Stop::Write(error)) if error.kind() == std::io::ErrorKind::BrokenPipe => {
            ExitCode::SUCCESS
        }
        Err(Stop::Write(error)) => {
            // nothing left to write to if even this fails
            let _ = writeln!(stderr(), "nestline cannot write its output: {error}");
            ExitCode::from(2)
        }
    }
}

/// Why a command ended early.
enum Stop {
    Data(DataError),
    Write(std::io::Error),
}

impl From<DataError> for Stop {
    fn from(error: DataError) -> Self {
        Self::Data(error)
    }
}

impl From<std::io::Error> for Stop {
    fn from(error: std::io::Error) -> Self {
        Self::Write(error)
    }
}

fn run(scene: &str, json: bool) -> Result<ExitCode, Stop> {
    let plan = data::read_scene(&Source::from_argument(scene))?;
    let outcome = rehearse(&plan);
    if json {
        say(&to_json(&outcome).map_err(std::io::Error::other)?)?;
    } else {
        say(&rehearsal_text(&outcome, columns()))?;
    }
    Ok(match outcome.verdict {
        Verdict::Passes => ExitCode::SUCCESS,
        Verdict::Fails => ExitCode::from(1),
    })
}

fn measure(vessel: &str, target: Option<&str>, json: bool) -> Result<ExitCode, Stop> {
    let report = data::measure_vessel(&Source::from_argument(vessel), target)?;
    if json {
        say(&to_json(&report).map_err(std::io::Error::other)?)?;
    } else {
        say(&measures_text(&report, columns()))?;
    }
    Ok(ExitCode::SUCCESS)
}

fn check(files: &[String], json: bool) -> Result<ExitCode, Stop> {
    let mut all_good = true;
    let mut rows = Vec::new();
    for file in files {
        match data::check_file(&Source::from_argument(file)) {
            Ok(kind) => rows
                .push(serde_json::json!({ "file": file, "kind": kind.in_words(), "good": true })),
            Err(error) => {
                all_good = false;
                complain(&error);
                rows.push(
                    serde_json::json!({ "file": file, "good": false, "error": error.to_string() }),
                );
            }
        }
    }
    if json {
        let report = serde_json::json!({ "schema": "nestline.check", "version": 1, "files": rows });
        say(&to_json(&report).map_err(std::io::Error::other)?)?;
    } else {
        for row in rows.iter().filter(|r| r["good"] == true) {
            say(&format!(
                "good  {} is {}",
                row["file"].as_str().unwrap_or(""),
                row["kind"].as_str().unwrap_or("")
            ))?;
        }
    }
    Ok(if all_good {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(2)
    })
}

fn say(text: &str) -> std::io::Result<()> {
    writeln!(stdout().lock(), "{}", text.trim_end())
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
