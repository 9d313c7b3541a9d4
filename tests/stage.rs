//! The scene model of all pictures: devices stay in the lumen, tips move smoothly, what is drawn is where
//! the numbers say.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use nestline::data::{LoadedScene, Source, load_scene};
use nestline::geometry::{Point, Track, TrackSettings};
use nestline::output::stage::{
    EdgeState, Mesh, Moment, ShapesFrom, Stage, StageSettings, WireMesh,
};
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
/// Station of the foot of the perpendicular from a point on the centre line, and the distance.
fn foot(track: &Track, point: Point, near_mm: f64) -> (f64, f64) {
    let mut s_mm = near_mm;
    for _ in 0..20 {
        let frame = track.frame_at(s_mm);
        let off = point - frame.origin_mm;
        let step = off.dot(&frame.tangent);
        s_mm = (s_mm + step).clamp(0.0, track.length_mm());
        if step.abs() < 1e-9 {
            break;
        }
    }
    (s_mm, (point - track.frame_at(s_mm).origin_mm).norm())
}

/// The station nearest to a point within 80 mm of another one.
fn nearest(track: &Track, point: Point, about_mm: f64) -> f64 {
    let near = track
        .stations
        .iter()
        .filter(|s| (s.s_mm - about_mm).abs() < 80.0);
    near.min_by(|a, b| {
        let [a, b] = [a, b].map(|s| (s.frame.origin_mm - point).norm());
        a.total_cmp(&b)
    })
    .map_or(about_mm, |s| s.s_mm)
}

/// How far everything in the body stands out of the lumen at a moment, mm, beyond what the rods press the
/// wall in; and the largest such indentation.
fn outside(track: &Track, moment: &Moment) -> (f64, f64) {
    let mut bed = track.clone();
    for (i, plaque) in moment.plaques.iter().enumerate() {
        bed.set_residual(i, plaque.residual_mm).unwrap();
    }
    // what is wider than a lesion dilates it: the drawn lumen counts there
    let lumen_mm = |s_mm: f64| {
        let drawn = moment.plaques.iter().filter_map(|plaque| {
            let after = plaque.inner.iter().position(|n| n.station_mm >= s_mm)?;
            let (a, b) = (&plaque.inner[after.checked_sub(1)?], &plaque.inner[after]);
            let part = (s_mm - a.station_mm) / (b.station_mm - a.station_mm);
            Some(a.radius_mm + (b.radius_mm - a.radius_mm) * part)
        });
        drawn.fold(bed.radius_at(s_mm), f64::max)
    };
    let mut worst_mm = f64::NEG_INFINITY;
    let mut pressed_mm: f64 = 0.0;
    let mut look = |point: Point, near_mm: f64, indentation_mm: f64| {
        let (s_mm, distance_mm) = foot(track, point, near_mm);
        // the plane of the access is open
        if s_mm > 0.0 && s_mm < track.length_mm() {
            worst_mm = worst_mm.max(distance_mm - lumen_mm(s_mm) - indentation_mm);
        }
    };
    for device in &moment.devices {
        let tubes = [Some(&device.nodes), device.balloon.as_ref()];
        for node in tubes.into_iter().flatten().flatten() {
            if node.station_mm < node.radius_mm {
                continue;
            }
            pressed_mm = pressed_mm.max(node.indentation_mm);
            for corner in 0..12 {
                let point = node.at + node.around(corner, 12) * node.radius_mm;
                look(point, node.station_mm, node.indentation_mm);
            }
        }
        for wire in device.struts.iter().flat_map(|s| &s.wires) {
            for point in wire {
                let near_mm = nearest(track, *point, device.tip_mm);
                look(*point, near_mm, -device.struts.as_ref().unwrap().radius_mm);
            }
        }
    }
    for stent in &moment.stents {
        for point in stent.struts.wires.iter().flatten() {
            let near_mm = nearest(track, *point, 0.5 * (stent.proximal_mm + stent.distal_mm));
            look(*point, near_mm, -stent.struts.radius_mm);
        }
    }
    (worst_mm, pressed_mm)
}

#[test]
#[ignore = "in work: shapes of the rods as they are now lean further into the wall"]
fn nothing_leaves_the_lumen() {
    let played = default_scene();
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
fn tips_move_without_jumps() {
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

#[test]
fn meshes_stay_light() {
    let played = default_scene();
    let stage = &played.stage;
    let detail = stage.settings().detail;
    let fixed = Mesh::open_tube(&stage.wall, detail.wall_sides)
        .triangles
        .len()
        + stage
            .context
            .iter()
            .map(|c| c.mesh.triangles.len())
            .sum::<usize>();
    let mut most = 0;
    for step in 0..stage.timeline.steps.len() {
        let moment = stage.at_step(step, 0.5);
        let struts = |wires: &WireMesh| wires.mesh(detail.wire_sides).triangles.len();
        let devices = moment.devices.iter().map(|d| {
            Mesh::tube(&d.nodes, detail.device_sides).triangles.len()
                + d.struts.as_ref().map_or(0, struts)
        });
        let stents = moment.stents.iter().map(|s| struts(&s.struts));
        most = most.max(fixed + devices.sum::<usize>() + stents.sum::<usize>());
    }
    assert!(
        most > 20_000 && most <= 60_000,
        "{most} triangles, {fixed} of them fixed"
    );
}

#[test]
fn retriever_opens_and_stent_comes_out() {
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
    let gone = step_of("The unit out");
    assert_eq!(
        stage.at_step(gone, 0.5).clots.len(),
        1,
        "the clot comes along"
    );
    assert!(stage.at_step(gone, 1.0).clots.is_empty(), "and is out");
}

#[test]
fn without_rods_everything_lies_on_the_centre_line_and_says_so() {
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
    assert!(band.words.contains("catches in"), "{}", band.words);
}
