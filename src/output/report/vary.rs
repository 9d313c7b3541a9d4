//! The page of a plan on many patients: how often it fails and by what, how numbers are distributed, what matters most.

use super::svg::{Figure, Scale, WIDTH, cut, num, ticks};
use super::text::prose;
use super::{Plot, eyebrow, page, plots_of, shown};
use crate::output::vary_text::title;
use crate::rehearsal::vary::{Distribution, LevelRow, Matters, Vary};
use maud::{Markup, html};

const LEFT: f64 = 300.0;
const ROW: f64 = 24.0;
const TOP: f64 = 14.0;

/// The page.
#[must_use]
pub fn vary_html(vary: &Vary) -> String {
    let body = html! {
        section #verdict {
            (eyebrow("Population"))
            h1 { (vary.scene) }
            p.about { "Vessel: " (vary.vessel) }
            p.about { (vary.cases) " cases, seed " (vary.seed) @if vary.by_ruler { ", by ruler" } }
            @if let Some(line) = vary.headline() { p { b { (prose(&line)) } } }
        }
        section #fails aria-labelledby="h-fails" {
            h2 #h-fails { "How often, and by what" }
            (shown(&failures(vary)))
            (failure_table(vary))
        }
        section #numbers aria-labelledby="h-numbers" {
            h2 #h-numbers { "How numbers are distributed" }
            @for figure in distributions(vary) { (shown(&figure)) }
        }
        section #matters aria-labelledby="h-matters" {
            h2 #h-matters { "What matters most" }
            @for matters in &vary.matters {
                @match importance(matters) {
                    Some(figure) => (shown(&figure)),
                    None => p { (title(matters)) ": it never varies, or there are too few cases." },
                }
            }
            p.note { "Filled: the share of the variance that a group causes with all others; open: by itself alone. Lines: 95 of 100. A share whose line is longer than 0.1 is not resolved: more cases would tell." }
        }
        section #drawn aria-labelledby="h-drawn" {
            h2 #h-drawn { "What was drawn" }
            div.scroll tabindex="0" role="region" aria-label="What was drawn" {
                table {
                    thead { tr { th scope="col" { "number" } th scope="col" { "counts in" } th.r scope="col" { "reckoned with" } th.r scope="col" { "±" } } }
                    tbody {
                        @for input in &vary.inputs {
                            tr { th scope="row" { (input.field) } td { (input.group.in_words()) } td.r { (num(input.usual)) } td.r { (num(input.spread)) } }
                        }
                    }
                }
            }
            p.note { (prose(&vary.method)) }
        }
    };
    let contents = [
        ("verdict", "Verdict"),
        ("fails", "How often"),
        ("numbers", "Numbers"),
        ("matters", "What matters"),
        ("drawn", "What was drawn"),
    ];
    page(&vary.scene, &[], &contents, &body)
}

/// The plots of it.
#[must_use]
pub fn vary_plots(vary: &Vary) -> Vec<Plot> {
    let mut figures = vec![failures(vary)];
    figures.extend(distributions(vary));
    figures.extend(vary.matters.iter().filter_map(importance));
    plots_of(&figures, &[])
}

fn failure_table(vary: &Vary) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="How often the plan fails" {
            table {
                thead { tr { th scope="col" { "" } @for level in &vary.levels { th scope="col" { (level.materials_in_words()) } } } }
                tbody {
                    tr { th scope="row" { "passes" } @for level in &vary.levels { td { (level.passes.in_words()) } } }
                    tr { th scope="row" { "fails" } @for level in &vary.levels { td { (level.fails.in_words()) } } }
                    tr { th scope="row" { "undecided" } @for level in &vary.levels { td { (level.undecided.in_words()) } } }
                    @if let Some(first) = vary.levels.first() {
                        @for (i, row) in first.breaks.iter().enumerate() {
                            tr {
                                th scope="row" { (row.what.in_words()) }
                                @for level in &vary.levels { td { @if let Some(row) = level.breaks.get(i) { (row.share.in_words()) } } }
                            }
                        }
                    }
                    tr { th scope="row" { "draws of which nobody can be built" } @for level in &vary.levels { td { (level.nobody) } } }
                }
            }
        }
    }
}

