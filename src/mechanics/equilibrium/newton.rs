//! Newton's method on the exact Hessian: shift where it is indefinite, backtracking on the energy.

use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::{dot, largest, largest_size};
use crate::mechanics::rod::contact_set::Along;
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
/// Longest step of an offset, mm: a step across a large vessel is allowed, one out of the route's
/// neighbourhood, where the quadratic model is worthless, is not.
const LONGEST_STEP_MM: f64 = 8.0;
/// Halvings before the line search gives up: 2^-30 of a step is lost in rounding.
const MOST_HALVINGS: usize = 30;
/// First shift, relative to the model's bound for the softest buckling mode. Modes are usually held
/// much better by walls than the bound says; too large a shift turns Newton's method into a crawl,
/// too small a one costs factorisations.
const FIRST_SHIFT: f64 = 1.0 / 64.0;
/// Growth of the shift until the matrix is positive definite, and its decay afterwards.
const SHIFT_GROWTH: f64 = 4.0;
const SHIFT_DECAY: f64 = 0.1;
/// Least shift that the matrix feels and largest worth trying, as shares of its largest diagonal: below, a
/// shift is lost in the rounding of a pivot (1e-16 times what was eliminated before it, a thousand times as
/// much); above, a step is the gradient over the shift and moves nothing.
const LEAST_SHIFT: f64 = 1e-13;
const LARGEST_SHIFT: f64 = 1e6;
/// Share of the plain step's slope that a step with what was learnt must keep, or the plain one is taken: a
/// tenth still falls as fast as a backtracked step, less leads along the slope's contour.
const STEEP: f64 = 0.1;

/// Share of the gradient to which the model with exact contacts is solved: smaller ones spend
/// factorisations on a model that bending bends away from, larger ones line searches.
const FORCING: f64 = 0.1;
/// The same near a solution, where a step costs more than a factorisation.
const FORCING_NEAR: f64 = 0.03;

/// How a step looks for the contacts that press.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pace {
    /// Most factorisations for one step. With more, steps far from the end cost more than they save.
    most_inner: usize,
    /// Of these, how many go the whole way: which contacts press settles sooner by going too far than
    /// by creeping along the model's slope.
    whole: usize,
    /// Whether contacts are taken at the force foreseen for them rather than where they lie, and finer
    /// levels are guessed in space rather than by offsets.
    pub(crate) foresees: bool,
}

impl Pace {
    /// Long steps, the usual ones.
    pub(crate) const LONG: Self = Self {
        most_inner: 6,
        whole: 3,
        foresees: true,
    };
    /// Short ones, which keep some rods that long ones lose.
    pub(crate) const CREEPING: Self = Self {
        most_inner: 8,
        whole: 1,
        foresees: false,
    };
}

impl Default for Pace {
    fn default() -> Self {
        Self::LONG
    }
}

/// How a run of Newton steps ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ended {
    pub(crate) converged: bool,
    pub(crate) residual_n: f64,
    /// Unknown with the largest residual.
    pub(crate) worst: usize,
}

/// What happened on the way.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct History {
    pub(crate) steps: usize,
    pub(crate) factorisations: usize,
    /// Largest force out of balance before every step, N.
    pub(crate) residuals_n: Vec<f64>,
    /// Energies of every run: the start, then after every step, N mm. A run ends where
    /// coefficients change.
    pub(crate) energies_n_mm: Vec<Vec<f64>>,
}

/// Memory of the method, kept between solves.
#[derive(Debug, Clone, Default)]
pub(crate) struct Newton {
    pub(crate) x: Vec<f64>,
    pub(crate) rolls: Vec<f64>,
    /// Which rod each unknown roll belongs to.
    pub(crate) free_rolls: Vec<usize>,
    step: Vec<f64>,
    delta: Vec<f64>,
    pull: Vec<f64>,
    change: Vec<f64>,
    best: Vec<f64>,
    trial: Vec<f64>,
    residual: Vec<f64>,
    roll_residual: Vec<f64>,
    old: Vec<f64>,
    old_rolls: Vec<f64>,
    columns: Vec<f64>,
    along: Vec<Along>,
    shift: f64,
    /// Whether the last matrix was positive definite as it was; none where contacts have changed since, or
    /// none was factorised since the start.
    pub(crate) definite: Option<bool>,
    pub(crate) pace: Pace,
    plain: Vec<f64>,
    near: Vec<f64>,
    anderson: Anderson,
    pub(crate) history: History,
    pub(crate) work: Work,
}

