//! One step under way: the state it changes, and what it is told.

use super::effect::StepEffect;
use crate::mechanics::MechanicsError;
use crate::procedure::placing::{DepthTarget, Motion, Placer, StackPlacement};
use crate::procedure::reason::{Finding, Precondition, Reason};
use crate::procedure::script::{DeviceEnd, Place, Plan, Where};
use crate::procedure::state::{InPlace, Move, State};

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
    /// Its shaped tip is turned into an ostium: it needs no wire to lead it there.
    pub(super) turning: bool,
    pub(super) placer: &'a mut dyn Placer,
}

impl<'a> Stepper<'a> {
    /// From a state, with a way of laying the stack.
    pub(super) fn new(plan: &'a Plan, before: &State, placer: &'a mut dyn Placer) -> Self {
        Self {
            plan,
            state: before.clone(),
            effect: StepEffect::default(),
            turning: false,
            placer,
        }
    }
}

impl Stepper<'_> {
    /// Where everything lies with these targets, from the state as it is now.
    pub(super) fn placed(
        &mut self,
        targets: &[(usize, DepthTarget)],
        motion: Motion,
    ) -> Outcome<StackPlacement> {
        Ok(self.placer.place(self.plan, &self.state, targets, motion)?)
    }

    /// Takes over where everything lies; the devices named have moved, the others may have shifted.
    pub(super) fn take_over(&mut self, placed: StackPlacement, moved: &[usize]) {
        for (device, at) in self.state.in_place.iter_mut().enumerate() {
            let (Some(at), Some(Some(tip_mm)), Some(Some(fed_mm))) =
                (at, placed.tip_mm.get(device), placed.fed_mm.get(device))
            else {
                continue;
            };
            if moved.contains(&device) {
                self.state.seated[device] = None;
                self.effect.moves.push(Move {
                    device,
                    from_mm: at.tip_mm,
                    to_mm: *tip_mm,
                });
            }
            at.tip_mm = *tip_mm;
            at.fed_mm = *fed_mm;
        }
        self.effect.placements.push(placed);
    }

    /// What was taken out or opened lets the others find a new rest.
    pub(super) fn come_to_rest(&mut self, before: &State) -> Outcome {
        let gone = (0..before.in_place.len())
            .any(|k| before.in_place[k].is_some() && self.state.in_place[k].is_none());
        if gone || before.residual_mm != self.state.residual_mm || before.open != self.state.open {
            let placed = self.placed(&[], Motion::Back)?;
            self.take_over(placed, &[]);
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
                self.plan
                    .inserted_mm(most_fed_mm.unwrap_or(0.0))
                    .min(self.plan.track.length_mm())
            }
            Where::Out => self.plan.hub_station_mm(),
        })
    }

    /// The station of a landmark or of a device's end.
    fn place(&self, name: &str) -> Outcome<f64> {
        let found = self.plan.place(name).and_then(|place| match place {
            Place::Landmark(at_mm) => Some(at_mm),
            Place::End(device, DeviceEnd::Tip) => self.state.distal_end_mm(self.plan, device),
            Place::End(device, DeviceEnd::Proximal) => Some(self.acting_ends(device)?.0),
            Place::End(device, DeviceEnd::Distal) => Some(self.acting_ends(device)?.1),
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

    /// Takes a device off the table: what lay in it now lies in what it lay in.
    pub(super) fn take_out(&mut self, device: usize) {
        let through = self.state.in_place[device].and_then(|p| p.through);
        for place in self.state.in_place.iter_mut().flatten() {
            if place.through == Some(device) {
                place.through = through;
            }
        }
        self.state.in_place[device] = None;
        self.state.rides.retain(|r| r.0 != device && r.1 != device);
        self.state.suction[device] = false;
        self.state.open[device] = false;
        self.state.seated[device] = None;
        self.state.flushed_atm[device] = None;
        self.state.markers_mm[device] = None;
        self.state.attached.retain(|a| a.1 != device);
    }
}
