//! How sure the margins are: spreads, causes, what a measurement would leave.

use super::Sheet;
use super::text::{Kind, bare, prose, unit};
use maud::{Markup, html};

/// Every margin with its spread, and what moves the least of them.
pub(super) fn section(sheet: &Sheet<'_>) -> Markup {
    let sure = &sheet.outcome().sure;
    html! {
        p.note { "± one standard deviation. Chances are those of lengths alone: of patients like those that published lengths were measured in, of readings, of devices; from–to is what mean and spread of so many people are known to (95 of 100). Vessels do not move here; stiffness and friction, known to a factor of about three, change lengths by millimetres and are not in these figures." }
        div.scroll tabindex="0" role="region" aria-label="How sure the margins are" {
            table {
                thead { tr {
                    th scope="col" { "margin" } th.r scope="col" { "to spare, " (unit(Kind::Way)) } th.r scope="col" { "±, " (unit(Kind::Way)) }
                    th.r scope="col" { "short in" } th scope="col" { "most of it by" } th scope="col" { "step" }
                } }
                tbody {
                    @for margin in &sure.margins {
                        tr {
                            th scope="row" { (margin.called()) }
                            td.r { (bare(margin.margin_mm, Kind::Way, 0)) }
                            td.r { (bare(margin.spread_mm, Kind::Way, 0)) }
                            td.r { (margin.short.range_in_words()) }
                            td { @if let Some(cause) = margin.causes.first() { (prose(&cause.what)) } }
                            td { (sheet.step_link(margin.step)) }
                        }
                    }
                }
            }
        }
        @if let Some(short) = sure.short {
            p { b { "Any of them short: " } (short.in_words()) "." }
            ul { @for cause in &sure.causes { li { (prose(&cause.in_words(&short))) } } }
        }
    }
}
