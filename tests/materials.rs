//! The table of materials: what a scene's own leaves out, what is set from outside, and what follows from it.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and writes the files it hands in"
)]

use crate::support::straight::{Table, plan};
use nestline::data::{DataError, Edit, Source, load_scene_with, read_materials, usual_materials};
use nestline::device::Coating;
use nestline::geometry::TrackSettings;
use nestline::mechanics::{KNOWN_TO_FACTOR, Level, Surface};
use nestline::procedure::{Plan, retriever_holds_n};
use nestline::rehearsal::{outcome_of, walk};
use std::fs;

const SCENE: &str = "embedded:scenes/left-tandem-retriever-first.ron";

fn loaded(scene: &str, changes: &[&str]) -> Result<Plan, DataError> {
    let edits: Vec<Edit> = changes.iter().map(|c| Edit::parse(c).unwrap()).collect();
    let settings = TrackSettings::default();
    load_scene_with(&Source::from_argument(scene), &settings, &edits).map(|loaded| loaded.plan)
}

fn with(changes: &[&str]) -> Plan {
    loaded(SCENE, changes).unwrap()
}

fn close(found: f64, expected: f64) -> bool {
    (found - expected).abs() <= 1e-9 * expected.abs()
}

#[test]
fn exact_every_line_rises_and_says_what_it_rests_on() {
    let usual = usual_materials().unwrap();
    let lines = usual.lines();
    assert!(lines.len() > 15, "{}", lines.len());
    for (group, name, value) in lines {
        let [least, middle, most] = Level::ALL.map(|level| value.at(level));
        assert!(
            least <= middle && middle <= most && most > 0.0,
            "{group}.{name}: {}",
            value.in_figures()
        );
        let words = [
            "from memory",
            "calibrated",
            "assumed",
            "derived",
            "(19",
            "(20",
        ];
        assert!(
            words.iter().any(|word| value.basis().contains(word)),
            "{group}.{name} rests on {}",
            value.basis()
        );
    }
    let all = &usual.stiffness.all;
    assert!(
        close(all.at(Level::Most), KNOWN_TO_FACTOR) && all.at(Level::Least) < 0.34,
        "{}",
        all.in_figures()
    );
}

#[test]
fn published_friction_of_coatings_keeps_its_ratios() {
    // Schroeder (1993): a PTFE coat halves the friction of a bare steel wire, a hydrophilic one leaves a sixth
    let friction = usual_materials().unwrap().at(Level::Usual).friction;
    let on_vessel = |coating| friction.of(coating, Surface::Vessel);
    let bare = on_vessel(Coating::Metal);
    assert!(close(on_vessel(Coating::Ptfe), bare / 2.0), "{bare}");
    assert!(close(on_vessel(Coating::Hydrophilic), bare / 6.0), "{bare}");
}

#[test]
fn exact_one_wet_side_rules_a_pair() {
    let friction = usual_materials().unwrap().at(Level::Usual).friction;
    let all = [
        Coating::Hydrophilic,
        Coating::Ptfe,
        Coating::Polymer,
        Coating::Metal,
    ];
    for a in all {
        for b in all {
            let pair = friction.of(a, Surface::Device(b));
            let mirrored = friction.of(b, Surface::Device(a));
            assert!(close(pair, mirrored), "{a:?} on {b:?}");
            let expected = if [a, b].contains(&Coating::Hydrophilic) {
                friction.hydrophilic_pair
            } else if [a, b].contains(&Coating::Ptfe) {
                friction.on_ptfe
            } else {
                friction.bare_pair
            };
            assert!(close(pair, expected), "{a:?} on {b:?}: {pair}");
        }
    }
}

#[test]
fn exact_values_are_set_from_outside() {
    let friction = |plan: &Plan, level| plan.materials.friction.hydrophilic_on_vessel.at(level);
    // a new usual value is known as well as the old one
    let set = with(&["friction.hydrophilic_on_vessel=0.06"]);
    let found = Level::ALL.map(|level| friction(&set, level));
    for (found, expected) in found.into_iter().zip([0.015, 0.06, 0.09]) {
        assert!(close(found, expected), "{found} against {expected}");
    }
    assert!(
        close(set.values.friction.hydrophilic_on_vessel, 0.06),
        "reckoned with"
    );
    let doubled = with(&["materials.friction.hydrophilic_on_vessel=x2"]);
    assert!(close(friction(&doubled, Level::Most), 0.12), "a factor");
    let ranged = with(&["friction.hydrophilic_on_vessel=(0.02, 0.03, 0.05)"]);
    let found = Level::ALL.map(|level| friction(&ranged, level));
    assert!(
        close(found[0], 0.02) && close(found[1], 0.03) && close(found[2], 0.05),
        "{found:?}"
    );
    let nothing = with(&["friction.hydrophilic_on_vessel=0"]);
    assert!(friction(&nothing, Level::Most).abs() < 1e-12, "no friction");
    // changes follow one another
    let twice = with(&["friction.bare_pair=x2", "friction.bare_pair=x2"]);
    assert!(close(twice.values.friction.bare_pair, 0.6), "twice");
}

