//! The stent's edges close up: cross-section to scale, gap of the rim by angle, who meets it.

use super::Sheet;
use super::svg::{Figure, Scale, WIDTH, num, points, ticks};
use super::text::{Kind, at, bare, fixed, length, percent, prose, unit};
use crate::math;
use crate::procedure::{EdgeKind, Likelihood, Meets};
use crate::rehearsal::{EDGE_CAUTION, EdgeRow};
use maud::{Markup, html};
use std::f64::consts::TAU;

/// Crossings drawn close up: the worst ones.
const DRAWN: usize = 3;
/// Radius of the drawn vessel.
const DRAWN_RADIUS: f64 = 118.0;
const CENTRE: (f64, f64) = (190.0, 168.0);
/// Corners of a drawn circle.
const CORNERS: u32 = 96;

/// The crossings worth a look, the worst first: one for each device and edge.
pub(super) fn chosen<'a>(sheet: &'a Sheet<'_>) -> Vec<&'a EdgeRow> {
    let mut rows: Vec<&EdgeRow> = sheet.outcome().edges.iter().collect();
    // an open retriever that only a catheter keeps from the edge is what the plan stands or falls with
    let weight = |row: &EdgeRow| {
        let struts = row.meets == Meets::Struts;
        row.probability
            .max(if struts { row.probability_bare } else { 0.0 })
    };
    rows.sort_by(|a, b| weight(b).total_cmp(&weight(a)).then(a.step.cmp(&b.step)));
    let mut out: Vec<&EdgeRow> = Vec::new();
    for row in rows {
        let same =
            |o: &&EdgeRow| o.device == row.device && o.edge == row.edge && o.stent == row.stent;
        if !out.iter().any(same) {
            out.push(row);
        }
    }
    out.truncate(DRAWN);
    out
}

/// Radius of the vessel at the edge, mm.
fn wall_radius_mm(sheet: &Sheet<'_>, row: &EdgeRow) -> f64 {
    let stent = sheet.outcome().stents.iter().find(|s| s.name == row.stent);
    let end = stent.and_then(|s| match row.edge {
        EdgeKind::Upper => s.profile.first(),
        EdgeKind::Lower => s.profile.last(),
        EdgeKind::Cells => s.profile.iter().min_by(|a, b| {
            (a[0] - row.station_mm)
                .abs()
                .total_cmp(&(b[0] - row.station_mm).abs())
        }),
    });
    end.map_or_else(
        || sheet.plan.track.radius_at(row.station_mm),
        |[_, _, wall_mm]| 0.5 * wall_mm,
    )
    .max(row.room_mm + 0.05)
}

/// Gap of the rim at an angle, linear between the twelve directions.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a place among a dozen directions"
)]
fn gap_at(row: &EdgeRow, angle_rad: f64) -> f64 {
    let gaps = &row.rim_gaps_mm;
    if gaps.is_empty() {
        return row.rim_gap_mm;
    }
    let at = (angle_rad / TAU).rem_euclid(1.0) * gaps.len() as f64;
    let (i, share) = (at.floor() as usize % gaps.len(), at.fract());
    gaps[i] * (1.0 - share) + gaps[(i + 1) % gaps.len()] * share
}

/// What a crossing is, in a few words.
pub(super) fn name_of(row: &EdgeRow) -> String {
    let way = if row.forward { "up past" } else { "back past" };
    let open = if row.meets == Meets::Struts {
        "open "
    } else {
        ""
    };
    let over = row
        .riding_on
        .as_ref()
        .map_or_else(String::new, |rail| format!(" over the {rail}"));
    format!(
        "Step {}: the {open}{}{over} {way} the {} of the {}",
        row.step,
        row.device,
        row.edge.in_words(),
        row.stent
    )
}

