//! Fed lengths in, tips out, with friction where one device moves.

use super::arrangement::{self, Arrangement, Drive, FrictionOf, Held, Hold, StackDevice, span_of};
use super::friction_sum::Rubbing;
use super::load_report::Slack;
use super::load_settings::LoadSettings;
use super::moving::{Direction, Moving};
use super::report::Reporter;
use super::state::{StackState, absent};
use super::tip_load::tip_load_n;
use crate::mechanics::equilibrium::settle::Settle;
use crate::mechanics::equilibrium::solution::{Flag, RodState, Solution};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::larger;
use crate::mechanics::rod::scene::{AxialLoad, End, FEWEST_CELLS, Rod, Scene, TubeStation};
use crate::mechanics::rod::settings::Settings;

/// Longest change of a tip or length from one round to the next, mm: the shape before is no guide
/// beyond.
const LONGEST_MM: f64 = 3.0;
/// Largest change of the friction met from one round to the next, N, where there was less: a shape that
/// has not settled wriggles, and what a capstan makes of all these turns grows beyond measure.
const LARGEST_N: f64 = 0.3;
/// Force out of balance on the way, as a share of what loads still miss.
const ROUGHLY: f64 = 3e-3;
/// Length for which the route has no room, mm, above which a device runs off it.
const BEYOND_MM: f64 = 1.0;
/// Share of the nearest miss so far that counts as nearer, not as waiting: smaller gains are what rounds
/// wander by.
const NEARER: f64 = 0.8;
/// Share of the miss that a round may leave while loads and shape still come to agree.
const FAST: f64 = 0.3;
/// Shares of friction and of what holds the tip back in which these come up where all at once lead round in
/// circles.
const SHARES: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];
/// How much more firmly than usual axes are kept near the round before on that way, one after the other.
const FIRMER: [f64; 2] = [1.0, 4.0];
/// Force with which a shape may still be held near the one before, as a share of the balance asked for.
const STILL: f64 = 10.0;

/// What is known of a rod's hub between one shape and the next.
#[derive(Debug, Clone, Copy, Default)]
struct Hub {
    /// Load it is meant to carry, N.
    load_n: f64,
    /// Length from station 0 at which it carries just that, mm.
    length_mm: f64,
    /// Whether the length is known: else the hub follows freely once.
    known: bool,
}

/// What a shape misses by.
#[derive(Debug, Clone, Copy, Default)]
struct Miss {
    /// Largest change of a load, N.
    load_n: f64,
    /// Largest difference of a length, mm.
    length_mm: f64,
}

