//! What is shown: tables in plain words, JSON for machines.

mod json;
mod measures;
mod problem;
mod table;

pub use json::to_json;
pub use measures::measures_text;
pub use problem::problem_text;
pub use table::rehearsal_text;
