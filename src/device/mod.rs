//! Generic device classes: tubes and wires with what they carry, and the small parts on them.

mod error;
mod payload;
mod tube;

pub use error::DeviceError;
pub use payload::{
    BalloonSpec, Cells, OcclusionBalloonSpec, Payload, RetrieverSpec, StentDesign, StentSpec,
};
pub use tube::{
    Accessory, Basis, Coating, Designation, Device, DeviceBasis, DeviceClass, Knot, LumenKind,
    Section, Tip,
};
