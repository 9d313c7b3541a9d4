//! Materials as data: frictions and stiffnesses with ranges and sources, and the plain numbers that are reckoned with.

pub(super) mod friction;
mod group;
pub(super) mod ranged;
pub(super) mod table;
