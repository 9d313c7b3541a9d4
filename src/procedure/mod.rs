//! The procedure: a device stack, a script of steps, and what each step needs.
//!
//! [`Scene`] is what is written, [`Plan`] the same with its route and devices at hand and every
//! name checked, [`State`] where everything is between two steps, and [`perform`] does one step.
//! [`Clock`] puts the steps in time, [`ledger()`] tells who holds the way meanwhile, and [`Choices`]
//! write other scripts for the same vessel and stack.

mod bed;
mod clock;
mod clock_footprint;
mod clock_table;
mod clock_times;
mod clock_work;
mod device_end;
mod edge_judge;
mod edge_place;
mod edge_steps;
mod edges;
mod error;
mod exchange;
mod forces;
mod lay;
mod ledger;
mod lesion_passage;
mod lumens;
mod nesting;
mod network;
mod network_search;
mod passage;
mod pending;
mod plan;
mod plan_check;
mod provenance;
mod pull;
pub mod reason;
mod rods;
mod scene;
mod state;
mod stenting;
mod step;
mod strategy;
mod strategy_places;
mod strategy_roles;
mod strategy_script;
mod treat;
mod words;

pub use bed::OpenStation;
pub use clock::{Clock, ClockActivity};
pub use clock_table::{
    Difficulty, Durations, Handling, Known, Sourced, Speeds, Spread, Team, Work,
};
pub use clock_times::{Percentiles, Sampling, SpreadOfTimes, Times};
pub use clock_work::{Lane, Load, Parts};
pub use device_end::DeviceEnd;
pub use edge_judge::{EdgeHelp, EdgeReport, Remedy, judge_edge, judge_edge_at, rim_gap_mm};
pub use edge_steps::{DeviceStep, device_steps};
pub use edges::{Cover, EdgeKind, EdgePassage, EdgeRules, Meets, edge_passages};
pub use error::{NetworkError, ProcedureError, StrategyError, nearest};
pub use exchange::{Direction, Exchange};
pub use forces::tell_forces;
pub use lay::{Laid, Lay, Motion, Ruler, Shape, Unfelt, Wish};
pub use ledger::{Crossing, Events, Hold, Ledger, LedgerRow, Protection, brings_clot, ledger};
pub use lumens::{LumenFlow, lumen_flow};
pub use nesting::{Meeting, meetings};
pub use network::{Activity, CriticalPath, Need, Network, Resource, Schedule, Slack};
pub use network_search::{SearchStatus, Shortest};
pub use pending::{Felt, Pending};
pub use plan::{Equipment, Plan, StackDevice, StackPart, Supplied};
pub use provenance::{ValueRow, VesselInfo};
pub use pull::{CoverMoment, Pull, pulls, retriever_holds_n};
pub use reason::{Finding, Likelihood, Reason, Severity, Spot, Topic};
pub use rods::Rods;
pub use scene::{Action, Plane, Region, Rules, Scene, StackEntry, Step, Where};
pub use state::{DeployedStent, InPlace, State};
pub use step::{Move, Passed, StepEffect, lay_step, perform, perform_with};
pub use strategy::{Choices, ClotBy, NeckBy, Order};
pub use words::{longer_mm, samples};
