//! Equilibrium: Newton's method, levels and stages of stiffness, stability, and what a state in balance looks like.

pub(super) mod fit_check;
pub(super) mod hub_regularised;
pub(super) mod newton;
pub(super) mod readout;
pub(super) mod settle;
pub(super) mod solution;
pub(super) mod turns;
