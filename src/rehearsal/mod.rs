//! A rehearsal: the script folded over the states, and its outcome as plain data.

mod compare;
mod compare_flip;
mod compare_words;
mod edge_findings;
mod edge_rows;
mod error;
mod followers;
mod outcome;
mod run;
mod timing;
mod verdict;
mod vessel_report;
mod walk;
mod what_if;
mod words;

pub use compare::{
    COMPARISON_VERSION, Candidate, CompareRow, Comparison, LeastReach, assess, compare,
};
pub use compare_flip::{Changed, Flip, Sooner, Stretch};
pub use edge_rows::{CoverRow, EDGE_CAUTION, EdgeRow, PullRow, StentRow, SuctionRow, SweepPoint};
pub use error::RehearsalError;
pub use outcome::{
    AccessRow, DeviceRow, ExchangeRow, FindingRow, FitRow, HeldRow, LesionRow, LoadRow, LossRow,
    Outcome, ReachRow, SCHEMA_VERSION, StackRow, StepRow, Verdict,
};
pub use run::{CAUTION, outcome_of, rehearse, rehearse_with};
pub use timing::{
    Anchor, ClockReport, ClockRow, Milestone, OtherOrder, Rehearsed, loads_of, rehearse_all,
    rehearsed_of, time,
};
pub use vessel_report::{ChangedLength, ClotOnRoute, VesselReport};
pub use walk::{walk, walk_through, walk_with};
pub use what_if::{WHAT_IF_VERSION, WhatIf, WhatIfRow};
