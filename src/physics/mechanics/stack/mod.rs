//! Stacks: who holds whom, fed lengths and tips, friction that follows the shape, and what a move costs.

pub(super) mod arrangement;
pub(super) mod coupling;
mod follow_up;
pub(super) mod friction_sum;
pub(super) mod load_report;
pub(super) mod load_settings;
pub(super) mod moving;
pub(super) mod present;
pub(super) mod report;
pub(super) mod solver;
pub(super) mod state;
pub(super) mod tip_load;
mod together;
