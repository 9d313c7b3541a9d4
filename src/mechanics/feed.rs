//! Fed lengths in, tips out, with friction where one device moves.

use super::MechanicsError;
use super::anderson::Anderson;
use super::load::{LoadReport, Posed};
use super::rub::Rubbing;
use super::scene::{AxialLoad, End, FEWEST_CELLS, Rod, Scene, TubeStation};
use super::settings::Settings;
use super::settle::Settle;
use super::solution::{Flag, Solution};
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
    /// Most rounds between loads and shape. Default 60: a usual move takes 5 to 20, a bundle that
    /// gives way in a wide vessel all of them.
    pub most_rounds: usize,
    /// Force at the hub that counts as lock-up, N. Default 100: ten times what a hand pushes with
    /// (from memory: 5 to 10 N between two fingers).
    pub lock_up_n: f64,
    /// Stiffness with which hands hold the devices at their hubs while loads and shape are sought,
    /// N/mm. Default 0.1: stiff against the thousandths of a newton a millimetre by which bundles in wide
    /// vessels give, soft against taut devices. At the end lengths are met, so that nothing depends
    /// on it but the way there.
    pub grip_n_per_mm: f64,
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
            grip_n_per_mm: 0.1,
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

/// What a millimetre is compared with, N: devices answer a tenth of a newton by about that.
const MILLIMETRE_N: f64 = 0.1;
/// Longest change of a tip or length from one round to the next, mm: the shape before is no guide
/// beyond.
const LONGEST_MM: f64 = 3.0;
/// Force out of balance on the way, as a share of what loads still miss, and at most, N. The soft
/// modes of a bundle answer a rough balance with tenths of a millimetre, which look like loads
/// that do not settle; a sharp one costs Newton steps.
const ROUGHLY: f64 = 3e-3;
const ROUGHEST_N: f64 = 5e-6;
/// Rounds without getting nearer by `NEARER` after which no more is expected.
const PATIENCE: usize = 10;
/// Length for which the route has no room, mm, above which a device runs off it.
const BEYOND_MM: f64 = 1.0;
const NEARER: f64 = 0.8;

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
    anderson: Anderson,
    /// Unknowns between loads and shape, and by how much each misses: by rod its tip (or, where
    /// that is given, its length), its tip's load, what friction adds by station.
    unknown: Vec<f64>,
    miss: Vec<f64>,
    weight: Vec<f64>,
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
        let mut rounds = 0;
        let mut newton_steps = 0;
        let sharp = self.load_settings.gradient_tolerance_n;
        let mut rough_n = f64::INFINITY;
        if let Some(before) = &solution {
            // the shape before tells roughly what rubs where
            self.arrangement
                .set(tube, &self.ends, &self.through, &self.holds, &mut self.rods);
            self.hold(Some(before), &wanted);
            rough_n = self.look(tube, before, friction, mover, &wanted).0;
            self.take_loads();
        } else {
            self.hold(None, &wanted);
        }
        self.anderson.restart();
        let mut locked = None;
        let mut waiting = 0;
        let mut kept: Option<(f64, Solution, Vec<f64>)> = None;
        loop {
            self.arrangement
                .set(tube, &self.ends, &self.through, &self.holds, &mut self.rods);
            self.settle
                .ask_for((ROUGHLY * rough_n).clamp(sharp, ROUGHEST_N.max(sharp)));
            let scene = Scene {
                tube,
                rods: &self.rods,
                beside: &self.arrangement.beside,
            };
            let found = match &solution {
                Some(before) => self.settle.settle_from(&scene, before)?,
                None => self.settle.settle(&scene)?,
            };
            newton_steps += found.steps;
            rounds += 1;
            let first_look = solution.is_none();
            let (change_n, off_mm) = self.look(tube, &found, friction, mover, &wanted);
            rough_n = change_n.max(off_mm * MILLIMETRE_N);
            let hub = mover.map_or(0.0, |(rod, _)| found.rods[rod].load_n[0].abs());
            let done = change_n < self.load_settings.force_tolerance_n
                && off_mm < self.load_settings.length_tolerance_mm
                && found.residual_n <= sharp;
            if hub > self.load_settings.lock_up_n || !change_n.is_finite() {
                locked = Some(hub);
            }
            if done || locked.is_some() {
                solution = Some(found);
                break;
            }
            let nearest = kept.as_ref().map_or(f64::INFINITY, |k| k.0);
            if rough_n < NEARER * nearest {
                waiting = 0;
            } else {
                waiting += 1;
            }
            if rough_n < nearest {
                kept = Some((rough_n, found.clone(), self.ends.clone()));
            }
            let most = self.load_settings.most_unsettled_n;
            let stalls = waiting > PATIENCE && nearest < most;
            if stalls || rounds >= self.load_settings.most_rounds {
                // Loads and shape do not come to agree to the last digit, or there is no equilibrium
                // in which they do. The nearest one found is reported, with how far its loads are
                // from those that its shape calls for.
                let beyond = (0..n).find(|k| {
                    wanted[*k].is_some() && self.ends[*k] >= last && self.miss[*k] > BEYOND_MM
                });
                let Some((load_n, mut near, ends)) = kept.filter(|k| k.0 < most) else {
                    return Err(match beyond {
                        Some(k) => MechanicsError::OutOfRange {
                            what: format!("devices[{}].drive.Fed", self.present[k]),
                            found: wanted[k].unwrap_or(f64::NAN),
                            needed: "short enough to stay on the route",
                        },
                        None => MechanicsError::LoadsNotSettled {
                            rounds,
                            change_n,
                            off_mm,
                        },
                    });
                };
                self.ends = ends;
                self.look(tube, &near, friction, mover, &wanted);
                near.flags.push(Flag::Unsettled { load_n });
                solution = Some(near);
                break;
            }
            self.advance(tube, &wanted, first_look, &found);
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
                    grip_n_per_mm: 0.0,
                    fed_mm: 0.0,
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

    /// Hands on the hubs: devices that are fed hold their length; a tip that is given lets its hub
    /// follow from round to round.
    fn hold(&mut self, before: Option<&Solution>, wanted: &[Option<f64>]) {
        for (k, rod) in self.rods.iter_mut().enumerate() {
            let end = self.ends[k];
            if let AxialLoad::Rubbed {
                grip_n_per_mm,
                fed_mm,
                ..
            } = &mut rod.load
            {
                // from scratch nobody knows yet how long it is
                *grip_n_per_mm = before.map_or(0.0, |_| self.load_settings.grip_n_per_mm);
                *fed_mm = match (wanted[k], before.map(|b| &b.rods[k])) {
                    (Some(wanted), _) => wanted,
                    (None, Some(old)) => {
                        let tip = old.station_mm.last().copied().unwrap_or(end);
                        old.path_length_mm + end - tip
                    }
                    (None, None) => 0.0,
                };
            }
        }
    }

    /// Looks at a shape: what its lengths and loads miss by. Returns the largest miss of a load (N)
    /// and of a length (mm).
    fn look(
        &mut self,
        tube: &[TubeStation],
        found: &Solution,
        friction: FrictionOf<'_>,
        mover: Option<(usize, Moving)>,
        wanted: &[Option<f64>],
    ) -> (f64, f64) {
        let n = self.rods.len();
        let stations = tube.len();
        let total = 2 * n + n * stations;
        self.unknown.clear();
        self.unknown.resize(total, 0.0);
        self.miss.clear();
        self.miss.resize(total, 0.0);
        let mut off_mm = 0.0_f64;
        let mut gripped_n = [0.0; super::MOST_RODS];
        for k in 0..n {
            let AxialLoad::Rubbed {
                tip_n,
                added_n,
                grip_n_per_mm,
                fed_mm,
            } = &self.rods[k].load
            else {
                continue;
            };
            let long_mm = found.rods[k].path_length_mm;
            gripped_n[k] = grip_n_per_mm * (long_mm - fed_mm);
            (self.unknown[k], self.miss[k]) = match wanted[k] {
                Some(wanted) => (self.ends[k], wanted - long_mm),
                None => (
                    *fed_mm,
                    if *grip_n_per_mm > 0.0 {
                        long_mm - fed_mm
                    } else {
                        0.0
                    },
                ),
            };
            off_mm = off_mm.max(self.miss[k].abs());
            let mut tip = if self.through[k] {
                0.0
            } else {
                let scene = Scene {
                    tube,
                    rods: &self.rods,
                    beside: &self.arrangement.beside,
                };
                tip_load_n(&scene, found, k)
            };
            if let Some((_, m)) = mover.filter(|(rod, _)| *rod == k) {
                tip += m.direction.sign() * m.tip_resistance_n;
            }
            self.unknown[n + k] = *tip_n;
            self.miss[n + k] = tip - tip_n;
            let at = 2 * n + k * stations;
            self.unknown[at..at + stations].copy_from_slice(added_n);
        }
        if let Some((rod, m)) = mover {
            let device = |rod: usize| self.present[rod];
            let own = device(rod);
            self.rubbing
                .gather(tube, found, (rod, gripped_n[rod]), &|other| {
                    friction(own, other.map(device))
                });
            let at = 2 * n + rod * stations;
            let added_n = &self.unknown[at..at + stations];
            let (tip_n, tip_miss_n) = (self.unknown[n + rod], self.miss[n + rod]);
            let state = &found.rods[rod];
            let on_stations =
                state.station_mm.len() - usize::from(matches!(self.rods[rod].end, End::Tip(_)));
            self.bare.clear();
            self.bare.extend((0..stations).map(|i| {
                if i < on_stations {
                    state.load_n[i] - added_n[i] + tip_miss_n
                } else {
                    tip_n + tip_miss_n
                }
            }));
            self.rubbing.sum(
                &self.bare,
                m.direction.sign(),
                &mut self.miss[at..at + stations],
            );
            for k in (0..n).filter(|k| *k != rod) {
                let at = 2 * n + k * stations;
                self.rubbing
                    .react(k, m.direction.sign(), &mut self.miss[at..at + stations]);
            }
        }
        // so far these are the sums that the shape calls for
        for (miss, was) in self.miss.iter_mut().zip(&self.unknown).skip(2 * n) {
            *miss -= was;
        }
        let change_n = self.miss[n..].iter().fold(0.0_f64, |m, x| m.max(x.abs()));
        for hold in &mut self.holds {
            let outer = &found.rods[hold.outer];
            hold.span_mm = span_of(&outer.station_mm, &outer.from_tip_mm, hold.to_from_tip_mm);
        }
        (change_n, off_mm)
    }

    /// Takes over the loads that the last look calls for, tips as they are.
    fn take_loads(&mut self) {
        let n = self.rods.len();
        for (x, miss) in self.unknown.iter_mut().zip(&self.miss).skip(n) {
            *x += miss;
        }
        self.spread();
    }

    /// Copies the unknown loads to the rods.
    fn spread(&mut self) {
        let n = self.rods.len();
        let stations = (self.unknown.len() - 2 * n) / n;
        for (k, rod) in self.rods.iter_mut().enumerate() {
            if let AxialLoad::Rubbed { tip_n, added_n, .. } = &mut rod.load {
                *tip_n = self.unknown[n + k];
                let at = 2 * n + k * stations;
                added_n.copy_from_slice(&self.unknown[at..at + stations]);
            }
        }
    }

    /// Next tips, lengths and loads.
    #[expect(clippy::cast_precision_loss, reason = "a few thousand stations")]
    fn advance(
        &mut self,
        tube: &[TubeStation],
        wanted: &[Option<f64>],
        first_look: bool,
        found: &Solution,
    ) {
        let n = self.rods.len();
        let stations = tube.len();
        let (least, last) = (least_end(tube), tube[stations - 1].s_mm);
        self.weight.clear();
        self.weight.resize(n, MILLIMETRE_N);
        self.weight.resize(2 * n, 1.0);
        self.weight
            .resize(self.unknown.len(), 1.0 / (stations as f64).sqrt());
        let before: [f64; super::MOST_RODS] = std::array::from_fn(|k| {
            self.unknown
                .get(k)
                .copied()
                .filter(|_| k < n)
                .unwrap_or(0.0)
        });
        self.anderson
            .step(&mut self.unknown, &self.miss, &self.weight);
        for k in 0..n {
            let to = self.unknown[k].clamp(before[k] - LONGEST_MM, before[k] + LONGEST_MM);
            self.unknown[k] = to;
            if wanted[k].is_some() {
                self.unknown[k] = to.clamp(least, last);
                self.ends[k] = self.unknown[k];
            } else if let AxialLoad::Rubbed { fed_mm, .. } = &mut self.rods[k].load {
                *fed_mm = to;
            }
        }
        self.spread();
        if first_look {
            // now that lengths are known, hands can hold them
            self.anderson.restart();
            for (k, rod) in self.rods.iter_mut().enumerate() {
                if let AxialLoad::Rubbed {
                    grip_n_per_mm,
                    fed_mm,
                    ..
                } = &mut rod.load
                {
                    *grip_n_per_mm = self.load_settings.grip_n_per_mm;
                    if wanted[k].is_none() {
                        *fed_mm = found.rods[k].path_length_mm;
                    }
                }
            }
        }
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
