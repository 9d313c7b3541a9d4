//! The vessel a stent, balloon or retriever meets, as it is now.

use super::{Plan, State};
use crate::device::Payload;
use crate::geometry::{LesionKind, Track};
use crate::mechanics::Bed;

/// Stiffness of a dissection's flap over that of plaque: the soft end of the threefold range in
/// which plaque is varied (assumed).
const FLAP_SHARE: f64 = 1.0 / 3.0;

/// The route with every lesion at the lumen it has at rest now.
#[derive(Debug)]
pub(super) struct Beds(Track);

impl Beds {
    pub(super) fn now(plan: &Plan, state: &State) -> Self {
        let mut track = plan.track.clone();
        for (lesion, rest_mm) in state.rest_mm.iter().enumerate() {
            // widths of lesions are sound when a plan is made; one that is not keeps the vessel's
            let _ = track.set_residual(lesion, *rest_mm);
        }
        Self(track)
    }

    /// The vessel at a station, mm.
    pub(super) fn at(&self, s_mm: f64) -> Bed {
        let healthy_mm = self.0.healthy_diameter_at(s_mm);
        let lesion = self
            .0
            .lesions
            .iter()
            .find(|l| s_mm > l.start_mm && s_mm < l.end_mm);
        Bed {
            rest_mm: 2.0 * self.0.radius_at(s_mm),
            healthy_mm,
            plaque_share: match lesion.map(|l| l.kind) {
                Some(LesionKind::Dissection) => FLAP_SHARE,
                _ => 1.0,
            },
            rigid: lesion.is_some_and(|l| l.rigid),
        }
    }
}

impl State {
    /// Lumen at a station, mm: inside a stent where one lies, else what the vessel leaves.
    #[must_use]
    pub fn lumen_at_mm(&self, plan: &Plan, s_mm: f64) -> f64 {
        self.stents
            .iter()
            .rev()
            .find_map(|stent| stent.diameter_at_mm(s_mm))
            .unwrap_or_else(|| plan.track.healthy_diameter_at(s_mm))
    }

    /// Diameter of a retriever when folded, mm.
    pub(super) fn folded_mm(plan: &Plan, device: usize) -> Option<f64> {
        let device = &plan.devices[device].device;
        match &device.payload {
            Some(Payload::Retriever(spec)) => {
                Some(device.max_outer_between(0.0, spec.folded_length_mm))
            }
            _ => None,
        }
    }

    /// The open retriever from its near end on, mm by station: open where it lies bare, folded where
    /// a catheter covers it. Every stretch takes up as much of the folded length as it is shorter.
    #[must_use]
    pub fn open_profile(&self, plan: &Plan, device: usize) -> Vec<OpenStation> {
        // vessels change over millimetres in the head; the last stretch is cut to measure
        const STEP_MM: f64 = 0.5;
        let Some(Payload::Retriever(spec)) = &plan.devices[device].device.payload else {
            return Vec::new();
        };
        let (Some(near_mm), Some(folded_mm)) = (
            self.retriever_proximal_mm(plan, device),
            Self::folded_mm(plan, device),
        ) else {
            return Vec::new();
        };
        let mut profile = Vec::new();
        let (mut at_mm, mut left_mm) = (near_mm, spec.folded_length_mm);
        while left_mm > 1e-9 {
            let middle_mm = at_mm + 0.5 * STEP_MM;
            let covered = self.container_at(plan, device, middle_mm);
            let vessel_mm = self.lumen_at_mm(plan, middle_mm);
            let share = match covered {
                Some(_) => 1.0,
                None => spec
                    .open_length_mm(vessel_mm, folded_mm)
                    .map_or(1.0, |length_mm| length_mm / spec.folded_length_mm),
            };
            let length_mm = STEP_MM.min(left_mm * share);
            profile.push(OpenStation {
                from_mm: at_mm,
                length_mm,
                vessel_mm,
                covered_by: covered,
            });
            at_mm += length_mm;
            left_mm -= length_mm / share;
        }
        profile
    }
}

/// A short stretch of a retriever that stands open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenStation {
    /// Station of its near end, mm.
    pub from_mm: f64,
    /// Its length, mm.
    pub length_mm: f64,
    /// Lumen there, mm.
    pub vessel_mm: f64,
    /// Catheter that folds it there; none where it lies open.
    pub covered_by: Option<usize>,
}
