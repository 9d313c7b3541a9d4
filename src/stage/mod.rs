//! The scene model of all pictures: what is drawn at any time of the film, without a window.
//!
//! A [`Stage`] is made once from a plan, its vessel, the walked script and its outcome.
//! [`Stage::at`] then gives everything that is drawn at a time of the film clock, continuous between steps:
//! report, window, film and three-dimensional export draw the same [`Moment`].
//!
//! Places are world millimetres: x to the patient's left, y to the back, z to the head. Devices lie in
//! the lumen they lie in: offsets from the centre line are blended between settled shapes and kept inside
//! whatever is around them.
//!
//! ```
//! # fn show(plan: &nestline::procedure::Plan, tree: &nestline::geometry::Tree) -> Result<(), nestline::rehearsal::RehearsalError> {
//! use nestline::stage::{Mesh, Stage, StageSettings};
//! use nestline::procedure::CentreLine;
//! use nestline::rehearsal::{outcome_of, walk_through};
//! let passed = walk_through(plan, &mut CentreLine)?;
//! let outcome = outcome_of(plan, &passed);
//! let stage = Stage::new(plan, tree, &passed, &outcome, StageSettings::default());
//! let moment = stage.at(0.5 * stage.timeline.total_s());
//! for device in &moment.devices {
//!     let mesh = Mesh::tube(&device.nodes, stage.settings().detail.device_sides);
//! #   let _ = mesh;
//! }
//! # Ok(())
//! # }
//! ```

mod axis_by_station;
mod card;
mod caught;
mod draw;
mod follow;
mod keys;
mod marks;
mod mesh;
mod moment;
mod payload;
mod settled;
mod struts;
mod timeline;
mod vessel;

pub use card::{LandmarkLabel, StageDevice, StepCard};
pub use follow::FollowingRods;
pub use keys::ShapesFrom;
pub use mesh::Mesh;
pub use moment::{
    DrawnClot, DrawnContact, DrawnDevice, DrawnPlaque, DrawnStent, EdgeBand, EdgeState, Moment,
    Node, Section, SectionDevice, SectionStruts, WireMesh,
};
pub use settled::PictureRods;
pub use timeline::{Pace, Span, Timeline};
pub use vessel::ContextBranch;

use crate::geometry::{Frame, Tree};
use crate::procedure::{Passed, Plan, Shape, State};
use crate::rehearsal::{Outcome, Phase, Verdict};
use keys::{KeyMaker, Scenes};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
pub(crate) use struts::Hoop;
use struts::Pattern;

/// How finely things are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Detail {
    /// Corners of the sections of walls. Default 20.
    pub wall_sides: usize,
    /// Corners of the sections of branches beside the route. Default 14: nobody works in them.
    pub context_sides: usize,
    /// Corners of the sections of devices. Default 8.
    pub device_sides: usize,
    /// Corners of the sections of struts. Default 3.
    pub wire_sides: usize,
    /// Least spacing of sections along the route, mm. Default 0.8.
    pub least_spacing_mm: f64,
    /// Largest spacing of sections along the route, mm. Default 4.
    pub most_spacing_mm: f64,
    /// How far chords between sections may leave the centre line, mm. Default 0.02.
    pub sag_mm: f64,
}

impl Default for Detail {
    fn default() -> Self {
        Self {
            wall_sides: 20,
            context_sides: 14,
            device_sides: 8,
            wire_sides: 3,
            least_spacing_mm: 0.8,
            most_spacing_mm: 4.0,
            sag_mm: 0.02,
        }
    }
}

/// How a stage is made.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct StageSettings {
    /// How fast the film runs.
    pub pace: Pace,
    /// How finely things are drawn.
    pub detail: Detail,
    /// Settle rods for the picture where the rehearsal has none (about a second for a long
    /// script). Default true; else everything lies on the centre line.
    pub settle: bool,
}

impl Default for StageSettings {
    fn default() -> Self {
        Self {
            pace: Pace::default(),
            detail: Detail::default(),
            settle: true,
        }
    }
}

