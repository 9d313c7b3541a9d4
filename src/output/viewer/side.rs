//! The column beside the views: devices, what the step is told, the stent's edge.

use super::desk::Desk;
use crate::mechanics::Direction;
use crate::output::palette::{Look, State, look_of, looks_of};
use crate::output::screen::{Icon, Scheme, Words, close_up, icon, solid};
use crate::procedure::Severity;
use crate::rehearsal::{DeviceRow, Verdict};
use crate::stage::{Moment, ShapesFrom, Stage};
use crate::units::fixed;
use egui::{
    Align2, Color32, CornerRadius, Grid, Rect, RichText, ScrollArea, Sense, Ui, pos2, vec2,
};

/// Draws the column.
pub(super) fn column(
    ui: &mut Ui,
    scheme: &Scheme,
    desk: &mut Desk,
    stage: &Stage,
    moment: &Moment,
) {
    let band = moment
        .bands
        .iter()
        .max_by_key(|band| (State::from(band.state), band.upper));
    let close_px = match band {
        Some(_) if desk.close_up => scheme.px(250.0).min(0.42 * ui.available_height()),
        _ => 0.0,
    };
    let lists_px = ui.available_height() - close_px;
    ui.allocate_ui(vec2(ui.available_width(), lists_px), |ui| {
        // a bar that is seen: there is more below
        ui.spacing_mut().scroll = egui::style::ScrollStyle::solid();
        ScrollArea::vertical()
            .id_salt("lists")
            .auto_shrink([false, false])
            .show(ui, |ui| {
                verdict(ui, scheme, stage);
                ui.separator();
                devices(ui, scheme, desk, stage, moment);
                ui.separator();
                findings(ui, scheme, stage, moment);
            });
    });
    if let Some(band) = band
        && desk.close_up
    {
        let (rect, _) = ui.allocate_exact_size(
            vec2(ui.available_width(), (close_px - scheme.px(8.0)).max(0.0)),
            Sense::hover(),
        );
        let title = if band.upper {
            "Upper edge of the stent, cut across"
        } else {
            "Lower edge of the stent, cut across"
        };
        let told = Words::line(title, scheme.px(13.0), scheme.faint()).draw(
            ui.painter(),
            rect.left_top(),
            Align2::LEFT_TOP,
        );
        let rect = Rect::from_min_max(pos2(rect.left(), told.bottom() + scheme.px(4.0)), rect.max);
        let looks: Vec<Look> = looks_of(stage);
        let held = desk.hand.section(stage, band.station_mm);
        let section = held.unwrap_or_else(|| stage.section(moment.time_s, band.station_mm));
        close_up(ui.painter(), scheme, rect, &section, Some(band), &looks);
    }
}

/// A sign as wide as a letter.
fn sign(ui: &mut Ui, scheme: &Scheme, sign: Icon, colour: Color32) {
    let size = scheme.px(16.0);
    let (rect, _) = ui.allocate_exact_size(vec2(size, size), Sense::hover());
    icon(
        ui.painter(),
        rect.center(),
        size,
        sign,
        colour,
        scheme.panel(),
    );
}

fn verdict(ui: &mut Ui, scheme: &Scheme, stage: &Stage) {
    let (words, state) = match stage.verdict {
        Verdict::Passes => ("The plan passes", State::Good),
        Verdict::Fails => ("The plan fails", State::Bad),
        Verdict::Undecided => ("Not decided", State::Weak),
    };
    let (colour, icon) = scheme.state(state);
    ui.horizontal(|ui| {
        sign(ui, scheme, icon, colour);
        ui.label(RichText::new(words).strong());
    });
    ui.collapsing("Why", |ui| {
        for line in &stage.headline {
            ui.label(line);
        }
    });
}

/// Heads of the table of devices, and what they mean.
const HEADS: [(&str, &str); 5] = [
    ("lengths in mm", "click a name to take the device in hand"),
    (
        "tip",
        "how far the tip is from the puncture, along the vessel",
    ),
    (
        "outside",
        "length left outside, behind the hub the device enters through",
    ),
    ("spare", "how much farther it would reach"),
    ("at the hub", "force that moving it took in this step"),
];

fn devices(ui: &mut Ui, scheme: &Scheme, desk: &mut Desk, stage: &Stage, moment: &Moment) {
    let card = stage.steps.get(moment.step);
    let held = desk.hand.moment().is_some();
    if moment.devices.is_empty() {
        ui.label("Nothing is in the body yet.");
        return;
    }
    Grid::new("devices")
        .num_columns(5)
        .spacing(vec2(scheme.px(9.0), scheme.px(4.0)))
        .show(ui, |ui| {
            for (head, means) in HEADS {
                ui.label(
                    RichText::new(head)
                        .color(scheme.faint())
                        .size(scheme.px(12.0)),
                )
                .on_hover_text(means);
            }
            ui.end_row();
            for device in &moment.devices {
                let described = &stage.devices[device.device];
                let row =
                    card.and_then(|c| c.row.devices.iter().find(|r| r.name == described.name));
                let colour = solid(look_of(stage, device.device).colour(scheme.theme));
                name(ui, scheme, desk, device.device, &described.name, colour);
                ui.label(if device.tip_mm < 0.0 {
                    "outside".to_owned()
                } else {
                    format!("{:.0}", device.tip_mm)
                });
                ui.label(number(device.outside_mm));
                // margin and force are the step's own; in hand they are others
                let settled = row.filter(|_| !held && moment.share >= 1.0);
                margin(ui, scheme, settled);
                hub_force(ui, stage, settled);
                ui.end_row();
            }
        });
    if held {
        let words = match (
            desk.hand.settling,
            &desk.hand.unsettled,
            desk.hand.settled_ms,
        ) {
            (true, ..) => match desk.hand.followed_ms {
                Some(ms) => format!("In hand: the rods follow roughly, {ms:.1} ms a move."),
                None => "In hand: the rods are settling.".to_owned(),
            },
            (_, Some(_), _) => {
                "In hand: no equilibrium was found; the last shape stays.".to_owned()
            }
            (_, _, Some(ms)) => format!("In hand: the rods settled in {ms:.1} ms."),
            _ => "In hand.".to_owned(),
        };
        ui.label(RichText::new(words).color(scheme.accent()));
        ui.label(
            RichText::new("What is told below is the script's, not the hand's.")
                .color(scheme.faint()),
        );
    }
}