/// Work done and the most that may be: unknowns of all factorisations together, the same on every
/// machine.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Work {
    pub(crate) done: u64,
    pub(crate) most: u64,
}

impl Work {
    /// Counts a factorisation; false where that is one too many.
    pub(crate) fn factorise(&mut self, unknowns: usize) -> bool {
        self.done = self.done.saturating_add(unknowns as u64);
        !self.is_over()
    }

    pub(crate) const fn is_over(&self) -> bool {
        self.done > self.most
    }
}

impl Newton {
    /// Steps until the largest gradient entry is below `tolerance_n`, or `most_steps` in all.
    pub(crate) fn run(&mut self, model: &mut Model, tolerance_n: f64, most_steps: usize) -> Ended {
        let mut energy = model.evaluate(&self.x, &self.rolls);
        self.history.energies_n_mm.push(vec![energy.total]);
        self.anderson.restart();
        loop {
            let (residual_n, worst) = largest(&model.at.gradient, &model.at.by_roll.gradient);
            self.history.residuals_n.push(residual_n);
            let ended = |converged| Ended {
                converged,
                residual_n,
                worst,
            };
            if residual_n < tolerance_n {
                return ended(true);
            }
            if self.history.steps >= most_steps || !residual_n.is_finite() {
                return ended(false);
            }
            let mut found = None;
            for most_inner in [self.pace.most_inner, 1] {
                if self.direction(model, most_inner, true).is_none() {
                    return ended(false);
                }
                self.history.steps += 1;
                let learnt = most_inner > 1 && self.learn(model);
                found = self.search(model, energy, residual_n);
                if found.is_none() && learnt {
                    self.step.clone_from(&self.plain);
                    found = self.search(model, energy, residual_n);
                }
                if found.is_some() {
                    break;
                }
            }
            match found {
                Some(found) => energy = found,
                None => return ended(false),
            }
            if let Some(run) = self.history.energies_n_mm.last_mut() {
                run.push(energy.total);
            }
        }
    }

    /// Turns Newton's step into one that knows what the steps before left over: where stiffness
    /// follows the shape, the matrix lacks how, and steps of its own would creep. False where there is
    /// nothing to learn from or it leads uphill; the step as it was stays in `plain`.
    fn learn(&mut self, model: &Model) -> bool {
        if !model.follows_exactly() {
            return false;
        }
        let n = model.unknowns();
        self.plain.clone_from(&self.step);
        self.near.clear();
        self.near.extend_from_slice(&self.x);
        self.near
            .extend(self.free_rolls.iter().map(|k| self.rolls[*k]));
        self.anderson.step(&mut self.near, &self.plain, None);
        for (i, (step, to)) in self.step.iter_mut().zip(&self.near).enumerate() {
            let from = if i < n {
                self.x[i]
            } else {
                self.rolls[self.free_rolls[i - n]]
            };
            *step = to - from;
        }
        let slopes = model.at.gradient.iter().chain(&model.at.by_roll.gradient);
        let (mut along, mut plainly) = (0.0, 0.0);
        for ((g, s), p) in slopes.zip(&self.step).zip(&self.plain) {
            along += g * s;
            plainly += g * p;
        }
        if along > STEEP * plainly {
            self.step.clone_from(&self.plain);
            return false;
        }
        true
    }

