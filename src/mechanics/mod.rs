//! Forces and flow, from closed forms to the equilibrium of nested elastic rods in their tubes.

mod banded;
mod bend;
mod capstan;
mod contact;
mod error;
mod flow;
mod friction;
mod layout;
mod model;
mod newton;
pub mod problem;
mod profile;
mod scene;
mod settings;
mod settle;
mod solution;

pub use capstan::{BendContact, capstan_factor};
pub use error::MechanicsError;
pub use flow::annulus_flow_fraction;
pub use friction::{FrictionValue, Surface, friction};
pub use profile::Profile;
pub use scene::{
    AxialLoad, Beside, Container, End, MOST_RODS, NaturalBend, Rod, Roll, Scene, StartSupport,
    Stretch, TubeStation, nest,
};
pub use settings::Settings;
pub use settle::Settle;
pub use solution::{Contact, Flag, RodState, Solution, Status, Zone};
