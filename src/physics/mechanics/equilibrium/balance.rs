//! Balance of one stage, away from saddles.

use super::angles::settle_angles_first;
use super::hub_regularised::{HUB_SPRINGS_N_PER_MM, settle_regularised};
use super::newton::Ended;
use super::rounds::settle_by_rounds;
use super::workspace::{Stage, Workspace};
use crate::mechanics::error::MechanicsError;

/// Most saddles left in one stage; each costs a few steps and every one lowers the energy.
const MOST_SADDLES: usize = 8;

/// Balance away from saddles; tells whether one was passed.
pub(crate) fn settle_stage(ws: &mut Workspace, stage: Stage<'_>) -> Result<bool, MechanicsError> {
    let mut passed = false;
    for _ in 0..MOST_SADDLES {
        balance(ws, stage)?;
        let known = ws.newton.direction.definite;
        if known.unwrap_or_else(|| ws.model.factorise(0.0)) {
            break;
        }
        // A shift may be left over from the way here: look at the place itself.
        match ws.newton.lowest_mode(&mut ws.model) {
            Some(value) if value < 0.0 => {
                passed = true;
                ws.newton.leave_saddle(&mut ws.model);
            }
            _ => break,
        }
    }
    Ok(passed)
}

/// Shape, stiffness by own arc length and loads, until all agree. Where rounds stall, angles of a rod's pre-shaped
/// tip are settled before its loads, then hub springs hold the rods.
pub(crate) fn balance(ws: &mut Workspace, stage: Stage<'_>) -> Result<Ended, MechanicsError> {
    let rescue = |ws: &mut Workspace| settle_stalled(ws, stage);
    settle_by_rounds(ws, stage, Some(&rescue))
}

/// Other ways to shapes and loads that agree, where taking turns does not come nearer.
fn settle_stalled(ws: &mut Workspace, stage: Stage<'_>) -> Option<Ended> {
    if let [rod] = stage.scene.rods
        && rod.turns_by_rounds()
    {
        let most = ws.newton.effort.work.most;
        allow_a_try(ws, most);
        let found = settle_angles_first(ws, stage);
        ws.newton.effort.work.most = most;
        if found.is_some() {
            return found;
        }
    }
    HUB_SPRINGS_N_PER_MM
        .into_iter()
        .find_map(|spring_n_per_mm| settle_regularised(ws, stage, spring_n_per_mm))
}

/// What a try before others may take of the work allowed in all.
fn allow_a_try(ws: &mut Workspace, most: u64) {
    /// A tenth: most that end well take a hundredth.
    const TRIES: u64 = 10;
    let work = &mut ws.newton.effort.work;
    work.most = most.min(work.done + most / TRIES);
}
