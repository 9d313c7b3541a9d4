//! Elimination of stretches of blocks.

use super::{BlockBanded, padded};
use crate::mechanics::linear_algebra::width::fused;

/// Pivots smaller than this are zero.
const LEAST_PIVOT: f64 = 1e-300;

/// Inverse of a pivot, counted where it is negative; none where it is nought or no number, or negative
/// although the matrix has to be `definite`.
#[inline(always)]
fn inverse_of(pivot: f64, definite: bool, negative: &mut usize) -> Option<f64> {
    // also refuses NaN
    if !(pivot.abs() > LEAST_PIVOT && pivot.is_finite()) {
        return None;
    }
    if pivot < 0.0 {
        *negative += 1;
        if definite {
            return None;
        }
    }
    Some(1.0 / pivot)
}

/// Takes what a stretch leaves from the two panels beyond it, which have as many columns.
#[inline(always)]
fn leave<const N: usize, const R: usize>(
    panels: &mut [f64],
    (lead1, lead2): (usize, usize),
    next: &[[f64; R]; N],
    second: &[[f64; N]; N],
) {
    for c in 0..N {
        for (t, u) in panels[c * lead1..].iter_mut().zip(&next[c]) {
            *t -= u;
        }
        for (t, u) in panels[N * lead1 + c * lead2..].iter_mut().zip(&second[c]) {
            *t -= u;
        }
    }
}

impl BlockBanded {
    /// A stretch of blocks of `N` unknowns, each with `R = 2 N` rows below.
    #[inline(always)]
    pub(super) fn uniform<const N: usize, const R: usize>(
        &mut self,
        first: usize,
        blocks: usize,
        shift: f64,
        definite: bool,
    ) -> Option<usize> {
        let lead = N + padded(R);
        let span = self.offset[first]..self.offset[first] + blocks * N * lead;
        let (done, rest) = self.factor.split_at_mut(span.end);
        let panels = done[span.start..].chunks_exact_mut(N * lead);
        let given = self.values[span].chunks_exact(N * lead);
        let unknowns = self.start[first]..self.start[first] + blocks * N;
        let inverses = self.inverse[unknowns].as_chunks_mut::<N>().0;
        let mut negative = 0;
        // What earlier blocks take from the next panel, and from the one after it.
        let mut next = [[0.0; R]; N];
        let mut second = [[0.0; N]; N];
        let mut unit = [[0.0; N]; N];
        for (k, unit) in unit.iter_mut().enumerate() {
            unit[k] = 1.0;
        }
        for (i, ((panel, given), inverses)) in panels.zip(given).zip(inverses).enumerate() {
            let mut block = Block {
                top: [[0.0; N]; N],
                below: [[0.0; R]; N],
                scaled_top: [[0.0; N]; N],
                scaled: [[0.0; R]; N],
                negative: &mut negative,
                definite,
            };
            // (entries are never indexed by `k` in a column, which would keep it out of registers)
            let added = if i < 2 { 0.0 } else { shift };
            for k in 0..N {
                let source = if i < 2 { &*panel } else { given };
                let (column, rest) = source[k * lead..k * lead + N + R].split_at(N);
                let mut t = [0.0; N];
                t.copy_from_slice(column);
                let mut b = [0.0; R];
                b.copy_from_slice(rest);
                for (t, taken) in t.iter_mut().zip(&next[k]) {
                    *t -= taken;
                }
                for (b, taken) in b[..N].iter_mut().zip(&next[k][N..]) {
                    *b -= taken;
                }
                for (t, unit) in t.iter_mut().zip(&unit[k]) {
                    *t += added * unit;
                }
                block.top[k] = t;
                block.below[k] = b;
            }
            // written out, so that all of it stays in registers
            block.eliminate::<0>(panel, inverses)?;
            block.eliminate::<1>(panel, inverses)?;
            block.eliminate::<2>(panel, inverses)?;
            block.eliminate::<3>(panel, inverses)?;
            block.eliminate::<4>(panel, inverses)?;
            block.eliminate::<5>(panel, inverses)?;
            block.eliminate::<6>(panel, inverses)?;
            block.eliminate::<7>(panel, inverses)?;
            let Block { below, scaled, .. } = block;
            // two columns at a time, so that what they share is loaded once
            for c in (0..N).step_by(2) {
                let (mut a, mut b) = ([0.0; R], [0.0; R]);
                a[..N].copy_from_slice(&second[c]);
                b[..N].copy_from_slice(&second[c + 1]);
                for (scaled, below) in scaled.iter().zip(&below) {
                    let (p, q) = (scaled[c], scaled[c + 1]);
                    for r in 0..R {
                        a[r] = fused(p, below[r], a[r]);
                        b[r] = fused(q, below[r], b[r]);
                    }
                }
                next[c] = a;
                next[c + 1] = b;
            }
            for c in (0..N).step_by(2) {
                let (mut a, mut b) = ([0.0; N], [0.0; N]);
                for (scaled, below) in scaled.iter().zip(&below) {
                    let (p, q) = (scaled[N + c], scaled[N + c + 1]);
                    for r in 0..N {
                        a[r] = fused(p, below[N + r], a[r]);
                        b[r] = fused(q, below[N + r], b[r]);
                    }
                }
                second[c] = a;
                second[c + 1] = b;
            }
        }
        let (lead1, lead2) = (self.lead[first + blocks], self.lead[first + blocks + 1]);
        leave(rest, (lead1, lead2), &next, &second);
        Some(negative)
    }

