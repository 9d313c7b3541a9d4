//! Bringing devices in, loading them onto a rail and taking them off it.

use super::{Finding, InPlace, Motion, Topic, Where, step::Outcome, step::Stepper, step::stop};
use crate::device::{DeviceClass, LumenKind};
use serde::{Deserialize, Serialize};

/// Whether a device goes onto a rail or comes off it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// Loaded from behind, then advanced.
    Loading,
    /// Pulled back, then taken off behind.
    Removal,
}

/// One exchange and the rail it needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exchange {
    /// Index of the device that is exchanged.
    pub device: usize,
    /// Index of the rail that stays.
    pub rail: usize,
    /// Onto the rail or off it.
    pub direction: Direction,
    /// A side port near the tip, or the whole length.
    pub rapid: bool,
    /// Rail outside the hub that the device leaves or enters through, mm.
    pub rail_outside_mm: f64,
    /// Rail that would have to be outside for the rail to be held all along, mm.
    pub needed_mm: f64,
    /// Length of travel with nobody holding the rail, mm.
    pub blind_mm: f64,
    /// Stations of the device's tip between which that happens, mm (nearer the access first).
    pub blind_between_mm: Option<(f64, f64)>,
}

impl Stepper<'_> {
    pub(super) fn insert(
        &mut self,
        name: &str,
        through: Option<&str>,
        over: Option<&str>,
        to: &Where,
    ) -> Outcome {
        let device = self.device(name)?;
        let stacked = &self.plan.devices[device];
        if self.state.in_place[device].is_some() {
            return stop(
                format!("the {name} is in the body already"),
                "advance or remove it",
            );
        }
        if stacked.device.class == DeviceClass::Retriever {
            return stop(
                format!("the {name} cannot enter bare: it opens wherever nothing folds it"),
                "bring it through a microcatheter (LoadRetriever)",
            );
        }
        let rail = over.map(|rail| self.in_body(rail)).transpose()?;
        let through = match (through, rail) {
            (Some(outer), _) => Some(self.in_body(outer)?.0),
            (None, Some((_, at))) => at.through,
            (None, None) => None,
        };
        self.check_hub(device, through, rail.map(|r| r.0))?;
        if let Some((rail, _)) = rail {
            self.check_rail(device, rail, through)?;
            self.tell_exchange(device, rail, through, Direction::Loading)?;
        }
        self.state.in_place[device] = Some(InPlace {
            tip_mm: -self.plan.hub_standoff_mm,
            fed_mm: 0.0,
            through,
        });
        if let Some((rail, _)) = rail {
            self.state.rides.push((device, rail));
            if matches!(stacked.device.lumen, LumenKind::Full)
                && let Some(at) = &mut self.state.in_place[rail]
            {
                at.through = Some(device);
            }
        }
        let to_mm = self.resolve(to, device, -self.plan.hub_standoff_mm, true)?;
        self.move_tip(device, to_mm, Motion::Forward)
    }

    /// The hub a device enters through: there, free to pass, and one device at a time at the skin
    /// unless it comes over the one that is there.
    fn check_hub(&self, device: usize, through: Option<usize>, rail: Option<usize>) -> Outcome {
        let name = self.name(device);
        let Some(outer) = through else {
            let at_skin = (0..self.state.in_place.len()).find(|k| {
                Some(*k) != rail && self.state.in_place[*k].is_some_and(|p| p.through.is_none())
            });
            return match at_skin {
                Some(k) => stop(
                    format!(
                        "the {name} cannot enter at the skin beside the {}",
                        self.name(k)
                    ),
                    format!("say which hub it enters: through: \"{}\"", self.name(k)),
                ),
                None => Ok(()),
            };
        };
        let outer_name = self.name(outer);
        if !matches!(self.plan.devices[outer].device.lumen, LumenKind::Full) {
            return stop(
                format!("the {outer_name} has no lumen from hub to tip for the {name}"),
                "name the catheter whose hub it enters",
            );
        }
        let passes_mm = self.plan.devices[outer].valves_pass_mm;
        let widest_mm = self.plan.devices[device].device.widest_mm();
        if widest_mm > passes_mm {
            return stop(
                format!(
                    "the valve on the {outer_name} passes {passes_mm:.2} mm, the {name} is {widest_mm:.2} mm wide"
                ),
                "put a wider valve on that hub",
            );
        }
        Ok(())
    }

    /// A rail to be loaded from behind: in the same hub, nothing on it, a lumen to take it.
    fn check_rail(&self, device: usize, rail: usize, through: Option<usize>) -> Outcome {
        let (name, rail_name) = (self.name(device), self.name(rail));
        if !self.plan.devices[rail].is_rail() {
            return stop(
                format!("the {rail_name} has a hub: nothing can be loaded over it from behind"),
                "load over a wire or a pusher",
            );
        }
        if matches!(self.plan.devices[device].device.lumen, LumenKind::Solid) {
            return stop(
                format!("the {name} has no lumen for the {rail_name}"),
                "insert it beside the rail",
            );
        }
        if self.state.in_place[rail].is_some_and(|p| p.through != through) {
            return stop(
                format!(
                    "the {rail_name} leaves the body through another hub than the {name} enters"
                ),
                "load it over the rail where the rail comes out",
            );
        }
        self.check_rail_bare(rail, &format!("the {name} cannot be loaded"))
    }

    /// Nothing may sit on a rail that a device is to pass: a clip and an insertion tool stop it.
    fn check_rail_bare(&self, rail: usize, what: &str) -> Outcome {
        match self.state.attached.iter().find(|(_, on)| *on == rail) {
            None => Ok(()),
            Some((part, _)) => {
                let part = &self.plan.parts[*part].name;
                stop(
                    format!("{what}: the {part} still sits on the {}", self.name(rail)),
                    format!("take the {part} off first (Detach)"),
                )
            }
        }
    }

    /// The arithmetic of an exchange, told, and stopped where a rapid exchange has too little rail.
    fn tell_exchange(
        &mut self,
        device: usize,
        rail: usize,
        hub: Option<usize>,
        direction: Direction,
    ) -> Outcome {
        let stacked = &self.plan.devices[device];
        let Some(rail_outside_mm) = self.state.outside_beyond_mm(self.plan, rail, hub) else {
            return Ok(());
        };
        let (rapid, needed_mm) = match stacked.device.lumen {
            LumenKind::RapidExchange { port_from_tip } => {
                (true, port_from_tip + self.plan.rules.grip_mm)
            }
            _ => (false, stacked.device.usable_length_mm + stacked.dead_mm()),
        };
        let missing_mm = (needed_mm - rail_outside_mm).max(0.0);
        let (name, rail_name) = (stacked.name.clone(), self.name(rail).to_owned());
        if rapid && missing_mm > 0.0 {
            return stop(
                format!(
                    "the {rail_name} has {rail_outside_mm:.0} mm outside, too short to hold: the {name}'s port lies {:.0} mm from its tip and a hand needs {:.0} mm",
                    needed_mm - self.plan.rules.grip_mm,
                    self.plan.rules.grip_mm
                ),
                format!("a rail longer by {missing_mm:.0} mm, or a shorter catheter around it"),
            );
        }
        // Going in, the rail disappears in the new device's lumen from the moment its tip stands at
        // the hub until the rail comes out behind. Coming out, it disappears once the device has
        // been drawn back by what lies outside behind its hub, until the tip has left the hub.
        let hub_at_mm =
            -self.plan.hub_standoff_mm - self.state.hub_offset_mm(self.plan, hub).unwrap_or(0.0);
        let blind_between_mm = (missing_mm > 0.0).then_some((hub_at_mm, hub_at_mm + missing_mm));
        self.effect.exchanges.push(Exchange {
            device,
            rail,
            direction,
            rapid,
            rail_outside_mm,
            needed_mm,
            blind_mm: missing_mm,
            blind_between_mm,
        });
        if missing_mm > 0.0 {
            let held_by = if self.state.open[rail] {
                "only the open retriever and friction hold it"
            } else {
                "only friction holds it"
            };
            let text = format!(
                "the {rail_name} is out of hand for {missing_mm:.0} mm of the {name}'s way {}: {rail_outside_mm:.0} mm of it lie outside, {needed_mm:.0} mm would be needed; {held_by}",
                match direction {
                    Direction::Loading => "in",
                    Direction::Removal => "out",
                }
            );
            self.tell(
                Finding::warning(Topic::Exchange, text)
                    .with_help(format!("a rail longer by {missing_mm:.0} mm, a rapid-exchange device, or an assistant who watches the tip")),
            );
        }
        Ok(())
    }

    pub(super) fn remove(&mut self, name: &str) -> Outcome {
        let (device, at) = self.in_body(name)?;
        if self.state.inflated[device] {
            return stop(
                format!("the balloon of the {name} is still up"),
                "deflate it first",
            );
        }
        let inside: Vec<usize> = self.state.inside(device).collect();
        for k in &inside {
            if !self.plan.devices[*k].is_rail() {
                return stop(
                    format!(
                        "the {}'s hub sits behind the {name}: it cannot come off over it",
                        self.name(*k)
                    ),
                    format!(
                        "take the {} out first, or withdraw both together",
                        self.name(*k)
                    ),
                );
            }
        }
        if self.state.open[device] {
            return stop(
                format!(
                    "the {name} stands open: it is pulled under suction as a unit, not exchanged"
                ),
                "use WithdrawTogether, or re-sheathe it first",
            );
        }
        let rails: Vec<usize> = if inside.is_empty() {
            self.state
                .rides
                .iter()
                .filter(|r| r.0 == device)
                .map(|r| r.1)
                .collect()
        } else {
            inside
        };
        for rail in rails {
            self.check_rail_bare(rail, &format!("the {name} cannot come off"))?;
            self.tell_exchange(device, rail, at.through, Direction::Removal)?;
        }
        self.move_tip(device, -self.plan.hub_standoff_mm, Motion::Back)?;
        self.take_out(device);
        Ok(())
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
        self.state.attached.retain(|a| a.1 != device);
    }

    pub(super) fn attach(&mut self, part: &str, rail: &str) -> Outcome {
        use crate::device::Accessory;
        let rail_name = rail;
        let rail = self.device(rail)?;
        let Some(index) = self.plan.parts.iter().position(|p| p.name == part) else {
            return stop(
                format!("nothing in the stack is named {part}"),
                "name it in the stack",
            );
        };
        if let Some((_, on)) = self.state.attached.iter().find(|a| a.0 == index) {
            return stop(
                format!("the {part} sits on the {} already", self.name(*on)),
                "take it off first",
            );
        }
        let outer_mm = self.plan.devices[rail].device.shaft_outer_mm();
        match self.plan.parts[index].accessory {
            Accessory::Clip {
                grips_from_mm,
                grips_to_mm,
                ..
            } if !(grips_from_mm..=grips_to_mm).contains(&outer_mm) => {
                return stop(
                    format!(
                        "the {part} grips {grips_from_mm:.2} to {grips_to_mm:.2} mm, the {rail_name} is {outer_mm:.2} mm"
                    ),
                    "use a clip made for that rail",
                );
            }
            Accessory::InsertionTool { inner_mm, .. } if inner_mm < outer_mm => {
                return stop(
                    format!(
                        "the {part}'s lumen is {inner_mm:.2} mm, the {rail_name} is {outer_mm:.2} mm"
                    ),
                    "use a wider insertion tool",
                );
            }
            Accessory::Valve { .. } => {
                return stop(
                    format!("the {part} is a valve"),
                    "list valves with the catheter in the stack",
                );
            }
            _ => {}
        }
        self.state.attached.push((index, rail));
        Ok(())
    }

    pub(super) fn detach(&mut self, part: &str) -> Outcome {
        let before = self.state.attached.len();
        let plan = self.plan;
        self.state.attached.retain(|a| plan.parts[a.0].name != part);
        if self.state.attached.len() == before {
            return stop(format!("the {part} sits on nothing"), "leave this step out");
        }
        Ok(())
    }
}
