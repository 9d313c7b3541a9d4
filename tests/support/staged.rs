//! Scenes of the program on the stage.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use nestline::data::{self, Source};
use nestline::geometry::TrackSettings;
use nestline::procedure::CentreLine;
use nestline::rehearsal::{outcome_of, walk_through};
use nestline::stage::{Stage, StageSettings};

/// A scene of the program on the stage, devices on the centre line.
pub(crate) fn stage_of(name: &str) -> Stage {
    staged(name, false)
}

/// The same, with rods settled where it is wished.
pub(crate) fn staged(name: &str, settle: bool) -> Stage {
    let source = Source::from_argument(format!("embedded:scenes/{name}.ron"));
    let loaded = data::load_scene(&source, &TrackSettings::default()).unwrap();
    let passed = walk_through(&loaded.plan, &mut CentreLine).unwrap();
    let outcome = outcome_of(&loaded.plan, &passed);
    let settings = StageSettings {
        settle,
        ..StageSettings::default()
    };
    Stage::new(
        &loaded.plan,
        &loaded.vessel.tree,
        &passed,
        &outcome,
        settings,
    )
}
