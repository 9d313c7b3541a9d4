//! What is shown: tables in plain words, JSON for machines.

mod json;
mod table;

pub use json::to_json;
pub use table::rehearsal_text;
