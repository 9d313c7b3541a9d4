//! How devices lie: from fed lengths to tips and back.
//!
//! The script moves tips to places; what the operator controls is the length fed past the access.
//! A [`Placer`] turns one into the other for the whole stack at once. [`CentreLine`] does it along the
//! centre line, [`Rods`](super::Rods) by the equilibrium of elastic rods.

use super::pending::Pending;
use crate::mechanics::{Direction, Failure, LoadReport, MechanicsError, StackState};
use crate::procedure::script::Plan;
use crate::procedure::state::State;
use std::sync::Arc;

/// How deep a device that moves is to go.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum DepthTarget {
    /// Its (folded) tip at this station, mm.
    Tip(f64),
    /// This much of it past the access hub, mm.
    Fed(f64),
}

/// Which way the devices with a target move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Motion {
    /// Away from the access: pushed.
    Forward,
    /// Towards it: pulled.
    Back,
}

/// How the stack lies. Lists run over the devices of the plan; none where it is not in the body.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct StackPlacement {
    /// Station of the folded tip at rest, mm.
    pub tip_mm: Vec<Option<f64>>,
    /// Length past the access hub, mm.
    pub fed_mm: Vec<Option<f64>>,
    /// The same while the devices with a target move under load.
    pub loaded_tip_mm: Vec<Option<f64>>,
    /// Forces of the move, one report for each device that moves, indices as in the plan.
    pub loads: Vec<LoadReport>,
    /// Fed length that the first of them takes between pulling and pushing before its tip
    /// follows, mm.
    pub slack_mm: Option<f64>,
    /// Pulls still to be solved; none once [`StackPlacement::take_over`] has taken them over.
    pub pending: Vec<Pending>,
    /// Devices whose pull came to no rest, and why: lengths stand, but there are no forces or no slack.
    pub unsolved_pulls: Vec<UnsolvedPull>,
    /// What of the move fails, indices as in the plan.
    pub failures: Vec<Failure>,
    /// To how much the forces are known, N: loads and shape agree to within this. Zero: to the last digit
    /// asked for.
    pub within_n: f64,
    /// Why rods found no rest here, where they were asked for, indices as in the plan: lengths are then
    /// ruled along the centre line, and there are no forces.
    pub unsolved: Option<Failure>,
    /// Other equilibria exist near this one.
    pub several_equilibria: bool,
    /// The shapes at rest, and which device of the plan each of its devices is.
    pub shape: Option<Arc<Shape>>,
    /// What was asked for, where rods were laid: whoever follows the move again asks for the same.
    pub asked: Option<Arc<Asked>>,
    /// Forces of the same move with materials at the least and at the most that is known of them, where that was
    /// followed.
    pub at_ends: Option<[EndForces; 2]>,
}

/// What a placer was asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// The state before the move.
    pub(super) state: State,
    /// Which devices were to go where.
    pub(super) targets: Vec<(usize, DepthTarget)>,
    /// Which way.
    pub(super) motion: Motion,
    /// The share of what lesions ask for that was put on.
    pub(super) share: f64,
}

/// Forces of a move with materials at one end of what is known of them.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct EndForces {
    /// By device that moves, where rods came to rest: device, way, and force at the hub, N.
    pub hub_n: Vec<(usize, Direction, f64)>,
    /// What of the move fails, indices as in the plan.
    pub failures: Vec<Failure>,
    /// Whether the move could not be followed: nothing is known of it at this end.
    pub unknown: bool,
}

impl EndForces {
    /// Force at the hub of a device that moves so, N; none where it is not known.
    #[must_use]
    pub fn hub_force_n(&self, device: usize, direction: Direction) -> Option<f64> {
        let mut all = self.hub_n.iter();
        all.find(|found| found.0 == device && found.1 == direction)
            .map(|found| found.2)
    }
}

/// A pull that came to no rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnsolvedPull {
    /// Index of the device in the plan.
    pub device: usize,
    /// Why, indices as in the plan; none where the solver refused the problem.
    pub why: Option<Failure>,
    /// Only the device's slack was asked for: nothing of the verdict rests on it.
    pub asks_slack: bool,
}

/// The shapes of a laid stack.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// Index in the plan of each device of `stack`.
    pub devices: Vec<usize>,
    /// The stack.
    pub stack: Arc<StackState>,
}

/// Turns targets into where everything lies.
pub trait Placer {
    /// Where the stack lies with these targets for the devices that move; all others keep their fed
    /// length.
    ///
    /// # Errors
    /// [`MechanicsError`] where no equilibrium was found.
    fn place(
        &mut self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        motion: Motion,
    ) -> Result<StackPlacement, MechanicsError>;

    /// The same with a share (0 to 1) of what lesions ask of the devices that move: how much of it arrives there. A way
    /// without forces knows no shares.
    ///
    /// # Errors
    /// As [`Placer::place`].
    fn place_by_share(
        &mut self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        motion: Motion,
        _share: f64,
    ) -> Result<StackPlacement, MechanicsError> {
        self.place(plan, state, targets, motion)
    }
}

/// Lengths ruled along the centre line: no cut corners, no forces, at once.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct CentreLine;

impl Placer for CentreLine {
    fn place(
        &mut self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        _motion: Motion,
    ) -> Result<StackPlacement, MechanicsError> {
        Ok(on_centre_line(plan, state, targets))
    }
}

/// Where everything is now, with the targets ruled along the centre line.
pub(super) fn on_centre_line(
    plan: &Plan,
    state: &State,
    targets: &[(usize, DepthTarget)],
) -> StackPlacement {
    let mut placed = StackPlacement {
        tip_mm: state.in_place.iter().map(|p| p.map(|p| p.tip_mm)).collect(),
        fed_mm: state.in_place.iter().map(|p| p.map(|p| p.fed_mm)).collect(),
        ..StackPlacement::default()
    };
    placed.loaded_tip_mm.clone_from(&placed.tip_mm);
    for (device, target) in targets {
        let (tip_mm, fed_mm) = match target {
            DepthTarget::Tip(tip_mm) => (*tip_mm, plan.fed_mm(*tip_mm)),
            DepthTarget::Fed(fed_mm) => (plan.inserted_mm(*fed_mm), *fed_mm),
        };
        placed.tip_mm[*device] = Some(tip_mm);
        placed.fed_mm[*device] = Some(fed_mm);
    }
    placed
}
