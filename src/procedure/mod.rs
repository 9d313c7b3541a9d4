//! The procedure: a device stack, a script of steps, and what each step needs.
//!
//! [`Scene`] is what is written, [`Plan`] the same with its route and devices at hand and every
//! name checked, [`State`] where everything is between two steps, and [`perform`] does one step.
//! [`Clock`] puts the steps in time, [`ledger()`] tells who holds the way meanwhile, and [`Choices`]
//! write other scripts for the same vessel and stack.
//!
//! Rooms, imports point left; what decides knows no words:
//! `error ← script ← state ← reason ← placing ← edges ← steps ← ledger ← words ← clock ← strategies`.
//!
//! | room | what lives there |
//! | --- | --- |
//! | `script` | scene as written, plan with names checked, steps, places, rules |
//! | `state` | devices, lesions and stents between two steps; nested lengths, lumens, flow |
//! | `reason` | why a step is told something: typed reasons and how grave they are |
//! | `placing` | how the stack lies: along the centre line or as elastic rods; pulls |
//! | `edges` | edges of stents: crossings, rim, ledge, chance |
//! | `steps` | doing one step: preconditions, movement, what it is told |
//! | `ledger` | who holds the way across lesions and clot |
//! | `words` | the sentences of reasons, actions and names |
//! | `clock` | durations, the network of activities, milestones |
//! | `strategies` | other scripts for the same stack |

mod clock;
mod edges;
mod error;
mod ledger;
mod placing;
pub mod reason;
mod script;
mod state;
mod steps;
mod strategies;
mod words;

pub use clock::{
    Activity, Clock, ClockActivity, CriticalPath, Difficulty, Durations, Handling, Known, Lane,
    Load, Need, Network, Parts, Percentiles, Resource, Sampling, Schedule, SearchStatus, Shortest,
    Slack, Sourced, Speeds, SpreadOfTimes, Team, Times, Work,
};
pub use edges::{
    Cover, DeviceStep, EdgeHelp, EdgePassage, EdgeReport, Meets, Remedy, device_steps,
    edge_passages, judge_edge, judge_edge_at, rim_gap_mm,
};
pub use error::{NetworkError, ProcedureError, StrategyError, nearest};
pub use ledger::{Crossing, Events, Hold, Ledger, LedgerRow, Protection, brings_clot, ledger};
pub use placing::{
    CoverMoment, Felt, Laid, Lay, Motion, Pending, Pull, Rods, Ruler, Shape, Unfelt, Wish, pulls,
    retriever_holds_n,
};
pub use reason::{Finding, Likelihood, Reason, Severity, Topic};
pub use script::{
    Action, DeviceEnd, EdgeRules, Equipment, HandSpeed, Pace, Place, Plan, Plane, Region, Rules,
    Scene, Seconds, Spot, Spread, SpreadKind, StackDevice, StackEntry, StackPart, Step, Supplied,
    ValueRow, VesselInfo, Where,
};
pub use state::{
    DeployedStent, Direction, EdgeKind, Exchange, InPlace, LumenFlow, Meeting, Move, OpenStation,
    State, lumen_flow, meetings,
};
pub use steps::{Passed, StepEffect, lay_step, perform, perform_with, tell_forces};
pub use strategies::{Choices, ClotBy, NeckBy, Order};
pub use words::{longer_mm, samples};
