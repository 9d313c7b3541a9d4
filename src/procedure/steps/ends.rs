//! What breaks only if frictions and stiffnesses are as large as they may be.

use super::effect::StepEffect;
use crate::mechanics::Failure;
use crate::procedure::reason::{Finding, Force};
use crate::procedure::script::Plan;

/// Warns of moves that fail with materials at the most that is known of them, and not with usual ones. The verdict
/// stays that of the usual values: what is not known is no failure.
pub fn tell_ends(plan: &Plan, effect: &mut StepEffect) {
    let mut told: Vec<Finding> = Vec::new();
    for placed in &effect.placements {
        let Some([_, most]) = &placed.at_ends else {
            continue;
        };
        let is_known = placed.failures.iter().any(breaks);
        let device = placed
            .loads
            .first()
            .map(|load| &plan.devices[load.device].name);
        let (false, Some(device), Some(failure)) =
            (is_known, device, most.failures.iter().find(|f| breaks(f)))
        else {
            continue;
        };
        let warned = |hub_force_n: f64, limit_n: Option<f64>, station_mm: f64| {
            Finding::warning(Force::BreaksAtMost {
                device: device.clone(),
                place: plan.spot(station_mm),
                hub_force_n,
                limit_n,
            })
        };
        told.extend(match *failure {
            Failure::LockUp {
                station_mm,
                hub_force_n,
            } => Some(warned(hub_force_n, None, station_mm)),
            Failure::HubForce {
                station_mm,
                hub_force_n,
                limit_n,
            } => Some(warned(hub_force_n, Some(limit_n), station_mm)),
            _ => None,
        });
    }
    told.dedup();
    effect.findings.extend(told);
}

const fn breaks(failure: &Failure) -> bool {
    matches!(failure, Failure::LockUp { .. } | Failure::HubForce { .. })
}
