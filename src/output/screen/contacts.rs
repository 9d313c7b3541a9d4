//! Arrows where devices press, as long as their force, and the scale they are drawn to.

use super::drawing::veil;
use super::labels::{Label, LabelOf};
use super::paint::Words;
use super::{Scheme, View};
use crate::stage::Moment;
use egui::{Align2, CornerRadius, Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};

/// A newton is drawn no longer than this share of a view's height: the largest forces stay within the
/// picture, a twentieth of a newton is still seen.
const SHARE_PER_N: f32 = 0.5;
/// Lengths that a newton is drawn with, mm: round, so that they do not change with every turn of the wheel.
const LENGTHS_MM: [f32; 7] = [5.0, 10.0, 20.0, 30.0, 50.0, 100.0, 200.0];
/// Forces of the legend's arrow, N.
const LEGEND_N: [f32; 6] = [0.02, 0.05, 0.1, 0.2, 0.5, 1.0];
/// Longest arrow of the legend, design pixels.
const LEGEND_PX: f32 = 90.0;
/// Grams that weigh a newton, rounded from 102: hands know grams.
const GRAMS_PER_N: f32 = 100.0;
/// In narrower views the legend is short, design pixels.
const WIDE_PX: f32 = 560.0;
/// Forces that are written beside their arrows: as many as can be read at once, and none below this, N.
const TOLD: (usize, f64) = (4, 0.03);

/// Where a device presses, in a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PressArrow {
    /// The place, pixels.
    pub from: Pos2,
    /// End of the arrow: the device presses that way, pixels.
    pub to: Pos2,
    /// Force, N: of a contact that comes or goes as much as there is of it.
    pub force_n: f64,
    /// The device that presses.
    pub device: usize,
    /// It presses on the vessel, not on another device.
    pub on_wall: bool,
}

/// Length that a newton is drawn with in a view of that height, mm.
#[must_use]
pub fn mm_per_n(height_mm: f32) -> f32 {
    let fits = LENGTHS_MM
        .iter()
        .rev()
        .find(|mm| **mm <= SHARE_PER_N * height_mm);
    *fits.unwrap_or(&LENGTHS_MM[0])
}

/// All arrows of a moment in a picture.
#[must_use]
pub fn press_arrows(moment: &Moment, rect: Rect, view: &View) -> Vec<PressArrow> {
    let per_n = f64::from(mm_per_n(view.height_mm));
    let seen = |contact: &crate::stage::DrawnContact| {
        let end = contact.at - contact.force_n * (per_n * contact.share);
        let (from, to) = (view.place(&contact.at, rect)?, view.place(&end, rect)?);
        rect.contains(from).then(|| PressArrow {
            from,
            to,
            force_n: contact.force_n.norm() * contact.share,
            device: contact.device,
            on_wall: contact.on.is_none(),
        })
    };
    moment.contacts.iter().filter_map(seen).collect()
}

/// Draws them: on the vessel in full, on other devices thinner and fainter.
pub(crate) fn draw_arrows(painter: &Painter, scheme: &Scheme, arrows: &[PressArrow]) {
    let (inner, outer): (Vec<&PressArrow>, Vec<&PressArrow>) =
        arrows.iter().partition(|a| !a.on_wall);
    for arrow in inner.into_iter().chain(outer) {
        let (wide, colour) = if arrow.on_wall {
            (2.2, scheme.ink())
        } else {
            (1.2, scheme.faint())
        };
        painter.circle_filled(arrow.from, scheme.px(0.9 * wide), colour);
        draw_arrow(painter, scheme, (arrow.from, arrow.to), wide, colour);
    }
}

fn draw_arrow(
    painter: &Painter,
    scheme: &Scheme,
    (from, to): (Pos2, Pos2),
    wide: f32,
    colour: egui::Color32,
) {
    let way = to - from;
    let length = way.length();
    painter.line_segment([from, to], Stroke::new(scheme.px(wide), colour));
    // a head longer than its arrow would tell another force
    let head = scheme.px(4.0 * wide).min(0.6 * length);
    if head < 2.0 {
        return;
    }
    let along = way / length * head;
    let aside = vec2(-along.y, along.x) * 0.45;
    painter.add(Shape::convex_polygon(
        vec![to, to - along + aside, to - along - aside],
        colour,
        Stroke::NONE,
    ));
}

