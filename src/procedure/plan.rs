//! A scene with everything it names at hand: the route, the devices, the script, all names checked.

use super::{
    Action, ProcedureError, Region, Rules, Scene, Spot, Step, VesselInfo, Where, error::nearest,
};
use crate::device::{Accessory, Device, DeviceClass, Payload};
use crate::geometry::Track;

/// What a stack entry's file turned out to hold.
#[derive(Debug, Clone, PartialEq)]
pub enum Equipment {
    /// A device that travels along the route.
    Device(Box<Device>),
    /// A part that stays outside.
    Accessory(Accessory),
}

/// A stack entry's equipment and the valves on its hub.
#[derive(Debug, Clone, PartialEq)]
pub struct Supplied {
    /// The device or part.
    pub equipment: Equipment,
    /// Valves on its hub, in series.
    pub valves: Vec<Accessory>,
}

/// A device of the stack.
#[derive(Debug, Clone, PartialEq)]
pub struct StackDevice {
    /// The script's name for it.
    pub name: String,
    /// The device.
    pub device: Device,
    /// Length of rail that the valves on its hub use up, mm.
    pub valves_mm: f64,
    /// The valves on its hub, in series.
    pub valves: Vec<Accessory>,
}

impl StackDevice {
    /// Length of rail that hub and valves use up, mm.
    #[must_use]
    pub fn dead_mm(&self) -> f64 {
        self.device.hub_length_mm + self.valves_mm
    }

    /// Whether other devices can be loaded over it from behind: no hub.
    #[must_use]
    pub fn is_rail(&self) -> bool {
        self.device.hub_length_mm <= 0.0
    }

    /// Rail that has to stay outside so that a hand can hold it, mm: nothing for a catheter,
    /// whose hub is the handle.
    #[must_use]
    pub fn grip_mm(&self, rules: &Rules) -> f64 {
        if self.is_rail() { rules.grip_mm } else { 0.0 }
    }
}

/// A part of the stack that stays outside the body.
#[derive(Debug, Clone, PartialEq)]
pub struct StackPart {
    /// The script's name for it.
    pub name: String,
    /// The part.
    pub accessory: Accessory,
}

/// A scene ready to be rehearsed.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Name of the scene.
    pub name: String,
    /// What it shows.
    pub about: String,
    /// The vessel and what its values rest on.
    pub vessel: VesselInfo,
    /// How far the access hub stands off the arteriotomy, mm.
    pub hub_standoff_mm: f64,
    /// Limits.
    pub rules: Rules,
    /// The route.
    pub track: Track,
    /// Devices, in the order of the stack.
    pub devices: Vec<StackDevice>,
    /// Parts, in the order of the stack.
    pub parts: Vec<StackPart>,
    /// Steps, in order.
    pub script: Vec<Step>,
}

impl Plan {
    /// Fed length of a device of which so much lies beyond station 0, its inserted length, mm: the hub of the
    /// access stands off from there.
    #[must_use]
    pub fn fed_mm(&self, inserted_mm: f64) -> f64 {
        inserted_mm + self.hub_standoff_mm
    }

    /// Inserted length of a device of which so much was fed, mm: what [`Self::fed_mm`] is told.
    #[must_use]
    pub fn inserted_mm(&self, fed_mm: f64) -> f64 {
        fed_mm - self.hub_standoff_mm
    }

