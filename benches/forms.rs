//! A thousand measured forms made into routes, one after the other and on all cores.
#![expect(clippy::expect_used, reason = "a bench on a broken tree may stop")]

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use nestline::geometry::Track;
use nestline::geometry::anatomy::Measurements;
use nestline::threads::in_order;
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;

const FORMS: u64 = 1000;

/// The route of a form; none where it contradicts itself.
fn route(form: &Measurements) -> Option<Track> {
    let anatomy = form.build().ok()?;
    let target = anatomy.targets.first()?.place;
    anatomy.tree.track(anatomy.access, target, 1.0).ok()
}

fn forms_to_tracks(c: &mut Criterion) {
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let forms: Vec<Measurements> = (0..FORMS)
        .map(|_| Measurements::sampled(&mut random))
        .collect();
    let cores = std::thread::available_parallelism().expect("cores are counted");
    let mut group = c.benchmark_group("forms");
    group.sample_size(10);
    group.throughput(Throughput::Elements(FORMS));
    for threads in [1, cores.get()] {
        group.bench_function(format!("on {threads} threads"), |b| {
            b.iter(|| {
                let routes = in_order(&forms, threads, route);
                assert!(
                    routes.iter().flatten().count() > 900,
                    "most of them are sound"
                );
            });
        });
    }
    group.finish();
}

criterion_group!(benches, forms_to_tracks);
criterion_main!(benches);
