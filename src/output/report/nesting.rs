//! The nesting diagram: who lies in whom, how far, and what is left outside.

use super::Sheet;
use super::svg::{Figure, Scale, WIDTH, cut, length_axis, num, staying, width_of};
use super::text::{fixed, place};
use crate::device::LumenKind;
use crate::rehearsal::{DeviceRow, StepRow};
use maud::{Markup, html};

/// Height of a device's row.
const ROW: f64 = 27.0;
/// Room for names at the left.
const LEFT: f64 = 112.0;
/// Room for figures at the right.
const RIGHT: f64 = 122.0;
/// Lines of landmark names above the rows.
const NAME_LINES: usize = 3;
/// Height of such a line.
const NAME_LINE: f64 = 13.0;
/// Landmarks named first where not all of them find room.
const FIRST_NAMED: [&str; 8] = [
    "carotid-bifurcation",
    "arteriotomy",
    "arch-top",
    "skull-base",
    "ica-terminus",
    "common-carotid-origin",
    "aortic-bifurcation",
    "m1-end",
];
/// The close-up begins this far below the bifurcation, mm: a guide parked in the common carotid is
/// still in it.
const CLOSE_UP_BELOW_MM: f64 = 130.0;

/// Both diagrams, whole length and where the tips are.
pub(super) fn figures(sheet: &Sheet<'_>) -> Vec<Figure> {
    let route_mm = sheet.outcome().route_mm;
    let (rear_mm, end_mm) = (rear_mm(sheet), end_mm(sheet));
    let whole = figure(
        sheet,
        "nesting",
        "Who lies in whom, from hub to tip",
        (rear_mm - 20.0, end_mm + 10.0),
        Shows::EveryStep,
    );
    let bifurcation = sheet.plan.track.landmark("carotid-bifurcation").ok();
    let from_mm = sheet.plan.fed_mm(
        bifurcation
            .map_or(0.6 * route_mm, |b| b - CLOSE_UP_BELOW_MM)
            .max(0.0),
    );
    let close = figure(
        sheet,
        "nesting-tips",
        "The same, close up: where the tips are",
        (from_mm, end_mm + 5.0),
        Shows::Tips,
    );
    vec![whole, close]
}

/// The whole length after the step that the page shows first, alone.
pub(super) fn strip(sheet: &Sheet<'_>) -> Figure {
    let step = sheet.first_step;
    let title = format!("Who lies in whom after step {step}");
    figure(
        sheet,
        "strip",
        &title,
        (rear_mm(sheet) - 20.0, end_mm(sheet) + 10.0),
        Shows::FirstStep,
    )
}

/// What a diagram shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shows {
    /// The whole length, one step at a time, as the page's slider says.
    EveryStep,
    /// The same where the tips are, with their places in words.
    Tips,
    /// The whole length after the step that is shown first.
    FirstStep,
}

/// How far the target lies from the access hub along the devices, mm.
fn end_mm(sheet: &Sheet<'_>) -> f64 {
    sheet.plan.fed_mm(sheet.outcome().route_mm)
}

/// How far out the furthest hub lies in any step, mm from the access hub, negative.
fn rear_mm(sheet: &Sheet<'_>) -> f64 {
    let rows = sheet.outcome().steps.iter().flat_map(|s| &s.devices);
    rows.filter_map(|row| {
        let device = &sheet.plan.devices[sheet.index(&row.name)?];
        Some(row.fed_mm - device.device.usable_length_mm - device.dead_mm())
    })
    .fold(-100.0, f64::min)
}