    /// Joins a scene with its equipment (one entry for each of the stack, same order) and route.
    ///
    /// # Errors
    /// Every name in the scene that is unknown, used twice or of the wrong kind.
    pub fn new(
        scene: &Scene,
        supplied: Vec<Supplied>,
        vessel: VesselInfo,
        track: Track,
    ) -> Result<Self, Vec<ProcedureError>> {
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
                    device: *device,
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
            track,
            devices,
            parts,
            script: scene.script.clone(),
        };
        if plan.script.is_empty() {
            errors.push(ProcedureError::EmptyScript);
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

    /// Index of a device by its name in the stack.
    #[must_use]
    pub fn device_index(&self, name: &str) -> Option<usize> {
        self.devices.iter().position(|d| d.name == name)
    }

    /// The region of the route a station lies in.
    ///
    /// Head begins at the landmark `skull-base`, neck at the origin of the carotid; a route
    /// without them is all access.
    #[must_use]
    pub fn region_of(&self, s_mm: f64) -> Region {
        let from = |name: &str| self.track.landmark(name).is_ok_and(|at| s_mm >= at);
        if from("skull-base") {
            Region::Head
        } else if from("common-carotid-origin") {
            Region::Neck
        } else {
            Region::Access
        }
    }

    /// Whether the script brings a device in as far as its hub.
    #[must_use]
    pub fn goes_to_hub(&self, name: &str) -> bool {
        self.script.iter().any(|step| match &step.act {
            Action::Insert { device, to, .. } | Action::Advance { device, to, .. } => {
                device == name && *to == Where::Hub
            }
            _ => false,
        })
    }

    /// A station in words: the nearest landmark and how far past or short of it.
    #[must_use]
    pub fn place_in_words(&self, s_mm: f64) -> String {
        let nearest = self
            .track
            .landmarks
            .iter()
            .min_by(|a, b| (a.s_mm - s_mm).abs().total_cmp(&(b.s_mm - s_mm).abs()));
        let Some(mark) = nearest else {
            return format!("{s_mm:.0} mm from the access");
        };
        let off_mm = s_mm - mark.s_mm;
        if s_mm < 0.0 {
            format!("{:.0} mm outside the access", -s_mm)
        } else if off_mm.abs() < 0.5 {
            format!("at {}", mark.name)
        } else if off_mm > 0.0 {
            format!("{off_mm:.0} mm past {}", mark.name)
        } else {
            format!("{:.0} mm short of {}", -off_mm, mark.name)
        }
    }

    /// A station as a place that can be told.
    #[must_use]
    pub fn spot(&self, station_mm: f64) -> Spot {
        Spot {
            station_mm,
            at: self.place_in_words(station_mm),
        }
    }

    fn check_names(&self, path: &str, act: &Action, errors: &mut Vec<ProcedureError>) {
        let mut device =
            |field: &str, name: &str, needed: &'static str, fits: &dyn Fn(&Device) -> bool| {
                let path = format!("{path}.{field}");
                match self.device_index(name) {
                    None => errors.push(self.unknown(path, name)),
                    Some(i) if !fits(&self.devices[i].device) => {
                        errors.push(ProcedureError::WrongKind {
                            path,
                            name: name.to_owned(),
                            found: format!("a {}", self.devices[i].device.class.in_words()),
                            needed,
                        })
                    }
                    Some(_) => {}
                }
            };
        let any = |_: &Device| true;
        let catheter = |d: &Device| d.hub_length_mm > 0.0;
        let rail = |d: &Device| d.hub_length_mm <= 0.0;
        let retriever = |d: &Device| d.class == DeviceClass::Retriever;
        let balloon = |d: &Device| {
            matches!(
                d.payload,
                Some(Payload::Balloon(_) | Payload::OcclusionBalloon(_))
            )
        };
        let stent = |d: &Device| matches!(d.payload, Some(Payload::Stent(_)));
        match act {
            Action::Insert {
                device: d,
                through,
                over,
                ..
            } => {
                device("device", d, "a device", &any);
                if let Some(through) = through {
                    device("through", through, "a catheter with a hub", &catheter);
                }
                if let Some(over) = over {
                    device("over", over, "a wire or pusher without a hub", &rail);
                }
            }
            Action::Advance {
                device: d, nose, ..
            } => {
                device("device", d, "a device", &any);
                if let Some(nose) = nose {
                    device("nose", nose, "a catheter or balloon", &catheter);
                }
            }
            Action::Withdraw { device: d, .. } | Action::Remove { device: d } => {
                device("device", d, "a device", &any);
            }
            Action::WithdrawTogether { devices, .. } => {
                for (i, d) in devices.iter().enumerate() {
                    device(&format!("devices[{i}]"), d, "a device", &any);
                }
                if devices.is_empty() {
                    errors.push(ProcedureError::EmptyUnit {
                        path: format!("{path}.devices"),
                    });
                }
            }
            Action::LoadRetriever {
                retriever: r,
                through,
            } => {
                device("retriever", r, "a stent retriever", &retriever);
                device("through", through, "a microcatheter", &catheter);
            }
            Action::Unsheathe { retriever: r } => {
                device("retriever", r, "a stent retriever", &retriever)
            }
            Action::DeployStent { device: d } => device("device", d, "a stent system", &stent),
            Action::Inflate { device: d, .. } | Action::Deflate { device: d } => {
                device("device", d, "a balloon or a balloon guide", &balloon);
            }
            Action::SuctionOn { device: d } | Action::SuctionOff { device: d } => {
                device("device", d, "a catheter", &catheter);
            }
            Action::Contrast { through, .. } => device("through", through, "a catheter", &catheter),
            Action::Attach { rail: r, .. } => {
                device("rail", r, "a wire or pusher without a hub", &rail)
            }
            Action::Detach { .. } | Action::Watch { .. } | Action::Wait { .. } => {}
        }
        if let Action::Attach { part, .. } | Action::Detach { part } = act
            && !self.parts.iter().any(|p| p.name == *part)
        {
            let path = format!("{path}.part");
            errors.push(if self.device_index(part).is_some() {
                ProcedureError::WrongKind {
                    path,
                    name: part.clone(),
                    found: "a device".into(),
                    needed: "a torque clip or an insertion tool",
                }
            } else {
                self.unknown(path, part)
            });
        }
        if let Action::Insert { to, .. }
        | Action::Advance { to, .. }
        | Action::Withdraw { to, .. }
        | Action::WithdrawTogether { to, .. } = act
            && let Where::At(name) | Where::Past(name, _) | Where::Short(name, _) = to
        {
            self.check_place(format!("{path}.to"), name, errors);
        }
    }

    /// Names of the places a script may use that belong to devices.
    fn device_places(&self) -> impl Iterator<Item = String> + '_ {
        self.devices.iter().enumerate().flat_map(|(k, d)| {
            let ends = self.ends_of(k);
            ends.map(|end| format!("{}.{}", d.name, end.name()))
        })
    }

    fn check_place(&self, path: String, name: &str, errors: &mut Vec<ProcedureError>) {
        if self.track.landmark(name).is_ok() || self.device_end(name).is_some() {
            return;
        }
        let of_devices: Vec<String> = self.device_places().collect();
        let names = self.track.landmarks.iter().map(|l| l.name.as_str());
        errors.push(ProcedureError::UnknownPlace {
            path,
            name: name.to_owned(),
            suggestion: nearest(name, names.chain(of_devices.iter().map(String::as_str))),
        });
    }

    fn unknown(&self, path: String, name: &str) -> ProcedureError {
        let names = self.devices.iter().map(|d| d.name.as_str());
        ProcedureError::UnknownDevice {
            path,
            name: name.to_owned(),
            suggestion: nearest(
                name,
                names.chain(self.parts.iter().map(|p| p.name.as_str())),
            ),
        }
    }
}
