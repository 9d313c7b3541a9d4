//! A scene with everything it names at hand: the route, the devices, the script, all names checked.

use super::equipment::{StackDevice, StackPart};
use super::provenance::VesselInfo;
use super::scene::{Action, Rules, Step, Where};
use crate::geometry::Track;
use crate::geometry::anatomy::RouteLength;
use crate::mechanics::{Level, MaterialValues, Materials};

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
    /// How surfaces rub and how plaque, walls and devices resist, with ranges and sources.
    pub materials: Materials,
    /// The same as the plain numbers that are reckoned with.
    pub values: MaterialValues,
    /// The route, its walls as stiff as the materials have them.
    pub track: Track,
    /// The lengths it is made of and what each is known to; empty where nothing is known of that.
    pub lengths: Vec<RouteLength>,
    /// Devices, in the order of the stack, as stiff as the materials have them.
    pub devices: Vec<StackDevice>,
    /// Parts, in the order of the stack.
    pub parts: Vec<StackPart>,
    /// Steps, in order.
    pub script: Vec<Step>,
}

impl Plan {
    /// The same plan with materials at one end of what is known of them: frictions, and the stiffness of devices,
    /// walls and plaque.
    #[must_use]
    pub fn at(&self, level: Level) -> Self {
        self.with_values(self.materials.at(level))
    }

    /// The same plan with other values of its materials.
    #[must_use]
    pub fn with_values(&self, values: MaterialValues) -> Self {
        let mut plan = self.clone();
        plan.values = values;
        let (then, now) = (&self.values.stiffness, &plan.values.stiffness);
        plan.track = self.track.with_walls_times(now.wall / then.wall);
        for stacked in &mut plan.devices {
            stacked.device = stacked.device.with_stiffness_times(now.all / then.all);
        }
        plan
    }

    /// The same with what is known of the lengths that its route is made of.
    #[must_use]
    pub fn with_lengths(mut self, lengths: Vec<RouteLength>) -> Self {
        self.lengths = lengths;
        self
    }

    /// Station of the access hub, mm, not above 0: where the tip of a device lies of which nothing is fed.
    /// With [`Self::fed_mm`] and [`Self::inserted_mm`] the only place that knows what the hub stands off.
    #[must_use]
    pub fn hub_station_mm(&self) -> f64 {
        -self.hub_standoff_mm
    }

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

    /// Index of a device by its name in the stack.
    #[must_use]
    pub fn device_index(&self, name: &str) -> Option<usize> {
        self.devices.iter().position(|d| d.name == name)
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
}
