//! Animations for other programs: what moves in them is what was rehearsed.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test may stop where it stands"
)]

use crate::support::staged::{Played, play};
use nestline::data::{Source, load_scene};
use nestline::geometry::{Point, TrackSettings};
use nestline::output::glb::{GlbSettings, glb};
use nestline::output::{Everything, Report, to_json};
use nestline::procedure::{CentreLine, Sampling};
use nestline::rehearsal::{rehearsed_of, walk_through};
use nestline::stage::{Stage, StageSettings};
use std::sync::OnceLock;

struct Animated {
    played: Played,
    glb: Vec<u8>,
}

fn default_scene() -> &'static Animated {
    static PLAYED: OnceLock<Animated> = OnceLock::new();
    PLAYED.get_or_init(|| {
        let settings = StageSettings {
            settle: false,
            ..StageSettings::default()
        };
        let played = play("embedded:scenes/left-tandem-retriever-first.ron", settings);
        let glb = glb(&played.stage, &GlbSettings::default()).unwrap();
        Animated { played, glb }
    })
}

/// A node's place at a time, by linear interpolation between the keys of its channel.
fn place_at(file: &gltf::Gltf, name: &str, time_s: f32) -> [f32; 3] {
    let blob = file.blob.as_deref().unwrap();
    let node = file.nodes().find(|n| n.name() == Some(name)).unwrap();
    let animation = file.animations().next().unwrap();
    let channel = animation.channels().find(|c| {
        c.target().node().index() == node.index()
            && c.target().property() == gltf::animation::Property::Translation
    });
    let Some(channel) = channel else {
        return node.transform().decomposed().0;
    };
    let reader = channel.reader(|_| Some(blob));
    let times: Vec<f32> = reader.read_inputs().unwrap().collect();
    let Some(gltf::animation::util::ReadOutputs::Translations(places)) = reader.read_outputs()
    else {
        panic!("translations");
    };
    let places: Vec<[f32; 3]> = places.collect();
    let after = times.partition_point(|t| *t <= time_s);
    if after == 0 {
        return places[0];
    }
    if after == times.len() {
        return places[after - 1];
    }
    let share = (time_s - times[after - 1]) / (times[after] - times[after - 1]);
    let (a, b) = (places[after - 1], places[after]);
    [0, 1, 2].map(|i| a[i] + (b[i] - a[i]) * share)
}

fn from_file(place: [f32; 3]) -> Point {
    let [x, y, z] = place.map(|v| 1e3 * f64::from(v));
    Point::new(x, -z, y)
}

#[test]
fn look_tips_in_the_glb_are_where_the_outcome_says() {
    let Animated { played, glb } = default_scene();
    let file = gltf::Gltf::from_slice(glb).unwrap();
    let track = &played.loaded.plan.track;
    let mut looked = 0;
    for step in [4, 25, 53] {
        let span = played.stage.timeline.steps[step - 1];
        #[expect(clippy::cast_possible_truncation, reason = "seconds of a film")]
        let time_s = (0.5 * (span.moved_s + span.end_s)) as f32;
        for device in &played.outcome.steps[step - 1].devices {
            // the shaft of a retriever ends where its struts begin
            if device.name == "retriever" {
                continue;
            }
            let found = from_file(place_at(&file, &format!("{} tip", device.name), time_s));
            // ruled lengths lie on the centre line
            let wanted = track.frame_at(device.tip_mm).origin_mm;
            let off_mm = (found - wanted).norm();
            assert!(
                off_mm < 0.05,
                "step {step}, {}: {off_mm:.3} mm",
                device.name
            );
            looked += 1;
        }
    }
    assert!(looked >= 8, "{looked} tips");
}

