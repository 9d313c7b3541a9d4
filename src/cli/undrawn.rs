//! Verbs that draw, in a program that was built without what draws.

use super::Stop;
use clap::Args;
use std::process::ExitCode;

/// Whatever the full program takes.
#[derive(Debug, Clone, Args)]
pub(crate) struct Anything {
    /// What the full program takes.
    #[arg(trailing_var_arg = true, allow_hyphen_values = true, hide = true)]
    _arguments: Vec<String>,
}

pub(crate) type FilmArguments = Anything;
pub(crate) type ViewArguments = Anything;

pub(crate) fn film(_: &FilmArguments, _json: bool) -> Result<ExitCode, Stop> {
    not_built("film")
}

pub(crate) fn view(_: &ViewArguments) -> Result<ExitCode, Stop> {
    not_built("view")
}

fn not_built(verb: &str) -> Result<ExitCode, Stop> {
    Err(Stop::Refused(format!(
        "`{verb}` draws, and this program was built without what draws: build it with \
         `cargo install --path . --features viewer` (about six minutes the first time), or run \
         `cargo run --release --features viewer -- {verb}`"
    )))
}