/// Cross-section and unrolled rim of one crossing.
pub(super) fn figure(sheet: &Sheet<'_>, row: &EdgeRow, number: usize) -> Figure {
    let wall_mm = wall_radius_mm(sheet, row);
    let scale = DRAWN_RADIUS / wall_mm;
    let outer_mm = wall_mm - row.room_mm;
    let (x, y) = (row.offset_mm[0], row.offset_mm[1]);
    let body = html! {
        (section(sheet, row, wall_mm, outer_mm, scale))
        (unrolled(row, outer_mm, math::atan2(y, x)))
    };
    Figure {
        name: format!("edge-{number}"),
        title: name_of(row),
        words: format!(
            "Cross-section of the vessel at the edge, to scale: wall of {:.1} mm across, rim of the stent with its gap of at most {:.2} mm, the device {:.1} mm across lying {:.1} mm off the middle. Beside it the gap of the rim by angle. Clearance {} mm.",
            2.0 * wall_mm,
            row.rim_gap_mm,
            2.0 * outer_mm,
            math::hypot(x, y),
            signed(row.clearance_mm)
        ),
        size: (WIDTH, 330.0),
        body,
    }
}

fn ring(radius: impl Fn(f64) -> f64) -> String {
    let corners = (0..CORNERS).map(|i| TAU * f64::from(i) / f64::from(CORNERS));
    points(corners.map(|a| {
        (
            CENTRE.0 + radius(a) * math::cos(a),
            CENTRE.1 - radius(a) * math::sin(a),
        )
    }))
}

fn section(sheet: &Sheet<'_>, row: &EdgeRow, wall_mm: f64, outer_mm: f64, scale: f64) -> Markup {
    let i = sheet.index(&row.device).unwrap_or(0);
    let strut_mm = row.strut_mm;
    let (dx, dy) = (row.offset_mm[0] * scale, -row.offset_mm[1] * scale);
    let at = (CENTRE.0 + dx, CENTRE.1 + dy);
    let towards = math::atan2(row.offset_mm[1], row.offset_mm[0]);
    let reach = |r: f64| {
        (
            CENTRE.0 + r * math::cos(towards),
            CENTRE.1 - r * math::sin(towards),
        )
    };
    let device_edge = (
        at.0 + outer_mm * scale * math::cos(towards),
        at.1 - outer_mm * scale * math::sin(towards),
    );
    let label = reach(DRAWN_RADIUS + 22.0);
    let beside = math::cos(towards).abs() > 0.5;
    let cover = row.covered_by.as_ref().and_then(|name| {
        let cover = &sheet.plan.devices[sheet.index(name)?].device;
        Some((name, 0.5 * cover.section_at(0.0).outer_mm * scale))
    });
    html! {
        circle.wall cx=(num(CENTRE.0)) cy=(num(CENTRE.1)) r=(num(DRAWN_RADIUS + 9.0)) {}
        circle.lumen cx=(num(CENTRE.0)) cy=(num(CENTRE.1)) r=(num(DRAWN_RADIUS)) {}
        // between wall and rim
        polygon.gap points=(ring(|_| DRAWN_RADIUS)) {}
        polygon.lumen points=(ring(|a| (wall_mm - gap_at(row, a)) * scale)) {}
        polygon.rim points=(ring(|a| (wall_mm - gap_at(row, a)) * scale)) {}
        polygon.lumen points=(ring(|a| (wall_mm - gap_at(row, a) - strut_mm) * scale)) {}
        @if let Some((name, radius)) = cover {
            circle.guidering cx=(num(at.0)) cy=(num(at.1)) r=(num(radius)) {
                title { "the " (name) " around it" }
            }
        }
        circle class={ "bare d" (i) } fill-opacity="0.8" cx=(num(at.0)) cy=(num(at.1)) r=(num(outer_mm * scale)) {}
        @if row.step_mm > 0.02 && row.step_mm < outer_mm {
            circle.carrier cx=(num(at.0)) cy=(num(at.1)) r=(num((outer_mm - row.step_mm) * scale)) {}
        }
        circle.tip cx=(num(device_edge.0)) cy=(num(device_edge.1)) r="3" {}
        line.leader x1=(num(device_edge.0)) y1=(num(device_edge.1)) x2=(num(label.0)) y2=(num(label.1)) {}
        text.b.mid[!beside] x=(num(if beside && math::cos(towards) < 0.0 { 2.0 } else { label.0 + if beside { 3.0 } else { 0.0 } }))
            y=(num(label.1 + if beside { -6.0 } else if math::sin(towards) < 0.0 { 14.0 } else { -2.0 })) data-mm=(num(row.clearance_mm)) data-kind="d" data-sign="1" {
            (signed(row.clearance_mm)) " mm"
        }
        // scale bar
        line.leader x1="20" x2=(num(20.0 + scale)) y1="318" y2="318" {}
        line.leader x1="20" x2="20" y1="314" y2="322" {}
        line.leader x1=(num(20.0 + scale)) x2=(num(20.0 + scale)) y1="314" y2="322" {}
        text.t x=(num(26.0 + scale)) y="322" data-mm="1" data-kind="d" { "1 mm" }
    }
}

