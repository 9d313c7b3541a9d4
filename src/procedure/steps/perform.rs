//! Doing one step: preconditions first, then the movement, then what it means.

use super::effect::StepEffect;
use super::forces::tell_forces;
use super::stepper::{Outcome, Stepper, Stop};
use crate::mechanics::MechanicsError;
use crate::procedure::placing::{CentreLine, Placer};
use crate::procedure::script::{Action, Plan, Where};
use crate::procedure::state::State;

/// Does one step along the centre line; see [`perform_with`].
#[must_use]
pub fn perform(plan: &Plan, before: &State, act: &Action) -> (State, StepEffect) {
    // a ruler refuses nothing
    perform_with(plan, before, act, &mut CentreLine)
        .unwrap_or_else(|_| (before.clone(), StepEffect::default()))
}

/// Does one step on a copy of the state, forces and all; a step that a precondition stops leaves it as
/// it was.
///
/// The state and the effect are the outcome: a failure is told in the effect's findings, and a
/// device that is too short is left as far as it comes, so that a rehearsal can go on and tell
/// what else breaks.
///
/// # Errors
/// Those of `placer`: no equilibrium was found, so there is no state to go on from.
pub fn perform_with(
    plan: &Plan,
    before: &State,
    act: &Action,
    placer: &mut dyn Placer,
) -> Result<(State, StepEffect), MechanicsError> {
    let (state, mut effect) = place_step(plan, before, act, placer)?;
    for placed in &mut effect.placements {
        for pending in std::mem::take(&mut placed.pending) {
            placed.take_over(pending.solve(), plan.rules.hub_force_limit_n);
        }
    }
    tell_forces(plan, before, &state, &mut effect);
    Ok((state, effect))
}

/// Does one step as [`perform_with`] does, but leaves pulls pending and says nothing of forces: for whoever
/// solves those beside the script.
///
/// # Errors
/// As [`perform_with`].
pub fn place_step(
    plan: &Plan,
    before: &State,
    act: &Action,
    placer: &mut dyn Placer,
) -> Result<(State, StepEffect), MechanicsError> {
    let mut stepper = Stepper::new(plan, before, placer);
    let done = stepper
        .dispatch(act)
        .and_then(|()| stepper.come_to_rest(before));
    match done {
        Ok(()) => {
            stepper.effect.performed = true;
            stepper.tell_unwatched();
            stepper.tell_unprotected(before);
            stepper.tell_lost_access(before);
            Ok((stepper.state, stepper.effect))
        }
        Err(Stop::Mechanics(error)) => Err(error),
        Err(Stop::Told(finding)) => {
            stepper.effect.findings.push(*finding);
            let effect = StepEffect {
                findings: stepper.effect.findings,
                ..StepEffect::default()
            };
            Ok((before.clone(), effect))
        }
    }
}

impl Stepper<'_> {
    fn dispatch(&mut self, act: &Action) -> Outcome {
        match act {
            Action::Insert {
                device,
                through,
                over,
                to,
            } => self.insert(device, through.as_deref(), over.as_deref(), to),
            Action::Advance { device, to, nose } => self.advance(device, to, nose.as_deref()),
            Action::AdvanceTogether { devices, to } => self.advance_together(devices, to),
            Action::Engage { device, ostium } => self.engage(device, ostium),
            Action::Withdraw {
                device,
                to: Where::Out,
            } => self.remove(device),
            Action::Withdraw { device, to } => self.withdraw(device, to),
            Action::WithdrawTogether { devices, to } => self.withdraw_together(devices, to),
            Action::Remove { device } => self.remove(device),
            Action::LoadRetriever { retriever, through } => self.load_retriever(retriever, through),
            Action::Unsheathe { retriever } => self.unsheathe(retriever),
            Action::DeployStent { device } => self.deploy_stent(device),
            Action::Inflate {
                device,
                pressure_atm,
            } => self.inflate(device, *pressure_atm),
            Action::Deflate { device } => self.deflate(device),
            Action::SuctionOn { device } => self.suction_on(device),
            Action::SuctionOff { device } => self.suction_off(device),
            Action::Contrast { through, region } => self.contrast(through, *region),
            Action::Attach { part, rail } => self.attach(part, rail),
            Action::Detach { part } => self.detach(part),
            Action::Watch { plane, region } => {
                self.watch(*plane, *region);
                Ok(())
            }
            Action::Roadmap { plane } => self.lay_roadmap(*plane),
            Action::CheckMarkers { retriever } => self.check_markers(retriever),
            Action::Flush {
                device,
                pressure_atm,
            } => self.flush(device, *pressure_atm),
            Action::Wait { .. } => Ok(()),
        }
    }
}
