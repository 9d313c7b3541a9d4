//! Doing one step: preconditions first, then the movement, then what it means.

use super::reason::{Access, Image, Precondition};
use super::{
    Action, DeviceEnd, Finding, InPlace, Laid, Lay, Motion, Plan, Plane, Reason, Region, Ruler,
    State, Where, Wish, exchange::Exchange, forces::tell_forces,
};
use crate::mechanics::MechanicsError;
use serde::{Deserialize, Serialize};

/// A tip that moved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Move {
    /// Index of the device.
    pub device: usize,
    /// Station of its tip before, mm; minus the hub's stand-off where it came in.
    pub from_mm: f64,
    /// Station of its tip after, mm.
    pub to_mm: f64,
}

/// What a step did.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StepEffect {
    /// False where a precondition stopped it: the state is as before.
    pub performed: bool,
    /// What it is told.
    pub findings: Vec<Finding>,
    /// Tips that moved.
    pub moves: Vec<Move>,
    /// Loading onto a rail or off it.
    pub exchanges: Vec<Exchange>,
    /// How the stack lay at each stage of the step, the last one as it rests.
    pub laid: Vec<Laid>,
}

/// A step done: states before and after it.
#[derive(Debug, Clone, PartialEq)]
pub struct Passed {
    /// The state it found.
    pub before: State,
    /// The state it left.
    pub after: State,
    /// What it did.
    pub effect: StepEffect,
}

