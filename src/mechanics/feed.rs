//! Fed lengths in, tips out, with friction where one device moves.

use super::MechanicsError;
use super::load::{LoadReport, Posed};
use super::rub::Rubbing;
use super::scene::{AxialLoad, End, FEWEST_CELLS, Rod, Scene, TubeStation};
use super::settings::Settings;
use super::settle::Settle;
use super::solution::Solution;
use super::stack::{self, Arrangement, Drive, Held, Hold, StackDevice, span_of};
use super::tip::tip_load_n;
use serde::{Deserialize, Serialize};

/// Settings of [`StackSolver`], each with its default and its trade-off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct LoadSettings {
    /// Largest change of any load from one round to the next, N. Default 1e-6.
    pub force_tolerance_n: f64,
    /// Largest difference between a length fed and the length found, mm. Default 1e-7: a tenth of
    /// what a round trip from length to tip and back may lose.
    pub length_tolerance_mm: f64,
    /// Force out of balance of the last round, N. Default 1e-7: paths of soft rods move by
    /// 1e-6 mm for it.
    pub gradient_tolerance_n: f64,
    /// Most rounds between loads and shape. Default 60: a usual move takes 4 to 10, a rod near
    /// lock-up many more.
    pub most_rounds: usize,
    /// Force at the hub that counts as lock-up, N. Default 100: ten times what a hand pushes with
    /// (from memory: 5 to 10 N between two fingers).
    pub lock_up_n: f64,
    /// Largest mismatch between the loads and those that the shape calls for with which a state is
    /// reported, N, where several equilibria leave none in which both agree. Default 0.05: a tenth of
    /// the least forces that are judged; such a state carries a flag.
    pub most_unsettled_n: f64,
    /// Limit of the hub force, N, where the scene has one.
    pub hub_limit_n: Option<f64>,
}

impl Default for LoadSettings {
    fn default() -> Self {
        Self {
            force_tolerance_n: 1e-6,
            length_tolerance_mm: 1e-7,
            gradient_tolerance_n: 1e-7,
            most_unsettled_n: 0.05,
            most_rounds: 60,
            lock_up_n: 100.0,
            hub_limit_n: None,
        }
    }
}

/// Which way a device slides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Direction {
    /// Towards its tip.
    Push,
    /// Towards its hub.
    Pull,
}

impl Direction {
    /// How friction changes the load towards the hub.
    pub(crate) const fn sign(self) -> f64 {
        match self {
            Self::Push => -1.0,
            Self::Pull => 1.0,
        }
    }
}

/// The device that slides while the others are held at their hubs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moving {
    /// Its index.
    pub device: usize,
    /// Which way.
    pub direction: Direction,
    /// What holds its tip back besides walls (stenosis, clot, an open retriever), N, >= 0.
    pub tip_resistance_n: f64,
}

/// Why a move fails, with its place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Failure {
    /// No force at the hub moves it on: friction eats more than every addition.
    LockUp {
        /// Where most of the force is lost, arc length of the centre line, mm.
        station_mm: f64,
        /// Hub force reached before giving up, N.
        hub_force_n: f64,
    },
    /// The hub force is above the scene's limit.
    HubForce {
        /// Where most of the force is lost, mm.
        station_mm: f64,
        /// Hub force, N.
        hub_force_n: f64,
        /// The limit, N.
        limit_n: f64,
    },
    /// A device leaves the centre line's direction by more than the model allows: a loop or
    /// prolapse.
    Prolapse {
        /// The device.
        device: usize,
        /// Where, mm.
        station_mm: f64,
        /// Angle to the centre line, degrees.
        angle_deg: f64,
    },
}

/// One device of a solved stack.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DeviceState {
    /// Its rod in the solution; none where too little of it is in the tube to bend.
    pub rod: Option<usize>,
    /// Arc length of the centre line at its tip, mm.
    pub tip_mm: f64,
    /// Its own length from station 0 to its tip, mm.
    pub path_mm: f64,
    /// Length of the centre line from station 0 to its tip, mm: what a ruler on it says.
    pub centre_line_mm: f64,
    /// Load at its tip, N (negative: pressed back).
    pub tip_load_n: f64,
}

