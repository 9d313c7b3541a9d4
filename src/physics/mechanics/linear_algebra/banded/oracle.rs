//! The factorisation against an independent library's, on matrices of the solver's shapes: rods of several
//! lengths that bend, are held softly along their way and press on each other.

use super::BlockBanded;
use crate::math;
use faer::linalg::solvers::Solve;
use faer::{Mat, Side};
use proptest::prelude::*;

/// One matrix, banded and dense.
struct Both {
    banded: BlockBanded,
    dense: Mat<f64>,
}

impl Both {
    /// For so many stations by rod, the furthest first: two unknowns of each rod that reaches a station.
    fn laid_out(stations: &[usize]) -> Self {
        let furthest = stations.first().copied().unwrap_or(0);
        let reach = |i: usize| stations.iter().filter(|end| i < **end).count();
        let sizes: Vec<usize> = (0..furthest).map(|i| 2 * reach(i)).collect();
        let mut banded = BlockBanded::default();
        banded.lay_out(&sizes);
        banded.clear();
        banded.clear_rest();
        let dense = Mat::zeros(banded.unknowns(), banded.unknowns());
        Self { banded, dense }
    }

    /// Adds `m` and, off the diagonal, its transpose.
    fn add(&mut self, row: usize, col: usize, m: [f64; 4]) {
        self.banded.add(row, col, m);
        for (p, q) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
            self.dense[(row + p, col + q)] += m[2 * p + q];
            if row != col {
                self.dense[(col + q, row + p)] += m[2 * p + q];
            }
        }
    }

    /// First unknown of a rod at a station.
    fn unknown(&self, station: usize, rod: usize) -> usize {
        self.banded.start[station] + 2 * rod
    }

    /// The same in both directions: `value` times the unit matrix.
    fn add_even(&mut self, row: usize, col: usize, value: f64) {
        self.add(row, col, [value, 0.0, 0.0, value]);
    }
}

/// Rods of these bending stiffnesses over so many stations each: second differences in two directions, soft
/// springs at every node, and a spring in a direction of its own between neighbours at every station.
fn rods(stations: &[usize], bending: &[f64], soft: f64, pressed: f64) -> Both {
    let mut both = Both::laid_out(stations);
    for (rod, (end, stiffness)) in stations.iter().zip(bending).enumerate() {
        for i in 0..*end {
            let here = both.unknown(i, rod);
            both.add_even(here, here, soft);
            if i + 2 < *end {
                let nodes = [i, i + 1, i + 2].map(|i| both.unknown(i, rod));
                let weights = [1.0, -2.0, 1.0];
                for a in 0..3 {
                    for b in 0..=a {
                        let value = stiffness * weights[a] * weights[b];
                        both.add_even(nodes[a], nodes[b], value);
                    }
                }
            }
            if rod > 0 {
                let (x, y) = (math::cos(i as f64), math::sin(i as f64));
                let m = [x * x, x * y, x * y, y * y].map(|v| v * pressed);
                let before = both.unknown(i, rod - 1);
                both.add(before, before, m);
                both.add(here, here, m);
                both.add(here, before, m.map(|v| -v));
            }
        }
    }
    both
}

/// One to four rods: stations, the furthest first, and bending stiffnesses.
fn stacks() -> impl Strategy<Value = Vec<(usize, f64)>> {
    let one = (1_usize..40, -1.0_f64..3.0).prop_map(|(end, power)| (end, math::exp(power)));
    proptest::collection::vec(one, 1..5).prop_map(|mut rods| {
        rods.sort_by_key(|rod| std::cmp::Reverse(rod.0));
        rods
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn reference_solves_and_determinants_are_those_of_another_library(
        stack in stacks(), soft in 0.01_f64..1.0, pressed in 0.0_f64..50.0,
    ) {
        let (stations, bending): (Vec<_>, Vec<_>) = stack.into_iter().unzip();
        let Both { mut banded, dense } = rods(&stations, &bending, soft, pressed);
        let n = dense.nrows();
        prop_assert!(banded.factorise(0.0, true).is_some(), "{stations:?}: not definite");
        let theirs = dense.llt(Side::Lower);
        prop_assert!(theirs.is_ok(), "{stations:?}: not definite for the library");
        let theirs = theirs.unwrap();
        let right = Mat::from_fn(n, 1, |i, _| math::sin(i as f64));
        let mut x: Vec<f64> = (0..n).map(|i| right[(i, 0)]).collect();
        banded.solve(&mut x);
        let expected = theirs.solve(&right);
        let most = expected.col(0).iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        // conditions go up to 1e5
        for (i, x) in x.iter().enumerate() {
            let off = (x - expected[(i, 0)]).abs();
            prop_assert!(off <= 1e-10 * most, "{stations:?}, row {i}: off by {off:e} of {most:e}");
        }
        let ours: f64 = banded.inverses().iter().map(|d| -math::ln(*d)).sum();
        let factor = theirs.L();
        let expected: f64 = (0..n).map(|i| 2.0 * math::ln(factor[(i, i)])).sum();
        prop_assert!(
            (ours - expected).abs() <= 1e-9 * n as f64,
            "{stations:?}: logarithm of the determinant {ours} against {expected}"
        );
    }

    #[test]
    fn reference_definite_is_what_another_library_takes_for_definite(
        stack in stacks(), soft in 0.01_f64..1.0, pressed in 0.0_f64..50.0, which in 0.0_f64..1.0,
    ) {
        let (stations, bending): (Vec<_>, Vec<_>) = stack.into_iter().unzip();
        let Both { mut banded, mut dense } = rods(&stations, &bending, soft, pressed);
        let n = dense.nrows();
        let values = dense.self_adjoint_eigenvalues(Side::Lower).unwrap();
        let largest = values[n - 1];
        // lowered to between two eigenvalues that rounding tells apart, to below all or above all of them
        let between = |k: usize| match k {
            0 => 0.5 * values[0],
            k if k == n => 1.5 * largest,
            k => 0.5 * (values[k - 1] + values[k]),
        };
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a share of a small count"
        )]
        let negative = (which * (n as f64 + 1.0)) as usize;
        let lowered = between(negative);
        let nearest = values.iter().fold(f64::INFINITY, |m, v| m.min((v - lowered).abs()));
        prop_assume!(nearest > 1e-9 * largest);
        prop_assert_eq!(banded.factorise(-lowered, false), Some(negative), "{:?}", &stations);
        let definite = banded.factorise(-lowered, true).is_some();
        for i in 0..n {
            dense[(i, i)] -= lowered;
        }
        let theirs = dense.llt(Side::Lower).is_ok();
        prop_assert_eq!((definite, theirs), (negative == 0, negative == 0), "{:?}", &stations);
    }
}
