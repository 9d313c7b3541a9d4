//! What is drawn over a view: thin devices, the way one looks, a scale.

use super::drawing::veil;
use super::paint::Words;
use super::scheme::solid;
use super::{Scheme, View, least_width_px};
use crate::output::palette::look_of;
use crate::stage::{DrawnDevice, Moment, Stage};
use egui::{Align2, CornerRadius, Painter, Pos2, Rect, Shape, Stroke, pos2, vec2};

/// Draws lines over devices that would be thinner than can be seen; true where any was.
pub(crate) fn lines_over(
    painter: &Painter,
    scheme: &Scheme,
    stage: &Stage,
    moment: &Moment,
    rect: Rect,
    view: &View,
) -> bool {
    let px_per_mm = view.pixels_per_mm(rect.height());
    let mut any = false;
    let mut devices: Vec<_> = moment.devices.iter().map(|d| (d, widest_mm(d))).collect();
    devices.sort_by(|a, b| b.1.total_cmp(&a.1));
    for (device, outer_mm) in devices {
        let wanted = scheme.px(least_width_px(outer_mm));
        if outer_mm * px_per_mm >= wanted {
            continue;
        }
        any = true;
        let colour = solid(look_of(stage, device.device).colour(scheme.theme));
        let mut line: Vec<Pos2> = Vec::new();
        for node in &device.nodes {
            if let Some(at) = view.place(&node.at, rect)
                && line.last().is_none_or(|last| (*last - at).length() > 0.7)
            {
                line.push(at);
            }
        }
        painter.add(Shape::line(line, Stroke::new(wanted, colour)));
    }
    any
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a diameter in millimetres, drawn in pixels"
)]
pub(crate) fn widest_mm(device: &DrawnDevice) -> f32 {
    2.0 * device.nodes.iter().map(|n| n.radius_mm).fold(0.0, f64::max) as f32
}

/// Which way one looks, the patient's sides, and a scale.
pub(crate) fn view_name(
    painter: &Painter,
    scheme: &Scheme,
    rect: Rect,
    view: &View,
    what: &str,
    widened: bool,
) {
    let pad = scheme.px(NAME_PAD_PX);
    let name = name_of(view, what);
    let veiled = |words: Words<'_>, at: Pos2| {
        let ground = Rect::from_min_size(at, words.size(painter)).expand(scheme.px(3.0));
        painter.rect_filled(ground, CornerRadius::same(3), veil(scheme.ground()));
        words.draw(painter, at, Align2::LEFT_TOP)
    };
    let drawn = veiled(
        Words::line(&name, scheme.px(NAME_PX), scheme.faint()),
        rect.min + vec2(pad, pad),
    );
    if widened {
        veiled(
            Words::line("thin devices drawn wider", scheme.px(12.0), scheme.faint()),
            drawn.left_bottom() + vec2(0.0, scheme.px(1.0)),
        );
    }
    for (word, at) in sides(view)
        .into_iter()
        .zip(side_words(painter, scheme, rect, view))
    {
        Words::line(word, scheme.px(SIDE_PX), scheme.faint()).draw(
            painter,
            at.center(),
            Align2::CENTER_CENTER,
        );
    }
    scale(painter, scheme, rect, view);
}

/// Design size of the words for the patient's sides, and their distance from the edges.
const SIDE_PX: f32 = 16.0;
const SIDE_PAD_PX: f32 = 10.0;

/// The patient's sides at the left and the right of a picture.
fn sides(view: &View) -> [&'static str; 2] {
    let (right, _) = view.axes();
    // the patient's left is +x, the back +y
    match (right.x.abs() > right.y.abs(), right.x > 0.0, right.y > 0.0) {
        (true, true, _) => ["R", "L"],
        (true, false, _) => ["L", "R"],
        (false, _, true) => ["front", "back"],
        (false, _, false) => ["back", "front"],
    }
}

/// Distance of a view's name from its corner, and its letters, design sizes.
const NAME_PAD_PX: f32 = 10.0;
const NAME_PX: f32 = 14.0;

fn name_of(view: &View, what: &str) -> String {
    format!("{what}, seen {}", view.from.in_words())
}

/// Where [`view_name`] writes: no label may stand there.
pub(crate) fn written_on(
    painter: &Painter,
    scheme: &Scheme,
    rect: Rect,
    view: &View,
    what: &str,
) -> Vec<Rect> {
    let mut written: Vec<Rect> = side_words(painter, scheme, rect, view).into();
    let name = name_of(view, what);
    let size = Words::line(&name, scheme.px(NAME_PX), scheme.faint()).size(painter);
    let pad = vec2(scheme.px(NAME_PAD_PX), scheme.px(NAME_PAD_PX));
    // the name, and the line below it where thin devices are drawn wider
    let tall = vec2(size.x, 2.0 * size.y);
    written.push(Rect::from_min_size(rect.min + pad, tall).expand(scheme.px(3.0)));
    let scale = vec2(SCALE_SHARE * rect.width(), scheme.px(34.0));
    written.push(Rect::from_min_size(
        rect.left_bottom() - vec2(0.0, scale.y),
        scale,
    ));
    written
}

/// Where they stand.
fn side_words(painter: &Painter, scheme: &Scheme, rect: Rect, view: &View) -> [Rect; 2] {
    let [left, right] =
        sides(view).map(|word| Words::line(word, scheme.px(SIDE_PX), scheme.faint()).size(painter));
    let pad = scheme.px(SIDE_PAD_PX);
    let y = rect.center().y;
    [
        Rect::from_center_size(pos2(rect.left() + pad + 0.5 * left.x, y), left),
        Rect::from_center_size(pos2(rect.right() - pad - 0.5 * right.x, y), right),
    ]
}

/// Longest scale bar, as a share of its picture's width.
const SCALE_SHARE: f32 = 0.24;

/// A round length as a bar.
fn scale(painter: &Painter, scheme: &Scheme, rect: Rect, view: &View) {
    let px_per_mm = view.pixels_per_mm(rect.height());
    let lengths = [
        (2.0, "2 mm"),
        (5.0, "5 mm"),
        (10.0, "1 cm"),
        (20.0, "2 cm"),
        (50.0, "5 cm"),
        (100.0, "10 cm"),
    ];
    let fits = |mm: f32| mm * px_per_mm < SCALE_SHARE * rect.width();
    let Some((mm, words)) = lengths.iter().rev().find(|(mm, _)| fits(*mm)) else {
        return;
    };
    let at = rect.left_bottom() + vec2(scheme.px(12.0), -scheme.px(12.0));
    let end = at + vec2(mm * px_per_mm, 0.0);
    let told = Words::line(words, scheme.px(13.0), scheme.faint());
    let tall = told.size(painter).y + scheme.px(3.0);
    let ground = Rect::from_min_max(
        at - vec2(0.0, tall),
        pos2(end.x.max(at.x + told.size(painter).x), at.y),
    );
    painter.rect_filled(
        ground.expand(scheme.px(4.0)),
        CornerRadius::same(3),
        veil(scheme.ground()),
    );
    painter.line_segment([at, end], Stroke::new(scheme.px(2.5), scheme.faint()));
    told.draw(
        painter,
        at + vec2(0.0, -scheme.px(3.0)),
        Align2::LEFT_BOTTOM,
    );
}
