//! What a rehearsal found, as plain data.
//!
//! Everything here serialises; the names are the schema of the JSON output. Lengths in mm, angles
//! in degrees, stations from the arteriotomy along the route.

use super::{EdgeRow, HowSure, PullRow, StentRow, SuctionRow};
use super::{PhaseRow, WeakPoint};
use crate::device::{DeviceBasis, DeviceClass, Verdict as FitVerdict};
use crate::mechanics::Direction;
use crate::procedure::{
    Direction as ExchangeDirection, Finding, Reason, Severity, Topic, VesselInfo,
};
use serde::{Deserialize, Serialize};

/// Version of the schema; grows when a field changes its meaning or goes.
pub const SCHEMA_VERSION: u32 = 2;

/// Whether the plan holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Every step is known to go, and none fails.
    Passes,
    /// At least one step fails, whatever those come to of which nothing is known.
    Fails,
    /// No step is known to fail, but of one at least it is not known whether it goes.
    Undecided,
}

impl Verdict {
    /// In one word.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Passes => "passes",
            Self::Fails => "fails",
            Self::Undecided => "undecided",
        }
    }
}

/// The outcome of a rehearsal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Outcome {
    /// `nestline.rehearsal`.
    pub schema: String,
    /// [`SCHEMA_VERSION`].
    pub version: u32,
    /// Name of the scene.
    pub scene: String,
    /// What it shows.
    pub about: String,
    /// Whether the plan holds.
    pub verdict: Verdict,
    /// Lengths were ruled along the centre line, as asked for: forces and what rods would not do are not in
    /// the verdict, and edges are judged with devices on the wall inside the bend.
    #[serde(default)]
    pub by_ruler: bool,
    /// The verdict, why, and whether everything reaches, in plain words.
    pub headline: Vec<String>,
    /// The numbers behind it in plain words, one of a kind.
    #[serde(default)]
    pub numbers: Vec<String>,
    /// What the plan breaks on or is weak at, the costliest first, one cause once.
    #[serde(default)]
    pub weak_points: Vec<WeakPoint>,
    /// The phases of the procedure with their tightest numbers.
    #[serde(default)]
    pub phases: Vec<PhaseRow>,
    /// The vessel and what its values rest on.
    pub vessel: VesselInfo,
    /// The devices of the stack and what their values rest on.
    pub stack: Vec<StackRow>,
    /// Length of the route from the arteriotomy to the target, mm.
    pub route_mm: f64,
    /// Total turning of the route, degrees.
    pub route_turning_deg: f64,
    /// Landmarks on the route and their stations, mm.
    pub landmarks: Vec<(String, f64)>,
    /// Steps, in order.
    pub steps: Vec<StepRow>,
    /// By device with a hub: the step that leaves least outside.
    pub reach: Vec<ReachRow>,
    /// How sure that is: spreads, their causes and what would settle them.
    #[serde(default)]
    pub sure: HowSure,
    /// Every pair that meets in a lumen at any step, the tightest first.
    pub fits: Vec<FitRow>,
    /// Every exchange.
    pub exchanges: Vec<ExchangeRow>,
    /// Lesions of the route after the last step.
    pub lesions: Vec<LesionRow>,
    /// Stents after the last step.
    #[serde(default)]
    pub stents: Vec<StentRow>,
    /// Every crossing of a stent's edge.
    #[serde(default)]
    pub edges: Vec<EdgeRow>,
    /// What the plan's crossings would be otherwise, in words.
    #[serde(default)]
    pub counterfactuals: Vec<String>,
    /// Pulls of open retrievers.
    #[serde(default)]
    pub pulls: Vec<PullRow>,
    /// Lumens on suction, step by step.
    #[serde(default)]
    pub suction: Vec<SuctionRow>,
    /// How lengths and loads were had.
    pub method: String,
    /// The caution that goes with every output.
    pub caution: String,
}

