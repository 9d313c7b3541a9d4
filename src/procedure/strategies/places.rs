//! Where a strategy's devices go, ruled from lesion, clot and lengths.

use super::writer::{AHEAD_OF_ASPIRATION_MM, GUIDE_PAST_LESION_MM, MICRO_PAST_LESION_MM, Writer};
use crate::device::{Payload, StentSpec};

/// How far above the guide's tip the stent's near end is planned, mm: its length on a tapering route
/// is estimated within a few mm only.
const GUIDE_CLEAR_OF_STENT_MM: f64 = 5.0;

impl Writer<'_> {
    /// Stations of the microcatheter's tip at which the aspiration catheter has to follow, because a
    /// microcatheter reaches only so far beyond it; none where it reaches the clot at once.
    pub(super) fn stages_mm(&self, neck_shut: bool) -> Vec<f64> {
        let of = |name: &str| self.plan.device_index(name).map(|k| &self.plan.devices[k]);
        let (Some(m), Some(a)) = (of(&self.roles.microcatheter), of(&self.roles.aspiration)) else {
            return Vec::new();
        };
        let room_mm = m.device.usable_length_mm - a.device.usable_length_mm - a.dead_mm();
        // a stage has to gain ground on the one before, or there is no end of them
        let gain_mm = room_mm - 2.0 * AHEAD_OF_ASPIRATION_MM;
        let goal_mm = self.clot.start_mm - 5.0;
        let mut at_mm = self.lesion.end_mm
            + if neck_shut {
                MICRO_PAST_LESION_MM
            } else {
                GUIDE_PAST_LESION_MM
            };
        let mut stages_mm = Vec::new();
        while gain_mm > 0.0 && at_mm - AHEAD_OF_ASPIRATION_MM + room_mm < goal_mm + 1.0 {
            stages_mm.push(at_mm);
            at_mm += gain_mm;
        }
        if neck_shut || !stages_mm.is_empty() {
            stages_mm.push(at_mm.min(goal_mm - 2.0 * AHEAD_OF_ASPIRATION_MM));
        }
        stages_mm
    }

    /// The stent's tip beyond the lesion such that its ends lie equally far beyond it, but its far end
    /// no further than twice the landing margin: the rest reaches down as far as the guide lets it,
    /// and the guide need not be brought up further than it has to.
    pub(super) fn stent_tip_past_lesion_mm(&self, stent: &str) -> f64 {
        let device = self.plan.device_index(stent);
        let Some(Payload::Stent(spec)) =
            device.and_then(|k| self.plan.devices[k].device.payload.as_ref())
        else {
            return self.plan.rules.landing_margin_mm;
        };
        let margin_mm = self.plan.rules.landing_margin_mm;
        let lowest_mm = self.guide_mm + GUIDE_CLEAR_OF_STENT_MM;
        let (start_mm, end_mm) = (self.lesion.start_mm, self.lesion.end_mm);
        // whole millimetres from the smallest landing on: the first that suits both ends
        let mut beyond_mm = margin_mm;
        loop {
            let near_mm = self.stent_near_end_mm(spec, end_mm + beyond_mm);
            let low_enough = beyond_mm >= 2.0 * margin_mm || start_mm - near_mm <= beyond_mm;
            let past_the_route = end_mm + beyond_mm >= self.plan.track.length_mm();
            if (low_enough && near_mm >= lowest_mm) || past_the_route {
                return beyond_mm + spec.nose_length_mm;
            }
            beyond_mm += 1.0;
        }
    }

    /// Near end of a stent whose far end lies at a station: every stretch of vessel takes up as much
    /// of the free length as a stent of that diameter is longer than a free one.
    fn stent_near_end_mm(&self, spec: &StentSpec, far_mm: f64) -> f64 {
        let (mut near_mm, mut left_mm) = (far_mm, spec.free_length_mm);
        while left_mm > 0.0 && near_mm > 0.0 {
            let vessel_mm = self.plan.track.healthy_diameter_at(near_mm);
            let stretch = spec.deployed_length_mm(vessel_mm) / spec.free_length_mm;
            let step_mm = left_mm.min(1.0 / stretch.max(0.1));
            near_mm -= step_mm * stretch;
            left_mm -= step_mm;
        }
        near_mm
    }

    /// The balloon's tip beyond the lesion such that its middle lies in the lesion's.
    pub(super) fn balloon_tip_past_lesion_mm(&self, balloon: &str) -> f64 {
        let device = self.plan.device_index(balloon);
        let ahead_mm = match device.and_then(|k| self.plan.devices[k].device.payload.as_ref()) {
            Some(Payload::Balloon(spec)) => 0.5 * spec.length_mm + spec.nose_length_mm,
            _ => 0.0,
        };
        self.lesion.middle_mm() + ahead_mm - self.lesion.end_mm
    }
}
