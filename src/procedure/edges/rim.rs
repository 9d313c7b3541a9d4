//! The rim of a stent where something crosses it, as it stands off the wall.

use super::passages::EdgePassage;
use crate::device::{Payload, StentSpec};
use crate::math;
use crate::mechanics::{MechanicsError, Rim, RimShift, bed_stiffness_n_per_mm2, rim_shifts};
use crate::procedure::script::Plan;
use crate::procedure::state::{EdgeKind, State};
use crate::units::Allowed;

/// Largest gap between the rim of a stent and the wall, at its near or its far end, mm.
///
/// # Errors
/// [`MechanicsError`] where the stent comes to no rest in the vessel's bends.
pub fn rim_gap_mm(
    plan: &Plan,
    state: &State,
    stent: usize,
    edge: EdgeKind,
) -> Result<f64, MechanicsError> {
    let lying = &state.stents[stent];
    let s_mm = match edge {
        EdgeKind::Lower => lying.proximal_mm,
        EdgeKind::Upper | EdgeKind::Cells => lying.distal_mm,
    };
    Ok(rim(plan, state, stent, edge, s_mm)?.worst_gap().0)
}

/// The rim (or an open cell) where the passage crosses, in the vessel as it was before the step.
pub(super) fn rim_at(
    plan: &Plan,
    state: &State,
    passage: &EdgePassage,
) -> Result<Rim, MechanicsError> {
    rim(plan, state, passage.stent, passage.kind, passage.station_mm)
}

fn rim(
    plan: &Plan,
    state: &State,
    lying: usize,
    kind: EdgeKind,
    s_mm: f64,
) -> Result<Rim, MechanicsError> {
    let stent = &state.stents[lying];
    let Some(Payload::Stent(spec)) = &plan.devices[stent.device].device.payload else {
        return Err(MechanicsError::OutOfRange {
            what: "stent of the passage".into(),
            found: f64::NAN,
            needed: Allowed::in_words("a device that carries a stent"),
        });
    };
    let held_mm = stent.diameter_at_mm(s_mm).unwrap_or(spec.free_diameter_mm);
    let wall_mm = stent
        .profile
        .iter()
        .min_by(|a, b| (a.s_mm - s_mm).abs().total_cmp(&(b.s_mm - s_mm).abs()))
        .map_or(held_mm, |p| p.wall_mm);
    let (curvature_per_mm, inside_rad) = bend_at(plan, s_mm);
    let shift = match kind {
        // the ends of the stent stand off as a whole, cells between them only by their own struts
        EdgeKind::Cells => RimShift::default(),
        EdgeKind::Lower => shifts(plan, state, lying, spec, held_mm)?[0],
        EdgeKind::Upper => shifts(plan, state, lying, spec, held_mm)?[1],
    };
    Rim::of_stent(
        spec,
        held_mm,
        wall_mm,
        curvature_per_mm,
        inside_rad,
        shift.shift_mm,
    )
}

fn shifts(
    plan: &Plan,
    state: &State,
    stent: usize,
    spec: &StentSpec,
    held_mm: f64,
) -> Result<[RimShift; 2], MechanicsError> {
    let lying = &state.stents[stent];
    // one that hangs free is not bent by the vessel: its gap is that of its size
    let artery = plan.values.plaque.artery_n_per_mm;
    let Ok(bed) = bed_stiffness_n_per_mm2(spec, held_mm, artery) else {
        return Ok([RimShift::default(); 2]);
    };
    let stiffness =
        spec.bending_stiffness_n_mm2(held_mm)
            .map_err(|e| MechanicsError::OutOfRange {
                what: e.to_string(),
                found: held_mm,
                needed: Allowed::in_words("above 0").above(0.0),
            })?;
    let length_mm = lying.distal_mm - lying.proximal_mm;
    let cells = length_mm.round().max(4.0);
    let spacing_mm = length_mm / cells;
    let mut frames = Vec::new();
    let mut i = 0.0;
    while i <= cells {
        frames.push(plan.track.frame_at(lying.proximal_mm + spacing_mm * i));
        i += 1.0;
    }
    rim_shifts(&frames, spacing_mm, stiffness, bed)
}

/// Curvature (1/mm) and direction of the inside of the bend (rad from the first normal).
fn bend_at(plan: &Plan, s_mm: f64) -> (f64, f64) {
    // a chord of two stations each way smooths seams between arcs
    const HALF_MM: f64 = 2.0;
    let frame = plan.track.frame_at(s_mm);
    let (before, after) = (
        plan.track.frame_at(s_mm - HALF_MM),
        plan.track.frame_at(s_mm + HALF_MM),
    );
    let turn = (after.tangent - before.tangent) / (2.0 * HALF_MM);
    let (u, v) = (turn.dot(&frame.n1), turn.dot(&frame.n2));
    (math::hypot(u, v), math::atan2(v, u))
}
