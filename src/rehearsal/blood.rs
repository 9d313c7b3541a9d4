//! Blood that suction draws meanwhile: an estimate, step by step.

use crate::math;
use crate::procedure::{Passed, Plan, lumen_flow};
use serde::{Deserialize, Serialize};

/// Free flow of blood through a catheter of [`LUMEN_MM`] under a pump's suction, mL/s: 3.74 for one of 0.068 in
/// (J Neurointerv Surg 13, 1157, 2021).
const FLOW_ML_PER_S: f64 = 3.74;
/// Its lumen, mm: 0.068 in.
const LUMEN_MM: f64 = 1.727;
/// How flow grows with the lumen: 5.96 mL/s through an 8F guide in the same source, its lumen taken as 0.088 in (assumed).
/// Laminar flow would have 4: what limits it is the bore and not the wall.
const EXPONENT: f64 = 1.81;
/// How far before a clot a tip counts as stopped by it, mm.
const AT_CLOT_MM: f64 = 2.0;

/// Blood drawn through one lumen during one step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BloodRow {
    /// Number of the step, from 1.
    pub step: usize,
    /// The catheter on suction.
    pub device: String,
    /// How long, s, where everything takes its mean time.
    pub for_s: f64,
    /// Blood drawn, mL: nothing where clot closes the tip.
    pub blood_ml: f64,
}

/// Blood drawn by step and lumen; `end_s`: ends of the steps on the clock, s, `[steps]`.
pub(super) fn blood_rows(plan: &Plan, passed: &[Passed], end_s: &[Option<f64>]) -> Vec<BloodRow> {
    let mut rows = Vec::new();
    let mut since_s: f64 = 0.0;
    for (i, (done, end_s)) in passed.iter().zip(end_s).enumerate() {
        let Some(end_s) = end_s else { continue };
        let for_s = (end_s - since_s).max(0.0);
        since_s = since_s.max(*end_s);
        for k in 0..plan.devices.len() {
            if for_s > 0.0 && done.before.suction[k] && done.before.in_place[k].is_some() {
                rows.push(BloodRow {
                    step: i + 1,
                    device: plan.devices[k].name.clone(),
                    for_s,
                    blood_ml: for_s * flow_ml_per_s(plan, done, k),
                });
            }
        }
    }
    rows
}

/// Flow of blood through a lumen on suction as a step begins, mL/s.
fn flow_ml_per_s(plan: &Plan, done: &Passed, k: usize) -> f64 {
    let state = &done.before;
    let tip_mm = state.tip_mm(k).unwrap_or(0.0);
    let retriever_out = !state.open.iter().any(|open| *open);
    let at_clot = plan
        .track
        .clots
        .iter()
        .any(|c| tip_mm >= c.start_mm - AT_CLOT_MM && tip_mm <= c.end_mm && !retriever_out);
    let shape = &plan.devices[k].device;
    let lumen_mm = shape.min_inner_between(0.0, shape.usable_length_mm);
    let Some(lumen_mm) = lumen_mm.filter(|_| !at_clot) else {
        return 0.0;
    };
    let free = FLOW_ML_PER_S * math::pow(lumen_mm / LUMEN_MM, EXPONENT);
    free * lumen_flow(plan, state, k).least_share
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_flows_of_two_lumens() {
        // J Neurointerv Surg 13, 1157 (2021): 3.74 and 5.96 mL/s; 0.088 in for the second one is assumed
        let flow = |inch: f64| FLOW_ML_PER_S * math::pow(25.4 * inch / LUMEN_MM, EXPONENT);
        assert!((flow(0.068) - 3.74).abs() < 0.01, "{}", flow(0.068));
        assert!((flow(0.088) - 5.96).abs() < 0.05, "{}", flow(0.088));
    }
}