fn figure(sheet: &Sheet<'_>, name: &str, title: &str, values: (f64, f64), shows: Shows) -> Figure {
    let scale = Scale::new(values, (LEFT, WIDTH - RIGHT));
    let top = NAME_LINE * (NAME_LINES + 1) as f64 + 4.0;
    let diagram = Diagram {
        scale,
        top,
        rows: rows(sheet, shows),
        shows,
    };
    let count = diagram.rows.iter().flatten().count();
    let bottom = top + ROW * count as f64;
    let in_rows = || {
        let devices = sheet.plan.devices.iter().enumerate();
        devices.filter_map(|(i, device)| Some((i, diagram.y(i)?, device)))
    };
    let names = html! {
        (stripes(count, top, LEFT - 16.0))
        @for (i, y, device) in in_rows() {
            rect class={ "d" (i) } x="0" y=(num(y + 6.0)) width="5" height=(num(ROW - 12.0)) {}
            text.b x="10" y=(num(y + 18.0)) { (cut(&device.name, LEFT - 14.0)) }
        }
    };
    let body = html! {
        (stripes(count, top, WIDTH))
        (length_axis(&scale, top, bottom, 9.0))
        (verticals(sheet, &scale, top, bottom))
        text.t.mid x=(num(f64::midpoint(LEFT, WIDTH - RIGHT))) y=(num(bottom + 31.0)) {
            "distance from the access hub, " tspan data-unit="l" { "mm" } " (below nought: outside the body)"
        }
        @for step in &sheet.outcome().steps {
            @if shows != Shows::FirstStep {
                g class=(sheet.step_class(step.number)) data-step=(step.number) { (drawn(sheet, step, &diagram)) }
            } @else if step.number == sheet.first_step {
                (drawn(sheet, step, &diagram))
            }
        }
        (staying(LEFT - 16.0, top, bottom, &names))
    };
    Figure {
        name: name.into(),
        title: title.into(),
        words: format!(
            "One bar for each device of the stack, outermost first. Pale: outside the hub it enters through. Black: in that hub and its valve. Coloured: inside; thin within another device, thick where it lies bare. {}",
            match shows {
                Shows::FirstStep => title.to_owned() + ".",
                _ => format!(
                    "{} steps, one at a time; the table of devices below gives the same in figures.",
                    sheet.outcome().steps.len()
                ),
            }
        ),
        size: (WIDTH, bottom + 38.0),
        body,
    }
}

/// Scale and rows of a diagram.
struct Diagram {
    scale: Scale,
    top: f64,
    /// By device of the plan: its row, where it has one.
    rows: Vec<Option<usize>>,
    shows: Shows,
}

impl Diagram {
    /// Where the row of a device begins.
    fn y(&self, device: usize) -> Option<f64> {
        let row = (*self.rows.get(device)?)?;
        Some(self.top + ROW * row as f64)
    }
}

/// A row for each device; after one step for those that are in the body.
fn rows(sheet: &Sheet<'_>, shows: Shows) -> Vec<Option<usize>> {
    let first = sheet.outcome().steps.get(sheet.first_step - 1);
    let there = |name: &str| {
        first.is_some_and(|step| {
            let stents = step.stents.iter().map(|(stent, ..)| stent);
            let devices = step.devices.iter().map(|d| &d.name);
            devices.chain(stents).any(|found| found == name)
        })
    };
    let mut next = 0;
    let devices = sheet.plan.devices.iter();
    devices
        .map(|device| {
            let shown = shows != Shows::FirstStep || there(&device.name);
            shown.then(|| {
                next += 1;
                next - 1
            })
        })
        .collect()
}

/// Everything that lies in the body after a step.
fn drawn(sheet: &Sheet<'_>, step: &StepRow, diagram: &Diagram) -> Markup {
    html! {
        @for row in &step.devices { (bar(sheet, step, row, diagram)) }
        (deployed(sheet, step, diagram))
    }
}

/// Every second row on a ground of its own.
fn stripes(rows: usize, top: f64, width: f64) -> Markup {
    html! {
        @for i in (0..rows).step_by(2) {
            rect.row x="0" y=(num(top + ROW * i as f64)) width=(num(width)) height=(num(ROW)) {}
        }
    }
}

