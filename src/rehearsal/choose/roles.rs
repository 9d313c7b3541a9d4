//! Roles of a script, and what of the cabinet may take them.

use super::ChooseError;
use crate::device::Device;
use crate::procedure::{Plan, stands_in};

/// A device of the cabinet and what its file is called.
#[derive(Debug, Clone, PartialEq)]
pub struct Shelved {
    /// Name of its file, without its ending.
    pub name: String,
    /// The device, as stiff as its file has it.
    pub device: Device,
}

/// What a device of the stack does, and who may do it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Role {
    /// The script's name for it.
    pub(super) name: String,
    /// What the scene has, then the cabinet in the order of its names; stiff as the plan's materials have them.
    pub(super) choices: Vec<Shelved>,
}

/// One role for each device of the plan, in its order.
pub(super) fn roles(
    plan: &Plan,
    cabinet: &[Shelved],
    keep: &[String],
) -> Result<Vec<Role>, ChooseError> {
    if let Some(unknown) = keep.iter().find(|name| plan.device_index(name).is_none()) {
        return Err(unknown_device(plan, unknown));
    }
    let named = |name: &str| {
        let mut steps = plan.script.iter();
        steps.any(|step| step.act.devices().contains(&name))
    };
    let factor = plan.values.stiffness.all;
    let shelved: Vec<Shelved> = cabinet
        .iter()
        .map(|known| Shelved {
            name: known.name.clone(),
            device: known.device.with_stiffness_times(factor),
        })
        .collect();
    let role = |stacked: &crate::procedure::StackDevice| {
        let own = &stacked.device;
        let same = shelved.iter().find(|known| known.device == *own);
        let mut choices = vec![Shelved {
            name: same.map_or_else(|| own.name.clone(), |known| known.name.clone()),
            device: own.clone(),
        }];
        if named(&stacked.name) && !keep.contains(&stacked.name) {
            let others = shelved.iter().filter(|known| known.device != *own);
            choices.extend(
                others
                    .filter(|known| stands_in(own, &known.device))
                    .cloned(),
            );
        }
        Role {
            name: stacked.name.clone(),
            choices,
        }
    };
    Ok(plan.devices.iter().map(role).collect())
}

pub(super) fn unknown_device(plan: &Plan, name: &str) -> ChooseError {
    ChooseError::UnknownDevice {
        name: name.to_owned(),
        there: plan.devices.iter().map(|d| d.name.clone()).collect(),
    }
}

/// The plan with other devices in its roles: by role the number of the choice; none, and whatever is left out, keeps what
/// the scene has.
pub(super) fn with_choices(plan: &Plan, roles: &[Role], chosen: &[Option<u16>]) -> Plan {
    let mut plan = plan.clone();
    for ((stacked, role), choice) in plan.devices.iter_mut().zip(roles).zip(chosen) {
        let choice = choice.map_or(0, usize::from);
        if choice > 0 {
            stacked.device = role.choices[choice].device.clone();
        }
    }
    plan
}
