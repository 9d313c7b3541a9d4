//! The scene as written, and the plan it makes: route, devices and script, every name checked.

mod edge_rules;
mod equipment;
mod join;
mod names;
mod place;
mod plan;
mod provenance;
mod requests;
mod scene;
mod spread;

pub use edge_rules::EdgeRules;
pub use equipment::{Equipment, StackDevice, StackPart, Supplied};
pub use place::spoken;
pub use place::{DeviceEnd, Place, Spot};
pub use plan::Plan;
pub use provenance::{ValueRow, VesselInfo};
pub use scene::{Action, Plane, Region, Rules, Scene, StackEntry, Step, Where};
pub(crate) use spread::read_spread;
pub use spread::{HandSpeed, Pace, Seconds, Spread, SpreadKind};
