//! The stack as elastic rods: every device its own rod in the lumen it lies in.

use super::lay::{Laid, Lay, Motion, Shape, Wish, ruled};
use super::pending::{Asks, FrictionTable, Pending};
use super::{Plan, State, retriever_holds_n};
use crate::device::{Device, LumenKind, Payload, Tip};
use crate::geometry::{Station, Track, Vector};
use crate::mechanics::{
    AxialLoad, Containment, Direction, Drive, End, Failure, Flag, LoadSettings, MechanicsError,
    Moving, NaturalBend, Profile, Rod, Roll, Settings, Sliding, StackDevice, StackProblem,
    StackSolver, StackState, StartSupport, Surface, TubeStation, friction,
};
use std::sync::Arc;

/// Radius that a lumen which is shut is taken to have, mm: rods need one, and what is pushed
/// through bears on the wall all round.
const SHUT_MM: f64 = 0.05;
/// Newton steps after which a shape is given up: ten times what most take.
const MOST_STEPS: usize = 200;
/// Largest cells of a rehearsal: length, mm, turning, rad, and change of the lumen as a share. Against cells of
/// 1 mm, which are two and a half times as many and take as many times as long, lengths of the default
/// script differ by 0.5 mm and forces at the hub by 8 mN (median); friction leaves more open
/// ([`KNOWN_TO_FACTOR`](crate::mechanics::KNOWN_TO_FACTOR)).
const CELL_MM: f64 = 4.0;
const CELL_RAD: f64 = 0.2;
const CELL_RADIUS: f64 = 0.2;
/// Gap between an open retriever and what it lies in, mm of radius: it lies on the wall all round,
/// and is free to find its own path within the thickness of its struts.
const OPEN_GAP_MM: f64 = 0.05;
/// Length over which an open retriever narrows towards what is not open yet, mm: a strut or two.
const OPENS_OVER_MM: f64 = 3.0;
/// Spacing at which an open retriever follows the lumen it opens in, mm.
const OPEN_STEP_MM: f64 = 1.0;

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
}

/// What of a plan tubes and shapes depend on.
#[derive(Debug, Clone, PartialEq)]
struct Kept {
    track: Track,
    devices: Vec<super::StackDevice>,
    hub_standoff_mm: f64,
}

impl Kept {
    fn is_of(&self, plan: &Plan) -> bool {
        self.track == plan.track
            && self.devices == plan.devices
            && self
                .hub_standoff_mm
                .total_cmp(&plan.hub_standoff_mm)
                .is_eq()
    }
}

