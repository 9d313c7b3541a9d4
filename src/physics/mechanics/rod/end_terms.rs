//! Axial load on the half cells at the ends of the rods.

use super::dof::edge;
use super::energy::Energy;
use super::terms::EndTerm;
use crate::geometry::{Frame, Vector};
use crate::mechanics::linear_algebra::banded::BlockBanded;

/// The edge of an end at `x`, and the frames of its nodes.
pub(crate) fn end_edge<'a>(
    end: &EndTerm,
    frames: &'a [Frame],
    x: &[f64],
) -> ([&'a Frame; 2], Vector) {
    let frames = end.frame.map(|f| &frames[f as usize]);
    let at = end.dof.map(|dof| dof.offset(x));
    (frames, edge(frames[0], at[0], frames[1], at[1]))
}

/// Adds the gradient of `load` (N, or 1 for a length) times the length of an end's edge.
pub(crate) fn add_length_gradient(
    end: &EndTerm,
    (frames, e): ([&Frame; 2], Vector),
    load: f64,
    gradient: &mut [f64],
) {
    let length = e.norm();
    for (i, sign) in [-1.0, 1.0].into_iter().enumerate() {
        let scale = load * sign / length;
        let by_offset = [scale * frames[i].n1.dot(&e), scale * frames[i].n2.dot(&e)];
        end.dof[i].add_to(gradient, by_offset);
    }
}

/// Adds energy and gradient of the loads at the ends: `load_n` and what is added to it by end.
pub(crate) fn evaluate(
    (ends, frames): (&[EndTerm], &[Frame]),
    x: &[f64],
    (load_n, added_n): (&[f64], &[f64]),
    energy: &mut Energy,
    gradient: &mut [f64],
) {
    for ((end, load_n), added_n) in ends.iter().zip(load_n).zip(added_n) {
        let load = load_n + added_n;
        if load.abs() > 0.0 {
            let edge = end_edge(end, frames, x);
            add_length_gradient(end, edge, load, gradient);
            energy.add(load * edge.1.norm());
        }
    }
}

/// Adds the Hessian of `load * length` of one end's edge.
pub(crate) fn assemble(
    matrix: &mut BlockBanded,
    end: &EndTerm,
    load: f64,
    frames: &[Frame],
    e: Vector,
) {
    let length = e.norm();
    let t = e / length;
    let sign = [-1.0, 1.0];
    let frames = end.frame.map(|f| &frames[f as usize]);
    for (i, fi) in frames.iter().enumerate() {
        if end.dof[i].is_fixed() {
            continue;
        }
        for (j, fj) in frames.iter().enumerate().take(i + 1) {
            if end.dof[j].is_fixed() {
                continue;
            }
            let scale = load * sign[i] * sign[j] / length;
            let entry = |a: &Vector, b: &Vector| scale * (a.dot(b) - a.dot(&t) * b.dot(&t));
            matrix.add(
                end.dof[i].at(),
                end.dof[j].at(),
                [
                    entry(&fi.n1, &fj.n1),
                    entry(&fi.n1, &fj.n2),
                    entry(&fi.n2, &fj.n1),
                    entry(&fi.n2, &fj.n2),
                ],
            );
        }
    }
}