/// What a GLB plays and what `report.json` says of the same scene, with the shapes as they are settled for
/// pictures, agree at the end of every step and until the next one begins.
#[test]
fn look_tips_in_the_glb_are_where_the_json_says() {
    let source = Source::from_argument("embedded:scenes/left-tandem-retriever-first.ron");
    let loaded = load_scene(&source, &TrackSettings::default()).unwrap();
    let passed = walk_through(&loaded.plan, &mut CentreLine).unwrap();
    let sampling = Sampling {
        courses: 20,
        ..Sampling::default()
    };
    let rehearsed = rehearsed_of(&loaded.plan, &loaded.durations, &sampling, &passed).unwrap();
    let stage = Stage::new(
        &loaded.plan,
        &loaded.vessel.tree,
        &passed,
        &rehearsed.outcome,
        StageSettings::default(),
    );
    let report = Report {
        plan: &loaded.plan,
        rehearsed: &rehearsed,
        durations: &loaded.durations,
        stage: Some(&stage),
        comparison: None,
    };
    let written = to_json(&Everything::of(&report)).unwrap();
    let read: serde_json::Value = serde_json::from_str(&written).unwrap();
    let bytes = glb(&stage, &GlbSettings::default()).unwrap();
    assert!(bytes.len() < 5_000_000, "{} bytes", bytes.len());
    let file = gltf::Gltf::from_slice(&bytes).unwrap();
    let drawn = &read["drawn"];
    let steps = drawn["steps"].as_array().unwrap();
    assert_eq!(steps.len(), rehearsed.outcome.steps.len(), "every step");
    let track = &loaded.plan.track;
    let (mut looked, mut off_axis_mm) = (0, 0.0_f64);
    for step in steps {
        let value = |name: &str| step[name].as_f64().unwrap();
        for tip in step["tips"].as_array().unwrap() {
            let name = tip["device"].as_str().unwrap();
            let at = tip["at_mm"].as_array().unwrap();
            let [x, y, z] = [0, 1, 2].map(|i| at[i].as_f64().unwrap());
            let wanted = Point::new(x, y, z);
            for time_s in [value("at_s"), value("until_s")] {
                #[expect(clippy::cast_possible_truncation, reason = "seconds of a film")]
                let found = from_file(place_at(&file, &format!("{name} tip"), time_s as f32));
                let off_mm = (found - wanted).norm();
                assert!(
                    off_mm < 0.05,
                    "step {}, {name}, {time_s} s: {off_mm:.3} mm",
                    step["step"]
                );
            }
            let row = &rehearsed.outcome.steps[looked_step(step)];
            let ruled = row.devices.iter().find(|d| d.name == name).unwrap();
            let centre = track.frame_at(ruled.tip_mm).origin_mm;
            off_axis_mm = off_axis_mm.max((wanted - centre).norm());
            looked += 1;
        }
    }
    assert!(looked > 100, "{looked} tips");
    assert!(off_axis_mm > 0.5, "rods lie off the centre line");
}

/// Index of a step in `report.json`.
fn looked_step(step: &serde_json::Value) -> usize {
    usize::try_from(step["step"].as_u64().unwrap()).unwrap() - 1
}

#[test]
fn look_tips_in_the_glb_follow_the_stage_between_steps() {
    let Animated { played, glb } = default_scene();
    let file = gltf::Gltf::from_slice(glb).unwrap();
    for (i, span) in played.stage.timeline.steps.iter().enumerate() {
        for part in [0.2, 0.45, 0.7] {
            let time_s = span.start_s + part * (span.moved_s - span.start_s);
            let moment = played.stage.at(time_s);
            for drawn in &moment.devices {
                let name = &played.stage.devices[drawn.device].name;
                #[expect(clippy::cast_possible_truncation, reason = "seconds of a film")]
                let found = from_file(place_at(&file, &format!("{name} tip"), time_s as f32));
                let off_mm = (found - drawn.nodes.last().unwrap().at).norm();
                assert!(off_mm < 0.5, "step {}, {name}: {off_mm:.3} mm", i + 1);
            }
        }
    }
}

#[test]
fn look_glb_is_small_and_names_what_it_shows() {
    let Animated { glb, .. } = default_scene();
    let megabytes = glb.len() as f64 / 1e6;
    assert!(megabytes < 5.0, "{megabytes:.2} MB");
    let file = gltf::Gltf::from_slice(glb).unwrap();
    let names: Vec<&str> = file.nodes().filter_map(|n| n.name()).collect();
    for name in [
        "vessel wall",
        "guide",
        "retriever struts",
        "stent in the vessel",
        "balloon balloon",
        "clot",
        "neck-lesion",
        "landmark: carotid bifurcation",
    ] {
        assert!(names.contains(&name), "{name} is missing");
    }
    let stated = file.document.as_json().asset.extras.as_ref().unwrap().get();
    assert!(
        stated.contains("1 mm of the patient is 0.001 here"),
        "{stated}"
    );
}