/// Lesions, clots and landmarks as verticals, named where there is room.
fn verticals(sheet: &Sheet<'_>, scale: &Scale, top: f64, bottom: f64) -> Markup {
    let fed_mm = |station_mm: f64| sheet.plan.fed_mm(station_mm);
    let track = &sheet.plan.track;
    let lesions = track
        .lesions
        .iter()
        .map(|l| (&l.name, l.start_mm, l.end_mm, "band"));
    let clots = track
        .clots
        .iter()
        .map(|c| (&c.name, c.start_mm, c.end_mm, "clotband"));
    let mut named: Vec<(f64, String, bool)> = Vec::new();
    let bands: Vec<_> = lesions
        .chain(clots)
        .map(|(name, from, to, class)| (name.clone(), fed_mm(from), fed_mm(to), class))
        .filter(|(_, from, to, _)| scale.holds(*from) || scale.holds(*to))
        .collect();
    for (name, from, to, _) in &bands {
        named.push((f64::midpoint(*from, *to), place(name), true));
    }
    let mut landmarks: Vec<_> = track
        .landmarks
        .iter()
        .filter(|l| scale.holds(fed_mm(l.s_mm)))
        .filter(|l| !l.name.ends_with("-start") && !l.name.ends_with("-end") || l.name == "m1-end")
        .collect();
    landmarks.sort_by_key(|l| {
        FIRST_NAMED
            .iter()
            .position(|n| *n == l.name)
            .unwrap_or(FIRST_NAMED.len())
    });
    named.extend(
        landmarks
            .iter()
            .map(|l| (fed_mm(l.s_mm), place(&l.name), false)),
    );
    let hub = scale.holds(0.0).then_some(0.0);
    html! {
        @for (_, from, to, class) in &bands {
            @let (a, b) = (scale.within(*from), scale.within(*to));
            rect class=(class) x=(num(a)) y=(num(top)) width=(num((b - a).max(1.5))) height=(num(bottom - top)) {}
        }
        @if let Some(at) = hub {
            line.axis x1=(num(scale.at(at))) y1=(num(top - 4.0)) x2=(num(scale.at(at))) y2=(num(bottom)) {}
        }
        @for (at, name, x, line) in placed(&named, scale) {
            @let tick = num(scale.at(at));
            @let y = top - 6.0 - NAME_LINE * line as f64;
            line.mark x1=(tick) y1=(num(y + 3.0)) x2=(tick) y2=(num(bottom)) {}
            text.t.mid x=(num(x)) y=(num(y)) { (name) }
        }
    }
}

/// Names on the lowest line where they do not touch others; those that find no room are left out.
fn placed(named: &[(f64, String, bool)], scale: &Scale) -> Vec<(f64, String, f64, usize)> {
    let mut lines: Vec<Vec<(f64, f64)>> = vec![Vec::new(); NAME_LINES];
    let mut out = Vec::new();
    for (at, name, _) in named {
        let half = 0.5 * width_of(name) * 0.92 + 4.0;
        let x = scale.at(*at).clamp(LEFT + half - 20.0, WIDTH - half - 2.0);
        let free = lines.iter().position(|line| {
            line.iter()
                .all(|(from, to)| x + half < *from || x - half > *to)
        });
        if let Some(line) = free {
            lines[line].push((x - half, x + half));
            out.push((*at, name.clone(), x, line));
        }
    }
    out
}

