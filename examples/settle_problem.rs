//! Solves a bare rod-in-tube problem read as JSON from standard input, prints its report as JSON.
//!
//! `cargo run --release --example settle_problem < problem.json`
#![expect(
    clippy::disallowed_methods,
    reason = "times the solve for the peer comparison"
)]
#![expect(clippy::print_stdout, reason = "prints the report")]

use nestline::mechanics::problem::Problem;
use std::error::Error;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let problem: Problem = serde_json::from_reader(std::io::stdin())?;
    let posed = problem.pose()?;
    let mut settle = nestline::mechanics::Settle::new(problem.settings);
    let repeats = std::env::args()
        .nth(1)
        .map_or(Ok(1), |a| a.parse::<u32>())?;
    let mut best = f64::INFINITY;
    let mut report = None;
    for _ in 0..repeats.max(1) {
        let start = Instant::now();
        let solution = settle.settle(&posed.scene())?;
        best = best.min(start.elapsed().as_secs_f64() * 1e3);
        report = Some(problem.report(&posed, &solution));
    }
    if let Some(mut report) = report {
        report.milliseconds = Some(best);
        println!("{}", serde_json::to_string_pretty(&report)?);
    }
    Ok(())
}
