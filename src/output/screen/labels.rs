//! Names in a picture: tips and landmarks, placed so that none covers another.

use super::contacts::{PressArrow, force_labels, legend_rect};
use super::drawing::veil;
use super::meant::beside_tip;
use super::overlay::written_on;
use super::paint::{Icon, Words, icon};
use super::scheme::solid;
use super::{Place, Scheme, View, meant_tip};
use crate::output::palette::{State, look_of};
use crate::stage::{Moment, Stage};
use egui::{
    Align2, Color32, CornerRadius, Painter, Pos2, Rect, Stroke, StrokeKind, Vec2, pos2, vec2,
};

/// What a label names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum LabelOf {
    /// A device's tip or a stent's edge: in a frame.
    Device,
    /// A landmark: plain faint letters.
    Landmark,
    /// A force, at the end of its arrow: to its right, or its left.
    Force {
        /// The arrow points to the right.
        right: bool,
    },
}

/// A name and the place it belongs to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Label {
    /// The name.
    pub(super) text: String,
    /// Where it belongs, pixels.
    pub(super) at: Pos2,
    /// Its colour.
    pub(super) colour: Color32,
    /// What is named.
    pub(super) of: LabelOf,
    /// A sign before the name.
    pub(super) icon: Option<Icon>,
}

/// Landmarks named in each place; those that a route lacks are left out.
const LANDMARKS: [(&str, &str, &[Place]); 12] = [
    ("arteriotomy", "puncture", &[Place::Route]),
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
fn labels_of(
    scheme: &Scheme,
    stage: &Stage,
    moment: &Moment,
    place: Place,
    view: &View,
    rect: Rect,
) -> Vec<Label> {
    let seen = |point: &crate::geometry::Point| -> Option<Pos2> {
        let at = view.place(point, rect)?;
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
                colour: solid(look_of(stage, device.device).colour(scheme.theme)),
                of: LabelOf::Device,
                icon: None,
            });
        }
    }
    for band in moment.bands.iter().filter(|_| place == Place::Edge) {
        let (colour, icon) = scheme.state(State::from(band.state));
        if let Some(at) = band.nodes.first().and_then(|n| seen(&n.at)) {
            let edge = if band.upper { "upper" } else { "lower" };
            labels.push(Label {
                text: format!("{edge} edge: {}", band.state.in_words()),
                at,
                colour,
                of: LabelOf::Device,
                icon: Some(icon),
            });
        }
    }
    if let Some((device, station_mm)) = meant_tip(stage, moment.step) {
        let (colour, icon) = scheme.state(State::Bad);
        let point = beside_tip(stage, moment, device, station_mm);
        if let Some(at) = seen(&point) {
            let name = stage.devices[device].name.replace('-', " ");
            labels.push(Label {
                text: format!("{name}: should end here"),
                at,
                colour,
                of: LabelOf::Device,
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
                of: LabelOf::Landmark,
                icon: None,
            });
        }
    }
    labels
}

/// A picture to be named in.
pub(crate) struct Named<'a> {
    pub(crate) stage: &'a Stage,
    pub(crate) moment: &'a Moment,
    /// Which names suit it.
    pub(crate) place: Place,
    /// Its own name.
    pub(crate) name: &'a str,
    pub(crate) rect: Rect,
    pub(crate) view: &'a View,
    /// Arrows drawn in it, whose legend stands at its foot; none where forces are not shown.
    pub(crate) arrows: Option<&'a [PressArrow]>,
    /// What is written in it besides.
    pub(crate) written: Option<Rect>,
}

impl Named<'_> {
    /// Names what is seen, clear of what else is written and of the arrows.
    pub(crate) fn draw(&self, painter: &Painter, scheme: &Scheme) {
        let Self { rect, view, .. } = *self;
        let arrows = self.arrows.unwrap_or_default();
        let mut labels = labels_of(scheme, self.stage, self.moment, self.place, view, rect);
        labels.extend(force_labels(scheme, rect, arrows));
        let mut keep = Keep {
            boxes: written_on(painter, scheme, rect, view, self.name),
            lines: arrows.iter().map(|a| [a.from, a.to]).collect(),
            vessel: vessel_in(self.stage, rect, view),
        };
        keep.boxes.extend(self.written);
        if self.arrows.is_some() {
            keep.boxes.push(legend_rect(painter, scheme, rect, view));
        }
        place_labels(painter, scheme, rect, &labels, keep);
    }
}