    /// A stretch of blocks of two unknowns, where one division after the other along the tube is what
    /// takes time: what a block `A` with the rows `B` below leaves to the next is
    /// `B' adj(A) B / det(A)`, so that one division a block lies on the way, and all else beside it.
    #[inline(always)]
    pub(super) fn pairs(
        &mut self,
        first: usize,
        blocks: usize,
        shift: f64,
        definite: bool,
    ) -> Option<usize> {
        const LEAD: usize = 2 + padded(4);
        let span = self.offset[first]..self.offset[first] + blocks * 2 * LEAD;
        let (done, rest) = self.factor.split_at_mut(span.end);
        let panels = done[span.start..].as_chunks_mut::<{ 2 * LEAD }>().0;
        let given = self.values[span].as_chunks::<{ 2 * LEAD }>().0;
        let unknowns = self.start[first]..self.start[first] + blocks * 2;
        let inverses = self.inverse[unknowns].as_chunks_mut::<2>().0;
        let mut negative = 0;
        let mut next = [[0.0; 4]; 2];
        let mut second = [[0.0; 2]; 2];
        for (i, ((panel, given), inverses)) in
            panels.iter_mut().zip(given).zip(inverses).enumerate()
        {
            let (source, shift) = if i < 2 {
                (*panel, 0.0)
            } else {
                (*given, shift)
            };
            let a00 = source[0] + shift - next[0][0];
            let a10 = source[1] - next[0][1];
            let a11 = source[LEAD + 1] + shift - next[1][1];
            let b0 = [
                source[2] - next[0][2],
                source[3] - next[0][3],
                source[4],
                source[5],
            ];
            let b1 = [
                source[LEAD + 2] - next[1][2],
                source[LEAD + 3] - next[1][3],
                source[LEAD + 4],
                source[LEAD + 5],
            ];
            let det = fused(a00, a11, -(a10 * a10));
            let usable = |p: f64| p.abs() > LEAST_PIVOT && p.is_finite();
            // also refuses NaN
            if !(usable(a00) && usable(det)) {
                return None;
            }
            if !(a00 > 0.0 && det > 0.0) {
                if definite {
                    return None;
                }
                negative += usize::from(a00 < 0.0) + usize::from((det < 0.0) != (a00 < 0.0));
            }
            let inverse = 1.0 / det;
            let v0: [f64; 4] = std::array::from_fn(|r| fused(a11, b0[r], -(a10 * b1[r])));
            let v1: [f64; 4] = std::array::from_fn(|r| fused(a00, b1[r], -(a10 * b0[r])));
            let left = |c: usize, r: usize| fused(b0[c], v0[r], b1[c] * v1[r]);
            next = std::array::from_fn(|c| {
                std::array::from_fn(|r| {
                    let before = if r < 2 { second[c][r] } else { 0.0 };
                    fused(left(c, r), inverse, before)
                })
            });
            second = std::array::from_fn(|c| std::array::from_fn(|r| left(2 + c, 2 + r) * inverse));
            let inverse0 = 1.0 / a00;
            let inverse1 = a00 * inverse;
            *inverses = [inverse0, inverse1];
            let l10 = a10 * inverse0;
            panel[0] = 0.0;
            panel[1] = l10;
            panel[LEAD] = 0.0;
            panel[LEAD + 1] = 0.0;
            for r in 0..4 {
                panel[2 + r] = b0[r] * inverse0;
                panel[LEAD + 2 + r] = (b1[r] - l10 * b0[r]) * inverse1;
            }
        }
        let (lead1, lead2) = (self.lead[first + blocks], self.lead[first + blocks + 1]);
        leave(rest, (lead1, lead2), &next, &second);
        Some(negative)
    }

