//! Clips, insertion tools and extensions on rails.

use super::stepper::{Outcome, Stepper, stop};
use crate::device::{Accessory, FitRules};
use crate::procedure::reason::{PartNeed, Precondition};

impl Stepper<'_> {
    pub(super) fn attach(&mut self, part: &str, rail: &str) -> Outcome {
        let (rail, rail_name) = (self.device(rail)?, rail.to_owned());
        let Some(index) = self.plan.parts.iter().position(|p| p.name == part) else {
            return stop(Precondition::UnknownName {
                asked: part.to_owned(),
            });
        };
        if let Some((_, on)) = self.state.attached.iter().find(|a| a.0 == index) {
            return stop(PartNeed::PartTaken {
                part: part.to_owned(),
                on: self.name(*on),
            });
        }
        let accessory = &self.plan.parts[index].accessory;
        let device = &self.plan.devices[rail].device;
        // a clip and an extension grip the rear end; an insertion tool is slid over the front, folded basket and all
        let (from_mm, to_mm) = match accessory {
            Accessory::InsertionTool { length_mm, .. } => (0.0, *length_mm),
            _ => (device.usable_length_mm, device.usable_length_mm),
        };
        let fit = accessory.fit(device, from_mm, to_mm, &FitRules::default());
        let outer_mm = device.max_outer_between(from_mm, to_mm);
        match *accessory {
            Accessory::Valve { .. } => stop(PartNeed::ValveIsNoClip {
                part: part.to_owned(),
            }),
            // loaded for the moment of entering only, it need not run freely
            _ if fit.clearance_mm >= 0.0 => {
                self.state.attached.push((index, rail));
                Ok(())
            }
            Accessory::Clip {
                grips_from_mm,
                grips_to_mm,
                ..
            } => stop(PartNeed::ClipDoesNotGrip {
                part: part.to_owned(),
                from_mm: grips_from_mm,
                to_mm: grips_to_mm,
                rail: rail_name,
                outer_mm,
            }),
            Accessory::Extension {
                joins_from_mm,
                joins_to_mm,
                ..
            } => stop(PartNeed::ExtensionDoesNotJoin {
                part: part.to_owned(),
                from_mm: joins_from_mm,
                to_mm: joins_to_mm,
                rail: rail_name,
                outer_mm,
            }),
            Accessory::InsertionTool { inner_mm, .. } => stop(PartNeed::ToolNarrow {
                part: part.to_owned(),
                inner_mm,
                rail: rail_name,
                outer_mm,
            }),
        }
    }

    pub(super) fn detach(&mut self, part: &str) -> Outcome {
        let before = self.state.attached.len();
        let plan = self.plan;
        self.state.attached.retain(|a| plan.parts[a.0].name != part);
        if self.state.attached.len() == before {
            return stop(PartNeed::PartOnNothing {
                part: part.to_owned(),
            });
        }
        Ok(())
    }
}
