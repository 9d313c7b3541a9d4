//! The stack as elastic rods: every device its own rod in the lumen it lies in.

use super::pending::{Asks, FrictionTable, Pending};
use super::placer::{Asked, DepthTarget, Motion, Placer, Shape, StackPlacement, on_centre_line};
use super::posed::{Posed, far_enough_in};
use super::retriever_hold::retriever_holds_n;
use super::squeezed::{SHUT_MM, lesion_forces, lesion_passages};
use crate::geometry::{Station, Track};
use crate::mechanics::{
    Direction, Failure, Flag, ForceAt, LoadSettings, MaterialValues, MechanicsError, Moving,
    Settings, StackProblem, StackSolver, StackState, TubeStation,
};
use crate::procedure::script::Plan;
use crate::procedure::state::State;
use crate::units::Allowed;
use std::sync::Arc;

/// Newton steps after which a shape is given up: ten times what most take.
const MOST_STEPS: usize = 200;
/// Largest cells of a rehearsal: length, mm, turning, rad, and change of the lumen as a share. Against cells of
/// 1 mm, which are two and a half times as many and take as many times as long, lengths of the default
/// script differ by 0.5 mm and forces at the hub by 8 mN (median); friction leaves more open
/// ([`KNOWN_TO_FACTOR`](crate::mechanics::KNOWN_TO_FACTOR)).
const CELL_MM: f64 = 4.0;
const CELL_RAD: f64 = 0.2;
const CELL_RADIUS: f64 = 0.2;

/// Lays the stack by the equilibrium of elastic rods, with friction where something moves.
#[derive(Debug, Clone)]
pub struct Rods {
    settings: Settings,
    load_settings: LoadSettings,
    solver: StackSolver,
    /// The plan that all below is kept for.
    of: Option<Arc<Kept>>,
    tube: Arc<[TubeStation]>,
    /// Residual lumens the tube was made for.
    narrowed_to_mm: Vec<f64>,
    last: Option<Arc<Shape>>,
    /// Share of what lesions ask that is put on.
    share: f64,
}

/// What of a plan tubes and shapes depend on.
#[derive(Debug, Clone, PartialEq)]
struct Kept {
    track: Track,
    devices: Vec<crate::procedure::script::StackDevice>,
    hub_standoff_mm: f64,
    values: MaterialValues,
}

impl Kept {
    fn is_of(&self, plan: &Plan) -> bool {
        self.track == plan.track
            && self.devices == plan.devices
            && self.values == plan.values
            && self
                .hub_standoff_mm
                .total_cmp(&plan.hub_standoff_mm)
                .is_eq()
    }
}

impl Default for Rods {
    fn default() -> Self {
        let mut settings = Settings::default();
        settings.most_newton_steps = MOST_STEPS;
        Self::new(settings, LoadSettings::rehearsal())
    }
}

/// Hub force at which a move counts as locked up, in multiples of what the scene allows: far enough above
/// that a move fails by the scene's limit first.
const LOCK_UP_LIMITS: f64 = 10.0;

impl Rods {
    /// With these settings.
    #[must_use]
    pub fn new(settings: Settings, load_settings: LoadSettings) -> Self {
        Self {
            settings,
            load_settings,
            solver: StackSolver::new(settings, load_settings),
            of: None,
            tube: Arc::new([]),
            narrowed_to_mm: Vec::new(),
            last: None,
            share: 1.0,
        }
    }

    /// Ready to follow a move again, with a shape to start from and at most so much work a solve.
    pub(super) fn at_an_end(
        plan: &Plan,
        asked: &Asked,
        shape: Option<&Arc<Shape>>,
        most_work: u64,
    ) -> Result<Self, MechanicsError> {
        let mut rods = Self::default();
        rods.load_settings.most_factorised_unknowns = most_work;
        rods = Self::new(rods.settings, rods.load_settings);
        rods.narrow(plan, &asked.state)?;
        rods.last = shape.cloned();
        rods.share = asked.share;
        Ok(rods)
    }