impl DeviceState {
    /// By how much a ruler on the centre line overrates the length needed, mm.
    #[must_use]
    pub fn ruler_error_mm(&self) -> f64 {
        self.centre_line_mm - self.path_mm
    }
}

/// A stack in equilibrium, and the neighbour to start the next one from.
#[derive(Debug, Clone, PartialEq)]
pub struct StackState {
    /// The devices, in the order given.
    pub devices: Vec<DeviceState>,
    /// Shapes, contacts, flags of the rods present; none where no device is in far enough.
    pub solution: Option<Solution>,
    /// Forces of the move, where something moves.
    pub load: Option<LoadReport>,
    /// Why it fails; empty if it does not.
    pub failures: Vec<Failure>,
    /// Rounds between loads, lengths and shape.
    pub rounds: usize,
    /// Newton steps over all rounds.
    pub newton_steps: usize,
    pub(crate) added_n: Vec<Vec<f64>>,
}

/// Coefficient of friction of the moving device on the vessel (none) or on another device.
pub type FrictionOf<'a> = &'a dyn Fn(usize, Option<usize>) -> f64;

/// A change of the loads above this share of the one before means that they swing to and fro.
const SWINGS: f64 = 0.7;
/// Below this share they settle fast enough to be taken over faster.
const SETTLES: f64 = 0.3;
/// Change of all lengths together from one round to the next that means another equilibrium, mm:
/// lengths follow loads by hundredths of a millimetre while a shape only gives.
const JUMP_MM: f64 = 0.5;
/// Jumps after which no equilibrium is taken to agree with its loads.
const MOST_JUMPS: u32 = 2;
/// How close to the lengths fed a state must come to be kept, mm.
const SHORT_OF_MM: f64 = 0.05;
/// Least share of a change taken over: smaller ones would need more rounds than are allowed.
const LEAST_SHARE: f64 = 0.05;

/// Solves stacks; keeps its memory from one to the next.
#[derive(Debug, Clone, Default)]
pub struct StackSolver {
    load_settings: LoadSettings,
    settle: Settle,
    arrangement: Arrangement,
    pub(crate) rubbing: Rubbing,
    pub(crate) rods: Vec<Rod>,
    pub(crate) present: Vec<usize>,
    holds: Vec<Held>,
    pub(crate) ends: Vec<f64>,
    through: Vec<bool>,
    bare: Vec<f64>,
    old: Vec<f64>,
    /// Share of each change of the loads that is taken over, 0 to 1.
    share: f64,
    /// Loads before the last change: at the tip, and added along the rod.
    loads_before: Vec<(f64, Vec<f64>)>,
}

impl StackSolver {
    /// With these settings.
    #[must_use]
    pub fn new(settings: Settings, load_settings: LoadSettings) -> Self {
        Self {
            load_settings,
            settle: Settle::new(settings),
            ..Self::default()
        }
    }

