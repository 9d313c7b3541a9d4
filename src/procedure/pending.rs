//! Forces that nothing later in the script waits for: found beside it.

use super::lay::{Laid, Unfelt};
use crate::mechanics::{
    Containment, Direction, Failure, Flag, LoadReport, LoadSettings, MechanicsError, Moving,
    Settings, StackDevice, StackProblem, StackSolver, StackState, TubeStation,
};
use std::sync::Arc;

/// A pull that is still to be solved, with all that it takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Pending {
    pub(super) settings: Settings,
    pub(super) load_settings: LoadSettings,
    pub(super) tube: Arc<[TubeStation]>,
    pub(super) stack: Arc<[StackDevice]>,
    pub(super) holds: Arc<[Containment]>,
    pub(super) friction: Arc<FrictionTable>,
    /// What is pulled, by its place in the stack.
    pub(super) device: usize,
    /// What holds its tip back besides walls, N.
    pub(super) tip_resistance_n: f64,
    /// The state to start from.
    pub(super) from: Option<Arc<StackState>>,
    pub(super) asks: Asks,
    /// Index in the plan of each device of the stack.
    pub(super) devices: Arc<[usize]>,
    /// By device of the stack: how much shorter it is than folded, mm.
    pub(super) shortened_mm: Arc<[f64]>,
}

/// What a pull is to tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Asks {
    /// How much shorter the device is than pushed to the same tip, where it has this length, mm.
    Slack { pushed_mm: f64 },
    /// What it takes to start, and which held tips give way.
    Forces,
}

/// Coefficients of friction within a stack.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct FrictionTable {
    devices: usize,
    /// By device: against the vessel, then against every other one.
    coefficients: Vec<f64>,
}

impl FrictionTable {
    pub(super) fn new(devices: usize, of: impl Fn(usize, Option<usize>) -> f64) -> Self {
        let others = || std::iter::once(None).chain((0..devices).map(Some));
        Self {
            devices,
            coefficients: (0..devices)
                .flat_map(|k| others().map(move |other| (k, other)))
                .map(|(k, other)| of(k, other))
                .collect(),
        }
    }

    pub(super) fn of(&self, device: usize, other: Option<usize>) -> f64 {
        let column = other.map_or(0, |j| j + 1);
        self.coefficients[device * (self.devices + 1) + column]
    }
}

/// What came of a pull.
#[derive(Debug)]
pub struct Felt {
    pending: Pending,
    found: Result<StackState, MechanicsError>,
}

impl Pending {
    /// Solves it; each with a solver of its own, so that the outcome depends on nothing else.
    #[must_use]
    pub fn solve(self) -> Felt {
        let mut solver = StackSolver::new(self.settings, self.load_settings);
        let problem = StackProblem {
            tube: &self.tube,
            devices: &self.stack,
            containments: &self.holds,
            friction: &|device, other| self.friction.of(device, other),
            moving: Some(Moving {
                device: self.device,
                direction: Direction::Pull,
                tip_resistance_n: self.tip_resistance_n,
            }),
        };
        let found = solver.solve(&problem, self.from.as_deref());
        Felt {
            pending: self,
            found,
        }
    }
}

impl Laid {
    /// Takes over what came of a pull; `hub_limit_n` is what the scene allows at a hub.
    pub fn feel(&mut self, felt: Felt, hub_limit_n: f64) {
        let Felt { pending, found } = felt;
        let pulled = match found {
            Ok(pulled) => pulled,
            Err(why) => {
                let plan_index =
                    |place: usize| pending.devices.get(place).copied().unwrap_or(place);
                self.unfelt.push(Unfelt {
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
            tip_resistance_n: 0.0,
            from: None,
            asks: Asks::Forces,
            devices: Arc::new([3]),
            shortened_mm: Arc::new([0.0]),
        };
        let mut laid = Laid {
            tip_mm: vec![None, None, None, Some(12.0)],
            loaded_tip_mm: vec![None, None, None, Some(12.0)],
            ..Laid::default()
        };
        laid.feel(pending.solve(), 5.0);
        assert_eq!(laid.unfelt.len(), 1, "{:?}", laid.unfelt);
        assert_eq!(laid.unfelt[0].device, 3, "the plan's index");
        assert!(!laid.unfelt[0].asks_slack, "whether it comes was asked for");
        assert!(
            laid.loads.is_empty() && laid.slack_mm.is_none() && laid.unsolved.is_none(),
            "no force, and the step is not ruled: {laid:?}"
        );
        assert_eq!(laid.loaded_tip_mm[3], Some(12.0), "its tip stands");
    }

    #[test]
    fn exact_table_of_friction() {
        let of = |k: usize, other: Option<usize>| (10 * k + other.map_or(0, |j| j + 1)) as f64;
        let table = FrictionTable::new(3, of);
        for k in 0..3 {
            for other in std::iter::once(None).chain((0..3).map(Some)) {
                let (found, given) = (table.of(k, other), of(k, other));
                assert!((found - given).abs() < 1e-15, "{k} on {other:?}: {found}");
            }
        }
    }
}
