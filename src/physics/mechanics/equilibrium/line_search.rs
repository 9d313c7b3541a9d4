//! Backtracking on the energy along a step.

use super::direction::LONGEST_STEP_MM;
use super::unknowns::Unknowns;
use crate::mechanics::linear_algebra::norms::largest;
use crate::mechanics::rod::energy::Energy;
use crate::mechanics::rod::model::Model;

/// Share of the decrease promised by the slope that a step must keep. Armijo's usual 1e-4: rules
/// out steps that only seem to descend, refuses nothing else.
const SUFFICIENT: f64 = 1e-4;
/// The same for rods held at their hubs (a quadratic keeps half): in the flat valleys of bundles two
/// states on either side would alternate for ever.
const SUFFICIENT_BY_FLAT_VALLEYS: f64 = 0.1;
/// Rounding of a sum of energies, relative to the sizes summed: a few thousand terms of 1e-16.
const ENERGY_ROUNDING: f64 = 1e-14;
/// Rounding of an energy summed in another order, in units of its own.
const ANOTHER_ORDER: f64 = 8.0;
/// Halvings before the line search gives up: 2^-30 of a step is lost in rounding.
const MOST_HALVINGS: usize = 30;

/// Memory of a search.
#[derive(Debug, Clone, Default)]
pub(crate) struct LineSearch {
    from: Unknowns,
}

impl LineSearch {
    /// Backtracks along `step`; leaves the unknowns and the model at the place accepted, where they were if
    /// there is none.
    pub(crate) fn search(
        &mut self,
        model: &mut Model,
        at: &mut Unknowns,
        step: &[f64],
        (before, residual_n): (Energy, f64),
    ) -> Option<Energy> {
        let by_roll = &model.at.by_roll.gradient;
        let slopes = model.at.gradient.iter().chain(by_roll).zip(step);
        let slope: f64 = slopes.map(|(g, s)| g * s).sum();
        let longest = step.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        let mut part = (LONGEST_STEP_MM / longest.max(1e-300)).min(1.0);
        self.from.copy(at);
        let rounding = ENERGY_ROUNDING * before.size;
        for halving in 0..MOST_HALVINGS {
            at.set_along(&self.from, part, step);
            let kept = if model.follows_exactly() {
                SUFFICIENT_BY_FLAT_VALLEYS
            } else {
                SUFFICIENT
            };
            let enough = before.total + kept * part * slope;
            if halving > 0 && model.follows_exactly() {
                // whole evaluations only where one may be taken
                let energy = model.energy(&at.x, &at.rolls);
                if !(energy <= enough || (energy - before.total).abs() <= ANOTHER_ORDER * rounding)
                {
                    part *= 0.5;
                    continue;
                }
            }
            let found = model.evaluate(&at.x, &at.rolls);
            if found.total <= enough {
                return Some(found);
            }
            // Where the energy's change is below its rounding the gradient decides.
            if (found.total - before.total).abs() <= rounding
                && largest(&model.at.gradient, &model.at.by_roll.gradient).0 < residual_n
            {
                return Some(found);
            }
            part *= 0.5;
        }
        at.copy(&self.from);
        model.evaluate(&at.x, &at.rolls);
        None
    }
}
