//! Which guide is long enough in how many patients.

use super::super::how_sure::{Form, Inputs, MarginKind};
use super::Chance;
use super::roles::{Role, with_choices};
use super::rows::suffices;
use super::search::{Found, Passing, Slot};
use super::weigh::{Near, near};
use crate::device::DeviceClass;
use crate::procedure::Plan;
use crate::threads::in_order;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Share of patients in whom a guide is to reach.
pub const WISHED_SHARE: f64 = 0.95;
/// Lengths are sought between as much shorter and as much longer, mm, by halving that so often: to a tenth of a
/// millimetre.
const SOUGHT_MM: f64 = 400.0;
const HALVINGS: u32 = 13;

/// A guide of the cabinet, and in how many patients it reaches wherever the script brings it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ReachOf {
    /// Its name.
    pub device: String,
    /// Its usable length, mm.
    pub usable_length_mm: f64,
    /// Share of patients in whom it reaches, with the stack in which that is most.
    pub reaches: Chance,
}

/// Which guide is long enough.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Shortest {
    /// Its role.
    pub role: String,
    /// In so many patients it is to reach.
    pub wished: f64,
    /// The shortest of the cabinet that does; none where none does.
    pub found: Option<ReachOf>,
    /// The least usable length that would, mm; none where no length near those of the cabinet would.
    pub needed_mm: Option<f64>,
    /// All that do the script, by length.
    pub all: Vec<ReachOf>,
}

/// The guide of a plan.
fn guide(plan: &Plan) -> Option<usize> {
    let is_guide = |class| matches!(class, DeviceClass::Guide | DeviceClass::BalloonGuide);
    plan.devices.iter().position(|d| is_guide(d.device.class))
}

/// Of all stacks that do the script, the guides by length.
pub(super) fn shortest(
    plan: &Plan,
    roles: &[Role],
    found: &Found,
    threads: usize,
) -> Option<Shortest> {
    let role = guide(plan)?;
    let counts =
        |slot: &Slot| slot.device == role && (slot.wished || slot.kind == MarginKind::Reach);
    // stacks in which the guide has the same margins have the same chance
    let mut apart: BTreeMap<(Option<u16>, Near), &Passing> = BTreeMap::new();
    for stack in &found.passing {
        let margins = found.margins[stack.margins].iter().enumerate();
        let own = margins.filter(|(i, mm)| counts(&found.slots[*i]) && mm.is_finite());
        let own: Near = own.map(|(i, mm)| (i, mm.to_bits())).collect();
        if !own.is_empty() {
            apart.entry((stack.chosen[role], own)).or_insert(stack);
        }
    }
    let stacks: Vec<&Passing> = apart.into_values().collect();
    let mut all: Vec<(ReachOf, &Passing)> = Vec::new();
    let reach = in_order(&stacks, threads, |stack| {
        let inputs = Inputs::of(&with_choices(plan, roles, &stack.chosen));
        suffices(
            &inputs,
            &found.slots,
            &found.margins[stack.margins],
            &counts,
        )
    });
    for (stack, reaches) in stacks.iter().zip(reach) {
        let device = &roles[role].choices[stack.chosen[role].map_or(0, usize::from)];
        match all.iter_mut().find(|(row, _)| row.device == device.name) {
            Some((row, _)) if row.reaches.usual >= reaches.usual => {}
            Some((row, of)) => (row.reaches, *of) = (reaches, stack),
            None => all.push((
                ReachOf {
                    device: device.name.clone(),
                    usable_length_mm: device.device.usable_length_mm,
                    reaches,
                },
                stack,
            )),
        }
    }
    all.sort_by(|a, b| {
        let length = a.0.usable_length_mm.total_cmp(&b.0.usable_length_mm);
        length.then_with(|| a.0.device.cmp(&b.0.device))
    });
    let (longest, of) = all.last()?;
    let needed_mm = needed_mm(plan, roles, found, of, &counts)
        .map(|longer_mm| longest.usable_length_mm + longer_mm);
    let all: Vec<ReachOf> = all.into_iter().map(|(row, _)| row).collect();
    Some(Shortest {
        role: roles[role].name.clone(),
        wished: WISHED_SHARE,
        found: all
            .iter()
            .find(|row| row.reaches.usual >= WISHED_SHARE)
            .cloned(),
        needed_mm,
        all,
    })
}

/// By how much a stack's guide would have to be longer (negative: may be shorter), mm.
fn needed_mm(
    plan: &Plan,
    roles: &[Role],
    found: &Found,
    stack: &Passing,
    counts: &dyn Fn(&Slot) -> bool,
) -> Option<f64> {
    let inputs = Inputs::of(&with_choices(plan, roles, &stack.chosen));
    let share = |longer_mm: f64| {
        let margins: Vec<f64> = found.margins[stack.margins]
            .iter()
            .map(|mm| mm + longer_mm)
            .collect();
        let near = near(&inputs, &found.slots, &margins, counts);
        let near: Vec<(f64, &Form)> = near.iter().map(|(_, mm, form)| (*mm, *form)).collect();
        1.0 - inputs.law(&near).usual()
    };
    let (mut short_mm, mut enough_mm) = (-SOUGHT_MM, SOUGHT_MM);
    if share(enough_mm) < WISHED_SHARE || share(short_mm) >= WISHED_SHARE {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle_mm = f64::midpoint(short_mm, enough_mm);
        match share(middle_mm) >= WISHED_SHARE {
            true => enough_mm = middle_mm,
            false => short_mm = middle_mm,
        }
    }
    Some(enough_mm)
}
