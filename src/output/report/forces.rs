//! What moving takes at the hub, and where along the route it is lost.

use super::Sheet;
use super::svg::{Figure, Scale, WIDTH, length_axis, num, step_axis, ticks};
use super::text::{fixed, percent, place};
use crate::mechanics::Direction;
use crate::rehearsal::{DeviceRow, LoadRow, LossRow, range_in_figures};
use maud::{Markup, html};

const LEFT: f64 = 56.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 12.0;
const HEIGHT: f64 = 190.0;
/// Pushes and pulls whose losses are drawn along the route: the hardest ones.
const DRAWN: usize = 6;
/// What rounds to nothing is not worth its words, N.
const LEAST_N: f64 = 0.005;
/// Height of a row in that drawing.
const ROW: f64 = 34.0;

/// Moves with a force: step, device row, load.
fn moves<'a>(sheet: &'a Sheet<'_>) -> Vec<(usize, &'a DeviceRow, &'a LoadRow)> {
    let steps = sheet.outcome().steps.iter();
    steps
        .flat_map(|s| s.devices.iter().map(move |d| (s.number, d)))
        .filter_map(|(step, d)| Some((step, d, d.load.as_ref()?)))
        .collect()
}

/// Whether the rehearsal knows forces.
pub(super) fn known(sheet: &Sheet<'_>) -> bool {
    !moves(sheet).is_empty()
}

/// Bars of the force at the hub, and where it is lost; without forces, the estimate from turning and
/// friction.
pub(super) fn figures(sheet: &Sheet<'_>) -> Vec<Figure> {
    if known(sheet) {
        vec![by_step(sheet), along_the_route(sheet)]
    } else {
        vec![estimate(sheet)]
    }
}

/// Bars of several devices that move in one step stand beside each other.
fn beside(moved: &[(usize, usize, f64)], k: usize) -> (f64, f64) {
    let same = moved.iter().filter(|m| m.0 == moved[k].0).count();
    let before = moved[..k].iter().filter(|m| m.0 == moved[k].0).count();
    #[expect(clippy::cast_precision_loss, reason = "a handful of devices")]
    let (same, before) = (same as f64, before as f64);
    ((before + 0.5) / same - 0.5, 1.0 / same)
}

#[expect(clippy::cast_precision_loss, reason = "a script has some dozen steps")]
fn bars(sheet: &Sheet<'_>, moved: &[(usize, usize, f64)], unit: &str, base: f64) -> (Markup, f64) {
    let steps = sheet.outcome().steps.len().max(2);
    let across = Scale::new((1.0, steps as f64), (LEFT + 14.0, WIDTH - RIGHT - 14.0));
    let most = moved.iter().map(|m| m.2).fold(base, f64::max);
    let least = moved.iter().map(|m| m.2).fold(base, f64::min);
    let up = Scale::new((least * 1.06, most * 1.06), (TOP + HEIGHT, TOP));
    let pitch = 0.8 * (across.at(2.0) - across.at(1.0));
    let markup = html! {
        (step_axis(&across, steps, TOP, TOP + HEIGHT))
        @for tick in ticks(least, most * 1.05, 6.0) {
            line.grid x1=(num(LEFT)) x2=(num(WIDTH - RIGHT)) y1=(num(up.at(tick))) y2=(num(up.at(tick))) {}
            text.t.end x=(num(LEFT - 5.0)) y=(num(up.at(tick) + 4.0)) { (num(tick)) }
        }
        text.t x="2" y=(num(TOP - 1.0)) { (unit) }
        @for (k, (step, i, value)) in moved.iter().enumerate() {
            @let (off, share) = beside(moved, k);
            @let x = across.at(*step as f64) + pitch * off;
            @let (a, b) = (up.at(value.max(base)), up.at(value.min(base)));
            rect class={ "bare d" (i) } x=(num(x - 0.45 * pitch * share)) width=(num(0.9 * pitch * share)) y=(num(a)) height=(num((b - a).max(0.6))) {
                title { (sheet.plan.devices[*i].name) ", step " (step) ": " (num(*value)) " " (unit) }
            }
        }
        line.axis x1=(num(LEFT)) x2=(num(WIDTH - RIGHT)) y1=(num(up.at(base))) y2=(num(up.at(base))) {}
        text.t.mid x=(num(0.5 * WIDTH)) y=(num(TOP + HEIGHT + 31.0)) { "step" }
    };
    let (key, height) = legend(sheet, moved, TOP + HEIGHT + 52.0);
    (html! { (markup) (key) }, TOP + HEIGHT + 52.0 + height)
}

