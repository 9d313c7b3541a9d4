//! The fold of the script over the states: every step from where the one before left everything.

use super::RehearsalError;
use super::followers::tell_followers;
use crate::mechanics::MechanicsError;
use crate::mechanics::threads::{all_of_them, run_alongside};
use crate::procedure::{Lay, Passed, Pending, Plan, Ruler, State, lay_step, tell_forces};

/// Does the whole script along the centre line, step by step.
#[must_use]
pub fn walk(plan: &Plan) -> Vec<Passed> {
    // a ruler refuses nothing
    walk_with(plan, &mut Ruler).unwrap_or_default()
}

/// Does the whole script, step by step, with the given way of laying the stack.
///
/// # Errors
/// Those of `lay`, with the index of the step at which no equilibrium was found.
pub fn walk_with(plan: &Plan, lay: &mut dyn Lay) -> Result<Vec<Passed>, (usize, MechanicsError)> {
    // pulls are solved beside the script: nothing in it waits for them
    let (walked, felt) = run_alongside(
        all_of_them(),
        |(step, laid, pending): (usize, usize, Pending)| (step, laid, pending.solve()),
        |hand_in| {
            let mut state = State::start(plan);
            let mut passed = Vec::with_capacity(plan.script.len());
            for (i, step) in plan.script.iter().enumerate() {
                let (after, mut effect) =
                    lay_step(plan, &state, &step.act, lay).map_err(|error| (i, error))?;
                for (at, laid) in effect.laid.iter_mut().enumerate() {
                    for pending in std::mem::take(&mut laid.pending) {
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
    for (step, laid, felt) in felt {
        passed[step].effect.laid[laid].feel(felt, plan.rules.hub_force_limit_n);
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
/// [`RehearsalError`] where `lay` finds none.
pub fn walk_through(plan: &Plan, lay: &mut dyn Lay) -> Result<Vec<Passed>, RehearsalError> {
    walk_with(plan, lay).map_err(|(step, source)| RehearsalError::NoEquilibrium {
        step: step + 1,
        say: plan.script[step].in_words(),
        source,
    })
}