/// Does one step along the centre line; see [`perform_with`].
#[must_use]
pub fn perform(plan: &Plan, before: &State, act: &Action) -> (State, StepEffect) {
    // a ruler refuses nothing
    perform_with(plan, before, act, &mut Ruler)
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
/// Those of `lay`: no equilibrium was found, so there is no state to go on from.
pub fn perform_with(
    plan: &Plan,
    before: &State,
    act: &Action,
    lay: &mut dyn Lay,
) -> Result<(State, StepEffect), MechanicsError> {
    let (state, mut effect) = lay_step(plan, before, act, lay)?;
    for laid in &mut effect.laid {
        for pending in std::mem::take(&mut laid.pending) {
            laid.feel(pending.solve(), plan.rules.hub_force_limit_n);
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
pub fn lay_step(
    plan: &Plan,
    before: &State,
    act: &Action,
    lay: &mut dyn Lay,
) -> Result<(State, StepEffect), MechanicsError> {
    let mut stepper = Stepper {
        plan,
        state: before.clone(),
        effect: StepEffect::default(),
        lay,
    };
    let done = stepper
        .dispatch(act)
        .and_then(|()| stepper.come_to_rest(before));
    match done {
        Ok(()) => {
            stepper.effect.performed = true;
            stepper.tell_unwatched();
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

/// Why a step is not done.
#[derive(Debug)]
pub(super) enum Stop {
    /// A precondition does not hold.
    Told(Box<Finding>),
    /// No equilibrium.
    Mechanics(MechanicsError),
}

impl From<MechanicsError> for Stop {
    fn from(error: MechanicsError) -> Self {
        Self::Mechanics(error)
    }
}

pub(super) type Outcome<T = ()> = Result<T, Stop>;

/// Stops the step: what is wrong.
pub(super) fn stop<T>(reason: impl Into<Reason>) -> Outcome<T> {
    Err(Stop::Told(Box::new(Finding::failure(reason))))
}

/// One step under way.
pub(super) struct Stepper<'a> {
    pub(super) plan: &'a Plan,
    pub(super) state: State,
    pub(super) effect: StepEffect,
    lay: &'a mut dyn Lay,
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
                self.state.watching[match plane {
                    Plane::A => 0,
                    Plane::B => 1,
                }] = Some(*region);
                Ok(())
            }
            Action::Wait { .. } => Ok(()),
        }
    }

    /// Where everything lies with these wishes, from the state as it is now.
    pub(super) fn laid(&mut self, wishes: &[(usize, Wish)], motion: Motion) -> Outcome<Laid> {
        Ok(self.lay.lay(self.plan, &self.state, wishes, motion)?)
    }

    /// Takes over where everything lies; the devices named have moved, the others may have shifted.
    pub(super) fn take_over(&mut self, laid: Laid, moved: &[usize]) {
        for (device, at) in self.state.in_place.iter_mut().enumerate() {
            let (Some(at), Some(Some(tip_mm)), Some(Some(fed_mm))) =
                (at, laid.tip_mm.get(device), laid.fed_mm.get(device))
            else {
                continue;
            };
            if moved.contains(&device) {
                self.effect.moves.push(Move {
                    device,
                    from_mm: at.tip_mm,
                    to_mm: *tip_mm,
                });
            }
            at.tip_mm = *tip_mm;
            at.fed_mm = *fed_mm;
        }
        self.effect.laid.push(laid);
    }

    /// What was taken out or opened lets the others find a new rest.
    fn come_to_rest(&mut self, before: &State) -> Outcome {
        let gone = (0..before.in_place.len())
            .any(|k| before.in_place[k].is_some() && self.state.in_place[k].is_none());
        if gone || before.residual_mm != self.state.residual_mm || before.open != self.state.open {
            let laid = self.laid(&[], Motion::Back)?;
            self.take_over(laid, &[]);
        }
        Ok(())
    }

    pub(super) fn tell(&mut self, finding: Finding) {
        self.effect.findings.push(finding);
    }

    /// Index of a device. Names were checked when the plan was made, so a stop here means that
    /// the plan was changed afterwards.
    pub(super) fn device(&self, name: &str) -> Outcome<usize> {
        self.plan.device_index(name).map_or_else(
            || {
                stop(Precondition::UnknownName {
                    asked: name.to_owned(),
                })
            },
            Ok,
        )
    }

    pub(super) fn name(&self, device: usize) -> String {
        self.plan.devices[device].name.clone()
    }

    /// A device that has to be in the body, and where it is.
    pub(super) fn in_body(&self, name: &str) -> Outcome<(usize, InPlace)> {
        let device = self.device(name)?;
        match self.state.in_place[device] {
            Some(at) => Ok((device, at)),
            None => stop(Precondition::NotInBody {
                device: name.to_owned(),
            }),
        }
    }

    /// The station a place stands for, given where the moving tip is and which way it goes.
    pub(super) fn resolve(
        &self,
        to: &Where,
        device: usize,
        from_mm: f64,
        forward: bool,
    ) -> Outcome<f64> {
        Ok(match to {
            Where::At(name) => self.place(name)?,
            Where::Past(name, by_mm) => self.place(name)? + by_mm,
            Where::Short(name, by_mm) => self.place(name)? - by_mm,
            Where::By(by_mm) if forward => from_mm + by_mm,
            Where::By(by_mm) => from_mm - by_mm,
            Where::Hub => {
                let through = self.state.in_place[device].and_then(|p| p.through);
                let reserve_mm = self.plan.devices[device].grip_mm(&self.plan.rules);
                let most_fed_mm = self
                    .state
                    .most_fed_mm(self.plan, device, through, reserve_mm);
                (most_fed_mm.unwrap_or(0.0) - self.plan.hub_standoff_mm)
                    .min(self.plan.track.length_mm())
            }
            Where::Out => -self.plan.hub_standoff_mm,
        })
    }

    /// The station of a landmark or of a device's end.
    fn place(&self, name: &str) -> Outcome<f64> {
        if let Ok(at_mm) = self.plan.track.landmark(name) {
            return Ok(at_mm);
        }
        let found = self.plan.device_end(name).and_then(|(device, end)| {
            let acting = || self.acting_ends(device);
            match end {
                DeviceEnd::Tip => self.state.distal_end_mm(self.plan, device),
                DeviceEnd::Proximal => acting().map(|ends| ends.0),
                DeviceEnd::Distal => acting().map(|ends| ends.1),
            }
        });
        match found {
            Some(at_mm) => Ok(at_mm),
            None => stop(Precondition::NowhereYet {
                place: name.to_owned(),
            }),
        }
    }

    /// Near and far end of a deployed stent or an open retriever.
    fn acting_ends(&self, device: usize) -> Option<(f64, f64)> {
        if let Some(stent) = self.state.stents.iter().find(|s| s.device == device) {
            return Some((stent.proximal_mm, stent.distal_mm));
        }
        self.state.open[device].then_some(())?;
        Some((
            self.state.retriever_proximal_mm(self.plan, device)?,
            self.state.distal_end_mm(self.plan, device)?,
        ))
    }

    /// Moves in the neck or the head that no image plane sees, and an open retriever that nobody
    /// watches while the neck is worked on.
    fn tell_unwatched(&mut self) {
        let watched = |state: &State, region| state.watching.contains(&Some(region));
        let unseen: Vec<(usize, Region)> = self
            .effect
            .moves
            .iter()
            .filter(|m| m.to_mm > 0.0)
            .map(|m| (m.device, self.plan.region_of(m.to_mm)))
            .filter(|(_, region)| *region != Region::Access && !watched(&self.state, *region))
            .collect();
        for (device, region) in unseen {
            let device = self.name(device);
            self.tell(Finding::warning(Image::Unwatched { device, region }));
        }
        let works_in_neck = self
            .effect
            .moves
            .iter()
            .any(|m| self.plan.region_of(m.to_mm) == Region::Neck);
        let open = self.state.open.iter().position(|open| *open);
        if let Some(retriever) = open
            && works_in_neck
            && !watched(&self.state, Region::Head)
        {
            let device = self.name(retriever);
            self.tell(Finding::warning(Image::OpenUnwatched { device }));
        }
    }

    /// Lesions that were crossed before this step and are held by nothing after it.
    fn tell_lost_access(&mut self, before: &State) {
        for lesion in 0..self.plan.track.lesions.len() {
            let held_before = before.across(self.plan, lesion).next().is_some();
            let held_now = self.state.across(self.plan, lesion).next().is_some();
            if held_now {
                self.state.access_lost[lesion] = false;
            } else if held_before {
                self.state.access_lost[lesion] = true;
                let lesion = self.plan.track.lesions[lesion].name.clone();
                self.tell(Finding::note(Access::GivenUp { lesion }));
            }
        }
    }
}
