//! Rules of good practice, held against the script of every scene, of every strategy and of the README.
//!
//! The rules are common practice, no source, but where one is named beside a rule. A scene that is to fail for a
//! reason of its own (a stack that does not reach) keeps them all the same: what it teaches is that reason.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a helper that fails fails the test"
)]

mod rules;

use nestline::data::{Rendering, Source, load_scene};
use nestline::geometry::TrackSettings;
use nestline::procedure::{Action, Choices, Plan};
use nestline::rehearsal::walk;
use rules::{Case, RULES};

const SCENES: [&str; 8] = [
    "left-tandem-retriever-first",
    "dissection",
    "kinked-neck-type-3",
    "right-radial",
    "guide-below-stent",
    "too-short",
    "full-shaft-beside-pusher",
    "pusher-too-thick",
];

fn plan(scene: &str) -> Plan {
    let source = Source::from_argument(&format!("embedded:scenes/{scene}.ron"));
    let loaded = load_scene(&source, &TrackSettings::default());
    loaded
        .unwrap_or_else(|e| panic!("{}", e.render(Rendering::default())))
        .plan
}

/// Along the centre line: rules are about what is done in which order.
fn case(name: String, plan: Plan) -> Case {
    let passed = walk(&plan);
    Case { name, plan, passed }
}

fn scenes() -> Vec<Case> {
    let scenes = SCENES.iter();
    scenes
        .map(|scene| case((*scene).to_owned(), plan(scene)))
        .collect()
}

#[test]
fn exact_every_scene_keeps_every_rule() {
    let broken: Vec<String> = scenes().iter().flat_map(Case::broken).collect();
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}