#[test]
fn exact_stiffness_is_scaled_by_name_or_as_a_whole() {
    let usual = with(&[]);
    let stiffness = |plan: &Plan, name: &str| {
        let device = &plan.devices[plan.device_index(name).unwrap()].device;
        device
            .profile
            .iter()
            .map(|line| line.stiffness_n_mm2)
            .sum::<f64>()
    };
    for (change, guide, wire) in [
        ("stiffness.guide=x2", 2.0, 1.0),
        ("stiffness.all=x2", 2.0, 2.0),
        ("stiffness.wire=x0.5", 1.0, 0.5),
    ] {
        let changed = with(&[change]);
        for (name, factor) in [("guide", guide), ("wire", wire)] {
            let (old, new) = (stiffness(&usual, name), stiffness(&changed, name));
            assert!(close(new, factor * old), "{change}: {name} {old} {new}");
        }
    }
    let walls = |plan: &Plan| plan.track.stations[400].wall_stiffness_n_per_mm2;
    let stiffer = with(&["wall=x2"]);
    assert!(close(walls(&stiffer), 2.0 * walls(&usual)), "walls");
    let hard = with(&["plaque=x3"]);
    let plaque = |plan: &Plan| plan.values.plaque_law().stiffness_n_per_mm2;
    assert!(close(plaque(&hard), 3.0 * plaque(&usual)), "plaque");
}

#[test]
fn exact_a_plan_at_the_most_is_stiffer_throughout() {
    let usual = with(&["stiffness.all=x2", "wall=x2"]);
    let (least, most) = (usual.at(Level::Least), usual.at(Level::Most));
    let of = |plan: &Plan| {
        (
            plan.devices[1].device.profile[0].stiffness_n_mm2,
            plan.track.stations[400].wall_stiffness_n_per_mm2,
        )
    };
    let ((b, k), (b_least, k_least), (b_most, k_most)) = (of(&usual), of(&least), of(&most));
    assert!(close(b_most, 3.0 * b) && close(k_most, 2.0 * k), "most");
    assert!(
        (b_least / b - 0.3333).abs() < 1e-6 && close(k_least, 0.5 * k),
        "least"
    );
    assert!(
        close(most.values.friction.metal_on_vessel, 0.5),
        "friction goes along"
    );
    let back = most.at(Level::Usual);
    assert!(close(of(&back).0, b) && close(of(&back).1, k), "and back");
    assert!(
        close(most.values.plaque.kept, usual.values.plaque.kept),
        "what balloons leave stays usual"
    );
}

#[test]
fn exact_halfway_is_the_mean_of_factors() {
    let table = usual_materials().unwrap();
    let (usual, most) = (table.at(Level::Usual), table.at(Level::Most));
    let half = usual.towards(&most, 0.5);
    let between = |a: f64, b: f64| (a * b).sqrt();
    assert!(close(half.stiffness.all, between(1.0, 3.0)), "stiffness");
    let bare = between(usual.friction.bare_pair, most.friction.bare_pair);
    assert!((half.friction.bare_pair - bare).abs() < 1e-12, "friction");
    let least = table.at(Level::Least);
    let open = usual.towards(&least, 0.5).valves.open_n_per_mm;
    assert!(
        close(open, 0.5 * usual.valves.open_n_per_mm),
        "towards nothing"
    );
    assert_eq!(usual.towards(&most, 0.0), usual);
}

#[test]
fn property_scaled_friction_scales_what_follows_from_it() {
    let logs = |changes: &[&str]| -> Vec<f64> {
        let plan = with(changes);
        let outcome = outcome_of(&plan, &walk(&plan));
        let rows = outcome.steps.iter().flat_map(|step| &step.devices);
        rows.map(|row| row.capstan_factor.ln()).collect()
    };
    let twice: Vec<String> = usual_materials()
        .unwrap()
        .friction
        .lines()
        .iter()
        // twice the most of it would be more than a coefficient may be; a shaft does not rub on clot
        .filter(|(name, _)| *name != "clot_on_wall")
        .map(|(name, _)| format!("friction.{name}=x2"))
        .collect();
    let twice: Vec<&str> = twice.iter().map(String::as_str).collect();
    let (usual, doubled) = (logs(&[]), logs(&twice));
    assert!(usual.iter().any(|log| *log > 0.1), "some of it bends");
    for (one, two) in usual.iter().zip(&doubled) {
        assert!((two - 2.0 * one).abs() < 1e-9, "{one} {two}");
    }
}