/// Height of so many rows.
fn rows_high(rows: usize) -> f64 {
    f64::from(u32::try_from(rows).unwrap_or(0)) * ROW
}

/// A bar with its interval at a row, from nought to one.
fn bar(row: usize, across: &Scale, class: &str, [value, from, to]: [f64; 3]) -> Markup {
    let y = TOP + rows_high(row);
    let at = |share: f64| across.within(share.clamp(0.0, 1.0));
    html! {
        rect class=(class) x=(num(at(0.0))) width=(num((at(value) - at(0.0)).max(0.5))) y=(num(y + 5.0)) height="13" {}
        line.limit x1=(num(at(from))) x2=(num(at(to))) y1=(num(y + 11.5)) y2=(num(y + 11.5)) {}
    }
}

/// The axis of shares.
fn share_axis(across: &Scale, bottom: f64, unit: &str) -> Markup {
    html! {
        @for tick in ticks(0.0, 1.0, 5.0) {
            line.grid x1=(num(across.at(tick))) x2=(num(across.at(tick))) y1=(num(TOP)) y2=(num(bottom)) {}
            text.t.mid x=(num(across.at(tick))) y=(num(bottom + 15.0)) { (num(tick)) }
        }
        text.t.mid x=(num(f64::midpoint(LEFT, WIDTH))) y=(num(bottom + 31.0)) { (unit) }
    }
}

/// How often the plan fails, and by what, with materials as usual and at their ends.
fn failures(vary: &Vary) -> Figure {
    let across = Scale::new((0.0, 1.0), (LEFT, WIDTH - 20.0));
    let seen = |what: usize| {
        let rows = vary
            .levels
            .iter()
            .filter_map(|level| level.breaks.get(what));
        rows.into_iter().any(|row| row.share.count > 0)
    };
    let mut lines: Vec<(String, [f64; 3], &str)> = Vec::new();
    for level in &vary.levels {
        let class = if level.level == "usual" {
            "critical"
        } else {
            "free"
        };
        let share = [level.fails.share, level.fails.from, level.fails.to];
        lines.push((format!("fails, {}", level.level), share, class));
    }
    for what in (0..6).filter(|what| seen(*what)) {
        for level in &vary.levels {
            let Some(row) = level.breaks.get(what) else {
                continue;
            };
            let class = if level.level == "usual" {
                "critical"
            } else {
                "free"
            };
            let name = format!("{}, {}", row.what.in_words(), level.level);
            lines.push((name, [row.share.share, row.share.from, row.share.to], class));
        }
    }
    let bottom = TOP + rows_high(lines.len());
    let body = html! {
        (share_axis(&across, bottom, "share of patients"))
        @for (i, (name, share, class)) in lines.iter().enumerate() {
            text x="4" y=(num(TOP + rows_high(i) + 16.0)) { (cut(name, LEFT - 10.0)) }
            (bar(i, &across, class, *share))
        }
    };
    Figure {
        name: "vary-failures".into(),
        title: "How often the plan fails, and by what".into(),
        words: "One bar for each cause and each choice of materials, with the interval that holds 95 of 100. The table below says the same.".into(),
        size: (WIDTH, bottom + 40.0),
        body,
    }
}

/// Shares of a result's variance, group by group.
fn importance(matters: &Matters) -> Option<Figure> {
    (!matters.groups.is_empty()).then(|| {
        let across = Scale::new((0.0, 1.0), (LEFT, WIDTH - 20.0));
        let bottom = TOP + 2.0 * rows_high(matters.groups.len());
        let body = html! {
            (share_axis(&across, bottom, "share of the variance"))
            @for (i, group) in matters.groups.iter().enumerate() {
                text x="4" y=(num(TOP + rows_high(2 * i) + 16.0)) { (cut(group.group_in_words(), LEFT - 10.0)) }
                (bar(2 * i, &across, "critical", [group.total.value, group.total.from, group.total.to]))
                text.t x="14" y=(num(TOP + rows_high(2 * i + 1) + 16.0)) { "by itself" @if !group.total.resolved { " (not resolved)" } }
                (bar(2 * i + 1, &across, "free", [group.first.value, group.first.from, group.first.to]))
            }
        };
        Figure {
            name: format!("vary-matters-{}", matters.result.replace('_', "-")),
            title: title(matters),
            words: "Two bars for each group of inputs: the share of the variance it causes with all others, and by itself, each with the interval that holds 95 of 100.".into(),
            size: (WIDTH, bottom + 40.0),
            body,
        }
    })
}

