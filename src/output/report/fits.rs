//! Who runs in what with how much room, and the exchanges.

use super::Sheet;
use super::text::{Kind, bare, fixed, place, unit};
use crate::device::Verdict;
use crate::procedure::Direction;
use crate::rehearsal::FitRow;
use maud::{Markup, html};

/// Every pair that meets, as a matrix: inside by row, around by column.
pub(super) fn matrix(sheet: &Sheet<'_>) -> Markup {
    let fits = &sheet.outcome().fits;
    let order = |name: &str| sheet.index(name).unwrap_or(usize::MAX);
    let mut around: Vec<&str> = fits.iter().map(|f| f.around.as_str()).collect();
    around.sort_by_key(|name| order(name));
    around.dedup();
    let mut inside: Vec<&[String]> = fits.iter().map(|f| f.inside.as_slice()).collect();
    inside.sort_by_key(|names| {
        let first: Vec<usize> = names.iter().map(|n| order(n)).collect();
        (names.len(), first)
    });
    inside.dedup();
    html! {
        div.scroll tabindex="0" role="region" aria-label="What runs in what" {
            table.matrix {
                caption { "Clearance in diameter, " (unit(Kind::Bore)) ", nominal; in brackets with every tolerance against it" }
                thead { tr {
                    th scope="col" { "inside ↓  in →" }
                    @for name in &around { th scope="col" { (sheet.key(name)) (name) } }
                } }
                tbody {
                    @for names in &inside {
                        tr {
                            th scope="row" { (names.join(" beside ")) }
                            @for outer in &around {
                                @let fit = fits.iter().find(|f| f.around == *outer && f.inside == *names);
                                @if let Some(fit) = fit { (cell(sheet, fit)) } @else { td.none { "·" } }
                            }
                        }
                    }
                }
            }
        }
        p.note { "Dots: never meet in this script. A name with “beside” lies next to another one in the same lumen." }
    }
}

fn cell(sheet: &Sheet<'_>, fit: &FitRow) -> Markup {
    let (class, word) = match fit.verdict {
        Verdict::Fits => ("good", "fits"),
        Verdict::Tight => ("weak", "tight"),
        Verdict::DoesNotFit => ("bad", "NO"),
    };
    html! {
        td class=(class) title=(fit.reason) {
            span.figure { b { (word) } " " (bare(fit.clearance_mm, Kind::Bore, 2)) " (" (bare(fit.worst_clearance_mm, Kind::Bore, 2)) ")" } " "
            span.small { (sheet.step_link(fit.step)) }
        }
    }
}

/// Every exchange with the rail it needs.
pub(super) fn exchanges(sheet: &Sheet<'_>) -> Markup {
    let rows = &sheet.outcome().exchanges;
    html! {
        @if !rows.is_empty() {
            h3 { "Exchanges" }
            div.scroll tabindex="0" role="region" aria-label="Exchanges" {
                table {
                    caption { "What goes on or off over which rail, lengths in " (unit(Kind::Way)) }
                    thead { tr {
                        th scope="col" { "step" } th scope="col" { "device" } th scope="col" { "over" } th scope="col" { "how" }
                        th.r scope="col" { "rail outside" } th.r scope="col" { "needed" } th.r scope="col" { "nobody holds it for" }
                        th scope="col" { "while the device's tip is" }
                    } }
                    tbody {
                        @for e in rows {
                            tr {
                                td { (sheet.step_link(e.step)) }
                                th scope="row" {
                                    (sheet.key(&e.device)) (e.device)
                                    @match e.direction { Direction::Loading => " on", Direction::Removal => " off" }
                                }
                                td { (e.rail) }
                                td { @if e.rapid { "rapid exchange" } @else { "whole length" } }
                                td.r { (bare(e.rail_outside_mm, Kind::Way, 0)) }
                                td.r { (bare(e.needed_mm, Kind::Way, 0)) }
                                td class=(if e.blind_mm > 0.0 { "r weak" } else { "r" }) {
                                    @if e.blind_mm > 0.0 { (bare(e.blind_mm, Kind::Way, 0)) } @else { "never" }
                                }
                                td { @if let Some(at) = &e.blind_where { (super::text::at(at)) } @else { "–" } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What each lesion was and what it leaves.
pub(super) fn lesions(sheet: &Sheet<'_>) -> Markup {
    let outcome = sheet.outcome();
    html! {
        div.scroll tabindex="0" role="region" aria-label="Lesions before and after" {
            table {
                caption { "Lesions before and after; everything after is an estimate" }
                thead { tr {
                    th scope="col" { "lesion" }
                    th.r scope="col" { "lumen before, " (unit(Kind::Bore)) } th.r scope="col" { "NASCET" } th.r scope="col" { "ECST" }
                    th.r scope="col" { "lumen after, " (unit(Kind::Bore)) } th.r scope="col" { "NASCET" } th.r scope="col" { "ECST" }
                    th.r scope="col" { "tips across" }
                } }
                tbody {
                    @for l in &outcome.lesions {
                        tr {
                            th scope="row" { (place(&l.name)) }
                            td.r { (bare(l.before_mm, Kind::Bore, 1)) }
                            td.r { (fixed(l.nascet_before_percent, 0)) " %" }
                            td.r { (fixed(l.ecst_before_percent, 0)) " %" }
                            td.r { (bare(l.after_mm, Kind::Bore, 1)) }
                            td.r { (fixed(l.nascet_after_percent, 0)) " %" }
                            td.r { (fixed(l.ecst_after_percent, 0)) " %" }
                            td.r { (l.crossings) }
                        }
                    }
                }
            }
        }
        @for stent in &outcome.stents {
            p {
                "The " (stent.name) " lies from " (super::text::at(&stent.proximal_at)) " to " (super::text::at(&stent.distal_at)) ", "
                (super::text::length(stent.length_mm, Kind::Way, 0)) " long ("
                (super::text::length(stent.free_length_mm, Kind::Way, 0)) " at rest)."
                @for cover in &stent.covers {
                    " It covers " (super::text::length(cover.below_mm, Kind::Way, 0)) " of wall below " (place(&cover.lesion)) " and "
                    (super::text::length(cover.above_mm, Kind::Way, 0)) " above it; alone it leaves "
                    (super::text::length(cover.stent_alone[0], Kind::Bore, 1)) " (NASCET " (fixed(cover.stent_alone[1], 0)) " %, estimate)."
                }
            }
        }
    }
}
