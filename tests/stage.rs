//! The scene model of all pictures: devices stay in the lumen, tips move smoothly, what is drawn is where
//! the numbers say.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use crate::support::inside::{foot, outside};
use crate::support::staged::{Played, play};
use nestline::data::{Source, load_scene};
use nestline::geometry::TrackSettings;
use nestline::procedure::{Rods, State, perform_with};
use nestline::rehearsal::{outcome_of, walk_through};
use nestline::stage::{EdgeState, Mesh, ShapesFrom, Stage, StageSettings, WireMesh};
use std::sync::OnceLock;

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
fn property_every_step_is_on_the_film() {
    let played = default_scene();
    let film = &played.stage.timeline;
    assert_eq!(
        film.steps.len(),
        played.loaded.plan.script.len(),
        "one span a step"
    );
    for (i, span) in film.steps.iter().enumerate() {
        let moment = played.stage.at(0.5 * (span.moved_s + span.end_s));
        assert_eq!(moment.step, i, "its own step");
        let after = &played.passed[i].after;
        for (k, place) in after.in_place.iter().enumerate() {
            assert_eq!(
                place.is_some(),
                moment.device(k).is_some(),
                "step {i}, device {k}"
            );
        }
    }
}

#[test]
fn property_nothing_leaves_the_lumen() {
    stays_inside(default_scene());
    // sharper bends; an artery that the guide nearly fills
    for scene in ["kinked-neck-type-3", "right-radial"] {
        let scene = format!("embedded:scenes/{scene}.ron");
        stays_inside(&play(&scene, StageSettings::default()));
    }
}

fn stays_inside(played: &Played) {
    let track = &played.loaded.plan.track;
    let total_s = played.stage.timeline.total_s();
    let mut pressed_mm: f64 = 0.0;
    for i in 0..=400 {
        let time_s = total_s * f64::from(i) / 400.0;
        let moment = played.stage.at(time_s);
        let (beyond_mm, indented_mm) = outside(track, &moment);
        pressed_mm = pressed_mm.max(indented_mm);
        assert!(
            beyond_mm < 1e-3,
            "{time_s:.2} s, step {}: {beyond_mm:.4} mm outside",
            moment.step + 1
        );
    }
    // walls give, but only a little
    assert!(
        pressed_mm < 0.5,
        "rods press the wall in by {pressed_mm:.3} mm"
    );
}

#[test]
fn property_tips_move_without_jumps() {
    let played = default_scene();
    let stage = &played.stage;
    let total_s = stage.timeline.total_s();
    let step_s = 1.0 / 60.0;
    // tips run no faster than the film's pace, across the vessel included
    let most_mm = 1.5 * stage.settings().pace.tip_mm_per_s * step_s;
    let mut before = stage.at(0.0);
    let mut time_s = 0.0;
    while time_s < total_s {
        time_s += step_s;
        let now = stage.at(time_s);
        for device in &now.devices {
            let Some(was) = before.device(device.device) else {
                continue;
            };
            let by_mm = (device.tip - was.tip).norm();
            assert!(
                by_mm < most_mm,
                "{time_s:.2} s: {} jumps by {by_mm:.2} mm",
                stage.devices[device.device].name
            );
        }
        before = now;
    }
}

#[test]
fn exact_tips_at_the_end_of_each_step() {
    let played = default_scene();
    let plan = &played.loaded.plan;
    for (i, done) in played.passed.iter().enumerate() {
        let moment = played.stage.at_step(i, 1.0);
        for device in &moment.devices {
            let k = device.device;
            let tip_mm = done.after.distal_end_mm(plan, k).unwrap();
            assert!(
                (device.tip_mm - tip_mm).abs() < 1e-6,
                "step {}: station",
                i + 1
            );
            let (s_mm, _) = foot(&plan.track, device.tip, tip_mm);
            assert!(
                (s_mm - tip_mm.max(0.0)).abs() < 1e-3,
                "step {}: place",
                i + 1
            );
            let fed_mm = done.after.in_place[k].unwrap().fed_mm;
            assert!((device.fed_mm - fed_mm).abs() < 1e-9, "step {}: fed", i + 1);
        }
    }
}