/// A number of a level, with its name, its factor and its unit.
type Told = (
    &'static str,
    &'static str,
    f64,
    fn(&LevelRow) -> Option<&Distribution>,
);

fn distributions(vary: &Vary) -> Vec<Figure> {
    const TOLD: [Told; 4] = [
        ("vary-spare", "To spare, mm", 1.0, |l| l.spare_mm.as_ref()),
        ("vary-force", "Largest force at a hub, N", 1.0, |l| {
            l.hub_force_n.as_ref()
        }),
        (
            "vary-catch",
            "Likeliest catch at a stent's edge, share of samples",
            1.0,
            |l| l.catch_share.as_ref(),
        ),
        (
            "vary-reperfusion",
            "Puncture to reperfusion, min",
            1.0 / 60.0,
            |l| l.reperfusion_s.as_ref(),
        ),
    ];
    let found = TOLD.into_iter().filter_map(|(name, title, times, of)| {
        let found: Vec<(&str, &Distribution)> = vary
            .levels
            .iter()
            .filter_map(|level| Some((level.level.as_str(), of(level)?)))
            .collect();
        histogram(name, title, times, &found)
    });
    found.collect()
}

/// Bars of a number as usual; below them where it lies at the ends of the materials.
fn histogram(
    name: &str,
    title: &str,
    times: f64,
    found: &[(&str, &Distribution)],
) -> Option<Figure> {
    const HIGH: f64 = 120.0;
    let (_, usual) = found.iter().find(|(level, _)| *level == "usual")?;
    let low = found.iter().map(|(_, d)| times * d.range[0]);
    let high = found.iter().map(|(_, d)| times * d.range[1]);
    let (low, high) = (
        low.fold(f64::INFINITY, f64::min),
        high.fold(f64::NEG_INFINITY, f64::max),
    );
    if high - low <= 0.0 {
        return None;
    }
    let across = Scale::new((low, high), (LEFT, WIDTH - 20.0));
    let whole = |n: usize| f64::from(u32::try_from(n).unwrap_or(u32::MAX));
    let most = usual.bars.iter().copied().max().map_or(1.0, whole).max(1.0);
    let width = times * (usual.range[1] - usual.range[0]) / whole(usual.bars.len());
    let bottom = TOP + HIGH + rows_high(found.len());
    let body = html! {
        @for tick in ticks(low, high, 7.0) {
            line.grid x1=(num(across.at(tick))) x2=(num(across.at(tick))) y1=(num(TOP)) y2=(num(bottom)) {}
            text.t.mid x=(num(across.at(tick))) y=(num(bottom + 15.0)) { (num(tick)) }
        }
        text x="4" y=(num(TOP + 0.5 * HIGH)) { "cases, usual materials" }
        @for (i, count) in usual.bars.iter().enumerate() {
            @let from = times * usual.range[0] + width * whole(i);
            @let tall = HIGH * whole(*count) / most;
            rect.free x=(num(across.at(from))) width=(num((across.at(from + width) - across.at(from) - 1.0).max(0.5))) y=(num(TOP + HIGH - tall)) height=(num(tall)) {}
        }
        @for (i, (level, d)) in found.iter().enumerate() {
            @let y = TOP + HIGH + rows_high(i) + 12.0;
            text x="4" y=(num(y + 4.0)) { (level) ": 5 to 95 of 100, half" }
            line.limit x1=(num(across.at(times * d.p5))) x2=(num(across.at(times * d.p95))) y1=(num(y)) y2=(num(y)) {}
            rect.critical x=(num(across.at(times * d.p25))) width=(num((across.at(times * d.p75) - across.at(times * d.p25)).max(0.5))) y=(num(y - 5.0)) height="10" {}
        }
    };
    Some(Figure {
        name: name.into(),
        title: title.into(),
        words: "Bars: cases with usual materials. Below, for each choice of materials, the middle half as a bar and 5 to 95 of 100 as a line.".into(),
        size: (WIDTH, bottom + 24.0),
        body,
    })
}
