//! Several right-hand sides at once: one alone spends its time waiting for the entry before.

use super::{BlockBanded, Run, padded, pass_on};
use crate::mechanics::linear_algebra::width::{fused, in_vectors};
use pulp::{Simd, WithSimd};

/// Right-hand sides solved at once.
pub(crate) const LANES: usize = 8;

/// One row of all of them.
pub(crate) type Lane = [f64; LANES];

/// `to += factor * v`.
#[inline(always)]
fn add(to: &mut Lane, factor: f64, v: &Lane) {
    for (t, v) in to.iter_mut().zip(v) {
        *t = fused(factor, *v, *t);
    }
}

/// Takes unknown `K` of a block out of those after it.
#[inline(always)]
fn eliminate<const N: usize, const R: usize, const K: usize>(
    panel: &[f64],
    here: &mut [Lane; N],
    ahead: &mut [Lane; R],
) {
    if K >= N {
        return;
    }
    let lead = N + padded(R);
    let (column, lower) = panel[K * lead..K * lead + N + R].split_at(N);
    let value = here[K].map(|v| -v);
    for r in K + 1..N {
        add(&mut here[r], column[r], &value);
    }
    for (x, l) in ahead.iter_mut().zip(lower) {
        add(x, *l, &value);
    }
}

impl BlockBanded {
    /// As [`Self::forward_alone`], for [`LANES`] right-hand sides.
    pub(crate) fn forward_lanes(&self, x: &mut [Lane]) {
        struct ForwardLanes<'a>(&'a BlockBanded, &'a mut [Lane]);
        impl WithSimd for ForwardLanes<'_> {
            type Output = ();
            #[inline(always)]
            fn with_simd<S: Simd>(self, _: S) -> Self::Output {
                self.0.forward_lanes_with(self.1);
            }
        }
        in_vectors(ForwardLanes(self, x));
    }

    #[inline(always)]
    fn forward_lanes_with(&self, x: &mut [Lane]) {
        for run in &self.runs {
            match run.size {
                2 => self.forward_lanes_alike::<2, 4>(run, x),
                4 => self.forward_lanes_alike::<4, 8>(run, x),
                6 => self.forward_lanes_alike::<6, 12>(run, x),
                8 => self.forward_lanes_alike::<8, 16>(run, x),
                _ => self.forward_lanes_general(run, x),
            }
        }
    }

    #[inline(always)]
    fn forward_lanes_alike<const N: usize, const R: usize>(&self, run: &Run, x: &mut [Lane]) {
        let lead = N + padded(R);
        let span = self.offset[run.first]..self.offset[run.first] + run.blocks * N * lead;
        let begin = self.start[run.first];
        let x = &mut x[begin..begin + (run.blocks + 2) * N];
        let mut here = [[0.0; LANES]; N];
        here.copy_from_slice(&x[..N]);
        let mut ahead = [[0.0; LANES]; R];
        ahead.copy_from_slice(&x[N..N + R]);
        for (i, panel) in self.factor[span].chunks_exact(N * lead).enumerate() {
            // written out, so that all of it stays in registers
            eliminate::<N, R, 0>(panel, &mut here, &mut ahead);
            eliminate::<N, R, 1>(panel, &mut here, &mut ahead);
            eliminate::<N, R, 2>(panel, &mut here, &mut ahead);
            eliminate::<N, R, 3>(panel, &mut here, &mut ahead);
            eliminate::<N, R, 4>(panel, &mut here, &mut ahead);
            eliminate::<N, R, 5>(panel, &mut here, &mut ahead);
            eliminate::<N, R, 6>(panel, &mut here, &mut ahead);
            eliminate::<N, R, 7>(panel, &mut here, &mut ahead);
            pass_on(x, i, &mut here, &mut ahead);
        }
        let end = run.blocks * N;
        x[end..end + N].copy_from_slice(&here);
        x[end + N..end + R].copy_from_slice(&ahead[..N]);
    }

    #[inline(always)]
    fn forward_lanes_general(&self, run: &Run, x: &mut [Lane]) {
        let blocks = self.lead.len();
        for i in run.first..run.first + run.blocks {
            let last = self.start[(i + 3).min(blocks)];
            for c in self.start[i]..self.start[i + 1] {
                let below = &self.factor[self.column[c] + c + 1..self.column[c] + last];
                let value = x[c].map(|v| -v);
                for (x, l) in x[c + 1..last].iter_mut().zip(below) {
                    add(x, *l, &value);
                }
            }
        }
    }
}

/// Products of the lanes of `a` with those of `b`, row by row times `scale`.
pub(crate) fn gram(a: &[Lane], b: &[Lane], scale: &[f64]) -> [Lane; LANES] {
    struct Gram<'a>(&'a [Lane], &'a [Lane], &'a [f64]);
    impl WithSimd for Gram<'_> {
        type Output = [Lane; LANES];
        #[inline(always)]
        fn with_simd<S: Simd>(self, _: S) -> Self::Output {
            gram_with(self.0, self.1, self.2)
        }
    }
    in_vectors(Gram(a, b, scale))
}