/// One device of the stack.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct StackRow {
    /// Its name in the stack.
    pub name: String,
    /// Its generic name.
    pub device: String,
    /// Its class.
    pub class: DeviceClass,
    /// Usable length, mm.
    pub usable_length_mm: f64,
    /// What its values rest on.
    pub basis: DeviceBasis,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct StepRow {
    /// Number, from 1.
    pub number: usize,
    /// What is done, in plain words.
    pub say: String,
    /// False where a precondition stopped it.
    pub performed: bool,
    /// What it is told.
    pub findings: Vec<FindingRow>,
    /// Devices in the body afterwards.
    pub devices: Vec<DeviceRow>,
    /// By lesion: who holds the way across it afterwards.
    pub access: Vec<AccessRow>,
    /// Stents in the body afterwards: name, stations of near and far end, mm.
    pub stents: Vec<(String, f64, f64)>,
    /// Catheters on suction.
    pub suction: Vec<String>,
}

impl StepRow {
    /// The gravest finding, if there is one.
    #[must_use]
    pub fn worst(&self) -> Option<Severity> {
        self.findings.iter().map(|f| f.severity).max()
    }
}

/// One finding of one step, with its words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct FindingRow {
    /// How grave.
    pub severity: Severity,
    /// What kind.
    pub topic: Topic,
    /// What was found, for programs: its name and its values.
    pub reason: Reason,
    /// The same in plain words.
    pub text: String,
    /// What would help; notes come without.
    pub help: Option<String>,
}

impl From<Finding> for FindingRow {
    fn from(finding: Finding) -> Self {
        Self {
            severity: finding.severity,
            topic: finding.topic(),
            text: finding.in_words(),
            help: finding.help(),
            reason: finding.reason,
        }
    }
}

/// One device in the body after a step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct DeviceRow {
    /// Its name in the stack.
    pub name: String,
    /// Whether this step moved it.
    pub moved: bool,
    /// Length past the access hub, mm.
    pub fed_mm: f64,
    /// Station of its far end, mm.
    pub tip_mm: f64,
    /// The same in words.
    pub tip_at: String,
    /// Distance from its far end to each landmark of the route, mm, positive where the landmark
    /// lies ahead.
    pub to_landmarks_mm: Vec<(String, f64)>,
    /// Hub it enters through; none: the access.
    pub through: Option<String>,
    /// Length between that hub (valves included) and its own hub or end, mm.
    pub outside_mm: f64,
    /// What is left of that beyond a hand's grip for a rail; the same for a catheter, mm.
    pub margin_mm: f64,
    /// What holds it at its tip: a device, or `vessel`.
    pub tip_in: String,
    /// What a ruler on the centre line would say had to be fed, mm.
    pub ruler_fed_mm: f64,
    /// By how much the ruler overrates that, mm.
    pub ruler_error_mm: f64,
    /// Turning of the route between access and tip, degrees.
    pub turning_deg: f64,
    /// Capstan estimate: force at the hub over force at the tip, from turning and friction alone.
    pub capstan_factor: f64,
    /// What moving it took, where this step moved it.
    pub load: Option<LoadRow>,
    /// What holding it took, where something else moved.
    pub held: Option<HeldRow>,
    /// Tightest diametral clearance around it here, mm, in another device; none in the bare vessel.
    pub clearance_mm: Option<f64>,
}

/// What moving a device took.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LoadRow {
    /// `push` or `pull`.
    pub direction: Direction,
    /// Force at the hub in that direction, N, as the vessel feels it: without what valves hold back.
    pub hub_force_n: f64,
    /// The least it may be if all frictions and stiffnesses are at their least, N; none where that was not followed or
    /// came to no rest.
    #[serde(default)]
    pub hub_force_least_n: Option<f64>,
    /// The most it may be if they are at their most, N; none likewise.
    #[serde(default)]
    pub hub_force_most_n: Option<f64>,
    /// What the hand feels, N: the force at the hub and what the haemostatic valves on the way hold back, which the
    /// vessel does not feel.
    #[serde(default)]
    pub hand_force_n: f64,
    /// The least it may be, N; none where [`Self::hub_force_least_n`] is.
    #[serde(default)]
    pub hand_force_least_n: Option<f64>,
    /// The most it may be, N; none where [`Self::hub_force_most_n`] is.
    #[serde(default)]
    pub hand_force_most_n: Option<f64>,
    /// To how much forces are known here, N: shape and loads agree to within this.
    pub within_n: f64,
    /// Force its tip works against, N.
    pub tip_force_n: f64,
    /// Tip force over hub force (push efficiency); none where the hub needs no force, or one less than
    /// twice what it is known to.
    pub efficiency: Option<f64>,
    /// Share of the hub force lost to friction; none where the efficiency is.
    pub share_lost: Option<f64>,
    /// The places where most is lost, the worst first, at most three.
    pub lost: Vec<LossRow>,
    /// Fed length between pulling and pushing before the tip follows, mm; for pushes.
    pub slack_mm: Option<f64>,
    /// Largest force on the vessel's wall per length, N/mm.
    pub largest_wall_force_n_per_mm: f64,
    /// Where, in words.
    pub largest_wall_force_at: Option<String>,
    /// Length over which it buckles, mm, where it does.
    pub buckled_mm: Option<f64>,
}

