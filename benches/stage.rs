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
use nestline::output::stage::{Stage, StageSettings, picture_rods};
use nestline::procedure::{Plan, Ruler, State};
use nestline::rehearsal::{outcome_of, walk_through};
use std::hint::black_box;
use std::time::Instant;

/// Moves of a drag that are timed, and the length of each, mm: a mouse over the strip of lengths.
const MOVES: (u32, f64) = (40, 1.5);

fn stage() -> Stage {
    let source = Source::from_argument("embedded:scenes/left-tandem-retriever-first.ron");
    let loaded = data::load_scene(&source, &TrackSettings::default()).expect("a built-in scene");
    let passed = walk_through(&loaded.plan, &mut Ruler).expect("it can be rehearsed");
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
        let start = Instant::now();
        black_box(stage.at(total_s * f64::from(k) / 400.0));
        slowest_ms = slowest_ms.max(start.elapsed().as_secs_f64() * 1e3);
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

/// The first step at whose end four devices are in the body and settle.
fn four(stage: &Stage) -> Option<(usize, State)> {
    (0..stage.steps.len()).find_map(|step| {
        let state = stage.at_step(step, 1.0).state;
        let inside = state.in_place.iter().flatten().count();
        let settles = picture_rods().at_rest(stage.plan(), &state).is_ok();
        (inside == 4 && settles).then_some((step, state))
    })
}

/// Drags the innermost device back and in again.
fn drag(stage: &Stage) {
    let Some((step, state)) = four(stage) else {
        println!("no step with four devices settles: no drag was timed");
        return;
    };
    let plan = stage.plan();
    for device in (0..plan.devices.len()).filter(|k| state.in_place[*k].is_some()) {
        let (times_ms, failed) = drag_times_ms(plan, &state, device);
        let mut sorted = times_ms.clone();
        sorted.sort_by(f64::total_cmp);
        let middle = sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN);
        let most = sorted.last().copied().unwrap_or(f64::NAN);
        println!(
            "four devices of step {}, the {} dragged by {} mm a move: median {middle:.1} ms, slowest {most:.1} ms, {failed} of {} came to no rest",
            step + 1,
            plan.devices[device].name,
            MOVES.1,
            times_ms.len(),
        );
    }
}

fn drag_times_ms(plan: &Plan, state: &State, device: usize) -> (Vec<f64>, usize) {
    let mut rods = picture_rods();
    let mut state = state.clone();
    let mut times_ms = Vec::new();
    let mut failed = 0;
    // the first shape is settled from nothing, before the hand moves
    let _ = rods.at_rest(plan, &state);
    for k in 0..MOVES.0 {
        let by_mm = if k < MOVES.0 / 2 { -MOVES.1 } else { MOVES.1 };
        if let Some(place) = &mut state.in_place[device] {
            place.tip_mm += by_mm;
            place.fed_mm += by_mm;
        }
        let start = Instant::now();
        if black_box(rods.at_rest(plan, &state)).is_err() {
            failed += 1;
        }
        times_ms.push(start.elapsed().as_secs_f64() * 1e3);
    }
    (times_ms, failed)
}

criterion_group!(benches, moments);
criterion_main!(benches);
