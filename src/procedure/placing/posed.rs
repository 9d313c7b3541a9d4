//! The stack posed to the solver: rods, who holds whom, friction.

use super::placer::DepthTarget;
use super::rod::{rod, shortened_mm};
use crate::device::{Device, LumenKind};
use crate::mechanics::{Containment, Drive, MechanicsError, StackDevice, Surface};
use crate::procedure::script::Plan;
use crate::procedure::state::State;

/// Devices far enough in to bend on the route: what is out, or on its way out, does not.
pub(super) fn far_enough_in(
    plan: &Plan,
    state: &State,
    targets: &[(usize, DepthTarget)],
) -> Vec<usize> {
    let target_of = |k: usize| targets.iter().find(|w| w.0 == k).map(|w| w.1);
    let is_in = |k: &usize| {
        state.in_place[*k].is_some_and(|at| match target_of(*k) {
            Some(DepthTarget::Tip(tip_mm)) => tip_mm > 0.0,
            Some(DepthTarget::Fed(fed_mm)) => plan.inserted_mm(fed_mm) > 0.0,
            None => at.tip_mm > 0.0,
        })
    };
    (0..plan.devices.len()).filter(is_in).collect()
}

/// A stack ready for the solver.
pub(super) struct Posed<'a> {
    plan: &'a Plan,
    /// Index in the plan of each device of the stack.
    pub(super) devices: Vec<usize>,
    pub(super) stack: Vec<StackDevice>,
    pub(super) holds: Vec<Containment>,
    /// By device of the stack: how much shorter it is than folded, mm.
    pub(super) shortened_mm: Vec<f64>,
    /// Devices of the plan that move together.
    pub(super) moved: Vec<usize>,
}

impl<'a> Posed<'a> {
    pub(super) fn new(
        plan: &'a Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        moved: &[usize],
    ) -> Result<Self, MechanicsError> {
        let target_of = |k: usize| targets.iter().find(|w| w.0 == k).map(|w| w.1);
        let devices = far_enough_in(plan, state, targets);
        let mut stack = Vec::new();
        let mut shortened = Vec::new();
        for (place, k) in devices.iter().enumerate() {
            let at_mm = match (target_of(*k), state.in_place[*k]) {
                (Some(DepthTarget::Tip(tip_mm)), _) => tip_mm,
                (Some(DepthTarget::Fed(fed_mm)), _) => plan.inserted_mm(fed_mm),
                (None, at) => at.map_or(0.0, |p| p.tip_mm),
            };
            let shortened_mm = shortened_mm(plan, state, *k);
            let outermost = place == 0 || state.hubs_passed(*k).is_empty();
            let inserted = |fed_mm: f64| Drive::Inserted(plan.inserted_mm(fed_mm) - shortened_mm);
            let drive = match (target_of(*k), state.in_place[*k]) {
                (Some(DepthTarget::Tip(tip_mm)), _) => Drive::Tip(tip_mm - shortened_mm),
                (Some(DepthTarget::Fed(fed_mm)), _) => inserted(fed_mm),
                (None, at) => inserted(at.map_or(0.0, |p| p.fed_mm)),
            };
            stack.push(StackDevice::new(
                rod(plan, state, *k, at_mm, outermost)?,
                drive,
            ));
            shortened.push(shortened_mm);
        }
        let holds = holds(plan, state, &devices);
        Ok(Self {
            plan,
            devices,
            stack,
            holds,
            shortened_mm: shortened,
            moved: moved.to_vec(),
        })
    }

    pub(super) fn place_of(&self, device: usize) -> Option<usize> {
        self.devices.iter().position(|k| *k == device)
    }

    /// The same stack with one tip given.
    pub(super) fn with_tip(&self, device: usize, tip_mm: f64) -> Vec<StackDevice> {
        let mut stack = self.stack.clone();
        stack[device].drive = Drive::Tip(tip_mm);
        stack
    }

    /// Friction of one device of the stack on the vessel or on another one. Devices that move
    /// together do not slide on each other.
    pub(super) fn friction(&self, device: usize, other: Option<usize>) -> f64 {
        let table = &self.plan.values.friction;
        let own = &self.plan.devices[self.devices[device]].device;
        let Some(other) = other else {
            return table.of(own.outer_surface, Surface::Vessel);
        };
        let (k, j) = (self.devices[device], self.devices[other]);
        if self.moved.contains(&k) && self.moved.contains(&j) {
            return 0.0;
        }
        let partner = &self.plan.devices[j].device;
        let held_by = |inner: usize, outer: usize| {
            self.holds
                .iter()
                .any(|h| h.inner == inner && h.outer == outer)
        };
        let lumen = |d: &Device| d.inner_surface.unwrap_or(d.outer_surface);
        let (a, b) = if held_by(device, other) {
            (own.outer_surface, lumen(partner))
        } else if held_by(other, device) {
            (lumen(own), partner.outer_surface)
        } else {
            (own.outer_surface, partner.outer_surface)
        };
        table.of(a, Surface::Device(b))
    }
}

/// Who lies in whose lumen, and how far from its tip that lumen reaches.
fn holds(plan: &Plan, state: &State, devices: &[usize]) -> Vec<Containment> {
    let place = |k: usize| devices.iter().position(|d| *d == k);
    let mut holds = Vec::new();
    for (inner, k) in devices.iter().enumerate() {
        for outer in state.hubs_passed(*k).into_iter().filter_map(place) {
            holds.push(Containment::coaxial(inner, outer));
        }
        for rider in state.riders_of(*k) {
            let LumenKind::RapidExchange { port_from_tip } = plan.devices[rider].device.lumen
            else {
                continue;
            };
            if let Some(outer) = place(rider) {
                holds.push(Containment {
                    inner,
                    outer,
                    to_from_tip_mm: port_from_tip,
                });
            }
        }
    }
    holds
}
