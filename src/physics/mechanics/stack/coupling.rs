//! The coupling of loads, lengths and shape: what a shape calls for, what it misses by, and where to go next.

use super::arrangement::{FrictionOf, StackProblem};
use super::friction_sum::FrictionAccumulation;
use super::moving::Moving;
use super::present::{PresentRods, least_end};
use super::slip::Slip;
use super::stretch::{Slipping, Stretch};
use super::tip_load::tip_load_n;
use super::together::Together;
use crate::mechanics::equilibrium::solution::{RodState, Solution};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::larger;
use crate::mechanics::rod::scene::{End, TubeStation};

/// Longest change of a tip or length from one round to the next, mm: the shape before is no guide
/// beyond.
const LONGEST_MM: f64 = 3.0;
/// Largest change of the friction met from one round to the next, N, where there was less: a shape that
/// has not settled wriggles, and what a capstan makes of all these turns grows beyond measure.
const LARGEST_N: f64 = 0.3;

/// How far a tip gives before all that surfaces at rest can carry holds it, mm: what the shaft behind it stretches
/// meanwhile, for a tenth of a newton over a metre of 500 N of axial stiffness (assumed: a steel core of 0.06 mm
/// of diameter alone has as much).
const GIVES_MM: f64 = 0.2;
/// What a millimetre of a tip counts as, N.
const MILLIMETRE_N: f64 = 0.1;

/// What a shape misses by.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Residual {
    /// Largest change of a load, N.
    pub(crate) load_n: f64,
    /// Largest difference of a length, mm.
    pub(crate) length_mm: f64,
}

/// Memory of the coupling. Lists run by rod.
#[derive(Debug, Clone, Default)]
pub(crate) struct Coupling {
    pub(crate) friction: FrictionAccumulation,
    /// By station: load by friction that the last shape calls for, N.
    target_load_n: Vec<Vec<f64>>,
    /// Load that its hub would have to take on, N.
    correction_n: Vec<f64>,
    /// Friction that its contacts at rest can carry, N.
    band_n: Vec<f64>,
    /// Its tip, or where that is given its length, mm.
    unknown_mm: Vec<f64>,
    bare_n: Vec<f64>,
    anderson: Anderson,
    /// How contacts of the rod that slides slip, where friction follows that.
    slipping: Vec<SlippingAt>,
    stick_mm: f64,
    pub(crate) stretching: Option<Stretching>,
    /// While loads come up from nought.
    coming_up: Option<ComingUp>,
    together: Together,
}

/// How a contact of the rod that slides slips.
#[derive(Debug, Clone, Copy)]
struct SlippingAt {
    other: Option<usize>,
    s_mm: f64,
    slipping: Slipping,
}

/// The rod that slides as it stretches.
#[derive(Debug, Clone, Default)]
pub(crate) struct Stretching {
    /// Axial stiffness, N.
    pub(crate) stiffness_n: f64,
    /// By station: its load before the increment, N.
    pub(crate) before_n: Vec<f64>,
    /// By station: by how much it has stretched up to there since, mm, as last found.
    pub(crate) stretch_mm: Vec<f64>,
}

/// Loads that come up from nought.
#[derive(Debug, Clone)]
struct ComingUp {
    /// Share of what walls press on tips that is there.
    share: f64,
    /// By rod: tip that surfaces at rest hold it at, mm.
    held_at_mm: Vec<f64>,
}

impl ComingUp {
    /// Share of what surfaces at rest can carry that a rod takes of them with its tip at `end_mm`, and by how much
    /// more with every millimetre: all of it where the tip has given far, as in a smoothed law of Coulomb's.
    fn held(&self, k: usize, end_mm: f64) -> (f64, f64) {
        let off_mm = end_mm - self.held_at_mm[k];
        let squared = off_mm * off_mm + GIVES_MM * GIVES_MM;
        let root = squared.sqrt();
        (off_mm / root, GIVES_MM * GIVES_MM / (squared * root))
    }
}

/// The rod that slides, and how.
pub(crate) type Mover = Option<(usize, Moving)>;

impl Coupling {
    /// Forgets what it learnt of other states.
    pub(crate) fn restart(&mut self) {
        self.anderson.restart();
        self.slipping.clear();
        self.stretching = None;
        self.coming_up = None;
    }

    /// Begins with a share of the loads, tips held by surfaces at rest where they are given.
    pub(crate) fn come_up(&mut self, share: f64, held_at_mm: &[f64]) {
        self.together.restart();
        self.coming_up = Some(ComingUp {
            share,
            held_at_mm: held_at_mm.to_vec(),
        });
    }

