//! Strategies: other scripts for the same vessel and stack, written from a few choices.

mod choices;
mod places;
mod roles;
mod script;
mod writer;

pub use choices::{Choices, ClotBy, NeckBy, Order};
pub use roles::stands_in;
