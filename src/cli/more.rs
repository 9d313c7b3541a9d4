//! What `run` prints: one screen, everything, or parts.

use clap::Args;
use nestline::output::{
    Parts, clock_text, closing_text, first_screen, ledger_text, rehearsal_text,
};
use nestline::rehearsal::Rehearsed;

/// What `run` tells beside the plan.
#[derive(Debug, Clone, Copy, Default, Args)]
pub(crate) struct More {
    /// Tell what each change does on its own; without `--set`, what the lengths do that this plan hangs on most,
    /// each one standard deviation shorter and longer. Writes no report.
    #[arg(long, conflicts_with_all = ["out", "force", "png"])]
    pub(super) each: bool,
    /// Set the plan beside the five strategies on its vessel and stack, in the report too.
    #[arg(long, conflicts_with = "each")]
    pub(super) compare: bool,
    /// Leave out how far forces reach if frictions and stiffnesses are at the least and the most known of
    /// them: takes half the time.
    #[arg(long)]
    pub(super) no_ranges: bool,
    /// Print everything, not one screen.
    #[arg(long, conflicts_with = "each")]
    all: bool,
    /// Print every margin with its spread, what causes it, and what a measurement would leave.
    #[arg(long, conflicts_with = "each")]
    sure: bool,
    /// Print every step with what it moves.
    #[arg(long, conflicts_with = "each")]
    steps: bool,
    /// Print every failure, warning and note with what would help.
    #[arg(long, conflicts_with = "each")]
    findings: bool,
    /// Print what runs in what, and every exchange with the rail it needs.
    #[arg(long, conflicts_with = "each")]
    fits: bool,
    /// Print stents, what crosses their edges, pulls and suction.
    #[arg(long, conflicts_with = "each")]
    edges: bool,
    /// Print who holds the way across lesion and clot, and when.
    #[arg(long, conflicts_with = "each")]
    held: bool,
    /// Print the clock with what decides it.
    #[arg(long, conflicts_with = "each")]
    clock: bool,
}

impl More {
    /// What is printed of a rehearsal: one screen, or the parts that are asked for.
    pub(super) fn told(self, rehearsed: &Rehearsed, width: u16) -> String {
        let parts = self.parts();
        if !parts.any() {
            return first_screen(rehearsed, width);
        }
        let mut text = rehearsal_text(&rehearsed.outcome, parts, width);
        if parts.held {
            text += &ledger_text(&rehearsed.ledger, width);
        }
        if parts.clock {
            text += &clock_text(&rehearsed.clock, width);
        }
        text + &closing_text(&rehearsed.outcome, parts, width)
    }

    const fn parts(self) -> Parts {
        if self.all {
            return Parts::ALL;
        }
        Parts {
            sure: self.sure,
            steps: self.steps,
            findings: self.findings,
            fits: self.fits,
            edges: self.edges,
            held: self.held,
            clock: self.clock,
        }
    }
}
