//! Cost of a track by its length: it must be linear.
#![expect(clippy::expect_used, reason = "a bench on a broken tree may stop")]

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use nestline::geometry::{
    Branch, Curve, Frame, Lumen, MeasureSettings, Measures, Ostium, Place, Point, Run, Tree, Vector,
};
use std::hint::black_box;

/// Three branches in a row, each `cells` bends of 10 mm with as many lumen knots.
fn tree(cells: u32) -> Tree {
    let mut branches: Vec<Branch> = Vec::new();
    let mut start = Frame::new(Point::origin(), Vector::z(), Vector::x());
    for name in ["aorta", "carotid", "cerebral"] {
        let runs: Vec<Run> = (0..cells)
            .map(|i| Run {
                length_mm: 10.0,
                turn_rad: 0.3,
                roll_rad: f64::from(i),
                diameter_start_mm: 5.0,
                diameter_end_mm: 5.0,
            })
            .collect();
        let curve = Curve::from_runs(start, &runs).expect("runs are sound");
        start = curve.end().turned(0.5, 0.2);
        let ostium = branches.len().checked_sub(1).map(|branch| Ostium {
            branch,
            at_mm: branches[branch].curve.length_mm(),
        });
        branches.push(Branch {
            name: name.into(),
            ostium,
            curve,
            lumen: Lumen {
                knots_mm: (0..cells)
                    .map(|i| (10.0 * f64::from(i), 5.0 - 0.1 * f64::from(i % 2)))
                    .collect(),
            },
            wall_stiffness_n_per_mm2: 0.5,
        });
    }
    Tree {
        branches,
        landmarks: vec![],
        lesions: vec![],
        clots: vec![],
    }
}

fn by_length(c: &mut Criterion) {
    let mut group = c.benchmark_group("track");
    for cells in [10, 30, 90] {
        let tree = tree(cells);
        let length_mm = 30 * u64::from(cells);
        let access = Place {
            branch: 0,
            at_mm: 0.0,
        };
        let target = Place {
            branch: 2,
            at_mm: tree.branches[2].curve.length_mm(),
        };
        group.throughput(Throughput::Elements(length_mm));
        group.bench_function(BenchmarkId::new("build", length_mm), |b| {
            b.iter(|| black_box(&tree).track(access, target, 1.0));
        });
        let track = tree.track(access, target, 1.0).expect("the tree is sound");
        let settings = MeasureSettings::default();
        group.bench_function(BenchmarkId::new("measure", length_mm), |b| {
            b.iter(|| Measures::of(black_box(&tree), black_box(&track), &settings));
        });
    }
    group.finish();
}

criterion_group!(benches, by_length);
criterion_main!(benches);