    /// The route with its lesions as they are now.
    fn narrow(&mut self, plan: &Plan, state: &State) -> Result<(), MechanicsError> {
        if self.of.as_ref().is_none_or(|of| !of.is_of(plan)) {
            // another vessel or another stack: nothing that was found holds for it
            let share = self.share;
            *self = Self::new(self.settings, self.load_settings);
            self.share = share;
            self.of = Some(Arc::new(Kept {
                track: plan.track.clone(),
                devices: plan.devices.clone(),
                hub_standoff_mm: plan.hub_standoff_mm,
                values: plan.values,
            }));
        }
        self.load_settings.lock_up_n = LOCK_UP_LIMITS * plan.rules.hub_force_limit_n;
        self.solver.lock_up_at(self.load_settings.lock_up_n);
        if !self.tube.is_empty() && self.narrowed_to_mm == state.residual_mm {
            return Ok(());
        }
        let mut track = plan.track.clone();
        for (lesion, residual_mm) in state.residual_mm.iter().enumerate() {
            // a residual is finite and >= 0 by construction, so this is refused for nobody
            track
                .set_residual(lesion, *residual_mm)
                .map_err(|_| MechanicsError::OutOfRange {
                    what: format!("residual lumen of {}", plan.track.lesions[lesion].name),
                    found: *residual_mm,
                    needed: Allowed::NOT_NEGATIVE,
                })?;
        }
        // the same ones whatever is left of the lesions: loads are carried over station by station
        let needed = needed(&plan.track.stations);
        let open = |i: &usize| {
            let mut station = TubeStation::from(&track.stations[*i]);
            station.radius_mm = station.radius_mm.max(SHUT_MM);
            station
        };
        self.tube = needed.iter().map(open).collect();
        self.narrowed_to_mm.clone_from(&state.residual_mm);
        Ok(())
    }

    /// One solve: targets for those that have one, fed lengths for the others.
    fn solve(
        &mut self,
        posed: &Posed<'_>,
        moving: Option<Moving>,
        resistance: &[ForceAt],
    ) -> Result<StackState, MechanicsError> {
        let from = self.from(&posed.devices);
        let friction = |k, other| posed.friction(k, other);
        let mut problem = StackProblem::new(&self.tube, &posed.stack)
            .with_containments(&posed.holds)
            .with_friction(&friction)
            .with_resistance(resistance);
        problem.moving = moving;
        self.solver.solve(&problem, from.as_deref())
    }
}

/// Which stations of a route rods need: as far apart as lengths, bends and lumen allow. In the aorta rods
/// bend gently, and a station every millimetre there costs as much as in the head.
fn needed(stations: &[Station]) -> Vec<usize> {
    let too_far = |from: &Station, to: &Station| {
        to.s_mm - from.s_mm > CELL_MM
            || to.turning_rad - from.turning_rad > CELL_RAD
            || (to.radius_mm - from.radius_mm).abs() > CELL_RADIUS * from.radius_mm
    };
    let mut kept: Vec<usize> = Vec::with_capacity(stations.len());
    for i in 0..stations.len() {
        let skipped = match (kept.last(), stations.get(i + 1)) {
            (Some(last), Some(next)) => !too_far(&stations[*last], next),
            _ => false,
        };
        if !skipped {
            kept.push(i);
        }
    }
    kept
}

impl Placer for Rods {
    /// As rods; where those come to no rest, along the centre line, with the reason
    /// ([`StackPlacement::unsolved`]).
    fn place(
        &mut self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        motion: Motion,
    ) -> Result<StackPlacement, MechanicsError> {
        let placed = self.place_rods(plan, state, targets, motion);
        let share = self.share;
        let asked = || {
            Some(Arc::new(Asked {
                state: state.clone(),
                targets: targets.to_vec(),
                motion,
                share,
            }))
        };
        match placed {
            Err(why) => {
                let devices = far_enough_in(plan, state, targets);
                let plan_index = |place: usize| devices.get(place).copied().unwrap_or(place);
                match Failure::of(&why) {
                    None => Err(why),
                    Some(failure) => Ok(StackPlacement {
                        asked: asked(),
                        unsolved: Some(failure.renumbered(plan_index)),
                        ..on_centre_line_beside_rods(plan, state, targets)
                    }),
                }
            }
            Ok(placed) => Ok(StackPlacement {
                asked: asked(),
                ..placed
            }),
        }
    }

    fn place_by_share(
        &mut self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        motion: Motion,
        share: f64,
    ) -> Result<StackPlacement, MechanicsError> {
        self.share = share;
        let placed = self.place(plan, state, targets, motion);
        self.share = 1.0;
        placed
    }
}

/// Where the tip of a device that moves is to be, mm: one that is fed goes on by what it is fed.
fn aimed_at_mm(state: &State, device: usize, target: DepthTarget) -> f64 {
    match (target, state.in_place[device]) {
        (DepthTarget::Tip(tip_mm), _) => tip_mm,
        (DepthTarget::Fed(fed_mm), Some(at)) => at.tip_mm + fed_mm - at.fed_mm,
        (DepthTarget::Fed(fed_mm), None) => fed_mm,
    }
}