/// One device after one step.
fn bar(sheet: &Sheet<'_>, step: &StepRow, row: &DeviceRow, diagram: &Diagram) -> Markup {
    let found = sheet
        .index(&row.name)
        .and_then(|i| Some((i, diagram.y(i)?)));
    let Some((i, y)) = found else {
        return html! {};
    };
    let (scale, close_up) = (&diagram.scale, diagram.shows == Shows::Tips);
    let device = &sheet.plan.devices[i];
    let fed_mm = |station_mm: f64| sheet.plan.fed_mm(station_mm);
    // own hub or end, the hub it enters through with its valves, and its tip, all from the access hub
    let rear_mm = row.fed_mm - device.device.usable_length_mm;
    let (valve_mm, hub_mm) = entry(sheet, step, row);
    let tip_mm = fed_mm(row.tip_mm);
    let covered_mm = covered_to(sheet, step, row).min(tip_mm);
    let part = |class: &str, from_mm: f64, to_mm: f64, height: f64| {
        let (a, b) = (scale.within(from_mm), scale.within(to_mm));
        html! {
            @if b - a > 0.05 {
                rect class={ "d" (i) " s" (i) " " (class) } x=(num(a)) y=(num(y + 0.5 * (ROW - height))) width=(num(b - a)) height=(num(height)) {}
            }
        }
    };
    let colour = |class: &str, from_mm: f64, to_mm: f64, height: f64| {
        let (a, b) = (scale.within(from_mm), scale.within(to_mm));
        html! {
            @if b - a > 0.05 {
                rect class={ "d" (i) " " (class) } x=(num(a)) y=(num(y + 0.5 * (ROW - height))) width=(num(b - a)) height=(num(height)) {}
            }
        }
    };
    let port_mm = match device.device.lumen {
        LumenKind::RapidExchange { port_from_tip } => Some(tip_mm - port_from_tip),
        _ => None,
    };
    let dead_mm = device.dead_mm();
    html! {
        (part("out", rear_mm.min(valve_mm), valve_mm, 12.0))
        @let (a, b) = (scale.within(valve_mm.max(rear_mm)), scale.within(hub_mm));
        @if b - a > 0.05 && rear_mm < hub_mm {
            rect.valve x=(num(a)) y=(num(y + 8.5)) width=(num((b - a).max(1.5))) height="10" {}
        }
        (colour("cover", hub_mm.max(rear_mm), covered_mm.max(hub_mm), 9.0))
        (colour("bare", covered_mm.max(hub_mm), tip_mm, 15.0))
        @if dead_mm > 0.0 && scale.holds(rear_mm) {
            @let (a, b) = (scale.within(rear_mm - dead_mm), scale.within(rear_mm));
            rect.mesh x=(num(a)) y=(num(y + 5.0)) width=(num((b - a).max(2.0))) height=(num(ROW - 10.0)) {}
        }
        @if let Some(port_mm) = port_mm.filter(|p| scale.holds(*p)) {
            @let x = num(scale.at(port_mm));
            line.leader x1=(x) x2=(x) y1=(num(y + 3.0)) y2=(num(y + ROW - 3.0)) {}
        }
        @if scale.holds(tip_mm) {
            @let x = scale.at(tip_mm);
            path.tip d={ "M" (num(x)) " " (num(y + 5.0)) "l4 8.5l-4 8.5z" } {}
        }
        @if row.moved {
            text.b x=(num(LEFT - 12.0)) y=(num(y + 18.0)) { "▸" }
        }
        @if close_up {
            @let (far, name) = in_two(&place(&row.tip_at));
            @if far.is_empty() {
                text.t x=(num(WIDTH - RIGHT + 6.0)) y=(num(y + 17.0)) { (cut(&name, 1.12 * RIGHT)) }
            } @else {
                @let (number, joint) = far.split_once(" mm").unwrap_or((&far, ""));
                text.t x=(num(WIDTH - RIGHT + 6.0)) y=(num(y + 11.5)) data-mm=[number.parse::<f64>().ok()] data-kind="l" data-after=(joint) { (far) }
                text.t x=(num(WIDTH - RIGHT + 6.0)) y=(num(y + 23.0)) { (cut(&name, 1.12 * RIGHT)) }
            }
        } @else {
            text.t x=(num(WIDTH - RIGHT + 6.0)) y=(num(y + 17.0)) data-mm=(num(row.outside_mm)) data-kind="l" data-after=" outside" {
                (fixed(row.outside_mm, 0)) " mm outside"
            }
        }
    }
}

/// A place in words, broken before its name.
fn in_two(words: &str) -> (String, String) {
    for joint in [" short of ", " past "] {
        if let Some((far, name)) = words.split_once(joint) {
            return (format!("{far}{}", joint.trim_end()), name.to_owned());
        }
    }
    (String::new(), words.to_owned())
}

/// Where the hub of what a device enters through begins (its valves' outer end) and where its usable
/// length begins, mm from the access hub.
fn entry(sheet: &Sheet<'_>, step: &StepRow, row: &DeviceRow) -> (f64, f64) {
    let through = row.through.as_ref().and_then(|name| {
        let i = sheet.index(name)?;
        let outer = step.devices.iter().find(|d| d.name == *name)?;
        Some((i, outer.fed_mm))
    });
    match through {
        Some((i, fed_mm)) => {
            let outer = &sheet.plan.devices[i];
            let hub_mm = fed_mm - outer.device.usable_length_mm;
            (hub_mm - outer.dead_mm(), hub_mm)
        }
        None => (0.0, 0.0),
    }
}

