//! Where a tip should have come to that did not.

use super::scheme::solid;
use super::{Scheme, View};
use crate::geometry::Point;
use crate::math;
use crate::output::palette::State;
use crate::procedure::{Action, Severity, Topic, Where};
use crate::stage::{Moment, Stage};
use egui::{Painter, Pos2, Rect, Shape, Stroke};
use std::f64::consts::TAU;

/// Device (index) and station, mm, that a step wanted and did not reach; none where it did.
#[must_use]
pub fn meant_tip(stage: &Stage, step: usize) -> Option<(usize, f64)> {
    let fails = |f: &crate::rehearsal::FindingRow| {
        f.severity == Severity::Failure && f.topic == Topic::Reach
    };
    if !stage.steps.get(step)?.row.findings.iter().any(fails) {
        return None;
    }
    let (device, to) = match &stage.plan().script.get(step)?.act {
        Action::Insert { device, to, .. } | Action::Advance { device, to, .. } => (device, to),
        Action::AdvanceTogether { devices, to } => (devices.first()?, to),
        _ => return None,
    };
    let (name, by_mm) = match to {
        Where::At(name) => (name, 0.0),
        Where::Past(name, by_mm) => (name, *by_mm),
        Where::Short(name, by_mm) => (name, -by_mm),
        Where::By(_) | Where::Hub | Where::Out => return None,
    };
    let landmark = stage.plan().track.landmark(name).ok();
    let station_mm = landmark.or_else(|| device_place(stage, step, name))? + by_mm;
    let device = stage.devices.iter().position(|d| &d.name == device)?;
    Some((
        device,
        station_mm.clamp(0.0, stage.plan().track.length_mm()),
    ))
}

/// Station of a place that belongs to a device before a step: `guide.tip`, `stent.distal`.
fn device_place(stage: &Stage, step: usize, name: &str) -> Option<f64> {
    let (device, end) = name.rsplit_once('.')?;
    let device = stage.devices.iter().position(|d| d.name == device)?;
    let before = stage.at_step(step, 0.0);
    match end {
        "tip" => before.device(device).map(|d| d.tip_mm),
        end => {
            let stent = before.stents.iter().find(|s| s.device == device)?;
            Some(if end == "proximal" {
                stent.proximal_mm
            } else {
                stent.distal_mm
            })
        }
    }
}

/// The point at a station that lies across the lumen as the tip of a device does: that far along the vessel it
/// is from where it should be, and not aside.
pub(super) fn beside_tip(stage: &Stage, moment: &Moment, device: usize, station_mm: f64) -> Point {
    let track = &stage.plan().track;
    let there = track.frame_at(station_mm);
    let Some(drawn) = moment.device(device) else {
        return there.origin_mm;
    };
    let here = track.frame_at(drawn.tip_mm.max(0.0));
    let off = drawn.tip - here.origin_mm;
    // far away the vessel may be narrower
    let room_mm = 0.5 * track.healthy_diameter_at(station_mm);
    let [x, y] = [here.n1, here.n2].map(|n| off.dot(&n));
    let fits = (0.8 * room_mm / math::hypot(x, y).max(1e-9)).min(1.0);
    there.place([x, y].map(|x| fits * x))
}

/// Draws a ring round the lumen where a tip should have come to.
pub(crate) fn draw_meant(
    painter: &Painter,
    scheme: &Scheme,
    stage: &Stage,
    moment: &Moment,
    (rect, view): (Rect, &View),
) {
    const CORNERS: u32 = 40;
    let Some((_, station_mm)) = meant_tip(stage, moment.step) else {
        return;
    };
    let track = &stage.plan().track;
    let frame = track.frame_at(station_mm);
    let radius_mm = 0.5 * track.healthy_diameter_at(station_mm);
    let ring: Option<Vec<Pos2>> = (0..CORNERS)
        .map(|k| {
            let turn = TAU * f64::from(k) / f64::from(CORNERS);
            view.place(&(frame.origin_mm + frame.across(turn) * radius_mm), rect)
        })
        .collect();
    if let Some(ring) = ring {
        let colour = solid(State::Bad.colour(scheme.theme));
        painter.add(Shape::closed_line(
            ring,
            Stroke::new(scheme.px(2.0), colour),
        ));
    }
}
