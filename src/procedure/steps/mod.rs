//! One step of the script: what has to hold before it, what it moves and changes, and what it is told.
//!
//! `stepper` is a step under way; one file for each kind of act adds to it, and `perform` chooses among them.

mod balloon;
mod clot;
mod effect;
mod ends;
mod engage;
mod exchange;
mod forces;
mod lesions;
mod looks;
mod parts;
mod passage;
mod perform;
mod protection;
mod retriever;
mod stenting;
mod stepper;
mod suction;
mod travel;
mod unit;
mod watch;

pub use effect::{Passed, StepEffect};
pub use ends::tell_ends;
pub use forces::tell_forces;
pub use perform::{perform, perform_with, place_step};
pub(in crate::procedure) use protection::{acts_on_neck, stops_flow};
