//! The clock: lanes, milestones, where they land.

use super::Sheet;
use super::svg::{Figure, Scale, WIDTH, cut, num, ticks};
use super::text::{minutes, prose};
use crate::procedure::{Lane, Percentiles};
use crate::rehearsal::{ClockReport, ClockRow};
use maud::{Markup, html};

const LEFT: f64 = 312.0;
const RIGHT: f64 = 16.0;
const TOP: f64 = 24.0;
const ROW: f64 = 15.0;
const LANE: f64 = 20.0;

/// Lanes over time: what runs when, what decides the end, what may be put off.
pub(super) fn gantt(sheet: &Sheet<'_>) -> Figure {
    let clock = &sheet.rehearsed.clock;
    let end_s = clock.activities.iter().map(|a| a.end_s).fold(1.0, f64::max);
    let across = Scale::new((0.0, end_s / 60.0), (LEFT, WIDTH - RIGHT));
    let mut y = TOP;
    /// Rows with their heights.
    type Placed<'a> = Vec<(&'a ClockRow, f64)>;
    let mut lanes: Vec<(Lane, f64, Placed<'_>)> = Vec::new();
    for lane in [Lane::Intracranial, Lane::Neck, Lane::Access, Lane::Table] {
        let rows: Vec<&ClockRow> = clock
            .activities
            .iter()
            .filter(|a| a.lane == lane && a.end_s > a.start_s)
            .collect();
        if rows.is_empty() {
            continue;
        }
        let head = y;
        y += LANE;
        let placed = rows
            .into_iter()
            .map(|row| {
                y += ROW;
                (row, y - ROW)
            })
            .collect();
        lanes.push((lane, head, placed));
        y += 4.0;
    }
    let bottom = y;
    let body = html! {
        @for (k, (_, head, rows)) in lanes.iter().enumerate() {
            @if k % 2 == 0 {
                @let last = rows.last().map_or(*head, |r| r.1 + ROW);
                rect.row x="0" width=(num(WIDTH)) y=(num(*head)) height=(num(last - head + 2.0)) {}
            }
        }
        @for tick in ticks(0.0, end_s / 60.0, 10.0) {
            line.grid x1=(num(across.at(tick))) x2=(num(across.at(tick))) y1=(num(TOP)) y2=(num(bottom)) {}
            text.t.mid x=(num(across.at(tick))) y=(num(TOP - 7.0)) { (num(tick)) }
            text.t.mid x=(num(across.at(tick))) y=(num(bottom + 14.0)) { (num(tick)) }
        }
        @for (what, at_s) in marks(clock) {
            @let x = num(across.at(at_s / 60.0));
            line.limit x1=(x) x2=(x) y1=(num(TOP)) y2=(num(bottom)) {}
            text.badtext.end x=(num(across.at(at_s / 60.0) - 4.0)) y=(num(bottom + 29.0)) { (what) ", " (minutes(at_s)) " min" }
        }
        text.t.end x=(num(LEFT - 6.0)) y=(num(TOP - 7.0)) { "min from the puncture, every step at its mean" }
        @for (lane, head, rows) in &lanes {
            text.b x="6" y=(num(head + 14.0)) { (lane.in_words()) }
            @for (row, y) in rows { (bar(row, &across, *y)) }
        }
    };
    Figure {
        name: "clock".into(),
        title: "Who works when".into(),
        words: "Lanes for head, neck, access and back table over the minutes from the puncture. Filled bars decide when the brain is reperfused, open ones do not, dotted lines show how far something may be put off. The list of steps below gives the same in figures.".into(),
        size: (WIDTH, bottom + 36.0),
        body,
    }
}

fn marks(clock: &ClockReport) -> Vec<(&'static str, f64)> {
    let reperfusion = clock.expected.reperfusion_s.map(|s| ("reperfusion", s));
    reperfusion.into_iter().collect()
}

fn bar(row: &ClockRow, across: &Scale, y: f64) -> Markup {
    let (a, b) = (across.at(row.start_s / 60.0), across.at(row.end_s / 60.0));
    let slack = across.within((row.end_s + row.slack_s) / 60.0);
    let name = match row.step {
        Some(step) => format!("{step}. {}", row.name),
        None => row.name.clone(),
    };
    html! {
        g data-at=[row.step] {
            text.t x="14" y=(num(y + 11.0)) { (cut(&name, (LEFT - 22.0) * 1.12)) }
            @if slack > b + 1.0 {
                line.slack x1=(num(b)) x2=(num(slack)) y1=(num(y + 0.5 * ROW)) y2=(num(y + 0.5 * ROW)) {}
            }
            rect class=(if row.critical { "critical" } else { "free" }) x=(num(a)) width=(num((b - a).max(1.5))) y=(num(y + 2.5)) height=(num(ROW - 5.0)) {
                title {
                    (name) ": starts at " (minutes(row.start_s)) ", takes " (minutes(row.end_s - row.start_s)) ", may wait " (minutes(row.slack_s)) " min"
                }
            }
        }
    }
}