    /// Steps without line search, `renew` bringing coefficients up to date with every new `x`
    /// before it is evaluated: near a solution shape and coefficients converge together. None where the
    /// largest gradient entry does not fall fast; `x` is then as it was, or lower.
    pub(crate) fn follow(
        &mut self,
        model: &mut Model,
        tolerance_n: f64,
        mut renew: impl FnMut(&mut Model, &[f64], &[f64]) -> bool,
    ) -> Option<Ended> {
        /// Most steps; a start that needs more is no near one.
        const MOST_STEPS: usize = 12;
        /// Share of the gradient that a step may leave, after a first that may leave all.
        const LEFT: f64 = 0.5;
        /// So many tolerances are near enough to wait for the coefficients even if a step leaves more.
        const NEAR: f64 = 300.0;
        let (from, from_rolls) = (self.x.clone(), self.rolls.clone());
        let mut settled = renew(model, &self.x, &self.rolls);
        let mut before_n = f64::INFINITY;
        let mut first_energy = 0.0;
        let mut fell = false;
        for step in 0..=MOST_STEPS {
            let energy = model.evaluate(&self.x, &self.rolls);
            let (residual_n, worst) = largest(&model.at.gradient, &model.at.by_roll.gradient);
            self.history.energies_n_mm.push(vec![energy.total]);
            self.history.residuals_n.push(residual_n);
            if residual_n < tolerance_n && settled {
                return Some(Ended {
                    converged: true,
                    residual_n,
                    worst,
                });
            }
            if step == 0 {
                first_energy = energy.total;
            }
            fell = energy.total < first_energy;
            let falls = step < 2 || residual_n < LEFT * before_n || residual_n < NEAR * tolerance_n;
            before_n = residual_n;
            if step == MOST_STEPS
                || !falls
                || self.direction(model, self.pace.most_inner, false) != Some(false)
            {
                break;
            }
            self.history.steps += 1;
            let n = model.unknowns();
            for (x, s) in self.x.iter_mut().zip(&self.step) {
                *x += s;
            }
            for (i, rod) in self.free_rolls.iter().enumerate() {
                self.rolls[*rod] += self.step[n + i];
            }
            settled = renew(model, &self.x, &self.rolls);
        }
        if fell {
            return None;
        }
        self.x = from;
        self.rolls = from_rolls;
        None
    }

    /// Puts the step into `step`; tells whether the matrix had to be shifted, none where no step
    /// was found or only one with a shift that is not allowed.
    ///
    /// Plain Newton linearises contact too: a stretch that has not reached the wall yet does not
    /// see it and steps through, and the line search then cuts the whole step to a few percent.
    /// So the step minimises the quadratic model of bending *plus the contacts as they are*, by
    /// Newton's method in turn; each of its iterations costs one factorisation and no evaluation
    /// of bending. Near the solution one is enough and the step is Newton's.
    fn direction(&mut self, model: &mut Model, most_inner: usize, shifted: bool) -> Option<bool> {
        let n = model.unknowns();
        let free = model.at.by_roll.gradient.len();
        model.assemble();
        let scale = if shifted {
            model.at.matrix.largest_diagonal()
        } else {
            0.0
        };
        let floor = (FIRST_SHIFT * model.at.softest).max(LEAST_SHIFT * scale);
        let mut shift = if shifted && self.shift > floor {
            self.shift
        } else {
            0.0
        };
        let forcing = if shifted { FORCING } else { FORCING_NEAR };
        let goal = forcing * largest_size(&model.at.gradient, &model.at.by_roll.gradient);
        self.step.clear();
        self.step.resize(n + free, 0.0);
        self.residual.clone_from(&model.at.gradient);
        self.roll_residual.clone_from(&model.at.by_roll.gradient);
        self.trial.clone_from(&self.x);
        self.pull.clear();
        self.pull
            .extend(model.at.smooth.iter().chain(&model.at.by_roll.gradient));
        let start = model.at.contacts.energy;
        let mut best = f64::INFINITY;
        let mut convex = false;
        self.definite = None;
        for inner in 0..most_inner {
            if inner > 0 {
                model.drop_negative_curvature();
            }
            loop {
                self.history.factorisations += 1;
                if !self.work.factorise(n) {
                    return None;
                }
                if self.solve_for(model, shift) {
                    break;
                }
                if !shifted {
                    return None;
                }
                if inner == 0 && !convex {
                    convex = true;
                    model.drop_negative_curvature();
                    continue;
                }
                shift = (shift * SHIFT_GROWTH).max(floor);
                if shift >= LARGEST_SHIFT * scale || scale.is_nan() {
                    return None;
                }
            }
            self.definite = (inner == 0).then_some(shift <= 0.0 && !convex);
            let part = self.model_part(model, inner);
            for (s, d) in self.step.iter_mut().zip(&self.delta) {
                *s += part * d;
            }
            // The model at the step: `pull` is its smooth part's gradient.
            for ((t, x), s) in self.trial.iter_mut().zip(&self.x).zip(&self.step) {
                *t = x + s;
            }
            for (p, c) in self.pull.iter_mut().zip(&self.change) {
                *p += part * c;
            }
            self.residual.clear();
            self.residual.extend_from_slice(&self.pull[..n]);
            self.roll_residual.clear();
            self.roll_residual.extend_from_slice(&self.pull[n..]);
            model.add_contact_gradient(&self.trial, &mut self.residual);
            let value = 0.5
                * (dot(&self.step, &self.pull)
                    + dot(&self.step[..n], &model.at.smooth)
                    + dot(&self.step[n..], &model.at.by_roll.gradient))
                + model.at.contacts.energy;
            let left = largest_size(&self.residual, &self.roll_residual);
            // A convex model that has fallen promises a descent; the first one is Newton's step.
            if (value < start && left < best) || inner == 0 {
                best = if value < start { left } else { f64::INFINITY };
                self.best.clone_from(&self.step);
            }
            if left <= goal {
                break;
            }
            if self.pace.foresees {
                model.predict_active_forces(&self.delta, part, &mut self.residual);
            }
        }
        self.step.clone_from(&self.best);
        self.shift = shift * SHIFT_DECAY;
        Some(shift > 0.0 || convex)
    }

