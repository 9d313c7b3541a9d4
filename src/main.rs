//! Command line of nestline: arguments, dispatch, exit code.

mod cli;

use clap::{Parser, Subcommand};
use nestline::rehearsal::CAUTION;
use std::ffi::OsString;
use std::process::ExitCode;

/// Rehearse a nested stack of neuro-interventional devices on a vessel before anyone stands at the
/// table: does it reach, does it fit, can it be exchanged, where does the plan break.
///
/// Without a command the built-in default scene is rehearsed.
#[derive(Parser)]
#[command(version, after_help = cli::EXAMPLES, after_long_help = format!("{}\n\n{CAUTION}", cli::EXAMPLES))]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
    /// Print JSON for machines instead of text.
    #[arg(long, global = true)]
    json: bool,
}

#[derive(Subcommand)]
enum Command {
    /// Rehearse a scene: print tables, clock and access ledger, write the report.
    #[command(after_help = "Example: nestline run --set guide.usable_length=95cm --each")]
    Run(cli::Run),
    /// Set plans side by side: several scenes, or five strategies on one scene's vessel and stack.
    #[command(after_help = "Example: nestline compare scenes/kinked-neck-type-3.ron")]
    Compare {
        /// Scene files; the built-in default scene if left out.
        scenes: Vec<OsString>,
        #[command(flatten)]
        changes: cli::Changes,
        /// Only these strategies, by name; may be given several times.
        #[arg(long = "strategy", value_name = "NAME")]
        strategies: Vec<String>,
        #[command(flatten)]
        save: cli::Save,
    },
    /// Rehearse a scene on many patients: how often it fails and by what, which input matters most.
    #[command(after_help = "Example: nestline vary --cases 2000 --out many")]
    Vary(cli::VaryArguments),
    /// Try every stack of a cabinet on a scene's vessel and script: which do it, how surely, why the others do not.
    #[command(
        after_help = "Example: nestline choose scenes/kinked-neck-type-3.ron --reach guide:stent+10mm"
    )]
    Choose(cli::ChooseArguments),
    /// Write the scene of a strategy on another scene's vessel and stack, to be edited.
    #[command(
        after_help = "Example: nestline draft neck-first scenes/dissection.ron --out mine.ron"
    )]
    Draft {
        /// retriever-first, neck-first, clot-first, balloon-only or suction-first.
        strategy: String,
        /// Scene whose vessel, stack and access steps are taken; the default one if left out.
        scene: Option<OsString>,
        /// File to write; printed if left out.
        #[arg(long)]
        out: Option<std::path::PathBuf>,
        /// Replace the file if it exists.
        #[arg(long, visible_alias = "force")]
        replace: bool,
    },
    /// Write files for other programs: an animated glTF of the script, an STL of the vessel, centre lines.
    #[command(after_help = "Example: nestline export --glb plan.glb --stl neck.stl --wall 1.5mm")]
    Export {
        /// Scene file; the built-in default scene if left out.
        scene: Option<OsString>,
        #[command(flatten)]
        exports: cli::Exports,
    },
    /// Measures of a vessel: lengths, angles, stenoses, tortuosity, what each value rests on; or a form to fill in (--new).
    #[command(
        after_help = "Example: nestline measure vessels/left-tandem-type-2.ron --target m2-superior"
    )]
    Measure(cli::MeasureArguments),
    /// Make a vessel file of centre lines with radii: CSV, VTK, VTP or SWC.
    #[command(after_help = cli::IMPORT_EXAMPLE)]
    Import(Box<cli::ImportArguments>),
    /// Validate vessel, device, scene and problem files.
    #[command(after_help = "Example: nestline check my-scene.ron my-devices/*.ron")]
    Check {
        /// Files.
        #[arg(required = true)]
        files: Vec<OsString>,
    },
    /// Make a film of a scene, without a display: MP4, GIF, or PNG frames (feature `viewer`).
    #[command(after_help = cli::drawn("film scenes/too-short.ron -o too-short.mp4"))]
    Film(cli::FilmArguments),
    /// Open a scene in a window: step by step, a device in hand (feature `viewer`).
    #[command(after_help = cli::drawn("view scenes/guide-below-stent.ron"))]
    View(cli::ViewArguments),
    /// Solve a bare rod-in-tube problem: energies, path lengths, contacts.
    #[command(after_help = "Example: nestline settle bend.ron --json")]
    Settle {
        /// Problem file.
        problem: OsString,
        /// Solve this often and tell the shortest time: memory is warm from the second on.
        #[arg(long, value_name = "TIMES", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..))]
        best_of: u32,
    },
}

fn main() -> ExitCode {
    let arguments: Arguments = match cli::arguments() {
        Ok(arguments) => arguments,
        Err(told) => return told,
    };
    let done = cli::choose_lanes().and_then(|()| work(&arguments));
    done.unwrap_or_else(|stop| stop.tell(arguments.json))
}

fn work(arguments: &Arguments) -> Result<ExitCode, cli::Stop> {
    let json = arguments.json;
    match &arguments.command {
        None => cli::run_default(json),
        Some(Command::Run(arguments)) => cli::run(arguments, json),
        Some(Command::Compare {
            scenes,
            changes,
            strategies,
            save,
        }) => cli::compare(scenes, changes, strategies, save, json),
        Some(Command::Vary(arguments)) => cli::vary(arguments, json),
        Some(Command::Choose(arguments)) => cli::choose(arguments, json),
        Some(Command::Draft {
            strategy,
            scene,
            out,
            replace,
        }) => cli::draft(strategy, scene.as_deref(), out.as_deref(), *replace, json),
        Some(Command::Export { scene, exports }) => cli::export(scene.as_deref(), exports, json),
        Some(Command::Measure(arguments)) => cli::measure(arguments, json),
        Some(Command::Import(arguments)) => cli::import(arguments, json),
        Some(Command::Check { files }) => cli::check(files, json),
        Some(Command::Film(arguments)) => cli::film(arguments, json),
        Some(Command::View(arguments)) => cli::view(arguments),
        Some(Command::Settle { problem, best_of }) => cli::settle(problem, *best_of, json),
    }
}
