//! The stack pulled straight: what of each device is outside, what inside, and where its tip lies.

use super::Scheme;
use super::paint::Words;
use super::scheme::solid;
use crate::geometry::Track;
use crate::output::palette::Look;
use crate::procedure::Plan;
use crate::stage::Moment;
use egui::{Align2, CornerRadius, Painter, Pos2, Rect, Stroke, StrokeKind, pos2, vec2};

/// Landmarks that are named above the strip, where the route has them.
const NAMED: [(&str, &str); 7] = [
    ("arteriotomy", "access"),
    ("arch-top", "arch"),
    ("carotid-bifurcation", "bifurcation"),
    ("neck-lesion-start", ""),
    ("skull-base", "skull base"),
    ("ica-terminus", "terminus"),
    ("clot-start", "clot"),
];
/// Design height of a row, pixels.
pub const ROW_PX: f32 = 17.0;
/// Design height of the head above the rows, pixels.
pub const HEAD_PX: f32 = 20.0;

/// Draws the strip; returns the row of each device, by its index, for whoever wants to drag it.
pub fn nesting_strip(
    painter: &Painter,
    scheme: &Scheme,
    rect: Rect,
    plan: &Plan,
    moment: &Moment,
    looks: &[Look],
) -> Vec<(usize, Rect)> {
    let names_px = scheme.px(118.0);
    let end_mm = plan.track.stations.last().map_or(1.0, |s| s.s_mm);
    let outside_mm = moment
        .devices
        .iter()
        .map(|d| plan.devices[d.device].device.usable_length_mm - d.tip_mm.max(0.0))
        .fold(300.0, f64::max);
    let axis = Axis {
        left: rect.left() + names_px,
        right: rect.right() - scheme.px(10.0),
        from_mm: plan.hub_station_mm() - outside_mm,
        to_mm: end_mm + 10.0,
    };
    ground(painter, scheme, rect, &axis, (&plan.track, moment));
    let mut rows = Vec::new();
    for (k, device) in moment.devices.iter().enumerate() {
        let row = u16::try_from(k).map_or(0.0, f32::from);
        let y = rect.top() + scheme.px(HEAD_PX + ROW_PX * (row + 0.5));
        let colour = looks
            .get(device.device)
            .map_or(scheme.ink(), |l| solid(l.colour(scheme.theme)));
        let stack = &plan.devices[device.device];
        // straightened: the part behind the tip reaches back by the device's own length
        let hub_mm = device.tip_mm - stack.device.usable_length_mm;
        let (from, to) = (axis.x(hub_mm), axis.x(device.tip_mm));
        let thick = scheme.px(4.0 + 3.2 * outer_mm(device));
        let bar = Rect::from_min_max(pos2(from, y - 0.5 * thick), pos2(to, y + 0.5 * thick));
        painter.rect_filled(bar, CornerRadius::same(2), colour);
        if stack.dead_mm() > 0.0 {
            let hub = Rect::from_min_max(
                pos2(axis.x(hub_mm - stack.dead_mm()), y - scheme.px(6.0)),
                pos2(from, y + scheme.px(6.0)),
            );
            painter.rect(
                hub,
                CornerRadius::same(2),
                scheme.inset(),
                Stroke::new(scheme.px(1.5), colour),
                StrokeKind::Inside,
            );
        }
        if device.moving {
            let tip = pos2(to + scheme.px(2.0), y);
            painter.circle_filled(tip, scheme.px(4.0), scheme.accent());
        }
        Words::line(&stack.name, scheme.px(13.0), scheme.ink()).draw(
            painter,
            pos2(rect.left() + scheme.px(8.0), y),
            Align2::LEFT_CENTER,
        );
        rows.push((
            device.device,
            Rect::from_min_max(
                pos2(axis.left, y - scheme.px(0.5 * ROW_PX)),
                pos2(rect.right(), y + scheme.px(0.5 * ROW_PX)),
            ),
        ));
    }
    rows
}

