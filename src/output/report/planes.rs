//! Neck and head in two planes, as a C-arm sees them: from the front and from the patient's left.

use super::Sheet;
use super::svg::{Figure, cut, num};
use crate::geometry::Point;
use crate::output::beside::lines_beside;
use crate::output::projection::{PROJECTIONS, Projection};
use crate::stage::{Moment, Node, Stage};
use maud::{Markup, html};

/// Height of the drawing, and room for names beside each plane.
const HEIGHT: f64 = 420.0;
const NAMES: f64 = 88.0;
/// Around what is drawn.
const MARGIN: f64 = 14.0;
/// The drawing begins so far below the bifurcation, mm.
const BELOW_MM: f64 = 40.0;
/// Nothing is drawn thinner.
const THINNEST: f64 = 1.1;
/// Widths that differ by less are drawn as one stroke, as a share.
const SAME: f64 = 0.04;
/// Height of a name.
const LINE: f64 = 12.0;
/// Landmarks that are named, and how.
const NAMED: [(&str, &str); 4] = [
    ("carotid-bifurcation", "bifurcation"),
    ("skull-base", "skull base"),
    ("ica-terminus", "terminus"),
    ("clot-start", "clot"),
];

/// Places and scale of one plane's drawing.
#[derive(Debug, Clone, Copy)]
struct Frame {
    plane: Projection,
    left: f64,
    /// World at the left and at the top, mm.
    from_mm: f64,
    top_mm: f64,
    /// Units a mm.
    scale: f64,
}

impl Frame {
    fn place(&self, at: &Point) -> (f64, f64) {
        (
            self.left + self.scale * ((self.plane.across)(at) - self.from_mm),
            MARGIN + LINE + self.scale * (self.top_mm - at.z),
        )
    }

    fn width(&self, radius_mm: f64) -> f64 {
        (2.0 * self.scale * radius_mm).max(THINNEST)
    }

    /// A tube as strokes of its width, each over the stretch where that hardly changes.
    fn tube(&self, nodes: &[Node], class: &str, wider: f64) -> Markup {
        let mut runs: Vec<(f64, Vec<(f64, f64)>)> = Vec::new();
        for node in nodes {
            let (width, at) = (self.width(node.radius_mm) + wider, self.place(&node.at));
            match runs.last_mut() {
                Some((first, points)) if (width / *first - 1.0).abs() < SAME => points.push(at),
                Some((_, points)) => {
                    points.push(at);
                    runs.push((width, vec![at]));
                }
                None => runs.push((width, vec![at])),
            }
        }
        html! {
            @for (width, points) in runs.iter().filter(|(_, points)| points.len() > 1) {
                polyline class={ "tube " (class) } stroke-width=(num(*width)) points=(super::svg::points(points.iter().copied())) {}
            }
        }
    }

    fn wire(&self, points: &[Point], class: &str) -> Markup {
        html! {
            polyline class={ "tube thin " (class) } points=(super::svg::points(points.iter().map(|at| self.place(at)))) {}
        }
    }
}

/// Both planes after the step that the page shows first.
pub(super) fn figure(sheet: &Sheet<'_>, stage: &Stage) -> Option<Figure> {
    let track = &sheet.plan.track;
    let bifurcation_mm = track.landmark("carotid-bifurcation").ok()?;
    let shown = |s_mm: f64| s_mm > bifurcation_mm - BELOW_MM;
    let wall = stage.wall.iter().filter(|n| shown(n.station_mm));
    let wall: Vec<Node> = wall.copied().collect();
    let (low, high) = bounds(&wall)?;
    let step = sheet.first_step;
    let moment = stage.at_step(step - 1, stage.stops_at(step - 1));
    let scale = (HEIGHT - 2.0 * MARGIN - LINE) / (high.z - low.z);
    let mut left = NAMES;
    let mut body = Vec::new();
    for plane in PROJECTIONS {
        let frame = Frame {
            plane,
            left,
            from_mm: (plane.across)(&low),
            top_mm: high.z,
            scale,
        };
        let width = scale * ((plane.across)(&high) - (plane.across)(&low));
        body.push(drawing(sheet, stage, &moment, &frame, &wall, left + width));
        left += width + 2.0 * NAMES;
    }
    Some(Figure {
        name: "planes".into(),
        title: format!("Neck and head in step {step}"),
        words: "Vessel, lesion, clot, stent and devices in two projections, from the front and from the patient's left, each device named at its tip.".into(),
        size: (left - NAMES, HEIGHT),
        body: html! { @for part in body { (part) } },
    })
}