    /// Lets friction along rod `mover` follow how its contacts slip.
    pub(crate) fn slip_along(&mut self, mover: usize, slips: &[Slip], stick_mm: f64) {
        self.stick_mm = stick_mm;
        self.slipping.clear();
        self.slipping.extend(slips.iter().filter_map(|slip| {
            let (other, sign) = slip.seen_by(mover)?;
            Some(SlippingAt {
                other,
                s_mm: slip.s_mm,
                slipping: Slipping {
                    along_mm: sign * slip.slip_mm[0],
                    across_mm: slip.slip_mm[1],
                },
            })
        }));
    }

    /// How a contact of the rod that slides slips.
    fn slipping_at(&self, other: Option<usize>, s_mm: f64) -> Slipping {
        let same = |a: &&SlippingAt| a.other == other && (a.s_mm - s_mm).abs() < 1e-9;
        (self.slipping.iter().find(same)).map_or(Slipping::AT_REST, |a| a.slipping)
    }

    /// Finds what friction and hub loads a shape calls for, and what it misses by.
    pub(crate) fn compare(
        &mut self,
        rods: &mut PresentRods,
        problem: &StackProblem<'_>,
        mover: Mover,
        found: &Solution,
    ) -> Residual {
        let n = rods.rods.len();
        let mut residual = Residual::default();
        self.target_load_n.resize_with(n, Vec::new);
        for target_n in &mut self.target_load_n {
            target_n.clear();
            target_n.resize(problem.tube.len(), 0.0);
        }
        self.correct_tips(rods, problem.tube, mover, found);
        for (target_mm, rod) in rods.target_mm.iter().zip(&found.rods) {
            if let Some(target_mm) = target_mm {
                let off_mm = (target_mm - rod.path_length_mm).abs();
                residual.length_mm = larger(residual.length_mm, off_mm);
            }
        }
        if let Some(moves) = mover {
            self.accumulate_friction(rods, problem, moves, found);
        }
        self.find_bands(rods, problem.friction, mover, found);
        for k in 0..n {
            let changes = self.target_load_n[k].iter().zip(&rods.added_n[k]);
            residual.load_n = changes.fold(residual.load_n, |m, (a, b)| larger(m, (a - b).abs()));
            // what the hub would have to carry, less what surfaces at rest carry for it
            let more_n = self.correction_n[k] + self.target_load_n[k][0] - rods.added_n[k][0];
            let band_n = self.band_n[k];
            // by hand: a band that is no number would make `clamp` panic
            self.correction_n[k] = match &self.coming_up {
                Some(coming_up) => more_n - band_n * coming_up.held(k, rods.ends[k]).0,
                None if more_n.abs() <= band_n => 0.0,
                None => more_n - band_n.copysign(more_n),
            };
            residual.load_n = larger(residual.load_n, self.correction_n[k].abs());
        }
        rods.update_ports(found);
        residual
    }

    /// By how much tips press and are held back otherwise than their loads say.
    fn correct_tips(
        &mut self,
        rods: &PresentRods,
        tube: &[TubeStation],
        mover: Mover,
        found: &Solution,
    ) {
        let scene = rods.scene(tube);
        let share = self.coming_up.as_ref().map_or(1.0, |c| c.share);
        self.correction_n.clear();
        for (k, rod) in found.rods.iter().enumerate() {
            let mut tip_n = if rods.through[k] {
                0.0
            } else {
                share * tip_load_n(&scene, found, k)
            };
            if let Some((_, m)) = mover.filter(|(rod, _)| *rod == k) {
                tip_n += m.direction.sign() * m.tip_resistance_n;
            }
            let has_n = rod.load_n.last().copied().unwrap_or(0.0);
            self.correction_n.push(tip_n - has_n);
        }
    }

    /// Friction of the rod that slides, and what the others feel of it.
    fn accumulate_friction(
        &mut self,
        rods: &PresentRods,
        problem: &StackProblem<'_>,
        (rod, moving): (usize, Moving),
        found: &Solution,
    ) {
        let stations = problem.tube.len();
        let coefficient = |other| rods.friction_of(problem.friction, rod, other);
        let resistance = problem.resistance;
        (self.friction).gather(problem.tube, found, rod, &coefficient, resistance);
        let state = &found.rods[rod];
        let on_stations =
            state.station_mm.len() - usize::from(matches!(rods.rods[rod].end, End::Tip(_)));
        let more_n = self.correction_n[rod];
        let tip_n = state.load_n.last().copied().unwrap_or(0.0) + more_n;
        self.bare_n.clear();
        self.bare_n.extend((0..stations).map(|i| {
            if i < on_stations {
                state.load_n[i] - rods.added_n[rod][i] + more_n
            } else {
                tip_n
            }
        }));
        let sign = moving.direction.sign();
        if self.stretching.is_some() {
            self.stretch(rod, -sign, state);
        } else {
            self.friction
                .sum(&self.bare_n, sign, &mut self.target_load_n[rod]);
        }
        for (k, target_n) in self.target_load_n.iter_mut().enumerate() {
            if k != rod {
                self.friction.react(k, sign, target_n);
            }
        }
    }