fn name(ui: &mut Ui, scheme: &Scheme, desk: &mut Desk, device: usize, name: &str, colour: Color32) {
    ui.horizontal(|ui| {
        let (rect, _) =
            ui.allocate_exact_size(vec2(scheme.px(14.0), scheme.px(10.0)), Sense::hover());
        ui.painter()
            .rect_filled(rect, CornerRadius::same(2), colour);
        let chosen = desk.hand.device == Some(device);
        let label = ui
            .selectable_label(chosen, name)
            .on_hover_text("take this device in hand");
        if label.clicked() {
            desk.hand.device = if chosen { None } else { Some(device) };
        }
    });
}

fn margin(ui: &mut Ui, scheme: &Scheme, row: Option<&DeviceRow>) {
    let Some(row) = row else {
        ui.label("–");
        return;
    };
    let words = fixed(row.margin_mm, 0);
    // what goes in up to its hub has nothing to spare, and is not short
    if row.margin_mm < -0.5 {
        let (colour, icon) = scheme.state(State::Bad);
        ui.horizontal(|ui| {
            sign(ui, scheme, icon, colour);
            ui.label(words);
        });
    } else {
        ui.label(words);
    }
}

/// The force that moving it took; where no rods were rehearsed, how many times the force at its tip.
fn hub_force(ui: &mut Ui, stage: &Stage, row: Option<&DeviceRow>) {
    let Some(row) = row else {
        ui.label("–");
        return;
    };
    match &row.load {
        Some(load) if load.hub_force_n < 0.0 => ui.label("held back").on_hover_text(format!(
            "goes by itself: held back with {:.2} N",
            -load.hub_force_n
        )),
        Some(load) => {
            let way = match load.direction {
                Direction::Push => "push",
                Direction::Pull => "pull",
            };
            ui.label(format!("{way} {:.2} N", load.hub_force_n))
                .on_hover_text(format!(
                    "at the hand, past the valves: {} N",
                    load.hand_in_figures(1.0)
                ))
        }
        None if stage.shapes == ShapesFrom::Rehearsal => {
            ui.label("–").on_hover_text("not moved in this step")
        }
        None => ui
            .label(format!("{:.1} × tip", row.capstan_factor))
            .on_hover_text(
                "estimate from turning and friction alone: force at the hub over force at the tip",
            ),
    };
}

fn number(mm: Option<f64>) -> String {
    mm.map_or_else(|| "–".to_owned(), |mm| fixed(mm, 0))
}

fn findings(ui: &mut Ui, scheme: &Scheme, stage: &Stage, moment: &Moment) {
    let Some(card) = stage.steps.get(moment.step) else {
        return;
    };
    if card.row.findings.is_empty() {
        ui.label(RichText::new("Nothing to tell of this step.").color(scheme.faint()));
    }
    for finding in &card.row.findings {
        let (colour, icon) = scheme.severity(finding.severity);
        ui.horizontal_top(|ui| {
            sign(ui, scheme, icon, colour);
            ui.vertical(|ui| {
                ui.label(&finding.text);
                if let Some(help) = finding
                    .help
                    .as_ref()
                    .filter(|_| finding.severity > Severity::Note)
                {
                    let words = format!("What would help: {help}");
                    ui.label(RichText::new(words).color(scheme.faint()));
                }
            });
        });
        ui.add_space(scheme.px(4.0));
    }
    for lesion in &card.row.access {
        let (words, state) = if lesion.lost {
            (format!("{}: access lost", lesion.lesion), State::Bad)
        } else if lesion.held_by.is_empty() {
            (
                format!("{}: nothing lies across it", lesion.lesion),
                State::Quiet,
            )
        } else {
            let words = format!("{}: held by {}", lesion.lesion, lesion.held_by.join(", "));
            (words, State::Good)
        };
        let (colour, icon) = scheme.state(state);
        ui.horizontal(|ui| {
            sign(ui, scheme, icon, colour);
            ui.label(words);
        });
    }
}

/// A rectangle cut off another one's side.
pub(super) fn cut(rect: Rect, from_right: f32) -> (Rect, Rect) {
    let x = (rect.right() - from_right).round();
    (
        Rect::from_min_max(rect.min, pos2(x, rect.max.y)),
        Rect::from_min_max(pos2(x, rect.min.y), rect.max),
    )
}
