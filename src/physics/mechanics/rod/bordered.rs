//! The whole linear system: the banded matrix with the rank-one terms of hub springs, by the formula of
//! Sherman, Morrison and Woodbury, and with the unknown rolls as its border, by their Schur complement.

use super::hub_spring::HubSpring;
use super::scene::MOST_RODS;
use crate::mechanics::linear_algebra::banded::BlockBanded;
use crate::mechanics::linear_algebra::rhs_block::{MOST_RHS, RhsBlock};
use crate::mechanics::linear_algebra::small_dense::small_solve;
use nalgebra::{Const, LU, SMatrix, SVector};

/// What couples the springs.
type Small = SMatrix<f64, MOST_RODS, MOST_RODS>;

/// Memory of solves with one factor.
#[derive(Debug, Clone, Default)]
pub(crate) struct Bordered {
    /// The length gradient of every spring, and what else is solved with them, half way through the solve.
    sides: RhsBlock,
    /// Products of each with the solution for each.
    products: [[f64; MOST_RHS]; MOST_RHS],
    /// What couples the springs when solving; ones where there are fewer of them.
    small: Option<LU<f64, Const<MOST_RODS>, Const<MOST_RODS>>>,
    springs: usize,
}

/// Rolls' part of a system: how they answer themselves, and what they are out of balance by.
#[derive(Clone, Copy)]
pub(crate) struct RollSystem<'a> {
    pub(crate) hessian: &'a [f64],
    pub(crate) residual: &'a [f64],
}

/// Parts of the springs, the first of the sides.
fn sides_of(springs: &[f64; MOST_RODS], sign: f64) -> [f64; MOST_RHS] {
    let mut parts = [0.0; MOST_RHS];
    for (part, spring) in parts.iter_mut().zip(springs) {
        *part = sign * spring;
    }
    parts
}

impl Bordered {
    /// Makes ready to solve with the matrix just factorised, which has this many negative
    /// eigenvalues, and solves for the rolls and the forces out of balance, if any are given;
    /// whether it is positive definite with the springs.
    ///
    /// `H + A K A'` has as many negative eigenvalues as `H` less those of the small matrix
    /// `1/K + A' H^-1 A`: both come from the two ways to eliminate from one bordered matrix.
    pub(crate) fn prepare(
        &mut self,
        matrix: &BlockBanded,
        springs: &[HubSpring],
        border: &[f64],
        negative: usize,
        residual: Option<&[f64]>,
    ) -> bool {
        let rows = matrix.unknowns();
        let mut columns: [&[f64]; MOST_RHS] = [&[]; MOST_RHS];
        let lengths = springs.iter().map(|spring| &spring.length_gradient[..]);
        let others = residual.iter().flat_map(|residual| {
            let borders = border.chunks_exact(rows.max(1));
            borders.chain([*residual])
        });
        let mut sides = 0;
        for (column, side) in columns.iter_mut().zip(lengths.chain(others)) {
            *column = side;
            sides += 1;
        }
        self.sides.set(rows, &columns[..sides]);
        self.sides.forward(matrix);
        self.products = self.sides.gram(matrix);
        self.springs = springs.len();
        if springs.is_empty() {
            return negative == 0;
        }
        let mut small = Small::identity();
        for (i, spring) in springs.iter().enumerate() {
            for j in 0..springs.len() {
                small[(i, j)] = self.products[i][j];
            }
            small[(i, i)] += 1.0 / spring.stiffness_n_per_mm;
        }
        let values = small.symmetric_eigenvalues();
        self.small = Some(small.lu());
        values.iter().filter(|v| **v < 0.0).count() == negative
    }

    /// What the springs take of a solution whose products with them are these.
    fn taken_by_springs(&self, products: impl Fn(usize) -> f64) -> [f64; MOST_RODS] {
        let mut parts = SVector::<f64, MOST_RODS>::zeros();
        if let Some(small) = self.small.as_ref().filter(|_| self.springs > 0) {
            for i in 0..self.springs {
                parts[i] = products(i);
            }
            if !small.solve_mut(&mut parts) {
                parts.fill(0.0);
            }
        }
        parts.into()
    }

    /// Solves with the factorised matrix, springs included.
    pub(crate) fn solve(&self, matrix: &BlockBanded, x: &mut [f64]) {
        if self.springs == 0 {
            matrix.solve(x);
            return;
        }
        matrix.forward_alone(x);
        for (x, inverse) in x.iter_mut().zip(matrix.inverses()) {
            *x *= inverse;
        }
        let products = self.sides.products(x);
        let parts = sides_of(&self.taken_by_springs(|i| products[i]), -1.0);
        let mut taken = vec![0.0; x.len()];
        self.sides.combine(&parts, &mut taken);
        for ((x, taken), inverse) in x.iter_mut().zip(taken).zip(matrix.inverses()) {
            *x += taken * inverse;
        }
        matrix.backward_alone(x);
    }

    /// The step against the forces out of balance that were given to [`Self::prepare`], then those of
    /// the rolls; false where the rolls make the whole indefinite.
    pub(crate) fn step(
        &self,
        matrix: &BlockBanded,
        rolls: RollSystem<'_>,
        shift: f64,
        delta: &mut Vec<f64>,
    ) -> bool {
        let (springs, free) = (self.springs, rolls.residual.len());
        let products = &self.products;
        let last = springs + free;
        // what the springs take of every roll and of the forces
        let mut taken = [[0.0; MOST_RODS]; MOST_RODS + 1];
        for (taken, side) in taken.iter_mut().zip(springs..=last) {
            *taken = self.taken_by_springs(|i| products[i][side]);
        }
        let mut turn = [0.0; MOST_RODS];
        let mut schur = [[0.0; MOST_RODS]; MOST_RODS];
        for i in 0..free {
            let own = &products[springs + i];
            let left = |j: usize| {
                let by_springs: f64 = (0..springs).map(|h| taken[j][h] * own[h]).sum();
                own[springs + j] - by_springs
            };
            for (j, entry) in schur[i][..free].iter_mut().enumerate() {
                *entry = -left(j);
            }
            schur[i][i] += rolls.hessian[i] + shift;
            turn[i] = left(free) - rolls.residual[i];
        }
        if !small_solve(&mut schur, &mut turn, free, 1e-12) {
            return false;
        }
        let mut parts = sides_of(&taken[free], 1.0);
        parts[last] = -1.0;
        for (j, turn) in turn[..free].iter().enumerate() {
            parts[springs + j] = -turn;
            for h in 0..springs {
                parts[h] += turn * taken[j][h];
            }
        }
        delta.clear();
        delta.resize(matrix.unknowns(), 0.0);
        self.sides.combine(&parts, delta);
        matrix.finish(delta);
        delta.extend_from_slice(&turn[..free]);
        true
    }

    /// By how much held rods lengthen for a push of 1 N on each, mm/N, by the last factorisation.
    pub(crate) fn compliance_mm_per_n(
        &self,
        springs: &[HubSpring],
    ) -> [[f64; MOST_RODS]; MOST_RODS] {
        let mut compliance = [[0.0; MOST_RODS]; MOST_RODS];
        for (i, a) in springs.iter().enumerate() {
            for (j, b) in springs.iter().enumerate() {
                compliance[a.rod][b.rod] = self.products[i][j];
            }
        }
        compliance
    }
}
