//! A place that a catheter has to reach beyond what the script asks for.

use super::super::how_sure::{Fed, Form, Inputs};
use super::roles::unknown_device;
use super::{ChooseError, StackOf};
use crate::procedure::{DeviceEnd, Place, Plan, State};
use serde::{Deserialize, Serialize};

/// A catheter is to reach so far beyond a place, by its length: `guide` 10 mm beyond `stent.distal`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Wish {
    /// Its name in the stack.
    pub device: String,
    /// A landmark, or an end of a device; the bare name of one that carries a stent is the stent's far end.
    pub place: String,
    /// How far beyond it, mm; negative: short of it.
    pub by_mm: f64,
}

impl Wish {
    /// The same with its names found in a plan.
    pub(super) fn found_in(&self, plan: &Plan) -> Result<Wished, ChooseError> {
        let device = plan.device_index(&self.device);
        let device = device.ok_or_else(|| unknown_device(plan, &self.device))?;
        let mut place = self.place.clone();
        if let Some(owner) = plan.device_index(&place) {
            let ends = plan.ends_of(owner);
            let far = ends.filter(|end| *end != DeviceEnd::Proximal).last();
            place = far.unwrap_or(DeviceEnd::Tip).of(&self.place);
        }
        match plan.place(&place) {
            None => Err(ChooseError::UnknownPlace {
                name: self.place.clone(),
                landmarks: plan
                    .track
                    .landmarks
                    .iter()
                    .map(|l| l.name.clone())
                    .collect(),
            }),
            Some(Place::End(owner, _)) if owner == device => Err(ChooseError::ItsOwnEnd {
                device: self.device.clone(),
                place,
            }),
            Some(at) => Ok(Wished {
                device,
                at,
                wish: Self {
                    place,
                    ..self.clone()
                },
            }),
        }
    }
}

/// A wish whose names are found.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Wished {
    pub(super) device: usize,
    at: Place,
    pub(super) wish: Wish,
}

impl Wished {
    /// What the catheter would have to spare there after a step, mm, with what that hangs on; none while it is not in the body
    /// or the place is nowhere.
    pub(super) fn spare(
        &self,
        plan: &Plan,
        inputs: &Inputs,
        after: &State,
        fed: &Fed,
    ) -> Option<(f64, Form)> {
        let at_mm = self.at_mm(plan, after)? + self.wish.by_mm;
        let through = after.in_place[self.device]?.through;
        let grip_mm = plan.devices[self.device].grip_mm(&plan.rules);
        let most_mm = after.most_fed_mm(plan, self.device, through, grip_mm)?;
        let form = fed.if_at(plan, inputs, self.device, &self.wish.place, after)?;
        Some((most_mm - plan.fed_mm(at_mm), form))
    }

    fn at_mm(&self, plan: &Plan, state: &State) -> Option<f64> {
        match self.at {
            Place::Landmark(at_mm) => Some(at_mm),
            Place::End(owner, DeviceEnd::Tip) => state.distal_end_mm(plan, owner),
            Place::End(owner, end) => {
                let stent = state.stents.iter().rev().find(|s| s.device == owner)?;
                Some(match end {
                    DeviceEnd::Proximal => stent.proximal_mm,
                    _ => stent.distal_mm,
                })
            }
        }
    }

    /// What a stack is turned down for that cannot.
    pub(super) fn never_there(&self) -> ChooseError {
        ChooseError::NeverThere {
            device: self.wish.device.clone(),
            place: self.wish.place.clone(),
        }
    }
}

/// A stack by the names of its roles and choices.
pub(super) fn stack_of(roles: &[super::roles::Role], chosen: &[Option<u16>]) -> Vec<StackOf> {
    let row = |(role, choice): (&super::roles::Role, &Option<u16>)| StackOf {
        role: role.name.clone(),
        device: role.choices[choice.map_or(0, usize::from)].name.clone(),
    };
    roles.iter().zip(chosen).map(row).collect()
}