/// A state on the way, and by how much its loads and lengths miss.
#[derive(Debug)]
struct Kept {
    missed_n: f64,
    found: Solution,
    ends: Vec<f64>,
    hubs: Vec<Hub>,
    added_n: Vec<Vec<f64>>,
}

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
    hubs: Vec<Hub>,
    /// By rod and station: load that friction adds, counted from the tip, N.
    pub(crate) added_n: Vec<Vec<f64>>,
    /// The same that the last shape calls for.
    called_n: Vec<Vec<f64>>,
    bare: Vec<f64>,
    anderson: Anderson,
    /// By rod: its tip, or where that is given its length, mm.
    unknown: Vec<f64>,
    /// By rod: load that its hub would have to take on, N.
    answer: Vec<f64>,
    /// By rod: friction that its contacts at rest can carry, N.
    band_n: Vec<f64>,
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

    /// Gives solves up as lock-up at this force at the hub, N ([`LoadSettings::lock_up_n`]).
    pub fn lock_up_at(&mut self, lock_up_n: f64) {
        self.load_settings.lock_up_n = lock_up_n;
    }

    /// Equilibrium of a stack whose fed lengths or tips are given; where something moves and loads and
    /// shape lead each other round in circles, with friction that comes up by and by.
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
        self.settle
            .allow(self.load_settings.most_factorised_unknowns);
        let lost = match self.solve_at_once(tube, devices, holds, friction, moving, from) {
            Err(lost) if lost.is_lost() => lost,
            found => return found,
        };
        let Some(moving) = moving else {
            return Err(lost);
        };
        let sideways_n_per_mm = self.load_settings.sideways_n_per_mm;
        for firmer in FIRMER {
            self.load_settings.sideways_n_per_mm = firmer * sideways_n_per_mm;
            let mut state = from.cloned();
            let mut spent = (0, 0);
            let found = SHARES.iter().try_for_each(|share| {
                let part = |k: usize, other: Option<usize>| share * friction(k, other);
                let held = Moving {
                    tip_resistance_n: share * moving.tip_resistance_n,
                    ..moving
                };
                let before = state.as_ref();
                let next = self.solve_at_once(tube, devices, holds, &part, Some(held), before)?;
                spent = (spent.0 + next.rounds, spent.1 + next.newton_steps);
                state = Some(next);
                Ok::<(), MechanicsError>(())
            });
            self.load_settings.sideways_n_per_mm = sideways_n_per_mm;
            if let (Ok(()), Some(state)) = (found, state) {
                let (rounds, newton_steps) = spent;
                return Ok(StackState {
                    rounds,
                    newton_steps,
                    ..state
                });
            }
        }
        Err(lost)
    }

    /// Slack of device `device`: its lengths in the tube pushed and pulled with the tip where it is.
    /// Both states are returned as well, pushed first.
    ///
    /// # Errors
    /// As [`Self::solve`].
    #[expect(
        clippy::too_many_arguments,
        reason = "the arguments of `solve` with two resistances"
    )]
    pub fn slack(
        &mut self,
        tube: &[TubeStation],
        devices: &[StackDevice],
        holds: &[Hold],
        friction: FrictionOf<'_>,
        device: usize,
        [push_resistance_n, pull_resistance_n]: [f64; 2],
        state: &StackState,
    ) -> Result<(Slack, [StackState; 2]), MechanicsError> {
        let mut devices = devices.to_vec();
        if let Some(d) = devices.get_mut(device)
            && d.drive != Drive::Through
        {
            d.drive = Drive::Tip(state.devices[device].tip_mm);
        }
        let mut solve = |direction, tip_resistance_n| {
            let moving = Moving {
                device,
                direction,
                tip_resistance_n,
            };
            self.solve(tube, &devices, holds, friction, Some(moving), Some(state))
        };
        let pushed = solve(Direction::Push, push_resistance_n)?;
        let pulled = solve(Direction::Pull, pull_resistance_n)?;
        let slack = Slack {
            pushed_mm: pushed.devices[device].path_mm,
            pulled_mm: pulled.devices[device].path_mm,
        };
        Ok((slack, [pushed, pulled]))
    }

    /// The same with all of the friction from the first round on.
    fn solve_at_once(
        &mut self,
        tube: &[TubeStation],
        devices: &[StackDevice],
        holds: &[Hold],
        friction: FrictionOf<'_>,
        moving: Option<Moving>,
        from: Option<&StackState>,
    ) -> Result<StackState, MechanicsError> {
        arrangement::check(devices, holds)?;
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
        let mut rounds = 0;
        let mut newton_steps = 0;
        let settings = self.load_settings;
        let sharp = settings.gradient_tolerance_n;
        let mut rough_n = f64::INFINITY;
        let mut solution: Option<Solution> = None;
        let mut locked = None;
        let mut waiting = 0;
        let mut before_n = f64::INFINITY;
        let mut kept: Option<Kept> = None;
        self.anderson.restart();
        loop {
            self.settle
                .ask_for((ROUGHLY * rough_n).clamp(sharp, settings.roughest_n.max(sharp)));
            let shapes = self.shapes(devices.len(), solution.as_ref(), from);
            let found = self.settle_rods(tube, &shapes)?;
            newton_steps += found.steps;
            rounds += 1;
            let miss = self.look(tube, &found, friction, mover, &wanted);
            rough_n = larger(miss.load_n, miss.length_mm * settings.millimetre_n);
            let hub = mover.map_or(0.0, |(rod, _)| found.rods[rod].load_n[0].abs());
            let done = miss.load_n < settings.force_tolerance_n
                && miss.length_mm < settings.length_tolerance_mm
                && found.residual_n <= sharp
                && found.moved_mm * settings.sideways_n_per_mm <= STILL * sharp;
            if !rough_n.is_finite() {
                return Err(MechanicsError::NonFinite {
                    what: "what loads and lengths miss by",
                });
            }
            if hub > settings.lock_up_n {
                locked = Some(hub);
            }
            if done || locked.is_some() {
                solution = Some(found);
                break;
            }
            let nearest = kept.as_ref().map_or(f64::INFINITY, |k| k.missed_n);
            if rough_n < NEARER * nearest {
                waiting = 0;
            } else {
                waiting += 1;
            }
            let known = self.hubs.iter().all(|h| h.known);
            if rough_n < nearest && known {
                kept = Some(Kept {
                    missed_n: rough_n,
                    found: found.clone(),
                    ends: self.ends.clone(),
                    hubs: self.hubs.clone(),
                    added_n: self.added_n.clone(),
                });
            }
            let most = settings.most_unsettled_n;
            let slow = known && rough_n > FAST * before_n;
            before_n = rough_n;
            let enough_n = settings.enough_n.max(settings.enough_share * hub);
            let stalls = (slow && nearest.min(rough_n) < enough_n)
                || (waiting > settings.patience && nearest < most);
            if stalls || rounds >= settings.most_rounds {
                // Loads and shape do not come to agree to the last digit, or there is no equilibrium
                // in which they do. The nearest one found is reported, with how far its loads are
                // from those that its shape calls for.
                let beyond = (0..n).find(|k| {
                    wanted[*k].is_some_and(|w| {
                        self.ends[*k] >= last && w - found.rods[*k].path_length_mm > BEYOND_MM
                    })
                });
                let enough = |k: &Kept| k.missed_n < most.max(settings.enough_share * hub);
                let Some(nearest) = kept.filter(enough) else {
                    return Err(match beyond {
                        Some(k) => MechanicsError::OutOfRange {
                            what: format!("devices[{}].drive.Fed", self.present[k]),
                            found: wanted[k].unwrap_or(f64::NAN),
                            needed: "short enough to stay on the route",
                        },
                        None => MechanicsError::LoadsNotSettled {
                            rounds,
                            change_n: miss.load_n,
                            off_mm: miss.length_mm,
                        },
                    });
                };
                let (mut near, steps) = self.sharpen(tube, nearest)?;
                newton_steps += steps;
                let miss = self.look(tube, &near, friction, mover, &wanted);
                near.flags.push(Flag::Unsettled {
                    load_n: miss.load_n.max(miss.length_mm * settings.millimetre_n),
                });
                solution = Some(near);
                break;
            }
            self.advance(tube, &wanted, &found)?;
            solution = Some(found);
        }
        let Some(solution) = solution else {
            return Ok(absent(devices, first));
        };
        let reporter = Reporter {
            tube,
            devices,
            friction,
            rods: &self.rods,
            present: &self.present,
            ends: &self.ends,
            added_n: &self.added_n,
            sliding: &self.rubbing.list,
            solution: &solution,
            from,
        };
        let state = reporter.state(mover, locked);
        Ok(StackState {
            rounds,
            newton_steps,
            factorised_unknowns: self.settle.worked(),
            ..state
        })
    }

    /// A state on the way in balance to the last digit, under the loads that it has.
    fn sharpen(
        &mut self,
        tube: &[TubeStation],
        kept: Kept,
    ) -> Result<(Solution, usize), MechanicsError> {
        self.ends = kept.ends;
        self.hubs = kept.hubs;
        self.added_n = kept.added_n;
        let sharp_n = self.load_settings.gradient_tolerance_n;
        if kept.found.residual_n <= sharp_n {
            return Ok((kept.found, 0));
        }
        self.settle.ask_for(sharp_n);
        let sharp =
            self.settle_rods(tube, &kept.found.rods.iter().map(Some).collect::<Vec<_>>())?;
        let steps = sharp.steps;
        Ok((sharp, steps))
    }

    /// Shapes under the loads as they are, from those given; from scratch where that way is lost.
    fn settle_rods(
        &mut self,
        tube: &[TubeStation],
        shapes: &[Option<&RodState>],
    ) -> Result<Solution, MechanicsError> {
        self.arrangement
            .set(tube, &self.ends, &self.through, &self.holds, &mut self.rods);
        self.load_rods();
        let scene = Scene {
            tube,
            rods: &self.rods,
            beside: &self.arrangement.beside,
        };
        let near = self
            .settle
            .settle_near(&scene, shapes, self.load_settings.sideways_n_per_mm);
        let found = match near {
            Err(lost) if lost.is_lost() => {
                self.settle.settle_from_scratch(&scene).map_err(|_| lost)
            }
            found => found,
        };
        // the caller knows devices, not those of them that are far enough in
        found.map_err(|why| why.renumbered(|rod| self.present.get(rod).copied().unwrap_or(rod)))
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
        self.hubs.clear();
        self.added_n.clear();
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
            self.hubs.push(match (before, device.drive) {
                (Some(old), Drive::Fed(length_mm)) => Hub {
                    load_n: old.hub_load_n,
                    length_mm,
                    known: true,
                },
                (Some(old), _) => Hub {
                    load_n: old.hub_load_n,
                    length_mm: old.path_mm + end - old.tip_mm,
                    known: true,
                },
                (None, _) => Hub::default(),
            });
            self.added_n.push(added_n);
            self.present.push(k);
            self.rods.push(device.rod.clone());
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

    /// Shapes to start from, by rod: of the round before, else of the state before.
    fn shapes<'a>(
        &self,
        devices: usize,
        last: Option<&'a Solution>,
        from: Option<&'a StackState>,
    ) -> Vec<Option<&'a RodState>> {
        if let Some(last) = last {
            return last.rods.iter().map(Some).collect();
        }
        let Some((from, solution)) = from
            .and_then(|f| Some((f, f.solution.as_ref()?)))
            .filter(|f| f.0.devices.len() == devices)
        else {
            return vec![None; self.present.len()];
        };
        let old = |k: &usize| from.devices[*k].rod.and_then(|rod| solution.rods.get(rod));
        self.present.iter().map(old).collect()
    }

    /// Loads the rods: what hub and friction put on them.
    fn load_rods(&mut self) {
        for (k, rod) in self.rods.iter_mut().enumerate() {
            let (hub, added_n) = (&self.hubs[k], &self.added_n[k]);
            let free = !hub.known;
            rod.load = if free {
                // from scratch nobody knows yet how long it is
                AxialLoad::Held {
                    load_n: vec![0.0; added_n.len()],
                    grip_n_per_mm: 0.0,
                    fed_mm: 0.0,
                }
            } else {
                let first = added_n.first().copied().unwrap_or(0.0);
                AxialLoad::Held {
                    load_n: added_n.iter().map(|a| hub.load_n + a - first).collect(),
                    grip_n_per_mm: self.load_settings.grip_n_per_mm,
                    fed_mm: hub.length_mm,
                }
            };
        }
    }

    /// Looks at a shape: what friction and hub loads it calls for, and what it misses by.
    fn look(
        &mut self,
        tube: &[TubeStation],
        found: &Solution,
        friction: FrictionOf<'_>,
        mover: Option<(usize, Moving)>,
        wanted: &[Option<f64>],
    ) -> Miss {
        let n = self.rods.len();
        let stations = tube.len();
        let mut miss = Miss::default();
        self.called_n.resize_with(n, Vec::new);
        for called_n in &mut self.called_n {
            called_n.clear();
            called_n.resize(stations, 0.0);
        }
        self.answer.clear();
        for k in 0..n {
            let mut tip_n = if self.through[k] {
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
                tip_n += m.direction.sign() * m.tip_resistance_n;
            }
            let has_n = found.rods[k].load_n.last().copied().unwrap_or(0.0);
            self.answer.push(tip_n - has_n);
            if let Some(wanted) = wanted[k] {
                let off_mm = (wanted - found.rods[k].path_length_mm).abs();
                miss.length_mm = larger(miss.length_mm, off_mm);
            }
        }
        if let Some((rod, m)) = mover {
            let device = |rod: usize| self.present[rod];
            let own = device(rod);
            self.rubbing
                .gather(tube, found, rod, &|other| friction(own, other.map(device)));
            let state = &found.rods[rod];
            let on_stations =
                state.station_mm.len() - usize::from(matches!(self.rods[rod].end, End::Tip(_)));
            let more = self.answer[rod];
            let tip_n = state.load_n.last().copied().unwrap_or(0.0) + more;
            self.bare.clear();
            self.bare.extend((0..stations).map(|i| {
                if i < on_stations {
                    state.load_n[i] - self.added_n[rod][i] + more
                } else {
                    tip_n
                }
            }));
            let sign = m.direction.sign();
            self.rubbing.sum(&self.bare, sign, &mut self.called_n[rod]);
            for k in (0..n).filter(|k| *k != rod) {
                self.rubbing.react(k, sign, &mut self.called_n[k]);
            }
        }
        self.rest(found, friction, mover.map(|m| m.0));
        for k in 0..n {
            let changes = self.called_n[k].iter().zip(&self.added_n[k]);
            miss.load_n = changes.fold(miss.load_n, |m, (a, b)| larger(m, (a - b).abs()));
            // what the hub would have to carry, less what surfaces at rest carry for it
            let more_n = self.answer[k] + self.called_n[k][0] - self.added_n[k][0];
            let band_n = self.band_n[k];
            // by hand: a band that is no number would make `clamp` panic
            self.answer[k] = if more_n.abs() <= band_n {
                0.0
            } else {
                more_n - band_n.copysign(more_n)
            };
            miss.load_n = larger(miss.load_n, self.answer[k].abs());
        }
        for hold in &mut self.holds {
            let outer = &found.rods[hold.outer];
            hold.span_mm = span_of(&outer.station_mm, &outer.from_tip_mm, hold.to_from_tip_mm);
        }
        miss
    }

    /// What the contacts of every rod but the one that slides can carry at rest.
    fn rest(&mut self, found: &Solution, friction: FrictionOf<'_>, mover: Option<usize>) {
        self.band_n.clear();
        self.band_n.resize(self.rods.len(), 0.0);
        for contact in &found.contacts {
            let force_n = contact.force_in_space_n.norm();
            for (k, other) in [
                (Some(contact.rod), contact.other),
                (contact.other, Some(contact.rod)),
            ] {
                let Some(k) = k else { continue };
                if Some(k) != mover && (other.is_none() || other != mover) {
                    let coefficient = friction(self.present[k], other.map(|j| self.present[j]));
                    self.band_n[k] += coefficient * force_n;
                }
            }
        }
    }

    /// Whether surfaces at rest carry all that a rod is called to carry.
    fn rests(&self, k: usize) -> bool {
        self.band_n[k] > 0.0 && self.answer[k].abs() <= 0.0
    }

    /// Next tips, lengths and loads.
    fn advance(
        &mut self,
        tube: &[TubeStation],
        wanted: &[Option<f64>],
        found: &Solution,
    ) -> Result<(), MechanicsError> {
        let n = self.rods.len();
        let (least, last) = (least_end(tube), tube[tube.len() - 1].s_mm);
        for (added_n, called_n) in self.added_n.iter_mut().zip(&self.called_n) {
            for (added_n, called_n) in added_n.iter_mut().zip(called_n) {
                let most_n = LARGEST_N.max(added_n.abs());
                *added_n += (called_n - *added_n).clamp(-most_n, most_n);
            }
        }
        let known = self.hubs.iter().all(|h| h.known);
        self.unknown.clear();
        let mut step = vec![0.0; n];
        for k in 0..n {
            let path_mm = found.rods[k].path_length_mm;
            // by how much the rod lengthens when its hub carries what it is called to carry
            let longer_mm: f64 = if known {
                (0..n)
                    .map(|j| -found.compliance_mm_per_n[k][j] * self.answer[j])
                    .sum()
            } else {
                0.0
            };
            step[k] = match wanted[k] {
                _ if self.rests(k) => 0.0,
                Some(wanted) => wanted - path_mm - longer_mm,
                None => longer_mm,
            };
            self.unknown.push(match wanted[k] {
                Some(_) => self.ends[k],
                None => path_mm,
            });
        }
        let before = self.unknown.clone();
        if known {
            self.anderson.step(&mut self.unknown, &step, None);
        }
        if before.iter().chain(&self.unknown).any(|x| !x.is_finite()) {
            return Err(MechanicsError::NonFinite {
                what: "where tips and lengths are to go next",
            });
        }
        for k in 0..n {
            let to = self.unknown[k].clamp(before[k] - LONGEST_MM, before[k] + LONGEST_MM);
            let rests = self.rests(k);
            let hub = &mut self.hubs[k];
            hub.load_n = found.rods[k].load_n[0] + self.answer[k];
            if rests && let Some(wanted) = wanted[k] {
                // it stays where it is; its hub takes what that needs
                let give = found.compliance_mm_per_n[k][k] + 1.0 / self.load_settings.grip_n_per_mm;
                hub.load_n += (found.rods[k].path_length_mm - wanted) / give.max(1e-9);
            }
            match wanted[k] {
                Some(wanted) => {
                    hub.length_mm = wanted;
                    self.ends[k] = to.clamp(least, last);
                }
                None => hub.length_mm = to,
            }
            hub.known = true;
        }
        Ok(())
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