/// The rim's gap and struts by angle, the device's side marked.
fn unrolled(row: &EdgeRow, outer_mm: f64, towards: f64) -> Markup {
    let (left, right, top, bottom) = (420.0, WIDTH - 30.0, 44.0, 238.0);
    let across = Scale::new((0.0, 360.0), (left, right));
    let most_mm = 1.25
        * (row.rim_gap_mm + row.strut_mm)
            .max(row.step_mm.min(1.0))
            .max(0.1);
    let up = Scale::new((0.0, most_mm), (bottom, top));
    let angles = || (0..=60).map(|i| TAU * f64::from(i) / 60.0);
    let inner = angles().map(|a| {
        (
            across.at(a.to_degrees()),
            up.at(gap_at(row, a) + row.strut_mm),
        )
    });
    let outer = angles().map(|a| (across.at(a.to_degrees()), up.at(gap_at(row, a))));
    let back: Vec<(f64, f64)> = angles()
        .map(|a| (across.at(a.to_degrees()), up.at(gap_at(row, a))))
        .collect();
    let side_deg = towards.to_degrees().rem_euclid(360.0);
    html! {
        @for tick in ticks(0.0, most_mm, 4.0) {
            line.grid x1=(num(left)) x2=(num(right)) y1=(num(up.at(tick))) y2=(num(up.at(tick))) {}
            text.t.end x=(num(left - 5.0)) y=(num(up.at(tick) + 4.0)) data-mm=(num(tick)) data-bare="d" { (num(tick)) }
        }
        text.t x=(num(left - 48.0)) y="22" { "off the wall, " tspan data-unit="d" { "mm" } }
        polygon.gap points={ (points(outer)) " " (num(right)) "," (num(bottom)) " " (num(left)) "," (num(bottom)) } {}
        polygon.rim points={ (points(inner)) " " (points(back.into_iter().rev())) } {}
        @for tick in [0.0, 90.0, 180.0, 270.0, 360.0] {
            text.t.mid x=(num(across.at(tick))) y=(num(bottom + 15.0)) { (num(tick)) "°" }
        }
        line.axis x1=(num(left)) x2=(num(right)) y1=(num(bottom)) y2=(num(bottom)) {}
        @let x = across.at(side_deg);
        line.mark x1=(num(x)) x2=(num(x)) y1=(num(top - 8.0)) y2=(num(bottom)) {}
        text.t.mid x=(num(x.clamp(left + 60.0, right - 60.0))) y=(num(top - 12.0)) { "the device lies this way" }
        g {
            rect.gap x=(num(left)) y="268" width="12" height="10" {}
            text.t x=(num(left + 17.0)) y="277" { "gap behind the rim, most" }
            text.b x=(num(left + 172.0)) y="277" data-mm=(num(row.rim_gap_mm)) data-kind="d" { (fixed(row.rim_gap_mm, 2)) " mm" }
            rect.rim x=(num(left)) y="286" width="12" height="10" {}
            text.t x=(num(left + 17.0)) y="295" { "strut of the rim" }
            text.b x=(num(left + 172.0)) y="295" data-mm=(num(row.strut_mm)) data-kind="d" { (fixed(row.strut_mm, 2)) " mm" }
            text.t x=(num(left + 245.0)) y="277" { "step that arrives" }
            text.b x=(num(left + 375.0)) y="277" data-mm=(num(row.step_mm)) data-kind="d" { (fixed(row.step_mm, 2)) " mm" }
            text.t x=(num(left + 245.0)) y="295" { "device across" }
            text.b x=(num(left + 375.0)) y="295" data-mm=(num(2.0 * outer_mm)) data-kind="d" { (fixed(2.0 * outer_mm, 2)) " mm" }
            text.t x=(num(left + 17.0)) y="315" { "0° is the right of the cross-section, 90° its top; drawn to scale" }
        }
    }
}