    /// Equilibrium of a stack whose fed lengths or tips are given.
    ///
    /// # Errors
    /// As [`Settle::settle`], and [`MechanicsError::OutOfRange`] where a fed length leads beyond
    /// the last station.
    pub fn solve(
        &mut self,
        tube: &[TubeStation],
        devices: &[StackDevice],
        holds: &[Hold],
        friction: FrictionOf<'_>,
        moving: Option<Moving>,
        from: Option<&StackState>,
    ) -> Result<StackState, MechanicsError> {
        stack::check(devices, holds)?;
        let from = from.filter(|f| f.devices.len() == devices.len());
        let (first, last) = span(tube)?;
        self.pose(tube, devices, holds, from);
        if self.present.is_empty() {
            return Ok(absent(devices, first));
        }
        let n = self.present.len();
        let wanted: Vec<Option<f64>> = self
            .present
            .iter()
            .map(|k| match devices[*k].drive {
                Drive::Fed(l) => Some(l),
                _ => None,
            })
            .collect();
        let mover = moving.and_then(|m| {
            let rod = self.present.iter().position(|k| *k == m.device)?;
            Some((rod, m))
        });
        let mut solution = self.before(devices.len(), from);
        self.share = 1.0;
        let mut rounds = 0;
        let mut newton_steps = 0;
        let mut change_n = f64::INFINITY;
        if let Some(before) = &solution {
            // the shape before tells roughly what rubs where
            self.arrangement
                .set(tube, &self.ends, &self.through, &self.holds, &mut self.rods);
            change_n = self.update_loads(tube, before, friction, mover);
        }
        let mut off_mm = f64::INFINITY;
        let mut old_off: Vec<Option<f64>> = vec![None; n];
        let mut gain = vec![1.0_f64; n];
        let mut locked = None;
        let mut jumps = 0;
        let mut kept: Option<(Solution, f64, Vec<f64>)> = None;
        loop {
            self.arrangement
                .set(tube, &self.ends, &self.through, &self.holds, &mut self.rods);
            let near = (0.01 * change_n).min(0.1 * off_mm);
            let sharp = self.load_settings.gradient_tolerance_n;
            self.settle.ask_for(near.clamp(sharp, 1e-4_f64.max(sharp)));
            let scene = Scene {
                tube,
                rods: &self.rods,
                beside: &self.arrangement.beside,
            };
            let settled = match &solution {
                Some(before) => self.settle.settle_from(&scene, before),
                None => self.settle.settle(&scene),
            };
            let found = match settled {
                Ok(found) => found,
                // a load taken over too far can leave no shape near by: go back half the way
                Err(MechanicsError::NotConverged { .. })
                    if solution.is_some() && self.share > LEAST_SHARE =>
                {
                    self.share *= 0.5;
                    self.step_back();
                    rounds += 1;
                    continue;
                }
                Err(other) => return Err(other),
            };
            newton_steps += found.steps;
            rounds += 1;
            // lengths
            off_mm = 0.0;
            for k in 0..n {
                let Some(wanted) = wanted[k] else { continue };
                let off = wanted - found.rods[k].path_length_mm;
                if let Some(old) = old_off[k] {
                    // the step taken was gain * old and moved the path by old - off
                    let moved: f64 = old - off;
                    let slope = moved / (gain[k] * old);
                    if slope.is_finite() && old.abs() > 1e-9 {
                        gain[k] = (1.0 / slope).clamp(0.5, 2.0);
                    }
                }
                old_off[k] = Some(off);
                off_mm = f64::max(off_mm, off.abs());
            }
            let before_n = change_n;
            change_n = self.update_loads(tube, &found, friction, mover);
            let long_mm: f64 = found.rods.iter().map(|r| r.path_length_mm).sum();
            let jumped = solution.as_ref().is_some_and(|b: &Solution| {
                let was_mm: f64 = b.rods.iter().map(|r| r.path_length_mm).sum();
                rounds > 2 && off_mm < JUMP_MM && (long_mm - was_mm).abs() > 3.0 * JUMP_MM
            });
            jumps += u32::from(jumped);
            let nearer = kept
                .as_ref()
                .is_none_or(|(_, change, _)| change_n < *change);
            if off_mm < SHORT_OF_MM && nearer && jumps == 0 {
                kept = Some((found.clone(), change_n, self.ends.clone()));
            }
            // loads that swing to and fro are taken over in part only
            if change_n > SWINGS * before_n {
                self.share = (0.5 * self.share).max(LEAST_SHARE);
            } else if change_n < SETTLES * before_n {
                self.share = (1.5 * self.share).min(1.0);
            }
            let residual = found.residual_n;
            let hub = mover.map_or(0.0, |(rod, _)| found.rods[rod].load_n[0].abs());
            let done = change_n < self.load_settings.force_tolerance_n
                && off_mm < self.load_settings.length_tolerance_mm
                && residual <= sharp;
            if hub > self.load_settings.lock_up_n || !change_n.is_finite() {
                locked = Some(hub);
            }
            if done || locked.is_some() {
                solution = Some(found);
                break;
            }
            if jumps >= MOST_JUMPS || rounds >= self.load_settings.most_rounds {
                // Loads and shape chase each other from one equilibrium to another: there is none
                // in which both agree. The one nearest to where it started is reported, with how
                // far its loads are from those that its shape calls for.
                let Some((near, load_n, ends)) =
                    kept.filter(|k| k.1 < self.load_settings.most_unsettled_n)
                else {
                    return Err(MechanicsError::LoadsNotSettled {
                        rounds,
                        change_n,
                        off_mm,
                    });
                };
                self.ends = ends;
                self.update_loads(tube, &near, friction, mover);
                let mut near = near;
                near.flags.push(super::Flag::SeveralEquilibria);
                near.flags.push(super::Flag::Unsettled { load_n });
                solution = Some(near);
                break;
            }
            for k in 0..n {
                if let Some(off) = old_off[k].filter(|o| o.abs() > 0.0) {
                    let tip = self.ends[k] + gain[k] * off;
                    let least = least_end(tube);
                    if tip > last + 1.0 && off > 1.0 {
                        return Err(MechanicsError::OutOfRange {
                            what: format!("devices[{}].drive.Fed", self.present[k]),
                            found: wanted[k].unwrap_or(f64::NAN),
                            needed: "short enough to stay on the route",
                        });
                    }
                    self.ends[k] = tip.clamp(least, last);
                }
            }
            solution = Some(found);
        }
        let Some(solution) = solution else {
            return Ok(absent(devices, first));
        };
        let settings = self.load_settings;
        let posed = Posed {
            tube,
            devices,
            friction,
            settings: &settings,
        };
        let state = self.report(&posed, solution, (mover, locked), from);
        Ok(StackState {
            rounds,
            newton_steps,
            ..state
        })
    }

