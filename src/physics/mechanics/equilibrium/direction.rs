//! The step of Newton's method: the lowest place of bending's quadratic model with the contacts as they are.

use super::work::Effort;
use crate::mechanics::linear_algebra::norms::{dot, largest_size};
use crate::mechanics::rod::contact_set::Along;
use crate::mechanics::rod::model::Model;

/// Longest step of an offset, mm: a step across a large vessel is allowed, one out of the route's
/// neighbourhood, where the quadratic model is worthless, is not.
pub(crate) const LONGEST_STEP_MM: f64 = 8.0;
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
pub(crate) const LARGEST_SHIFT: f64 = 1e6;

/// Share of the gradient to which the model with exact contacts is solved: smaller ones spend
/// factorisations on a model that bending bends away from, larger ones line searches.
const FORCING: f64 = 0.1;
/// The same near a solution, where a step costs more than a factorisation.
const FORCING_NEAR: f64 = 0.03;

/// Inner strategy: how a step looks for the contacts that carry force.
#[derive(Debug, Clone, Copy)]
pub(crate) struct InnerStrategy {
    /// Most factorisations for one step. With more, steps far from the end cost more than they save.
    pub(crate) most_inner: usize,
    /// Of these, how many go the whole way: which contacts carry force settles sooner by going too far than
    /// by creeping along the model's slope.
    whole: usize,
    /// Whether contacts are taken at the force predicted for them rather than where they lie, and finer
    /// levels are guessed in space rather than by offsets.
    pub(crate) predicts: bool,
}

impl InnerStrategy {
    /// Long steps, the usual ones.
    pub(crate) const LONG: Self = Self {
        most_inner: 6,
        whole: 3,
        predicts: true,
    };
    /// Short ones, which keep some rods that long ones lose.
    pub(crate) const SHORT: Self = Self {
        most_inner: 8,
        whole: 1,
        predicts: false,
    };
}

impl Default for InnerStrategy {
    fn default() -> Self {
        Self::LONG
    }
}

/// A shift of the matrix's diagonal, N/mm, and what bounds it.
#[derive(Clone, Copy)]
struct Shift {
    value: f64,
    floor: f64,
    scale: f64,
}

impl Shift {
    /// Makes it larger; none where it is as large as the matrix itself.
    fn grow(&mut self) -> Option<()> {
        self.value = (self.value * SHIFT_GROWTH).max(self.floor);
        (self.value < LARGEST_SHIFT * self.scale && !self.scale.is_nan()).then_some(())
    }
}

/// Memory of the search for a step.
#[derive(Debug, Clone, Default)]
pub(crate) struct Direction {
    /// Offsets, then unknown rolls.
    pub(crate) step: Vec<f64>,
    delta: Vec<f64>,
    /// Gradient of the model's smooth part at the step, and its change along `delta`.
    smooth: Vec<f64>,
    change: Vec<f64>,
    best: Vec<f64>,
    trial: Vec<f64>,
    residual: Vec<f64>,
    roll_residual: Vec<f64>,
    along: Vec<Along>,
    shift: f64,
    /// Whether the last matrix was positive definite as it was; none where contacts have changed since, or
    /// none was factorised since the start.
    pub(crate) definite: Option<bool>,
    pub(crate) strategy: InnerStrategy,
}

