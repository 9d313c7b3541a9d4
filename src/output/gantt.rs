//! The clock as text: lanes, milestones, what is critical.

use super::grid::Grid;
use super::table::{long_section, section, wrapped};
use crate::procedure::{Lane, Percentiles};
use crate::rehearsal::{ClockReport, ClockRow};
use std::fmt::Write as _;

/// Characters kept for the name of an activity.
const NAME_COLUMNS: usize = 44;
/// Characters kept for the number of a step.
const NUMBER_COLUMNS: usize = 6;
/// Fewest characters for bars that stand beside their names.
const LEAST_BAR: usize = 36;
/// Characters kept for the figures behind a bar.
const FIGURE_COLUMNS: usize = 22;

/// Milestones, lanes and the critical chain for a terminal of `columns` characters.
#[must_use]
pub fn clock_text(clock: &ClockReport, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    section(&mut out, "Clock (min from the puncture)");
    out.push_str(&milestones(clock, columns));
    let title = "Lanes (# decides when the brain is reperfused, = the rest, . may be put off; least slack in min)";
    long_section(&mut out, title, width);
    out.push_str(&lanes(clock, width));
    section(&mut out, "What decides when the brain is reperfused");
    wrapped(&mut out, "  - ", &critical(clock), width);
    let saves = &clock.other_order;
    let line = if saves.saves_at_most_s < 1.0 {
        "No other order of these steps ends sooner.".to_owned()
    } else {
        format!(
            "Another order of the same steps was found that saves {} of the total; none saves more than {}.",
            minutes(saves.saves_s),
            minutes(saves.saves_at_most_s)
        )
    };
    wrapped(&mut out, "  - ", &line, width);
    if let Some(blood) = clock.blood_in_words() {
        wrapped(&mut out, "  - ", &blood, width);
    }
    section(&mut out, "Where this lands");
    for anchor in &clock.anchors {
        let spread = anchor
            .spread
            .map_or_else(String::new, |p| format!(" ({})", tenth_to_ninth(p)));
        let disturbed = match (anchor.disturbed_s, anchor.disturbed) {
            (Some(mean_s), Some(p)) => format!(
                " undisturbed, {} ({}) with failed tries",
                minutes(mean_s),
                tenth_to_ninth(p)
            ),
            _ => String::new(),
        };
        let line = format!(
            "{}: {}{spread}{disturbed}; known: {} ({}){}",
            anchor.what,
            minutes(anchor.expected_s),
            anchor.known,
            anchor.source,
            if anchor.calibrated {
                ". The table was fitted to this: no validation."
            } else {
                "."
            }
        );
        wrapped(&mut out, "  - ", &line, width);
    }
    let fitted: Vec<&str> = clock.calibrated_to.iter().map(|k| k.in_words()).collect();
    let table = if fitted.is_empty() {
        format!("Table of step times: {}.", clock.table)
    } else {
        format!(
            "Table of step times: {}, calibrated to {}.",
            clock.table,
            fitted.join(", and to ")
        )
    };
    wrapped(&mut out, "  - ", &table, width);
    let force = if clock.steps_with_force == 0 {
        "No force at any hub is in these times.".to_owned()
    } else {
        format!(
            "Forces at the hub are in the times of {} steps.",
            clock.steps_with_force
        )
    };
    wrapped(
        &mut out,
        "  - ",
        &format!("{} {force}", clock.method),
        width,
    );
    out
}

/// Steps and waits without slack, in the order of their starts; steps as ranges of numbers.
fn critical(clock: &ClockReport) -> String {
    let mut rows: Vec<&ClockRow> = clock.activities.iter().filter(|a| a.critical).collect();
    rows.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let mut parts: Vec<String> = Vec::new();
    let mut run: Option<(usize, usize)> = None;
    let close = |run: &mut Option<(usize, usize)>, parts: &mut Vec<String>| match run.take() {
        Some((a, b)) if a == b => parts.push(format!("step {a}")),
        Some((a, b)) => parts.push(format!("steps {a} to {b}")),
        None => {}
    };
    for row in rows {
        match (row.step, &mut run) {
            (Some(step), Some((_, last))) if step == *last + 1 => *last = step,
            (Some(step), _) => {
                close(&mut run, &mut parts);
                run = Some((step, step));
            }
            (None, _) => {
                close(&mut run, &mut parts);
                parts.push(row.name.clone());
            }
        }
    }
    close(&mut run, &mut parts);
    parts.join(", ")
}

/// Seconds as minutes with one digit.
pub(super) fn minutes(s: f64) -> String {
    format!("{:.1} min", s / 60.0)
}

pub(super) fn tenth_to_ninth(p: Percentiles) -> String {
    format!("10 to 90 %: {:.1} to {:.1}", p.p10_s / 60.0, p.p90_s / 60.0)
}

fn milestones(clock: &ClockReport, columns: u16) -> String {
    let mut table = Grid::new(1, &["", "at mean steps", "median", "10 %", "90 %"]).right(1..5);
    for m in clock.milestones() {
        let Some(mean_s) = m.mean_s else {
            table.row([m.what, "never", "", "", ""]);
            continue;
        };
        let figure = |s: f64| format!("{:.1}", s / 60.0);
        let [p50, p10, p90] = m.spread.map_or([const { String::new() }; 3], |p| {
            [p.p50_s, p.p10_s, p.p90_s].map(figure)
        });
        table.row([m.what.to_owned(), figure(mean_s), p50, p10, p90]);
    }
    table.text(columns)
}

