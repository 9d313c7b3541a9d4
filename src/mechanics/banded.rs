//! Cholesky factorisation of a symmetric matrix in blocks, coupled two blocks to either side.
//!
//! One block holds the unknowns of all devices at one station, so a block is as large as the
//! number of devices that reach it: distal stations, where one wire lies alone, cost a
//! hundredth of proximal ones. Bending couples a station to two neighbours on either side.
//!
//! Storage: panel `i` holds the columns of block `i`, rows of blocks `i..=i + 2`, column by
//! column. Rows are padded with zeros so that the update of the trailing blocks runs in tiles of
//! [`TILE`] by [`TILE`] without remainders.

/// Edge of the square tiles of the update. Four doubles fill two or one vector registers; 4 x 4
/// sums stay in registers on any 64-bit processor, larger tiles spill on the oldest.
const TILE: usize = 4;

/// Right-hand sides solved at once.
pub(crate) const LANES: usize = 4;

/// A symmetric block matrix and its factor.
#[derive(Debug, Clone, Default)]
pub(crate) struct BlockBanded {
    /// First unknown of each block, and the number of unknowns at the end.
    start: Vec<usize>,
    /// Rows of each panel, padding included.
    lead: Vec<usize>,
    /// Where each panel begins in `values`.
    offset: Vec<usize>,
    /// `values[column[c] + r]` is entry `(r, c)`, `r >= c`.
    column: Vec<usize>,
    values: Vec<f64>,
    factor: Vec<f64>,
}

/// Rounds up to whole tiles.
const fn padded(rows: usize) -> usize {
    rows.div_ceil(TILE) * TILE
}

impl BlockBanded {
    /// Lays the matrix out for blocks of these sizes, keeping memory already held.
    pub(crate) fn lay_out(&mut self, block_sizes: &[usize]) {
        let blocks = block_sizes.len();
        let size = |i: usize| block_sizes.get(i).copied().unwrap_or(0);
        self.start.clear();
        self.lead.clear();
        self.offset.clear();
        self.column.clear();
        let (mut start, mut offset) = (0, 0);
        for i in 0..blocks {
            let lead = size(i) + padded(size(i + 1) + size(i + 2)) + TILE;
            self.start.push(start);
            self.lead.push(lead);
            self.offset.push(offset);
            // offset >= start because every column is longer than one entry
            self.column
                .extend((0..size(i)).map(|c| offset + c * lead - start));
            start += size(i);
            offset += lead * size(i);
        }
        self.start.push(start);
        self.values.clear();
        self.values.resize(offset, 0.0);
        self.factor.clear();
        self.factor.resize(offset, 0.0);
    }

    /// Number of unknowns.
    pub(crate) fn unknowns(&self) -> usize {
        self.start.last().copied().unwrap_or(0)
    }

    /// Sets every entry to zero.
    pub(crate) fn clear(&mut self) {
        self.values.fill(0.0);
    }

    /// Adds the 2 x 2 block `m` (row-major) whose rows start at unknown `row` and whose columns
    /// start at `col`; the transpose where that lies above the diagonal.
    #[inline]
    pub(crate) fn add(&mut self, row: usize, col: usize, m: [f64; 4]) {
        add_block(&mut self.values, &self.column, row, col, m);
    }

    /// Copies the matrix plus `shift` on its diagonal to where it will be factorised; more can be
    /// added there with [`Self::add_loaded`] without touching the matrix.
    pub(crate) fn load(&mut self, shift: f64) {
        self.factor.copy_from_slice(&self.values);
        if shift > 0.0 {
            for c in 0..self.unknowns() {
                self.factor[self.column[c] + c] += shift;
            }
        }
    }

    /// As [`Self::add`], to the copy made by [`Self::load`].
    #[inline]
    pub(crate) fn add_loaded(&mut self, row: usize, col: usize, m: [f64; 4]) {
        add_block(&mut self.factor, &self.column, row, col, m);
    }

    /// Loads and factorises.
    #[cfg(test)]
    fn factorise(&mut self, shift: f64) -> bool {
        self.load(shift);
        self.factorise_loaded()
    }

