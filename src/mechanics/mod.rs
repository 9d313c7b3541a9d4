//! Forces and flow, from closed forms to the equilibrium of nested elastic rods in their tubes.
//!
//! Rooms, imports point left:
//! `{ error, threads } ← linear_algebra ← closed_forms ← rod ← equilibrium ← stack ← stent ← problem`.

mod closed_forms;
mod equilibrium;
mod error;
mod linear_algebra;
pub mod problem;
mod rod;
mod stack;
mod stent;
pub(crate) mod threads;

pub use closed_forms::buckling::Buckling;
pub use closed_forms::capstan::{BendContact, capstan_factor};
pub use closed_forms::flow::{
    OccupiedStretch, PUMP_KPA, annulus_flow_fraction, eccentric_flow_fraction,
    series_flow_fraction, suction_force_n,
};
pub use closed_forms::friction::{FrictionValue, KNOWN_TO_FACTOR, Surface, friction};
pub use closed_forms::retriever::{BareStretch, Sliding, retriever_pull_n};
pub use equilibrium::settle::Settle;
pub use equilibrium::solution::{Contact, Flag, RodState, Solution, Status, Zone};
pub use error::MechanicsError;
pub use linear_algebra::width::Lanes;
pub use rod::profile::Profile;
pub use rod::scene::{
    AxialLoad, Beside, Container, ContainerStretch, End, MOST_RODS, NaturalBend, Rod, Roll, Scene,
    StartSupport, TubeStation, nest,
};
pub use rod::settings::Settings;
pub use stack::arrangement::{Containment, Drive, FrictionOf, StackDevice, StackProblem};
pub use stack::load_report::{HeldLoad, LoadReport, Loss};
pub use stack::load_settings::LoadSettings;
pub use stack::moving::{Direction, Moving};
pub use stack::solver::StackSolver;
pub use stack::state::{DeviceState, Failure, StackState};
pub use stent::apposition::{Rim, RimShift, bed_stiffness_n_per_mm2, long_stent_shift, rim_shifts};
pub use stent::chance::{Chance, Sampling, Share};
pub use stent::deploy::{Bed, Deployed, PlaqueLaw, StentStation, deploy};
pub use stent::edge::{Clearance, Crossing, Ledge, Placement, Spread};