    /// Half the way back to the loads before the last change.
    fn step_back(&mut self) {
        for (rod, (tip, added)) in self.rods.iter_mut().zip(&self.loads_before) {
            if let AxialLoad::Rubbed { tip_n, added_n } = &mut rod.load {
                *tip_n = f64::midpoint(*tip_n, *tip);
                for (a, b) in added_n.iter_mut().zip(added) {
                    *a = f64::midpoint(*a, *b);
                }
            }
        }
    }

    /// Rods, holds and ends of what is far enough in.
    fn pose(
        &mut self,
        tube: &[TubeStation],
        devices: &[StackDevice],
        holds: &[Hold],
        from: Option<&StackState>,
    ) {
        let (first, last) = (tube[0].s_mm, tube[tube.len() - 1].s_mm);
        let least = least_end(tube);
        self.present.clear();
        self.rods.clear();
        self.ends.clear();
        self.through.clear();
        for (k, device) in devices.iter().enumerate() {
            let before = from.map(|f| &f.devices[k]).filter(|d| d.rod.is_some());
            let end = match device.drive {
                Drive::Through => last,
                Drive::Tip(s) => s,
                Drive::Fed(l) => before.map_or(first + l, |d| d.tip_mm + l - d.path_mm),
            };
            let enough = match device.drive {
                Drive::Fed(l) => first + l >= least,
                _ => end >= least,
            };
            if !enough {
                continue;
            }
            let added_n = from
                .and_then(|f| f.added_n.get(k))
                .filter(|a| a.len() == tube.len())
                .cloned()
                .unwrap_or_else(|| vec![0.0; tube.len()]);
            self.present.push(k);
            self.rods.push(Rod {
                load: AxialLoad::Rubbed {
                    tip_n: before.map_or(0.0, |d| d.tip_load_n),
                    added_n,
                },
                ..device.rod.clone()
            });
            self.through.push(device.drive == Drive::Through);
            self.ends.push(match device.drive {
                Drive::Fed(_) => end.clamp(least, last),
                _ => end,
            });
        }
        self.holds.clear();
        for hold in holds {
            let rod = |device: usize| self.present.iter().position(|k| *k == device);
            let (Some(inner), Some(outer)) = (rod(hold.inner), rod(hold.outer)) else {
                continue;
            };
            let old = from.and_then(|f| {
                let rod = f.devices[hold.outer].rod?;
                f.solution.as_ref().map(|s| &s.rods[rod])
            });
            self.holds.push(Held {
                inner,
                outer,
                to_from_tip_mm: hold.to_from_tip_mm,
                span_mm: old.map_or(hold.to_from_tip_mm, |r| {
                    span_of(&r.station_mm, &r.from_tip_mm, hold.to_from_tip_mm)
                }),
            });
        }
    }

    /// The solution before, where it has the same rods.
    fn before(&self, devices: usize, from: Option<&StackState>) -> Option<Solution> {
        let from = from?;
        let same =
            (0..devices).all(|k| from.devices[k].rod == self.present.iter().position(|p| *p == k));
        if same { from.solution.clone() } else { None }
    }

