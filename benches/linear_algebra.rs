//! The banded factorisation beside general-purpose libraries, on matrices of the rod solver's shapes: one rod
//! and four rods on the femoral route, two unknowns a station and rod, bending over two neighbours on either
//! side, rods coupled at their stations.
//!
//! Ours is the solver's own matrix, assembled as well (from what is kept of its last evaluation). The
//! libraries get one of the same size and pattern: what a factorisation costs does not depend on the numbers.
//! Prints how far the two agree in multiplications and additions.

#![expect(clippy::print_stdout, reason = "a bench prints")]
#![expect(
    clippy::expect_used,
    reason = "a bench that cannot pose its problem has nothing to time"
)]

use criterion::Criterion;
use faer::sparse::linalg::solvers::{Llt, SymbolicLlt};
use faer::sparse::{SparseColMat, Triplet};
use faer::{Mat, Par, Side};
use nalgebra::DMatrix;
use nestline::mechanics::problem::{Posed, Problem, ProblemEnd, ProblemRod, ProblemStiffness};
use nestline::mechanics::{End, Settings, Settle};
use std::hint::black_box;
use std::time::Duration;

fn route() -> Problem {
    let mut problem: Problem =
        serde_json::from_str(include_str!("femoral_route.json")).expect("the route is well formed");
    for rod in &mut problem.rods {
        rod.frictionless = false;
    }
    problem
}

fn one_rod() -> Posed {
    let rod = ProblemRod {
        stiffness: ProblemStiffness::Constant(20.0),
        outer_mm: 0.9,
        inner_mm: None,
        end: ProblemEnd::ExitPlane,
        ..route().rods[0].clone()
    };
    let problem = Problem {
        rods: vec![rod],
        ..route()
    };
    problem.pose().expect("the route can be posed")
}

/// Unknowns of each station.
fn blocks(posed: &Posed) -> Vec<usize> {
    let reaches = |s_mm: f64| {
        let reach = |rod: &&nestline::mechanics::Rod| match &rod.end {
            End::Tip(tip) => s_mm < tip.s_mm,
            End::ExitPlane => true,
        };
        posed.rods.iter().filter(reach).count()
    };
    let stations = posed.tube.iter().map(|station| 2 * reaches(station.s_mm));
    stations.collect()
}

/// Entries on and below the diagonal: all of a block, and all of the two blocks after it.
fn entries(blocks: &[usize]) -> Vec<(usize, usize, f64)> {
    let mut start = vec![0];
    for size in blocks {
        start.push(start[start.len() - 1] + size);
    }
    let mut found = Vec::new();
    for i in 0..blocks.len() {
        let end = start[(i + 3).min(blocks.len())];
        for c in start[i]..start[i + 1] {
            for r in c..end {
                let value = if r == c {
                    60.0
                } else {
                    ((r * 7 + c * 3) % 13) as f64 / 13.0 - 0.5
                };
                found.push((r, c, value));
            }
        }
    }
    found
}

/// Multiplications and additions of one factorisation, column by column.
fn flops(blocks: &[usize]) -> f64 {
    let mut sum = 0;
    for (i, size) in blocks.iter().enumerate() {
        let rows: usize = blocks[i..(i + 3).min(blocks.len())].iter().sum();
        for column in 0..*size {
            let below = rows - column - 1;
            sum += 2 + below + below * (below + 1);
        }
    }
    sum as f64
}

fn compare(criterion: &mut Criterion, what: &str, posed: &Posed) {
    let mut settle = Settle::new(Settings::default());
    let found = settle.settle(&posed.scene()).expect("the route settles");
    let blocks = blocks(posed);
    let n: usize = blocks.iter().sum();
    println!(
        "{what}: {n} unknowns, {:.0} flops in the libraries' matrix, {:.0} in ours",
        flops(&blocks),
        found.factorisation_flops
    );
    let mut group = criterion.benchmark_group(what);
    group.bench_function("ours, assembled and factorised", |b| {
        b.iter(|| black_box(settle.factorise_again()));
    });
    let entries = entries(&blocks);
    let triplets: Vec<_> = entries
        .iter()
        .map(|(r, c, v)| Triplet::new(*r, *c, *v))
        .collect();
    let sparse = SparseColMat::<usize, f64>::try_new_from_triplets(n, n, &triplets)
        .expect("rows and columns lie inside");
    let symbolic = SymbolicLlt::try_new(sparse.symbolic(), Side::Lower).expect("there is memory");
    group.bench_function("faer, sparse, pattern known", |b| {
        b.iter(|| {
            Llt::try_new_with_symbolic(symbolic.clone(), black_box(sparse.as_ref()), Side::Lower)
                .expect("it is positive definite")
        });
    });
    group.sample_size(10);
    let mut dense = Mat::<f64>::zeros(n, n);
    let mut theirs = DMatrix::<f64>::zeros(n, n);
    for (r, c, v) in &entries {
        (dense[(*r, *c)], dense[(*c, *r)]) = (*v, *v);
        (theirs[(*r, *c)], theirs[(*c, *r)]) = (*v, *v);
    }
    group.bench_function("faer, dense", |b| {
        b.iter(|| {
            black_box(&dense)
                .llt(Side::Lower)
                .expect("it is positive definite")
        });
    });
    group.bench_function("nalgebra, dense", |b| {
        b.iter(|| {
            black_box(theirs.clone())
                .cholesky()
                .expect("it is positive definite")
        });
    });
    group.finish();
}

fn main() {
    faer::set_global_parallelism(Par::Seq);
    let mut criterion = Criterion::default()
        .configure_from_args()
        .sample_size(20)
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(2));
    compare(&mut criterion, "one rod", &one_rod());
    let four = route().pose().expect("the route can be posed");
    compare(&mut criterion, "four rods", &four);
    criterion.final_summary();
}
