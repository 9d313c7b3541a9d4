//! Bringing devices in, loading them onto a rail and taking them off it.

use super::stepper::{Outcome, Stepper, stop};
use crate::device::{Accessory, DeviceClass, FitRules, LumenKind, Verdict};
use crate::procedure::placing::Motion;
use crate::procedure::reason;
use crate::procedure::reason::{
    Finding, PartNeed, PayloadNeed, Precondition, RailNeed, RetrieverNeed, Retrieving, Use,
};
use crate::procedure::script::Where;
use crate::procedure::state::{Direction, Exchange, InPlace};

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
            return stop(Precondition::AlreadyInBody {
                device: name.to_owned(),
            });
        }
        if stacked.device.class == DeviceClass::Retriever {
            return stop(RetrieverNeed::BareRetriever {
                device: name.to_owned(),
            });
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
            tip_mm: self.plan.hub_station_mm(),
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
        if *to == Where::Hub {
            return self.feed_to_hub(device);
        }
        let to_mm = self.resolve(to, device, self.plan.hub_station_mm(), true)?;
        self.move_tip(device, to_mm, Motion::Forward)
    }

    /// The hub a device enters through: there, free to pass, and one device at a time at the skin
    /// unless it comes over the one that is there.
    fn check_hub(&self, device: usize, through: Option<usize>, rail: Option<usize>) -> Outcome {
        let Some(outer) = through else {
            let at_skin = (0..self.state.in_place.len()).find(|k| {
                Some(*k) != rail && self.state.in_place[*k].is_some_and(|p| p.through.is_none())
            });
            return match at_skin {
                Some(k) => stop(Precondition::SkinTaken {
                    device: self.name(device),
                    by: self.name(k),
                }),
                None => Ok(()),
            };
        };
        if !matches!(self.plan.devices[outer].device.lumen, LumenKind::Full) {
            return stop(PartNeed::NoThroughLumen {
                device: self.name(outer),
                wanted_for: Use::Device(self.name(device)),
            });
        }
        let entering = &self.plan.devices[device].device;
        let too_narrow = self.plan.devices[outer].valves.iter().find_map(|valve| {
            let whole_mm = entering.usable_length_mm;
            let fit = valve.fit(entering, 0.0, whole_mm, &FitRules::default());
            match valve {
                Accessory::Valve { passes_mm, .. } if fit.verdict == Verdict::DoesNotFit => {
                    Some(*passes_mm)
                }
                _ => None,
            }
        });
        match too_narrow {
            Some(passes_mm) => stop(PartNeed::ValveNarrow {
                device: self.name(device),
                outer_mm: entering.widest_mm(),
                on: self.name(outer),
                passes_mm,
            }),
            None => Ok(()),
        }
    }

    /// A rail to be loaded from behind: in the same hub, nothing on it, a lumen to take it.
    fn check_rail(&self, device: usize, rail: usize, through: Option<usize>) -> Outcome {
        let (name, rail_name) = (self.name(device), self.name(rail));
        if !self.plan.devices[rail].is_rail() {
            return stop(RailNeed::HubOnRail { rail: rail_name });
        }
        if matches!(self.plan.devices[device].device.lumen, LumenKind::Solid) {
            return stop(RailNeed::NoLumenForRail {
                device: name,
                rail: rail_name,
            });
        }
        if self.state.in_place[rail].is_some_and(|p| p.through != through) {
            return stop(RailNeed::RailElsewhere {
                device: name,
                rail: rail_name,
            });
        }
        self.check_rail_bare(device, rail, Direction::Loading)
    }

    /// Nothing may sit on a rail that a device is to pass: a clip and an insertion tool stop it, an extension
    /// passes where the lumen takes its joint.
    fn check_rail_bare(&self, device: usize, rail: usize, direction: Direction) -> Outcome {
        let mut on_rail = self.state.attached.iter().filter(|(_, on)| *on == rail);
        let stops = on_rail.find_map(|(part, _)| {
            let accessory = &self.plan.parts[*part].accessory;
            let Accessory::Extension { outer_mm, .. } = accessory else {
                return Some((part, None));
            };
            let stacked = &self.plan.devices[device].device;
            let lumen_mm = stacked.min_inner_between(0.0, stacked.usable_length_mm);
            let wide = lumen_mm.filter(|lumen_mm| lumen_mm < outer_mm);
            wide.map(|lumen_mm| (part, Some((*outer_mm, lumen_mm))))
        });
        match stops {
            None => Ok(()),
            Some((part, Some((outer_mm, lumen_mm)))) => stop(PartNeed::ExtensionWide {
                device: self.name(device),
                part: self.plan.parts[*part].name.clone(),
                outer_mm,
                lumen_mm,
            }),
            Some((part, None)) => stop(PartNeed::PartOnRail {
                device: self.name(device),
                direction,
                part: self.plan.parts[*part].name.clone(),
                rail: self.name(rail),
            }),
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
        let rapid = matches!(stacked.device.lumen, LumenKind::RapidExchange { .. });
        let grip_mm = self.plan.rules.grip_mm;
        // what has no lumen rides on no rail
        let Some(needed_mm) = stacked.device.rail_needed_mm(stacked.valves_mm, grip_mm) else {
            return Ok(());
        };
        let missing_mm = (needed_mm - rail_outside_mm).max(0.0);
        if rapid && missing_mm > 0.0 {
            return stop(RailNeed::RapidRailShort {
                rail: self.name(rail),
                device: self.name(device),
                outside_mm: rail_outside_mm,
                port_mm: needed_mm - grip_mm,
                grip_mm,
            });
        }
        // Going in, the rail disappears in the new device's lumen from the moment its tip stands at
        // the hub until the rail comes out behind. Coming out, it disappears once the device has
        // been drawn back by what lies outside behind its hub, until the tip has left the hub.
        let hub_at_mm =
            self.plan.hub_station_mm() - self.state.hub_offset_mm(self.plan, hub).unwrap_or(0.0);
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
            self.tell(Finding::warning(reason::Exchange::RailOutOfHand {
                rail: self.name(rail),
                device: self.name(device),
                direction,
                blind_mm: missing_mm,
                outside_mm: rail_outside_mm,
                needed_mm,
                held_by_retriever: self.state.open[rail],
            }));
        }
        Ok(())
    }

    /// The microcatheter goes off an open retriever: nothing folds that again.
    fn tell_no_way_back(&mut self, device: usize, rail: usize) {
        let sheathes = self.plan.devices[device].device.class == DeviceClass::Microcatheter;
        if sheathes && self.state.open[rail] {
            self.tell(Finding::note(Retrieving::NoWayBack {
                device: self.name(rail),
                sheath: self.name(device),
            }));
        }
    }

    pub(super) fn remove(&mut self, name: &str) -> Outcome {
        let (device, at) = self.in_body(name)?;
        if self.state.inflated[device] {
            return stop(PayloadNeed::BalloonUp {
                device: name.to_owned(),
            });
        }
        let inside: Vec<usize> = self.state.inside(device).collect();
        for k in &inside {
            if !self.plan.devices[*k].is_rail() {
                return stop(Precondition::HubBehind {
                    inside: self.name(*k),
                    device: name.to_owned(),
                });
            }
        }
        if self.state.open[device] {
            return stop(RetrieverNeed::OpenExchanged {
                device: name.to_owned(),
            });
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
            self.check_rail_bare(device, rail, Direction::Removal)?;
            self.tell_exchange(device, rail, at.through, Direction::Removal)?;
            self.tell_no_way_back(device, rail);
        }
        self.move_tip(device, self.plan.hub_station_mm(), Motion::Back)?;
        self.take_out(device);
        Ok(())
    }
}
