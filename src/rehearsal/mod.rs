//! A rehearsal: the script folded over the states, and its outcome as plain data.

mod outcome;
mod run;
mod words;

pub use outcome::{
    AccessRow, DeviceRow, ExchangeRow, FitRow, LesionRow, Outcome, ReachRow, SCHEMA_VERSION,
    StepRow, Verdict,
};
pub use run::{CAUTION, rehearse};
