//! Equilibrium of nested elastic rods in a tube.

mod banded;
mod bend;
mod contact;
mod error;
mod profile;

pub use error::MechanicsError;
pub use profile::Profile;
