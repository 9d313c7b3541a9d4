//! Forces and flow, from closed forms to the equilibrium of nested elastic rods in their tubes.

mod banded;
mod bend;
mod capstan;
mod contact;
mod error;
mod feed;
mod flow;
mod friction;
mod layout;
mod load;
mod model;
mod newton;
pub mod problem;
mod profile;
mod rub;
mod scene;
mod sections;
mod settings;
mod settle;
mod solution;
mod stack;
mod terms;
mod tip;

pub use capstan::{BendContact, capstan_factor};
pub use error::MechanicsError;
pub use feed::{
    DeviceState, Direction, Failure, FrictionOf, LoadSettings, Moving, StackSolver, StackState,
};
pub use flow::annulus_flow_fraction;
pub use friction::{FrictionValue, Surface, friction};
pub use load::{Buckling, HeldLoad, LoadReport, Loss, Slack};
pub use profile::Profile;
pub use scene::{
    AxialLoad, Beside, Container, End, MOST_RODS, NaturalBend, Rod, Roll, Scene, StartSupport,
    Stretch, TubeStation, nest,
};
pub use settings::Settings;
pub use settle::Settle;
pub use solution::{Contact, Flag, RodState, Solution, Status, Zone};
pub use stack::{Drive, Hold, StackDevice};