/// How far out the catheters around a device reach, mm from the access hub.
fn covered_to(sheet: &Sheet<'_>, step: &StepRow, row: &DeviceRow) -> f64 {
    let mut reach_mm = 0.0_f64;
    let mut through = row.through.as_ref();
    // a stack is no deeper than it has devices
    for _ in 0..sheet.plan.devices.len() {
        let Some(name) = through else { break };
        let Some(outer) = step.devices.iter().find(|d| d.name == *name) else {
            break;
        };
        reach_mm = reach_mm.max(sheet.plan.fed_mm(outer.tip_mm));
        through = outer.through.as_ref();
    }
    reach_mm
}

/// Stents that lie in the vessel.
fn deployed(sheet: &Sheet<'_>, step: &StepRow, diagram: &Diagram) -> Markup {
    let scale = &diagram.scale;
    let fed_mm = |station_mm: f64| sheet.plan.fed_mm(station_mm);
    html! {
        @for (name, proximal_mm, distal_mm) in &step.stents {
            @if let Some((i, y)) = sheet.index(name).and_then(|i| Some((i, diagram.y(i)?))) {
                @let (a, b) = (scale.within(fed_mm(*proximal_mm)), scale.within(fed_mm(*distal_mm)));
                @if b - a > 0.1 {
                    rect class={ "d" (i) " out" } x=(num(a)) y=(num(y + 4.0)) width=(num(b - a)) height=(num(ROW - 8.0)) {}
                    path.mesh d=(mesh(a, b, y + 4.0, y + ROW - 4.0)) {}
                }
            }
        }
    }
}

/// Crossed lines, as a braid is drawn.
fn mesh(from: f64, to: f64, top: f64, bottom: f64) -> String {
    let count = ((to - from) / 9.0).clamp(2.0, 40.0).round();
    let pitch = (to - from) / count;
    let mut path = format!(
        "M{} {}H{}V{}H{}z",
        num(from),
        num(top),
        num(to),
        num(bottom),
        num(from)
    );
    let mut x = from;
    while x < to - 0.5 * pitch {
        let next = x + pitch;
        path.push_str(&format!(
            "M{0} {2}L{1} {3}M{0} {3}L{1} {2}",
            num(x),
            num(next),
            num(top),
            num(bottom)
        ));
        x = next;
    }
    path
}

/// Every device after the chosen step in figures.
pub(super) fn tables(sheet: &Sheet<'_>) -> Markup {
    use super::text::{Kind, bare, unit};
    html! {
        @for step in &sheet.outcome().steps {
            div class=(sheet.step_class(step.number)) data-step=(step.number) {
                @if step.devices.is_empty() {
                    p { "Nothing is in the body." }
                } @else {
                    div.scroll tabindex="0" role="region" aria-label={ "Devices after step " (step.number) } {
                        table {
                            caption { "After step " (step.number) ": " (step.say) }
                            thead { tr {
                                th scope="col" { "device" }
                                th scope="col" { "tip" }
                                th scope="col" { "tip lies in" }
                                th.r scope="col" { "fed, " (unit(Kind::Way)) }
                                th.r scope="col" { "outside, " (unit(Kind::Way)) }
                                th.r scope="col" { "to spare, " (unit(Kind::Way)) }
                                th.r scope="col" { "least clearance, " (unit(Kind::Bore)) }
                            } }
                            tbody {
                                @for row in &step.devices {
                                    tr {
                                        th scope="row" {
                                            (sheet.key(&row.name)) (row.name)
                                            @if row.moved { " (moved)" }
                                        }
                                        td { (super::text::at(&row.tip_at)) }
                                        td { (row.tip_in) }
                                        td.r { (bare(row.fed_mm, Kind::Way, 0)) }
                                        td.r { (bare(row.outside_mm, Kind::Way, 0)) }
                                        td.r { (bare(row.margin_mm, Kind::Way, 0)) }
                                        td.r { @if let Some(mm) = row.clearance_mm { (bare(mm, Kind::Bore, 2)) } @else { "–" } }
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