/// Names for the largest forces of a picture, at the ends of their arrows.
pub(super) fn force_labels(scheme: &Scheme, rect: Rect, arrows: &[PressArrow]) -> Vec<Label> {
    let (most, least_n) = TOLD;
    let mut ordered: Vec<&PressArrow> = arrows
        .iter()
        .filter(|a| a.force_n >= least_n && rect.contains(a.to))
        .collect();
    ordered.sort_by(|a, b| b.force_n.total_cmp(&a.force_n));
    ordered.truncate(most);
    let label = |arrow: &PressArrow| Label {
        text: format!("{:.2} N", arrow.force_n),
        at: arrow.to,
        colour: scheme.ink(),
        of: LabelOf::Force {
            right: arrow.to.x >= arrow.from.x,
        },
        icon: None,
    };
    ordered.into_iter().map(label).collect()
}

/// Force of the legend's arrow, N, and its length, pixels.
#[must_use]
pub fn legend_arrow(scheme: &Scheme, rect: Rect, view: &View) -> (f32, f32) {
    let px_per_n = mm_per_n(view.height_mm) * view.pixels_per_mm(rect.height());
    let fits = |n: &&f32| **n * px_per_n <= scheme.px(LEGEND_PX);
    let force_n = *LEGEND_N.iter().rev().find(fits).unwrap_or(&LEGEND_N[0]);
    (force_n, force_n * px_per_n)
}

/// Where the legend stands: at the right of the foot of a view.
pub(super) fn legend_rect(painter: &Painter, scheme: &Scheme, rect: Rect, view: &View) -> Rect {
    let (force_n, long) = legend_arrow(scheme, rect, view);
    let (title, told) = legend_words(scheme, rect, force_n);
    let title = title.map_or(Vec2::ZERO, |text| words(scheme, text).size(painter));
    let told = words(scheme, &told).size(painter);
    let wide = title.x.max(told.x + long + scheme.px(8.0)) + scheme.px(12.0);
    let size = vec2(wide, title.y + told.y + scheme.px(8.0));
    let corner = rect.right_bottom() - vec2(scheme.px(8.0), scheme.px(8.0));
    Rect::from_min_max(corner - size, corner)
}

/// What arrows mean, where there is room, and what the legend's arrow stands for.
fn legend_words(scheme: &Scheme, rect: Rect, force_n: f32) -> (Option<&'static str>, String) {
    let grams = force_n * GRAMS_PER_N;
    let wide = rect.width() >= scheme.px(WIDE_PX);
    if wide {
        let title = "arrows: how hard a device presses there";
        (Some(title), format!("{force_n} N, what {grams:.0} g weigh"))
    } else {
        (None, format!("presses with {force_n} N"))
    }
}

fn words<'a>(scheme: &Scheme, text: &'a str) -> Words<'a> {
    Words::line(text, scheme.px(13.0), scheme.ink())
}

/// Draws the legend.
pub(crate) fn draw_legend(painter: &Painter, scheme: &Scheme, rect: Rect, view: &View) {
    let (force_n, long) = legend_arrow(scheme, rect, view);
    let place = legend_rect(painter, scheme, rect, view);
    painter.rect_filled(place, CornerRadius::same(4), veil(scheme.ground()));
    let (title, told) = legend_words(scheme, rect, force_n);
    let inner = place.shrink2(vec2(scheme.px(6.0), scheme.px(3.0)));
    if let Some(title) = title {
        words(scheme, title).draw(painter, inner.left_top(), Align2::LEFT_TOP);
    }
    let told = words(scheme, &told).draw(
        painter,
        inner.left_bottom() + vec2(long + scheme.px(8.0), 0.0),
        Align2::LEFT_BOTTOM,
    );
    let y = told.center().y;
    let from = pos2(inner.left(), y);
    let to = pos2(inner.left() + long, y);
    painter.circle_filled(from, scheme.px(2.0), scheme.ink());
    draw_arrow(painter, scheme, (from, to), 2.2, scheme.ink());
}
