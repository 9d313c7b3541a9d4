//! The views of the window: images, names, radiographs, and the mouse in them.

use super::desk::Desk;
use crate::output::palette::Theme;
use crate::output::screen::{
    Named, Place, Scheme, View, Words, draw_arrows, draw_legend, lines_over, press_arrows,
    seen_through, solid, view_name,
};
use crate::stage::{Moment, Node, ShapesFrom, Stage};
use egui::{
    Align2, Color32, Painter, PointerButton, Pos2, Rect, Sense, Stroke, StrokeKind, TextureId, Ui,
    pos2, vec2,
};

/// Wheel notches to a factor of nearness.
const ZOOM_PER_POINT: f32 = 0.004;
/// How much a full diameter takes away in a radiograph: walls filled with contrast, catheters, wires,
/// marks. Chosen by eye: no picture of one machine is imitated.
const DENSITY: [f32; 5] = [0.05, 0.30, 0.62, 0.9, 0.16];

/// A view on screen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    /// Index in [`Desk::views`].
    pub(super) view: usize,
    pub(super) rect: Rect,
    pub(super) image: Option<TextureId>,
}

/// Draws a view and lets the mouse turn, shift and zoom it.
pub(super) fn view(
    ui: &mut Ui,
    scheme: &Scheme,
    desk: &mut Desk,
    stage: &Stage,
    moment: &Moment,
    frame: Frame,
) {
    let response = ui.allocate_rect(frame.rect, Sense::click_and_drag());
    let painter = ui.painter().with_clip_rect(frame.rect);
    if desk.radiograph {
        radiograph(
            &painter,
            scheme,
            stage,
            moment,
            frame.rect,
            &desk.views[frame.view],
        );
    } else if let Some(image) = frame.image {
        let whole = Rect::from_min_max(Pos2::ZERO, pos2(1.0, 1.0));
        painter.image(image, frame.rect, whole, Color32::WHITE);
    }
    let seen = desk.views[frame.view];
    let widened =
        !desk.radiograph && lines_over(&painter, scheme, stage, moment, frame.rect, &seen);
    let name = match frame.view {
        1 => "plane A",
        2 => "plane B",
        _ => "free view",
    };
    let watched = watched(&painter, scheme, moment, frame);
    let presses = desk.shown.contacts && !desk.radiograph;
    let arrows = presses.then(|| press_arrows(moment, frame.rect, &seen));
    draw_arrows(&painter, scheme, arrows.as_deref().unwrap_or_default());
    if desk.names {
        let named = Named {
            stage,
            moment,
            place: place_by_height(&seen),
            name,
            rect: frame.rect,
            view: &seen,
            arrows: arrows.as_deref(),
            written: watched,
        };
        named.draw(&painter, scheme);
    }
    view_name(&painter, scheme, frame.rect, &seen, name, widened);
    if desk.planes && desk.active == frame.view {
        let line = Stroke::new(scheme.px(2.0), scheme.accent());
        painter.rect_stroke(frame.rect.shrink(1.0), 0, line, StrokeKind::Inside);
    }
    if presses && stage.shapes == ShapesFrom::CentreLine {
        Words::line(
            "no forces: rods are not laid",
            scheme.px(13.0),
            scheme.ink(),
        )
        .draw(
            &painter,
            frame.rect.right_bottom() - vec2(scheme.px(12.0), scheme.px(12.0)),
            Align2::RIGHT_BOTTOM,
        );
    } else if presses {
        draw_legend(&painter, scheme, frame.rect, &seen);
    }
    mouse(ui, desk, &response, frame);
}

/// Which names suit what is seen.
fn place_by_height(view: &View) -> Place {
    match view.height_mm {
        h if h > 500.0 => Place::Route,
        h if h > 230.0 => Place::Arch,
        h if h < 45.0 => Place::Edge,
        // neck and head lie above each other; the head begins where the skull base does
        _ if view.at_mm.z > 200.0 => Place::Head,
        _ => Place::Neck,
    }
}

