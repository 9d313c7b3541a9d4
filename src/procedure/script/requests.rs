//! What a script asks for that cannot be, whatever the vessel: refused before its first step.

use super::place::DeviceEnd;
use super::plan::Plan;
use super::scene::{Action, Where};
use crate::mechanics::MOST_RODS;
use crate::procedure::error::ProcedureError;

/// Furthest that an access hub stands off the arteriotomy, mm: a sheath that is held out of the skin by
/// a hand's breadth or two. Beyond that a unit was mistaken (assumed).
const MOST_STANDOFF_MM: f64 = 300.0;

impl Plan {
    /// Every request that contradicts itself, with the path of its field.
    pub(super) fn check_script(&self, errors: &mut Vec<ProcedureError>) {
        if !(0.0..=MOST_STANDOFF_MM).contains(&self.hub_standoff_mm) {
            errors.push(ProcedureError::Standoff {
                found_mm: self.hub_standoff_mm,
                most_mm: MOST_STANDOFF_MM,
            });
        }
        let mut inside: Vec<&str> = Vec::new();
        let mut crowded = false;
        for (i, step) in self.script.iter().enumerate() {
            let path = format!("script[{i}].act");
            self.check_itself(&path, &step.act, errors);
            if step.valves.is_some() && !step.act.moves_something() {
                errors.push(ProcedureError::NothingInValves {
                    path: format!("script[{i}].valves"),
                });
            }
            take_along(&step.act, &mut inside);
            if inside.len() > MOST_RODS && !crowded {
                // told once: every later step would be one too many as well
                crowded = true;
                errors.push(ProcedureError::TooManyInside {
                    path,
                    inside: inside.iter().map(|n| (*n).to_owned()).collect(),
                    most: MOST_RODS,
                });
            }
        }
    }

    /// A device through, over or led by itself, twice in one unit, or sent to where its tip is.
    fn check_itself(&self, path: &str, act: &Action, errors: &mut Vec<ProcedureError>) {
        let mut itself = |field: &str, name: &str, what: &'static str| {
            errors.push(ProcedureError::Itself {
                path: format!("{path}.{field}"),
                name: name.to_owned(),
                what,
            });
        };
        match act {
            Action::Insert {
                device,
                through,
                over,
                ..
            } => {
                if through.as_ref() == Some(device) {
                    itself("through", device, "enter through itself");
                }
                if over.as_ref() == Some(device) {
                    itself("over", device, "ride over itself");
                }
            }
            Action::Advance {
                device,
                nose: Some(nose),
                ..
            } if nose == device => itself("nose", device, "lead itself"),
            Action::LoadRetriever { retriever, through } if retriever == through => {
                itself("through", retriever, "be loaded through itself");
            }
            Action::WithdrawTogether { devices, .. } => {
                for (i, name) in devices.iter().enumerate() {
                    if devices[..i].contains(name) {
                        itself(&format!("devices[{i}]"), name, "be in one unit twice");
                    }
                }
            }
            _ => {}
        }
        if let Some((mover, Where::At(place))) = act.destination()
            && self.track.landmark(place).is_err()
            && *place == DeviceEnd::Tip.of(mover)
        {
            itself("to", mover, "go to its own tip, where it is already");
        }
    }
}

/// Who is in the body once a step has been done.
fn take_along<'a>(act: &'a Action, inside: &mut Vec<&'a str>) {
    let out: &[String] = match act {
        Action::Insert { device, .. }
        | Action::LoadRetriever {
            retriever: device, ..
        } => {
            if !inside.contains(&device.as_str()) {
                inside.push(device);
            }
            return;
        }
        Action::Remove { device }
        | Action::Withdraw {
            device,
            to: Where::Out,
        } => std::slice::from_ref(device),
        Action::WithdrawTogether {
            devices,
            to: Where::Out,
        } => devices,
        _ => return,
    };
    inside.retain(|name| !out.iter().any(|o| o == name));
}
