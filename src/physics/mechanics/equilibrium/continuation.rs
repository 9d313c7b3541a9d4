//! Rods bent by nature whose shape and loads do not come to agree by rounds: continuation in the natural
//! curvature, the rods held at their hubs.

use super::hub_regularised::{HUB_SPRINGS_N_PER_MM, UNSETTLED_N};
use super::passes::Passes;
use super::solution::{Flag, Solution, Status};
use super::workspace::LOADS_TO_FORCES;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::larger;
use crate::mechanics::rod::scene::{AxialLoad, Rod, Scene};

/// Least step before the way is held to break off: the bend then grows by a degree or less.
const LEAST_STEP: f64 = 1.0 / 64.0;
/// Stiffness of the hubs, N/mm.
const HUB_N_PER_MM: f64 = HUB_SPRINGS_N_PER_MM[0];
/// Most rounds for the lengths fed: near their places each takes nine tenths off what the tips miss; the
/// rest is for shapes that jump.
const MOST_ROUNDS: usize = 60;
/// Most jumps from one shape to the next on the way.
const MOST_JUMPS: usize = 3;
/// Longest step of a length fed, mm, and the least before loads are held to jump between two shapes.
const STEP_MM: (f64, f64) = (5.0, 1e-3);
/// What tips miss, N, from which on rounds learn from each other: further off that leads astray.
const NEAR_N: f64 = 1e-3;

/// Whether rods one in another are bent by nature and free of friction, as [`settle_bending`] needs.
/// One alone has no slack that others could take up: rounds serve it.
pub(crate) fn bends_up(scene: &Scene<'_>) -> bool {
    scene.rods.len() > 1
        && scene.rods.iter().any(|rod| rod.natural.is_some())
        && scene.rods.iter().all(|rod| rod.frictionless_n().is_some())
}

/// Lengths fed to hubs on their way to those at which tips carry the loads given.
#[derive(Debug)]
struct Feed {
    fed_mm: Vec<f64>,
    /// The nearest state so far: by how much its tips miss their loads, N, its lengths fed and the step tried
    /// from there, mm.
    nearest: Option<(f64, Vec<f64>, Vec<f64>)>,
    longest_mm: f64,
    /// The step from there before it was cut short, mm.
    whole_mm: Vec<f64>,
    jumps: usize,
    anderson: Anderson,
}

impl Feed {
    fn from(before: &Solution) -> Self {
        let hub_n = |load_n: &[f64]| load_n.first().copied().unwrap_or(0.0);
        let rods = before.rods.iter();
        Self {
            fed_mm: rods
                .map(|rod| rod.path_length_mm - hub_n(&rod.load_n) / HUB_N_PER_MM)
                .collect(),
            nearest: None,
            longest_mm: STEP_MM.0,
            whole_mm: Vec::new(),
            jumps: 0,
            anderson: Anderson::default(),
        }
    }

    /// Half the way back to the nearest state; where next to nothing is left of it, all of it once more: the
    /// shape jumps there, and goes on from the other one.
    fn step_back(&mut self) {
        self.longest_mm *= 0.5;
        self.anderson.restart();
        if self.longest_mm < STEP_MM.1 && self.jumps < MOST_JUMPS {
            self.jumps += 1;
            self.longest_mm = STEP_MM.0;
            if let Some((_, at_mm, ..)) = self.nearest.take() {
                for ((fed, at), step) in self.fed_mm.iter_mut().zip(&at_mm).zip(&self.whole_mm) {
                    *fed = at + step;
                }
            }
            return;
        }
        if let Some((_, at_mm, step_mm)) = &mut self.nearest {
            for ((fed, at), step) in self.fed_mm.iter_mut().zip(&*at_mm).zip(step_mm) {
                *step *= 0.5;
                *fed = at + *step;
            }
        }
    }

    /// On from a state whose tips miss their loads by `missed_n`: lengths answer as the bundle gives, and
    /// the hubs besides.
    fn step_on(&mut self, found: &Solution, missed_n: &[f64], worst_n: f64) {
        let rods = missed_n.len();
        let mut step_mm: Vec<f64> = (0..rods)
            .map(|k| {
                let gives = &found.compliance_mm_per_n[k];
                let bundle_mm: f64 = gives.iter().zip(missed_n).map(|(c, n)| c * n).sum();
                bundle_mm + missed_n[k] / HUB_N_PER_MM
            })
            .collect();
        let at_mm = self.fed_mm.clone();
        if worst_n < NEAR_N {
            self.anderson.step(&mut self.fed_mm, &step_mm, None);
            for ((step, fed), at) in step_mm.iter_mut().zip(&self.fed_mm).zip(&at_mm) {
                *step = fed - at;
            }
        }
        // all together, or rods would be fed against each other
        let longest_mm = step_mm.iter().map(|mm| mm.abs()).fold(0.0, larger);
        let part = (self.longest_mm / longest_mm).min(1.0);
        for ((fed, at), step) in self.fed_mm.iter_mut().zip(&at_mm).zip(&mut step_mm) {
            *step *= part;
            *fed = at + *step;
        }
        self.longest_mm = (2.0 * self.longest_mm).min(STEP_MM.0);
        self.whole_mm.clone_from(&step_mm);
        self.nearest = Some((worst_n, at_mm, step_mm));
    }
}

