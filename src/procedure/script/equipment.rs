//! What the stack of a scene consists of: devices that travel and parts that stay outside.

use super::scene::Rules;
use crate::device::{Accessory, Device};

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
