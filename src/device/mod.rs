//! Generic device classes: tubes and wires with what they carry, and the small parts on them.

mod accessory;
mod balloon;
mod braid;
mod bundle;
mod check;
mod check_payload;
mod class;
mod error;
mod fit;
mod length;
mod nest;
mod payload;
mod profile;
mod retriever;
mod stent;
mod tube;

pub(crate) use balloon::ATM_MPA;
pub use braid::Braid;
pub use bundle::bundle_diameter_mm;
pub use error::DeviceError;
pub use fit::{Fit, FitRules, Relation, Spot, Verdict};
pub use nest::{coaxial, side_by_side};
pub use payload::{
    BalloonSpec, Cells, OcclusionBalloonSpec, Payload, RetrieverSpec, StentDesign, StentSpec,
};
pub use tube::{
    Accessory, Basis, Coating, Designation, Device, DeviceBasis, DeviceClass, Knot, LumenKind,
    Section, Tip,
};
