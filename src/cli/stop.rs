//! Why a command ended early, told to whoever asked: words for people, with `--json` a document for machines.

use super::columns;
use clap::Parser;
use clap::error::ErrorKind;
use nestline::data::{DataError, Rendering, plainly};
use nestline::procedure::StrategyError;
use serde_json::{Value, json};
use std::ffi::OsStr;
use std::io::{IsTerminal, Write, stderr, stdout};
use std::process::ExitCode;

/// Exit code of everything that could not run.
const COULD_NOT_RUN: u8 = 2;

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
    pub(crate) fn tell(self, json: bool) -> ExitCode {
        match self {
            Self::Data(error) => complain(&error, json),
            Self::Strategy(error) => say("strategy", &error.to_string(), json),
            Self::Refused(text) => say("refused", &text, json),
            Self::Write(error) => say("not_written", &error.to_string(), json),
        }
        ExitCode::from(COULD_NOT_RUN)
    }
}

/// Tells what is wrong with a file.
pub(super) fn complain(error: &DataError, json: bool) {
    if json {
        return write_down(&document(described(error)).to_string());
    }
    let colour = colours(
        stderr().is_terminal(),
        std::env::var_os("NO_COLOR").as_deref(),
        std::env::var_os("TERM").as_deref(),
    );
    let rendering = Rendering {
        colour,
        columns: usize::from(columns()),
    };
    write_down(error.render(rendering).trim_end());
}

/// Tells what is no file's fault.
fn say(code: &str, text: &str, json: bool) {
    if json {
        write_down(&document(json!({ "code": code, "message": text })).to_string());
    } else {
        write_down(&within_columns(&format!("nestline: {}", plainly(text))));
    }
}

fn write_down(text: &str) {
    // nowhere else to tell it if stderr is gone
    let _ = writeln!(stderr().lock(), "{text}");
}

/// Every line of a text on as many lines as the terminal needs for it, at its own depth. Words stay whole.
fn within_columns(text: &str) -> String {
    let wrapped = text.lines().map(|line| {
        let depth = &line[..line.len() - line.trim_start().len()];
        let options = textwrap::Options::new(usize::from(columns()))
            .word_separator(textwrap::WordSeparator::AsciiSpace)
            .word_splitter(textwrap::WordSplitter::NoHyphenation)
            .break_words(false)
            .subsequent_indent(depth);
        textwrap::fill(line, options)
    });
    wrapped.collect::<Vec<_>>().join("\n")
}

/// An error as a document of one line.
fn document(error: Value) -> Value {
    let mut document = json!({ "schema": "nestline.error", "version": 1 });
    if let (Value::Object(all), Value::Object(error)) = (&mut document, error) {
        all.extend(error);
    }
    document
}

/// What a document says of an error about a file.
pub(super) fn described(error: &DataError) -> Value {
    let code = error.problem().code();
    let mut told = json!({
        "code": code.rsplit("::").next().unwrap_or(code),
        "message": error.to_string(),
        "help": error.help_text(),
        "parts": error.parts().iter().map(described).collect::<Vec<_>>(),
    });
    if let Some((file, line, column)) = error.place() {
        told["file"] = file.into();
        told["line"] = line.into();
        told["column"] = column.into();
    }
    told
}

/// Whether colours are wanted: on a terminal that has them, unless `NO_COLOR` says otherwise
/// (<https://no-color.org>).
fn colours(terminal: bool, no_colour: Option<&OsStr>, term: Option<&OsStr>) -> bool {
    terminal && no_colour.is_none_or(OsStr::is_empty) && term.is_none_or(|t| t != "dumb")
}

/// The arguments; what was wrong with them, or the help that was asked for, has been told where there are
/// none.
pub(crate) fn arguments<T: Parser>() -> Result<T, ExitCode> {
    let error = match T::try_parse() {
        Ok(arguments) => return Ok(arguments),
        Err(error) => error,
    };
    let asked_for = matches!(
        error.kind(),
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion
    );
    if !asked_for && std::env::args_os().any(|argument| argument == "--json") {
        say("arguments", error.render().to_string().trim_end(), true);
        return Err(ExitCode::from(COULD_NOT_RUN));
    }
    let text = error.render().to_string();
    let too_long = |line: &str| line.chars().count() > usize::from(columns());
    if !asked_for && text.lines().any(too_long) {
        write_down(within_columns(&text).trim_end());
        return Err(ExitCode::from(COULD_NOT_RUN));
    }
    let printed = error.print().and_then(|()| stdout().flush());
    Err(match told(printed) {
        Ok(()) => ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(COULD_NOT_RUN)),
        Err(error) => Stop::Write(error).tell(false),
    })
}

/// What became of printing: whoever closes the pipe has seen enough, as `head` does.
pub(super) fn told(printed: std::io::Result<()>) -> std::io::Result<()> {
    match printed {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        Err(error) => {
            let text = format!("standard output cannot be written: {error}");
            Err(std::io::Error::new(error.kind(), text))
        }
        Ok(()) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_colours_only_where_they_are_wanted() {
        for (terminal, no_colour, term, wanted) in [
            (true, None, None, true),
            (true, None, Some("xterm-256color"), true),
            (true, Some(""), Some("xterm"), true),
            (true, Some("1"), Some("xterm"), false),
            (true, None, Some("dumb"), false),
            (false, None, Some("xterm"), false),
        ] {
            let found = colours(terminal, no_colour.map(OsStr::new), term.map(OsStr::new));
            assert_eq!(found, wanted, "{terminal} {no_colour:?} {term:?}");
        }
    }
}
