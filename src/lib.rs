//! nestline rehearses a nested stack of neuro-interventional devices on a vessel.
//!
//! Layers, imports point left:
//! `{ units, math } ← geometry ← device ← mechanics ← procedure ← rehearsal ← stage ← { data, output } ← main`.

pub mod data;
pub mod device;
pub mod geometry;
pub mod math;
pub mod mechanics;
pub mod output;
pub mod procedure;
pub mod rehearsal;
pub mod stage;
pub mod units;