/// Writes what the script lets a plane watch; where that stands.
fn watched(painter: &Painter, scheme: &Scheme, moment: &Moment, frame: Frame) -> Option<Rect> {
    let plane = frame.view.checked_sub(1)?;
    let region = moment.watching.get(plane).copied().flatten()?;
    let words = format!("the script watches the {} here", region.in_words());
    Words::line(&words, scheme.px(13.0), scheme.accent())
        .draw(
            painter,
            frame.rect.right_top() + vec2(-scheme.px(10.0), scheme.px(10.0)),
            Align2::RIGHT_TOP,
        )
        .into()
}

fn mouse(ui: &Ui, desk: &mut Desk, response: &egui::Response, frame: Frame) {
    if response.clicked() || response.drag_started() {
        desk.active = frame.view;
    }
    let drag = response.drag_delta();
    let view = &mut desk.views[frame.view];
    let shifting = response.dragged_by(PointerButton::Secondary)
        || response.dragged_by(PointerButton::Middle)
        || ui.input(|i| i.modifiers.shift);
    if response.dragged() && drag.length() > 0.0 {
        if shifting {
            desk.follow = None;
            *view = view.shifted(drag.x, drag.y, frame.rect.height());
        } else {
            *view = view.turned(drag.x, drag.y);
        }
    }
    if response.hovered() {
        let wheel = ui.input(|i| i.smooth_scroll_delta().y);
        if wheel != 0.0 {
            *view = view.scaled((-wheel * ZOOM_PER_POINT).exp());
        }
    }
}

/// Dark on light, the longer the way through something the darker.
fn radiograph(
    painter: &Painter,
    scheme: &Scheme,
    stage: &Stage,
    moment: &Moment,
    rect: Rect,
    view: &View,
) {
    let (ground, ink) = match scheme.theme {
        Theme::Light => (Color32::from_gray(226), Color32::from_gray(10)),
        Theme::Dark => (Color32::from_gray(150), Color32::from_gray(4)),
    };
    painter.rect_filled(rect, 0, ground);
    let px_per_mm = view.pixels_per_mm(rect.height());
    let path = |nodes: &[Node], least_px: f32| -> Vec<(Pos2, f32)> {
        let seen = nodes.iter().filter_map(|node| {
            let at = view.place(&node.at, rect)?;
            #[expect(
                clippy::cast_possible_truncation,
                reason = "a radius in millimetres, drawn in pixels"
            )]
            let radius_px = (node.radius_mm as f32 * px_per_mm).max(least_px);
            Some((at, radius_px))
        });
        seen.collect()
    };
    let [wall, catheter, solid_wire, mark, plaque] = DENSITY;
    let contrast = contrast_runs(stage, moment);
    let filled = if contrast { 0.42 } else { wall };
    seen_through(painter, &path(&stage.wall, 0.0), ink, filled);
    for drawn in &moment.plaques {
        seen_through(painter, &path(&drawn.outer, 0.0), ink, plaque);
    }
    for device in &moment.devices {
        let hollow = device.lumen_mm.iter().any(Option::is_some);
        let density = if hollow { catheter } else { solid_wire };
        seen_through(painter, &path(&device.nodes, 0.5), ink, density);
        for pair in device.nodes.windows(2).filter(|pair| pair[0].marked) {
            seen_through(painter, &path(pair, 0.8), ink, mark);
        }
        if let Some(struts) = &device.struts {
            wires(painter, rect, view, &struts.wires, ink);
        }
        if let Some(balloon) = &device.balloon {
            // filled with contrast and water in equal parts
            seen_through(painter, &path(balloon, 0.0), ink, 0.35);
        }
    }
    for stent in &moment.stents {
        wires(painter, rect, view, &stent.struts.wires, ink);
    }
}

/// Whether contrast is running in this step.
fn contrast_runs(stage: &Stage, moment: &Moment) -> bool {
    let act = stage.plan().script.get(moment.step).map(|s| &s.act);
    matches!(act, Some(crate::procedure::Action::Contrast { .. }))
}

fn wires(
    painter: &Painter,
    rect: Rect,
    view: &View,
    wires: &[Vec<crate::geometry::Point>],
    ink: Color32,
) {
    let line = Stroke::new(1.0, ink.gamma_multiply(0.5));
    for wire in wires {
        let points: Vec<Pos2> = wire.iter().filter_map(|p| view.place(p, rect)).collect();
        painter.line(points, line);
    }
}

/// Colour behind the views.
pub(super) fn ground(desk: &Desk) -> Color32 {
    solid(desk.theme.ground())
}
