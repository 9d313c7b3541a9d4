//! Stents: the diameter they hold, how they lie on the wall, and whether a ledge catches on their rim.

pub(super) mod apposition;
pub(super) mod chance;
pub(super) mod deploy;
pub(super) mod edge;
pub(super) mod squeeze;
