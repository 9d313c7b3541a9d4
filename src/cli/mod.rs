//! What the commands do: read, rehearse, show.

mod files;
mod plans;

pub(crate) use files::{check, measure};
pub(crate) use plans::{compare, draft, run};

use clap::Args;
use nestline::data::{DataError, Edit, Rendering};
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

/// Values changed for this run only, and how times are drawn.
#[derive(Debug, Clone, Args)]
pub(crate) struct Changes {
    /// Change a value of vessel, device, script or step times; may be given several times.
    #[arg(long = "set", value_name = "PATH=VALUE")]
    set: Vec<String>,
    /// Seed of the sampled times.
    #[arg(long, default_value_t = Sampling::default().seed)]
    seed: u64,
    /// Courses drawn for the percentiles.
    #[arg(long, default_value_t = Sampling::default().courses)]
    courses: usize,
}

impl Default for Changes {
    fn default() -> Self {
        let Sampling { seed, courses, .. } = Sampling::default();
        Self {
            set: Vec::new(),
            seed,
            courses,
        }
    }
}

impl Changes {
    fn edits(&self) -> Result<Vec<Edit>, Stop> {
        let edits = self.set.iter().map(|text| Edit::parse(text));
        Ok(edits.collect::<Result<_, _>>()?)
    }

    /// With as many threads as there are cores; their number changes no bit of the result.
    fn sampling(&self) -> Sampling {
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