    /// Friction of the rod that slides as it stretches.
    fn stretch(&mut self, rod: usize, towards_tip: f64, state: &RodState) {
        let Some(mut stretching) = self.stretching.take() else {
            return;
        };
        let slipping: Vec<_> = (self.friction.list.iter())
            .map(|c| self.slipping_at(c.other, c.s_mm))
            .collect();
        let stations = self.bare_n.len().min(stretching.before_n.len());
        let cells_mm: Vec<f64> = (state
            .from_tip_mm
            .windows(2)
            .take(stations.saturating_sub(1)))
        .map(|d| d[0] - d[1])
        .collect();
        let problem = Stretch {
            stiffness_n: stretching.stiffness_n,
            cells_mm: &cells_mm,
            bare_n: &self.bare_n[..stations],
            before_n: &stretching.before_n[..stations],
            stick_mm: self.stick_mm,
        };
        let mut added_n = vec![0.0; stations];
        let found = problem.solve(&mut self.friction.list, &slipping, &mut added_n);
        if let Some(stretch_mm) = found {
            stretching.stretch_mm = stretch_mm;
            self.target_load_n[rod][..stations].copy_from_slice(&added_n);
        } else {
            self.target_load_n[rod].fill(f64::NAN);
        }
        for contact in &mut self.friction.list {
            contact.friction_n *= towards_tip;
        }
        self.stretching = Some(stretching);
    }

    /// What the contacts of every rod but the one that slides can carry at rest.
    fn find_bands(
        &mut self,
        rods: &PresentRods,
        friction: FrictionOf<'_>,
        mover: Mover,
        found: &Solution,
    ) {
        let mover = mover.map(|m| m.0);
        self.band_n.clear();
        self.band_n.resize(rods.rods.len(), 0.0);
        for contact in &found.contacts {
            let force_n = contact.force_in_space_n.norm();
            for (k, other) in [
                (Some(contact.rod), contact.other),
                (contact.other, Some(contact.rod)),
            ] {
                let Some(k) = k else { continue };
                if Some(k) != mover && (other.is_none() || other != mover) {
                    self.band_n[k] += rods.friction_of(friction, k, other) * force_n;
                }
            }
        }
    }

    /// Whether surfaces at rest carry all that a rod is called to carry.
    fn rests(&self, k: usize) -> bool {
        self.band_n[k] > 0.0 && self.correction_n[k].abs() <= 0.0
    }

    /// Sets the next tips, lengths and loads.
    pub(crate) fn advance(
        &mut self,
        rods: &mut PresentRods,
        tube: &[TubeStation],
        hub_spring_n_per_mm: f64,
        found: &Solution,
    ) -> Result<(), MechanicsError> {
        for (added_n, target_n) in rods.added_n.iter_mut().zip(&self.target_load_n) {
            for (added_n, target_n) in added_n.iter_mut().zip(target_n) {
                let most_n = LARGEST_N.max(added_n.abs());
                *added_n += (target_n - *added_n).clamp(-most_n, most_n);
            }
        }
        let (before_mm, step_mm) = self.step(rods, found);
        self.unknown_mm.clone_from(&before_mm);
        if rods.all_known() {
            self.anderson.step(&mut self.unknown_mm, &step_mm, None);
        }
        if before_mm
            .iter()
            .chain(&self.unknown_mm)
            .any(|x| !x.is_finite())
        {
            return Err(MechanicsError::NonFinite {
                what: "where tips and lengths are to go next",
            });
        }
        let (least, last) = (least_end(tube), tube[tube.len() - 1].s_mm);
        for (k, before_mm) in before_mm.iter().enumerate() {
            let to_mm = self.unknown_mm[k].clamp(before_mm - LONGEST_MM, before_mm + LONGEST_MM);
            let rests = self.rests(k);
            let hub = &mut rods.hubs[k];
            hub.load_n = found.rods[k].load_n[0] + self.correction_n[k];
            match rods.target_mm[k] {
                Some(target_mm) => {
                    if rests {
                        // it stays where it is; its hub takes what that needs
                        let give = found.compliance_mm_per_n[k][k] + 1.0 / hub_spring_n_per_mm;
                        let over_mm = found.rods[k].path_length_mm - target_mm;
                        hub.load_n += over_mm / give.max(1e-9);
                    }
                    hub.inserted_mm = target_mm;
                    rods.ends[k] = to_mm.clamp(least, last);
                }
                None => hub.inserted_mm = to_mm,
            }
            hub.known = true;
        }
        Ok(())
    }

