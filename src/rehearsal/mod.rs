//! A rehearsal: the script folded over the states, and its outcome as plain data.
//!
//! # What goes in, what comes out
//!
//! | goes in | comes out | by |
//! | --- | --- | --- |
//! | a [`Plan`](crate::procedure::Plan) | an [`Outcome`]: verdict, steps with findings, fed lengths mm, forces N, fits, exchanges | [`rehearse`], every device as an elastic rod (seconds) |
//! | a plan and a [`Placer`](crate::procedure::Placer) | the same | [`rehearse_with`]; [`CentreLine`](crate::procedure::CentreLine) takes no time |
//! | a plan and a placer | state before, state after and effect of every step | [`walk_through`]; [`outcome_of`] makes the outcome of that |
//! | the same, walked through | the same with the force at the hub at the least and the most known of friction and stiffness | [`follow_ranges`] before [`outcome_of`] |
//! | a walked plan and [`Durations`](crate::procedure::Durations) | when what is done: the clock with its critical path, s | [`time`] |
//! | a plan and the devices of a cabinet | the stacks that do its script, ranked, and why the others do not | [`choose()`](choose::choose) |
//! | several rehearsed plans | which is better at what, and what would turn it | [`compare`](fn@compare) |
//!
//! An outcome is plain data with units in its names; [`output::to_json`](crate::output::to_json) writes it, and a changed meaning
//! raises [`SCHEMA_VERSION`]. A finding has its [`Severity`](crate::procedure::Severity), its
//! [`Reason`](crate::procedure::Reason) with values, and the same in words: compare reasons, not words.
//!
//! # What it cannot do
//!
//! A verdict is about the plan as written on a vessel as entered: [`Verdict::Undecided`] where rods come to no rest, never a
//! guess. It is no statement about a patient.

mod blood;
mod briefing;
pub mod choose;
mod compare;
mod compare_flip;
mod compare_words;
mod edge_findings;
mod edge_rows;
mod error;
mod followers;
mod how_sure;
mod load_rows;
mod outcome;
mod phases;
mod ranges;
mod run;
mod timing;
pub mod vary;
mod verdict;
mod vessel_report;
mod walk;
mod weak_points;
mod what_if;
mod words;

pub use blood::BloodRow;
pub use briefing::{Briefing, MomentToWatch};
pub use compare::{
    COMPARISON_VERSION, Candidate, CompareRow, Comparison, LeastReach, assess, compare,
};
pub use compare_flip::{Changed, Flip, Sooner, Stretch};
pub use edge_rows::{CoverRow, EDGE_CAUTION, EdgeRow, PullRow, StentRow, SuctionRow, SweepPoint};
pub use error::RehearsalError;
pub use how_sure::{Cause, CauseField, Chance, HowSure, MarginKind, RestsOn, SureMargin};
pub use load_rows::range_in_figures;
pub use outcome::{
    AccessRow, DeviceRow, ExchangeRow, FindingRow, FitRow, HeldRow, LesionRow, LoadRow, LossRow,
    Outcome, ReachRow, SCHEMA_VERSION, StackRow, StepRow, Verdict,
};
pub use phases::{AtStep, CatchAtStep, Phase, PhaseRow};
pub use ranges::follow_ranges;
pub use run::{CAUTION, outcome_of, rehearse, rehearse_with};
pub use timing::{
    Anchor, ClockReport, ClockRow, Milestone, OtherOrder, Rehearsed, loads_of, rehearse_all,
    rehearsed_of, time,
};
pub use vessel_report::{ChangedLength, ClotOnRoute, HelpsPlan, VesselReport, WouldHelp};
pub use walk::{walk, walk_through, walk_with};
pub use weak_points::WeakPoint;
pub use what_if::{WHAT_IF_VERSION, WhatIf, WhatIfRow};
