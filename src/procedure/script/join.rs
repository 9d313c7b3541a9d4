//! A scene joined with its equipment and its route, all names checked.

use super::equipment::{Equipment, StackDevice, StackPart, Supplied};
use super::plan::Plan;
use super::provenance::VesselInfo;
use super::scene::{Action, Scene};
use crate::device::Accessory;
use crate::geometry::Track;
use crate::mechanics::{Level, Materials};
use crate::procedure::error::ProcedureError;

impl Plan {
    /// Joins a scene with its equipment (one entry for each of the stack, same order), route and materials.
    ///
    /// # Errors
    /// Every name in the scene that is unknown, used twice or of the wrong kind.
    pub fn new(
        scene: &Scene,
        supplied: Vec<Supplied>,
        vessel: VesselInfo,
        track: Track,
        materials: Materials,
    ) -> Result<Self, Vec<ProcedureError>> {
        let values = materials.at(Level::Usual);
        let mut devices = Vec::new();
        let mut parts = Vec::new();
        let mut errors = Vec::new();
        for (i, (entry, supply)) in scene.stack.iter().zip(supplied).enumerate() {
            if scene.stack[..i].iter().any(|e| e.name == entry.name) {
                errors.push(ProcedureError::DuplicateName {
                    path: format!("stack[{i}].name"),
                    name: entry.name.clone(),
                });
            }
            let mut valves_mm = 0.0;
            for (v, valve) in supply.valves.iter().enumerate() {
                if let Accessory::Valve { length_mm, .. } = valve {
                    valves_mm += length_mm;
                } else {
                    errors.push(ProcedureError::WrongKind {
                        path: format!("stack[{i}].valves[{v}]"),
                        name: entry.valves[v].clone(),
                        found: "another part".into(),
                        needed: "a valve",
                    });
                }
            }
            match supply.equipment {
                Equipment::Device(device) => devices.push(StackDevice {
                    name: entry.name.clone(),
                    device: device.with_stiffness_times(values.stiffness.all),
                    valves_mm,
                    valves: supply.valves,
                }),
                Equipment::Accessory(accessory) => parts.push(StackPart {
                    name: entry.name.clone(),
                    accessory,
                }),
            }
        }
        let plan = Self {
            name: scene.name.clone(),
            about: scene.about.clone(),
            vessel,
            hub_standoff_mm: scene.hub_standoff_mm,
            rules: scene.rules,
            track: track.with_walls_times(values.stiffness.wall),
            materials,
            values,
            lengths: Vec::new(),
            devices,
            parts,
            script: scene.script.clone(),
        };
        if plan.script.is_empty() {
            errors.push(ProcedureError::EmptyScript);
        }
        if let Some(steps) = steps_without_stack(scene) {
            errors.push(ProcedureError::EmptyStack {
                steps,
                of: plan.script.len(),
            });
            return Err(errors);
        }
        for (i, step) in plan.script.iter().enumerate() {
            plan.check_names(&format!("script[{i}].act"), &step.act, &mut errors);
        }
        plan.check_script(&mut errors);
        if errors.is_empty() {
            Ok(plan)
        } else {
            Err(errors)
        }
    }
}

/// How many steps name something in a stack that is empty; none where it is not, or where no step does.
fn steps_without_stack(scene: &Scene) -> Option<usize> {
    let names = |act: &Action| {
        let part = matches!(act, Action::Attach { .. } | Action::Detach { .. });
        part || !act.devices().is_empty()
    };
    let steps = scene.script.iter().filter(|step| names(&step.act)).count();
    (scene.stack.is_empty() && steps > 0).then_some(steps)
}