fn signed(value_mm: f64) -> String {
    let text = fixed(value_mm, 2);
    if value_mm > 0.0 && !text.starts_with("0.00") {
        format!("+{text}")
    } else {
        text
    }
}

/// How a crossing goes, in words.
pub(super) fn words(row: &EdgeRow) -> Markup {
    let caught = percent(row.probability);
    html! {
        p {
            @if row.shielded {
                @if let (Some(by), Some(cover_mm)) = (&row.covered_by, row.cover_mm) {
                    "Shielded: it passes inside the " (by) ", whose tip lies " (length(cover_mm, Kind::Way, 0)) " beyond the edge, "
                    (length(row.cover_under_load_mm.unwrap_or(cover_mm), Kind::Way, 0)) " under load. Bare it would have "
                    (signed_length(row.clearance_mm)) " of clearance and catch in " (percent(row.probability_bare)) " of samples; so catching is " b { (row.likelihood.in_words()) } ", in " (caught) "."
                }
            } @else {
                @if row.clearance_mm < 0.0 { "Interference of " } @else { "Clearance of " }
                (length(row.clearance_mm.abs(), Kind::Bore, 2))
                " between step and rim; a rounded step is lifted over " (length(row.rides_over_mm, Kind::Bore, 2)) ". Catching is "
                b { (row.likelihood.in_words()) } ": in " (caught) " of samples (95 %: " (percent(row.interval[0])) " to " (percent(row.interval[1])) ")."
                @if !row.faces { " It leaves the stent there: the edge points the other way." }
            }
            @if !row.helps.is_empty() {
                " What would help: "
                @for (i, (what, then)) in row.helps.iter().enumerate() {
                    @if i > 0 { "; or " }
                    (prose(what)) " (" (percent(*then)) ")"
                }
                "."
            }
            @if !row.placed_by_rods { " No equilibrium was found here: the device is taken to lie on the wall inside the bend." }
        }
    }
}

fn signed_length(value_mm: f64) -> Markup {
    html! { span.n data-mm=(num(value_mm)) data-kind="d" data-sign="1" { (signed(value_mm)) " mm" } }
}

