//! What an open retriever holds with: friction of its bare stretches on wall and clot.

use crate::device::Payload;
use crate::mechanics::{BareStretch, MechanicsError, retriever_pull_n};
use crate::procedure::script::Plan;
use crate::procedure::state::State;

/// Pull that makes a retriever slide where it stands open, N: on the wall and on clot. Their sum is also
/// what it holds its pusher with while nobody does.
///
/// Three devices began to move at 0.09, 0.25 and 0.33 N in a lubricated model: Kwak et al. (2022),
/// *Front. Neurol.* 964354.
///
/// # Errors
/// As [`retriever_pull_n`].
pub fn retriever_holds_n(
    plan: &Plan,
    state: &State,
    device: usize,
) -> Result<[f64; 2], MechanicsError> {
    let Some(Payload::Retriever(spec)) = &plan.devices[device].device.payload else {
        return Ok([0.0; 2]);
    };
    let stretches: Vec<BareStretch> = state
        .open_profile(plan, device)
        .iter()
        .filter(|o| o.covered_by.is_none())
        .map(|o| BareStretch {
            length_mm: o.length_mm,
            outward_n_per_mm: spec.outward_n_per_mm(o.vessel_mm),
            on_clot: plan
                .track
                .clots
                .iter()
                .any(|c| o.from_mm >= c.start_mm && o.from_mm < c.end_mm),
        })
        .collect();
    retriever_pull_n(&stretches, &plan.values.friction.sliding())
}
