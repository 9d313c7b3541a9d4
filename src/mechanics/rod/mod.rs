//! Rods in a tube: what an equilibrium is asked of, its discretisation, the terms of its energy, and these put together.

pub(super) mod bending;
pub(super) mod coefficients;
pub(super) mod configurational;
pub(super) mod contact_law;
pub(super) mod dof;
pub(super) mod edge_batch;
pub(super) mod energy;
pub(super) mod hub_spring;
pub(super) mod layout;
pub(super) mod model;
pub(super) mod natural;
pub(super) mod profile;
pub(super) mod scene;
pub(super) mod settings;
pub(super) mod terms;
pub(super) mod vertex_energy;