    /// Blocks of any sizes.
    #[inline(always)]
    pub(super) fn general(&mut self, first: usize, blocks: usize, definite: bool) -> Option<usize> {
        let mut negative = 0;
        for i in first..first + blocks {
            let size = |j: usize| self.start.get(j + 1).map_or(0, |end| end - self.start[j]);
            let (n, n1, n2) = (size(i), size(i + 1), size(i + 2));
            let lead = self.lead[i];
            let lead1 = self.lead.get(i + 1).copied().unwrap_or(0);
            let lead2 = self.lead.get(i + 2).copied().unwrap_or(0);
            let rows = n + n1 + n2;
            let (done, rest) = self.factor.split_at_mut(self.offset[i + 1]);
            let panel = &mut done[self.offset[i]..];
            let (target1, target2) = rest.split_at_mut((n1 * lead1).min(rest.len()));
            for k in 0..n {
                let (left, right) = panel.split_at_mut((k + 1) * lead);
                let column = &mut left[k * lead + k..k * lead + rows];
                let inverse = inverse_of(column[0], definite, &mut negative)?;
                self.inverse[self.start[i] + k] = inverse;
                // unscaled entry times scaled column
                for j in k + 1..n {
                    let factor = column[j - k] * inverse;
                    let target = &mut right[(j - k - 1) * lead + j..(j - k - 1) * lead + rows];
                    for (t, s) in target.iter_mut().zip(&column[j - k..]) {
                        *t -= factor * s;
                    }
                }
                let below = &column[n - k..];
                for c in 0..n1 {
                    let factor = below[c] * inverse;
                    let target = &mut target1[c * lead1 + c..c * lead1 + n1 + n2];
                    for (t, s) in target.iter_mut().zip(&below[c..]) {
                        *t -= factor * s;
                    }
                }
                for c in 0..n2 {
                    let factor = below[n1 + c] * inverse;
                    let target = &mut target2[c * lead2 + c..c * lead2 + n2];
                    for (t, s) in target.iter_mut().zip(&below[n1 + c..]) {
                        *t -= factor * s;
                    }
                }
                for value in column {
                    *value *= inverse;
                }
            }
        }
        Some(negative)
    }
}

/// A block of `N` unknowns with `R` rows below, under factorisation.
struct Block<'a, const N: usize, const R: usize> {
    top: [[f64; N]; N],
    below: [[f64; R]; N],
    scaled_top: [[f64; N]; N],
    scaled: [[f64; R]; N],
    negative: &'a mut usize,
    definite: bool,
}

impl<const N: usize, const R: usize> Block<'_, N, R> {
    /// Column `K`, when those before it are done; none where its pivot is of no use.
    #[inline(always)]
    fn eliminate<const K: usize>(
        &mut self,
        panel: &mut [f64],
        inverses: &mut [f64; N],
    ) -> Option<()> {
        if K >= N {
            return Some(());
        }
        let mut t = self.top[K];
        let mut b = self.below[K];
        for j in 0..K {
            let factor = -self.scaled_top[j][K];
            for (t, u) in t.iter_mut().zip(&self.top[j]) {
                *t = fused(factor, *u, *t);
            }
            for (b, u) in b.iter_mut().zip(&self.below[j]) {
                *b = fused(factor, *u, *b);
            }
        }
        self.top[K] = t;
        self.below[K] = b;
        let inverse = inverse_of(t[K], self.definite, self.negative)?;
        inverses[K] = inverse;
        // zeros above let solves run over whole columns
        let mut scaled_top = [0.0; N];
        for r in K + 1..N {
            scaled_top[r] = t[r] * inverse;
        }
        let scaled = b.map(|b| b * inverse);
        self.scaled_top[K] = scaled_top;
        self.scaled[K] = scaled;
        let lead = N + padded(R);
        let (column, rest) = panel[K * lead..K * lead + N + R].split_at_mut(N);
        column.copy_from_slice(&scaled_top);
        rest.copy_from_slice(&scaled);
        Some(())
    }
}
