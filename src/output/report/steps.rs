//! The step bar and the list of all steps.

use super::Sheet;
use super::text::{at, minutes, prose, sentence};
use crate::procedure::Severity;
use crate::rehearsal::StepRow;
use maud::{Markup, html};

const fn word(severity: Option<Severity>) -> (&'static str, &'static str) {
    match severity {
        Some(Severity::Failure) => ("bad", "FAILS"),
        Some(Severity::Undecided) => ("weak", "NOT KNOWN"),
        Some(Severity::Warning) => ("weak", "weak"),
        _ => ("good", "ok"),
    }
}

/// Slider, buttons and what the step is; it stays in sight.
pub(super) fn bar(sheet: &Sheet<'_>) -> Markup {
    let steps = &sheet.outcome().steps;
    html! {
        div.stepbar role="group" aria-label="Step shown in all pictures" {
            div.controls {
                button #prev type="button" aria-label="Step back" { "◀" }
                button #play type="button" aria-label="Play the steps" aria-pressed="false" { "▶▶" }
                button #next type="button" aria-label="Step on" { "▶" }
                input #slider type="range" min="1" max=(steps.len()) value=(sheet.first_step) aria-label="Step" aria-describedby="now" {}
            }
            p #now aria-live="polite" {
                @for step in steps {
                    span class=(sheet.step_class(step.number)) data-step=(step.number) {
                        @let (class, word) = word(step.worst());
                        b { (step.number) " of " (steps.len()) } " " (step.say) " " span class={ "tag " (class) } { (word) }
                    }
                }
            }
        }
    }
}

/// What the chosen step is told.
pub(super) fn findings(sheet: &Sheet<'_>) -> Markup {
    html! {
        div.findings {
            @for step in &sheet.outcome().steps {
                div class=(sheet.step_class(step.number)) data-step=(step.number) {
                    @if !step.findings.is_empty() { (told(step)) }
                }
            }
        }
    }
}

fn told(step: &StepRow) -> Markup {
    html! {
        ul.told {
            @for finding in &step.findings {
                @let (class, word) = match finding.severity {
                    Severity::Failure => ("bad", "FAILS"),
                    Severity::Undecided => ("weak", "NOT KNOWN"),
                    Severity::Warning => ("weak", "weak"),
                    Severity::Note => ("note", "note"),
                };
                li {
                    span class={ "tag " (class) } { (word) } " "
                    (prose(&sentence(&finding.text)))
                    @if let Some(help) = &finding.help { " " b { "What would help: " } (prose(help)) "." }
                }
            }
        }
    }
}

/// Every step with everything it is told.
pub(super) fn table(sheet: &Sheet<'_>) -> Markup {
    let clock = &sheet.rehearsed.clock;
    html! {
        div.scroll tabindex="0" role="region" aria-label="All steps" {
            table.steps {
                caption.hidden { "All steps" }
                thead { tr { th scope="col" { "step" } th scope="col" { "state" } th scope="col" { "what is done, what is told" } th.r scope="col" { "starts, min" } th.r scope="col" { "takes, min" } th scope="col" { "moved to" } } }
                tbody {
                    @for step in &sheet.outcome().steps {
                        @let (class, word) = word(step.worst());
                        @let timed = clock.activities.iter().find(|a| a.step == Some(step.number));
                        tr {
                            td { (sheet.step_link(step.number)) }
                            td { span class={ "tag " (class) } { (word) } }
                            td {
                                (step.say)
                                @if !step.performed { b { " (not done)" } }
                                @if !step.findings.is_empty() { (told(step)) }
                            }
                            td.r { @if let Some(a) = timed { (minutes(a.start_s)) } }
                            td.r { @if let Some(a) = timed { (minutes(a.end_s - a.start_s)) } }
                            td {
                                @for (i, d) in step.devices.iter().filter(|d| d.moved).enumerate() {
                                    @if i > 0 { "; " }
                                    (d.name) " " (at(&d.tip_at))
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
