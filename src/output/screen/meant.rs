//! Where a tip should have come to that did not.

use crate::output::stage::Stage;
use crate::procedure::{Action, Severity, Topic, Where};

/// Device (index) and station, mm, that a step wanted and did not reach; none where it did, or where the
/// place is none of the route's own.
#[must_use]
pub fn meant_tip(stage: &Stage, step: usize) -> Option<(usize, f64)> {
    let fails =
        |f: &crate::procedure::Finding| f.severity == Severity::Failure && f.topic == Topic::Reach;
    if !stage.steps.get(step)?.row.findings.iter().any(fails) {
        return None;
    }
    let (device, to) = match &stage.plan().script.get(step)?.act {
        Action::Insert { device, to, .. } | Action::Advance { device, to, .. } => (device, to),
        _ => return None,
    };
    let track = &stage.plan().track;
    let station_mm = match to {
        Where::At(name) => track.landmark(name).ok()?,
        Where::Past(name, by_mm) => track.landmark(name).ok()? + by_mm,
        Where::Short(name, by_mm) => track.landmark(name).ok()? - by_mm,
        Where::By(_) | Where::Hub | Where::Out => return None,
    };
    let device = stage.devices.iter().position(|d| &d.name == device)?;
    Some((device, station_mm))
}