/// The milestones as ranges.
#[expect(clippy::cast_precision_loss, reason = "a handful of rows")]
pub(super) fn milestones(sheet: &Sheet<'_>) -> Figure {
    let clock = &sheet.rehearsed.clock;
    let rows: Vec<(String, f64, Option<Percentiles>)> = clock
        .milestones()
        .into_iter()
        .filter_map(|m| Some((m.what.to_owned(), m.mean_s?, m.spread)))
        .collect();
    let height = 26.0 * rows.len() as f64;
    Figure {
        name: "milestones".into(),
        title: "When things happen".into(),
        words: format!(
            "Ranges from the tenth to the ninetieth percentile of {} drawn courses, with median, and the course with every step at its mean.",
            clock.courses
        ),
        size: (WIDTH, 20.0 + height + 40.0),
        body: whiskers(&rows, 20.0),
    }
}

/// Ranges with median and mean, one row each.
#[expect(clippy::cast_precision_loss, reason = "a handful of rows")]
pub(super) fn whiskers(rows: &[(String, f64, Option<Percentiles>)], top: f64) -> Markup {
    const ROW: f64 = 26.0;
    let most_min = rows
        .iter()
        .map(|(_, mean, spread)| spread.map_or(*mean, |p| p.p90_s.max(*mean)))
        .fold(60.0, f64::max)
        / 60.0;
    let across = Scale::new((0.0, most_min * 1.02), (236.0, WIDTH - 150.0));
    let bottom = top + ROW * rows.len() as f64;
    html! {
        @for tick in ticks(0.0, most_min, 8.0) {
            line.grid x1=(num(across.at(tick))) x2=(num(across.at(tick))) y1=(num(top)) y2=(num(bottom)) {}
            text.t.mid x=(num(across.at(tick))) y=(num(bottom + 15.0)) { (num(tick)) }
        }
        text.t.mid x=(num(f64::midpoint(236.0, WIDTH - 150.0))) y=(num(bottom + 31.0)) { "min; line: 10 to 90 %, bar: median, ring: every step at its mean" }
        @for (k, (what, mean_s, spread)) in rows.iter().enumerate() {
            @let y = top + ROW * (k as f64 + 0.5);
            text x="4" y=(num(y + 4.0)) { (cut(what, 230.0)) }
            @if let Some(p) = spread {
                line.curve x1=(num(across.at(p.p10_s / 60.0))) x2=(num(across.at(p.p90_s / 60.0))) y1=(num(y)) y2=(num(y)) {}
                rect.critical x=(num(across.at(p.p50_s / 60.0) - 2.0)) width="4" y=(num(y - 7.0)) height="14" {}
                text.b x=(num(WIDTH - 142.0)) y=(num(y + 4.0)) { (minutes(p.p50_s)) }
                text.t x=(num(WIDTH - 104.0)) y=(num(y + 4.0)) { "(" (minutes(p.p10_s)) " to " (minutes(p.p90_s)) ")" }
            } @else {
                text.b x=(num(WIDTH - 142.0)) y=(num(y + 4.0)) { (minutes(*mean_s)) }
            }
            circle.free cx=(num(across.at(mean_s / 60.0))) cy=(num(y)) r="4" {}
        }
    }
}

/// What decides the end, and where the times land.
pub(super) fn words(sheet: &Sheet<'_>) -> Markup {
    let clock = &sheet.rehearsed.clock;
    html! {
        @if clock.other_order.saves_at_most_s < 1.0 {
            p { "No other order of these steps ends sooner." }
        } @else {
            p {
                "Another order of the same steps was found that saves " (minutes(clock.other_order.saves_s))
                " min of the total; none saves more than " (minutes(clock.other_order.saves_at_most_s)) " min."
            }
        }
        @if let Some(blood) = clock.blood_in_words() { p { (blood) } }
        div.scroll tabindex="0" role="region" aria-label="Where the times land" {
            table {
                caption { "Where the times land, min" }
                thead { tr {
                    th scope="col" { "what" } th.r scope="col" { "every step at its mean" } th.r scope="col" { "10 to 90 %" } th.r scope="col" { "with failed tries" } th scope="col" { "known from outside" } th scope="col" { "source" } th scope="col" { "kind" }
                } }
                tbody {
                    @for a in &clock.anchors {
                        tr {
                            th scope="row" { (a.what) }
                            td.r { (minutes(a.expected_s)) }
                            td.r.nowrap { @if let Some(p) = a.spread { (minutes(p.p10_s)) " to " (minutes(p.p90_s)) } @else { "–" } }
                            td.r.nowrap {
                                @if let (Some(mean_s), Some(p)) = (a.disturbed_s, a.disturbed) { (minutes(mean_s)) " (" (minutes(p.p10_s)) " to " (minutes(p.p90_s)) ")" } @else { "–" }
                            }
                            td { (a.known) }
                            td { (a.source) }
                            td { @if a.calibrated { "fitted to it: no validation" } @else { "comparison" } }
                        }
                    }
                }
            }
        }
        @if let Some(d) = &clock.disturbed {
            p.note { "With failed tries: " (super::text::fixed(d.passes_mean, 1)) " passes on average; means, and what eight courses in ten lie between." }
        }
        p.note { (prose(&clock.method)) " " (clock.courses) " courses, seed " (clock.seed) ". "
            @if clock.steps_with_force == 0 { "No force at any hub is in these times." } @else { "Forces at the hub are in the times of " (clock.steps_with_force) " steps." }
        }
    }
}