impl Direction {
    /// Puts the step from `x` into `step`; tells whether the matrix had to be changed, none where no step
    /// was found or only one with a change that is not allowed (`shifted`).
    ///
    /// Plain Newton linearises contact too: a stretch that has not reached the wall yet does not
    /// see it and steps through, and the line search then cuts the whole step to a few percent.
    /// So the step minimises the quadratic model of bending *plus the contacts as they are*, by
    /// Newton's method in turn; each of its iterations costs one factorisation and no evaluation
    /// of bending. Near the solution one is enough and the step is Newton's.
    pub(crate) fn find(
        &mut self,
        model: &mut Model,
        x: &[f64],
        (most_inner, shifted): (usize, bool),
        effort: &mut Effort,
    ) -> Option<bool> {
        model.assemble();
        let mut shift = self.first_shift(model, shifted);
        let forcing = if shifted { FORCING } else { FORCING_NEAR };
        let goal = forcing * largest_size(&model.at.gradient, &model.at.by_roll.gradient);
        self.begin(model, x);
        let start = model.at.contacts.energy;
        let mut best = f64::INFINITY;
        let mut convex = false;
        self.definite = None;
        for inner in 0..most_inner {
            if inner > 0 {
                model.drop_negative_curvature();
            }
            loop {
                effort.factorise(model.unknowns())?;
                if self.solve(model, shift.value) {
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
                shift.grow()?;
            }
            self.definite = (inner == 0).then_some(shift.value <= 0.0 && !convex);
            let part = self.step_length(model, inner);
            let value = self.advance(model, x, part);
            let left = largest_size(&self.residual, &self.roll_residual);
            // A convex model that has fallen promises a descent; the first one is Newton's step.
            if (value < start && left < best) || inner == 0 {
                best = if value < start { left } else { f64::INFINITY };
                self.best.clone_from(&self.step);
            }
            if left <= goal {
                break;
            }
            if self.strategy.predicts {
                model.predict_active_forces(&self.delta, part, &mut self.residual);
            }
        }
        self.step.clone_from(&self.best);
        self.shift = shift.value * SHIFT_DECAY;
        Some(shift.value > 0.0 || convex)
    }

    fn first_shift(&self, model: &Model, shifted: bool) -> Shift {
        let scale = if shifted {
            model.at.matrix.largest_diagonal()
        } else {
            0.0
        };
        let floor = (FIRST_SHIFT * model.at.softest).max(LEAST_SHIFT * scale);
        let value = if shifted && self.shift > floor {
            self.shift
        } else {
            0.0
        };
        Shift {
            value,
            floor,
            scale,
        }
    }

    /// Begins with no step: the model is the energy at `x`.
    fn begin(&mut self, model: &Model, x: &[f64]) {
        let by_roll = &model.at.by_roll.gradient;
        self.step.clear();
        self.step.resize(model.unknowns() + by_roll.len(), 0.0);
        self.residual.clone_from(&model.at.gradient);
        self.roll_residual.clone_from(by_roll);
        self.trial.clear();
        self.trial.extend_from_slice(x);
        self.smooth.clear();
        self.smooth.extend(model.at.smooth.iter().chain(by_roll));
    }

    /// Follows `delta` for a part; the model's energy there, N mm, with what is out of balance in `residual`.
    fn advance(&mut self, model: &mut Model, x: &[f64], part: f64) -> f64 {
        for (s, d) in self.step.iter_mut().zip(&self.delta) {
            *s += part * d;
        }
        for ((t, x), s) in self.trial.iter_mut().zip(x).zip(&self.step) {
            *t = x + s;
        }
        for (p, c) in self.smooth.iter_mut().zip(&self.change) {
            *p += part * c;
        }
        let n = model.unknowns();
        self.residual.clear();
        self.residual.extend_from_slice(&self.smooth[..n]);
        self.roll_residual.clear();
        self.roll_residual.extend_from_slice(&self.smooth[n..]);
        model.add_contact_gradient(&self.trial, &mut self.residual);
        0.5 * (dot(&self.step, &self.smooth)
            + dot(&self.step[..n], &model.at.smooth)
            + dot(&self.step[n..], &model.at.by_roll.gradient))
            + model.at.contacts.energy
    }

    /// Puts the change of the model's smooth gradient along `delta` into `change` and returns how
    /// far to follow `delta`.
    ///
    /// The first iterations go the whole way, the very first through walls it did not see; later ones
    /// stop where the model's slope ends, or contacts flip in and out without end.
    fn step_length(&mut self, model: &Model, inner: usize) -> f64 {
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
        if inner < self.strategy.whole {
            return 1.0;
        }
        let (smooth, change) = (
            dot(&self.smooth, &self.delta),
            dot(&self.change, &self.delta),
        );
        model.contacts_along(&self.trial, &self.delta, &mut self.along);
        end_of_slope(|t: f64| {
            let contacts: f64 = self
                .along
                .iter()
                .filter_map(|(law, at, along)| {
                    let pressed = law.evaluate([at[0] + t * along[0], at[1] + t * along[1]])?;
                    Some(pressed.gradient[0] * along[0] + pressed.gradient[1] * along[1])
                })
                .sum();
            smooth + t * change + contacts
        })
    }

    /// Solves for the change of the step, unknown rolls included; false where the matrix, with hub springs
    /// and rolls, is not positive definite.
    fn solve(&mut self, model: &mut Model, shift: f64) -> bool {
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

    /// Forgets the shift of the last solve and what its matrix was.
    pub(crate) fn restart(&mut self) {
        self.shift = 0.0;
        self.definite = None;
    }
}

/// Where, up to 1, a slope that begins below nought has nearly ended; 1 where it does not begin so.
fn end_of_slope(slope: impl Fn(f64) -> f64) -> f64 {
    /// Share of the slope that may be left.
    const LEFT: f64 = 0.2;
    /// Most places tried.
    const MOST: usize = 8;
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