    /// Loads for the next round from a shape; returns the largest change, N.
    fn update_loads(
        &mut self,
        tube: &[TubeStation],
        found: &Solution,
        friction: FrictionOf<'_>,
        mover: Option<(usize, Moving)>,
    ) -> f64 {
        self.loads_before.clear();
        self.loads_before
            .extend(self.rods.iter().map(|r| match &r.load {
                AxialLoad::Rubbed { tip_n, added_n } => (*tip_n, added_n.clone()),
                _ => (0.0, Vec::new()),
            }));
        let mut change = 0.0_f64;
        let n = self.rods.len();
        let mut tips = [0.0; super::MOST_RODS];
        for k in 0..n {
            if !self.through[k] {
                tips[k] = tip_load_n(tube, found, k);
            }
            if let Some((_, m)) = mover.filter(|(rod, _)| *rod == k) {
                tips[k] += m.direction.sign() * m.tip_resistance_n;
            }
        }
        let device = |rod: usize| self.present[rod];
        if let Some((rod, _)) = mover {
            let own = device(rod);
            self.rubbing
                .gather(tube, found, rod, &|other| friction(own, other.map(device)));
            let AxialLoad::Rubbed { tip_n, added_n } = &self.rods[rod].load else {
                return f64::NAN;
            };
            self.bare.clear();
            let state = &found.rods[rod];
            let on_stations =
                state.station_mm.len() - usize::from(matches!(self.rods[rod].end, End::Tip(_)));
            self.bare.extend((0..tube.len()).map(|i| {
                if i < on_stations {
                    state.load_n[i] - added_n[i] + tips[rod] - tip_n
                } else {
                    tips[rod]
                }
            }));
        }
        // the moving rod first: the others feel what it rubs
        let first = mover.map(|(rod, _)| rod);
        let order = first
            .into_iter()
            .chain((0..n).filter(|k| Some(*k) != first));
        for k in order {
            let AxialLoad::Rubbed { tip_n, added_n } = &mut self.rods[k].load else {
                continue;
            };
            change = change.max((tips[k] - *tip_n).abs());
            *tip_n += self.share * (tips[k] - *tip_n);
            self.old.clone_from(added_n);
            match mover {
                Some((rod, m)) if rod == k => {
                    self.rubbing.sum(&self.bare, m.direction.sign(), added_n);
                }
                Some((_, m)) => {
                    added_n.fill(0.0);
                    self.rubbing.react(k, m.direction.sign(), added_n);
                }
                None => added_n.fill(0.0),
            }
            for (a, b) in added_n.iter_mut().zip(&self.old) {
                change = change.max((*a - b).abs());
                *a = b + self.share * (*a - b);
            }
        }
        for hold in &mut self.holds {
            let outer = &found.rods[hold.outer];
            hold.span_mm = span_of(&outer.station_mm, &outer.from_tip_mm, hold.to_from_tip_mm);
        }
        change
    }
}

/// First and last arc length.
fn span(tube: &[TubeStation]) -> Result<(f64, f64), MechanicsError> {
    match (tube.first(), tube.last()) {
        (Some(a), Some(b)) if tube.len() >= 4 => Ok((a.s_mm, b.s_mm)),
        _ => Err(MechanicsError::LengthMismatch {
            what: "tube".into(),
            found: tube.len(),
            needed: 4,
        }),
    }
}

/// Nearest end a rod can have.
fn least_end(tube: &[TubeStation]) -> f64 {
    tube[0].s_mm + FEWEST_CELLS * (tube[2].s_mm - tube[0].s_mm) / 2.0
}

/// A stack of which nothing is far enough in to bend.
fn absent(devices: &[StackDevice], first: f64) -> StackState {
    StackState {
        devices: devices.iter().map(|d| outside(d, first)).collect(),
        solution: None,
        load: None,
        failures: Vec::new(),
        rounds: 0,
        newton_steps: 0,
        added_n: Vec::new(),
    }
}

/// A device with too little in the tube: on the centre line.
pub(crate) fn outside(device: &StackDevice, first: f64) -> DeviceState {
    let length = match device.drive {
        Drive::Tip(s) => s - first,
        Drive::Fed(l) => l,
        Drive::Through => 0.0,
    }
    .max(0.0);
    DeviceState {
        rod: None,
        tip_mm: first + length,
        path_mm: length,
        centre_line_mm: length,
        tip_load_n: 0.0,
    }
}
