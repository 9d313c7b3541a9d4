//! The first page: what a team takes along, on one sheet of A4.

use super::Sheet;
use super::planes;
use super::text::{prose, sentence};
use super::verdict::{figures, sign};
use super::{nesting, svg::Figure};
use crate::procedure::Severity;
use crate::rehearsal::{Briefing, CAUTION, Outcome, WeakPoint};
use crate::stage::Stage;
use maud::{Markup, html};

/// The sheet. On a screen the strip is left out: the diagram further down shows every step.
pub(super) fn section(sheet: &Sheet<'_>, stage: Option<&Stage>) -> Markup {
    let outcome = sheet.outcome();
    let briefing = Briefing::of(sheet.plan, outcome);
    let planes = stage.and_then(|stage| planes::figure(sheet, stage));
    html! {
        (super::eyebrow("Rehearsal"))
        h1 { (outcome.scene) }
        p.about { (outcome.about) }
        p.about { "Vessel: " (outcome.vessel.name) }
        (verdict(outcome))
        div.pair {
            div { (weak_points(sheet, outcome)) }
            @if let Some(figure) = &planes { (drawn(figure)) }
        }
        (figures(sheet))
        div.paper { (drawn(&nesting::strip(sheet))) }
        div.pair.briefing {
            div {
                h2.small-head { "Moments to watch" }
                ol.moments {
                    @for moment in &briefing.moments {
                        li { (sheet.step_link(moment.step)) " " b { (moment.say) } ": " (prose(&moment.watch)) "." }
                    }
                }
            }
            div {
                h2.small-head { "Questions beforehand" }
                ul.moments { @for question in &briefing.questions { li { (prose(question)) } } }
            }
        }
        p.caution.paper { b { "Caution. " } (CAUTION) }
    }
}

fn drawn(figure: &Figure) -> Markup {
    html! { figure { h2.small-head { (figure.title) } (figure.inline()) } }
}

fn verdict(outcome: &Outcome) -> Markup {
    let (class, sign, word) = sign(outcome.verdict);
    html! {
        div class={ "verdict " (class) } {
            span.sign aria-hidden="true" { (sign) }
            div {
                p.word { (word) @if outcome.by_ruler { " (by ruler)" } }
                @for line in outcome.reasons() { p { (prose(line)) } }
                p.note { (outcome.rests_on()) }
            }
        }
    }
}

/// The costliest, in the words of the first screen of the text.
fn weak_points(sheet: &Sheet<'_>, outcome: &Outcome) -> Markup {
    let (title, points) = outcome.costliest();
    html! {
        @if !points.is_empty() {
            h2.small-head { (title) }
            ol.points { @for point in points { (weak_point(sheet, point)) } }
        }
    }
}

fn weak_point(sheet: &Sheet<'_>, point: &WeakPoint) -> Markup {
    let bad = point.severity == Severity::Failure;
    html! {
        li.bad[bad].weak[!bad] {
            p {
                b {
                    (sheet.step_link(point.step))
                    @if !point.also.is_empty() { " (also " @for (i, step) in point.also.iter().enumerate() { @if i > 0 { ", " } (step) } ")" }
                    ": "
                }
                @if bad { b { "fails. " } } (prose(&sentence(&point.text)))
            }
            @if let Some(help) = &point.help {
                p.help { b { "What would help: " } (prose(help)) "." }
            }
        }
    }
}
