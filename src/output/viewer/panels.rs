//! Head, foot and help of the window.

use super::desk::Desk;
use super::keys::{KEYS, Wish};
use crate::output::palette::{Look, State, looks_of};
use crate::output::screen::{Angles, Place, Scheme, nesting_strip, strip_mm_per_px};
use crate::procedure::Severity;
use crate::stage::{Moment, Stage, StepCard};
use egui::{
    Align, ComboBox, CornerRadius, Grid, Id, Layout, Painter, Rect, RichText, Sense, Stroke, Ui,
    pos2, vec2,
};

/// Views one press away.
const PRESETS: [(&str, f32); 6] = [
    ("front", 0.0),
    ("left", 90.0),
    ("right", -90.0),
    ("35° left", 35.0),
    ("35° right", -35.0),
    ("back", 180.0),
];

/// Title, views, switches.
pub(super) fn head(ui: &mut Ui, scheme: &Scheme, desk: &mut Desk, stage: &Stage, moment: &Moment) {
    ui.horizontal_centered(|ui| {
        ui.add_space(scheme.px(6.0));
        let mut wishes = Vec::new();
        let mut switch = |ui: &mut Ui, on: bool, words: &str, wish: Wish| {
            let key = KEYS.iter().find(|k| k.2 == wish).map_or("", |k| k.3);
            if ui
                .selectable_label(on, words)
                .on_hover_text(format!("key {key}"))
                .clicked()
            {
                wishes.push(wish);
            }
        };
        switch(ui, desk.planes, "two planes", Wish::Planes);
        if desk.planes {
            switch(ui, desk.linked, "as the script watches", Wish::Linked);
        }
        switch(ui, desk.radiograph, "radiograph", Wish::Radiograph);
        ui.separator();
        switch(ui, desk.shown.wall, "wall", Wish::Wall);
        switch(ui, desk.shown.context, "branches", Wish::Context);
        switch(ui, desk.shown.contacts, "contacts", Wish::Contacts);
        switch(ui, desk.names, "names", Wish::Names);
        switch(ui, desk.close_up, "edge", Wish::CloseUp);
        switch(ui, desk.strip, "lengths", Wish::Strip);
        ui.separator();
        looks_from(ui, desk);
        goes_to(ui, desk, stage, moment);
        follows(ui, desk, stage, moment);
        let mut more = |ui: &mut Ui, words: &str, wish: Wish| {
            if ui.button(words).clicked() {
                wishes.push(wish);
            }
        };
        more(ui, "picture", Wish::Screenshot);
        more(ui, "help", Wish::Help);
        for wish in wishes {
            desk.grant(stage, wish);
        }
    });
}

fn looks_from(ui: &mut Ui, desk: &mut Desk) {
    ComboBox::from_id_salt("from")
        .selected_text("seen from")
        .show_ui(ui, |ui| {
            for (words, left_deg) in PRESETS {
                if ui.selectable_label(false, words).clicked() {
                    desk.look_from(Angles {
                        left_deg,
                        head_deg: 0.0,
                    });
                }
            }
        });
}

fn goes_to(ui: &mut Ui, desk: &mut Desk, stage: &Stage, moment: &Moment) {
    ComboBox::from_id_salt("go")
        .selected_text("go to")
        .show_ui(ui, |ui| {
            for place in [Place::Route, Place::Arch, Place::Neck, Place::Head] {
                if ui.selectable_label(false, place.in_words()).clicked() {
                    desk.show_place(stage, place, None);
                }
            }
            for band in &moment.bands {
                let words = if band.upper {
                    "upper edge of the stent"
                } else {
                    "lower edge of the stent"
                };
                if ui.selectable_label(false, words).clicked() {
                    desk.show_place(stage, Place::Edge, Some(band.station_mm));
                }
            }
            ui.separator();
            for (k, landmark) in stage.landmarks.iter().enumerate() {
                if ui.selectable_label(false, &landmark.words).clicked() {
                    desk.go_to(stage, k);
                }
            }
        });
}

fn follows(ui: &mut Ui, desk: &mut Desk, stage: &Stage, moment: &Moment) {
    let words = match desk.follow {
        Some(device) => format!("follows the {}", stage.devices[device].name),
        None => "follow".to_owned(),
    };
    ComboBox::from_id_salt("follow")
        .selected_text(words)
        .show_ui(ui, |ui| {
            ui.selectable_value(&mut desk.follow, None, "nothing");
            for device in &moment.devices {
                let name = &stage.devices[device.device].name;
                ui.selectable_value(&mut desk.follow, Some(device.device), name);
            }
        });
}

