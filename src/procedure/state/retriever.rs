//! An open retriever: where its ends are, and what of it lies bare.

use super::between_steps::State;
use crate::device::Payload;
use crate::procedure::script::Plan;

impl State {
    /// Station of the far end of a device as it lies: an open retriever is shorter than folded,
    /// and it is its far end that comes back, because the pusher is held.
    #[must_use]
    pub fn distal_end_mm(&self, plan: &Plan, device: usize) -> Option<f64> {
        let tip_mm = self.tip_mm(device)?;
        Some(match &plan.devices[device].device.payload {
            Some(Payload::Retriever(_)) if self.open[device] => self
                .open_profile(plan, device)
                .last()
                .map_or(tip_mm, |o| o.from_mm + o.length_mm),
            _ => tip_mm,
        })
    }

    /// Station of the near end of a retriever's working length, mm.
    #[must_use]
    pub fn retriever_proximal_mm(&self, plan: &Plan, device: usize) -> Option<f64> {
        match &plan.devices[device].device.payload {
            Some(Payload::Retriever(r)) => Some(self.tip_mm(device)? - r.folded_length_mm),
            _ => None,
        }
    }

    /// Diameter of a retriever when folded, mm.
    pub(in crate::procedure) fn folded_mm(plan: &Plan, device: usize) -> Option<f64> {
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
