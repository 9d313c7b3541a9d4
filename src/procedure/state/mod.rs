//! Where everything is between two steps, and what follows from it: fed lengths, who lies in whose lumen, what a
//! lesion, a stent or an open retriever leaves, what flows.

mod bed;
mod between_steps;
mod flow;
mod lumen;
mod moves;
mod nesting;
mod retriever;
mod stent;
mod valves;

pub(in crate::procedure) use bed::Beds;
pub use between_steps::{InPlace, Seat, State};
pub(in crate::procedure) use flow::BLOCKED;
pub use flow::{LumenFlow, lumen_flow};
pub use moves::{Direction, Exchange, Move};
pub use nesting::{Meeting, meetings};
pub use retriever::OpenStation;
pub use stent::{DeployedStent, EdgeKind};
