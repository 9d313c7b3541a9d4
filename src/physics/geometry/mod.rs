//! Space curves, vessel trees and the route through them as a tube.
//!
//! # What goes in, what comes out
//!
//! | goes in | comes out | by |
//! | --- | --- | --- |
//! | points mm, `[n]`, with radii mm, `[n]` | a tube as a [`Track`] | [`Track::through_points`] |
//! | points mm, `[n]`; or straight runs and arcs, `[runs]` of [`Run`] | a [`Curve`]: point, tangent, frame, curvature 1/mm, torsion 1/mm, turning rad by arc length mm | [`Curve::through_points`], [`Curve::from_runs`] |
//! | a curve, a [`Lumen`] (diameters mm by arc length mm), a wall N/mm² | a [`Track`] | [`Track::from_curve`] |
//! | branches with ostia, landmarks, lesions, clots | a [`Tree`] | its fields; [`Tree::check`] says what is wrong |
//! | a tree, an access and a target ([`Place`]: branch and arc length mm) | the route between them, a [`Track`]: `[stations]` of [`Station`] | [`Tree::track`] |
//! | a tree and a track | lengths mm, diameters mm, stenoses %, take-off angles degrees, tortuosity, kinks | [`Measures::of`] |
//! | lines as traced on images, with radii, mm | a tree of smoothed branches, and what was changed | [`traced::trace`] |
//! | what was measured on a patient or a phantom | a whole [`Anatomy`], the rest assumed and said so | [`Measurements::build`](anatomy::Measurements::build) |
//!
//! Points and directions are [`Point`] and [`Vector`] of `nalgebra`, in mm; arc lengths begin at 0 at the start of their curve.
//!
//! ```
//! use nestline_physics::geometry::{Curve, Frame, Point, Run, Vector};
//! use std::f64::consts::PI;
//! let start = Frame::new(Point::origin(), Vector::x(), Vector::y());
//! let run = |length_mm: f64, turn_rad: f64| Run {
//!     length_mm,
//!     turn_rad,
//!     roll_rad: 0.0,
//!     diameter_start_mm: 4.0,
//!     diameter_end_mm: 4.0,
//! };
//! // 10 mm straight on along x, then half a circle of 5 mm radius towards y
//! let curve = Curve::from_runs(start, &[run(10.0, 0.0), run(5.0 * PI, PI)])?;
//! assert!((curve.end().origin_mm - Point::new(10.0, 10.0, 0.0)).norm() < 1e-12);
//! assert!((curve.curvature_at(15.0) - 0.2).abs() < 1e-12);
//! # Ok::<(), nestline_physics::geometry::GeometryError>(())
//! ```
//!
//! # What it cannot do
//!
//! Lumens are round, and a tube must not overlap itself: curvature times radius stays below
//! [`TrackSettings::overlap_limit`], else [`GeometryError::SelfOverlap`]. A tree has one root and no loops (no circle of Willis). Splines
//! pass through their points and do not smooth them. Nothing reads an image: segment elsewhere, and give centre lines.

pub mod anatomy;
mod bends;
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
pub mod traced;
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
