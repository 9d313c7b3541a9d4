//! Verbs that draw, in a program that was built without what draws.

use super::Stop;
use super::picture_arguments::{FilmArguments, ViewArguments};
use std::process::ExitCode;

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
