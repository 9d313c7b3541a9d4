//! What protects the brain while the neck is worked on.

use super::stepper::Stepper;
use crate::device::Payload;
use crate::procedure::reason::{Finding, Lumen};
use crate::procedure::script::Plan;
use crate::procedure::state::{Move, State};

/// Lumen of a lesion below which every device is taken to leave it as it is, mm: a wire slips through.
const WIRE_SLIPS_MM: f64 = 0.4;

/// Whether a step acts on a lesion: opens it, stents it, or pushes through it what is wider than it.
pub(in crate::procedure) fn acts_on_neck(
    plan: &Plan,
    before: &State,
    after: &State,
    moves: &[Move],
) -> bool {
    before.residual_mm != after.residual_mm
        || before.stents.len() != after.stents.len()
        || moves.iter().any(|m| widens(plan, before, m))
}

/// A device that is pushed through a lesion narrower than itself.
fn widens(plan: &Plan, before: &State, m: &Move) -> bool {
    let lesions = plan.track.lesions.iter().enumerate();
    let outer_mm = plan.devices[m.device].device.widest_mm();
    lesions.into_iter().any(|(i, lesion)| {
        let middle_mm = lesion.middle_mm();
        m.from_mm < middle_mm
            && m.to_mm >= middle_mm
            && outer_mm > before.residual_mm[i].max(WIRE_SLIPS_MM)
    })
}

/// Occlusion balloons that are up.
pub(in crate::procedure) fn stops_flow(plan: &Plan, state: &State, k: usize) -> bool {
    let payload = plan.devices[k].device.payload.as_ref();
    state.inflated[k] && matches!(payload, Some(Payload::OcclusionBalloon(_)))
}

impl Stepper<'_> {
    /// Work on the neck with neither suction nor the flow stopped: told once, at the first such step.
    pub(super) fn tell_unprotected(&mut self, before: &State) {
        let devices = 0..self.plan.devices.len();
        let protected = devices
            .into_iter()
            .any(|k| before.suction[k] || stops_flow(self.plan, before, k));
        let acts = acts_on_neck(self.plan, before, &self.state, &self.effect.moves);
        if acts && !protected && !self.state.unprotected_told {
            self.state.unprotected_told = true;
            self.tell(Finding::warning(Lumen::NeckUnprotected));
        }
    }
}