/// A place where force is lost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LossRow {
    /// Station, mm.
    pub station_mm: f64,
    /// The same in words.
    pub at: String,
    /// Friction there, N.
    pub lost_n: f64,
    /// What it rubs on: a device, or `vessel`.
    pub on: String,
}

/// What holding a device took while another one moved.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct HeldRow {
    /// Reaction at its hub, N; positive: it is drawn in.
    pub hub_reaction_n: f64,
    /// Least and largest that may be: surfaces at rest carry anything up to their friction.
    pub hub_range_n: [f64; 2],
    /// Friction of the moving device along it, N; positive: drawn towards its tip.
    pub drag_n: f64,
    /// How far its tip fell back under that load, mm; negative: it jumped forward.
    pub fall_back_mm: f64,
}

/// Who holds the way across a lesion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct AccessRow {
    /// Name of the lesion.
    pub lesion: String,
    /// Devices whose tips lie beyond it.
    pub held_by: Vec<String>,
    /// Tips that have crossed it from below so far.
    pub crossings: usize,
    /// Crossed before and now held by nothing.
    pub lost: bool,
    /// Contrast beyond it has shown the true lumen.
    pub true_lumen_shown: bool,
    /// Lumen it leaves now, mm.
    pub residual_mm: f64,
}

/// The least a catheter has to spare.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ReachRow {
    /// Its name in the stack.
    pub device: String,
    /// Least margin over all steps, mm.
    pub margin_mm: f64,
    /// Step where that is.
    pub step: usize,
}

/// How a pair fits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct FitRow {
    /// Devices inside: one, or several side by side.
    pub inside: Vec<String>,
    /// The device around them.
    pub around: String,
    /// Verdict.
    pub verdict: FitVerdict,
    /// Diametral clearance, nominal, mm.
    pub clearance_mm: f64,
    /// The same with every tolerance against it, mm.
    pub worst_clearance_mm: f64,
    /// In words.
    pub reason: String,
    /// First step where it is met.
    pub step: usize,
}

/// One exchange.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ExchangeRow {
    /// Step.
    pub step: usize,
    /// Device that goes on or off.
    pub device: String,
    /// Rail that stays.
    pub rail: String,
    /// On or off.
    pub direction: ExchangeDirection,
    /// By a side port near the tip.
    pub rapid: bool,
    /// Rail outside, mm.
    pub rail_outside_mm: f64,
    /// Rail needed to hold it all along, mm.
    pub needed_mm: f64,
    /// Travel with nobody holding the rail, mm.
    pub blind_mm: f64,
    /// Where the device's tip is meanwhile, in words.
    pub blind_where: Option<String>,
}

/// A lesion after the last step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct LesionRow {
    /// Name.
    pub name: String,
    /// Lumen before, mm.
    pub before_mm: f64,
    /// Lumen after, mm (estimate).
    pub after_mm: f64,
    /// NASCET percent before.
    pub nascet_before_percent: f64,
    /// NASCET percent after (estimate).
    pub nascet_after_percent: f64,
    /// ECST percent before, against the healthy lumen at its middle.
    pub ecst_before_percent: f64,
    /// ECST percent after (estimate).
    pub ecst_after_percent: f64,
    /// Tips that crossed it from below.
    pub crossings: usize,
}