#[inline(always)]
fn gram_with(a: &[Lane], b: &[Lane], scale: &[f64]) -> [Lane; LANES] {
    let mut sums = [[0.0; LANES]; LANES];
    for ((a, b), scale) in a.iter().zip(b).zip(scale) {
        let scaled = b.map(|b| b * scale);
        for (sum, a) in sums.iter_mut().zip(a) {
            add(sum, *a, &scaled);
        }
    }
    sums
}

/// Products of the first `used` lanes of `a` with each other, row by row times `scale`.
pub(crate) fn own_gram(a: &[Lane], scale: &[f64], used: usize) -> [Lane; LANES] {
    struct OwnGram<'a>(&'a [Lane], &'a [f64], usize);
    impl WithSimd for OwnGram<'_> {
        type Output = [Lane; LANES];
        #[inline(always)]
        fn with_simd<S: Simd>(self, _: S) -> Self::Output {
            let Self(a, scale, used) = self;
            if used <= HALF {
                own_gram_with::<HALF>(a, scale)
            } else {
                own_gram_with::<LANES>(a, scale)
            }
        }
    }
    in_vectors(OwnGram(a, scale, used))
}

/// Half of the lanes: so many products at a time stay in registers, and those of the second half with the
/// first are known from those of the first with the second.
const HALF: usize = LANES / 2;

#[inline(always)]
fn own_gram_with<const WIDTH: usize>(a: &[Lane], scale: &[f64]) -> [Lane; LANES] {
    let mut first = [[0.0; WIDTH]; HALF];
    let mut second = [[0.0; HALF]; HALF];
    for (a, scale) in a.iter().zip(scale) {
        let (low, high) = a.split_at(HALF);
        let mut scaled = [0.0; WIDTH];
        for (scaled, a) in scaled.iter_mut().zip(a) {
            *scaled = a * scale;
        }
        for (sum, a) in first.iter_mut().zip(low) {
            for (sum, b) in sum.iter_mut().zip(&scaled) {
                *sum = fused(*a, *b, *sum);
            }
        }
        if WIDTH > HALF {
            for (sum, a) in second.iter_mut().zip(high) {
                for (sum, b) in sum.iter_mut().zip(&scaled[HALF..]) {
                    *sum = fused(*a, *b, *sum);
                }
            }
        }
    }
    let mut sums = [[0.0; LANES]; LANES];
    for i in 0..HALF {
        sums[i][..WIDTH].copy_from_slice(&first[i]);
        sums[HALF + i][HALF..].copy_from_slice(&second[i]);
        for j in HALF..WIDTH {
            sums[j][i] = first[i][j];
        }
    }
    sums
}

/// Products of a column with all lanes.
pub(crate) fn products(column: &[f64], lanes: &[Lane]) -> Lane {
    struct Products<'a>(&'a [f64], &'a [Lane]);
    impl WithSimd for Products<'_> {
        type Output = Lane;
        #[inline(always)]
        fn with_simd<S: Simd>(self, _: S) -> Lane {
            products_with(self.0, self.1)
        }
    }
    in_vectors(Products(column, lanes))
}

#[inline(always)]
fn products_with(column: &[f64], lanes: &[Lane]) -> Lane {
    // parts that do not wait for each other
    const PARTS: usize = 4;
    let mut sums = [[0.0; LANES]; PARTS];
    let ((columns, column), (wholes, lanes)) =
        (column.as_chunks::<PARTS>(), lanes.as_chunks::<PARTS>());
    for (c, x) in columns.iter().zip(wholes) {
        for (sum, (c, x)) in sums.iter_mut().zip(c.iter().zip(x)) {
            add(sum, *c, x);
        }
    }
    for (c, x) in column.iter().zip(lanes) {
        add(&mut sums[0], *c, x);
    }
    std::array::from_fn(|l| (sums[0][l] + sums[1][l]) + (sums[2][l] + sums[3][l]))
}

/// Adds the lanes, each times its part, to `out`.
pub(crate) fn combine(lanes: &[Lane], parts: &Lane, out: &mut [f64]) {
    struct Combine<'a>(&'a [Lane], &'a Lane, &'a mut [f64]);
    impl WithSimd for Combine<'_> {
        type Output = ();
        #[inline(always)]
        fn with_simd<S: Simd>(self, _: S) {
            for (out, x) in self.2.iter_mut().zip(self.0) {
                let p: Lane = std::array::from_fn(|l| x[l] * self.1[l]);
                *out += ((p[0] + p[4]) + (p[2] + p[6])) + ((p[1] + p[5]) + (p[3] + p[7]));
            }
        }
    }
    in_vectors(Combine(lanes, parts, out));
}