    /// Factorises what was loaded; false where that is not positive definite.
    pub(crate) fn factorise_loaded(&mut self) -> bool {
        let blocks = self.lead.len();
        for i in 0..blocks {
            let size = |j: usize| self.start.get(j + 1).map_or(0, |end| end - self.start[j]);
            let (n, n1, n2) = (size(i), size(i + 1), size(i + 2));
            if n == 0 {
                continue;
            }
            let lead = self.lead[i];
            let (done, rest) = self.factor.split_at_mut(self.offset[i] + lead * n);
            let panel = &mut done[self.offset[i]..];
            let step = Step {
                n,
                n1,
                n2,
                lead,
                lead1: self.lead.get(i + 1).copied().unwrap_or(0),
                lead2: self.lead.get(i + 2).copied().unwrap_or(0),
            };
            // Constant sizes let the compiler unroll: all but a few stations have equal
            // neighbours.
            let definite = match (n, n == n1 && n == n2) {
                (2, true) => step.uniform::<2, 4>(panel, rest),
                (4, true) => step.uniform::<4, 8>(panel, rest),
                (6, true) => step.uniform::<6, 12>(panel, rest),
                (8, true) => step.uniform::<8, 16>(panel, rest),
                _ => step.general(panel, rest),
            };
            if !definite {
                return false;
            }
        }
        true
    }

    /// Solves with the last factor, in place.
    pub(crate) fn solve(&self, x: &mut [f64]) {
        let blocks = self.lead.len();
        for i in 0..blocks {
            let (start, end) = (self.start[i], self.start[i + 1]);
            let last = self.start[(i + 3).min(blocks)];
            for c in start..end {
                let column = &self.factor[self.column[c] + c..self.column[c] + last];
                let Some((diagonal, below)) = column.split_first() else {
                    continue;
                };
                let value = x[c] / diagonal;
                x[c] = value;
                for (x, l) in x[c + 1..last].iter_mut().zip(below) {
                    *x -= l * value;
                }
            }
        }
        for i in (0..blocks).rev() {
            let (start, end) = (self.start[i], self.start[i + 1]);
            let last = self.start[(i + 3).min(blocks)];
            for c in (start..end).rev() {
                let column = &self.factor[self.column[c] + c..self.column[c] + last];
                let Some((diagonal, below)) = column.split_first() else {
                    continue;
                };
                // four sums at a time: one alone waits for itself
                let (xs, ls) = (x[c + 1..last].as_chunks::<4>(), below.as_chunks::<4>());
                let mut sums = [0.0; 4];
                for (x, l) in xs.0.iter().zip(ls.0) {
                    for ((s, x), l) in sums.iter_mut().zip(x).zip(l) {
                        *s += x * l;
                    }
                }
                let rest: f64 = xs.1.iter().zip(ls.1).map(|(x, l)| x * l).sum();
                let sum = (sums[0] + sums[2]) + (sums[1] + sums[3]) + rest;
                x[c] = (x[c] - sum) / diagonal;
            }
        }
    }

    /// As [`Self::solve`], for [`LANES`] right-hand sides at once: one alone spends its time waiting for
    /// the entry before.
    pub(crate) fn solve_lanes(&self, x: &mut [[f64; LANES]]) {
        let blocks = self.lead.len();
        for i in 0..blocks {
            let last = self.start[(i + 3).min(blocks)];
            for c in self.start[i]..self.start[i + 1] {
                let column = &self.factor[self.column[c] + c..self.column[c] + last];
                let Some((diagonal, below)) = column.split_first() else {
                    continue;
                };
                let inverse = 1.0 / diagonal;
                let value = x[c].map(|v| v * inverse);
                x[c] = value;
                for (x, l) in x[c + 1..last].iter_mut().zip(below) {
                    for (x, v) in x.iter_mut().zip(&value) {
                        *x -= l * v;
                    }
                }
            }
        }
        for i in (0..blocks).rev() {
            let last = self.start[(i + 3).min(blocks)];
            for c in (self.start[i]..self.start[i + 1]).rev() {
                let column = &self.factor[self.column[c] + c..self.column[c] + last];
                let Some((diagonal, below)) = column.split_first() else {
                    continue;
                };
                let mut sums = x[c];
                for (x, l) in x[c + 1..last].iter().zip(below) {
                    for (s, x) in sums.iter_mut().zip(x) {
                        *s -= l * x;
                    }
                }
                let inverse = 1.0 / diagonal;
                x[c] = sums.map(|s| s * inverse);
            }
        }
    }

    /// Largest entry of the diagonal, by size.
    pub(crate) fn largest_diagonal(&self) -> f64 {
        (0..self.unknowns())
            .map(|c| self.values[self.column[c] + c].abs())
            .fold(0.0, f64::max)
    }

    /// `out = A x`.
    pub(crate) fn multiply(&self, x: &[f64], out: &mut [f64]) {
        out.fill(0.0);
        let blocks = self.lead.len();
        for i in 0..blocks {
            let last = self.start[(i + 3).min(blocks)];
            for c in self.start[i]..self.start[i + 1] {
                let column = &self.values[self.column[c] + c..self.column[c] + last];
                out[c] += column[0] * x[c];
                for (r, a) in (c + 1..last).zip(&column[1..]) {
                    out[r] += a * x[c];
                    out[c] += a * x[r];
                }
            }
        }
    }