/// Most triangles of a picture in the middle of a step.
fn most_triangles(stage: &Stage) -> usize {
    let detail = stage.settings().detail;
    let count = |mesh: &Mesh| mesh.triangles.len();
    let struts = |wires: &WireMesh| count(&wires.mesh(detail.wire_sides));
    let walls = count(&Mesh::open_tube(&stage.wall, detail.wall_sides));
    let context: usize = stage.context.iter().map(|c| count(&c.mesh)).sum();
    let moving = |step: usize| {
        let moment = stage.at_step(step, 0.5);
        let devices = moment.devices.iter().map(|d| {
            count(&Mesh::tube(&d.nodes, detail.device_sides)) + d.struts.as_ref().map_or(0, struts)
        });
        let stents = moment.stents.iter().map(|s| struts(&s.struts));
        devices.sum::<usize>() + stents.sum::<usize>()
    };
    walls + context + (0..stage.timeline.steps.len()).map(moving).max().unwrap()
}

#[test]
fn property_meshes_stay_light() {
    // the longest route as well
    let unsettled = StageSettings {
        settle: false,
        ..StageSettings::default()
    };
    let longest = play("embedded:scenes/too-short.ron", unsettled);
    for stage in [&default_scene().stage, &longest.stage] {
        let most = most_triangles(stage);
        assert!(most > 20_000 && most <= 60_000, "{most} triangles");
    }
}

#[test]
fn exact_retriever_opens_and_stent_comes_out() {
    let played = default_scene();
    let stage = &played.stage;
    let step_of = |say: &str| {
        let steps = &stage.steps;
        steps
            .iter()
            .position(|s| s.row.say.starts_with(say))
            .unwrap()
    };
    // half the way across from one wire to another
    let width = |wires: &WireMesh| {
        let (one, others) = wires.wires.split_first().unwrap();
        let across = others
            .iter()
            .flat_map(|w| w.iter().zip(one).map(|(a, b)| 0.5 * (a - b).norm()));
        across.fold(0.0, f64::max)
    };
    let retriever = played.loaded.plan.device_index("retriever").unwrap();
    let opens = step_of("Microcatheter back");
    let folded = stage.at_step(opens - 1, 1.0);
    let open = stage.at_step(opens, 1.0);
    let (a, b) = (
        folded.device(retriever).unwrap(),
        open.device(retriever).unwrap(),
    );
    let (narrow, wide) = (
        width(a.struts.as_ref().unwrap()),
        width(b.struts.as_ref().unwrap()),
    );
    assert!(
        wide > narrow + 0.5,
        "opens from {narrow:.2} to {wide:.2} mm of radius"
    );
    assert!(b.tip_mm < a.tip_mm - 2.0, "and shortens");
    let released = step_of("Stent released");
    assert!(
        stage.at_step(released, 0.0).stents.is_empty(),
        "still in its system"
    );
    let half = &stage.at_step(released, 0.5).stents[0];
    let whole = &stage.at_step(released, 1.0).stents[0];
    assert!(
        half.proximal_mm > whole.proximal_mm + 10.0,
        "comes out from its far end"
    );
    assert!(
        (half.distal_mm - whole.distal_mm).abs() < 1e-6,
        "which stays"
    );
    let gone = step_of("All three out");
    assert_eq!(
        stage.at_step(gone, 0.5).clots.len(),
        1,
        "the clot comes along"
    );
    assert!(stage.at_step(gone, 1.0).clots.is_empty(), "and is out");
}

