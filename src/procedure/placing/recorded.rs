//! What came of pulls, taken over into how the stack lies.

use super::pending::{Asks, SolvedPull};
use super::placer::{StackPlacement, UnsolvedPull};
use crate::mechanics::{Failure, Flag, LoadReport, StackState};

impl StackPlacement {
    /// Takes over what came of a pull; `hub_limit_n` is what the scene allows at a hub.
    pub fn take_over(&mut self, solved: SolvedPull, hub_limit_n: f64) {
        let SolvedPull { pending, found } = solved;
        let pulled = match found {
            Ok(pulled) => pulled,
            Err(why) => {
                let plan_index =
                    |place: usize| pending.devices.get(place).copied().unwrap_or(place);
                self.unsolved_pulls.push(UnsolvedPull {
                    device: plan_index(pending.device),
                    why: Failure::of(&why).map(|why| why.renumbered(plan_index)),
                    asks_slack: matches!(pending.asks, Asks::Slack { .. }),
                });
                return;
            }
        };
        match pending.asks {
            Asks::Slack { pushed_mm } => {
                self.slack_mm = Some(pushed_mm - pulled.devices[pending.device].inserted_mm);
            }
            Asks::Forces => {
                self.record(&pending.devices, &pulled, hub_limit_n);
                for (place, k) in pending.devices.iter().enumerate() {
                    let tip_mm = pulled.devices[place].tip_mm + pending.shortened_mm[place];
                    // the furthest fall-back of several members of a unit counts
                    let before = self.loaded_tip_mm[*k];
                    self.loaded_tip_mm[*k] = Some(before.map_or(tip_mm, |b| b.min(tip_mm)));
                }
            }
        }
    }

    /// Keeps the forces of a move, with the plan's indices: `devices` by place in the stack.
    pub(super) fn record(&mut self, devices: &[usize], state: &StackState, hub_limit_n: f64) {
        let plan_index = |place: usize| devices.get(place).copied().unwrap_or(place);
        for flag in state.solution.iter().flat_map(|s| &s.flags) {
            if let Flag::Unsettled { load_n } = flag {
                self.within_n = self.within_n.max(*load_n);
            }
        }
        if let Some(load) = &state.load {
            let mut load: LoadReport = load.clone();
            load.device = plan_index(load.device);
            for loss in &mut load.losses {
                loss.other = loss.other.map(plan_index);
            }
            for held in &mut load.held {
                held.device = plan_index(held.device);
            }
            if load.hub_force_n > hub_limit_n {
                self.failures.push(Failure::HubForce {
                    station_mm: load.losses.first().map_or(0.0, |l| l.station_mm),
                    hub_force_n: load.hub_force_n,
                    limit_n: hub_limit_n,
                });
            }
            self.loads.push(load);
        }
        for failure in &state.failures {
            self.failures.push(failure.renumbered(plan_index));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mechanics::{Direction, LoadSettings, Settings};
    use crate::procedure::placing::pending::{FrictionTable, Pending};
    use std::sync::Arc;

    #[test]
    fn exact_lengths_stand_where_a_pull_finds_no_rest() {
        // a tube without stations: no solver can do anything with it
        let pending = Pending {
            settings: Settings::default(),
            load_settings: LoadSettings::rehearsal(),
            tube: Arc::new([]),
            stack: Arc::new([]),
            holds: Arc::new([]),
            friction: Arc::new(FrictionTable::new(1, |_, _| 0.1)),
            device: 0,
            direction: Direction::Pull,
            tip_resistance_n: 0.0,
            resistance: Arc::new([]),
            from: None,
            asks: Asks::Forces,
            devices: Arc::new([3]),
            shortened_mm: Arc::new([0.0]),
        };
        let mut placed = StackPlacement {
            tip_mm: vec![None, None, None, Some(12.0)],
            loaded_tip_mm: vec![None, None, None, Some(12.0)],
            ..StackPlacement::default()
        };
        placed.take_over(pending.solve(), 5.0);
        assert_eq!(
            placed.unsolved_pulls.len(),
            1,
            "{:?}",
            placed.unsolved_pulls
        );
        assert_eq!(placed.unsolved_pulls[0].device, 3, "the plan's index");
        assert!(
            !placed.unsolved_pulls[0].asks_slack,
            "whether it comes was asked for"
        );
        assert!(
            placed.loads.is_empty() && placed.slack_mm.is_none() && placed.unsolved.is_none(),
            "no force, and the step is not ruled: {placed:?}"
        );
        assert_eq!(placed.loaded_tip_mm[3], Some(12.0), "its tip stands");
    }
}