/// What is done, the strip of lengths, the clock.
pub(super) fn foot(ui: &mut Ui, scheme: &Scheme, desk: &mut Desk, stage: &Stage, moment: &Moment) {
    if let Some(card) = stage.steps.get(moment.step) {
        ui.horizontal(|ui| {
            ui.add_space(scheme.px(6.0));
            let count = format!("step {} of {}", moment.step + 1, stage.steps.len());
            ui.label(RichText::new(count).color(scheme.faint()));
            ui.label(RichText::new(&card.row.say).size(scheme.px(19.0)).strong());
            if !card.row.performed {
                ui.label(RichText::new("not done").color(scheme.state(State::Bad).0));
            }
            ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                ui.add_space(scheme.px(8.0));
                what_cells_mean(ui, scheme, stage);
            });
        });
    }
    timeline(ui, scheme, desk, stage);
    controls(ui, scheme, desk, stage);
    if desk.strip {
        strip(ui, scheme, desk, stage, moment);
    }
    ui.horizontal(|ui| {
        ui.add_space(scheme.px(6.0));
        let caution = stage.caution.split(". ").next().unwrap_or_default();
        let line = format!("{caution}. {}", stage.shapes.in_words());
        ui.label(
            RichText::new(line)
                .size(scheme.px(11.5))
                .color(scheme.faint()),
        );
    });
}

/// How many steps fail and warn, beside the forms that cells of the bar of steps have for it.
fn what_cells_mean(ui: &mut Ui, scheme: &Scheme, stage: &Stage) {
    for (severity, one, many) in [
        (Severity::Warning, "weak point", "weak points"),
        (Severity::Undecided, "step not known", "steps not known"),
        (Severity::Failure, "failure", "failures"),
    ] {
        let of_kind = |c: &&StepCard| c.row.worst() == Some(severity);
        let count = stage.steps.iter().filter(of_kind).count();
        if count == 0 {
            continue;
        }
        let words = if count == 1 { one } else { many };
        ui.label(RichText::new(format!("{count} {words}")).size(scheme.px(13.0)));
        let size = vec2(scheme.px(14.0), scheme.px(14.0));
        let (cell, _) = ui.allocate_exact_size(size, Sense::hover());
        ui.painter()
            .rect_filled(cell, CornerRadius::ZERO, scheme.inset());
        fill_cell(ui.painter(), scheme, cell, severity);
    }
}

/// Failures fill a cell, what is not known three quarters of it, warnings its lower half: told by form too.
fn fill_cell(painter: &Painter, scheme: &Scheme, cell: Rect, severity: Severity) {
    let from = match severity {
        Severity::Failure => 0.0,
        Severity::Undecided => 0.25,
        Severity::Warning | Severity::Note => 0.5,
    };
    let top = cell.top() + from * cell.height();
    let (colour, _) = scheme.severity(severity);
    painter.rect_filled(
        Rect::from_min_max(pos2(cell.left(), top), cell.max),
        CornerRadius::ZERO,
        colour.gamma_multiply(0.75),
    );
}

/// All steps as a bar: their lengths, their findings; click or drag to go there.
fn timeline(ui: &mut Ui, scheme: &Scheme, desk: &mut Desk, stage: &Stage) {
    let size = vec2(ui.available_width(), scheme.px(20.0));
    let (whole, response) = ui.allocate_exact_size(size, Sense::click_and_drag());
    let rect = whole.shrink2(vec2(scheme.px(8.0), scheme.px(3.0)));
    let painter = ui.painter();
    painter.rect_filled(rect, CornerRadius::same(3), scheme.inset());
    let total_s = stage.timeline.total_s().max(1e-9);
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a share of the film, drawn in pixels"
    )]
    let x = |s: f64| rect.left() + rect.width() * (s / total_s) as f32;
    for (span, card) in stage.timeline.steps.iter().zip(&stage.steps) {
        let (from, to) = (x(span.start_s), x(span.end_s));
        let cell = Rect::from_min_max(pos2(from, rect.top()), pos2(to, rect.bottom()));
        let worst = card.row.worst().filter(|w| *w > Severity::Note);
        if let Some(severity) = worst {
            fill_cell(painter, scheme, cell, severity);
        }
        painter.line_segment(
            [pos2(to, rect.top()), pos2(to, rect.bottom())],
            Stroke::new(1.0, scheme.panel()),
        );
    }
    let now = x(desk.play.at_s);
    painter.line_segment(
        [pos2(now, whole.top()), pos2(now, whole.bottom())],
        Stroke::new(scheme.px(3.0), scheme.accent()),
    );
    if let Some(pointer) = response.interact_pointer_pos() {
        let share = ((pointer.x - rect.left()) / rect.width()).clamp(0.0, 1.0);
        desk.hand.let_go();
        desk.play.at_s = f64::from(share) * total_s;
    }
    if let Some(pointer) = response.hover_pos() {
        let share = f64::from((pointer.x - rect.left()) / rect.width());
        let (step, _) = stage.timeline.at(share * total_s);
        if let Some(card) = stage.steps.get(step) {
            let words = format!("{}. {}", step + 1, card.row.say);
            response.on_hover_text(words);
        }
    }
}