/// Equilibrium from straight rods to bent ones, by shares of the natural curvature, the first of them
/// `first_step`.
///
/// A rod with slack in a wide vessel answers loads of hundredths of a newton with centimetres of length,
/// and moments of a bend that does not lie where it will in the end make tenths: rounds between loads and
/// shape then run in circles. Held at its hub a rod follows its stiffness and its bend exactly and
/// descends on one energy; what is left to be sought is one number a rod, the length fed at which its tip
/// carries the load given.
///
/// # Errors
/// As [`super::settle::Settle::settle`], of the first state that is not found.
pub(crate) fn settle_bending(
    passes: &mut Passes,
    scene: &Scene<'_>,
    first_step: f64,
) -> Result<Solution, MechanicsError> {
    let straight = bent_by(0.0, scene.rods);
    let mut found = passes.start_from_scratch(&Scene {
        rods: &straight,
        ..*scene
    })?;
    let (mut share, mut step) = (0.0_f64, first_step);
    while share < 1.0 {
        let next = (share + step).min(1.0);
        match settle_fed(passes, scene, bent_by(next, scene.rods), &found) {
            Ok(followed) => (found, share) = (followed, next),
            Err(lost) if lost.is_lost() && step > LEAST_STEP => step *= 0.5,
            Err(lost) => return Err(lost),
        }
    }
    Ok(found)
}

/// Lengths fed, by rounds, at which the tips of `rods` carry their loads. Where these jump between two
/// shapes the nearer one is told, with a flag, if it misses them by less than friction leaves open.
fn settle_fed(
    passes: &mut Passes,
    scene: &Scene<'_>,
    mut rods: Vec<Rod>,
    before: &Solution,
) -> Result<Solution, MechanicsError> {
    let tips_n: Vec<f64> = rods
        .iter()
        .map(|rod| rod.frictionless_n().unwrap_or(f64::NAN))
        .collect();
    let mut feed = Feed::from(before);
    let mut from = before.clone();
    // of all shapes the one whose tips miss their loads least
    let mut told: Option<(f64, Solution)> = None;
    let mut rounds = 0;
    while rounds < MOST_ROUNDS && feed.longest_mm > STEP_MM.1 {
        rounds += 1;
        for (rod, fed_mm) in rods.iter_mut().zip(&feed.fed_mm) {
            rod.load = AxialLoad::HubHeld {
                load_n: vec![0.0; scene.tube.len()],
                spring_n_per_mm: HUB_N_PER_MM,
                rest_mm: *fed_mm,
            };
        }
        let posed = Scene {
            rods: &rods,
            ..*scene
        };
        let mut now = passes.follow_from(&posed, (&from).into())?;
        let missed_n: Vec<f64> = now
            .rods
            .iter()
            .zip(&tips_n)
            .map(|(rod, tip_n)| rod.load_n.last().map_or(f64::NAN, |load_n| load_n - tip_n))
            .collect();
        let worst_n = missed_n.iter().map(|n| n.abs()).fold(0.0, larger);
        if !worst_n.is_finite() {
            return Err(MechanicsError::NonFinite {
                what: "the load at a tip",
            });
        }
        if worst_n < LOADS_TO_FORCES * passes.ws.settings.gradient_tolerance_n {
            now.load_off_n = worst_n;
            return Ok(now);
        }
        let on = (feed.nearest.as_ref()).is_none_or(|(least_n, ..)| worst_n <= *least_n);
        if on {
            if told.as_ref().is_none_or(|(least_n, _)| worst_n < *least_n) {
                told = Some((worst_n, now.clone()));
            }
            feed.step_on(&now, &missed_n, worst_n);
            from = now;
        } else {
            feed.step_back();
        }
    }
    match told {
        Some((load_n, mut nearest)) if load_n < UNSETTLED_N => {
            nearest.load_off_n = load_n;
            if nearest.status == Status::Converged {
                nearest.status = Status::Unsettled { load_n };
            }
            nearest.flags.push(Flag::Unsettled { load_n });
            Ok(nearest)
        }
        told => Err(MechanicsError::LoadsNotSettled {
            rounds,
            change_n: told.map_or(f64::NAN, |(load_n, _)| load_n),
            off_mm: feed.longest_mm,
        }),
    }
}

/// The same rods with this share of their natural curvature.
fn bent_by(share: f64, rods: &[Rod]) -> Vec<Rod> {
    let mut rods = rods.to_vec();
    for rod in &mut rods {
        rod.natural = rod.natural.filter(|_| share > 0.0);
        if let Some(bend) = &mut rod.natural {
            bend.curvature_per_mm *= share;
        }
    }
    rods
}