/// Lengths ruled along the centre line where others are laid as rods: what moves is taken to cut as much
/// off the centre line as it did before, or as what lies furthest in does.
fn on_centre_line_beside_rods(
    plan: &Plan,
    state: &State,
    targets: &[(usize, DepthTarget)],
) -> StackPlacement {
    let mut placed = on_centre_line(plan, state, targets);
    let cut = |k: usize| {
        let at = state.in_place[k].filter(|at| at.tip_mm > 0.0)?;
        Some((at.tip_mm, at.fed_mm - at.tip_mm))
    };
    let furthest = (0..plan.devices.len())
        .filter_map(cut)
        .max_by(|a, b| a.0.total_cmp(&b.0));
    for (k, target) in targets {
        let Some((_, more_mm)) = cut(*k).or(furthest) else {
            continue;
        };
        match target {
            DepthTarget::Tip(tip_mm) => placed.fed_mm[*k] = Some(tip_mm + more_mm),
            DepthTarget::Fed(fed_mm) => placed.tip_mm[*k] = Some(fed_mm - more_mm),
        }
    }
    placed.loaded_tip_mm.clone_from(&placed.tip_mm);
    placed
}

impl Rods {
    fn place_rods(
        &mut self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        motion: Motion,
    ) -> Result<StackPlacement, MechanicsError> {
        self.narrow(plan, state)?;
        let moved: Vec<usize> = targets.iter().map(|w| w.0).collect();
        let mut placed = on_centre_line(plan, state, targets);
        match motion {
            Motion::Forward => {
                let posed = Posed::new(plan, state, targets, &moved)?;
                if posed.devices.is_empty() {
                    return Ok(placed);
                }
                let asked = self.asked_by_lesions(plan, state, targets)?;
                let at_rest = self.push(plan, &posed, &asked, &mut placed)?;
                self.take(plan, state, posed, at_rest, &mut placed);
                placed.loaded_tip_mm.clone_from(&placed.tip_mm);
            }
            Motion::Back => {
                self.pull(plan, state, targets, &mut placed)?;
                let posed = Posed::new(plan, state, targets, &moved)?;
                if posed.devices.is_empty() {
                    // the last one is out: nothing is left to come to rest
                    return Ok(placed);
                }
                let at_rest = self.solve(&posed, None, &[])?;
                self.take(plan, state, posed, at_rest, &mut placed);
            }
        }
        Ok(placed)
    }
}

impl Rods {
    /// The shapes at rest, without friction, with every tip where the state has it; none where no
    /// device is in far enough to bend.
    ///
    /// # Errors
    /// [`MechanicsError`] where no equilibrium was found.
    pub fn at_rest(
        &mut self,
        plan: &Plan,
        state: &State,
    ) -> Result<Option<Arc<Shape>>, MechanicsError> {
        self.narrow(plan, state)?;
        let tips =
            (0..plan.devices.len()).filter_map(|k| Some((k, DepthTarget::Tip(state.tip_mm(k)?))));
        let posed = Posed::new(plan, state, &tips.collect::<Vec<_>>(), &[])?;
        if posed.devices.is_empty() {
            return Ok(None);
        }
        let stack = self.solve(&posed, None, &[])?;
        let shape = Arc::new(Shape {
            devices: posed.devices,
            stack: Arc::new(stack),
        });
        self.last = Some(Arc::clone(&shape));
        Ok(Some(shape))
    }

    /// The state in which the first device that moves is being pushed, and what that takes.
    pub(super) fn push(
        &mut self,
        plan: &Plan,
        posed: &Posed<'_>,
        asked: &[Arc<[ForceAt]>],
        placed: &mut StackPlacement,
    ) -> Result<StackState, MechanicsError> {
        let Some(device) = posed.moved.first().and_then(|m| posed.place_of(*m)) else {
            return self.solve(posed, None, &[]);
        };
        let pushed = self.solve(
            posed,
            Some(Moving {
                device,
                direction: Direction::Push,
                tip_resistance_n: 0.0,
            }),
            &asked[0],
        )?;
        // the length it would have at the same tip if it had been pulled there
        placed.pending.push(Pending {
            stack: posed.with_tip(device, pushed.devices[device].tip_mm).into(),
            ..self.pending(
                posed,
                device,
                Some(Arc::new(pushed.turned())),
                Asks::Slack {
                    pushed_mm: pushed.devices[device].inserted_mm,
                },
            )
        });
        placed.record(&posed.devices, &pushed, plan.rules.hub_force_limit_n);
        // what else is pushed with it feels its own share of the wall
        for (other, asked) in posed.moved.iter().zip(asked).skip(1) {
            let Some(other) = posed.place_of(*other) else {
                continue;
            };
            let from = Some(Arc::new(pushed.clone()));
            placed.pending.push(Pending {
                direction: Direction::Push,
                resistance: Arc::clone(asked),
                ..self.pending(posed, other, from, Asks::Forces)
            });
        }
        Ok(pushed)
    }