/// A script on the stage.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Name of the scene.
    pub title: String,
    /// What it shows.
    pub about: String,
    /// Whether the plan holds.
    pub verdict: Verdict,
    /// Index of the step at which it breaks, or from which it is not known whether it holds.
    pub breaks_at: Option<usize>,
    /// Index of the step to look at first: where it breaks, else where its costliest weak point is.
    pub telling: usize,
    /// The phases of the procedure: indices of the first and the last step of each.
    pub phases: Vec<(Phase, usize, usize)>,
    /// Verdict and weak points in plain words.
    pub headline: Vec<String>,
    /// The caution that goes with every picture.
    pub caution: String,
    /// Where the shapes come from; to be shown with every picture.
    pub shapes: ShapesFrom,
    /// When each step is on the film.
    pub timeline: Timeline,
    /// Devices of the stack, in its order.
    pub devices: Vec<StageDevice>,
    /// The healthy wall of the route, a tube open at both ends.
    pub wall: Vec<Node>,
    /// The rest of the vessel.
    pub context: Vec<ContextBranch>,
    /// Named places of the route.
    pub landmarks: Vec<LandmarkLabel>,
    /// Steps, in order.
    pub steps: Vec<StepCard>,
    settings: StageSettings,
    plan: Plan,
    scenes: Vec<Scenes>,
    /// Stations at which tubes along the route have sections, and the frames there.
    stations: Vec<f64>,
    frames: Vec<Frame>,
    axis: vessel::Axis,
    /// By device: struts of its stent or retriever.
    patterns: Vec<Option<Pattern>>,
    /// By step and device: diameter of its balloon where it is up, mm.
    balloons_mm: Vec<Vec<f64>>,
}

/// Weak points told beside the verdict in pictures: what a glance takes in.
const WEAK_POINTS_TOLD: usize = 4;

/// The verdict, why, and the costliest weak points.
fn headline(outcome: &Outcome) -> Vec<String> {
    let verdict = outcome.reasons().map(str::to_owned);
    let told = |text: &str| outcome.headline.iter().any(|line| line.contains(text));
    let weak = outcome.weak_points.iter().filter(|p| !told(&p.text));
    let weak = weak.map(|p| format!("Step {}: {}.", p.step, p.text));
    verdict.chain(weak.take(WEAK_POINTS_TOLD)).collect()
}

impl Stage {
    /// Puts a walked script on the stage.
    ///
    /// `tree` is the plan's vessel (only its other branches are taken from it), `passed` and `outcome` what
    /// came of the plan. Shapes of the rehearsal are used where it has them; otherwise rods are settled
    /// here without friction, and [`Stage::shapes`] says so.
    #[must_use]
    pub fn new(
        plan: &Plan,
        tree: &Tree,
        passed: &[Passed],
        outcome: &Outcome,
        settings: StageSettings,
    ) -> Self {
        let (scenes, shapes) = KeyMaker::new(plan).scenes(passed, settings.settle);
        let stations = vessel::stations(&plan.track, &settings.detail);
        Self {
            title: outcome.scene.clone(),
            about: outcome.about.clone(),
            verdict: outcome.verdict,
            headline: headline(outcome),
            breaks_at: outcome.breaks().map(|(step, _)| step - 1),
            telling: outcome.telling_step() - 1,
            phases: outcome
                .phases
                .iter()
                .map(|row| (row.phase, row.from_step - 1, row.to_step - 1))
                .collect(),
            caution: outcome.caution.clone(),
            shapes,
            timeline: Timeline::new(plan, passed, &settings.pace),
            devices: card::devices(plan),
            wall: vessel::wall(&plan.track, &stations),
            context: vessel::context(tree, &plan.track, &settings.detail),
            landmarks: card::landmarks(plan),
            steps: card::steps(plan, passed, outcome),
            settings,
            plan: plan.clone(),
            scenes,
            frames: stations.iter().map(|s| plan.track.frame_at(*s)).collect(),
            stations,
            axis: vessel::Axis::new(&plan.track),
            patterns: payload::patterns(plan),
            balloons_mm: payload::balloons_mm(plan, passed),
        }
    }

