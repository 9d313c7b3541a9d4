//! Everything a report shows, as one piece of data.

use super::report::{Report, everything_rests};
use crate::procedure::Durations;
use crate::rehearsal::Rehearsed;
use serde::{Deserialize, Serialize};

/// Version of the schema `nestline.report`; grows when a field changes its meaning or goes. New fields do
/// not change it.
pub const EVERYTHING_VERSION: u32 = 1;

/// A report as data.
///
/// | field | what |
/// | --- | --- |
/// | `schema`, `version` | `nestline.report`, [`EVERYTHING_VERSION`] |
/// | `rehearsal` | verdict, steps, fits, exchanges, stents, edges, clock and ledger: the same object as `nestline run --json` prints, with its own schema and version |
/// | `route` | the route by station |
/// | `durations` | the table of step times |
/// | `basis` | every value and what it rests on |
///
/// Lengths are mm, forces N, times s, angles as their names say; names end in the unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Everything {
    /// `nestline.report`.
    pub schema: String,
    /// [`EVERYTHING_VERSION`].
    pub version: u32,
    /// The rehearsal.
    pub rehearsal: Rehearsed,
    /// The route, station by station.
    pub route: Vec<RouteRow>,
    /// The table of step times.
    pub durations: Durations,
    /// What every value rests on.
    pub basis: Vec<BasisRow>,
}

/// One station of the route.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RouteRow {
    /// Arc length from the arteriotomy, mm.
    pub station_mm: f64,
    /// Place, mm: x to the patient's left, y to the back, z to the head.
    pub at_mm: [f64; 3],
    /// Curvature, 1/mm.
    pub curvature_per_mm: f64,
    /// Turning summed from the arteriotomy, rad.
    pub turning_rad: f64,
    /// Lumen as it was before the first step, lesions included, mm.
    pub lumen_mm: f64,
    /// Lumen without lesions, mm.
    pub healthy_mm: f64,
}

/// One value and what it rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BasisRow {
    /// Kind of value.
    pub group: String,
    /// Name.
    pub what: String,
    /// Value in words, with its unit.
    pub value: String,
    /// Source, or that there is none.
    pub rests_on: String,
}

impl Everything {
    /// All of a report.
    #[must_use]
    pub fn of(report: &Report<'_>) -> Self {
        let track = &report.plan.track;
        Self {
            schema: "nestline.report".into(),
            version: EVERYTHING_VERSION,
            rehearsal: report.rehearsed.clone(),
            route: track
                .stations
                .iter()
                .map(|s| RouteRow {
                    station_mm: s.s_mm,
                    at_mm: s.frame.origin_mm.coords.into(),
                    curvature_per_mm: s.curvature_per_mm,
                    turning_rad: s.turning_rad,
                    lumen_mm: 2.0 * s.radius_mm,
                    healthy_mm: track.healthy_diameter_at(s.s_mm),
                })
                .collect(),
            durations: report.durations.clone(),
            basis: everything_rests(report.plan, report.durations)
                .into_iter()
                .map(|r| BasisRow {
                    group: r.group.into(),
                    what: r.what,
                    value: r.value,
                    rests_on: r.source,
                })
                .collect(),
        }
    }
}
