//! Everything a report shows, as one piece of data.

use super::report::{Report, everything_rests};
use crate::procedure::Durations;
use crate::rehearsal::{Comparison, Rehearsed};
use crate::stage::{ShapesFrom, Stage};
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
/// | `drawn` | where the pictures (scene in space, film, GLB) put every tip after every step; none where nothing was drawn |
/// | `comparison` | the plan beside others, where that was asked for: the same object as `nestline compare --json` prints |
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
    /// Where the pictures put the tips.
    #[serde(default)]
    pub drawn: Option<Drawn>,
    /// The plan beside others.
    #[serde(default)]
    pub comparison: Option<Comparison>,
}

/// Tips as they are drawn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Drawn {
    /// Where the shapes come from.
    pub shapes: ShapesFrom,
    /// The same in words.
    pub in_words: String,
    /// By step.
    pub steps: Vec<DrawnStep>,
}

/// The tips after a step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DrawnStep {
    /// Number, from 1.
    pub step: usize,
    /// When its motion has ended in film and GLB as they play without a wished length, s.
    pub at_s: f64,
    /// When the next step begins there, s.
    pub until_s: f64,
    /// The tips of all devices in the body.
    pub tips: Vec<DrawnTip>,
}

/// A tip in space.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DrawnTip {
    /// The device.
    pub device: String,
    /// Its end, mm: x to the patient's left, y to the back, z to the head. Of an open retriever the end of its
    /// shaft, where the struts begin.
    pub at_mm: [f64; 3],
}

impl Drawn {
    /// What a stage draws at the end of each step.
    #[must_use]
    pub fn of(stage: &Stage) -> Self {
        let steps = stage.timeline.steps.iter().enumerate();
        Self {
            shapes: stage.shapes,
            in_words: stage.shapes.in_words(),
            steps: steps
                .map(|(i, span)| DrawnStep {
                    step: i + 1,
                    at_s: span.moved_s,
                    until_s: span.end_s,
                    tips: tips(stage, i),
                })
                .collect(),
        }
    }
}

fn tips(stage: &Stage, step: usize) -> Vec<DrawnTip> {
    let moment = stage.at_step(step, 1.0);
    let ends = moment.devices.iter().filter_map(|d| {
        Some(DrawnTip {
            device: stage.devices.get(d.device)?.name.clone(),
            at_mm: d.nodes.last()?.at.coords.into(),
        })
    });
    ends.collect()
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
            drawn: report.stage.map(Drawn::of),
            comparison: report.comparison.cloned(),
        }
    }
}
