//! Equilibrium: Newton's method, levels and stages of stiffness, stability, and what a state in balance looks like.

pub(super) mod angles;
pub(super) mod balance;
pub(super) mod continuation;
pub(super) mod direction;
pub(super) mod fit_check;
pub(super) mod guess;
pub(super) mod hub_regularised;
pub(super) mod levels;
pub(super) mod line_search;
pub(super) mod newton;
pub(super) mod passes;
pub(super) mod prolapse;
pub(super) mod readout;
pub(super) mod rounds;
pub(super) mod settle;
pub(super) mod solution;
pub(super) mod stability;
pub(super) mod start_shapes;
pub(super) mod unknowns;
pub(super) mod work;
pub(super) mod workspace;
