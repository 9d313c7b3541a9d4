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

use crate::support::scenes::SCENES;
use nestline::data::{Rendering, Source, load_scene};
use nestline::geometry::TrackSettings;
use nestline::procedure::{Action, Choices, Plan};
use nestline::rehearsal::walk;
use rules::{Case, RULES};

/// Scenes that teach what comes of a guide below the stent: the way across is given up with the pull.
const DRAWN_BARE: [&str; 2] = ["guide-below-stent", "too-short"];

fn plan(scene: &str) -> Plan {
    let folder = env!("CARGO_MANIFEST_DIR");
    let source = Source::from_argument(format!("{folder}/scenes/{scene}.ron"));
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
    let teaches =
        |scene: &str, broken: &String| DRAWN_BARE.contains(&scene) && broken.contains(GIVES_UP);
    let mut broken = Vec::new();
    for scene in scenes() {
        let found = scene.broken().into_iter();
        broken.extend(found.filter(|b| !teaches(&scene.name, b)));
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

/// Scenes whose strategies are held against the rules.
const DRAFTED: [&str; 4] = [
    "left-tandem-retriever-first",
    "dissection",
    "kinked-neck-type-3",
    "right-radial",
];

/// Taking the clot through the untreated neck gives the way across that up: what the strategy is compared for.
const GIVES_UP: &str = "the true lumen is held until the last run";

#[test]
fn exact_every_strategy_keeps_every_rule() {
    let mut broken = Vec::new();
    for scene in DRAFTED {
        let base = plan(scene);
        for (name, choices) in Choices::NAMED {
            let drafted = base.with_strategy(&choices).unwrap();
            let clot_first = matches!(name, "clot-first" | "suction-first");
            let found = case(format!("{name} on {scene}"), drafted).broken();
            broken.extend(
                found
                    .into_iter()
                    .filter(|b| !(clot_first && b.contains(GIVES_UP))),
            );
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

/// What is done to the default script, and the rule that it breaks.
type Spoilt = (&'static str, fn(&mut Plan));

fn without(plan: &mut Plan, goes: impl Fn(&Action) -> bool) {
    plan.script.retain(|step| !goes(&step.act));
}

/// Leaves out the first or the last step that does something.
fn without_one(plan: &mut Plan, first: bool, does: impl Fn(&Action) -> bool) {
    let mut steps = plan.script.iter();
    let found = if first {
        steps.position(|s| does(&s.act))
    } else {
        steps.rposition(|s| does(&s.act))
    };
    plan.script.remove(found.unwrap());
}

const SPOILT: [Spoilt; 14] = [
    ("no wire runs more than 50 mm beyond", |p| {
        // the wire stays in when the selector is to be turned, and goes up before it
        without(p, |a| matches!(a, Action::Engage { .. }));
        without_one(
            p,
            true,
            |a| matches!(a, Action::Remove { device } if device == "aorta-wire"),
        );
        for step in &mut p.script {
            if let Action::Insert { device, to, .. } = &step.act
                && device == "aorta-wire"
                && to.place() == Some("carotid-bifurcation")
            {
                let (device, to) = (device.clone(), to.clone());
                let nose = None;
                step.act = Action::Advance { device, to, nose };
            }
        }
    }),
    ("a guide goes up over a catheter that tapers", |p| {
        for step in &mut p.script {
            if let Action::AdvanceTogether { devices, .. } = &mut step.act {
                devices.retain(|d| d != "selector");
            }
        }
    }),
    ("a shaped catheter goes up over a wire", |p| {
        for step in &mut p.script {
            if let Action::Engage { device, ostium } = &step.act {
                step.act = Action::Advance {
                    device: device.clone(),
                    to: nestline::procedure::Where::At(ostium.clone()),
                    nose: None,
                };
            }
        }
    }),
    ("neck and head are seen before anything crosses", |p| {
        without_one(
            p,
            true,
            |a| matches!(a, Action::Contrast { region, .. } if *region == nestline::procedure::Region::Head),
        );
    }),
    ("a run after each deployment", |p| {
        let released = p
            .script
            .iter()
            .position(|s| matches!(s.act, Action::DeployStent { .. }))
            .unwrap();
        let run = p.script[released..]
            .iter()
            .position(|s| matches!(s.act, Action::Contrast { .. }))
            .unwrap();
        p.script.remove(released + run);
    }),
    ("a plane looks where something is deployed", |p| {
        without(
            p,
            |a| matches!(a, Action::Watch { region, .. } if *region == nestline::procedure::Region::Head),
        );
    }),
    (GIVES_UP, |p| {
        let mut wires = p.script.iter();
        let out = wires
            .rposition(|s| matches!(&s.act, Action::Remove { device } if device == "wire"))
            .unwrap();
        let step = p.script.remove(out);
        let mut waits = p.script.iter();
        let wait = waits
            .rposition(|s| matches!(s.act, Action::Wait { .. }))
            .unwrap();
        p.script.insert(wait, step);
    }),
    ("the retriever's markers are looked at", |p| {
        without_one(p, false, |a| matches!(a, Action::CheckMarkers { .. }));
    }),
    ("or its lack is told", |_| {}),
    ("a reverse curve where the arch is of type III", |p| {
        for row in &mut p.vessel.values {
            if row.name == "arch.type" {
                row.value = "III".into();
            }
        }
    }),
    ("a puff of contrast", |p| {
        without_one(
            p,
            true,
            |a| matches!(a, Action::Contrast { through, .. } if through == "selector"),
        );
    }),
    (
        "from where on the retriever cannot be sheathed again",
        |_| {},
    ),
    ("looked at once more after a wait", |p| {
        without_one(p, false, |a| matches!(a, Action::Wait { .. }));
    }),
    ("the script ends with everything out", |p| {
        p.script.pop();
    }),
];

#[test]
fn exact_each_rule_finds_what_breaks_it() {
    assert_eq!(RULES.len(), SPOILT.len(), "one for each rule");
    for (rule, (asks, spoil)) in RULES.iter().zip(SPOILT) {
        assert!(rule.asks.contains(asks), "{asks} against {}", rule.asks);
        let mut spoilt = plan("left-tandem-retriever-first");
        spoil(&mut spoilt);
        let mut found = case("spoilt".into(), spoilt);
        if let Some(named) = untold(asks) {
            // what is told belongs to the step: taken out of the findings
            for p in &mut found.passed {
                p.effect
                    .findings
                    .retain(|f| crate::support::straight::name_of(&f.reason) != named);
                for before in [&mut p.before, &mut p.after] {
                    before.suction.fill(false);
                }
            }
        }
        let broken = found.broken();
        assert!(
            broken.iter().any(|b| b.contains(asks)),
            "nothing breaks `{asks}`: {broken:?}"
        );
    }
}

/// The finding that a rule asks for.
fn untold(asks: &str) -> Option<&'static str> {
    match asks {
        "or its lack is told" => Some("neck-unprotected"),
        "from where on the retriever cannot be sheathed again" => Some("no-way-back"),
        _ => None,
    }
}

/// The README's own scene, whose steps end with the guide in the neck.
#[test]
fn exact_the_readmes_scene_keeps_every_rule() {
    let readme = include_str!("../README.md");
    let blocks = readme.split("```ron\n").skip(1);
    let scene = blocks
        .map(|b| b.split("```").next().unwrap())
        .find(|b| b.starts_with("Scene("));
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("readme.ron");
    #[expect(
        clippy::disallowed_methods,
        reason = "a test writes the file it hands in"
    )]
    std::fs::write(&file, scene.unwrap()).unwrap();
    let loaded = load_scene(&Source::Disk(file), &TrackSettings::default());
    let plan = loaded
        .unwrap_or_else(|e| panic!("{}", e.render(Rendering::default())))
        .plan;
    let broken = case("README".into(), plan).broken();
    let ends = "the script ends with everything out";
    let others: Vec<&String> = broken.iter().filter(|b| !b.contains(ends)).collect();
    assert!(others.is_empty(), "{others:?}");
}
