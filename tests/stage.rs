//! The scene model of all pictures: devices stay in the lumen, tips move smoothly, what is drawn is where
//! the numbers say.

use nestline::data::{LoadedScene, Source, load_scene};
use nestline::geometry::TrackSettings;
use nestline::output::stage::{Stage, StageSettings};
use nestline::procedure::{Passed, Ruler};
use nestline::rehearsal::{outcome_of, walk_through};
use std::sync::OnceLock;

struct Played {
    loaded: LoadedScene,
    passed: Vec<Passed>,
    stage: Stage,
}

fn play(scene: &str, settings: StageSettings) -> Played {
    let source = Source::from_argument(scene);
    let loaded = load_scene(&source, &TrackSettings::default()).unwrap();
    let passed = walk_through(&loaded.plan, &mut Ruler).unwrap();
    let outcome = outcome_of(&loaded.plan, &passed);
    let stage = Stage::new(&loaded.plan, &loaded.vessel.tree, &passed, &outcome, settings);
    Played {
        loaded,
        passed,
        stage,
    }
}

fn default_scene() -> &'static Played {
    static PLAYED: OnceLock<Played> = OnceLock::new();
    PLAYED.get_or_init(|| {
        play(
            "embedded:scenes/left-tandem-retriever-first.ron",
            StageSettings::default(),
        )
    })
}

#[test]
fn every_step_is_on_the_film() {
    let played = default_scene();
    let film = &played.stage.timeline;
    assert_eq!(film.steps.len(), played.loaded.plan.script.len(), "one span a step");
    for (i, span) in film.steps.iter().enumerate() {
        let moment = played.stage.at(0.5 * (span.moved_s + span.end_s));
        assert_eq!(moment.step, i, "its own step");
        let after = &played.passed[i].after;
        for (k, place) in after.in_place.iter().enumerate() {
            assert_eq!(place.is_some(), moment.device(k).is_some(), "step {i}, device {k}");
        }
    }
}
