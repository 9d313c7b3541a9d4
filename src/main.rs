//! Command line of nestline: arguments, dispatch, exit code.

mod cli;

use clap::{Parser, Subcommand};
use nestline::rehearsal::CAUTION;
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
  nestline measure vessels/left-type-3-kink.ron
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
    /// Validate vessel, device, scene and problem files.
    #[command(after_help = "Example: nestline check my-scene.ron my-devices/*.ron")]
    Check {
        /// Files.
        #[arg(required = true)]
        files: Vec<String>,
    },
    /// Solve a bare rod-in-tube problem: energies, path lengths, contacts.
    #[command(after_help = "Example: nestline settle bend.ron --json")]
    Settle {
        /// Problem file.
        problem: String,
    },
}

/// The scene that runs when none is named.
const DEFAULT_SCENE: &str = "embedded:scenes/left-tandem-retriever-first.ron";

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let json = arguments.json;
    let done = match &arguments.command {
        None => cli::run(DEFAULT_SCENE, json),
        Some(Command::Run { scene }) => cli::run(scene.as_deref().unwrap_or(DEFAULT_SCENE), json),
        Some(Command::Measure { vessel, target }) => cli::measure(vessel, target.as_deref(), json),
        Some(Command::Check { files }) => cli::check(files, json),
        Some(Command::Settle { problem }) => cli::settle(problem, json),
    };
    done.unwrap_or_else(cli::Stop::tell)
}
