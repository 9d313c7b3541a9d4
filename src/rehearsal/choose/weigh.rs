//! What stacks that come to the end are worth: how often all goes through, what is to spare, what is left in the neck, how long
//! it takes.

use super::super::compare::let_go;
use super::super::how_sure::{Form, Inputs, MarginKind, device_spread_mm};
use super::super::run::lesion_rows;
use super::super::walk::walk;
use super::ChooseError;
use super::roles::{Role, with_choices};
use super::search::{Chosen, Found, Passing, Slot};
use crate::device::Payload;
use crate::procedure::{Clock, Durations, Plan, ledger};
use crate::threads::in_order;
use std::collections::BTreeMap;

/// Margins by slot, mm, to the last bit.
pub(super) type Near = Vec<(usize, u64)>;

/// By role, what the spread of its lengths hangs on: that of its own length (mm, to the last bit), that it has no hub, that it
/// carries a stent.
type Spreads = Vec<(u64, bool, bool)>;

/// What one stack that comes to the end is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Worth {
    /// Share in which nothing is short.
    pub(super) share: f64,
    /// Least of all lengths left outside, mm, and the slot of it.
    pub(super) spare: Option<(f64, usize)>,
    /// NASCET percent of the tightest lesion that is left.
    pub(super) neck_left_percent: Option<f64>,
    /// Times that access is let go of with work left.
    pub(super) let_go: usize,
    /// From puncture to reperfusion where everything takes its mean time, s.
    pub(super) reperfusion_s: Option<f64>,
}

/// Margins that may run short, mm, with what they hang on: those that the chance is about.
pub(super) fn near<'a>(
    inputs: &Inputs,
    slots: &'a [Slot],
    margins: &[f64],
    counts: &dyn Fn(&Slot) -> bool,
) -> Vec<(usize, f64, &'a Form)> {
    let all = slots.iter().zip(margins).enumerate();
    all.filter(|(_, (slot, mm))| counts(slot) && mm.is_finite() && inputs.counts(**mm, &slot.form))
        .map(|(i, (slot, mm))| (i, *mm, &slot.form))
        .collect()
}

/// What of its devices the spread of a stack's lengths hangs on, by role.
fn spread_of(roles: &[Role], chosen: &Chosen) -> Spreads {
    let of = |(role, choice): (&Role, &Option<u16>)| {
        let device = &role.choices[choice.map_or(0, usize::from)].device;
        (
            device_spread_mm(device.usable_length_mm).to_bits(),
            device.hub_length_mm <= 0.0,
            matches!(device.payload, Some(Payload::Stent(_))),
        )
    };
    roles.iter().zip(chosen).map(of).collect()
}

/// Every stack that came to the end.
pub(super) fn weigh(
    plan: &Plan,
    durations: &Durations,
    roles: &[Role],
    found: &Found,
    threads: usize,
) -> Result<Vec<Worth>, ChooseError> {
    let shares = shares(plan, roles, found, threads);
    let times = times(plan, durations, roles, found, threads)?;
    let neck: Vec<Option<f64>> = found
        .ends
        .iter()
        .map(|end| {
            let left = lesion_rows(plan, end).into_iter();
            left.map(|row| row.nascet_after_percent)
                .max_by(f64::total_cmp)
        })
        .collect();
    let worth = |(stack, share): (&Passing, f64)| {
        let (reperfusion_s, let_go) = times[&stack.time];
        Worth {
            share,
            spare: spare(&found.slots, &found.margins[stack.margins]),
            neck_left_percent: neck[stack.end],
            let_go,
            reperfusion_s,
        }
    };
    Ok(found.passing.iter().zip(shares).map(worth).collect())
}

/// The least of lengths left outside.
fn spare(slots: &[Slot], margins: &[f64]) -> Option<(f64, usize)> {
    let outside = |slot: &Slot| {
        matches!(
            slot.kind,
            MarginKind::Reach | MarginKind::Hold | MarginKind::Exchange
        )
    };
    let all = slots.iter().zip(margins).enumerate();
    all.filter(|(_, (slot, mm))| outside(slot) && mm.is_finite())
        .map(|(i, (_, mm))| (*mm, i))
        .min_by(|a, b| a.0.total_cmp(&b.0))
}

/// The share of each stack; stacks with the same margins that may run short have the same.
fn shares(plan: &Plan, roles: &[Role], found: &Found, threads: usize) -> Vec<f64> {
    let mut numbers: BTreeMap<(usize, Spreads), usize> = BTreeMap::new();
    let mut first: Vec<&Passing> = Vec::new();
    let mut number_of = Vec::with_capacity(found.passing.len());
    for stack in &found.passing {
        let next = first.len();
        let key = (stack.margins, spread_of(roles, &stack.chosen));
        let number = *numbers.entry(key).or_insert(next);
        if number == next {
            first.push(stack);
        }
        number_of.push(number);
    }
    // of these many differ only in margins that never run short
    let near_of = in_order(&first, threads, |stack| {
        let inputs = Inputs::of(&with_choices(plan, roles, &stack.chosen));
        let margins = &found.margins[stack.margins];
        let near = near(&inputs, &found.slots, margins, &|_| true);
        let key: Near = near.iter().map(|(i, mm, _)| (*i, mm.to_bits())).collect();
        (key, spread_of(roles, &stack.chosen))
    });
    let mut apart: BTreeMap<&(Near, Spreads), usize> = BTreeMap::new();
    let mut solved: Vec<&Passing> = Vec::new();
    let mut solved_of = Vec::with_capacity(first.len());
    for (stack, key) in first.iter().zip(&near_of) {
        let next = solved.len();
        let number = *apart.entry(key).or_insert(next);
        if number == next {
            solved.push(stack);
        }
        solved_of.push(number);
    }
    let shares = in_order(&solved, threads, |stack| {
        let inputs = Inputs::of(&with_choices(plan, roles, &stack.chosen));
        let near = near(
            &inputs,
            &found.slots,
            &found.margins[stack.margins],
            &|_| true,
        );
        let margins: Vec<(f64, &Form)> = near.iter().map(|(_, mm, form)| (*mm, *form)).collect();
        1.0 - inputs.law(&margins).usual()
    });
    number_of
        .into_iter()
        .map(|number| shares[solved_of[number]])
        .collect()
}

/// By number of times: when the brain is reperfused (s), and how often access is let go of.
fn times(
    plan: &Plan,
    durations: &Durations,
    roles: &[Role],
    found: &Found,
    threads: usize,
) -> Result<BTreeMap<usize, (Option<f64>, usize)>, ChooseError> {
    let mut first: BTreeMap<usize, &Chosen> = BTreeMap::new();
    for stack in &found.passing {
        first.entry(stack.time).or_insert(&stack.chosen);
    }
    let first: Vec<(usize, &Chosen)> = first.into_iter().collect();
    let told = in_order(&first, threads, |(number, chosen)| {
        let plan = with_choices(plan, roles, chosen);
        let passed = walk(&plan);
        let clock = Clock::new(&plan, durations, &[], &passed)?;
        let reperfusion_s = clock.times(&clock.expected()).reperfusion_s;
        let let_go = let_go(&ledger(&plan, &passed)).len();
        Ok((*number, (reperfusion_s, let_go)))
    });
    told.into_iter().collect()
}
