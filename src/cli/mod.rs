//! What the commands do: read, rehearse, show.

mod files;
mod plans;

pub(crate) use files::{check, measure};
pub(crate) use plans::{compare, draft, run};

use nestline::data::{DataError, Rendering};
use nestline::procedure::{NetworkError, Sampling, StrategyError};
use std::io::{IsTerminal, Write, stderr, stdout};
use thiserror::Error;

/// The scene that runs when none is named.
const DEFAULT_SCENE: &str = "embedded:scenes/left-tandem-retriever-first.ron";

/// Why a command ended early.
#[derive(Debug, Error)]
pub(crate) enum Stop {
    /// A file is refused.
    #[error(transparent)]
    Data(#[from] DataError),
    /// Steps cannot be timed.
    #[error(transparent)]
    Clock(#[from] NetworkError),
    /// A strategy cannot be written.
    #[error(transparent)]
    Strategy(#[from] StrategyError),
    /// The output cannot be written.
    #[error("cannot write: {0}")]
    Write(#[from] std::io::Error),
}

impl Stop {
    /// For the terminal, with the lines of the file where there is one.
    pub(crate) fn in_words(&self) -> String {
        match self {
            Self::Data(error) => error.render(rendering()),
            other => format!("nestline: {other}"),
        }
    }
}

/// How times are drawn.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Drawn {
    pub(crate) seed: u64,
    pub(crate) courses: usize,
}

impl Default for Drawn {
    fn default() -> Self {
        let Sampling { seed, courses, .. } = Sampling::default();
        Self { seed, courses }
    }
}

impl Drawn {
    /// With as many threads as there are cores; their number changes no bit of the result.
    fn sampling(self) -> Sampling {
        Sampling {
            courses: self.courses,
            seed: self.seed,
            threads: std::thread::available_parallelism().map_or(1, std::num::NonZero::get),
        }
    }
}

fn say(text: &str) -> std::io::Result<()> {
    writeln!(stdout().lock(), "{}", text.trim_end())
}

fn complain(error: &DataError) {
    // nowhere else to tell it if stderr is gone
    let _ = writeln!(stderr().lock(), "{}", error.render(rendering()).trim_end());
}

fn rendering() -> Rendering {
    Rendering {
        colour: stderr().is_terminal(),
        columns: usize::from(columns()),
    }
}

/// Width of the terminal, or one that fits a printed page.
fn columns() -> u16 {
    terminal_size::terminal_size().map_or(140, |(width, _)| width.0.max(80))
}
