//! Forces and flow, from closed forms to the rods in their tubes.

mod capstan;
mod flow;
mod friction;

pub use capstan::{BendContact, capstan_factor};
pub use flow::annulus_flow_fraction;
pub use friction::{FrictionValue, Surface, friction};