/// Names of the devices that occur, with their colours.
#[expect(clippy::cast_precision_loss, reason = "a handful of devices")]
fn legend(sheet: &Sheet<'_>, moved: &[(usize, usize, f64)], top: f64) -> (Markup, f64) {
    let mut devices: Vec<usize> = moved.iter().map(|m| m.1).collect();
    devices.sort_unstable();
    devices.dedup();
    let markup = html! {
        @for (k, i) in devices.iter().enumerate() {
            @let (x, y) = (LEFT + 140.0 * (k % 6) as f64, top + 18.0 * (k / 6) as f64);
            rect class={ "bare d" (i) } x=(num(x)) y=(num(y - 9.0)) width="11" height="11" {}
            text x=(num(x + 16.0)) y=(num(y)) { (sheet.plan.devices[*i].name) }
        }
    };
    (markup, 18.0 * devices.len().div_ceil(6) as f64)
}

fn by_step(sheet: &Sheet<'_>) -> Figure {
    let moved: Vec<(usize, usize, f64)> = moves(sheet)
        .into_iter()
        .filter_map(|(step, d, load)| {
            let sign = match load.direction {
                Direction::Push => 1.0,
                Direction::Pull => -1.0,
            };
            Some((step, sheet.index(&d.name)?, sign * load.hub_force_n))
        })
        .collect();
    let (body, height) = bars(sheet, &moved, "N at the hub; pulls below nought", 0.0);
    Figure {
        name: "hub-force".into(),
        title: "Force at the hub".into(),
        words: "Bars of the force at the hub for every device that a step moves: pushes upwards, pulls downwards. The table below gives the same in figures, with the places where it is lost.".into(),
        size: (WIDTH, height),
        body,
    }
}

/// Without rods: force at the hub over force at the tip from turning and friction alone.
fn estimate(sheet: &Sheet<'_>) -> Figure {
    let moved: Vec<(usize, usize, f64)> = sheet
        .outcome()
        .steps
        .iter()
        .flat_map(|s| s.devices.iter().map(move |d| (s.number, d)))
        .filter(|(_, d)| d.moved)
        .filter_map(|(step, d)| Some((step, sheet.index(&d.name)?, d.capstan_factor)))
        .collect();
    let (body, height) = bars(sheet, &moved, "× the force at the tip", 1.0);
    Figure {
        name: "turning alone".into(),
        title: "How much more force the hub needs than the tip: an estimate".into(),
        words: "Bars by step for every device that moves: force at its hub over force at its tip, from turning and friction alone, without stiffness.".into(),
        size: (WIDTH, height),
        body,
    }
}

