//! How the stack lies: from the tips or fed lengths asked for to where every device is, ruled along the centre line or by
//! the equilibrium of elastic rods, with the forces of the move.

mod again;
mod pending;
mod placer;
mod posed;
mod pull;
mod recorded;
mod retriever_hold;
mod rod;
mod rods;
mod squeezed;

pub use again::follow_again;
pub use pending::{Pending, SolvedPull};
pub use placer::{
    Asked, CentreLine, DepthTarget, EndForces, Motion, Placer, Shape, StackPlacement, UnsolvedPull,
};
pub use pull::{CoverMoment, Pull, pulls};
pub use retriever_hold::retriever_holds_n;
pub use rods::Rods;
pub(super) use squeezed::{LesionPassage, lesion_passages, needed_range_n};
