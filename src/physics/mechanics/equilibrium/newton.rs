//! Newton's method on the exact Hessian: shift where it is indefinite, backtracking on the energy.

use super::direction::Direction;
use super::line_search::LineSearch;
use super::stability;
use super::unknowns::Unknowns;
use super::work::Effort;
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::largest;
use crate::mechanics::rod::energy::Energy;
use crate::mechanics::rod::model::Model;

/// Share of the plain step's slope that a step with what was learnt must keep, or the plain one is taken: a
/// tenth still falls as fast as a backtracked step, less leads along the slope's contour.
const STEEP: f64 = 0.1;

/// How a run of Newton steps ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ended {
    pub(crate) converged: bool,
    pub(crate) residual_n: f64,
    /// Unknown with the largest residual.
    pub(crate) worst: usize,
}

/// Memory of the method, kept between solves.
#[derive(Debug, Clone, Default)]
pub(crate) struct Newton {
    pub(crate) at: Unknowns,
    pub(crate) direction: Direction,
    line_search: LineSearch,
    pub(crate) effort: Effort,
    /// The step as it was before it was accelerated, and where that leads.
    plain: Vec<f64>,
    accelerated: Vec<f64>,
    anderson: Anderson,
    mode: Vec<f64>,
}

impl Newton {
    /// Evaluates the model where it is, and notes what is out of balance.
    fn evaluate(&mut self, model: &mut Model) -> (Energy, Ended) {
        let energy = model.evaluate(&self.at.x, &self.at.rolls);
        (energy, self.note_residual(model))
    }

    fn note_residual(&mut self, model: &Model) -> Ended {
        let (residual_n, worst) = largest(&model.at.gradient, &model.at.by_roll.gradient);
        self.effort.history.residuals_n.push(residual_n);
        Ended {
            converged: false,
            residual_n,
            worst,
        }
    }

    /// Steps until the largest gradient entry is below `tolerance_n`, or `most_steps` in all.
    pub(crate) fn run(&mut self, model: &mut Model, tolerance_n: f64, most_steps: usize) -> Ended {
        let (mut energy, mut ended) = self.evaluate(model);
        self.effort.history.energies_n_mm.push(vec![energy.total]);
        self.anderson.restart();
        loop {
            if ended.residual_n < tolerance_n {
                return Ended {
                    converged: true,
                    ..ended
                };
            }
            if self.effort.history.steps >= most_steps || !ended.residual_n.is_finite() {
                return ended;
            }
            match self.step(model, energy, ended.residual_n) {
                Some(found) => energy = found,
                None => return ended,
            }
            if let Some(run) = self.effort.history.energies_n_mm.last_mut() {
                run.push(energy.total);
            }
            ended = self.note_residual(model);
        }
    }

    /// One step with its line search; the energy there, none where it finds no place.
    fn step(&mut self, model: &mut Model, energy: Energy, residual_n: f64) -> Option<Energy> {
        let most = self.direction.strategy.most_inner;
        for most_inner in [most, 1] {
            let how = (most_inner, true);
            (self.direction).find(model, &self.at.x, how, &mut self.effort)?;
            self.effort.history.steps += 1;
            let accelerated = most_inner > 1 && self.accelerate(model);
            let mut found = self.search(model, energy, residual_n);
            if found.is_none() && accelerated {
                self.direction.step.clone_from(&self.plain);
                found = self.search(model, energy, residual_n);
            }
            if found.is_some() {
                return found;
            }
        }
        None
    }

    fn search(&mut self, model: &mut Model, before: Energy, residual_n: f64) -> Option<Energy> {
        let step = &self.direction.step;
        self.line_search
            .search(model, &mut self.at, step, (before, residual_n))
    }

    /// Turns Newton's step into one that knows what the steps before left over: where stiffness
    /// follows the shape, the matrix lacks how, and steps of its own would creep. False where there is
    /// nothing to learn from or it leads uphill; the step as it was stays in `plain`.
    fn accelerate(&mut self, model: &Model) -> bool {
        if !model.follows_exactly() {
            return false;
        }
        let at = &self.at;
        let step = &mut self.direction.step;
        self.plain.clone_from(step);
        let rolls = at.free_rolls.iter().map(|k| at.rolls[*k]);
        let from = || at.x.iter().copied().chain(rolls.clone());
        self.accelerated.clear();
        self.accelerated.extend(from());
        self.anderson.step(&mut self.accelerated, &self.plain, None);
        for ((step, to), from) in step.iter_mut().zip(&self.accelerated).zip(from()) {
            *step = to - from;
        }
        let by_roll = &model.at.by_roll.gradient;
        let slopes = model.at.gradient.iter().chain(by_roll);
        let (mut along, mut plainly) = (0.0, 0.0);
        for ((g, s), p) in slopes.zip(step.iter()).zip(&self.plain) {
            along += g * s;
            plainly += g * p;
        }
        if along > STEEP * plainly {
            step.clone_from(&self.plain);
            return false;
        }
        true
    }

    /// Steps without line search, `renew` bringing coefficients up to date with every new place
    /// before it is evaluated: near a solution shape and coefficients converge together. None where the
    /// largest gradient entry does not fall fast; the place is then as it was, or lower.
    pub(crate) fn follow(
        &mut self,
        model: &mut Model,
        tolerance_n: f64,
        mut renew: impl FnMut(&mut Model, &Unknowns) -> bool,
    ) -> Option<Ended> {
        /// Most steps; a start that needs more is no near one.
        const MOST_STEPS: usize = 12;
        /// Share of the gradient that a step may leave, after a first that may leave all.
        const LEFT: f64 = 0.5;
        /// So many tolerances are near enough to wait for the coefficients even if a step leaves more.
        const NEAR: f64 = 300.0;
        let from = self.at.clone();
        let mut settled = renew(model, &self.at);
        let mut before_n = f64::INFINITY;
        let mut first_energy = 0.0;
        let mut fell = false;
        for step in 0..=MOST_STEPS {
            let (energy, ended) = self.evaluate(model);
            let residual_n = ended.residual_n;
            self.effort.history.energies_n_mm.push(vec![energy.total]);
            if residual_n < tolerance_n && settled {
                return Some(Ended {
                    converged: true,
                    ..ended
                });
            }
            if step == 0 {
                first_energy = energy.total;
            }
            fell = energy.total < first_energy;
            let falls = step < 2 || residual_n < LEFT * before_n || residual_n < NEAR * tolerance_n;
            before_n = residual_n;
            if step == MOST_STEPS || !falls {
                break;
            }
            let how = (self.direction.strategy.most_inner, false);
            let found = (self.direction).find(model, &self.at.x, how, &mut self.effort);
            if found != Some(false) {
                break;
            }
            self.effort.history.steps += 1;
            self.at.advance(&self.direction.step);
            settled = renew(model, &self.at);
        }
        if !fell {
            self.at.copy(&from);
        }
        None
    }

    /// Lowest eigenvalue of the Hessian where it is, N/mm; see [`stability::lowest_mode`].
    pub(crate) fn lowest_mode(&mut self, model: &mut Model) -> Option<f64> {
        stability::lowest_mode(model, &mut self.effort, &mut self.mode)
    }

    /// Leaves a saddle along the mode found last.
    pub(crate) fn leave_saddle(&mut self, model: &mut Model) {
        stability::leave_saddle(model, &mut self.at, &self.mode);
        self.direction.restart();
    }
}