    /// Multiplications and additions of one factorisation.
    pub(crate) fn flops(&self) -> f64 {
        let blocks = self.lead.len();
        let mut flops = 0.0;
        for i in 0..blocks {
            for c in self.start[i]..self.start[i + 1] {
                #[expect(clippy::cast_precision_loss, reason = "a few dozen rows")]
                let below = (self.start[(i + 3).min(blocks)] - c - 1) as f64;
                flops += 2.0 + below + below * (below + 1.0);
            }
        }
        flops
    }
}

#[inline(always)]
fn add_block(values: &mut [f64], column: &[usize], row: usize, col: usize, m: [f64; 4]) {
    if row >= col {
        let first = column[col] + row;
        let second = column[col + 1] + row;
        values[first] += m[0];
        values[first + 1] += m[2];
        values[second] += m[1];
        values[second + 1] += m[3];
    } else {
        let first = column[row] + col;
        let second = column[row + 1] + col;
        values[first] += m[0];
        values[first + 1] += m[1];
        values[second] += m[2];
        values[second + 1] += m[3];
    }
}

/// Sizes of one step of the factorisation: the block, its two successors, panel rows.
#[derive(Clone, Copy)]
struct Step {
    n: usize,
    n1: usize,
    n2: usize,
    lead: usize,
    lead1: usize,
    lead2: usize,
}

impl Step {
    /// Factorises the panel's own columns down all its rows.
    #[inline(always)]
    fn columns(self, panel: &mut [f64], n: usize, rows: usize) -> bool {
        for k in 0..n {
            let (left, right) = panel.split_at_mut((k + 1) * self.lead);
            let column = &mut left[k * self.lead + k..k * self.lead + rows];
            let pivot = column[0];
            // also refuses NaN
            if !(pivot > 0.0 && pivot.is_finite()) {
                return false;
            }
            let root = pivot.sqrt();
            let inverse = 1.0 / root;
            column[0] = root;
            for value in &mut column[1..] {
                *value *= inverse;
            }
            let column = &*column;
            for j in k + 1..n {
                let target = &mut right[(j - k - 1) * self.lead..];
                let target = &mut target[j..rows];
                let source = &column[j - k..];
                let factor = source[0];
                for (t, s) in target.iter_mut().zip(source) {
                    *t -= factor * s;
                }
            }
        }
        true
    }

    /// One step where the block and both successors have `N` unknowns; `R = 2 N` rows lie below.
    ///
    /// The panel is worked on in an array of constant size, which the compiler unrolls.
    #[inline(never)]
    fn uniform<const N: usize, const R: usize>(self, panel: &mut [f64], rest: &mut [f64]) -> bool {
        let lead = N + R + TILE;
        let mut top = [[0.0; N]; N];
        let mut below = [[0.0; R]; N];
        let (columns, _) = panel.split_at_mut(N * lead);
        for ((column, top), below) in columns.chunks_exact(lead).zip(&mut top).zip(&mut below) {
            let (t, rest) = column.split_at(N);
            top.copy_from_slice(t);
            below.copy_from_slice(&rest[..R]);
        }
        for k in 0..N {
            let pivot = top[k][k];
            // also refuses NaN
            if !(pivot > 0.0 && pivot.is_finite()) {
                return false;
            }
            let root = pivot.sqrt();
            let inverse = 1.0 / root;
            for value in &mut top[k] {
                *value *= inverse;
            }
            for value in &mut below[k] {
                *value *= inverse;
            }
            top[k][k] = root;
            let (top_column, below_column) = (top[k], below[k]);
            for j in k + 1..N {
                let factor = top_column[j];
                for (t, s) in top[j].iter_mut().zip(&top_column) {
                    *t -= factor * s;
                }
                for (t, s) in below[j].iter_mut().zip(&below_column) {
                    *t -= factor * s;
                }
            }
        }
        for ((column, top), below) in columns.chunks_exact_mut(lead).zip(&top).zip(&below) {
            let (t, rest) = column.split_at_mut(N);
            t.copy_from_slice(top);
            rest[..R].copy_from_slice(below);
        }
        // Rows above the diagonal of a target hold nothing, so whole columns may be updated.
        let (first, second) = rest.split_at_mut(N * self.lead1);
        for c in 0..N {
            let mut sum = [0.0; R];
            for column in &below {
                let factor = column[c];
                for (s, b) in sum.iter_mut().zip(column) {
                    *s += factor * b;
                }
            }
            for (t, s) in first[c * self.lead1..].iter_mut().zip(&sum) {
                *t -= s;
            }
        }
        for c in 0..N {
            let mut sum = [0.0; N];
            for column in &below {
                let factor = column[N + c];
                for (s, b) in sum.iter_mut().zip(&column[N..]) {
                    *s += factor * b;
                }
            }
            for (t, s) in second[c * self.lead2..].iter_mut().zip(&sum) {
                *t -= s;
            }
        }
        true
    }

