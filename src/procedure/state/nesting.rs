//! Who meets whom in whose lumen, at a given state.

use super::between_steps::State;
use super::moves::Move;
use crate::device::{Fit, FitRules, coaxial, side_by_side};
use crate::procedure::script::Plan;

/// Devices that meet in a lumen, and how they fit there.
#[derive(Debug, Clone, PartialEq)]
pub struct Meeting {
    /// Indices of the devices inside: one, or several side by side.
    pub inside: Vec<usize>,
    /// Index of the device around them.
    pub around: usize,
    /// How they fit.
    pub fit: Fit,
}

/// Positions between the two ends of a move at which the fit is looked at as well: a nose wider
/// than its shaft passes every place on its way. Lumens of the trade change over centimetres, so a
/// dozen positions over a metre and a half do not step over one.
const POSITIONS_ON_THE_WAY: u32 = 12;

/// Every meeting of the state, with those met on the way by the tips that moved to get there.
#[must_use]
pub fn meetings(plan: &Plan, state: &State, moves: &[Move], rules: &FitRules) -> Vec<Meeting> {
    let mut found = Vec::new();
    gather(plan, state, rules, &mut found);
    for i in 0..POSITIONS_ON_THE_WAY {
        let share = f64::from(i) / f64::from(POSITIONS_ON_THE_WAY);
        let mut on_the_way = state.clone();
        for m in moves {
            if let Some(at) = &mut on_the_way.in_place[m.device] {
                at.tip_mm = m.from_mm + share * (m.to_mm - m.from_mm);
            }
        }
        if moves.iter().any(|m| state.in_place[m.device].is_some()) {
            gather(plan, &on_the_way, rules, &mut found);
        }
    }
    found
}

fn gather(plan: &Plan, state: &State, rules: &FitRules, found: &mut Vec<Meeting>) {
    for around in 0..plan.devices.len() {
        let Some(tip_mm) = state.tip_mm(around) else {
            continue;
        };
        let outer = &plan.devices[around].device;
        let rear_mm = tip_mm - outer.usable_length_mm;
        let breaks = breakpoints(plan, state, rear_mm, tip_mm);
        let mut alone: Vec<usize> = Vec::new();
        for cell in breaks.windows(2) {
            let middle_mm = f64::midpoint(cell[0], cell[1]);
            let inside: Vec<usize> = (0..plan.devices.len())
                .filter(|k| state.tip_mm(*k).is_some_and(|t| t > middle_mm))
                .filter(|k| state.container_at(plan, *k, middle_mm) == Some(around))
                .collect();
            for k in &inside {
                if !alone.contains(k) {
                    alone.push(*k);
                }
            }
            if inside.len() > 1 {
                let devices: Vec<_> = inside
                    .iter()
                    .filter_map(|k| Some((&plan.devices[*k].device, state.tip_mm(*k)?)))
                    .collect();
                if let Some(fit) = side_by_side(&devices, outer, tip_mm, cell[0], cell[1], rules) {
                    keep(found, inside, around, fit);
                }
            }
        }
        for k in alone {
            let Some(inner_tip_mm) = state.tip_mm(k) else {
                continue;
            };
            if let Some(fit) = coaxial(&plan.devices[k].device, inner_tip_mm, outer, tip_mm, rules)
            {
                keep(found, vec![k], around, fit);
            }
        }
    }
}

/// Stations between which nobody's container changes.
fn breakpoints(plan: &Plan, state: &State, from_mm: f64, to_mm: f64) -> Vec<f64> {
    let tips = (0..plan.devices.len()).filter_map(|k| Some((k, state.tip_mm(k)?)));
    let mut breaks: Vec<f64> = tips
        .flat_map(|(k, tip_mm)| {
            let port = plan.devices[k].device.port_from_tip_mm();
            [Some(tip_mm), port.map(|p| tip_mm - p)]
        })
        .flatten()
        .filter(|s| *s > from_mm && *s < to_mm)
        .chain([from_mm, to_mm])
        .collect();
    breaks.sort_by(f64::total_cmp);
    breaks.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    breaks
}

/// Keeps the tightest fit of each meeting.
fn keep(found: &mut Vec<Meeting>, inside: Vec<usize>, around: usize, fit: Fit) {
    match found
        .iter_mut()
        .find(|m| m.around == around && m.inside == inside)
    {
        Some(known) if known.fit.clearance_mm <= fit.clearance_mm => {}
        Some(known) => known.fit = fit,
        None => found.push(Meeting {
            inside,
            around,
            fit,
        }),
    }
}
