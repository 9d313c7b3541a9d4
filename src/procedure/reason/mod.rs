//! Why a step is told something: typed reasons, by topic.
//!
//! A check says what it found as a reason, and a [`Finding`] keeps it with how grave it is; the sentences are in
//! the room of words. In JSON a reason is its name (`too-short`) and its fields. Names of devices, parts,
//! lesions and landmarks are those of scene and vessel; lengths in mm, forces in N, shares 0 to 1.

mod acts;
mod any;
mod cost;
mod edges;
mod finding;
mod forces;
mod likelihood;
mod lumens;
mod needs;
mod topic;
mod way;

pub use acts::{Ballooning, Narrowing, OpenedBy, Retrieving, Stenting};
pub use any::Reason;
pub use cost::Cost;
pub use edges::{Catching, StentEdge};
pub use finding::Finding;
pub use forces::{Force, Unknown, Why};
pub use likelihood::Likelihood;
pub use lumens::{Filled, Image, Lumen};
pub use needs::{LumenNeed, PartNeed, PayloadNeed, Precondition, RailNeed, RetrieverNeed, Use};
pub use topic::{Severity, Topic};
pub use way::{Access, Exchange, Fit, LedgeMet, Lesion, Narrow, Reach, Vessel, Within};
