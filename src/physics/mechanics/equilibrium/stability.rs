//! Stability of a state: the lowest mode of its Hessian, and the way off a saddle.

use super::direction::LARGEST_SHIFT;
use super::unknowns::Unknowns;
use super::work::Effort;
use crate::mechanics::rod::model::Model;

/// Lowest eigenvalue of the Hessian, N/mm, by inverse iteration about a shift below it; `mode` is given its
/// direction, with the largest entry 1. None where that does not come to rest. (One below zero is told
/// anyway: the iteration falls, and a saddle it is then.) The model must hold the Hessian.
pub(crate) fn lowest_mode(
    model: &mut Model,
    effort: &mut Effort,
    mode: &mut Vec<f64>,
) -> Option<f64> {
    /// Most iterations: the gap to the next mode is usually a factor, so 25 give three digits; modes
    /// nearly alike take more.
    const ITERATIONS: usize = 200;
    /// Change of the eigenvalue from one iteration to the next, as a share of its distance from the
    /// shift, at which it is taken: four digits even if the next mode is only a hundredth away.
    const AT_REST: f64 = 1e-6;
    model.assemble();
    let shift = factorise_shifted(model, effort)?;
    begin_without_symmetry(mode, model.unknowns());
    let mut product = vec![0.0; mode.len()];
    let mut found = None;
    let mut before = f64::INFINITY;
    for _ in 0..ITERATIONS {
        let norm = mode.iter().map(|s| s * s).sum::<f64>().sqrt();
        for s in mode.iter_mut() {
            *s /= norm;
        }
        model.multiply(mode, &mut product);
        let products = mode.iter().zip(&product).map(|(a, b)| a * b);
        let value: f64 = products.sum();
        model.solve(mode);
        let rests = (value - before).abs() <= AT_REST * (value + shift).abs();
        if rests || value < 0.0 {
            found = Some(value);
        }
        if rests {
            break;
        }
        before = value;
    }
    let norm = mode.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
    for s in mode {
        *s /= norm;
    }
    found
}

/// Factorises the Hessian with the least shift that makes it positive definite, and returns that.
fn factorise_shifted(model: &mut Model, effort: &mut Effort) -> Option<f64> {
    /// First shift, as a share of the largest diagonal: well above rounding, so that the iteration's own
    /// products keep seven digits; doubled until it lies below the lowest eigenvalue.
    const FIRST: f64 = 1e-9;
    let scale = model.at.matrix.largest_diagonal();
    let mut shift = 0.0;
    loop {
        effort.factorise(model.unknowns())?;
        if model.factorise(shift) {
            return Some(shift);
        }
        shift = (2.0 * shift).max(FIRST * scale);
        if shift >= LARGEST_SHIFT * scale || scale.is_nan() {
            return None;
        }
    }
}

/// A fixed start without symmetry, so that no mode is missed and every run is alike.
fn begin_without_symmetry(mode: &mut Vec<f64>, unknowns: usize) {
    let mut state = 0.5_f64;
    mode.clear();
    mode.extend((0..unknowns).map(|_| {
        state = (state * 997.0 + 0.618_033_988_75).fract();
        state - 0.5
    }));
}

/// Leaves a saddle along its mode, to the side where the energy is lower.
pub(crate) fn leave_saddle(model: &mut Model, at: &mut Unknowns, mode: &[f64]) {
    /// First push, mm: small against any lumen, large against the rounding of the energy.
    const PUSH_MM: f64 = 0.02;
    let from = at.x.clone();
    let push = |side: f64, x: &mut [f64]| {
        for ((x, old), s) in x.iter_mut().zip(&from).zip(mode) {
            *x = old + side * s;
        }
    };
    let mut best = (f64::INFINITY, 0.0);
    for side in [PUSH_MM, -PUSH_MM] {
        push(side, &mut at.x);
        let energy = model.evaluate(&at.x, &at.rolls).total;
        if energy < best.0 {
            best = (energy, side);
        }
    }
    push(best.1, &mut at.x);
}
