//! Forces that nothing later in the script waits for: found beside it.

use crate::mechanics::{
    Containment, Direction, ForceAt, LoadSettings, MechanicsError, Moving, Settings, StackDevice,
    StackProblem, StackSolver, StackState, TubeStation,
};
use std::sync::Arc;

/// A pull (or the push of a further member of a unit) that is still to be solved, with all that it takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Pending {
    pub(super) settings: Settings,
    pub(super) load_settings: LoadSettings,
    pub(super) tube: Arc<[TubeStation]>,
    pub(super) stack: Arc<[StackDevice]>,
    pub(super) holds: Arc<[Containment]>,
    pub(super) friction: Arc<FrictionTable>,
    /// What is moved, by its place in the stack.
    pub(super) device: usize,
    /// Pulled, or pushed with the unit that it is of.
    pub(super) direction: Direction,
    /// What holds its tip back besides walls, N.
    pub(super) tip_resistance_n: f64,
    /// What lesions ask of it, by place.
    pub(super) resistance: Arc<[ForceAt]>,
    /// The state to start from.
    pub(super) from: Option<Arc<StackState>>,
    pub(super) asks: Asks,
    /// Index in the plan of each device of the stack.
    pub(super) devices: Arc<[usize]>,
    /// By device of the stack: how much shorter it is than folded, mm.
    pub(super) shortened_mm: Arc<[f64]>,
}

/// What it is to tell.
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
pub struct SolvedPull {
    pub(super) pending: Pending,
    pub(super) found: Result<StackState, MechanicsError>,
}

impl Pending {
    /// Whether it is to tell forces, not only a slack.
    pub(super) fn asks_forces(&self) -> bool {
        matches!(self.asks, Asks::Forces)
    }

    /// Solves it; each with a solver of its own, so that the outcome depends on nothing else.
    #[must_use]
    pub fn solve(self) -> SolvedPull {
        let mut solver = StackSolver::new(self.settings, self.load_settings);
        let friction = |device, other| self.friction.of(device, other);
        let problem = StackProblem::new(&self.tube, &self.stack)
            .with_containments(&self.holds)
            .with_friction(&friction)
            .with_resistance(&self.resistance)
            .with_moving(Moving {
                device: self.device,
                direction: self.direction,
                tip_resistance_n: self.tip_resistance_n,
            });
        let found = solver.solve(&problem, self.from.as_deref());
        SolvedPull {
            pending: self,
            found,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