#[test]
fn exact_without_rods_everything_lies_on_the_centre_line_and_says_so() {
    let settings = StageSettings {
        settle: false,
        ..StageSettings::default()
    };
    let played = play("embedded:scenes/guide-below-stent.ron", settings);
    assert_eq!(played.stage.shapes, ShapesFrom::CentreLine, "told");
    let track = &played.loaded.plan.track;
    let total_s = played.stage.timeline.total_s();
    for i in 0..=60 {
        let moment = played.stage.at(total_s * f64::from(i) / 60.0);
        let (beyond_mm, _) = outside(track, &moment);
        assert!(
            beyond_mm < 1e-3,
            "step {}: {beyond_mm:.4} mm",
            moment.step + 1
        );
    }
    let caught = played
        .stage
        .steps
        .iter()
        .position(|s| s.edges.iter().any(|e| e.probability > 0.5));
    let bands = played.stage.at_step(caught.unwrap(), 1.0).bands;
    let band = bands
        .iter()
        .find(|b| b.state == EdgeState::Catches)
        .unwrap();
    assert!(band.words.contains("catching is likely"), "{}", band.words);
}

/// Pulls are solved beside the script, by as many threads as there are: the outcome is that of one step
/// after the other.
#[test]
fn property_pulls_beside_the_script() {
    let source = Source::from_argument("embedded:scenes/left-tandem-retriever-first.ron");
    let mut loaded = load_scene(&source, &TrackSettings::default()).unwrap();
    loaded.plan.script.truncate(6);
    let passed = walk_through(&loaded.plan, &mut Rods::default()).unwrap();
    let mut rods = Rods::default();
    let mut state = State::start(&loaded.plan);
    for (i, (step, done)) in loaded.plan.script.iter().zip(&passed).enumerate() {
        let (after, effect) = perform_with(&loaded.plan, &state, &step.act, &mut rods).unwrap();
        assert_eq!(effect, done.effect, "step {}", i + 1);
        assert_eq!(after, done.after, "after step {}", i + 1);
        assert!(
            effect
                .placements
                .iter()
                .all(|placed| placed.pending.is_empty()),
            "something is left to solve after step {}",
            i + 1
        );
        state = after;
    }
    let slack = passed.iter().flat_map(|p| &p.effect.placements);
    let slack = slack.filter(|placed| placed.slack_mm.is_some()).count();
    assert!(slack >= 3, "only {slack} pushes have a slack");
}

/// Where the rehearsal has shapes, those are drawn, tips to the last digit.
#[test]
fn exact_shapes_of_the_rehearsal() {
    let source = Source::from_argument("embedded:scenes/left-tandem-retriever-first.ron");
    let mut loaded = load_scene(&source, &TrackSettings::default()).unwrap();
    loaded.plan.script.truncate(6);
    let passed = walk_through(&loaded.plan, &mut Rods::default()).unwrap();
    let outcome = outcome_of(&loaded.plan, &passed);
    let settings = StageSettings::default();
    let stage = Stage::new(
        &loaded.plan,
        &loaded.vessel.tree,
        &passed,
        &outcome,
        settings,
    );
    assert_eq!(stage.shapes, ShapesFrom::Rehearsal, "told");
    let shape = passed[5]
        .effect
        .placements
        .last()
        .unwrap()
        .shape
        .as_ref()
        .unwrap();
    let moment = stage.at_step(5, 1.0);
    let mut off_axis_mm: f64 = 0.0;
    for (place, k) in shape.devices.iter().enumerate() {
        let rod = shape.stack.devices[place].rod.unwrap();
        let rod = &shape.stack.solution.as_ref().unwrap().rods[rod];
        let wanted = rod.position_mm.last().unwrap();
        let drawn = moment.device(*k).unwrap();
        let off_mm = (drawn.tip - wanted).norm();
        // what stands nearest to the wall is drawn a hair further in
        assert!(off_mm < 0.05, "{}: {off_mm:.4} mm", stage.devices[*k].name);
        let axis = loaded.plan.track.frame_at(drawn.tip_mm).origin_mm;
        off_axis_mm = off_axis_mm.max((drawn.tip - axis).norm());
    }
    assert!(
        off_axis_mm > 0.5,
        "rods leave the centre line: {off_axis_mm:.2} mm"
    );
    let (beyond_mm, pressed_mm) = outside(&loaded.plan.track, &moment);
    assert!(
        beyond_mm < 1e-3 && pressed_mm < 0.5,
        "{beyond_mm} {pressed_mm}"
    );
    assert!(!moment.contacts.is_empty(), "they press on something");
}