    /// Puts the change of the model's smooth gradient along `delta` into `change` and returns how
    /// far to follow `delta`.
    ///
    /// The first iterations go the whole way, the very first through walls it did not see; later ones
    /// stop where the model's slope ends, or contacts flip in and out without end.
    fn model_part(&mut self, model: &Model, inner: usize) -> f64 {
        /// Share of the slope that may be left.
        const LEFT: f64 = 0.2;
        /// Most places tried.
        const MOST: usize = 8;
        // `delta` solves (smooth part + shift + contacts) delta = -residual, so the smooth part's
        // change needs no product with the whole matrix.
        self.change.clear();
        self.change
            .extend(self.residual.iter().chain(&self.roll_residual).map(|r| -r));
        model.take_contact_change(&self.delta, &mut self.change);
        if inner == 0 {
            let longest = self.delta.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
            return (LONGEST_STEP_MM / longest.max(1e-300)).min(1.0);
        }
        if inner < self.pace.whole {
            return 1.0;
        }
        let (pull, change) = (dot(&self.pull, &self.delta), dot(&self.change, &self.delta));
        model.contacts_along(&self.trial, &self.delta, &mut self.along);
        let slope = |t: f64| {
            let contacts: f64 = self
                .along
                .iter()
                .filter_map(|(law, at, along)| {
                    let pressed = law.press([at[0] + t * along[0], at[1] + t * along[1]])?;
                    Some(pressed.gradient[0] * along[0] + pressed.gradient[1] * along[1])
                })
                .sum();
            pull + t * change + contacts
        };
        let first = slope(0.0);
        let (mut low, mut high) = ((0.0, first), (1.0, slope(1.0)));
        if first >= 0.0 || high.1 <= -LEFT * first {
            return 1.0;
        }
        let mut t = 1.0;
        for _ in 0..MOST {
            // false position, kept off the ends
            t = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
            let margin = 0.1 * (high.0 - low.0);
            t = t.clamp(low.0 + margin, high.0 - margin);
            let here = slope(t);
            if here.abs() <= -LEFT * first {
                break;
            }
            if here < 0.0 {
                low = (t, here);
            } else {
                high = (t, here);
            }
        }
        t
    }

    /// Solves for the change of the step, unknown rolls included; false where the matrix, with hands and
    /// rolls, is not positive definite.
    fn solve_for(&mut self, model: &mut Model, shift: f64) -> bool {
        if model.springs.list.is_empty() && self.roll_residual.is_empty() {
            let definite = model.factorise(shift);
            self.delta.clear();
            self.delta.extend(self.residual.iter().map(|g| -g));
            if definite {
                model.solve(&mut self.delta);
            }
            return definite;
        }
        model.factorise_for(shift, &self.residual)
            && model.step(&self.roll_residual, shift, &mut self.delta)
    }

