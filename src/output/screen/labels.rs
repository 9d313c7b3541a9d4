//! Names in a picture: tips and landmarks, placed so that none covers another.

use super::drawing::veil;
use super::paint::{Icon, Words, icon};
use super::scheme::solid;
use super::{Place, Scheme, View, meant_tip, vec3};
use crate::output::palette::State;
use crate::output::stage::{Moment, Stage};
use egui::{
    Align2, Color32, CornerRadius, Painter, Pos2, Rect, Stroke, StrokeKind, Vec2, pos2, vec2,
};
use kiss3d::glamx;

/// A name and the place it belongs to.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// The name.
    pub text: String,
    /// Where it belongs, pixels.
    pub at: Pos2,
    /// Its colour.
    pub colour: Color32,
    /// A device's tip, set off by a ground; else a landmark in plain faint letters.
    pub device: bool,
    /// A sign before the name.
    pub icon: Option<Icon>,
}

/// Landmarks named in each place; those that a route lacks are left out.
const LANDMARKS: [(&str, &str, &[Place]); 12] = [
    (
        "arteriotomy",
        "access in the groin or wrist",
        &[Place::Route],
    ),
    ("arch-top", "aortic arch", &[Place::Route, Place::Arch]),
    ("left-subclavian-origin", "left subclavian", &[Place::Arch]),
    ("common-carotid-origin", "common carotid", &[Place::Arch]),
    ("innominate-origin", "innominate", &[Place::Arch]),
    (
        "carotid-bifurcation",
        "carotid bifurcation",
        &[Place::Route, Place::Arch, Place::Neck, Place::Tip],
    ),
    (
        "neck-lesion-start",
        "narrowing",
        &[Place::Neck, Place::Edge, Place::Tip],
    ),
    ("skull-base", "skull base", &[Place::Neck, Place::Head]),
    ("ica-terminus", "end of the carotid", &[Place::Head]),
    (
        "clot-start",
        "clot",
        &[Place::Route, Place::Neck, Place::Edge, Place::Head],
    ),
    ("m2-inferior-10mm", "M2", &[Place::Head]),
    ("m2-superior-10mm", "M2", &[Place::Head]),
];

/// What is named in a picture of a place.
#[must_use]
pub fn labels_of(
    scheme: &Scheme,
    stage: &Stage,
    moment: &Moment,
    place: Place,
    view: &View,
    rect: Rect,
) -> Vec<Label> {
    let seen = |point: &crate::geometry::Point| -> Option<Pos2> {
        let size = glamx::Vec2::new(rect.width(), rect.height());
        let at = view.project(vec3(point), size)?;
        let at = rect.min + vec2(at.x, at.y);
        rect.shrink(scheme.px(4.0)).contains(at).then_some(at)
    };
    let mut labels = Vec::new();
    for device in &moment.devices {
        if let Some(at) = seen(&device.tip) {
            let described = &stage.devices[device.device];
            let name = described.name.replace('-', " ");
            labels.push(Label {
                text: if device.suction {
                    format!("{name}: suction")
                } else {
                    name
                },
                at,
                colour: solid(described.look.colour(scheme.theme)),
                device: true,
                icon: None,
            });
        }
    }
    for band in moment.bands.iter().filter(|_| place == Place::Edge) {
        let (colour, icon) = scheme.state(band.state.state());
        if let Some(at) = band.nodes.first().and_then(|n| seen(&n.at)) {
            let edge = if band.upper { "upper" } else { "lower" };
            labels.push(Label {
                text: format!("{edge} edge: {}", band.state.in_words()),
                at,
                colour,
                device: true,
                icon: Some(icon),
            });
        }
    }
    if let Some((device, station_mm)) = meant_tip(stage, moment.step) {
        let (colour, icon) = scheme.state(State::Bad);
        let point = stage.plan().track.frame_at(station_mm).origin_mm;
        if let Some(at) = seen(&point) {
            let name = stage.devices[device].name.replace('-', " ");
            labels.push(Label {
                text: format!("{name}: should end here"),
                at,
                colour,
                device: true,
                icon: Some(icon),
            });
        }
    }
    for (name, words, places) in LANDMARKS {
        let found = stage.landmarks.iter().find(|l| l.name == name);
        let Some(landmark) = found.filter(|_| places.contains(&place)) else {
            continue;
        };
        // a clot may have been drawn away from where it was
        let at = if name == "clot-start" {
            let clot = moment.clots.first();
            clot.and_then(|c| c.nodes.get(c.nodes.len() / 2))
                .map(|n| n.at)
        } else {
            Some(landmark.at)
        };
        if let Some(at) = at.and_then(|at| seen(&at)) {
            labels.push(Label {
                text: words.to_owned(),
                at,
                colour: scheme.faint(),
                device: false,
                icon: None,
            });
        }
    }
    labels
}

