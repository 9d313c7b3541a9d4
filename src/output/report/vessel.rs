//! The vessel unrolled: lumen, bends and turning along the route.

use super::Sheet;
use super::svg::{Figure, Scale, WIDTH, length_axis, num, points, ticks, width_of};
use super::text::place;
use crate::geometry::Station;
use maud::{Markup, html};

const LEFT: f64 = 62.0;
const RIGHT: f64 = 56.0;
const LUMEN_TOP: f64 = 44.0;
const LUMEN: f64 = 90.0;
const BEND_TOP: f64 = LUMEN_TOP + LUMEN + 22.0;
const BEND: f64 = 120.0;
/// Points along the route: enough for a bend of a few mm on a page's width.
const POINTS: usize = 480;

/// Lumen, curvature and summed turning along the route.
pub(super) fn figure(sheet: &Sheet<'_>) -> Figure {
    let track = &sheet.plan.track;
    let length_mm = track.length_mm();
    let across = Scale::new((0.0, length_mm), (LEFT, WIDTH - RIGHT));
    let every = track.stations.len().div_ceil(POINTS).max(1);
    let stations: Vec<&Station> = track.stations.iter().step_by(every).collect();
    let bottom = BEND_TOP + BEND;
    let body = html! {
        (length_axis(&across, LUMEN_TOP, bottom, 10.0))
        (names(sheet, &across, bottom))
        (lumen(sheet, &stations, &across))
        (bends(&stations, &across, track.stations.iter().map(|s| s.curvature_per_mm).fold(0.0, f64::max)))
        (turning(&stations, &across))
        text.t.mid x=(num(0.5 * WIDTH)) y=(num(bottom + 31.0)) { "along the route from the arteriotomy, " tspan data-unit="l" { "mm" } }
    };
    Figure {
        name: "vessel".into(),
        title: "The vessel unrolled: lumen, bends, turning".into(),
        words: format!(
            "Top: the lumen along the route of {length_mm:.0} mm, lesions and clot marked. Below: how sharply it bends (filled, 1 over the bend radius) and the turning summed from the access (dashed), {:.0} degrees in all.",
            sheet.outcome().route_turning_deg
        ),
        size: (WIDTH, bottom + 40.0),
        body,
    }
}

/// Lesions, clots and the landmarks that find room.
fn names(sheet: &Sheet<'_>, across: &Scale, bottom: f64) -> Markup {
    let track = &sheet.plan.track;
    let mut ends: Vec<f64> = vec![0.0; 2];
    let mut shown = Vec::new();
    let marks = track.landmarks.iter().filter(|l| {
        !(l.name.ends_with("-start") || l.name.ends_with("-end") || l.name.ends_with("mm"))
    });
    for mark in marks {
        let name = place(&mark.name);
        let half = 0.5 * width_of(&name) * 0.92;
        let x = across.at(mark.s_mm).clamp(LEFT + half, WIDTH - half - 2.0);
        if let Some(line) = ends.iter().position(|end| x - half > *end + 5.0) {
            ends[line] = x + half;
            shown.push((across.at(mark.s_mm), x, line, name));
        }
    }
    html! {
        @for (tick, x, line, name) in shown {
            @let y = 14.0 + 14.0 * f64::from(u8::from(line == 0));
            line.mark x1=(num(tick)) x2=(num(tick)) y1=(num(y + 3.0)) y2=(num(bottom)) {}
            text.t.mid x=(num(x)) y=(num(y)) { (name) }
        }
        @for (from_mm, to_mm, class) in track.lesions.iter().map(|l| (l.start_mm, l.end_mm, "band"))
            .chain(track.clots.iter().map(|c| (c.start_mm, c.end_mm, "clotband"))) {
            @let (a, b) = (across.within(from_mm), across.within(to_mm));
            rect class=(class) x=(num(a)) width=(num((b - a).max(1.5))) y=(num(LUMEN_TOP)) height=(num(bottom - LUMEN_TOP)) {}
        }
    }
}

