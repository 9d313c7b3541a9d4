//! Space curves, vessel trees and the route through them as a tube.

pub mod anatomy;
mod check;
mod curve;
mod error;
mod frame;
mod measure;
mod ostium;
mod route;
mod spline;
mod stenosis;
mod tortuosity;
mod track;
mod tree;

pub use anatomy::{Anatomy, Measurements};
pub use curve::{Curve, Run};
pub use error::GeometryError;
pub use frame::Frame;
pub use measure::{
    ArchMeasures, ArchType, LesionMeasures, MeasureSettings, Measures, SegmentMeasures, Stretch,
    TakeOff,
};
pub(crate) use spline::{Cubic, natural_spans};
pub use stenosis::{
    area_percent, common_carotid_percent, ecst_percent, nascet_percent, stenosed_mm,
};
pub use tortuosity::{Bend, KinkGrade, Tortuosity, TortuositySettings, tortuosity};
pub use track::{
    Station, Track, TrackClot, TrackLandmark, TrackLesion, TrackSegment, TrackSettings,
};
pub use tree::{Branch, Clot, Landmark, Lesion, LesionKind, Lumen, Ostium, Place, Tree};

/// A point in space, mm: x to the patient's left, y to the back, z to the head.
pub type Point = nalgebra::Point3<f64>;
/// A vector in space; mm or unit-free, as its name says.
pub type Vector = nalgebra::Vector3<f64>;