    /// The settings it was made with.
    #[must_use]
    pub fn settings(&self) -> &StageSettings {
        &self.settings
    }

    /// The plan on the stage.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// A place as a rehearsal tells it (`2 mm past m2-inferior-10mm`), to be read.
    #[must_use]
    pub fn told_place(&self, told: &str) -> String {
        let named = |l: &&LandmarkLabel| told.split(' ').next_back() == Some(l.name.as_str());
        match self.landmarks.iter().find(named) {
            Some(mark) => told.replace(&mark.name, &mark.words),
            None => told.replace('-', " "),
        }
    }

    /// Most devices in the body at the end of any step.
    #[must_use]
    pub fn most_devices(&self) -> usize {
        let counts = self.steps.iter().map(|card| card.row.devices.len());
        counts.max().unwrap_or(0)
    }

    /// Gives the film another length, s; all steps keep their shares of it.
    #[must_use]
    pub fn lasting(mut self, total_s: f64) -> Self {
        self.timeline = self.timeline.scaled_to(total_s);
        self
    }

    /// Everything that is drawn at a time of the film clock, s; before the beginning the beginning, after
    /// the end the end.
    #[must_use]
    pub fn at(&self, time_s: f64) -> Moment {
        let (step, share) = self.timeline.at(time_s);
        self.in_step(step, share, time_s)
    }

    /// The same as a share of a step's motion, 0 to 1: 1 is the step as it ends.
    #[must_use]
    pub fn at_step(&self, step: usize, share: f64) -> Moment {
        let time_s = self.timeline.steps.get(step).map_or(0.0, |s| s.end_s);
        self.in_step(step, share.clamp(0.0, 1.0), time_s)
    }

    /// Radiopaque stretches of a device, mm from its tip.
    pub(crate) fn marks(&self, device: usize) -> Vec<(f64, f64)> {
        marks::marks(&self.plan.devices[device].device)
    }

    /// Struts of a device's stent or retriever.
    pub(crate) fn pattern(&self, device: usize) -> Option<&Pattern> {
        self.patterns.get(device)?.as_ref()
    }

    fn in_step(&self, step: usize, share: f64, time_s: f64) -> Moment {
        draw::Drawing::new(self, step, share).moment(time_s)
    }

    /// What is drawn of a state of one's own at the end of a step (index), as it lies in `shape`: for a
    /// window in which a device is dragged. Without a shape everything lies as at the end of the step.
    #[must_use]
    pub fn posed(&self, step: usize, state: &State, shape: Option<&Arc<Shape>>) -> Moment {
        let step = step.min(self.scenes.len().saturating_sub(1));
        let time_s = self.timeline.steps.get(step).map_or(0.0, |s| s.end_s);
        match self.scenes.get(step) {
            Some(of) => {
                let scene = keys::posed(&self.plan, of, state, shape);
                draw::Drawing::of(self, Some(&scene), step, 1.0).moment(time_s)
            }
            None => self.at_step(step, 1.0),
        }
    }

    /// The cross section at a station (mm) of what [`Stage::posed`] draws.
    #[must_use]
    pub fn posed_section(
        &self,
        step: usize,
        state: &State,
        shape: Option<&Arc<Shape>>,
        station_mm: f64,
    ) -> Section {
        let step = step.min(self.scenes.len().saturating_sub(1));
        let scene = self.scenes.get(step);
        let scene = scene.map(|of| keys::posed(&self.plan, of, state, shape));
        draw::Drawing::of(self, scene.as_ref(), step, 1.0).section(station_mm)
    }

    /// The cross section of everything at a station (mm) at a time of the film clock (s): for close-ups of
    /// a stent's edge.
    #[must_use]
    pub fn section(&self, time_s: f64, station_mm: f64) -> Section {
        let (step, share) = self.timeline.at(time_s);
        draw::Drawing::new(self, step, share).section(station_mm)
    }
}