/// Millimetres per pixel of a strip in this rectangle, to turn a drag into a length.
#[must_use]
pub fn strip_mm_per_px(scheme: &Scheme, rect: Rect, plan: &Plan, moment: &Moment) -> f64 {
    let end_mm = plan.track.stations.last().map_or(1.0, |s| s.s_mm);
    let outside_mm = moment
        .devices
        .iter()
        .map(|d| plan.devices[d.device].device.usable_length_mm - d.tip_mm.max(0.0))
        .fold(300.0, f64::max);
    let width = rect.width() - scheme.px(128.0);
    (end_mm + 10.0 + outside_mm - plan.hub_station_mm()) / f64::from(width.max(1.0))
}

fn outer_mm(device: &crate::stage::DrawnDevice) -> f32 {
    let widest = device.nodes.iter().map(|n| n.radius_mm).fold(0.0, f64::max);
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a diameter in millimetres, drawn in pixels"
    )]
    let widest = 2.0 * widest as f32;
    widest.min(3.0)
}

struct Axis {
    left: f32,
    right: f32,
    from_mm: f64,
    to_mm: f64,
}

impl Axis {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a share between 0 and 1, drawn in pixels"
    )]
    fn x(&self, s_mm: f64) -> f32 {
        let share = (s_mm - self.from_mm) / (self.to_mm - self.from_mm);
        self.left + (self.right - self.left) * share.clamp(0.0, 1.0) as f32
    }
}

fn ground(
    painter: &Painter,
    scheme: &Scheme,
    rect: Rect,
    axis: &Axis,
    (track, moment): (&Track, &Moment),
) {
    let skin = axis.x(0.0);
    let top = rect.top() + scheme.px(HEAD_PX - 2.0);
    painter.rect_filled(
        Rect::from_min_max(pos2(skin, top), pos2(axis.right, rect.bottom())),
        CornerRadius::ZERO,
        solid(scheme.theme.wall()).gamma_multiply(0.22),
    );
    let name = |at: Pos2, text: &str, anchor: Align2| {
        Words::line(text, scheme.px(12.5), scheme.faint()).draw(painter, at, anchor)
    };
    let y = rect.top() + scheme.px(2.0);
    let explained = "outside the body; box: hub and valve";
    let wide = Words::line(explained, scheme.px(12.5), scheme.faint()).size(painter);
    let words = if axis.left + wide.x < skin - scheme.px(40.0) {
        explained
    } else {
        "outside"
    };
    let drawn = name(pos2(axis.left, y), words, Align2::LEFT_TOP);
    let mut taken = drawn.right() + scheme.px(8.0);
    for (landmark, words) in NAMED {
        let Some(found) = track.landmarks.iter().find(|l| l.name == landmark) else {
            continue;
        };
        let x = axis.x(found.s_mm);
        painter.line_segment(
            [pos2(x, top), pos2(x, rect.bottom())],
            Stroke::new(scheme.px(1.0), scheme.rule()),
        );
        let wide = Words::line(words, scheme.px(12.5), scheme.faint())
            .size(painter)
            .x;
        if !words.is_empty() && x - 0.5 * wide > taken {
            let drawn = name(pos2(x, y), words, Align2::CENTER_TOP);
            taken = drawn.right() + scheme.px(8.0);
        }
    }
    for lesion in &track.lesions {
        let from = pos2(axis.x(lesion.start_mm), top);
        let to = pos2(axis.x(lesion.end_mm), rect.bottom());
        painter.rect_filled(
            Rect::from_two_pos(from, to).expand2(vec2(scheme.px(0.5), 0.0)),
            CornerRadius::ZERO,
            solid(scheme.theme.plaque()).gamma_multiply(0.8),
        );
    }
    for clot in &moment.clots {
        let (Some(near), Some(far)) = (clot.nodes.first(), clot.nodes.last()) else {
            continue;
        };
        let from = pos2(axis.x(near.station_mm), top);
        let to = pos2(axis.x(far.station_mm), rect.bottom());
        painter.rect_filled(
            Rect::from_two_pos(from, to).expand2(vec2(scheme.px(0.5), 0.0)),
            CornerRadius::ZERO,
            solid(scheme.theme.clot()).gamma_multiply(0.6),
        );
    }
    painter.line_segment(
        [pos2(skin, top), pos2(skin, rect.bottom())],
        Stroke::new(scheme.px(2.0), scheme.faint()),
    );
}
