//! Factorisation `L D L'` of a symmetric matrix in blocks, coupled two blocks to either side.
//!
//! One block holds the unknowns of all devices at one station, so a block is as large as the
//! number of devices that reach it: distal stations, where one wire lies alone, cost a
//! hundredth of proximal ones. Bending couples a station to two neighbours on either side.
//!
//! Storage: panel `i` holds the columns of block `i`, rows of blocks `i..=i + 2`, column by
//! column, padded to whole tiles of [`TILE`].
//!
//! Stretches of equal blocks are factorised by code of constant size, compiled for the vector
//! instructions found when the program runs; what a block leaves to the next two travels along in
//! small arrays, so that every panel is read once and written once. No square roots: the chain of
//! divisions along the tube is what a small block waits for. The signs of `D` count the matrix's
//! negative eigenvalues (Sylvester's law of inertia).

mod eliminate;
mod lanes;

use super::width::{fused, in_vectors};
pub(crate) use lanes::{LANES, Lane, combine, gram, own_gram, products};
use pulp::{Simd, WithSimd};

/// Rows are padded to multiples of this.
const TILE: usize = 4;

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
    /// Stretches of equal blocks, and what lies between.
    runs: Vec<Run>,
    values: Vec<f64>,
    /// How many of them are set since they were last cleared.
    cleared: usize,
    factor: Vec<f64>,
    /// Inverses of `D`.
    inverse: Vec<f64>,
}

/// Blocks treated alike.
#[derive(Debug, Clone, Copy)]
struct Run {
    first: usize,
    blocks: usize,
    /// Unknowns of each block and of both successors; 0 where sizes vary.
    size: usize,
}

/// Rounds up to whole tiles.
const fn padded(rows: usize) -> usize {
    rows.div_ceil(TILE) * TILE
}

/// Writes block `i`, which is done, back and goes on to the next one.
#[inline(always)]
fn pass_on<T: Copy, const N: usize, const R: usize>(
    x: &mut [T],
    i: usize,
    here: &mut [T; N],
    ahead: &mut [T; R],
) {
    x[i * N..(i + 1) * N].copy_from_slice(here);
    here.copy_from_slice(&ahead[..N]);
    ahead.copy_within(N.., 0);
    if let Some(next) = x.get((i + 3) * N..(i + 4) * N) {
        ahead[N..].copy_from_slice(next);
    }
}

/// Adds column `p` of a 2 x 2 block to two rows of a column.
#[inline(always)]
fn add_pair(rows: &mut [f64], row: usize, block: &[f64; 4], p: usize) {
    if let Some([x, y]) = rows.get_mut(row..row + 2) {
        *x += block[p];
        *y += block[2 + p];
    }
}

impl BlockBanded {
    /// Lays the matrix out for blocks of these sizes, keeping memory already held; what it holds is
    /// set by [`Self::clear`].
    pub(crate) fn lay_out(&mut self, block_sizes: &[usize]) {
        let blocks = block_sizes.len();
        let size = |i: usize| block_sizes.get(i).copied().unwrap_or(0);
        self.start.clear();
        self.lead.clear();
        self.offset.clear();
        self.column.clear();
        self.runs.clear();
        let (mut start, mut offset) = (0, 0);
        for i in 0..blocks {
            let lead = size(i) + padded(size(i + 1) + size(i + 2));
            self.start.push(start);
            self.lead.push(lead);
            self.offset.push(offset);
            // offset >= start because every column is longer than one entry
            self.column
                .extend((0..size(i)).map(|c| offset + c * lead - start));
            start += size(i);
            offset += lead * size(i);
            let alike = size(i) == size(i + 1) && size(i) == size(i + 2);
            let kind = match size(i) {
                n @ (2 | 4 | 6 | 8) if alike => n,
                _ => 0,
            };
            match self.runs.last_mut() {
                Some(run) if run.size == kind => run.blocks += 1,
                _ => self.runs.push(Run {
                    first: i,
                    blocks: 1,
                    size: kind,
                }),
            }
        }
        self.start.push(start);
        self.offset.push(offset);
        // Zeros come with `clear`; every entry of the factor is written before it is read. Neither shrinks:
        // levels of a solve from scratch would set the same memory to zero again and again.
        for list in [&mut self.values, &mut self.factor] {
            if list.len() < offset {
                list.resize(offset, 0.0);
            }
        }
        self.inverse.resize(start, 0.0);
    }

