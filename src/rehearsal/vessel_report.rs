//! The measures of a vessel and what its values rest on, as plain data.

use super::{CAUTION, Cause, Chance, HowSure, RestsOn};
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
    /// Clots on the route, in which vessels they lie.
    pub clots: Vec<ClotOnRoute>,
    /// Entered lengths that the route to this target keeps no better than to a tenth of a
    /// millimetre: it swings through ostia, and so cuts their corners.
    pub changed: Vec<ChangedLength>,
    /// Entries that are each possible and together unusual, in words.
    pub doubts: Vec<String>,
    /// Measurements that are missing, those that would settle most of the route's length first.
    pub would_help: Vec<WouldHelp>,
    /// What would help a plan on this vessel most, where one was named.
    pub for_plan: Option<HelpsPlan>,
    /// The caution that goes with every output.
    pub caution: String,
}

/// A clot and the vessels it lies in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClotOnRoute {
    /// Its name.
    pub name: String,
    /// Branches from the access on, with how much of it lies in each, mm.
    pub in_branches: Vec<(String, f64)>,
    /// How much of it lies beyond the target, mm; nought as a rule.
    pub beyond_target_mm: f64,
}

impl ClotOnRoute {
    fn all(track: &Track) -> Vec<Self> {
        let on_route = track.clots.iter().map(|clot| {
            let in_branches = track.segments.iter().filter_map(|segment| {
                let length_mm =
                    clot.end_mm.min(segment.end_mm) - clot.start_mm.max(segment.start_mm);
                (length_mm > 0.0).then(|| (segment.name.clone(), length_mm))
            });
            Self {
                name: clot.name.clone(),
                in_branches: in_branches.collect(),
                beyond_target_mm: (clot.end_mm - track.length_mm().max(clot.start_mm)).max(0.0),
            }
        });
        on_route.collect()
    }
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

/// A value that is assumed and could be measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WouldHelp {
    /// The field of the form.
    pub name: String,
    /// What is assumed.
    pub assumed: f64,
    /// One standard deviation of it among persons.
    pub spread: f64,
    /// Unit of both.
    pub unit: String,
    /// By how much the route to the first target gets longer where the value is one spread above, mm.
    pub longer_mm: f64,
}

/// Which missing measurements would settle whether a plan's devices are long enough.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HelpsPlan {
    /// The plan's name.
    pub plan: String,
    /// Chance that any margin of it is below zero; none where no margin rests on lengths.
    pub short: Option<Chance>,
    /// Assumed lengths, the one first whose measurement would tell most about that chance.
    pub causes: Vec<Cause>,
}

impl HelpsPlan {
    /// Of a plan and how sure its margins are: what was measured, and what makers promise, is left out.
    #[must_use]
    pub fn of(plan: &str, sure: HowSure) -> Self {
        let assumed = |cause: &Cause| matches!(cause.rests_on, RestsOn::Assumed { .. });
        Self {
            plan: plan.to_owned(),
            short: sure.short,
            causes: sure.causes.into_iter().filter(assumed).collect(),
        }
    }
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
            clots: ClotOnRoute::all(track),
            changed: Vec::new(),
            doubts: Vec::new(),
            would_help: Vec::new(),
            for_plan: None,
            caution: CAUTION.into(),
        })
    }
}
