//! A device of the stack as an elastic rod.

use crate::device::{Payload, Tip};
use crate::mechanics::{MechanicsError, NaturalBend, Rod, Roll, StartSupport};
use crate::procedure::script::Plan;
use crate::procedure::state::State;

/// Gap between an open retriever and what it lies in, mm of radius: it lies on the wall all round,
/// and is free to find its own path within the thickness of its struts.
const OPEN_GAP_MM: f64 = 0.05;
/// Length over which an open retriever narrows towards what is not open yet, mm: a strut or two.
const OPENS_OVER_MM: f64 = 3.0;
/// Spacing at which an open retriever follows the lumen it opens in, mm.
const OPEN_STEP_MM: f64 = 1.0;

/// How much shorter an open retriever is than folded, mm.
pub(super) fn shortened_mm(plan: &Plan, state: &State, k: usize) -> f64 {
    match &plan.devices[k].device.payload {
        Some(Payload::Retriever(r)) if state.open[k] => r.folded_length_mm - r.free_length_mm,
        _ => 0.0,
    }
}

/// A device as a rod whose folded tip stands about `tip_mm`.
pub(super) fn rod(
    plan: &Plan,
    state: &State,
    k: usize,
    tip_mm: f64,
    outermost: bool,
) -> Result<Rod, MechanicsError> {
    let device = &plan.devices[k].device;
    let shortened_mm = shortened_mm(plan, state, k);
    let open = match &device.payload {
        Some(Payload::Retriever(r)) if state.open[k] => Some(*r),
        _ => None,
    };
    // an open retriever is its folded self drawn together in its working length
    let along = |from_tip_mm: f64| match open {
        Some(r) if from_tip_mm < r.folded_length_mm => {
            from_tip_mm * r.free_length_mm / r.folded_length_mm
        }
        _ => from_tip_mm - shortened_mm,
    };
    let knots = |value: &dyn Fn(&crate::device::Knot) -> Option<f64>| -> Vec<(f64, f64)> {
        let lines = device.profile.iter();
        lines
            .filter_map(|line| Some((along(line.from_tip_mm), value(line)?)))
            .collect()
    };
    let outer = match open {
        None => knots(&|line| Some(line.outer_mm)),
        Some(r) => {
            let mut outer = Vec::new();
            let far_mm = tip_mm - shortened_mm;
            let mut from_tip_mm = 0.0;
            while from_tip_mm < r.free_length_mm {
                let lumen_mm = [-OPENS_OVER_MM, 0.0, OPENS_OVER_MM]
                    .map(|aside_mm| lumen_around(plan, state, k, far_mm - from_tip_mm + aside_mm))
                    .into_iter()
                    .fold(f64::INFINITY, f64::min);
                let open_mm = (lumen_mm - 2.0 * OPEN_GAP_MM).min(r.free_diameter_mm);
                outer.push((from_tip_mm, open_mm.max(device.shaft_outer_mm())));
                from_tip_mm += OPEN_STEP_MM;
            }
            let shaft = knots(&|line| Some(line.outer_mm));
            outer.extend(shaft.into_iter().filter(|(a, _)| *a >= from_tip_mm));
            outer
        }
    };
    // the hub of the outermost one is held straight at the skin; what lies in it follows it
    let start = match outermost {
        true => StartSupport::Clamped,
        false => StartSupport::Free,
    };
    let mut rod = Rod::builder()
        .stiffness_by_distance_n_mm2(&knots(&|l| Some(l.stiffness_n_mm2)))
        .outer_by_distance_mm(&outer)
        .start(start);
    let inner = knots(&|line| line.inner_mm);
    if !inner.is_empty() {
        rod = rod.inner_by_distance_mm(&inner);
    }
    if let Tip::Curved { length, angle_deg } = device.tip {
        rod = rod.natural_bend(NaturalBend {
            length_mm: length,
            curvature_per_mm: angle_deg.to_radians() / length,
            roll: Roll::Free(0.0),
        });
    }
    if open.is_some() {
        rod = rod.yields();
    }
    rod.build()
}

/// Lumen diameter of what a device lies in at a station, mm.
fn lumen_around(plan: &Plan, state: &State, k: usize, s_mm: f64) -> f64 {
    let around = state.container_at(plan, k, s_mm).and_then(|j| {
        let from_tip_mm = state.tip_mm(j)? - s_mm;
        plan.devices[j].device.section_at(from_tip_mm).inner_mm
    });
    around.unwrap_or_else(|| plan.track.healthy_diameter_at(s_mm))
}