    /// Backtracks along `step`; leaves `x` and the model at the place accepted.
    fn search(&mut self, model: &mut Model, before: Energy, residual_n: f64) -> Option<Energy> {
        let n = model.unknowns();
        let slope: f64 = model
            .at
            .gradient
            .iter()
            .chain(&model.at.by_roll.gradient)
            .zip(&self.step)
            .map(|(g, s)| g * s)
            .sum();
        let longest = self.step.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        let mut part = (LONGEST_STEP_MM / longest.max(1e-300)).min(1.0);
        self.old.clone_from(&self.x);
        self.old_rolls.clone_from(&self.rolls);
        let rounding = ENERGY_ROUNDING * before.size;
        /// Rounding of an energy summed in another order, in units of its own.
        const ANOTHER_ORDER: f64 = 8.0;
        for halving in 0..MOST_HALVINGS {
            for ((x, old), s) in self.x.iter_mut().zip(&self.old).zip(&self.step) {
                *x = old + part * s;
            }
            for (i, rod) in self.free_rolls.iter().enumerate() {
                self.rolls[*rod] = self.old_rolls[*rod] + part * self.step[n + i];
            }
            let kept = if model.follows_exactly() {
                SUFFICIENT_BY_FLAT_VALLEYS
            } else {
                SUFFICIENT
            };
            let enough = before.total + kept * part * slope;
            if halving > 0 && model.follows_exactly() {
                // whole evaluations only where one may be taken
                let energy = model.energy(&self.x, &self.rolls);
                if !(energy <= enough || (energy - before.total).abs() <= ANOTHER_ORDER * rounding)
                {
                    part *= 0.5;
                    continue;
                }
            }
            let found = model.evaluate(&self.x, &self.rolls);
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
        self.x.clone_from(&self.old);
        self.rolls.clone_from(&self.old_rolls);
        model.evaluate(&self.x, &self.rolls);
        None
    }

    /// Forgets the shift of the last solve and what its matrix was.
    pub(crate) fn restart(&mut self) {
        self.shift = 0.0;
        self.definite = None;
    }

    /// Lowest eigenvalue of the Hessian at `x` and its direction (in `step`), by inverse
    /// iteration about a shift below it; none where that does not come to rest. (One below zero is told
    /// anyway: the iteration falls, and a saddle it is then.) The model must hold the Hessian at `x`.
    pub(crate) fn lowest_mode(&mut self, model: &mut Model) -> Option<f64> {
        /// Most iterations: the gap to the next mode is usually a factor, so 25 give three digits; modes
        /// nearly alike take more.
        const ITERATIONS: usize = 200;
        /// Change of the eigenvalue from one iteration to the next, as a share of its distance from the
        /// shift, at which it is taken: four digits even if the next mode is only a hundredth away.
        const AT_REST: f64 = 1e-6;
        /// First shift, as a share of the largest diagonal: well above rounding, so that the iteration's own
        /// products keep seven digits; doubled until it lies below the lowest eigenvalue.
        const FIRST: f64 = 1e-9;
        model.assemble();
        let scale = model.at.matrix.largest_diagonal();
        let mut shift = 0.0;
        let n = model.unknowns();
        loop {
            self.history.factorisations += 1;
            if !self.work.factorise(n) {
                return None;
            }
            if model.factorise(shift) {
                break;
            }
            shift = (2.0 * shift).max(FIRST * scale);
            if shift >= LARGEST_SHIFT * scale || scale.is_nan() {
                return None;
            }
        }
        // A fixed start without symmetry, so that no mode is missed and every run is alike.
        let mut state = 0.5_f64;
        self.step.clear();
        self.step.extend((0..n).map(|_| {
            state = (state * 997.0 + 0.618_033_988_75).fract();
            state - 0.5
        }));
        self.columns.clear();
        self.columns.resize(n, 0.0);
        let mut found = None;
        let mut before = f64::INFINITY;
        for _ in 0..ITERATIONS {
            let norm = self.step.iter().map(|s| s * s).sum::<f64>().sqrt();
            for s in &mut self.step {
                *s /= norm;
            }
            model.multiply(&self.step, &mut self.columns);
            let products = self.step.iter().zip(&self.columns).map(|(a, b)| a * b);
            let value: f64 = products.sum();
            model.solve(&mut self.step);
            let rests = (value - before).abs() <= AT_REST * (value + shift).abs();
            if rests || value < 0.0 {
                found = Some(value);
            }
            if rests {
                break;
            }
            before = value;
        }
        let norm = self.step.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        for s in &mut self.step {
            *s /= norm;
        }
        found
    }

    /// Leaves a saddle along the mode in `step`, to the side where the energy is lower.
    pub(crate) fn leave_saddle(&mut self, model: &mut Model) {
        /// First push, mm: small against any lumen, large against the rounding of the energy.
        const PUSH_MM: f64 = 0.02;
        self.old.clone_from(&self.x);
        let mut best = (f64::INFINITY, 0.0);
        for side in [PUSH_MM, -PUSH_MM] {
            for ((x, old), s) in self.x.iter_mut().zip(&self.old).zip(&self.step) {
                *x = old + side * s;
            }
            let energy = model.evaluate(&self.x, &self.rolls).total;
            if energy < best.0 {
                best = (energy, side);
            }
        }
        for ((x, old), s) in self.x.iter_mut().zip(&self.old).zip(&self.step) {
            *x = old + best.1 * s;
        }
        self.restart();
    }
}