    /// What it takes to start the pull of every device that moves, from where it is.
    pub(super) fn pull(
        &self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        placed: &mut StackPlacement,
    ) -> Result<(), MechanicsError> {
        let moved: Vec<usize> = targets.iter().map(|w| w.0).collect();
        let posed = Posed::new(plan, state, &[], &moved)?;
        let from = self.from(&posed.devices);
        for (k, target) in targets {
            let Some(device) = posed.place_of(*k) else {
                continue;
            };
            let tip_resistance_n = if state.open[*k] {
                let holds = retriever_holds_n(plan, state, *k)?;
                holds.iter().sum()
            } else {
                0.0
            };
            placed.pending.push(Pending {
                tip_resistance_n,
                resistance: self.asked_on_way_back(plan, state, *k, *target)?,
                ..self.pending(&posed, device, from.clone(), Asks::Forces)
            });
        }
        Ok(())
    }

    /// By target: what lesions ask of a device that is pushed there, with its tip where it is to go.
    pub(super) fn asked_by_lesions(
        &self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
    ) -> Result<Vec<Arc<[ForceAt]>>, MechanicsError> {
        let asked = |(k, target): &(usize, DepthTarget)| {
            let aimed_mm = aimed_at_mm(state, *k, *target);
            Ok(self.shared(&lesion_forces(plan, state, *k, aimed_mm)?))
        };
        targets.iter().map(asked).collect()
    }

    /// What lesions ask of a device that is drawn back, at the worst place of its way.
    fn asked_on_way_back(
        &self,
        plan: &Plan,
        state: &State,
        device: usize,
        target: DepthTarget,
    ) -> Result<Arc<[ForceAt]>, MechanicsError> {
        let Some(tip_mm) = state.tip_mm(device) else {
            return Ok(Arc::new([]));
        };
        let way_mm = [tip_mm, aimed_at_mm(state, device, target).min(tip_mm)];
        let passages = lesion_passages(plan, state, device, way_mm)?;
        let at: Vec<ForceAt> = passages
            .iter()
            .flat_map(|p| p.by_place())
            .copied()
            .collect();
        Ok(self.shared(&at))
    }

    /// The share of forces that is put on.
    fn shared(&self, at: &[ForceAt]) -> Arc<[ForceAt]> {
        let share = self.share;
        let part = |f: &ForceAt| ForceAt {
            force_n: share * f.force_n,
            ..*f
        };
        at.iter().map(part).collect()
    }

    /// A pull of one device of a stack, to be solved beside the script.
    fn pending(
        &self,
        posed: &Posed<'_>,
        device: usize,
        from: Option<Arc<StackState>>,
        asks: Asks,
    ) -> Pending {
        let friction = FrictionTable::new(posed.devices.len(), |k, other| posed.friction(k, other));
        Pending {
            settings: self.settings,
            load_settings: self.load_settings,
            tube: Arc::clone(&self.tube),
            stack: posed.stack.as_slice().into(),
            holds: posed.holds.as_slice().into(),
            friction: Arc::new(friction),
            device,
            direction: Direction::Pull,
            tip_resistance_n: 0.0,
            resistance: Arc::new([]),
            from,
            asks,
            devices: posed.devices.as_slice().into(),
            shortened_mm: posed.shortened_mm.as_slice().into(),
        }
    }

    /// The state that a stack of these devices starts from: the last one, as one of theirs.
    fn from(&self, devices: &[usize]) -> Option<Arc<StackState>> {
        let last = self.last.as_ref()?;
        if last.devices == devices {
            return Some(Arc::clone(&last.stack));
        }
        let place = |k: &usize| last.devices.iter().position(|l| l == k);
        let places: Vec<_> = devices.iter().map(place).collect();
        Some(Arc::new(last.stack.rearranged(&places)))
    }

    /// Takes the tips and fed lengths over from the rods.
    fn take(
        &mut self,
        plan: &Plan,
        state: &State,
        posed: Posed<'_>,
        stack: StackState,
        placed: &mut StackPlacement,
    ) {
        for (place, k) in posed.devices.iter().enumerate() {
            let found = &stack.devices[place];
            let shortened_mm = posed.shortened_mm[place];
            placed.tip_mm[*k] = Some(found.tip_mm + shortened_mm);
            placed.fed_mm[*k] = Some(if posed.moved.contains(k) {
                plan.fed_mm(found.inserted_mm + shortened_mm)
            } else {
                // what is held keeps its length to the last digit
                state.in_place[*k].map_or(0.0, |p| p.fed_mm)
            });
        }
        placed.several_equilibria = stack
            .solution
            .as_ref()
            .is_some_and(|s| s.flags.contains(&Flag::SeveralEquilibria));
        let shape = Arc::new(Shape {
            devices: posed.devices,
            stack: Arc::new(stack),
        });
        placed.shape = Some(Arc::clone(&shape));
        self.last = Some(shape);
    }
}
