//! Speed of the rod solver on a femoral route: 910 mm to the middle cerebral artery, stations every
//! millimetre, one rod or four (guide, aspiration catheter, microcatheter, wire).
//!
//! Stiffness as in the trade's range; none of the values is measured on a product. Prints, besides
//! the timings: the factorisation's rate against a dense product's on the same core, and how cost
//! grows with the number of stations.
//!
//! What lies between the factorisation and a dense product: blocks of two (one rod) are a chain of
//! one division and some ten multiplications a station, each waiting for the one before, at a few
//! per cent of the rate that independent products reach; blocks of eight wait for eight divisions
//! and move 1.5 kB of panel a station through the cache for 3000 multiplications and additions.

#![expect(clippy::disallowed_methods, reason = "a bench reads the clock")]
#![expect(clippy::print_stdout, reason = "a bench prints")]
#![expect(
    clippy::expect_used,
    reason = "a bench that cannot pose its problem has nothing to time"
)]

use criterion::{BatchSize, Criterion};
use nalgebra::DMatrix;
use nestline::mechanics::problem::{Posed, Problem, ProblemEnd, ProblemRod, ProblemStiffness};
use nestline::mechanics::{Settings, Settle};
use std::hint::black_box;
use std::time::Instant;

fn route() -> Problem {
    let mut problem: Problem =
        serde_json::from_str(include_str!("femoral_route.json")).expect("the route is well formed");
    for rod in &mut problem.rods {
        // loads are given by station, as they are when friction is in
        rod.frictionless = false;
    }
    problem
}

fn one_rod(spacing_mm: f64) -> Posed {
    let rod = ProblemRod {
        stiffness: ProblemStiffness::Constant(20.0),
        outer_mm: 0.9,
        inner_mm: None,
        end: ProblemEnd::ExitPlane,
        ..route().rods[0].clone()
    };
    pose(&Problem {
        rods: vec![rod],
        spacing_mm,
        ..route()
    })
}

/// The four rods, all tips moved.
fn four_rods(moved_mm: f64) -> Posed {
    let mut problem = route();
    for rod in &mut problem.rods {
        if let ProblemEnd::Tip(at) = &mut rod.end {
            *at += moved_mm;
        }
    }
    pose(&problem)
}

fn pose(problem: &Problem) -> Posed {
    problem.pose().expect("the route can be posed")
}

/// Best of `repeats`, s.
fn best(repeats: u32, mut run: impl FnMut()) -> f64 {
    (0..repeats)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn report() {
    const SIDE: usize = 256;
    let a = DMatrix::from_fn(SIDE, SIDE, |i, j| ((i * 7 + j) % 13) as f64);
    let mut c = DMatrix::zeros(SIDE, SIDE);
    let dense_s = best(20, || c.gemm(1.0, black_box(&a), black_box(&a), 0.0));
    let dense = 2.0 * (SIDE as f64).powi(3) / dense_s / 1e9;
    println!("dense product: {dense:.1} GFLOP/s");
    for (what, posed) in [("one rod", one_rod(1.0)), ("four rods", four_rods(0.0))] {
        let mut settle = Settle::new(Settings::default());
        let found = settle.settle(&posed.scene()).expect("the route settles");
        let seconds = best(200, || {
            black_box(settle.factorise_again());
        });
        let rate = found.factorisation_flops / seconds / 1e9;
        println!(
            "{what}: {} steps, {} factorisations on all levels; {:.0} flops, {:.0} us, {rate:.2} GFLOP/s, {:.0} % of a dense product's",
            found.steps,
            found.factorisations,
            found.factorisation_flops,
            seconds * 1e6,
            100.0 * rate / dense
        );
    }
    let points: Vec<(f64, f64)> = [2.0, 1.0, 0.5, 0.25]
        .iter()
        .map(|spacing| {
            let posed = one_rod(*spacing);
            let mut settle = Settle::new(Settings::default());
            let seconds = best(10, || {
                black_box(settle.settle(&posed.scene()).expect("the route settles"));
            });
            println!(
                "one rod, {} stations: {:.2} ms",
                posed.tube.len(),
                seconds * 1e3
            );
            ((posed.tube.len() as f64).ln(), seconds.ln())
        })
        .collect();
    let n = points.len() as f64;
    let (mx, my) = points
        .iter()
        .fold((0.0, 0.0), |m, p| (m.0 + p.0 / n, m.1 + p.1 / n));
    let (xy, xx) = points.iter().fold((0.0, 0.0), |m, p| {
        (m.0 + (p.0 - mx) * (p.1 - my), m.1 + (p.0 - mx).powi(2))
    });
    println!("cost grows with stations to the power {:.2}", xy / xx);
}

fn main() {
    report();
    let mut criterion = Criterion::default().configure_from_args().sample_size(20);
    let one = one_rod(1.0);
    criterion.bench_function("one rod, 911 stations, from scratch", |b| {
        let mut settle = Settle::new(Settings::default());
        b.iter(|| settle.settle(black_box(&one.scene())));
    });
    let (four, moved) = (four_rods(0.0), four_rods(1.0));
    criterion.bench_function("four rods, 911 stations, from scratch", |b| {
        let mut settle = Settle::new(Settings::default());
        b.iter(|| settle.settle(black_box(&four.scene())));
    });
    criterion.bench_function("four rods after a move of 1 mm", |b| {
        let mut settle = Settle::new(Settings::default());
        let before = settle.settle(&four.scene()).expect("the route settles");
        b.iter_batched(
            || (),
            |()| settle.settle_from(black_box(&moved.scene()), &before),
            BatchSize::SmallInput,
        );
    });
    criterion.final_summary();
}
