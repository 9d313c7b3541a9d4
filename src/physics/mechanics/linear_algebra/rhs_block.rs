//! Right-hand sides that one factor is used for: hub springs, rolls, the forces out of balance.

use super::banded::{BlockBanded, LANES, Lane, combine, gram, own_gram, products};
use super::small_dense::MOST_UNKNOWNS;

/// Most of them: a hub spring and a roll for every rod, and the forces out of balance.
pub(crate) const MOST_RHS: usize = 2 * MOST_UNKNOWNS + 1;

/// Their memory.
#[derive(Debug, Clone, Default)]
pub(crate) struct RhsBlock {
    /// Eight side by side, row after row; what does not fit, in the next eight.
    groups: [Vec<Lane>; MOST_RHS.div_ceil(LANES)],
    count: usize,
}

impl RhsBlock {
    /// Takes these, of `rows` rows each.
    pub(crate) fn set(&mut self, rows: usize, columns: &[&[f64]]) {
        self.count = columns.len();
        for (group, columns) in self.groups.iter_mut().zip(columns.chunks(LANES)) {
            group.clear();
            // row by row, so that each is written once
            let mut of_lane = [columns[0]; LANES];
            let mut used = [0.0; LANES];
            for (i, column) in columns.iter().enumerate() {
                of_lane[i] = column;
                used[i] = 1.0;
            }
            let of_lane = of_lane.map(|column| &column[..rows]);
            group.extend((0..rows).map(|row| std::array::from_fn(|l| used[l] * of_lane[l][row])));
        }
    }

    /// Takes all of them through the first half of a solve, `L^-1`.
    pub(crate) fn forward(&mut self, matrix: &BlockBanded) {
        for group in &mut self.groups[..self.count.div_ceil(LANES)] {
            matrix.forward_lanes(group);
        }
    }

    /// Products of each with the solution for each, after [`Self::forward`].
    pub(crate) fn gram(&self, matrix: &BlockBanded) -> [[f64; MOST_RHS]; MOST_RHS] {
        let mut found = [[0.0; MOST_RHS]; MOST_RHS];
        let scale = matrix.inverses();
        let groups = &self.groups[..self.count.div_ceil(LANES)];
        for (i, a) in groups.iter().enumerate() {
            for (j, b) in groups.iter().enumerate().take(i + 1) {
                let products = if i == j {
                    own_gram(a, scale, self.count - i * LANES)
                } else {
                    gram(a, b, scale)
                };
                for (k, row) in products.iter().enumerate() {
                    for (l, product) in row.iter().enumerate() {
                        let at = (i * LANES + k, j * LANES + l);
                        if at.0 < MOST_RHS && at.1 < MOST_RHS {
                            found[at.0][at.1] = *product;
                            found[at.1][at.0] = *product;
                        }
                    }
                }
            }
        }
        found
    }

    /// Products of `column` with each.
    pub(crate) fn products(&self, column: &[f64]) -> [f64; MOST_RHS] {
        let mut found = [0.0; MOST_RHS];
        let groups = &self.groups[..self.count.div_ceil(LANES)];
        for (found, group) in found.chunks_mut(LANES).zip(groups) {
            for (found, product) in found.iter_mut().zip(products(column, group)) {
                *found = product;
            }
        }
        found
    }

    /// Adds each, times its part, to `out`.
    pub(crate) fn combine(&self, parts: &[f64; MOST_RHS], out: &mut [f64]) {
        let groups = &self.groups[..self.count.div_ceil(LANES)];
        for (parts, group) in parts.chunks(LANES).zip(groups) {
            let mut lanes = [0.0; LANES];
            for (lane, part) in lanes.iter_mut().zip(parts) {
                *lane = *part;
            }
            combine(group, &lanes, out);
        }
    }
}