/// Share of samples that catch by distance of the covering tip beyond the edge.
pub(super) fn sweep(sheet: &Sheet<'_>) -> Option<Figure> {
    let row = sheet
        .outcome()
        .edges
        .iter()
        .filter(|r| !r.sweep.is_empty())
        .max_by(|a, b| a.probability_bare.total_cmp(&b.probability_bare))?;
    let by = row.covered_by.as_deref().unwrap_or("catheter");
    let first = row.sweep.first()?.cover_mm;
    let last = row.sweep.last()?.cover_mm;
    let (left, right, top, bottom) = (64.0, WIDTH - 24.0, 18.0, 214.0);
    let across = Scale::new((first, last), (left, right));
    let up = Scale::new((0.0, 1.0), (bottom, top));
    let line = |value: fn(&crate::rehearsal::SweepPoint) -> f64| {
        row.sweep
            .iter()
            .map(|p| (across.at(p.cover_mm), up.at(value(p))))
            .collect::<Vec<_>>()
    };
    let mut band = line(|p| p.interval[0]);
    band.extend(line(|p| p.interval[1]).into_iter().rev());
    let body = html! {
        @for tick in [0.0, 0.25, 0.5, 0.75, 1.0] {
            line.grid x1=(num(left)) x2=(num(right)) y1=(num(up.at(tick))) y2=(num(up.at(tick))) {}
            text.t.end x=(num(left - 5.0)) y=(num(up.at(tick) + 4.0)) { (num(100.0 * tick)) " %" }
        }
        (super::svg::length_axis(&across, top, bottom, 9.0))
        polygon.interval points=(points(band)) {}
        polyline.curve points=(points(line(|p| p.probability))) {}
        @for p in &row.sweep {
            circle.tip cx=(num(across.at(p.cover_mm))) cy=(num(up.at(p.probability))) r="2.4" {}
        }
        @if let Some(now_mm) = row.cover_mm.filter(|mm| across.holds(*mm)) {
            @let x = across.at(now_mm);
            line.limit x1=(num(x)) x2=(num(x)) y1=(num(top)) y2=(num(bottom)) {}
            text.b x=(num(x + 5.0)) y=(num(top + 12.0)) { "this plan: " (percent(row.probability)) }
        }
        text.t.mid x=(num(0.5 * WIDTH)) y=(num(bottom + 31.0)) { "tip of the " (by) " beyond the edge, " tspan data-unit="l" { "mm" } " (below nought: short of it)" }
    };
    Some(Figure {
        name: "edge-sweep".into(),
        title: format!(
            "Samples caught, by how far the {by} lies beyond the {} of the {}",
            row.edge.in_words(),
            row.stent
        ),
        words: format!(
            "The share of samples in which the open {} catches falls with the distance of the covering tip; from {:.0} mm on it is at most 1 %.",
            row.device,
            row.safe_cover_mm.ceil()
        ),
        size: (WIDTH, bottom + 40.0),
        body,
    })
}

/// Every crossing in figures.
pub(super) fn table(sheet: &Sheet<'_>) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="Crossings of stent edges" {
            table {
                caption { "Every crossing of every edge; bores in " (unit(Kind::Bore)) ", distances in " (unit(Kind::Way)) }
                thead { tr {
                    th scope="col" { "step" } th scope="col" { "device" } th scope="col" { "edge" } th scope="col" { "way" }
                    th.r scope="col" { "step height" } th.r scope="col" { "rim gap" } th.r scope="col" { "clearance" }
                    th scope="col" { "covered by" } th.r scope="col" { "beyond, under load" } th.r scope="col" { "caught" } th.r scope="col" { "bare" }
                } }
                tbody {
                    @for row in &sheet.outcome().edges {
                        tr {
                            td { (sheet.step_link(row.step)) }
                            th scope="row" { (sheet.key(&row.device)) (row.device) @if let Some(rail) = &row.riding_on { " over " (rail) } }
                            td { (row.edge.in_words()) " of " (row.stent) }
                            td { @if row.forward { "up" } @else { "back" } @if !row.faces { ", leaving it" } }
                            td.r { (bare(row.step_mm, Kind::Bore, 2)) }
                            td.r { (bare(row.rim_gap_mm, Kind::Bore, 2)) }
                            td.r { span data-mm=(num(row.clearance_mm)) data-bare="d" data-sign="1" { (signed(row.clearance_mm)) } }
                            td { @match (&row.covered_by, row.shielded) {
                                (Some(by), true) => (by),
                                (Some(by), false) => { (by) ": not enough" },
                                (None, _) => "bare",
                            } }
                            td.r { @if let (Some(a), Some(b)) = (row.cover_mm, row.cover_under_load_mm) {
                                (bare(a, Kind::Way, 0)) ", " (bare(b, Kind::Way, 0))
                            } @else { "–" } }
                            td class=(class_of(row)) { (row.likelihood.in_words()) ", " (percent(row.probability)) }
                            td.r { (percent(row.probability_bare)) }
                        }
                    }
                }
            }
        }
        @if let Some(row) = sheet.outcome().edges.first() {
            p.note { (row.samples) " samples each, seed " (row.seed) ". " (EDGE_CAUTION) }
        }
    }
}

