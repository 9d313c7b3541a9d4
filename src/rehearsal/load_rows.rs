//! What moving and holding a device took, as plain data.

use super::outcome::{HeldRow, LoadRow, LossRow};
use crate::mechanics::{Level, LoadReport, Tightness};
use crate::procedure::{Plan, StackPlacement, State, StepEffect};
use crate::units::fixed;

impl LoadRow {
    /// Whether the force at the hub is told as a number: it is larger than what forces are known to here.
    #[must_use]
    pub fn is_told(&self) -> bool {
        self.hub_force_n.abs() > self.within_n
    }

    /// Force at the hub in figures, N, with its least and most where they are known; `sign` is -1 where a pull is to be
    /// told as one.
    #[must_use]
    pub fn hub_in_figures(&self, sign: f64) -> String {
        if !self.is_told() {
            return format!("below {}", fixed(self.within_n.max(0.01), 2));
        }
        let ends = [self.hub_force_least_n, self.hub_force_most_n];
        in_figures(sign, self.hub_force_n, ends)
    }

    /// Force that the hand feels in figures, N, likewise.
    #[must_use]
    pub fn hand_in_figures(&self, sign: f64) -> String {
        let ends = [self.hand_force_least_n, self.hand_force_most_n];
        in_figures(sign, self.hand_force_n, ends)
    }
}

fn in_figures(sign: f64, usual_n: f64, ends: [Option<f64>; 2]) -> String {
    let usual = fixed(sign * usual_n, 2);
    match range_in_figures(sign, ends) {
        Some(range) => format!("{usual} ({range})"),
        None => usual,
    }
}

/// Least and most of a force in figures, N; none where neither is known.
#[must_use]
pub fn range_in_figures(sign: f64, ends: [Option<f64>; 2]) -> Option<String> {
    let told = |n: f64| fixed(sign * n, 2);
    match ends {
        [Some(least_n), Some(most_n)] if sign < 0.0 => {
            Some(format!("{} to {}", told(most_n), told(least_n)))
        }
        [Some(least_n), Some(most_n)] => Some(format!("{} to {}", told(least_n), told(most_n))),
        [Some(least_n), None] => Some(format!("at least {}", told(least_n))),
        [None, Some(most_n)] => Some(format!("up to {}", told(most_n))),
        [None, None] => None,
    }
}

/// Most places told where force is lost.
const LOSSES_TOLD: usize = 3;

/// Shares are told of hub forces so many times as large as what they are known to.
const KNOWN: f64 = 2.0;

/// What moving a device took, from the state after a step and what it did, with the valves as tight as it has them.
pub(super) fn load_row(
    plan: &Plan,
    (state, effect, tightness): (&State, &StepEffect, Tightness),
    k: usize,
    placed: &StackPlacement,
) -> Option<LoadRow> {
    let load = placed.loads.iter().find(|l| l.device == k)?;
    let known = load.hub_force_n > KNOWN * placed.within_n;
    let losses = load.losses.iter().take(LOSSES_TOLD);
    let [hub_force_least_n, hub_force_most_n] = hub_range_n(placed, load);
    let moved: Vec<usize> = effect.moves.iter().map(|m| m.device).collect();
    let valves_n = |level| {
        let grip = plan.materials.at(level).valves;
        state.valves_hold_n(plan, k, &moved, tightness, &grip)
    };
    Some(LoadRow {
        direction: load.direction,
        hub_force_n: load.hub_force_n,
        hub_force_least_n,
        hub_force_most_n,
        hand_force_n: load.hub_force_n + valves_n(Level::Usual),
        hand_force_least_n: hub_force_least_n.map(|n| n + valves_n(Level::Least)),
        hand_force_most_n: hub_force_most_n.map(|n| n + valves_n(Level::Most)),
        within_n: placed.within_n,
        tip_force_n: load.tip_force_n,
        // more at the tip than at the hub comes from the device's own bend, not from the hand
        efficiency: load.efficiency.filter(|e| known && *e <= 1.0),
        share_lost: load.share_lost.filter(|share| known && *share <= 1.0),
        lost: losses
            .map(|l| LossRow {
                station_mm: l.station_mm,
                at: plan.place_in_words(l.station_mm),
                lost_n: l.lost_n,
                on: l
                    .other
                    .map_or_else(|| "vessel".into(), |j| plan.devices[j].name.clone()),
            })
            .collect(),
        slack_mm: placed.slack_mm.filter(|_| placed.loads[0].device == k),
        largest_wall_force_n_per_mm: load.largest_wall_force_n_per_mm,
        largest_wall_force_at: load
            .largest_wall_force_at_mm
            .map(|s| plan.place_in_words(s)),
        buckled_mm: load.buckling.as_ref().map(|b| b.length_mm),
    })
}

/// Least and most that the force at a hub may be, N: usual materials, and both ends of what is known of them, where rods
/// came to rest. A force need not rise with friction and stiffness, so each end is the least and most of all.
fn hub_range_n(placed: &StackPlacement, load: &LoadReport) -> [Option<f64>; 2] {
    let Some(ends) = &placed.at_ends else {
        return [None; 2];
    };
    let found = ends
        .each_ref()
        .map(|end| end.hub_force_n(load.device, load.direction));
    let all = || found.iter().flatten().copied().chain([load.hub_force_n]);
    let (least_n, most_n) = (
        all().fold(f64::INFINITY, f64::min),
        all().fold(f64::NEG_INFINITY, f64::max),
    );
    [found[0].map(|_| least_n), found[1].map(|_| most_n)]
}

/// What holding a device took while another one moved.
pub(super) fn held_row(before: &State, k: usize, placed: &StackPlacement) -> Option<HeldRow> {
    let held = placed
        .loads
        .iter()
        .flat_map(|l| &l.held)
        .find(|h| h.device == k)?;
    let loaded_mm = placed.loaded_tip_mm.get(k).copied().flatten();
    Some(HeldRow {
        hub_reaction_n: held.hub_reaction_n,
        hub_range_n: held.hub_range_n,
        drag_n: held.drag_n,
        fall_back_mm: before.in_place[k]
            .zip(loaded_mm)
            .map_or(0.0, |(at, loaded_mm)| at.tip_mm - loaded_mm),
    })
}