    /// One step of any sizes.
    #[inline(never)]
    fn general(self, panel: &mut [f64], rest: &mut [f64]) -> bool {
        let Self {
            n,
            n1,
            n2,
            lead,
            lead1,
            lead2,
        } = self;
        if !self.columns(panel, n, n + n1 + n2) {
            return false;
        }
        let (first, second) = rest.split_at_mut((n1 * lead1).min(rest.len()));
        for k in 0..n {
            let below = &panel[k * lead + n..k * lead + n + n1 + n2];
            for c in 0..n1 {
                let factor = below[c];
                let target = &mut first[c * lead1 + c..c * lead1 + n1 + n2];
                for (t, s) in target.iter_mut().zip(&below[c..]) {
                    *t -= factor * s;
                }
            }
            for c in 0..n2 {
                let factor = below[n1 + c];
                let target = &mut second[c * lead2 + c..c * lead2 + n2];
                for (t, s) in target.iter_mut().zip(&below[n1 + c..]) {
                    *t -= factor * s;
                }
            }
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};
    use proptest::prelude::*;

    /// A symmetric matrix of the block pattern with a dominant diagonal, dense and banded.
    fn sample(sizes: &[usize], seed: u64) -> (BlockBanded, DMatrix<f64>) {
        let mut banded = BlockBanded::default();
        banded.lay_out(sizes);
        let n = banded.unknowns();
        let block = |c: usize| banded.start.partition_point(|s| *s <= c) - 1;
        let mut dense = DMatrix::zeros(n, n);
        let mut state = seed | 1;
        let mut random = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            f64::from(u32::try_from(state >> 40).unwrap()) / f64::from(1 << 24) - 0.5
        };
        let mut adds = Vec::new();
        for c in (0..n).step_by(2) {
            for r in (c..n).step_by(2) {
                if block(r) <= block(c) + 2 {
                    let m = if r == c {
                        let off = random();
                        [60.0 + random(), off, off, 60.0 + random()]
                    } else {
                        [random(), random(), random(), random()]
                    };
                    for (p, q) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
                        dense[(r + p, c + q)] = m[2 * p + q];
                        dense[(c + q, r + p)] = m[2 * p + q];
                    }
                    adds.push((r, c, m));
                }
            }
        }
        for (i, (r, c, m)) in adds.into_iter().enumerate() {
            // every other block through its transpose
            if i % 2 == 0 {
                banded.add(r, c, m);
            } else {
                banded.add(c, r, [m[0], m[2], m[1], m[3]]);
            }
        }
        (banded, dense)
    }

    proptest! {
        #[test]
        fn property_agrees_with_dense_cholesky(
            sizes in proptest::collection::vec((0_usize..7).prop_map(|d| 2 * d), 1..9),
            run in 0_usize..7, seed in 1_u64..u64::MAX,
        ) {
            // a stretch of equal blocks for the unrolled path
            let sizes: Vec<usize> = sizes.iter().copied().chain([2 * run; 5]).collect();
            let (mut banded, dense) = sample(&sizes, seed);
            let n = dense.nrows();
            prop_assume!(n > 0);
            prop_assert!(banded.factorise(0.0), "sizes {sizes:?} not definite");
            let right = DVector::from_fn(n, |i, _| (i as f64).sin());
            let mut x = right.as_slice().to_vec();
            banded.solve(&mut x);
            let expected = dense.cholesky().unwrap().solve(&right);
            for (found, expected) in x.iter().zip(expected.iter()) {
                prop_assert!((found - expected).abs() < 1e-12, "{sizes:?}: {found} against {expected}");
            }
        }
    }

    #[test]
    fn exact_indefinite_is_told() {
        // eigenvalues 3 and -1
        let mut banded = BlockBanded::default();
        banded.lay_out(&[2]);
        banded.add(0, 0, [1.0, 2.0, 2.0, 1.0]);
        assert!(!banded.factorise(0.0), "eigenvalue -1 taken as positive");
        assert!(banded.factorise(1.5), "eigenvalue 0.5 refused");
        let mut out = [0.0; 2];
        banded.multiply(&[1.0, -1.0], &mut out);
        assert!(
            (out[0] + 1.0).abs() < 1e-15 && (out[1] - 1.0).abs() < 1e-15,
            "{out:?} is not -1 times (1, -1)"
        );
    }
}
