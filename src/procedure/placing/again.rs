//! A move followed once more, with other materials and the same lengths fed: how far its forces reach.

use super::placer::{Asked, DepthTarget, EndForces, Motion, Shape, StackPlacement};
use super::posed::Posed;
use super::rods::Rods;
use crate::mechanics::{Failure, MechanicsError, StackState};
use crate::procedure::script::Plan;
use std::sync::Arc;

/// Most work of one solve at an end, in factorised unknowns: at first four times what a usual move takes, and where that
/// was not enough and a nearer start is found, four times that. Usual values are allowed six times as much again.
const FIRST_WORK: u64 = 800_000;
const MOST_WORK: u64 = 3_200_000;

/// Forces of a move that was laid before, with other materials; every device is fed as far as it was then, since
/// that is what the hand does. `before`: the shape that the move began from. None where it was not laid as rods, or
/// where nothing was moved.
///
/// Shapes are sought from those that were found then, which are near: rods that are all stiffer by the same factor lie
/// the same. Where that is lost, they are sought by way of the `halfway` materials. Where a search begins is of no account to
/// what is found, so that moves may be followed in any order.
#[must_use]
pub fn follow_again(
    [halfway, plan]: [&Plan; 2],
    laid: &StackPlacement,
    before: Option<&Arc<Shape>>,
) -> Option<EndForces> {
    let asked = laid.asked.as_deref()?;
    if laid.loads.is_empty() {
        return None;
    }
    let from = Starts {
        shape: match asked.motion {
            Motion::Forward => laid.shape.clone(),
            Motion::Back => before.cloned(),
        },
        pulls: Vec::new(),
    };
    let move_again = |plan: &Plan, from: &Starts, most_work: u64| {
        Again::of(plan, (laid, asked), from, most_work)
    };
    let mut again = move_again(plan, &from, FIRST_WORK);
    if again.is_lost() {
        let nearer = move_again(halfway, &from, FIRST_WORK);
        if !nearer.is_lost() {
            again = move_again(plan, &nearer.found, MOST_WORK);
        }
    }
    Some(again.forces())
}

/// States that a move is sought from.
#[derive(Default)]
struct Starts {
    shape: Option<Arc<Shape>>,
    /// By pull, and by further member of a unit that is pushed, in their order.
    pulls: Vec<Option<Arc<StackState>>>,
}

/// A move followed again.
struct Again {
    placed: StackPlacement,
    /// Why it was lost, if it was.
    lost: Option<Failure>,
    /// What was found.
    found: Starts,
}

impl Again {
    fn of(
        plan: &Plan,
        (laid, asked): (&StackPlacement, &Asked),
        from: &Starts,
        most_work: u64,
    ) -> Self {
        let mut again = Self {
            placed: StackPlacement {
                loaded_tip_mm: laid.loaded_tip_mm.clone(),
                ..StackPlacement::default()
            },
            lost: None,
            found: Starts::default(),
        };
        let moved = again.moves(plan, (laid, asked), from, most_work);
        again.lost = moved
            .err()
            .map(|why| Failure::of(&why).unwrap_or(Failure::NonFinite));
        again
    }

    fn moves(
        &mut self,
        plan: &Plan,
        (laid, asked): (&StackPlacement, &Asked),
        from: &Starts,
        most_work: u64,
    ) -> Result<(), MechanicsError> {
        let state = &asked.state;
        let mut rods = Rods::at_an_end(plan, asked, from.shape.as_ref(), most_work)?;
        match asked.motion {
            Motion::Forward => {
                let fed = |(k, target): &(usize, DepthTarget)| {
                    let fed_mm = laid.fed_mm.get(*k).copied().flatten();
                    (*k, fed_mm.map_or(*target, DepthTarget::Fed))
                };
                let targets: Vec<_> = asked.targets.iter().map(fed).collect();
                let moved: Vec<usize> = targets.iter().map(|target| target.0).collect();
                let posed = Posed::new(plan, state, &targets, &moved)?;
                let lesions = rods.asked_by_lesions(plan, state, &asked.targets)?;
                let pushed = rods.push(plan, &posed, &lesions, &mut self.placed)?;
                self.found.shape = Some(Arc::new(Shape {
                    devices: posed.devices,
                    stack: Arc::new(pushed),
                }));
            }
            Motion::Back => {
                rods.pull(plan, state, &asked.targets, &mut self.placed)?;
                self.found.shape.clone_from(&from.shape);
            }
        }
        let pending = std::mem::take(&mut self.placed.pending).into_iter();
        for (i, mut pull) in pending.filter(|p| p.asks_forces()).enumerate() {
            if let Some(start) = from.pulls.get(i).cloned().flatten() {
                pull.from = Some(start);
            }
            let solved = pull.solve();
            let state = solved.found.as_ref().ok();
            self.found.pulls.push(state.cloned().map(Arc::new));
            (self.placed).take_over(solved, plan.rules.hub_force_limit_n);
        }
        Ok(())
    }

    fn failures(&self) -> impl Iterator<Item = Failure> {
        let pulls = self.placed.unsolved_pulls.iter();
        let pulls = pulls.map(|pull| pull.why.unwrap_or(Failure::NonFinite));
        let told = self.placed.failures.iter().copied();
        told.chain(self.lost).chain(pulls)
    }

    /// Whether no rest was found for something of it.
    fn is_lost(&self) -> bool {
        self.failures().any(|failure| failure.is_undecided())
    }

    fn forces(&self) -> EndForces {
        let loads = self.placed.loads.iter();
        EndForces {
            hub_n: loads
                .map(|load| (load.device, load.direction, load.hub_force_n))
                .collect(),
            failures: self.failures().filter(|f| !f.is_undecided()).collect(),
            unknown: self.is_lost(),
        }
    }
}