/// What labels must not cover, or better not.
#[derive(Debug, Clone, Default, PartialEq)]
struct Keep {
    /// What is written already.
    boxes: Vec<Rect>,
    /// Lines that are read: arrows of forces.
    lines: Vec<[Pos2; 2]>,
    /// Points of the vessel: kept clear where there is room.
    vessel: Vec<Pos2>,
}

/// Points of the vessel in a picture.
fn vessel_in(stage: &Stage, rect: Rect, view: &View) -> Vec<Pos2> {
    let seen = stage
        .wall
        .iter()
        .filter_map(|node| view.place(&node.at, rect));
    seen.filter(|at| rect.contains(*at)).collect()
}

/// Draws labels beside their places, all within `rect`, none over another, its line or its place, or over
/// what is kept.
fn place_labels(painter: &Painter, scheme: &Scheme, rect: Rect, labels: &[Label], keep: Keep) {
    let mut ordered: Vec<&Label> = labels.iter().collect();
    ordered.sort_by(|a, b| {
        let rank = |l: &Label| match l.of {
            LabelOf::Device => 0,
            LabelOf::Force { .. } => 1,
            LabelOf::Landmark => 2,
        };
        (rank(a).cmp(&rank(b))).then(a.at.y.total_cmp(&b.at.y))
    });
    let tips = labels.iter().filter(|l| l.of == LabelOf::Device);
    let mut used = Used {
        keep,
        points: tips.map(|l| l.at).collect(),
    };
    for label in ordered {
        let framed = label.of == LabelOf::Device;
        let size_px = scheme.px(if framed { 15.0 } else { 13.5 });
        let colour = if framed { scheme.ink() } else { label.colour };
        let words = Words::line(&label.text, size_px, colour);
        let pad = vec2(scheme.px(6.0), scheme.px(2.5));
        let mut size = words.size(painter) + 2.0 * pad;
        if label.icon.is_some() {
            size.x += 1.3 * size_px;
        }
        let Some(spot) = free_spot(scheme, rect, label, size, &used) else {
            continue;
        };
        used.keep.boxes.push(spot.expand(scheme.px(2.0)));
        used.keep.lines.push([label.at, beside(spot, label.at)]);
        draw(painter, scheme, label, spot, words);
    }
}

/// What a further label must not cover.
struct Used {
    keep: Keep,
    /// Tips of devices.
    points: Vec<Pos2>,
}

impl Used {
    /// Whether a box may stand there, its line leading to `at`.
    fn allows(&self, spot: Rect, at: Pos2, clearance: f32) -> bool {
        let line = [at, beside(spot, at)];
        let wide = spot.expand(clearance);
        let Keep { boxes, lines, .. } = &self.keep;
        !wide.contains(at)
            && !boxes.iter().any(|b| b.intersects(spot))
            && !self.points.iter().any(|p| wide.contains(*p))
            && !lines.iter().any(|l| crosses(l, wide))
            // the box that holds the place itself cannot be led around
            && !boxes.iter().any(|b| crosses(&line, *b) && !b.contains(at))
    }

    fn on_vessel(&self, spot: Rect) -> bool {
        self.keep.vessel.iter().any(|p| spot.contains(*p))
    }
}

/// Whether a line passes through a box, at one of a few points: both are short.
fn crosses([a, b]: &[Pos2; 2], rect: Rect) -> bool {
    const POINTS: u8 = 16;
    (0..=POINTS).any(|k| rect.contains(a.lerp(*b, f32::from(k) / f32::from(POINTS))))
}

/// The point of a box nearest to a place.
fn beside(spot: Rect, at: Pos2) -> Pos2 {
    pos2(
        at.x.clamp(spot.left(), spot.right()),
        at.y.clamp(spot.top(), spot.bottom()),
    )
}

