//! A rehearsal: the script folded over the states, and its outcome as plain data.

mod error;
mod outcome;
mod run;
mod vessel_report;
mod words;

pub use error::RehearsalError;
pub use outcome::{
    AccessRow, DeviceRow, ExchangeRow, FitRow, HeldRow, LesionRow, LoadRow, LossRow, Outcome,
    ReachRow, SCHEMA_VERSION, StackRow, StepRow, Verdict,
};
pub use run::{CAUTION, rehearse, rehearse_with};
pub use vessel_report::VesselReport;
