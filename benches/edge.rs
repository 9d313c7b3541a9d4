//! Every stent edge of the default scene, judged with 10,000 samples each, on one thread.

use criterion::{Criterion, criterion_group, criterion_main};
use nestline::data::{self, Source};
use nestline::procedure::{EdgePassage, Plan, State, edge_passages, judge_edge, perform};
use std::hint::black_box;

/// The crossings of a plan, each with the state before its step; lengths are ruled.
fn crossings(plan: &Plan) -> Vec<(State, EdgePassage)> {
    let mut state = State::start(plan);
    let mut found = Vec::new();
    for step in &plan.script {
        let (after, effect) = perform(plan, &state, &step.act);
        for passage in edge_passages(plan, &state, &after, &effect.moves) {
            found.push((state.clone(), passage));
        }
        state = after;
    }
    found
}

fn edges(criterion: &mut Criterion) {
    let source = Source::from_argument("embedded:scenes/left-tandem-retriever-first.ron");
    let Ok(mut plan) = data::read_scene(&source) else {
        return;
    };
    plan.rules.edge.sampling.samples = 10_000;
    plan.rules.edge.sampling.threads = 1;
    let found = crossings(&plan);
    let name = format!("{} crossings, 10,000 samples each", found.len());
    criterion.bench_function(&name, |bencher| {
        bencher.iter(|| {
            for (state, passage) in &found {
                let _ = black_box(judge_edge(&plan, state, passage, &[]));
            }
        });
    });
}

criterion_group!(benches, edges);
criterion_main!(benches);
