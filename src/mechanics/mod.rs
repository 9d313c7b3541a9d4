//! Equilibrium of nested elastic rods in a tube.

mod banded;
mod bend;
mod contact;
mod error;
mod layout;
mod model;
mod newton;
pub mod problem;
mod profile;
mod scene;
mod sections;
mod settings;
mod settle;
mod solution;
mod terms;

pub use error::MechanicsError;
pub use profile::Profile;
pub use scene::{
    AxialLoad, Beside, Container, End, MOST_RODS, NaturalBend, Rod, Roll, Scene, StartSupport,
    Stretch, TubeStation, nest,
};
pub use settings::Settings;
pub use settle::Settle;
pub use solution::{Contact, Flag, RodState, Solution, Status, Zone};
