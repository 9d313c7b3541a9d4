//! The route from access to target as a tube.

use super::{Frame, Lumen};

/// The route from the access to the target, sampled evenly by arc length.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// Spacing of the stations, mm; the last cell is as long as the others (the spacing is the
    /// wished one, adjusted so that a whole number of cells covers the length).
    pub spacing_mm: f64,
    /// Stations `0..=n`; station i lies at `i * spacing_mm`.
    pub stations: Vec<Station>,
    /// Named places on the route, in order; lesions and clots contribute their ends.
    pub landmarks: Vec<TrackLandmark>,
    /// Healthy lumen diameter along the route, not narrowed by lesions.
    pub lumen: Lumen,
}

/// One station of a track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Station {
    /// Arc length from the access, mm.
    pub s_mm: f64,
    /// Centre, unit tangent and rotation-minimising normals.
    pub frame: Frame,
    /// Curvature of the centre line, 1/mm.
    pub curvature_per_mm: f64,
    /// Usable lumen radius, mm, lesions included.
    pub radius_mm: f64,
    /// Radial stiffness of the wall, N per mm of length per mm of indentation.
    pub wall_stiffness_n_per_mm2: f64,
    /// Total turning of the centre line from the access to here, rad.
    pub turning_rad: f64,
}

/// A landmark on a track.
#[derive(Debug, Clone, PartialEq)]
pub struct TrackLandmark {
    /// Its name.
    pub name: String,
    /// Arc length from the access, mm.
    pub s_mm: f64,
}
