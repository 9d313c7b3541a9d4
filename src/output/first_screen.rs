//! What an operator reads first: one screen.

use super::gantt::minutes;
use super::table::{section, verdict_words, weak_point_line, wrapped};
use crate::procedure::{Likelihood, Percentiles, Severity};
use crate::rehearsal::{AtStep, Outcome, PhaseRow, Rehearsed, range_in_figures};
use crate::units::fixed;
use std::fmt::Write as _;

/// What a device has to spare is not told among the tightest numbers from here on, mm.
const MUCH_MM: f64 = 150.0;
/// Characters kept for the name of a phase and its steps.
const PHASE_COLUMNS: usize = 20;

/// Verdict, what it rests on, the three costliest weak points, a line a phase and the clock, for a terminal of
/// `columns` characters: at most 45 lines at 100 columns, 60 at 80.
#[must_use]
pub fn first_screen(rehearsed: &Rehearsed, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    let outcome = &rehearsed.outcome;
    wrapped(&mut out, "", &outcome.scene, width);
    wrapped(&mut out, "vessel: ", &outcome.vessel.name, width);
    let _ = writeln!(out, "{}", verdict_words(outcome));
    for line in outcome.reasons() {
        wrapped(&mut out, "  ", line, width);
    }
    wrapped(&mut out, "  ", &outcome.rests_on(), width);
    weak_points(&mut out, outcome, width);
    phases(&mut out, outcome, width);
    clock(&mut out, rehearsed, width);
    out.push('\n');
    let more = "Everything: `nestline run --all`; parts: --sure --steps --findings --fits --edges --held --clock";
    wrapped(&mut out, "", more, width);
    wrapped(&mut out, "", &outcome.caution, width);
    out
}

fn weak_points(out: &mut String, outcome: &Outcome, width: usize) {
    let (title, points) = outcome.costliest();
    if points.is_empty() {
        return;
    }
    section(out, &title);
    // what would help is told once: where the plan breaks
    let told = outcome.breaks().and_then(|(_, f)| f.help.as_ref());
    for point in points {
        let mut point = point.clone();
        point.help = point.help.filter(|help| Some(help) != told);
        wrapped(
            out,
            &format!("  step {:>2}: ", point.step),
            &weak_point_line(&point),
            width,
        );
    }
}

fn phases(out: &mut String, outcome: &Outcome, width: usize) {
    section(out, "Phase       steps   tightest (device, step)");
    for row in &outcome.phases {
        let steps = match row.from_step == row.to_step {
            true => row.from_step.to_string(),
            false => format!("{}-{}", row.from_step, row.to_step),
        };
        let lead = format!("{:<12}{steps:<8}", row.phase.in_words());
        wrapped(
            out,
            &format!("{lead:<PHASE_COLUMNS$}"),
            &tightest(row),
            width,
        );
    }
}

/// The numbers of a phase: what may end it first stands first.
fn tightest(row: &PhaseRow) -> String {
    let at = |found: &AtStep| format!("{}, {}", found.device, found.step);
    let mut parts = Vec::new();
    match row.worst {
        Some(Severity::Failure) => parts.push("FAILS".to_owned()),
        Some(Severity::Undecided) => parts.push("not known".to_owned()),
        _ => {}
    }
    let catch = row.likeliest_catch.as_ref();
    let catch = catch.filter(|c| c.likelihood > Likelihood::Unlikely);
    parts.extend(catch.map(|c| {
        let word = c.likelihood.in_words();
        format!("{word} catch on the stent ({}, {})", c.device, c.step)
    }));
    parts.extend(row.nobody_holds_mm.as_ref().map(|b| {
        format!(
            "nobody holds the {} for {} cm ({})",
            b.device,
            fixed(0.1 * b.value, 0),
            b.step
        )
    }));
    let spare = row.least_to_spare_mm.as_ref();
    let near = |m: &&AtStep| m.value < MUCH_MM || parts.is_empty();
    let spare = spare.filter(near).map(|m| match m.value {
        mm if mm >= 0.5 => format!("{} mm to spare ({})", fixed(mm, 0), at(m)),
        // fed up to its hub, and so as far as it comes: where it should be a finding says
        mm if mm > -0.5 => format!("no length left ({})", at(m)),
        _ => format!("does not reach ({})", at(m)),
    });
    parts.extend(spare);
    let push = row.hardest_push_n.as_ref();
    let range = range_in_figures(1.0, row.hardest_push_range_n);
    let range = range.map_or_else(String::new, |range| format!(", {range}"));
    let push = push.map(|f| format!("push {} N{range} ({})", fixed(f.value, 2), at(f)));
    parts.extend(push);
    match parts.is_empty() {
        true => "nothing is moved".to_owned(),
        false => parts.join("; "),
    }
}

fn clock(out: &mut String, rehearsed: &Rehearsed, width: usize) {
    let clock = &rehearsed.clock;
    let mut parts = Vec::new();
    for milestone in clock.milestones() {
        let wanted = [
            "retriever open",
            "neck open",
            "reperfusion",
            "span: retriever open to reperfusion",
        ];
        let Some(mean_s) = milestone
            .mean_s
            .filter(|_| wanted.contains(&milestone.what))
        else {
            continue;
        };
        let spread = milestone.spread.map_or_else(String::new, within);
        let what = milestone.what.trim_start_matches("span: ");
        parts.push(format!("{what} {}{spread}", fixed(mean_s / 60.0, 0)));
    }
    if parts.is_empty() {
        parts.push(format!(
            "last step ends {}",
            minutes(clock.expected.total_s.unwrap_or(0.0))
        ));
    }
    section(
        out,
        "Clock (min from the puncture, in brackets 8 of 10 courses)",
    );
    parts.push("every step at its first try".to_owned());
    let disturbed = clock.disturbed.as_ref();
    let mean_s = disturbed.and_then(|d| Some((d, d.reperfusion_mean_s?)));
    parts.extend(mean_s.map(|(disturbed, mean_s)| {
        format!(
            "with failed tries and further passes reperfusion {}{}",
            fixed(mean_s / 60.0, 0),
            disturbed
                .spread
                .reperfusion
                .map_or_else(String::new, within)
        )
    }));
    wrapped(out, "  ", &format!("{}.", parts.join("; ")), width);
}

/// Between which times 8 of 10 courses lie, min.
fn within(p: Percentiles) -> String {
    format!(
        " ({} to {})",
        fixed(p.p10_s / 60.0, 0),
        fixed(p.p90_s / 60.0, 0)
    )
}
