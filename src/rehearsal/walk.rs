//! The fold of the script over the states: every step from where the one before left everything.

use super::RehearsalError;
use super::followers::tell_followers;
use crate::mechanics::MechanicsError;
use crate::procedure::{CentreLine, Passed, Pending, Placer, Plan, State, place_step, tell_forces};
use crate::threads::{all_of_them, run_alongside};

/// Does the whole script along the centre line, step by step.
#[must_use]
pub fn walk(plan: &Plan) -> Vec<Passed> {
    // a ruler refuses nothing
    walk_with(plan, &mut CentreLine).unwrap_or_default()
}

/// Does the whole script, step by step, with the given way of laying the stack.
///
/// # Errors
/// Those of `placer`, with the index of the step at which no equilibrium was found.
pub fn walk_with(
    plan: &Plan,
    placer: &mut dyn Placer,
) -> Result<Vec<Passed>, (usize, MechanicsError)> {
    walk_on(plan, placer, all_of_them())
}

/// The same on so many threads; their number changes no bit of the result.
///
/// # Errors
/// As [`walk_with`].
pub(super) fn walk_on(
    plan: &Plan,
    placer: &mut dyn Placer,
    threads: usize,
) -> Result<Vec<Passed>, (usize, MechanicsError)> {
    // pulls are solved beside the script: nothing in it waits for them
    let (walked, solved) = run_alongside(
        threads,
        |(step, placed, pending): (usize, usize, Pending)| (step, placed, pending.solve()),
        |hand_in| {
            let mut state = State::start(plan);
            let mut passed = Vec::with_capacity(plan.script.len());
            for (i, step) in plan.script.iter().enumerate() {
                let (after, mut effect) =
                    place_step(plan, &state, &step.act, placer).map_err(|error| (i, error))?;
                for (at, placed) in effect.placements.iter_mut().enumerate() {
                    for pending in std::mem::take(&mut placed.pending) {
                        hand_in((i, at, pending));
                    }
                }
                passed.push(Passed {
                    before: std::mem::replace(&mut state, after.clone()),
                    after,
                    effect,
                });
            }
            Ok(passed)
        },
    );
    let mut passed: Vec<Passed> = walked?;
    for (step, placed, pull) in solved {
        passed[step].effect.placements[placed].take_over(pull, plan.rules.hub_force_limit_n);
    }
    for done in &mut passed {
        tell_forces(plan, &done.before, &done.after, &mut done.effect);
    }
    tell_followers(plan, &mut passed);
    Ok(passed)
}

/// Walks through the script; where no equilibrium is found, the step is named.
///
/// # Errors
/// [`RehearsalError`] where `placer` finds none.
pub fn walk_through(plan: &Plan, placer: &mut dyn Placer) -> Result<Vec<Passed>, RehearsalError> {
    walk_with(plan, placer).map_err(|(step, source)| RehearsalError::NoEquilibrium {
        step: step + 1,
        say: plan.script[step].in_words(),
        source,
    })
}