/// Where the hardest moves lose their force.
#[expect(clippy::cast_precision_loss, reason = "a handful of rows")]
fn along_the_route(sheet: &Sheet<'_>) -> Figure {
    let mut hardest = moves(sheet);
    hardest.retain(|(_, _, load)| !load.lost.is_empty());
    hardest.sort_by(|a, b| b.2.hub_force_n.total_cmp(&a.2.hub_force_n));
    hardest.truncate(DRAWN);
    let left = 210.0;
    let across = Scale::new((0.0, sheet.outcome().route_mm), (left, WIDTH - 20.0));
    let top = 24.0;
    let bottom = top + ROW * hardest.len() as f64;
    let most_n = hardest
        .iter()
        .flat_map(|h| &h.2.lost)
        .map(|l| l.lost_n)
        .fold(1e-9, f64::max);
    let body = html! {
        (length_axis(&across, top, bottom, 9.0))
        @for lesion in &sheet.plan.track.lesions {
            rect.band x=(num(across.within(lesion.start_mm))) y=(num(top)) width=(num((across.within(lesion.end_mm) - across.within(lesion.start_mm)).max(1.5))) height=(num(bottom - top)) {}
        }
        @for (line, (step, d, load)) in hardest.iter().enumerate() {
            @let y = top + ROW * (line as f64 + 0.5);
            @let i = sheet.index(&d.name).unwrap_or(0);
            text x="4" y=(num(y + 4.0)) { "step " (step) ", " (d.name) ", " (fixed(load.hub_force_n, 2)) " N" }
            line class={ "line s" (i) } x1=(num(across.at(0.0))) x2=(num(across.within(d.tip_mm))) y1=(num(y)) y2=(num(y)) {}
            @for loss in &load.lost {
                circle class={ "bare d" (i) } cx=(num(across.within(loss.station_mm))) cy=(num(y)) r=(num(3.0 + 10.0 * (loss.lost_n / most_n).sqrt())) {
                    title { (fixed(loss.lost_n, 3)) " N lost " (place(&loss.at)) ", on the " (loss.on) }
                }
            }
        }
        text.t.mid x=(num(f64::midpoint(left, WIDTH))) y=(num(bottom + 31.0)) { "along the route from the arteriotomy, " tspan data-unit="l" { "mm" } }
        text.t x=(num(left)) y="14" { "area of a disc: force lost there; the three worst places of the hardest moves" }
    };
    Figure {
        name: "force-lost".into(),
        title: "Where it is lost along the route".into(),
        words: "For the hardest moves a line from the access to the tip, with a disc at each of the three places where most force is lost to friction; its area is the force.".into(),
        size: (WIDTH, bottom + 40.0),
        body,
    }
}

/// Forces in figures.
pub(super) fn table(sheet: &Sheet<'_>) -> Markup {
    let rows = moves(sheet);
    html! {
        @if !rows.is_empty() {
            div.scroll tabindex="0" role="region" aria-label="Force at the hub by step" {
                table {
                    caption { "Force at the hub, and where it is lost" }
                    thead { tr {
                        th scope="col" { "step" } th scope="col" { "device" } th scope="col" { "way" }
                        th.r scope="col" { "hub, N" } th.r scope="col" { "least to most" } th.r scope="col" { "hand, N" } th.r scope="col" { "tip, N" } th.r scope="col" { "reaches the tip" }
                        th scope="col" { "most is lost" } th.r scope="col" { "largest on the wall, N/mm" }
                    } }
                    tbody {
                        @for (step, d, load) in rows {
                            tr {
                                td { (sheet.step_link(step)) }
                                th scope="row" { (sheet.key(&d.name)) (d.name) }
                                td { @if load.direction == Direction::Push { "push" } @else { "pull" } }
                                td.r { @if load.is_told() { (fixed(load.hub_force_n, 2)) } @else { (load.hub_in_figures(1.0)) } }
                                td.r { (range_in_figures(1.0, [load.hub_force_least_n, load.hub_force_most_n]).unwrap_or_else(|| "–".into())) }
                                td.r { (load.hand_in_figures(1.0)) }
                                td.r { (fixed(load.tip_force_n, 2)) }
                                td.r { @match load.efficiency {
                                    Some(e) if e > 0.0 => (percent(e)),
                                    Some(_) => "none",
                                    None => "–",
                                } }
                                td {
                                    @let told: Vec<&LossRow> = load.lost.iter().filter(|l| l.lost_n >= LEAST_N).collect();
                                    @if told.is_empty() { "nowhere as much as 0.01 N" }
                                    @for (k, loss) in told.iter().enumerate() {
                                        @if k > 0 { "; " }
                                        (fixed(loss.lost_n, 2)) " N " (super::text::at(&loss.at)) " on the " (loss.on)
                                    }
                                    @if let Some(mm) = load.buckled_mm { "; pushed into waves along " (super::text::length(mm, super::text::Kind::Way, 0)) }
                                }
                                td.r { (fixed(load.largest_wall_force_n_per_mm, 3)) }
                            }
                        }
                    }
                }
            }
            p.note { "Least to most: with all frictions and stiffnesses at the least and at the most known of them, the lengths fed alike; a dash where rods came to no rest. Hub: what the vessel feels. Hand: with what the haemostatic valves hold back, snug unless a step says otherwise (from memory)." }
            p.note { "A dash: the force at the hub is less than twice what it is known to. None: its own bend draws on the tip, or walls hold it." }
        }
    }
}
