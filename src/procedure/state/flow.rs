//! What flows through a lumen with what lies in it.

use super::between_steps::State;
use crate::mechanics::{
    OccupiedStretch, PUMP_KPA, annulus_flow_fraction, eccentric_flow_fraction,
    series_flow_fraction, suction_force_n,
};
use crate::procedure::script::Plan;
use serde::{Deserialize, Serialize};

/// Flow share below which a lumen counts as blocked: contrast and suction move nothing.
pub(in crate::procedure) const BLOCKED: f64 = 0.01;

/// What flows through a catheter's lumen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LumenFlow {
    /// Indices of what lies in it.
    pub occupants: Vec<usize>,
    /// Share of the free flow left with everything in the middle of the lumen, 0 to 1.
    pub least_share: f64,
    /// The same with everything on the wall.
    pub most_share: f64,
    /// Pull on a clot that closes the tip, N; with what lies there in the way taken off the area.
    pub tip_force_n: f64,
}

impl LumenFlow {
    /// Whether suction through it moves nothing.
    #[must_use]
    pub fn is_blocked(&self) -> bool {
        self.least_share < BLOCKED
    }
}

/// Flow left through a catheter's lumen with the shafts that lie in it, stretch by stretch in series;
/// several side by side are gathered into one of the same area.
///
/// The true share lies between the two given: shafts in the middle let least through.
#[must_use]
pub fn lumen_flow(plan: &Plan, state: &State, device: usize) -> LumenFlow {
    // every 8 mm of a long catheter: shafts change over centimetres
    const STRETCHES: u32 = 200;
    let mut flow = LumenFlow {
        occupants: Vec::new(),
        least_share: 1.0,
        most_share: 1.0,
        tip_force_n: 0.0,
    };
    let Some(at) = state.in_place[device] else {
        return flow;
    };
    let outer = &plan.devices[device].device;
    let inside: Vec<usize> = (0..plan.devices.len())
        .filter(|k| state.hubs_passed(*k).contains(&device))
        .collect();
    let length_mm = outer.usable_length_mm / f64::from(STRETCHES);
    let (mut least, mut most) = (Vec::new(), Vec::new());
    for i in 0..STRETCHES {
        let from_tip_mm = length_mm * (f64::from(i) + 0.5);
        let Some(lumen_mm) = outer.section_at(from_tip_mm).inner_mm else {
            continue;
        };
        let s_mm = at.tip_mm - from_tip_mm;
        let mut square_mm2 = 0.0;
        for &k in &inside {
            // only what lies in this lumen itself: a wire in a microcatheter takes no extra room
            let Some(tip_mm) = state.tip_mm(k).filter(|tip| *tip >= s_mm) else {
                continue;
            };
            if state.container_at(plan, k, s_mm) != Some(device) {
                continue;
            }
            let shaft_mm = plan.devices[k].device.section_at(tip_mm - s_mm).outer_mm;
            square_mm2 += shaft_mm * shaft_mm;
            if !flow.occupants.contains(&k) {
                flow.occupants.push(k);
            }
        }
        if i == 0 {
            let free_mm = (lumen_mm * lumen_mm - square_mm2).max(0.0).sqrt();
            flow.tip_force_n = suction_force_n(free_mm, PUMP_KPA);
        }
        let ratio = (square_mm2.sqrt() / lumen_mm).min(1.0);
        let stretch = |share| OccupiedStretch {
            length_mm,
            lumen_mm,
            share,
        };
        least.push(stretch(annulus_flow_fraction(ratio)));
        most.push(stretch(eccentric_flow_fraction(ratio, 1.0)));
    }
    // lumens of a device are above zero once it is checked
    flow.least_share = series_flow_fraction(&least).unwrap_or(0.0);
    flow.most_share = series_flow_fraction(&most).unwrap_or(0.0);
    flow
}