/// Corners of the box around a tube.
fn bounds(nodes: &[Node]) -> Option<(Point, Point)> {
    let first = nodes.first()?.at;
    let mut corners = (first, first);
    for node in nodes {
        let reach = crate::geometry::Vector::repeat(node.radius_mm);
        corners.0 = corners.0.inf(&(node.at - reach));
        corners.1 = corners.1.sup(&(node.at + reach));
    }
    Some(corners)
}

fn drawing(
    sheet: &Sheet<'_>,
    stage: &Stage,
    moment: &Moment,
    frame: &Frame,
    wall: &[Node],
    right: f64,
) -> Markup {
    let from_mm = wall.first().map_or(0.0, |n| n.station_mm);
    let inside = |nodes: &[Node]| -> Vec<Node> {
        let shown = nodes.iter().filter(|n| n.station_mm >= from_mm);
        shown.copied().collect()
    };
    let tips: Vec<(f64, f64, String)> = moment
        .devices
        .iter()
        .filter(|d| d.tip_mm >= from_mm)
        .map(|d| {
            let (x, y) = frame.place(&d.tip);
            (x, y, stage.devices[d.device].name.clone())
        })
        .collect();
    let marks: Vec<(f64, f64, String)> = NAMED
        .iter()
        .filter_map(|(name, words)| {
            let at = stage.landmarks.iter().find(|l| l.name == *name)?;
            let (x, y) = frame.place(&at.at);
            Some((x, y, (*words).to_owned()))
        })
        .collect();
    html! {
        text.t.mid x=(num(f64::midpoint(frame.left, right))) y=(num(LINE)) { (frame.plane.title) }
        (frame.tube(wall, "wallline", 2.4))
        (frame.tube(wall, "wallfill", 0.0))
        @for plaque in &moment.plaques {
            (frame.tube(&plaque.outer, "plaquefill", 0.0))
            (frame.tube(&plaque.inner, "wallfill", 0.0))
        }
        @for clot in &moment.clots { (frame.tube(&clot.nodes, "clotfill", 0.0)) }
        @for device in &moment.devices {
            @let nodes = inside(&device.nodes);
            (frame.tube(&nodes, "ink", 0.8))
            (frame.tube(&nodes, &format!("s{}", device.device), 0.0))
            @if let Some(balloon) = &device.balloon {
                (frame.tube(balloon, &format!("s{} pale", device.device), 0.0))
            }
            @for wire in device.struts.iter().flat_map(|s| &s.wires) { (frame.wire(wire, "ink")) }
        }
        @for wire in moment.stents.iter().flat_map(|s| &s.struts.wires) { (frame.wire(wire, "ink")) }
        (names(sheet, &tips, right + 8.0, true))
        (names(sheet, &marks, frame.left - 8.0, false))
    }
}

/// Names at one side of a plane, pushed apart, each led to its place.
fn names(sheet: &Sheet<'_>, at: &[(f64, f64, String)], edge: f64, at_right: bool) -> Markup {
    let mut at: Vec<&(f64, f64, String)> = at.iter().collect();
    at.sort_by(|a, b| a.1.total_cmp(&b.1));
    let heights: Vec<f64> = at.iter().map(|(_, y, _)| *y).collect();
    let lines = lines_beside(&heights, LINE, MARGIN + 2.0 * LINE, HEIGHT - 4.0);
    let room = NAMES - 12.0;
    html! {
        @for ((x, y, name), line) in at.iter().zip(lines) {
            @let words = cut(name, room);
            polyline.axis points=(super::svg::points([(*x, *y), (edge, line - 4.0)])) {}
            @if at_right {
                text.t x=(num(edge + 3.0)) y=(num(line)) { (words) }
            } @else {
                text.t.end x=(num(edge - 3.0)) y=(num(line)) { (words) }
            }
            @if let Some(i) = sheet.index(name) { circle class={ "d" (i) } cx=(num(*x)) cy=(num(*y)) r="1.8" {} }
        }
    }
}
