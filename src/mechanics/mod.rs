//! Forces and flow, from closed forms to the equilibrium of nested elastic rods in their tubes.

mod abreast;
mod anderson;
mod apposition;
mod banded;
mod bend;
mod bending_up;
mod buckling;
mod capstan;
mod chance;
mod contact;
mod corners;
mod deploy;
mod edge;
mod error;
mod feed;
mod flow;
mod friction;
mod grip;
mod hold;
mod layout;
mod load;
mod load_settings;
mod material;
mod model;
mod natural;
mod newton;
mod number;
pub mod problem;
mod profile;
mod pull;
mod readout;
mod room;
mod rub;
mod scene;
mod sections;
mod settings;
mod settle;
mod sides;
mod solution;
mod stack;
mod stack_state;
mod terms;
pub(crate) mod threads;
mod tip;
mod turns;
mod width;

pub use apposition::{Rim, RimShift, bed_stiffness_n_per_mm2, long_stent_shift, rim_shifts};
pub use capstan::{BendContact, capstan_factor};
pub use chance::{Chance, Sampling, Share};
pub use deploy::{Bed, Deployed, PlaqueLaw, StentStation, deploy, ecst_percent, nascet_percent};
pub use edge::{Clearance, Crossing, Ledge, Placement, Spread};
pub use error::MechanicsError;
pub use feed::{FrictionOf, StackSolver};
pub use flow::{
    OccupiedStretch, PUMP_KPA, annulus_flow_fraction, eccentric_flow_fraction,
    series_flow_fraction, suction_force_n,
};
pub use friction::{FrictionValue, KNOWN_TO_FACTOR, Surface, friction};
pub use load::{Buckling, HeldLoad, LoadReport, Loss, Slack};
pub use load_settings::LoadSettings;
pub use profile::Profile;
pub use pull::{BareStretch, Sliding, retriever_pull_n};
pub use scene::{
    AxialLoad, Beside, Container, End, MOST_RODS, NaturalBend, Rod, Roll, Scene, StartSupport,
    Stretch, TubeStation, nest,
};
pub use settings::Settings;
pub use settle::Settle;
pub use solution::{Contact, Flag, RodState, Solution, Status, Zone};
pub use stack::{Drive, Hold, StackDevice};
pub use stack_state::{DeviceState, Direction, Failure, Moving, StackState};
pub use width::Lanes;
