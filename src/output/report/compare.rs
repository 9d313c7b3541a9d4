//! Plans side by side.

use super::clock::whiskers;
use super::svg::{Figure, Scale, WIDTH, cut, num, ticks};
use super::text::{prose, sentence};
use crate::output::compare::criteria;
use crate::rehearsal::{Changed, Comparison, Flip, Sooner};
use maud::{Markup, html};

/// Time to reperfusion of each plan that has one.
pub(super) fn times(comparison: &Comparison) -> Option<Figure> {
    let rows: Vec<_> = comparison
        .rows
        .iter()
        .filter_map(|r| {
            let mean_s = r.expected.reperfusion_s?;
            Some((r.name.clone(), mean_s, r.reperfusion))
        })
        .collect();
    #[expect(clippy::cast_precision_loss, reason = "a handful of rows")]
    let height = 26.0 * rows.len() as f64;
    (!rows.is_empty()).then(|| Figure {
        name: "strategy-times".into(),
        title: "Puncture to reperfusion, plan by plan".into(),
        words: "Ranges from the tenth to the ninetieth percentile with median, and the course with every step at its mean."
            .into(),
        size: (WIDTH, 14.0 + height + 40.0),
        body: whiskers(&rows, 14.0),
    })
}

/// Under what change which plan is sooner.
#[expect(clippy::cast_precision_loss, reason = "a handful of rows")]
pub(super) fn turning_points(comparison: &Comparison, changed: Changed) -> Option<Figure> {
    const ROW: f64 = 30.0;
    let flips: Vec<&Flip> = comparison
        .flips
        .iter()
        .filter(|f| f.changed == changed && !f.stretches.is_empty())
        .collect();
    let first = flips.first()?;
    let from = first.stretches.first()?.from;
    let to = first.stretches.last()?.to;
    let across = Scale::new((from, to), (300.0, WIDTH - 20.0));
    let top = 14.0;
    let bottom = top + ROW * flips.len() as f64;
    let (name, title, unit) = match changed {
        Changed::Dwell => (
            "turning-dwell",
            "Which plan is sooner, by how long the open retriever stays",
            "least time the open retriever stays, min",
        ),
        Changed::NeckWork => (
            "turning-neck",
            "Which plan is sooner, by how quick the work at the neck is",
            "time the work at the neck takes over what it takes now",
        ),
    };
    let body = html! {
        @for tick in ticks(from, to, 8.0) {
            line.grid x1=(num(across.at(tick))) x2=(num(across.at(tick))) y1=(num(top)) y2=(num(bottom)) {}
            text.t.mid x=(num(across.at(tick))) y=(num(bottom + 15.0)) { (num(tick)) }
        }
        @for (k, flip) in flips.iter().enumerate() {
            @let y = top + ROW * k as f64;
            text x="4" y=(num(y + 19.0)) { (cut(&format!("{} / {}", flip.first, flip.other), 292.0)) }
            @for stretch in &flip.stretches {
                @let (a, b) = (across.within(stretch.from), across.within(stretch.to));
                rect class=(match stretch.sooner { Sooner::First => "critical", Sooner::Equal => "ghost", Sooner::Other => "free" })
                    x=(num(a)) width=(num((b - a).max(0.5))) y=(num(y + 7.0)) height="16" {
                    title { (match stretch.sooner { Sooner::First => flip.first.as_str(), Sooner::Equal => "equal", Sooner::Other => flip.other.as_str() }) }
                }
            }
            @let x = across.within(flip.now);
            line.limit x1=(num(x)) x2=(num(x)) y1=(num(y + 3.0)) y2=(num(y + 27.0)) {}
        }
        text.t.mid x=(num(f64::midpoint(300.0, WIDTH))) y=(num(bottom + 31.0)) { (unit) }
        text.t x="4" y=(num(bottom + 31.0)) { "filled: the first is sooner, open: the other; red: now" }
    };
    Some(Figure {
        name: name.into(),
        title: title.into(),
        words: "One bar for each pair of plans over the range of values: filled where the first plan is sooner, open where the other is, dotted where both take equally long. The dashed line is the value now. The sentences beside it say the same.".into(),
        size: (WIDTH, bottom + 40.0),
        body,
    })
}

/// All figures of a comparison.
pub(super) fn figures(comparison: &Comparison) -> Vec<Figure> {
    let mut out: Vec<Figure> = times(comparison).into_iter().collect();
    for changed in [Changed::Dwell, Changed::NeckWork] {
        out.extend(turning_points(comparison, changed));
    }
    out
}

/// Everything about a comparison.
pub(super) fn section(comparison: &Comparison) -> Markup {
    html! {
        @if let Some(first) = comparison.rows.first() {
            @let (class, sign, _) = super::verdict::sign(first.verdict);
            div class={ "verdict " (class) } {
                span.sign aria-hidden="true" { (sign) }
                div {
                    p.word { "First: " (first.name) }
                    @if let Some(why) = comparison.why.first() { p { (prose(&sentence(why))) } }
                }
            }
        }
        ul { @for line in comparison.why.iter().skip(1) { li { (prose(&sentence(line))) } } }
        div.scroll tabindex="0" role="region" aria-label="Plans side by side" {
            table.compare {
                caption { "Side by side; times in min from the puncture, lengths in mm" }
                thead { tr {
                    th scope="col" { "" }
                    @for row in &comparison.rows { th scope="col" { (row.name) } }
                } }
                tbody {
                    @for (k, (name, cells)) in criteria(&comparison.rows).into_iter().enumerate() {
                        tr {
                            th scope="row" { (name.trim()) }
                            @for (row, cell) in comparison.rows.iter().zip(cells) {
                                @if k == 0 {
                                    td class=(super::verdict::sign(row.verdict).0) { b { (cell) } }
                                } @else { td { (cell) } }
                            }
                        }
                    }
                }
            }
        }
        p.note { (sentence(&comparison.order)) }
        h3 { "What series found" }
        ul { @for line in &comparison.series { li { (line) } } }
        @for figure in figures(comparison) {
            h3 { (figure.title) }
            (figure.inline())
        }
        h3 { "What would turn the order round" }
        ul { @for line in &comparison.flips_in_words { li { (prose(&sentence(line))) } } }
        h3 { "What each plan does" }
        dl { @for row in &comparison.rows {
            dt { (row.name) }
            dd {
                (row.about)
                @if let Some((step, text)) = &row.breaks_at { " " b { "Breaks at step " (step) ": " } (prose(&sentence(text))) }
                @for (step, text) in &row.undecided { " " b { "Undecided at step " (step) ": " } (prose(&sentence(text))) }
            }
        } }
        p.note {
            "Step times are spans for rehearsal, not measurements"
            @for known in &comparison.calibrated_to { "; calibrated to " (known.in_words()) }
            "."
        }
    }
}
