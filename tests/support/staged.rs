//! Scenes of the program on the stage.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use nestline::data::{self, LoadedScene, Source};
use nestline::geometry::TrackSettings;
use nestline::procedure::{CentreLine, Passed};
use nestline::rehearsal::{Outcome, outcome_of, walk_through};
use nestline::stage::{Stage, StageSettings};

/// A scene of the program on the stage, devices on the centre line.
#[cfg(feature = "viewer")]
pub(crate) fn stage_of(name: &str) -> Stage {
    staged(name, false)
}

/// The same, with rods settled where it is wished.
#[cfg(feature = "viewer")]
pub(crate) fn staged(name: &str, settle: bool) -> Stage {
    let settings = StageSettings {
        settle,
        ..StageSettings::default()
    };
    play(&format!("embedded:scenes/{name}.ron"), settings).stage
}

/// A scene walked through along the centre line, what came of it, and its stage.
pub(crate) struct Played {
    pub(crate) loaded: LoadedScene,
    pub(crate) passed: Vec<Passed>,
    pub(crate) outcome: Outcome,
    pub(crate) stage: Stage,
}

/// Plays the scene that a command line would name so.
pub(crate) fn play(scene: &str, settings: StageSettings) -> Played {
    let source = Source::from_argument(scene);
    let loaded = data::load_scene(&source, &TrackSettings::default()).unwrap();
    let passed = walk_through(&loaded.plan, &mut CentreLine).unwrap();
    let outcome = outcome_of(&loaded.plan, &passed);
    let stage = Stage::new(
        &loaded.plan,
        &loaded.vessel.tree,
        &passed,
        &outcome,
        settings,
    );
    Played {
        loaded,
        passed,
        outcome,
        stage,
    }
}