impl Default for Rods {
    fn default() -> Self {
        let settings = Settings {
            most_newton_steps: MOST_STEPS,
            ..Settings::default()
        };
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
        }
    }

    /// The route with its lesions as they are now.
    fn narrow(&mut self, plan: &Plan, state: &State) -> Result<(), MechanicsError> {
        if self.of.as_ref().is_none_or(|of| !of.is_of(plan)) {
            // another vessel or another stack: nothing that was found holds for it
            *self = Self::new(self.settings, self.load_settings);
            self.of = Some(Arc::new(Kept {
                track: plan.track.clone(),
                devices: plan.devices.clone(),
                hub_standoff_mm: plan.hub_standoff_mm,
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
                    needed: "finite and >= 0",
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

    /// One solve: wishes for those that have one, fed lengths for the others.
    fn solve(
        &mut self,
        posed: &Posed<'_>,
        moving: Option<Moving>,
    ) -> Result<StackState, MechanicsError> {
        let from = self.from(&posed.devices);
        let problem = StackProblem {
            tube: &self.tube,
            devices: &posed.stack,
            containments: &posed.holds,
            friction: &|k, other| posed.friction(k, other),
            moving,
        };
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

impl Lay for Rods {
    /// As rods; where those come to no rest, along the centre line, with the reason
    /// ([`Laid::unsolved`]).
    fn lay(
        &mut self,
        plan: &Plan,
        state: &State,
        wishes: &[(usize, Wish)],
        motion: Motion,
    ) -> Result<Laid, MechanicsError> {
        match self.lay_rods(plan, state, wishes, motion) {
            Err(why) => {
                let devices = far_enough_in(plan, state, wishes);
                let plan_index = |place: usize| devices.get(place).copied().unwrap_or(place);
                match Failure::of(&why) {
                    None => Err(why),
                    Some(failure) => Ok(Laid {
                        unsolved: Some(failure.renumbered(plan_index)),
                        ..ruled_beside_rods(plan, state, wishes)
                    }),
                }
            }
            laid => laid,
        }
    }
}

/// Lengths ruled along the centre line where others are laid as rods: what moves is taken to cut as much
/// off the centre line as it did before, or as what lies furthest in does.
fn ruled_beside_rods(plan: &Plan, state: &State, wishes: &[(usize, Wish)]) -> Laid {
    let mut laid = ruled(plan, state, wishes);
    let cut = |k: usize| {
        let at = state.in_place[k].filter(|at| at.tip_mm > 0.0)?;
        Some((at.tip_mm, at.fed_mm - at.tip_mm))
    };
    let furthest = (0..plan.devices.len())
        .filter_map(cut)
        .max_by(|a, b| a.0.total_cmp(&b.0));
    for (k, wish) in wishes {
        let Some((_, more_mm)) = cut(*k).or(furthest) else {
            continue;
        };
        match wish {
            Wish::Tip(tip_mm) => laid.fed_mm[*k] = Some(tip_mm + more_mm),
            Wish::Fed(fed_mm) => laid.tip_mm[*k] = Some(fed_mm - more_mm),
        }
    }
    laid.loaded_tip_mm.clone_from(&laid.tip_mm);
    laid
}

impl Rods {
    fn lay_rods(
        &mut self,
        plan: &Plan,
        state: &State,
        wishes: &[(usize, Wish)],
        motion: Motion,
    ) -> Result<Laid, MechanicsError> {
        self.narrow(plan, state)?;
        let moved: Vec<usize> = wishes.iter().map(|w| w.0).collect();
        let mut laid = ruled(plan, state, wishes);
        match motion {
            Motion::Forward => {
                let posed = Posed::new(plan, state, wishes, &moved)?;
                if posed.devices.is_empty() {
                    return Ok(laid);
                }
                let at_rest = self.push(plan, &posed, &mut laid)?;
                self.take(plan, state, posed, at_rest, &mut laid);
                laid.loaded_tip_mm.clone_from(&laid.tip_mm);
            }
            Motion::Back => {
                self.pull(plan, state, &moved, &mut laid)?;
                let posed = Posed::new(plan, state, wishes, &moved)?;
                if posed.devices.is_empty() {
                    // the last one is out: nothing is left to come to rest
                    return Ok(laid);
                }
                let at_rest = self.solve(&posed, None)?;
                self.take(plan, state, posed, at_rest, &mut laid);
            }
        }
        Ok(laid)
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
        let tips = (0..plan.devices.len()).filter_map(|k| Some((k, Wish::Tip(state.tip_mm(k)?))));
        let posed = Posed::new(plan, state, &tips.collect::<Vec<_>>(), &[])?;
        if posed.devices.is_empty() {
            return Ok(None);
        }
        let stack = self.solve(&posed, None)?;
        let shape = Arc::new(Shape {
            devices: posed.devices,
            stack: Arc::new(stack),
        });
        self.last = Some(Arc::clone(&shape));
        Ok(Some(shape))
    }

    /// The state in which the first device that moves is being pushed, and what that takes.
    fn push(
        &mut self,
        plan: &Plan,
        posed: &Posed<'_>,
        laid: &mut Laid,
    ) -> Result<StackState, MechanicsError> {
        let Some(device) = posed.moved.first().and_then(|m| posed.place_of(*m)) else {
            return self.solve(posed, None);
        };
        let pushed = self.solve(
            posed,
            Some(Moving {
                device,
                direction: Direction::Push,
                tip_resistance_n: 0.0,
            }),
        )?;
        // the length it would have at the same tip if it had been pulled there
        laid.pending.push(Pending {
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
        laid.record(&posed.devices, &pushed, plan.rules.hub_force_limit_n);
        Ok(pushed)
    }

    /// What it takes to start the pull of every device that moves, from where it is.
    fn pull(
        &self,
        plan: &Plan,
        state: &State,
        moved: &[usize],
        laid: &mut Laid,
    ) -> Result<(), MechanicsError> {
        let posed = Posed::new(plan, state, &[], moved)?;
        let from = self.from(&posed.devices);
        for k in moved {
            let Some(device) = posed.place_of(*k) else {
                continue;
            };
            let tip_resistance_n = if state.open[*k] {
                let holds = retriever_holds_n(plan, state, *k, &Sliding::default())?;
                holds.iter().sum()
            } else {
                0.0
            };
            laid.pending.push(Pending {
                tip_resistance_n,
                ..self.pending(&posed, device, from.clone(), Asks::Forces)
            });
        }
        Ok(())
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
            tip_resistance_n: 0.0,
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
        laid: &mut Laid,
    ) {
        for (place, k) in posed.devices.iter().enumerate() {
            let found = &stack.devices[place];
            let shortened_mm = posed.shortened_mm[place];
            laid.tip_mm[*k] = Some(found.tip_mm + shortened_mm);
            laid.fed_mm[*k] = Some(if posed.moved.contains(k) {
                plan.fed_mm(found.inserted_mm + shortened_mm)
            } else {
                // what is held keeps its length to the last digit
                state.in_place[*k].map_or(0.0, |p| p.fed_mm)
            });
        }
        laid.several_equilibria = stack
            .solution
            .as_ref()
            .is_some_and(|s| s.flags.contains(&Flag::SeveralEquilibria));
        let shape = Arc::new(Shape {
            devices: posed.devices,
            stack: Arc::new(stack),
        });
        laid.shape = Some(Arc::clone(&shape));
        self.last = Some(shape);
    }
}

/// Devices far enough in to bend on the route: what is out, or on its way out, does not.
fn far_enough_in(plan: &Plan, state: &State, wishes: &[(usize, Wish)]) -> Vec<usize> {
    let wish_of = |k: usize| wishes.iter().find(|w| w.0 == k).map(|w| w.1);
    let is_in = |k: &usize| {
        state.in_place[*k].is_some_and(|at| match wish_of(*k) {
            Some(Wish::Tip(tip_mm)) => tip_mm > 0.0,
            Some(Wish::Fed(fed_mm)) => plan.inserted_mm(fed_mm) > 0.0,
            None => at.tip_mm > 0.0,
        })
    };
    (0..plan.devices.len()).filter(is_in).collect()
}

/// A stack ready for the solver.
struct Posed<'a> {
    plan: &'a Plan,
    /// Index in the plan of each device of the stack.
    devices: Vec<usize>,
    stack: Vec<StackDevice>,
    holds: Vec<Containment>,
    /// By device of the stack: how much shorter it is than folded, mm.
    shortened_mm: Vec<f64>,
    /// Devices of the plan that move together.
    moved: Vec<usize>,
}

impl<'a> Posed<'a> {
    fn new(
        plan: &'a Plan,
        state: &State,
        wishes: &[(usize, Wish)],
        moved: &[usize],
    ) -> Result<Self, MechanicsError> {
        let wish_of = |k: usize| wishes.iter().find(|w| w.0 == k).map(|w| w.1);
        let devices = far_enough_in(plan, state, wishes);
        let mut stack = Vec::new();
        let mut shortened = Vec::new();
        for (place, k) in devices.iter().enumerate() {
            let at_mm = match (wish_of(*k), state.in_place[*k]) {
                (Some(Wish::Tip(tip_mm)), _) => tip_mm,
                (Some(Wish::Fed(fed_mm)), _) => plan.inserted_mm(fed_mm),
                (None, at) => at.map_or(0.0, |p| p.tip_mm),
            };
            let shortened_mm = shortened_mm(plan, state, *k);
            let outermost = place == 0 || state.hubs_passed(*k).is_empty();
            stack.push(StackDevice {
                rod: rod(plan, state, *k, at_mm, outermost)?,
                drive: match (wish_of(*k), state.in_place[*k]) {
                    (Some(Wish::Tip(tip_mm)), _) => Drive::Tip(tip_mm - shortened_mm),
                    (Some(Wish::Fed(fed_mm)), _) => {
                        Drive::Inserted(plan.inserted_mm(fed_mm) - shortened_mm)
                    }
                    (None, at) => Drive::Inserted(
                        plan.inserted_mm(at.map_or(0.0, |p| p.fed_mm)) - shortened_mm,
                    ),
                },
            });
            shortened.push(shortened_mm);
        }
        let holds = holds(plan, state, &devices);
        Ok(Self {
            plan,
            devices,
            stack,
            holds,
            shortened_mm: shortened,
            moved: moved.to_vec(),
        })
    }

    fn place_of(&self, device: usize) -> Option<usize> {
        self.devices.iter().position(|k| *k == device)
    }

    /// The same stack with one tip given.
    fn with_tip(&self, device: usize, tip_mm: f64) -> Vec<StackDevice> {
        let mut stack = self.stack.clone();
        stack[device].drive = Drive::Tip(tip_mm);
        stack
    }

    /// Friction of one device of the stack on the vessel or on another one. Devices that move
    /// together do not slide on each other.
    fn friction(&self, device: usize, other: Option<usize>) -> f64 {
        let own = &self.plan.devices[self.devices[device]].device;
        let Some(other) = other else {
            return friction(own.outer_surface, Surface::Vessel).coefficient;
        };
        let (k, j) = (self.devices[device], self.devices[other]);
        if self.moved.contains(&k) && self.moved.contains(&j) {
            return 0.0;
        }
        let partner = &self.plan.devices[j].device;
        let held_by = |inner: usize, outer: usize| {
            self.holds
                .iter()
                .any(|h| h.inner == inner && h.outer == outer)
        };
        let lumen = |d: &Device| d.inner_surface.unwrap_or(d.outer_surface);
        let (a, b) = if held_by(device, other) {
            (own.outer_surface, lumen(partner))
        } else if held_by(other, device) {
            (lumen(own), partner.outer_surface)
        } else {
            (own.outer_surface, partner.outer_surface)
        };
        friction(a, Surface::Device(b)).coefficient
    }
}

/// Who lies in whose lumen, and how far from its tip that lumen reaches.
fn holds(plan: &Plan, state: &State, devices: &[usize]) -> Vec<Containment> {
    let place = |k: usize| devices.iter().position(|d| *d == k);
    let mut holds = Vec::new();
    for (inner, k) in devices.iter().enumerate() {
        for outer in state.hubs_passed(*k).into_iter().filter_map(place) {
            holds.push(Containment::coaxial(inner, outer));
        }
        for rider in state.riders_of(*k) {
            let LumenKind::RapidExchange { port_from_tip } = plan.devices[rider].device.lumen
            else {
                continue;
            };
            if let Some(outer) = place(rider) {
                holds.push(Containment {
                    inner,
                    outer,
                    to_from_tip_mm: port_from_tip,
                });
            }
        }
    }
    holds
}

/// How much shorter an open retriever is than folded, mm.
fn shortened_mm(plan: &Plan, state: &State, k: usize) -> f64 {
    match &plan.devices[k].device.payload {
        Some(Payload::Retriever(r)) if state.open[k] => r.folded_length_mm - r.free_length_mm,
        _ => 0.0,
    }
}

/// A device as a rod whose folded tip stands about `tip_mm`.
fn rod(
    plan: &Plan,
    state: &State,
    k: usize,
    tip_mm: f64,
    outermost: bool,
) -> Result<Rod, MechanicsError> {
    let device = &plan.devices[k].device;
    let shortened_mm = shortened_mm(plan, state, k);
    let open = match &device.payload {
        Some(Payload::Retriever(r)) if state.open[k] => Some(*r),
        _ => None,
    };
    // an open retriever is its folded self drawn together in its working length
    let along = |from_tip_mm: f64| match open {
        Some(r) if from_tip_mm < r.folded_length_mm => {
            from_tip_mm * r.free_length_mm / r.folded_length_mm
        }
        _ => from_tip_mm - shortened_mm,
    };
    let knots = |value: &dyn Fn(&crate::device::Knot) -> Option<f64>| -> Vec<(f64, f64)> {
        let lines = device.profile.iter();
        lines
            .filter_map(|line| Some((along(line.from_tip_mm), value(line)?)))
            .collect()
    };
    let outer = match open {
        None => knots(&|line| Some(line.outer_mm)),
        Some(r) => {
            let mut outer = Vec::new();
            let far_mm = tip_mm - shortened_mm;
            let mut from_tip_mm = 0.0;
            while from_tip_mm < r.free_length_mm {
                let lumen_mm = [-OPENS_OVER_MM, 0.0, OPENS_OVER_MM]
                    .map(|aside_mm| lumen_around(plan, state, k, far_mm - from_tip_mm + aside_mm))
                    .into_iter()
                    .fold(f64::INFINITY, f64::min);
                let open_mm = (lumen_mm - 2.0 * OPEN_GAP_MM).min(r.free_diameter_mm);
                outer.push((from_tip_mm, open_mm.max(device.shaft_outer_mm())));
                from_tip_mm += OPEN_STEP_MM;
            }
            let shaft = knots(&|line| Some(line.outer_mm));
            outer.extend(shaft.into_iter().filter(|(a, _)| *a >= from_tip_mm));
            outer
        }
    };
    let inner = knots(&|line| line.inner_mm);
    let inner_mm = match inner.is_empty() {
        true => None,
        false => Some(Profile::new("inner_mm", &inner)?),
    };
    Ok(Rod {
        stiffness_n_mm2: Profile::new("stiffness_n_mm2", &knots(&|l| Some(l.stiffness_n_mm2)))?,
        outer_mm: Profile::new("outer_mm", &outer)?,
        inner_mm,
        natural: match device.tip {
            Tip::Straight => None,
            Tip::Curved { length, angle_deg } => Some(NaturalBend {
                length_mm: length,
                curvature_per_mm: angle_deg.to_radians() / length,
                roll: Roll::Free(0.0),
            }),
        },
        // the hub of the outermost one is held straight at the skin; what lies in it follows it
        start: if outermost {
            StartSupport::Clamped
        } else {
            StartSupport::Free
        },
        end: End::ExitPlane,
        load: AxialLoad::Frictionless(0.0),
        line_load_n_per_mm: Vector::zeros(),
        tip_force_n: Vector::zeros(),
        yields: open.is_some(),
        containers: Vec::new(),
    })
}

/// Lumen diameter of what a device lies in at a station, mm.
fn lumen_around(plan: &Plan, state: &State, k: usize, s_mm: f64) -> f64 {
    let around = state.container_at(plan, k, s_mm).and_then(|j| {
        let from_tip_mm = state.tip_mm(j)? - s_mm;
        plan.devices[j].device.section_at(from_tip_mm).inner_mm
    });
    around.unwrap_or_else(|| plan.track.healthy_diameter_at(s_mm))
}