#[test]
fn property_an_open_retriever_holds_in_proportion_to_its_friction() {
    let t = Table::new(plan())
        .with_guide_at(700.0)
        .with_retriever_at(970.0, "retriever");
    let holds = |plan: &Plan| retriever_holds_n(plan, &t.state, t.index("retriever")).unwrap();
    let mut plan = t.plan.clone();
    // narrower than the retriever in the head, so that it bears on wall and clot
    plan.track.lumen.knots_mm = vec![(0.0, 8.0), (840.0, 8.0), (860.0, 2.5)];
    let before = holds(&plan);
    plan.values.friction.struts_on_wall *= 3.0;
    plan.values.friction.clot_on_wall *= 2.0;
    let after = holds(&plan);
    assert!(before[0] > 0.0 && before[1] > 0.0, "{before:?}");
    assert!(
        close(after[0], 3.0 * before[0]) && close(after[1], 2.0 * before[1]),
        "{after:?}"
    );
}

#[test]
fn exact_paths_that_are_not_there_are_refused_with_those_that_are() {
    for (change, told) in [
        (
            "friction.hydrophilic_on_vesel=0.06",
            "did you mean `friction.hydrophilic_on_vessel`",
        ),
        ("friction.soap=0.06", "`friction.bare_pair`"),
        ("stiffness.giude=x2", "did you mean `stiffness.guide`"),
        ("stiffness.nobody=x2", "`stiffness.all`"),
        ("plaque.hardness=3", "`plaque.kept`"),
        ("stiffness.guide=800", "stiffness.guide=x2"),
        ("stiffness.clip=x2", "device of the stack"),
        ("friction.bare_pair=+0.1", "friction.bare_pair=0.25"),
        ("friction.bare_pair=5", "0 to 2"),
        ("friction.bare_pair=-1", "0"),
        ("friction.bare_pair=soap", "friction.bare_pair=x2"),
        ("friction.bare_pair=(soap)", "friction.bare_pair"),
        ("friction.bare_pair=(0.3, 0.2, 0.1)", "order"),
        ("stiffness.all=x0.001", "0.01 to 100"),
        ("plaque.kept=x9", "0 to 1"),
    ] {
        let error = loaded(SCENE, &[change]).unwrap_err();
        let help = error.help_text().unwrap_or_default();
        let all = format!("{error} {help}");
        assert!(all.contains(told), "{change}: {all}");
    }
}

#[test]
fn exact_a_scene_names_its_own_table() {
    let folder = tempfile::tempdir().unwrap();
    let scene = fs::read_to_string("scenes/left-tandem-retriever-first.ron").unwrap();
    let root = std::env::current_dir().unwrap();
    let absolute = |what: &str| format!("\"{}/{what}", root.display());
    let scene = scene
        .replace("\"../vessels/", &absolute("vessels/"))
        .replace("\"devices/", &absolute("scenes/devices/"))
        .replace("    target:", "    materials: \"mine.ron\",\n    target:");
    let path = folder.path().join("scene.ron");
    fs::write(&path, scene).unwrap();
    let table = folder.path().join("mine.ron");
    fs::write(
        &table,
        "Materials(name: \"our bench\", friction: (bare_pair: (0.1, 0.2, 0.3, \"measured here\")))",
    )
    .unwrap();
    let path = path.to_str().unwrap();
    let plan = loaded(path, &[]).unwrap();
    let usual = usual_materials().unwrap();
    assert_eq!(plan.materials.name, "our bench");
    assert!(close(plan.values.friction.bare_pair, 0.2), "its own");
    assert_eq!(
        plan.materials.friction.on_ptfe, usual.friction.on_ptfe,
        "left out"
    );
    assert_eq!(plan.materials.plaque, usual.plaque, "a group left out");
    let read = read_materials(&Source::from_argument(&table)).unwrap();
    assert_eq!(read, plan.materials, "the table alone");
    // a line that it has is changed there, one that it leaves out as well
    let changed = loaded(path, &["friction.bare_pair=x2", "friction.on_ptfe=x2"]).unwrap();
    assert!(close(changed.values.friction.bare_pair, 0.4), "its own");
    assert!(close(changed.values.friction.on_ptfe, 0.1), "left out");
    // another table from outside
    let built_in = loaded(path, &["materials=embedded:scenes/materials/usual.ron"]).unwrap();
    assert_eq!(built_in.materials, usual);
    // one that is wrong is told with its file and field
    fs::write(
        &table,
        "Materials(name: \"our bench\", friction: (bare_pair: (0.1, 0.2, 30.0, \"here\")))",
    )
    .unwrap();
    let error = loaded(path, &[]).unwrap_err().to_string();
    assert!(error.contains("friction.bare_pair"), "{error}");
}