/// The nearest place for a box: beside its anchor, then further up and down on either side; off the vessel
/// where that is near enough.
fn free_spot(scheme: &Scheme, rect: Rect, label: &Label, size: Vec2, used: &Used) -> Option<Rect> {
    /// Rows above and below that are tried to keep off the vessel.
    const CLEAR_ROWS: u8 = 9;
    let frame = rect.shrink2(vec2(scheme.px(10.0), scheme.px(5.0)));
    let half = 0.5 * size.x;
    // a long name moves in from the edge, as long as it does not cover its place
    let inside = (frame.left() + half)..=(frame.right() - half);
    if inside.is_empty() {
        return None;
    }
    // names of devices to the right, of places to the left: fewer lines cross
    // devices are always named; of the others what has no room near its place is left out
    let (gap, right_first, rows) = match label.of {
        LabelOf::Device => (30.0, true, 14),
        LabelOf::Landmark => (22.0, false, 8),
        LabelOf::Force { right } => (5.0, right, 4),
    };
    let sides = if right_first {
        [1.0, -1.0]
    } else {
        [-1.0, 1.0]
    };
    let spots = |rows: u8| {
        (0..rows).flat_map(move |row| {
            let magnitude = f32::from(row.div_ceil(2)) * (size.y + scheme.px(3.0));
            let shift = if row % 2 == 0 { magnitude } else { -magnitude };
            sides.map(|side| label.at + vec2(side * (scheme.px(gap) + half), shift))
        })
    };
    let boxed = |middle: Pos2| {
        let x = middle.x.clamp(*inside.start(), *inside.end());
        Rect::from_center_size(pos2(x, middle.y), size)
    };
    let allowed =
        |spot: &Rect| frame.contains_rect(*spot) && used.allows(*spot, label.at, scheme.px(3.0));
    let clear = |spot: &Rect| allowed(spot) && !used.on_vessel(*spot);
    let off = spots(rows.min(CLEAR_ROWS)).map(&boxed).find(clear);
    off.or_else(|| spots(rows).map(&boxed).find(allowed))
}

fn draw(painter: &Painter, scheme: &Scheme, label: &Label, spot: Rect, words: Words<'_>) {
    let framed = label.of == LabelOf::Device;
    let line = Stroke::new(scheme.px(if framed { 1.4 } else { 1.0 }), label.colour);
    painter.line_segment([label.at, beside(spot, label.at)], line);
    if framed {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::palette::Theme;

    fn label(at: Pos2, of: LabelOf) -> Label {
        Label {
            text: "guide".to_owned(),
            at,
            colour: Color32::BLACK,
            of,
            icon: None,
        }
    }

    const FRAME: Rect = Rect {
        min: Pos2::ZERO,
        max: pos2(400.0, 300.0),
    };
    const SIZE: Vec2 = vec2(60.0, 20.0);

    fn spot_of(label: &Label, used: &Used) -> Rect {
        let scheme = Scheme::new(Theme::Light, 720.0);
        free_spot(&scheme, FRAME, label, SIZE, used).unwrap_or(Rect::NOTHING)
    }

    #[test]
    fn look_names_keep_off_tips_lines_and_the_vessel() {
        let at = pos2(200.0, 150.0);
        let mut used = Used {
            keep: Keep::default(),
            points: Vec::new(),
        };
        let wished = Rect::from_center_size(pos2(260.0, 150.0), SIZE);
        let tip = label(at, LabelOf::Device);
        assert_eq!(
            spot_of(&tip, &used),
            wished,
            "to the right where all is free"
        );
        // the vessel runs there: further up or down, or to the left
        used.keep.vessel = (0..40)
            .map(|k| pos2(200.0 + 5.0 * k as f32, 150.0))
            .collect();
        let spot = spot_of(&tip, &used);
        assert!(spot.is_positive() && !used.on_vessel(spot), "{spot:?}");
        used.keep.vessel.clear();
        // another tip, an arrow, what is written
        for (points, lines, boxes) in [
            (vec![pos2(250.0, 152.0)], vec![], vec![]),
            (
                vec![],
                vec![[pos2(240.0, 100.0), pos2(280.0, 200.0)]],
                vec![],
            ),
            (vec![], vec![], vec![wished.shrink(5.0)]),
        ] {
            used.points = points.clone();
            used.keep.lines = lines.clone();
            used.keep.boxes = boxes;
            let spot = spot_of(&tip, &used);
            assert!(spot.is_positive() && spot != wished, "{spot:?}");
            assert!(used.allows(spot, at, 3.0), "{spot:?}");
            assert!(!points.iter().any(|p| spot.contains(*p)), "{spot:?}");
            assert!(!lines.iter().any(|l| crosses(l, spot)), "{spot:?}");
        }
    }
}
