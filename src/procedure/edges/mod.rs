//! Edges of stents: which moves cross them with what, how far the rim stands off, and how likely it catches.

mod device_steps;
mod judge;
mod ledge;
mod passages;
mod place;
mod rim;

pub(in crate::procedure) use device_steps::LEAST_STEP_MM;
pub use device_steps::{DeviceStep, device_steps};
pub use judge::{EdgeHelp, EdgeReport, Remedy, judge_edge, judge_edge_at};
pub use passages::{Cover, EdgePassage, Meets, edge_passages};
pub use rim::rim_gap_mm;
