//! A move followed once more, with other materials and the same lengths fed: how far its forces reach.

use super::placer::{Asked, DepthTarget, EndForces, Motion, Shape, StackPlacement};
use super::posed::Posed;
use super::rods::Rods;
use crate::mechanics::{Failure, MechanicsError};
use crate::procedure::script::Plan;
use std::sync::Arc;

/// Forces of a move that was laid before, with the materials of `plan`; every device is fed as far as it was then, since
/// that is what the hand does. `before`: the shape that the move began from. None where it was not laid as rods, or
/// where nothing was moved.
///
/// Shapes are sought from those that were found then, which are near: rods that are all stiffer by the same factor lie
/// the same. Where a search begins is of no account to what is found, so that moves may be followed in any order.
#[must_use]
pub fn follow_again(
    plan: &Plan,
    laid: &StackPlacement,
    before: Option<&Arc<Shape>>,
) -> Option<EndForces> {
    let asked = laid.asked.as_deref()?;
    if laid.loads.is_empty() {
        return None;
    }
    let mut found = StackPlacement {
        loaded_tip_mm: laid.loaded_tip_mm.clone(),
        ..StackPlacement::default()
    };
    let lost = moved_again(plan, laid, asked, before, &mut found).err();
    let lost = lost.map(|why| Failure::of(&why).unwrap_or(Failure::NonFinite));
    let pulls = found.unsolved_pulls.iter().filter_map(|pull| pull.why);
    let all = found.failures.iter().copied().chain(lost).chain(pulls);
    let (undecided, failures): (Vec<Failure>, Vec<Failure>) = all.partition(Failure::is_undecided);
    Some(EndForces {
        hub_n: found
            .loads
            .iter()
            .map(|load| (load.device, load.direction, load.hub_force_n))
            .collect(),
        failures,
        unknown: !undecided.is_empty(),
    })
}

fn moved_again(
    plan: &Plan,
    laid: &StackPlacement,
    asked: &Asked,
    before: Option<&Arc<Shape>>,
    found: &mut StackPlacement,
) -> Result<(), MechanicsError> {
    let moved: Vec<usize> = asked.targets.iter().map(|target| target.0).collect();
    match asked.motion {
        Motion::Forward => {
            let fed = |(k, target): &(usize, DepthTarget)| {
                let fed_mm = laid.fed_mm.get(*k).copied().flatten();
                (*k, fed_mm.map_or(*target, DepthTarget::Fed))
            };
            let targets: Vec<_> = asked.targets.iter().map(fed).collect();
            let mut rods = Rods::starting_from(plan, &asked.state, laid.shape.as_ref())?;
            let posed = Posed::new(plan, &asked.state, &targets, &moved)?;
            let lesions = rods.asked_by_lesions(plan, &asked.state, &asked.targets)?;
            rods.push(plan, &posed, &lesions, found)?;
        }
        Motion::Back => {
            let rods = Rods::starting_from(plan, &asked.state, before)?;
            rods.pull(plan, &asked.state, &asked.targets, found)?;
        }
    }
    for pending in std::mem::take(&mut found.pending) {
        if pending.asks_forces() {
            found.take_over(pending.solve(), plan.rules.hub_force_limit_n);
        }
    }
    Ok(())
}
