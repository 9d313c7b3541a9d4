//! What is shown: tables in plain words, JSON for machines.

mod compare;
mod edges;
mod file;
mod gantt;
mod json;
mod measures;
mod problem;
mod scene_text;
mod table;

pub use compare::{comparison_text, ledger_text, what_if_text};
pub use file::write_text;
pub use gantt::clock_text;
pub use json::to_json;
pub use measures::measures_text;
pub use problem::problem_text;
pub use scene_text::script_text;
pub use table::rehearsal_text;
