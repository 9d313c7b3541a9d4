//! How the stack lies: from wished tips and fed lengths to where every device is, ruled along the centre line or by
//! the equilibrium of elastic rods, with the forces of the move.

mod felt;
mod lay;
mod pending;
mod posed;
mod pull;
mod retriever_hold;
mod rod;
mod rods;

pub use lay::{Laid, Lay, Motion, Ruler, Shape, Unfelt, Wish};
pub use pending::{Felt, Pending};
pub use pull::{CoverMoment, Pull, pulls};
pub use retriever_hold::retriever_holds_n;
pub use rods::Rods;
