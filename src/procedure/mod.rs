//! The procedure: a device stack, a script of steps, and what each step needs.
//!
//! [`Scene`] is what is written, [`Plan`] the same with its route and devices at hand and every
//! name checked, [`State`] where everything is between two steps, and [`perform`] does one step.
//! [`Clock`] puts the steps in time, [`ledger()`] tells who holds the way meanwhile, and [`Choices`]
//! write other scripts for the same vessel and stack.
//!
//! # What goes in, what comes out
//!
//! A [`Plan`] comes from [`data::read_scene`](crate::data::read_scene), or from [`Plan::new`] with a [`Scene`], a
//! [`Track`](crate::geometry::Track) and devices. [`perform_with`] takes a plan, the [`State`] before a step and the step's
//! [`Action`], and gives the state after it with a [`StepEffect`]: findings, moves, exchanges, forces. What decides where
//! tips come to lie is a [`Placer`]: [`CentreLine`] rules lengths along the centre line (no time, no forces, wrong by
//! centimetres), [`Rods`] solves elastic rods with friction. Whole scripts are walked through by
//! [`rehearsal`](crate::rehearsal).
//!
//! Stations are mm along the route's centre line from the arteriotomy; the access hub lies before it, at
//! [`Plan::hub_station_mm`]. Fed lengths are mm of a device past that hub ([`Plan::fed_mm`]). Forces are N, pressures atm,
//! times s.
//!
//! # What it cannot do
//!
//! Devices lie on the one route from access to target. Steps are done one after the other, each from rest to rest. A step
//! that cannot be done leaves the state as it was and says why; a device that is too short stays as far as it comes. No
//! finding calls a force or a manoeuvre harmless.
//!
//! # Rooms
//!
//! Imports point left; what decides knows no words:
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
    Activity, Chance, Chances, Clock, ClockActivity, CriticalPath, Difficulty, Disturbed,
    Durations, Handling, Known, Lane, Load, Need, Network, Parts, Percentiles, Resource, Sampling,
    Schedule, SearchStatus, Shortest, Slack, Sourced, Speeds, SpreadOfTimes, Team, Times, Work,
};
pub use edges::{
    Cover, DeviceStep, EdgeHelp, EdgePassage, EdgeReport, Meets, Remedy, device_steps,
    edge_passages, judge_edge, judge_edge_at, rim_gap_mm,
};
pub use error::{NetworkError, ProcedureError, StrategyError, nearest};
pub use ledger::{Crossing, Events, Hold, Ledger, LedgerRow, Protection, brings_clot, ledger};
pub use placing::{
    Asked, CentreLine, CoverMoment, DepthTarget, EndForces, Motion, Pending, Placer, Pull, Rods,
    Shape, SolvedPull, StackPlacement, UnsolvedPull, follow_again, pulls, retriever_holds_n,
};
pub use reason::{Cost, Finding, Likelihood, Reason, Severity, Topic};
pub use script::{
    Action, DeviceEnd, EdgeRules, Equipment, HandSpeed, Pace, Place, Plan, Plane, Region, Rules,
    Scene, Seconds, Spot, Spread, SpreadKind, StackDevice, StackEntry, StackPart, Step, Supplied,
    ValueRow, VesselInfo, Where, spoken,
};
pub use state::{
    DeployedStent, Direction, EdgeKind, Exchange, InPlace, LumenFlow, Meeting, Move, OpenStation,
    Seat, State, lumen_flow, meetings,
};
pub use steps::{Passed, StepEffect, perform, perform_with, place_step, tell_ends, tell_forces};
pub use strategies::{Choices, ClotBy, NeckBy, Order, stands_in};
pub use words::{longer_mm, samples};
