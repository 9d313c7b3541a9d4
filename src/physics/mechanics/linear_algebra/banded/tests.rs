use super::*;
use crate::math;
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

/// A symmetric matrix of the block pattern with a dominant diagonal, dense and banded.
fn sample(sizes: &[usize], seed: u64) -> (BlockBanded, DMatrix<f64>) {
    let mut banded = BlockBanded::default();
    banded.lay_out(sizes);
    banded.clear();
    banded.clear_rest();
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
    fn reference_agrees_with_dense_cholesky(
        sizes in proptest::collection::vec((0_usize..7).prop_map(|d| 2 * d), 1..9),
        run in 0_usize..7, seed in 1_u64..u64::MAX,
    ) {
        // a stretch of equal blocks for the unrolled path
        let sizes: Vec<usize> = sizes.iter().copied().chain([2 * run; 5]).collect();
        let (mut banded, dense) = sample(&sizes, seed);
        let n = dense.nrows();
        prop_assume!(n > 0);
        prop_assert!(banded.factorise(0.0, true).is_some(), "sizes {sizes:?} not definite");
        let right = DVector::from_fn(n, |i, _| math::sin(i as f64));
        let mut x = right.as_slice().to_vec();
        banded.solve(&mut x);
        let expected = dense.clone().cholesky().unwrap().solve(&right);
        for (found, expected) in x.iter().zip(expected.iter()) {
            prop_assert!((found - expected).abs() < 1e-12, "{sizes:?}: {found} against {expected}");
        }
        let columns = DMatrix::from_fn(n, LANES, |i, l| math::cos((i + 7 * l) as f64));
        let mut lanes: Vec<Lane> = (0..n).map(|i| std::array::from_fn(|l| columns[(i, l)])).collect();
        banded.forward_lanes(&mut lanes);
        let expected = dense.cholesky().unwrap().solve(&columns);
        // A'(L'^-1 D^-1 L^-1) A
        let found = gram(&lanes, &lanes, banded.inverses());
        for (i, row) in found.iter().enumerate() {
            for (j, found) in row.iter().enumerate() {
                let expected = columns.column(i).dot(&expected.column(j));
                prop_assert!((found - expected).abs() < 1e-12 * (1.0 + expected.abs()), "{i} with {j} of {sizes:?}");
            }
        }
        for used in [3, LANES] {
            let own = own_gram(&lanes, banded.inverses(), used);
            for (i, row) in own.iter().enumerate().take(used) {
                for (j, own) in row.iter().enumerate().take(used) {
                    let expected = found[i][j];
                    prop_assert!((own - expected).abs() < 1e-12 * (1.0 + expected.abs()), "{i} with {j} of {used}");
                }
            }
        }
        let scaled: Vec<Lane> = lanes.iter().zip(banded.inverses()).map(|(x, d)| x.map(|x| x * d)).collect();
        let parts = std::array::from_fn(|l| 1.0 + l as f64);
        let mut sum = vec![0.0; n];
        combine(&scaled, &parts, &mut sum);
        banded.backward_alone(&mut sum);
        for (i, sum) in sum.iter().enumerate() {
            let expected: f64 = (0..LANES).map(|l| parts[l] * expected[(i, l)]).sum();
            prop_assert!((sum - expected).abs() < 1e-10, "row {i}: {sum} against {expected}");
        }
        let along = products(right.as_slice(), &lanes);
        for (l, along) in along.iter().enumerate() {
            let expected: f64 = right.iter().zip(&lanes).map(|(r, x)| r * x[l]).sum();
            prop_assert!((along - expected).abs() < 1e-10, "product {l}");
        }
    }
}

proptest! {
    #[test]
    fn reference_counts_negative_eigenvalues(
        sizes in proptest::collection::vec((0_usize..5).prop_map(|d| 2 * d), 1..5),
        run in 1_usize..5, seed in 1_u64..u64::MAX, lowered in 56.0_f64..64.0,
    ) {
        let sizes: Vec<usize> = sizes.iter().copied().chain([2 * run; 5]).collect();
        let (mut banded, dense) = sample(&sizes, seed);
        let values = (dense.clone() - DMatrix::identity(dense.nrows(), dense.nrows()) * lowered)
            .symmetric_eigenvalues();
        // nearer to zero the sign is rounding's
        prop_assume!(values.iter().all(|v| v.abs() > 1e-6));
        let negative = values.iter().filter(|v| **v < 0.0).count();
        prop_assert_eq!(banded.factorise(-lowered, false), Some(negative));
        let definite = banded.factorise(-lowered, true).is_some();
        prop_assert_eq!(definite, negative == 0);
    }
}

#[test]
fn exact_indefinite_is_told() {
    // eigenvalues 3 and -1
    let mut banded = BlockBanded::default();
    banded.lay_out(&[2]);
    banded.add(0, 0, [1.0, 2.0, 2.0, 1.0]);
    assert_eq!(
        banded.factorise(0.0, true),
        None,
        "eigenvalue -1 taken as positive"
    );
    assert_eq!(banded.factorise(0.0, false), Some(1), "negative ones");
    assert!(
        banded.factorise(1.5, true).is_some(),
        "eigenvalue 0.5 refused"
    );
    let mut out = [0.0; 2];
    banded.multiply(&[1.0, -1.0], &mut out);
    assert!(
        (out[0] + 1.0).abs() < 1e-15 && (out[1] - 1.0).abs() < 1e-15,
        "{out:?} is not -1 times (1, -1)"
    );
}

#[test]
fn exact_count_of_operations() {
    // column by column, with the rows under the diagonal that two blocks further down still have
    let sizes = [2, 4, 6, 2, 2, 0, 2];
    let mut banded = BlockBanded::default();
    banded.lay_out(&sizes);
    let mut expected = 0;
    for (i, size) in sizes.iter().enumerate() {
        let rows: usize = sizes[i..(i + 3).min(sizes.len())].iter().sum();
        for column in 0..*size {
            let below = rows - column - 1;
            expected += 2 + below + below * (below + 1);
        }
    }
    assert!(
        (banded.flops() - expected as f64).abs() < 0.5,
        "{} against {expected}",
        banded.flops()
    );
}

#[test]
#[cfg(debug_assertions)]
fn exact_no_entry_is_dropped_in_silence() {
    let (large, _) = sample(&[8; 12], 5);
    for (row, col) in [(24, 0), (10, 10), (0, 40)] {
        let mut banded = large.clone();
        // memory of the larger one stays behind the smaller one's end
        banded.lay_out(&[2; 5]);
        banded.clear();
        banded.clear_rest();
        let added = std::panic::catch_unwind(move || banded.add(row, col, [1.0; 4]));
        assert!(
            added.is_err(),
            "({row}, {col}) is taken though there is no place for it"
        );
    }
}