    /// Number of unknowns.
    pub(crate) fn unknowns(&self) -> usize {
        self.start.last().copied().unwrap_or(0)
    }

    /// Begins to set every entry to zero; [`Self::clear_columns`] follows.
    pub(crate) fn clear(&mut self) {
        self.cleared = 0;
    }

    /// Sets the entries to zero that lie before those of the block at unknown `at`, and these. Done little
    /// by little, the memory is still near when entries are added to it.
    #[inline(always)]
    pub(crate) fn clear_columns(&mut self, at: usize) {
        let end = self.column[at + 1] + at + 2;
        if self.cleared < end {
            self.values[self.cleared..end].fill(0.0);
            self.cleared = end;
        }
    }

    /// Sets the rest to zero.
    pub(crate) fn clear_rest(&mut self) {
        let end = self.offset.last().copied().unwrap_or(0);
        if self.cleared < end {
            self.values[self.cleared..end].fill(0.0);
            self.cleared = end;
        }
    }

    /// Whether the matrix has room for the 2 x 2 block at these unknowns: neither beyond its end, where
    /// memory of larger ones may lie, nor outside the band. What has none would be dropped.
    fn holds(&self, row: usize, col: usize) -> bool {
        let (low, high) = (row.min(col), row.max(col));
        let block = self.start.partition_point(|s| *s <= low).wrapping_sub(1);
        match (self.start.get(block), self.lead.get(block)) {
            (Some(start), Some(lead)) => high + 2 <= start + lead && high + 2 <= self.unknowns(),
            _ => false,
        }
    }

    /// Adds the 2 x 2 block `m` (row-major) whose rows start at unknown `row` and whose columns
    /// start at `col`; the transpose where that lies above the diagonal.
    #[inline]
    pub(crate) fn add(&mut self, row: usize, col: usize, m: [f64; 4]) {
        debug_assert!(self.holds(row, col), "({row}, {col}) lies outside the band");
        add_block(&mut self.values, &self.column, row, col, m);
    }

    /// Adds the blocks of three rising unknowns in the columns of the first.
    #[inline(always)]
    pub(crate) fn add_columns(&mut self, at: [usize; 3], blocks: &[[f64; 4]; 3]) {
        let [a, b, c] = at;
        debug_assert!(self.holds(c, a), "({c}, {a}) lies outside the band");
        for p in 0..2 {
            let first = self.column[a + p] + a;
            let rows = &mut self.values[first..first + (c - a) + 2];
            add_pair(rows, 0, &blocks[0], p);
            add_pair(rows, b - a, &blocks[1], p);
            add_pair(rows, c - a, &blocks[2], p);
        }
    }