/// Draws labels beside their places, none over another or over what is `taken`, and all within `rect`.
pub fn place_labels(
    painter: &Painter,
    scheme: &Scheme,
    rect: Rect,
    labels: &[Label],
    taken: &[Rect],
) {
    let mut taken = taken.to_vec();
    let mut ordered: Vec<&Label> = labels.iter().collect();
    ordered.sort_by(|a, b| {
        let rank = |l: &Label| (!l.device, l.at.y);
        let ((da, ya), (db, yb)) = (rank(a), rank(b));
        da.cmp(&db).then(ya.total_cmp(&yb))
    });
    for label in ordered {
        let size_px = scheme.px(if label.device { 15.0 } else { 13.5 });
        let colour = if label.device {
            scheme.ink()
        } else {
            label.colour
        };
        let words = Words::line(&label.text, size_px, colour);
        let pad = vec2(scheme.px(6.0), scheme.px(2.5));
        let mut size = words.size(painter) + 2.0 * pad;
        if label.icon.is_some() {
            size.x += 1.3 * size_px;
        }
        let Some(spot) = free_spot(scheme, rect, label, size, &taken) else {
            continue;
        };
        taken.push(spot.expand(scheme.px(2.0)));
        draw(painter, scheme, label, spot, words);
    }
}

/// The nearest place for a box: beside its anchor, then further up and down on either side.
fn free_spot(
    scheme: &Scheme,
    rect: Rect,
    label: &Label,
    size: Vec2,
    taken: &[Rect],
) -> Option<Rect> {
    let gap = scheme.px(if label.device { 30.0 } else { 22.0 });
    let frame = rect.shrink2(vec2(scheme.px(10.0), scheme.px(5.0)));
    // names of devices to the right, of places to the left: fewer lines cross
    let sides = if label.device {
        [1.0, -1.0]
    } else {
        [-1.0, 1.0]
    };
    for step in 0..14_u8 {
        let magnitude = f32::from(step.div_ceil(2)) * (size.y + scheme.px(3.0));
        let shift = if step % 2 == 0 { magnitude } else { -magnitude };
        for side in sides {
            let half = 0.5 * size.x;
            // a long name moves in from the edge, as long as it does not cover its place
            let inside = (frame.left() + half)..=(frame.right() - half);
            if inside.is_empty() {
                return None;
            }
            let wished = label.at.x + side * (gap + half);
            let x = wished.clamp(*inside.start(), *inside.end());
            let spot = Rect::from_center_size(pos2(x, label.at.y + shift), size);
            let covers = spot.expand(scheme.px(3.0)).contains(label.at);
            if frame.contains_rect(spot) && !covers && !taken.iter().any(|t| t.intersects(spot)) {
                return Some(spot);
            }
        }
    }
    None
}

fn draw(painter: &Painter, scheme: &Scheme, label: &Label, spot: Rect, words: Words<'_>) {
    let near = pos2(
        label.at.x.clamp(spot.left(), spot.right()),
        label.at.y.clamp(spot.top(), spot.bottom()),
    );
    let line = Stroke::new(
        scheme.px(if label.device { 1.4 } else { 1.0 }),
        label.colour,
    );
    painter.line_segment([label.at, near], line);
    if label.device {
        painter.circle(
            label.at,
            scheme.px(3.2),
            label.colour,
            Stroke::new(scheme.px(1.2), scheme.ground()),
        );
        painter.rect(
            spot,
            CornerRadius::same(4),
            veil(scheme.panel()),
            Stroke::new(scheme.px(1.6), label.colour),
            StrokeKind::Inside,
        );
    } else {
        painter.rect_filled(spot, CornerRadius::same(4), veil(scheme.ground()));
    }
    match label.icon {
        Some(sign) => {
            let size = words.size;
            let at = pos2(spot.left() + scheme.px(6.0) + 0.5 * size, spot.center().y);
            icon(painter, at, size, sign, label.colour, scheme.panel());
            words.draw(
                painter,
                pos2(at.x + 0.8 * size, spot.center().y),
                Align2::LEFT_CENTER,
            );
        }
        None => {
            words.draw(painter, spot.center(), Align2::CENTER_CENTER);
        }
    }
}
