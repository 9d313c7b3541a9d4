//! Rods settled for the picture where the rehearsal has none.

use super::keys::moves;
use crate::math;
use crate::mechanics::{LoadSettings, MechanicsError, Settings};
use crate::procedure::{Passed, Plan, Rods, Shape, State};
use crate::threads::{all_of_them, in_order};
use std::sync::Arc;

/// Force out of balance, N, and rounds between tip loads and shape that do for a picture. Against shapes
/// that were settled to the end, axes lie off by 0.2 mm in neck and head, 1 mm in the aorta and 1.7 mm in the
/// arch (median over the default script), less than what is not known about friction does to them.
const PICTURE_N: f64 = 1e-3;
const ROUNDS: usize = 2;
/// Newton steps after which a shape is given up: three times what most take.
const STEPS: usize = 120;
/// Settling is given up for a run once this many of its shapes came to no rest.
const FAILURES: usize = 6;
/// Walls give by less than this, mm: an axis that leaves the healthy vessel by more found no rest.
const LEAVES_MM: f64 = 1.0;
/// Least shapes of a run: starting one anew takes as long as two or three others.
const RUN: usize = 6;

/// Rods that settle as far as a picture shows it: a force out of balance of a thousandth of a newton, two
/// rounds between tip loads and shape. Each shape starts from the one before.
#[derive(Debug, Clone)]
pub struct PictureRods(Rods);

impl Default for PictureRods {
    fn default() -> Self {
        let mut settings = Settings::default();
        settings.gradient_tolerance_n = PICTURE_N;
        settings.most_newton_steps = STEPS;
        let mut loads = LoadSettings::default();
        loads.gradient_tolerance_n = PICTURE_N;
        loads.most_rounds = ROUNDS;
        loads.most_unsettled_n = f64::INFINITY;
        Self(Rods::new(settings, loads))
    }
}

impl PictureRods {
    /// How the stack lies in a state; none where no device is in far enough to bend.
    ///
    /// # Errors
    /// [`MechanicsError`] where no equilibrium was found.
    pub fn settle(
        &mut self,
        plan: &Plan,
        state: &State,
    ) -> Result<Option<Arc<Shape>>, MechanicsError> {
        self.0.at_rest(plan, state)
    }
}

/// Shapes by step, and how many there should have been.
#[derive(Debug, Default)]
pub(super) struct Settled {
    pub(super) shapes: Vec<Option<Arc<Shape>>>,
    pub(super) wanted: usize,
    pub(super) missing: usize,
}

/// What came of a step.
enum Found {
    /// Nothing bends.
    Straight,
    Shape(Arc<Shape>),
    NoRest,
}

/// Settles what lies in the vessel after every step, without friction.
///
/// Within a run every shape starts from the one before. Runs begin where devices have left, whatever
/// threads there are: their number changes no bit of the result.
pub(super) fn settled(plan: &Plan, passed: &[Passed]) -> Settled {
    let runs = runs(passed);
    let found = in_order(&runs, all_of_them(), |run| settle(plan, passed, run));
    let mut out = Settled {
        shapes: vec![None; passed.len()],
        ..Settled::default()
    };
    for (step, found) in found.into_iter().flatten() {
        match found {
            Found::Straight => continue,
            Found::Shape(shape) => out.shapes[step] = Some(shape),
            Found::NoRest => out.missing += 1,
        }
        out.wanted += 1;
    }
    out
}

/// Steps after which something lies differently, in runs.
fn runs(passed: &[Passed]) -> Vec<Vec<usize>> {
    let inside = |state: &State| state.in_place.iter().flatten().count();
    let mut runs: Vec<Vec<usize>> = vec![Vec::new()];
    for (step, done) in passed.iter().enumerate().filter(|(_, done)| moves(done)) {
        let fewer = inside(&done.after) < inside(&done.before);
        match runs.last_mut() {
            Some(run) if !(fewer && run.len() >= RUN) => run.push(step),
            _ => runs.push(vec![step]),
        }
    }
    runs
}

fn settle(plan: &Plan, passed: &[Passed], run: &[usize]) -> Vec<(usize, Found)> {
    let mut rods = PictureRods::default();
    let mut failures = 0;
    let found = run.iter().map(|step| {
        if failures >= FAILURES {
            return (*step, Found::NoRest);
        }
        let found = match rods.settle(plan, &passed[*step].after) {
            Ok(None) => Found::Straight,
            Ok(Some(shape)) if stays(plan, &shape) => Found::Shape(shape),
            Ok(Some(_)) | Err(_) => {
                failures += 1;
                // the next one starts anew
                rods = PictureRods::default();
                Found::NoRest
            }
        };
        (*step, found)
    });
    found.collect()
}

/// Whether every axis lies in the vessel.
fn stays(plan: &Plan, shape: &Shape) -> bool {
    let rods = shape.stack.solution.iter().flat_map(|s| &s.rods);
    let mut nodes = rods.flat_map(|rod| rod.station_mm.iter().zip(&rod.offset_mm));
    nodes.all(|(s_mm, [u, v])| {
        math::hypot(*u, *v) < 0.5 * plan.track.healthy_diameter_at(*s_mm) + LEAVES_MM
    })
}