const fn class_of(row: &EdgeRow) -> &'static str {
    match row.likelihood {
        Likelihood::Likely => "r bad",
        Likelihood::Possible => "r weak",
        Likelihood::Unlikely => "r",
    }
}

/// Pulls of open retrievers and lumens on suction.
pub(super) fn pulls_and_suction(sheet: &Sheet<'_>) -> Markup {
    let outcome = sheet.outcome();
    html! {
        @for pull in &outcome.pulls {
            p {
                b { "Step " (pull.step) } " (" (sheet.step_link(pull.step)) "): " (pull.say) "."
            }
        }
        @if !outcome.suction.is_empty() {
            div.scroll tabindex="0" role="region" aria-label="Lumens on suction" {
                table {
                    caption { "Lumens on suction" }
                    thead { tr {
                        th scope="col" { "step" } th scope="col" { "catheter" } th scope="col" { "in its lumen" }
                        th.r scope="col" { "flow left, in the middle" } th.r scope="col" { "on the wall" } th.r scope="col" { "pull at its tip, N" }
                    } }
                    tbody {
                        @for row in &outcome.suction {
                            tr {
                                td { (sheet.step_link(row.step)) }
                                th scope="row" { (sheet.key(&row.device)) (row.device) }
                                td { @if row.occupants.is_empty() { "nothing" } @else { (row.occupants.join(", ")) } }
                                td.r { (flow(row.least_share)) }
                                td.r { (flow(row.most_share)) }
                                td.r { (fixed(row.tip_force_n, 2)) }
                            }
                        }
                    }
                }
            }
            @if let Some(row) = outcome.suction.first() {
                p.note { "Pull of an ideal seal at " (fixed(row.pump_kpa, 1)) " kPa (25.63 inHg: Froehler, Interv. Neurol. 2017;6:199). Flow in percent of the free lumen." }
            }
        }
        @if !outcome.pulls.is_empty() {
            details {
                summary { "What covers the open retriever while it is drawn back" }
                @for pull in &outcome.pulls {
                    div.scroll tabindex="0" role="region" aria-label={ "Cover of the " (pull.retriever) " at step " (pull.step) } {
                        table {
                            caption { "Step " (pull.step) ", " (pull.retriever) ", in " (unit(Kind::Way)) }
                            thead { tr { th.r scope="col" { "drawn back" } th.r scope="col" { "covered" } th.r scope="col" { "bare" } th scope="col" { "covered by" } } }
                            tbody {
                                @for (moved_mm, covered_mm, bare_mm, by) in &pull.cover {
                                    tr {
                                        td.r { (bare(*moved_mm, Kind::Way, 0)) }
                                        td.r { (bare(*covered_mm, Kind::Way, 0)) }
                                        td.r { (bare(*bare_mm, Kind::Way, 0)) }
                                        td { @if let Some(by) = by { (by) } @else { "nothing" } }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn flow(share: f64) -> String {
    let percent = 100.0 * share;
    if percent < 1.0 {
        format!("{percent:.2} %")
    } else {
        format!("{percent:.0} %")
    }
}

/// The place of an edge in words.
pub(super) fn where_it_is(row: &EdgeRow) -> Markup {
    at(&row.at)
}
