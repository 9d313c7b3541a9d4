//! Haemostatic valves on hubs: what lies in them, and what they cost the hand that moves something.

use super::between_steps::State;
use crate::device::{DeviceClass, LumenKind};
use crate::mechanics::{Tightness, ValveValues, valve_friction_n};
use crate::procedure::script::Plan;

impl State {
    /// What the valves on its way cost the hand that moves a device, N, whichever way it goes.
    ///
    /// It rubs in the valves of the catheter it enters through, and the valves on its own hub rub on what lies in
    /// them; not where both sides move together (`moved`). An access sheath closes by itself, as a snug valve does,
    /// however the others are screwed.
    #[must_use]
    pub fn valves_hold_n(
        &self,
        plan: &Plan,
        device: usize,
        moved: &[usize],
        tightness: Tightness,
        grip: &ValveValues,
    ) -> f64 {
        let through = self.in_place[device].and_then(|at| at.through);
        let entered = through.filter(|j| !moved.contains(j)).map_or(0.0, |j| {
            let inside = self.in_valves_of(plan, j);
            let width = |is_it: bool| {
                let mine = inside.iter().filter(|(k, _)| (*k == device) == is_it);
                mine.map(|(_, outer_mm)| outer_mm).sum::<f64>()
            };
            let (sliding_mm, still_mm) = (width(true), width(false));
            let of_each = |grip_n_per_mm| valve_friction_n(grip_n_per_mm, sliding_mm, still_mm);
            grips(plan, j, tightness, grip).map(of_each).sum()
        });
        let still = self.in_valves_of(plan, device).into_iter();
        let still_mm: f64 = still
            .filter(|(k, _)| !moved.contains(k))
            .map(|(_, outer_mm)| outer_mm)
            .sum();
        let own: f64 = grips(plan, device, tightness, grip)
            .map(|grip_n_per_mm| valve_friction_n(grip_n_per_mm, still_mm, 0.0))
            .sum();
        entered + own
    }

    /// Devices that lie in the valves of a catheter, and how wide each is there, mm. A rail that lies in the
    /// lumen of its rider there is not among them.
    fn in_valves_of(&self, plan: &Plan, catheter: usize) -> Vec<(usize, f64)> {
        let past_mm = |k: usize| {
            let usable_mm = plan.devices[k].device.usable_length_mm;
            self.outside_mm(plan, k).map_or(0.0, |mm| usable_mm - mm)
        };
        let in_rider = |rail: usize| {
            self.riders_of(rail).any(|rider| {
                let enters = self.in_place[rider].is_some_and(|at| at.through == Some(catheter));
                let holds_to_mm = match plan.devices[rider].device.lumen {
                    LumenKind::RapidExchange { port_from_tip } => port_from_tip,
                    LumenKind::Full => f64::INFINITY,
                    LumenKind::Solid => 0.0,
                };
                enters && past_mm(rider) > 0.0 && past_mm(rider) < holds_to_mm
            })
        };
        let inside = self.inside(catheter).filter(|k| past_mm(*k) > 0.0);
        inside
            .filter(|k| !in_rider(*k))
            .map(|k| {
                let device = &plan.devices[k].device;
                let from_tip_mm = past_mm(k).min(device.usable_length_mm);
                (k, device.section_at(from_tip_mm).outer_mm)
            })
            .collect()
    }
}

/// Grip of each valve on a catheter's hub, N for each mm of what lies in it.
fn grips(
    plan: &Plan,
    catheter: usize,
    tightness: Tightness,
    grip: &ValveValues,
) -> impl Iterator<Item = f64> {
    let stacked = &plan.devices[catheter];
    let of = |tightness| match tightness {
        Tightness::Open => grip.open_n_per_mm,
        Tightness::Snug => grip.snug_n_per_mm,
        Tightness::Closed => grip.closed_n_per_mm,
    };
    let by_itself = stacked.device.class == DeviceClass::AccessSheath;
    let own = by_itself.then(|| of(Tightness::Snug));
    own.into_iter()
        .chain(std::iter::repeat_n(of(tightness), stacked.valves.len()))
}