    /// Sets the next tips, hub loads and friction, all moved together; for loads that come up.
    pub(crate) fn advance_together(
        &mut self,
        rods: &mut PresentRods,
        tube: &[TubeStation],
        hub_spring_n_per_mm: f64,
        found: &Solution,
    ) -> Result<(), MechanicsError> {
        let (before_mm, step_mm) = self.step(rods, found);
        self.together.clear();
        for k in 0..rods.rods.len() {
            let (hub, state) = (&rods.hubs[k], &found.rods[k]);
            let called_n = state.load_n[0] + self.correction_n[k];
            match &self.coming_up {
                Some(coming_up) if rods.target_mm[k].is_some() => {
                    // surfaces at rest hold its tip the more the further it goes
                    let holds_n_per_mm = self.band_n[k] * coming_up.held(k, rods.ends[k]).1;
                    let give_mm_per_n = found.compliance_mm_per_n[k][k];
                    let on_mm = step_mm[k] / (1.0 + give_mm_per_n * holds_n_per_mm);
                    self.together.add(before_mm[k], on_mm, MILLIMETRE_N);
                    let more_n = called_n - holds_n_per_mm * on_mm - hub.load_n;
                    self.together.add(hub.load_n, more_n, 1.0);
                }
                _ => {
                    // where its spring would carry nothing
                    let rest_n = hub.load_n - hub_spring_n_per_mm * hub.inserted_mm;
                    let to_mm = state.path_length_mm + step_mm[k];
                    let more_n = called_n - hub_spring_n_per_mm * to_mm - rest_n;
                    self.together.add(rest_n, more_n, 1.0);
                }
            }
        }
        for (added_n, target_n) in rods.added_n.iter().zip(&self.target_load_n) {
            self.together.add_list(added_n, target_n);
        }
        if !self.together.step() {
            return Err(MechanicsError::NonFinite {
                what: "where tips, loads and friction are to go next",
            });
        }
        self.take_together(rods, tube, hub_spring_n_per_mm, found);
        Ok(())
    }

    fn take_together(
        &self,
        rods: &mut PresentRods,
        tube: &[TubeStation],
        hub_spring_n_per_mm: f64,
        found: &Solution,
    ) {
        let (least, last) = (least_end(tube), tube[tube.len() - 1].s_mm);
        let mut next = self.together.unknown().iter().copied();
        let mut take = || next.next().unwrap_or(0.0);
        for k in 0..rods.rods.len() {
            let hub = &mut rods.hubs[k];
            if let Some(target_mm) = rods.target_mm[k] {
                let end_mm = rods.ends[k];
                let to_mm = take().clamp(end_mm - LONGEST_MM, end_mm + LONGEST_MM);
                rods.ends[k] = to_mm.clamp(least, last);
                hub.inserted_mm = target_mm;
                hub.load_n = take();
            } else {
                hub.inserted_mm = found.rods[k].path_length_mm;
                hub.load_n = take() + hub_spring_n_per_mm * hub.inserted_mm;
            }
            hub.known = true;
        }
        for added_n in rods.added_n.iter_mut().flatten() {
            *added_n = take();
        }
    }

    /// By rod: tip, or length where the tip is given, and by how much it is to change, mm.
    fn step(&self, rods: &PresentRods, found: &Solution) -> (Vec<f64>, Vec<f64>) {
        let known = rods.all_known();
        let n = rods.rods.len();
        let mut before_mm = Vec::with_capacity(n);
        let mut step_mm = Vec::with_capacity(n);
        for k in 0..n {
            let path_mm = found.rods[k].path_length_mm;
            // by how much the rod lengthens when its hub carries what it is called to carry
            let longer_mm: f64 = if known {
                (0..n)
                    .map(|j| -found.compliance_mm_per_n[k][j] * self.correction_n[j])
                    .sum()
            } else {
                0.0
            };
            let target_mm = rods.target_mm[k];
            step_mm.push(match target_mm {
                _ if self.coming_up.is_none() && self.rests(k) => 0.0,
                Some(target_mm) => target_mm - path_mm - longer_mm,
                None => longer_mm,
            });
            before_mm.push(match target_mm {
                Some(_) => rods.ends[k],
                None => path_mm,
            });
        }
        (before_mm, step_mm)
    }
}
