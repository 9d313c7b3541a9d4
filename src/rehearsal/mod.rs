//! A rehearsal: the script folded over the states, and its outcome as plain data.

mod compare;
mod compare_flip;
mod compare_words;
mod outcome;
mod run;
mod timing;
mod vessel_report;
mod what_if;
mod words;

pub use compare::{
    COMPARISON_VERSION, Candidate, CompareRow, Comparison, LeastReach, assess, compare,
};
pub use compare_flip::{Changed, Flip, Sooner, Stretch};
pub use outcome::{
    AccessRow, DeviceRow, ExchangeRow, FitRow, LesionRow, Outcome, ReachRow, SCHEMA_VERSION,
    StackRow, StepRow, Verdict,
};
pub use run::{CAUTION, rehearse};
pub use timing::{Anchor, ClockReport, ClockRow, OtherOrder, Rehearsed, time};
pub use vessel_report::VesselReport;
pub use what_if::{WHAT_IF_VERSION, WhatIf, WhatIfRow};
