//! Stacks: who holds whom, fed lengths and tips, friction that follows the shape, and what a move costs; states for
//! themselves, and paths from one to the next.

pub(super) mod arrangement;
pub(super) mod coupling;
mod follow_up;
pub(super) mod friction_sum;
pub(super) mod load_report;
pub(super) mod load_settings;
pub(super) mod moving;
pub(super) mod path;
pub(super) mod present;
pub(super) mod report;
mod slip;
pub(super) mod solver;
pub(super) mod state;
mod stretch;
pub(super) mod tip_load;
mod together;
