//! Who holds the way across lesion and clot, step by step.

use super::Sheet;
use super::svg::{Figure, Scale, WIDTH, cut, num, staying, step_axis};
use super::text::place;
use crate::procedure::Protection;
use maud::{Markup, html};

const LEFT: f64 = 124.0;
const TOP: f64 = 8.0;
const ROW: f64 = 17.0;
const HEAD: f64 = 20.0;

/// One block for each obstacle, one line for each device that ever holds the way across it.
#[expect(clippy::cast_precision_loss, reason = "a script has some dozen steps")]
pub(super) fn figure(sheet: &Sheet<'_>) -> Figure {
    let ledger = &sheet.rehearsed.ledger;
    let steps = ledger.rows.len().max(2);
    let across = Scale::new((1.0, steps as f64), (LEFT + 8.0, WIDTH - 14.0));
    let half = 0.5 * (across.at(2.0) - across.at(1.0));
    let mut y = TOP;
    let blocks: Vec<_> = ledger
        .crossings
        .iter()
        .enumerate()
        .map(|(k, crossing)| {
            let holders: Vec<usize> = (0..sheet.plan.devices.len())
                .filter(|i| {
                    let name = &sheet.plan.devices[*i].name;
                    let mut holds = ledger.rows.iter().filter_map(|r| r.holds.get(k));
                    holds.any(|h| h.held_by.contains(name))
                })
                .collect();
            let head = y;
            y += HEAD + ROW * holders.len().max(1) as f64 + 8.0;
            (k, crossing, holders, head)
        })
        .collect();
    let bottom = y;
    let grounds = |width: f64| {
        html! {
            @for (_, _, holders, head) in &blocks {
                rect.row x="0" width=(num(width)) y=(num(*head)) height=(num(HEAD + ROW * holders.len().max(1) as f64)) {}
            }
        }
    };
    let names = html! {
        (grounds(LEFT - 4.0))
        @for (_, crossing, holders, head) in &blocks {
            text.b x="6" y=(num(head + 14.0)) { (cut(&place(&crossing.across), LEFT - 8.0)) }
            @for (line, i) in holders.iter().enumerate() {
                @let y = head + HEAD + ROW * line as f64;
                text.t x="16" y=(num(y + 12.0)) { (cut(&sheet.plan.devices[*i].name, LEFT - 20.0)) }
            }
        }
    };
    let body = html! {
        (grounds(WIDTH))
        (step_axis(&across, steps, TOP, bottom))
        text.t.mid x=(num(f64::midpoint(LEFT, WIDTH))) y=(num(bottom + 31.0)) { "step" }
        @for (k, _, holders, head) in &blocks {
            @for (line, i) in holders.iter().enumerate() {
                @let y = head + HEAD + ROW * line as f64;
                @let name = &sheet.plan.devices[*i].name;
                @for (step, row) in ledger.rows.iter().enumerate() {
                    @if let Some(hold) = row.holds.get(*k).filter(|h| h.held_by.contains(name)) {
                        rect class={ "d" (i) @if !hold.true_lumen { " out s" (i) } } x=(num(across.at(step as f64 + 1.0) - half)) width=(num(2.0 * half)) y=(num(y + 3.0)) height=(num(ROW - 5.0)) {}
                    }
                }
            }
            @for (step, row) in ledger.rows.iter().enumerate() {
                @if row.holds.get(*k).is_some_and(|h| h.let_go) {
                    @let x = across.at(step as f64 + 1.0);
                    path.leader d={ "M" (num(x - 4.0)) " " (num(head + 5.0)) "l8 8m0 -8l-8 8" } {}
                }
            }
        }
        (staying(LEFT - 4.0, TOP, bottom, &names))
    };
    Figure {
        name: "access".into(),
        title: "Who holds the way in the true lumen".into(),
        words: "For lesion and clot, the devices whose ends lie beyond it, step by step. Crosses: nothing holds the way any more. Pale: held, but the true lumen is not shown.".into(),
        size: (WIDTH, bottom + 38.0),
        body,
    }
}

/// Crossings and protection in words.
pub(super) fn words(sheet: &Sheet<'_>) -> Markup {
    let ledger = &sheet.rehearsed.ledger;
    html! {
        ul {
            @for c in &ledger.crossings {
                li {
                    b { (place(&c.across)) } ": " (c.tips) @if c.tips == 1 { " tip goes" } @else { " tips go" } " across, " (c.unled) " of them where nothing lay across before; the way is "
                    @if c.let_go_at.is_empty() { "never given up while there is work left." } @else {
                        "given up with work left at "
                        @for (i, step) in c.let_go_at.iter().enumerate() { @if i > 0 { ", " } (sheet.step_link(*step)) }
                        "."
                    }
                }
            }
            @for work in &ledger.neck_work {
                li {
                    (sheet.step_link(work.step)) " works on the neck; against what comes loose: "
                    @let what = against(work);
                    @if what.is_empty() { b { "nothing" } } @else { (what.join("; ")) }
                    "."
                }
            }
        }
        p.note { "Crosses: nothing holds the way any more. A way that is given up once the work is done is no weak point." }
    }
}

/// What keeps from the brain what comes loose at the neck.
fn against(work: &Protection) -> Vec<String> {
    let named = |words: &str, names: &[String], after: &str| {
        (!names.is_empty()).then(|| format!("{words}{}{after}", names.join(", ")))
    };
    [
        named("suction on the ", &work.suction, ""),
        named("flow stopped by the ", &work.flow_stopped_by, ""),
        named("the open ", &work.open_above, " above"),
    ]
    .into_iter()
    .flatten()
    .collect()
}
