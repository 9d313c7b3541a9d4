//! What a window needs for a frame: everything that is drawn at a time of the film, and the shapes of a
//! stack of four while one of its devices is dragged.

#![expect(clippy::disallowed_methods, reason = "a bench reads the clock")]
#![expect(clippy::print_stdout, reason = "a bench prints")]
#![expect(
    clippy::expect_used,
    reason = "a bench that cannot read its scene has nothing to time"
)]

use criterion::{Criterion, criterion_group, criterion_main};
use nestline::data::{self, Source};
use nestline::geometry::TrackSettings;
use nestline::procedure::{CentreLine, Plan, State};
use nestline::rehearsal::{outcome_of, walk_through};
use nestline::stage::{FollowingRods, Node, PictureRods, Stage, StageSettings};
use std::hint::black_box;
use std::time::Instant;

/// Moves of a drag that are timed, and the length of each, mm: a mouse over the strip of lengths.
const MOVES: (u32, f64) = (40, 1.5);

fn stage() -> Stage {
    let source = Source::from_argument("embedded:scenes/left-tandem-retriever-first.ron");
    let loaded = data::load_scene(&source, &TrackSettings::default()).expect("a built-in scene");
    let passed = walk_through(&loaded.plan, &mut CentreLine).expect("it can be rehearsed");
    let outcome = outcome_of(&loaded.plan, &passed);
    let start = Instant::now();
    let stage = Stage::new(
        &loaded.plan,
        &loaded.vessel.tree,
        &passed,
        &outcome,
        StageSettings::default(),
    );
    println!(
        "the whole script settled for the picture in {:.2} s: {}",
        start.elapsed().as_secs_f64(),
        stage.shapes.in_words()
    );
    stage
}

fn moments(criterion: &mut Criterion) {
    let stage = stage();
    let total_s = stage.timeline.total_s();
    let mut slowest_ms: f64 = 0.0;
    for k in 0..400_u32 {
        // the best of three: others use the machine as well
        let tries = (0..3).map(|_| {
            let start = Instant::now();
            black_box(stage.at(total_s * f64::from(k) / 400.0));
            start.elapsed().as_secs_f64() * 1e3
        });
        slowest_ms = slowest_ms.max(tries.fold(f64::INFINITY, f64::min));
    }
    println!("the slowest of 400 moments of the default scene: {slowest_ms:.2} ms");
    let mut at_s = 0.0;
    criterion.bench_function(
        "a moment of the default scene, all over the film",
        |bencher| {
            bencher.iter(|| {
                at_s = (at_s + 0.377) % total_s;
                black_box(stage.at(at_s))
            });
        },
    );
    drag(&stage);
}

/// Steps at whose ends exactly four devices are in the body.
fn four(stage: &Stage) -> Vec<(usize, State)> {
    (0..stage.steps.len())
        .map(|step| (step, stage.at_step(step, 1.0).state))
        .filter(|(_, state)| state.in_place.iter().flatten().count() == 4)
        .collect()
}

/// Drags every device of every stack of four back and in again.
fn drag(stage: &Stage) {
    let plan = stage.plan();
    let mut all_ms = Vec::new();
    let mut failed = 0;
    for (step, state) in four(stage) {
        let mut of_step_ms = Vec::new();
        for device in (0..plan.devices.len()).filter(|k| state.in_place[*k].is_some()) {
            failed += drag_one(plan, &state, device, &mut of_step_ms);
        }
        println!("step {}: {}", step + 1, spread(&mut of_step_ms));
        all_ms.extend(of_step_ms);
    }
    let count = all_ms.len();
    println!(
        "four devices, one dragged by {} mm a move, {count} moves: {}; {failed} came to no rest",
        MOVES.1,
        spread(&mut all_ms)
    );
    let Some((step, state)) = four(stage).pop() else {
        return;
    };
    let shapes = [
        FollowingRods::new(plan).settle(&state),
        PictureRods::default().settle(plan, &state),
    ];
    if let [Ok(Some(rough)), Ok(Some(fine))] = shapes {
        let [rough, fine] = [rough, fine].map(|s| stage.posed(step, &state, Some(&s)));
        let apart_mm = rough.devices.iter().zip(&fine.devices).flat_map(|(a, b)| {
            let other = |s_mm: f64| {
                let near = b.nodes.iter();
                near.min_by(|x, y| {
                    let off = |n: &Node| (n.station_mm - s_mm).abs();
                    off(x).total_cmp(&off(y))
                })
            };
            let inside = a.nodes.iter().filter(|n| n.station_mm > 0.0);
            inside.filter_map(move |n| Some((n.at - other(n.station_mm)?.at).norm()))
        });
        let mut apart_mm: Vec<f64> = apart_mm.collect();
        println!(
            "rough and settled shapes of step {} apart, mm: {}",
            step + 1,
            spread(&mut apart_mm)
        );
    }
}

/// Median, 95th of 100 and largest.
fn spread(values: &mut [f64]) -> String {
    values.sort_by(f64::total_cmp);
    let part = |hundredths: usize| {
        let index = (values.len() * hundredths / 100).min(values.len().saturating_sub(1));
        values.get(index).copied().unwrap_or(f64::NAN)
    };
    format!(
        "median {:.1}, 95 of 100 within {:.1}, largest {:.1}",
        part(50),
        part(95),
        part(100)
    )
}

/// Times of a drag, ms; returns how many shapes did not come.
fn drag_one(plan: &Plan, state: &State, device: usize, times_ms: &mut Vec<f64>) -> usize {
    let mut rods = FollowingRods::new(plan);
    let mut state = state.clone();
    let mut failed = 0;
    // the first shape is settled from nothing, before the hand moves
    let _ = rods.settle(&state);
    for k in 0..MOVES.0 {
        let by_mm = if k < MOVES.0 / 2 { -MOVES.1 } else { MOVES.1 };
        if let Some(place) = &mut state.in_place[device] {
            place.tip_mm += by_mm;
            place.fed_mm += by_mm;
        }
        let start = Instant::now();
        if black_box(rods.settle(&state)).is_err() {
            failed += 1;
        }
        times_ms.push(start.elapsed().as_secs_f64() * 1e3);
    }
    failed
}

criterion_group!(benches, moments);
criterion_main!(benches);