/// Bars beside their names; where that leaves too little for bars, below them.
fn lanes(clock: &ClockReport, columns: usize) -> String {
    let mut out = String::new();
    let end_s = clock
        .activities
        .iter()
        .map(|a| a.end_s)
        .fold(0.0, f64::max)
        .max(1.0);
    let beside = columns >= NAME_COLUMNS + FIGURE_COLUMNS + LEAST_BAR;
    let indent = if beside { NAME_COLUMNS } else { NUMBER_COLUMNS };
    let bar = columns.saturating_sub(indent + FIGURE_COLUMNS).max(10);
    let _ = writeln!(out, "{:indent$}{}", "", axis(end_s, bar).trim_end());
    for lane in [Lane::Intracranial, Lane::Neck, Lane::Access, Lane::Table] {
        let rows: Vec<&ClockRow> = clock
            .activities
            .iter()
            .filter(|a| a.lane == lane && a.end_s > a.start_s)
            .collect();
        if rows.is_empty() {
            continue;
        }
        let _ = writeln!(out, " {}", lane.in_words());
        for row in rows {
            let number = row
                .step
                .map_or_else(|| "   ".to_owned(), |s| format!("{s:>2}."));
            let lead = format!("  {number} ");
            let lead = match beside {
                true => lead + &whole_words(&row.name, NAME_COLUMNS - NUMBER_COLUMNS - 1),
                false => {
                    wrapped(&mut out, &lead, &row.name, columns);
                    String::new()
                }
            };
            let _ = writeln!(
                out,
                "{lead:indent$}{}{:>6.1} +{:<4.1}{:>6.1}",
                drawn(row, end_s, bar),
                row.start_s / 60.0,
                (row.end_s - row.start_s) / 60.0,
                row.slack_s / 60.0
            );
        }
    }
    let _ = writeln!(
        out,
        "{:indent$}{:bar$}{:>6} {:<5}{:>6}",
        "", "", "start", "takes", "slack"
    );
    out
}

/// As many whole words as there is room for; what is left out is marked.
fn whole_words(text: &str, columns: usize) -> String {
    if text.chars().count() <= columns {
        return text.to_owned();
    }
    let mut kept = String::new();
    for word in text.split(' ') {
        if kept.chars().count() + word.chars().count() + 4 > columns {
            break;
        }
        if !kept.is_empty() {
            kept.push(' ');
        }
        kept.push_str(word);
    }
    kept + " ..."
}

/// A scale in whole minutes that leaves room for its figures.
fn axis(end_s: f64, columns: usize) -> String {
    let per_tick = tick_min(end_s, columns);
    let mut line = vec![' '; columns];
    // a tick takes a column at least: there are no more of them than columns
    for tick in 0..u32::try_from(columns).unwrap_or(u32::MAX) {
        let at_min = f64::from(tick) * per_tick;
        if 60.0 * at_min >= end_s {
            break;
        }
        let at = place(60.0 * at_min, end_s, columns);
        for (i, c) in format!("|{at_min:.0}").chars().enumerate() {
            if let Some(cell) = line.get_mut(at + i) {
                *cell = c;
            }
        }
    }
    line.into_iter().collect()
}

/// The first of 1, 2, 5, 10, 20, 50 … minutes that is wide enough for a figure.
fn tick_min(end_s: f64, columns: usize) -> f64 {
    const FIGURE: usize = 6;
    let mut decade = 1.0;
    // a number that is finite has no more decades
    for _ in 0..f64::MAX_10_EXP {
        for step in [1.0, 2.0, 5.0] {
            if place(60.0 * step * decade, end_s, columns) >= FIGURE {
                return step * decade;
            }
        }
        decade *= 10.0;
    }
    decade
}

fn drawn(row: &ClockRow, end_s: f64, columns: usize) -> String {
    let from = place(row.start_s, end_s, columns).min(columns - 1);
    let to = place(row.end_s, end_s, columns).clamp(from + 1, columns);
    let put_off = place(row.end_s + row.slack_s, end_s, columns).clamp(to, columns);
    let mark = if row.critical { '#' } else { '=' };
    (0..columns)
        .map(|i| {
            if (from..to).contains(&i) {
                mark
            } else if (to..put_off).contains(&i) {
                '.'
            } else {
                ' '
            }
        })
        .collect()
}

/// Column of a time.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a share of a terminal's width"
)]
fn place(at_s: f64, end_s: f64, columns: usize) -> usize {
    ((at_s / end_s).clamp(0.0, 1.0) * columns as f64).round() as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_a_scale_has_room_for_its_figures_however_long_it_is() {
        for end_s in [1.0, 90.0, 3600.0, 86_400.0, 1e9, 1e20, 1e300] {
            let scale = axis(end_s, 74);
            assert_eq!(scale.chars().count(), 74, "{end_s} s");
            let ticks = scale.matches('|').count();
            assert!((1..=12).contains(&ticks), "{end_s} s: {scale}");
        }
        assert!(axis(3600.0, 74).contains("|10"), "{}", axis(3600.0, 74));
    }
}
