//! The procedure: a device stack, a script of steps, and what each step needs.
//!
//! [`Scene`] is what is written, [`Plan`] the same with its route and devices at hand and every
//! name checked, [`State`] where everything is between two steps, and [`perform`] does one step.

mod error;
mod exchange;
mod finding;
mod forces;
mod lay;
mod nesting;
mod passage;
mod plan;
mod provenance;
mod rods;
mod scene;
mod state;
mod step;
mod treat;

pub use error::{ProcedureError, nearest};
pub use exchange::{Direction, Exchange};
pub use finding::{Finding, Severity, Topic};
pub use lay::{Laid, Lay, Motion, Ruler, Shape, Wish};
pub use nesting::{Meeting, meetings};
pub use plan::{Equipment, Plan, StackDevice, StackPart, Supplied};
pub use provenance::{ValueRow, VesselInfo};
pub use rods::{RETRIEVER_HOLDS_N, Rods};
pub use scene::{Action, Plane, Region, Rules, Scene, StackEntry, Step, Where};
pub use state::{DeployedStent, InPlace, State};
pub use step::{Move, StepEffect, perform, perform_with};