    /// Factorises the matrix plus `shift` on its diagonal; the number of negative eigenvalues, or
    /// none where a pivot is zero or not finite, or negative and `definite` asked for.
    pub(crate) fn factorise(&mut self, shift: f64, definite: bool) -> Option<usize> {
        struct Factorise<'a>(&'a mut BlockBanded, f64, bool);
        impl WithSimd for Factorise<'_> {
            type Output = Option<usize>;
            #[inline(always)]
            fn with_simd<S: Simd>(self, _: S) -> Self::Output {
                self.0.factorise_with(self.1, self.2)
            }
        }
        in_vectors(Factorise(self, shift, definite))
    }

    #[inline(always)]
    fn factorise_with(&mut self, shift: f64, definite: bool) -> Option<usize> {
        // Read in place later: everything else here is given something by the blocks before it.
        for run in 0..self.runs.len() {
            let run = self.runs[run];
            let copied = if run.size == 0 {
                run.blocks
            } else {
                run.blocks.min(2)
            };
            for i in run.first..run.first + copied {
                self.copy_panel(i, shift);
            }
        }
        let mut negative = 0;
        for run in 0..self.runs.len() {
            let Run {
                first,
                blocks,
                size,
            } = self.runs[run];
            let found = match size {
                2 => self.pairs(first, blocks, shift, definite),
                4 => self.uniform::<4, 8>(first, blocks, shift, definite),
                6 => self.uniform::<6, 12>(first, blocks, shift, definite),
                8 => self.uniform::<8, 16>(first, blocks, shift, definite),
                _ => self.general(first, blocks, definite),
            };
            negative += found?;
        }
        Some(negative)
    }

    /// Copies a panel to where it is factorised.
    #[inline(always)]
    fn copy_panel(&mut self, i: usize, shift: f64) {
        let span = self.offset[i]..self.offset[i + 1];
        self.factor[span.clone()].copy_from_slice(&self.values[span]);
        for c in self.start[i]..self.start[i + 1] {
            self.factor[self.column[c] + c] += shift;
        }
    }

    /// Solves with the last factor, in place.
    pub(crate) fn solve(&self, x: &mut [f64]) {
        self.forward_alone(x);
        self.finish(x);
    }

    /// Second part of a solve, in place: `L'^-1 D^-1 x`.
    pub(crate) fn finish(&self, x: &mut [f64]) {
        for (x, inverse) in x.iter_mut().zip(&self.inverse) {
            *x *= inverse;
        }
        self.backward_alone(x);
    }

    /// First part of a solve with the last factor, in place: `L^-1 x`.
    pub(crate) fn forward_alone(&self, x: &mut [f64]) {
        in_vectors(Sweep::<true>(self, x));
    }

    /// Last part, after `D^-1`: `L'^-1 x`.
    pub(crate) fn backward_alone(&self, x: &mut [f64]) {
        in_vectors(Sweep::<false>(self, x));
    }

    /// Inverses of `D`.
    pub(crate) fn inverses(&self) -> &[f64] {
        &self.inverse
    }

    #[inline(always)]
    fn forward_with(&self, x: &mut [f64]) {
        for run in &self.runs {
            match run.size {
                2 => self.forward::<2, 4>(run, x),
                4 => self.forward::<4, 8>(run, x),
                6 => self.forward::<6, 12>(run, x),
                8 => self.forward::<8, 16>(run, x),
                _ => self.forward_general(run, x),
            }
        }
    }

    #[inline(always)]
    fn backward_with(&self, x: &mut [f64]) {
        for run in self.runs.iter().rev() {
            match run.size {
                2 => self.backward::<2, 4>(run, x),
                4 => self.backward::<4, 8>(run, x),
                6 => self.backward::<6, 12>(run, x),
                8 => self.backward::<8, 16>(run, x),
                _ => self.backward_general(run, x),
            }
        }
    }

    #[inline(always)]
    fn forward<const N: usize, const R: usize>(&self, run: &Run, x: &mut [f64]) {
        let lead = N + padded(R);
        let span = self.offset[run.first]..self.offset[run.first] + run.blocks * N * lead;
        let begin = self.start[run.first];
        let x = &mut x[begin..begin + (run.blocks + 2) * N];
        let mut ahead = [0.0; R];
        ahead.copy_from_slice(&x[N..N + R]);
        let mut here = [0.0; N];
        here.copy_from_slice(&x[..N]);
        for (i, panel) in self.factor[span].chunks_exact(N * lead).enumerate() {
            for k in 0..N {
                let column = &panel[k * lead..k * lead + N + R];
                let value = -here[k];
                let (column, lower) = column.split_at(N);
                for (x, l) in here.iter_mut().zip(column) {
                    *x = fused(*l, value, *x);
                }
                for (x, l) in ahead.iter_mut().zip(lower) {
                    *x = fused(*l, value, *x);
                }
            }
            pass_on(x, i, &mut here, &mut ahead);
        }
        let end = run.blocks * N;
        x[end..end + N].copy_from_slice(&here);
        x[end + N..end + R].copy_from_slice(&ahead[..N]);
    }

    #[inline(always)]
    fn backward<const N: usize, const R: usize>(&self, run: &Run, x: &mut [f64]) {
        let lead = N + padded(R);
        let span = self.offset[run.first]..self.offset[run.first] + run.blocks * N * lead;
        let begin = self.start[run.first];
        let x = &mut x[begin..begin + (run.blocks + 2) * N];
        let mut ahead = [0.0; R];
        ahead.copy_from_slice(&x[run.blocks * N..]);
        let panels = self.factor[span].chunks_exact(N * lead);
        for (panel, x) in panels.zip(x.as_chunks_mut::<N>().0).rev() {
            let mut here = *x;
            // what lies ahead first, for every unknown by itself
            for k in 0..N {
                let lower = &panel[k * lead + N..k * lead + N + R];
                if N > 4 {
                    let mut sums = [0.0; N];
                    for half in [N, 0] {
                        let terms = lower[half..half + N].iter().zip(&ahead[half..half + N]);
                        for (s, (l, x)) in sums.iter_mut().zip(terms) {
                            *s = fused(*l, *x, *s);
                        }
                    }
                    let (low, high) = sums.split_at(N / 2);
                    let sum: f64 = low.iter().zip(high).map(|(a, b)| a + b).sum();
                    here[k] -= sum;
                } else {
                    // the one found last comes last: nothing else waits for it
                    for (l, x) in lower.iter().zip(&ahead).rev() {
                        here[k] = fused(-*l, *x, here[k]);
                    }
                }
            }
            for k in (1..N).rev() {
                let value = -here[k];
                for j in 0..k {
                    here[j] = fused(panel[j * lead + k], value, here[j]);
                }
            }
            *x = here;
            ahead.copy_within(..N, N);
            ahead[..N].copy_from_slice(&here);
        }
    }

    #[inline(always)]
    fn forward_general(&self, run: &Run, x: &mut [f64]) {
        let blocks = self.lead.len();
        for i in run.first..run.first + run.blocks {
            let last = self.start[(i + 3).min(blocks)];
            for c in self.start[i]..self.start[i + 1] {
                let below = &self.factor[self.column[c] + c + 1..self.column[c] + last];
                let value = x[c];
                for (x, l) in x[c + 1..last].iter_mut().zip(below) {
                    *x -= l * value;
                }
            }
        }
    }

    #[inline(always)]
    fn backward_general(&self, run: &Run, x: &mut [f64]) {
        let blocks = self.lead.len();
        for i in (run.first..run.first + run.blocks).rev() {
            let last = self.start[(i + 3).min(blocks)];
            for c in (self.start[i]..self.start[i + 1]).rev() {
                let below = &self.factor[self.column[c] + c + 1..self.column[c] + last];
                let sum: f64 = x[c + 1..last].iter().zip(below).map(|(x, l)| x * l).sum();
                x[c] -= sum;
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
        let size = |i: usize| (self.start.get(i + 1)).map_or(0, |end| end - self.start[i]);
        // a column with `below` rows under its diagonal costs 2 + below + below (below + 1)
        let first = |m: usize| m * m.saturating_sub(1) / 2;
        let squares = |m: usize| m.saturating_sub(1) * m * (2 * m).saturating_sub(1) / 6;
        let mut flops = 0;
        for i in 0..self.lead.len() {
            let (n, rows) = (size(i), size(i) + size(i + 1) + size(i + 2));
            let sum = |of: &dyn Fn(usize) -> usize| of(rows) - of(rows - n);
            flops += 2 * n + 2 * sum(&first) + sum(&squares);
        }
        #[expect(clippy::cast_precision_loss, reason = "some millions")]
        let flops = flops as f64;
        flops
    }
}

/// One way through the factor: forward or back.
struct Sweep<'a, const FORWARD: bool>(&'a BlockBanded, &'a mut [f64]);

impl<const FORWARD: bool> WithSimd for Sweep<'_, FORWARD> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        if FORWARD {
            self.0.forward_with(self.1);
        } else {
            self.0.backward_with(self.1);
        }
    }
}

#[inline(always)]
fn add_block(values: &mut [f64], column: &[usize], row: usize, col: usize, m: [f64; 4]) {
    let (row, col, m) = if row >= col {
        (row, col, m)
    } else {
        (col, row, [m[0], m[2], m[1], m[3]])
    };
    for (place, [upper, lower]) in [(col, [m[0], m[2]]), (col + 1, [m[1], m[3]])] {
        let first = column[place] + row;
        // one check for both entries
        if let Some([a, b]) = values.get_mut(first..first + 2) {
            *a += upper;
            *b += lower;
        }
    }
}

#[cfg(test)]
mod tests;

#[cfg(test)]
mod oracle;
