//! The measures of a vessel and what its values rest on, as plain data.

use super::CAUTION;
use crate::geometry::{GeometryError, MeasureSettings, Measures, Track, Tree};
use crate::procedure::VesselInfo;
use serde::{Deserialize, Serialize};

/// A vessel measured along one route.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VesselReport {
    /// `nestline.measures`.
    pub schema: String,
    /// Version of the schema; grows when a field changes its meaning or goes.
    pub version: u32,
    /// The vessel and what its values rest on.
    pub vessel: VesselInfo,
    /// Target the route ends in.
    pub target: String,
    /// The measures.
    pub measures: Measures,
    /// Entered lengths that the route to this target keeps no better than to a tenth of a
    /// millimetre: it swings through ostia, and so cuts their corners.
    pub changed: Vec<ChangedLength>,
    /// The caution that goes with every output.
    pub caution: String,
}

/// An entered length that a route does not keep.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChangedLength {
    /// The field of the form.
    pub name: String,
    /// As entered, or as assumed where nothing was, mm.
    pub entered_mm: f64,
    /// What it is along the route, mm.
    pub on_the_route_mm: f64,
}

impl VesselReport {
    /// Measures a vessel with the default settings.
    ///
    /// # Errors
    /// As [`Measures::of`].
    pub fn of(
        vessel: VesselInfo,
        target: &str,
        tree: &Tree,
        track: &Track,
    ) -> Result<Self, GeometryError> {
        Ok(Self {
            schema: "nestline.measures".into(),
            version: 2,
            vessel,
            target: target.to_owned(),
            measures: Measures::of(tree, track, &MeasureSettings::default())?,
            changed: Vec::new(),
            caution: CAUTION.into(),
        })
    }
}