fn lumen(sheet: &Sheet<'_>, stations: &[&Station], across: &Scale) -> Markup {
    let widest_mm = stations.iter().map(|s| s.radius_mm).fold(1.0, f64::max);
    let middle = LUMEN_TOP + 0.5 * LUMEN;
    // large arteries would flatten the small ones: heights go with the root of the radius
    let height = |radius_mm: f64| 0.48 * LUMEN * (radius_mm / widest_mm).sqrt();
    let track = &sheet.plan.track;
    let healthy = |s: &&Station| 0.5 * track.healthy_diameter_at(s.s_mm);
    let upper = stations
        .iter()
        .map(|s| (across.at(s.s_mm), middle - height(healthy(s))));
    let lower = stations
        .iter()
        .rev()
        .map(|s| (across.at(s.s_mm), middle + height(healthy(s))));
    let open_up = stations
        .iter()
        .map(|s| (across.at(s.s_mm), middle - height(s.radius_mm)));
    let open_low = stations
        .iter()
        .rev()
        .map(|s| (across.at(s.s_mm), middle + height(s.radius_mm)));
    html! {
        polygon.wall points=(points(upper.chain(lower))) {}
        polygon.lumen points=(points(open_up.chain(open_low))) {}
        text.t x="2" y=(num(LUMEN_TOP + 12.0)) { "lumen" }
        @for diameter_mm in [2.0, 8.0, 20.0] {
            @let h = height(0.5 * diameter_mm);
            @if 0.5 * diameter_mm <= widest_mm {
                line.axis x1=(num(WIDTH - RIGHT + 4.0)) x2=(num(WIDTH - RIGHT + 9.0)) y1=(num(middle - h)) y2=(num(middle - h)) {}
                text.t x=(num(WIDTH - RIGHT + 12.0)) y=(num(middle - h + 4.0)) data-mm=(num(diameter_mm)) data-kind="d" { (num(diameter_mm)) " mm" }
            }
        }
    }
}

fn bends(stations: &[&Station], across: &Scale, most_per_mm: f64) -> Markup {
    let up = Scale::new(
        (0.0, most_per_mm.max(0.01)),
        (BEND_TOP + BEND, BEND_TOP + 4.0),
    );
    let line = stations
        .iter()
        .map(|s| (across.at(s.s_mm), up.at(s.curvature_per_mm)));
    let floor = up.at(0.0);
    html! {
        polygon.area points={
            (num(across.at(0.0))) "," (num(floor)) " " (points(line)) " " (num(across.places.1)) "," (num(floor))
        } {}
        text.t x="2" y=(num(BEND_TOP + 2.0)) { "bend" }
        text.t x="2" y=(num(BEND_TOP + 15.0)) { "radius" }
        @for radius_mm in [4.0, 6.0, 10.0, 20.0] {
            @let y = up.at(1.0 / radius_mm);
            @if 1.0 / radius_mm <= most_per_mm {
                line.grid x1=(num(LEFT)) x2=(num(WIDTH - RIGHT)) y1=(num(y)) y2=(num(y)) {}
                text.t.end x=(num(LEFT - 4.0)) y=(num(y + 4.0)) data-mm=(num(radius_mm)) data-kind="d" { (num(radius_mm)) " mm" }
            }
        }
        line.axis x1=(num(LEFT)) x2=(num(WIDTH - RIGHT)) y1=(num(floor)) y2=(num(floor)) {}
    }
}

fn turning(stations: &[&Station], across: &Scale) -> Markup {
    let most_deg = stations
        .last()
        .map_or(1.0, |s| s.turning_rad.to_degrees())
        .max(1.0);
    let up = Scale::new((0.0, most_deg), (BEND_TOP + BEND, BEND_TOP + 4.0));
    html! {
        polyline.second points=(points(stations.iter().map(|s| (across.at(s.s_mm), up.at(s.turning_rad.to_degrees()))))) {}
        @for tick in ticks(0.0, most_deg, 5.0) {
            text.t x=(num(WIDTH - RIGHT + 4.0)) y=(num(up.at(tick) + 4.0)) { (num(tick)) "°" }
        }
    }
}

/// What the drawing shows, in words.
pub(super) fn key() -> Markup {
    html! {
        p.note {
            "Upper band: lumen (height goes with the root of the diameter), narrowed where a lesion lies. "
            "Filled: the sharper the bend, the higher. Dashed: turning summed from the access, scale at the right."
        }
    }
}