fn controls(ui: &mut Ui, scheme: &Scheme, desk: &mut Desk, stage: &Stage) {
    ui.horizontal(|ui| {
        ui.add_space(scheme.px(6.0));
        let play = if desk.play.running { "pause" } else { "play" };
        let buttons = [
            ("|<", Wish::First),
            ("<", Wish::Back),
            (play, Wish::PlayPause),
            (">", Wish::Forward),
            (">|", Wish::Last),
            ("slower", Wish::Slower),
            ("faster", Wish::Faster),
        ];
        for (words, wish) in buttons {
            if ui.button(words).clicked() {
                desk.grant(stage, wish);
            }
        }
        ui.label(format!("{} ×", desk.play.speed()));
        ui.separator();
        match desk.hand.device {
            Some(device) => {
                ui.label(format!("in hand: {}", stage.devices[device].name));
                for (words, wish) in [
                    ("−10", Wish::DrawFar),
                    ("−1", Wish::Draw),
                    ("+1", Wish::Feed),
                    ("+10 mm", Wish::FeedFar),
                    ("let go", Wish::LetGo),
                ] {
                    if ui.button(words).clicked() {
                        desk.grant(stage, wish);
                    }
                }
            }
            None => {
                ui.label(
                    RichText::new("drag a device's bar below to feed it or draw it back")
                        .color(scheme.faint()),
                );
            }
        }
        if let Some(message) = &desk.message {
            ui.separator();
            ui.label(RichText::new(message).color(scheme.accent()));
        }
    });
}

/// The strip of lengths; a device's bar can be dragged.
fn strip(ui: &mut Ui, scheme: &Scheme, desk: &mut Desk, stage: &Stage, moment: &Moment) {
    let rows = u16::try_from(moment.devices.len()).map_or(0.0, f32::from);
    let height = crate::output::screen::HEAD_PX + rows * crate::output::screen::ROW_PX;
    let size = vec2(ui.available_width(), scheme.px(height));
    let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
    let looks: Vec<Look> = looks_of(stage);
    let plan = stage.plan();
    let rows = nesting_strip(ui.painter(), scheme, rect, plan, moment, &looks);
    let mm_per_px = strip_mm_per_px(scheme, rect, plan, moment);
    for (device, row) in rows {
        let id = Id::new(("strip", device));
        let response = ui.interact(row, id, Sense::click_and_drag());
        if response.clicked() || response.drag_started() {
            desk.hand.device = Some(device);
        }
        if desk.hand.device == Some(device) {
            let line = Stroke::new(scheme.px(1.5), scheme.accent());
            ui.painter()
                .rect_stroke(row, CornerRadius::same(2), line, egui::StrokeKind::Inside);
        }
        let by_px = response.drag_delta().x;
        if response.dragged() && by_px != 0.0 {
            desk.pull(stage, f64::from(by_px) * mm_per_px);
        }
    }
}

/// Every key, over everything.
pub(super) fn help(ctx: &egui::Context, scheme: &Scheme, desk: &mut Desk) {
    let frame = egui::Frame::window(&ctx.global_style()).inner_margin(scheme.px(18.0));
    egui::Area::new(Id::new("help"))
        .order(egui::Order::Foreground)
        .anchor(egui::Align2::CENTER_CENTER, vec2(0.0, 0.0))
        .show(ctx, |ui| {
            frame.show(ui, |ui| {
                ui.label(RichText::new("Keys").size(scheme.px(20.0)).strong());
                ui.add_space(scheme.px(6.0));
                ui.horizontal_top(|ui| {
                    for (k, part) in KEYS.chunks(KEYS.len().div_ceil(3)).enumerate() {
                        Grid::new(("keys", k))
                            .num_columns(2)
                            .spacing(vec2(scheme.px(14.0), scheme.px(5.0)))
                            .show(ui, |ui| {
                                for (.., key, words) in part {
                                    ui.label(RichText::new(*key).strong());
                                    ui.label(*words);
                                    ui.end_row();
                                }
                            });
                        ui.add_space(scheme.px(24.0));
                    }
                });
                ui.add_space(scheme.px(8.0));
                ui.label("Mouse in a view: drag turns, right drag (or Shift) shifts, wheel zooms.");
                ui.label(
                    "Mouse below: drag the bar of steps to go there, a device's bar to feed it.",
                );
                ui.label("+ and − make letters larger and smaller. H or Escape closes this help.");
                if ui.button("close").clicked() {
                    desk.help = false;
                }
            });
        });
}
