//! Where a device lies when it meets a stent's edge: settled in a short stretch of the route.

use super::passages::{EdgePassage, Meets};
use crate::device::{Device, Knot, Payload};
use crate::math;
use crate::mechanics::{
    AxialLoad, End, MechanicsError, Placement, Profile, Rod, Scene, Settings, Settle, Solution,
    StartSupport, TubeStation, nest,
};
use crate::procedure::script::Plan;
use crate::procedure::state::State;

/// Length of route below the edge that is settled, mm: several times the length over which a guide's
/// bending dies out between the walls of a carotid.
const BELOW_MM: f64 = 80.0;
/// Length above the edge, mm, for what runs ahead as a rail.
const ABOVE_MM: f64 = 30.0;
/// Pull on an open retriever while it is drawn across an edge, N: the middle of bench pulls of 0.24 to
/// 1.6 N (*Front. Neurol.* 15, 1486738, 2024) lies near; it only decides to which wall it is drawn.
const PULL_N: f64 = 0.5;
/// Least gap left round a device that fills its lumen, mm of radius: rods need a little.
const LEAST_GAP_MM: f64 = 0.03;

/// Offset and approach angle of the device at the edge, as rods find them in the stretch from 80 mm
/// below it to 30 mm above, the vessel and stent as they were before the step. The device's tip stands
/// at the edge, or as far beyond it as the step lies behind the tip; what it rides on runs ahead. A
/// retriever is drawn taut.
///
/// # Errors
/// What [`Settle::settle`] refuses or does not find.
pub(super) fn settled_at_edge(
    plan: &Plan,
    state: &State,
    passage: &EdgePassage,
) -> Result<Placement, MechanicsError> {
    let (first_mm, last_mm) = (
        (passage.station_mm - BELOW_MM).max(0.0),
        (passage.station_mm + ABOVE_MM).min(plan.track.length_mm()),
    );
    // stations of the stretch count from its start
    let station = |s_mm: f64| TubeStation {
        s_mm: s_mm - first_mm,
        frame: plan.track.frame_at(s_mm),
        radius_mm: 0.5 * state.lumen_at_mm(plan, s_mm),
        wall_stiffness_n_per_mm2: plan
            .track
            .stations
            .get(
                plan.track
                    .stations
                    .partition_point(|t| t.s_mm < s_mm)
                    .min(plan.track.stations.len().saturating_sub(1)),
            )
            .map_or(1.0, |t| t.wall_stiffness_n_per_mm2),
    };
    let cells = (last_mm - first_mm).round().max(4.0);
    let mut tube = Vec::new();
    let mut i = 0.0;
    while i <= cells {
        tube.push(station(first_mm + (last_mm - first_mm) * i / cells));
        i += 1.0;
    }
    let mut rods = Vec::new();
    let device = &plan.devices[passage.device].device;
    let edge_mm = passage.station_mm;
    match (&device.payload, passage.meets) {
        (Some(Payload::Retriever(spec)), Meets::Struts) => {
            // near end at the edge, drawn taut, its basket above
            let open_mm = spec.open_diameter_mm(state.lumen_at_mm(plan, edge_mm));
            let length_mm = (spec.free_length_mm).min(last_mm - edge_mm);
            let outer_mm = [
                (0.0, open_mm - 2.0 * LEAST_GAP_MM),
                (length_mm, open_mm - 2.0 * LEAST_GAP_MM),
                (length_mm + 3.0, device.shaft_outer_mm()),
            ];
            let stiffness = device
                .section_at(spec.folded_length_mm + 1.0)
                .stiffness_n_mm2;
            let mut rod = Rod::uniform(stiffness, device.shaft_outer_mm());
            rod.outer_mm = Profile::new("outer_mm", &outer_mm)?;
            rod.load = AxialLoad::Uniform(PULL_N);
            rod.end = End::Tip(station(edge_mm + length_mm));
            rods.push(rod);
        }
        _ => {
            let tip_mm = passage.tip_mm();
            rods.push(if tip_mm < last_mm {
                rod_of(device, 0.0, End::Tip(station(tip_mm)))?
            } else {
                rod_of(device, tip_mm - last_mm, End::ExitPlane)?
            });
            if let Some(k) = passage.riding_on {
                let carrier = &plan.devices[k].device;
                rods.push(rod_of(carrier, 0.0, End::ExitPlane)?);
            }
        }
    }
    for rod in &mut rods {
        rod.start = StartSupport::Pinned;
    }
    nest(&tube, &mut rods);
    let solution = Settle::new(Settings::default()).settle(&Scene::new(&tube, &rods))?;
    Ok(read(&solution, &tube, edge_mm - first_mm))
}

/// A device as a rod, its first `beyond_mm` past the end of the stretch.
fn rod_of(device: &Device, beyond_mm: f64, end: End) -> Result<Rod, MechanicsError> {
    let cut = device.section_at(beyond_mm);
    let first = Knot {
        from_tip_mm: beyond_mm,
        outer_mm: cut.outer_mm,
        inner_mm: cut.inner_mm,
        stiffness_n_mm2: cut.stiffness_n_mm2,
    };
    let behind = device.profile.iter().filter(|k| k.from_tip_mm > beyond_mm);
    let lines: Vec<&Knot> = match beyond_mm > 0.0 {
        true => std::iter::once(&first).chain(behind).collect(),
        false => device.profile.iter().collect(),
    };
    let knots = |value: &dyn Fn(&Knot) -> Option<f64>| -> Vec<(f64, f64)> {
        let lines = lines.iter();
        lines
            .filter_map(|k| Some((k.from_tip_mm - beyond_mm, value(k)?)))
            .collect()
    };
    let mut rod = Rod::builder()
        .stiffness_by_distance_n_mm2(&knots(&|k| Some(k.stiffness_n_mm2)))
        .outer_by_distance_mm(&knots(&|k| Some(k.outer_mm)))
        .start(StartSupport::Pinned);
    let inner = knots(&|k| k.inner_mm);
    if !inner.is_empty() {
        rod = rod.inner_by_distance_mm(&inner);
    }
    let mut rod = rod.build()?;
    rod.end = end;
    Ok(rod)
}

fn read(solution: &Solution, tube: &[TubeStation], edge_mm: f64) -> Placement {
    let rod = &solution.rods[0];
    let nodes = rod.station_mm.len();
    let at = rod
        .station_mm
        .partition_point(|s| *s < edge_mm - 1e-6)
        .clamp(1, nodes.saturating_sub(1).max(1));
    let along = rod.position_mm[at] - rod.position_mm[at - 1];
    let tangent = TubeStation::at(tube, 0.5 * (rod.station_mm[at] + rod.station_mm[at - 1]))
        .map_or(along, |t| t.frame.tangent);
    let cos = along.dot(&tangent) / (along.norm() * tangent.norm());
    Placement {
        offset_mm: rod.offset_mm[at],
        approach_rad: math::acos(cos.clamp(-1.0, 1.0)),
        fall_back_mm: 0.0,
    }
}
