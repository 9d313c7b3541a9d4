//! Shots chosen by hand, and where devices press: drawn where the numbers say, as long as the force.
#![cfg(feature = "viewer")]
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a test may stop where it stands"
)]
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixels of a picture"
)]

use crate::support::staged::{stage_of, staged};
use egui::{Pos2, Rect, pos2, vec2};
use kiss3d::glamx::Vec2;
use nestline::output::film::{FilmSettings, Picture, Shot, Studio};
use nestline::output::palette::Theme;
use nestline::output::screen::{
    Adapter, Place, Scheme, View, find_adapter, legend_arrow, meant_tip, mm_per_n, press_arrows,
    vec3,
};
use nestline::stage::{Moment, Stage};

const DEFAULT: &str = "left-tandem-retriever-first";

fn adapter() -> Adapter {
    find_adapter().expect("install mesa-vulkan-drivers, as .ci/test does")
}

/// Index of the step in which the aspiration catheter comes through the guide over the retriever's pusher.
fn three_through_the_arch(stage: &Stage) -> usize {
    let lies = |step: &usize| {
        let moment = stage.at_step(*step, 1.0);
        let tip_mm = |name: &str| {
            let device = stage.devices.iter().position(|d| d.name == name)?;
            moment.device(device).map(|d| d.tip_mm)
        };
        ["guide", "retriever", "aspiration"]
            .iter()
            .all(|name| tip_mm(name).is_some_and(|mm| mm > 600.0))
    };
    (0..stage.steps.len()).find(lies).unwrap()
}

fn picture(studio: &mut Studio<'_>, stage: &Stage, settings: &FilmSettings) -> Picture {
    studio.contacts = settings.contacts;
    let script = settings.script(stage).unwrap();
    let shot = Shot::Beat {
        beat: 0,
        share: 1.0,
        glide: 1.0,
    };
    studio.draw(&script, &shot)
}

/// Where a point of the vessel is in a picture; none outside its view.
fn place(at: &nestline::geometry::Point, (rect, view): &(Rect, View)) -> Option<Pos2> {
    let at = view.project(vec3(at), Vec2::new(rect.width(), rect.height()))?;
    let at = rect.min + vec2(at.x, at.y);
    rect.shrink(6.0).contains(at).then_some(at)
}

fn changes(before: &Picture, after: &Picture, at: Pos2) -> bool {
    let (x, y) = (at.x as usize, at.y as usize);
    let around = |k: usize| k.saturating_sub(1)..=k + 1;
    around(y).any(|y| {
        around(x).any(|x| {
            let k = (y * before.width as usize + x) * 3;
            before.rgb[k..k + 3] != after.rgb[k..k + 3]
        })
    })
}

#[test]
fn look_arrows_stand_where_devices_press_and_are_as_long_as_the_force() {
    let stage = staged(DEFAULT, true);
    let step = three_through_the_arch(&stage);
    let settings = FilmSettings {
        steps: Some((step + 1, step + 1)),
        shot: Some(Place::Arch),
        ..FilmSettings::default()
    };
    let mut studio = Studio::new(&stage, &adapter(), Theme::Light, (1280, 720));
    let without = picture(&mut studio, &stage, &settings);
    let with = picture(
        &mut studio,
        &stage,
        &FilmSettings {
            contacts: true,
            ..settings
        },
    );
    let script = settings.script(&stage).unwrap();
    let seen = studio.seen(&script.beats[0])[0];
    let moment = stage.at_step(step, 1.0);
    let per_n = f64::from(mm_per_n(seen.1.height_mm));
    let tips: Vec<Pos2> = moment
        .devices
        .iter()
        .filter_map(|d| place(&d.tip, &seen))
        .collect();
    let mut looked_at = 0;
    for contact in moment.contacts.iter().filter(|c| c.force_n.norm() > 0.05) {
        // pressed back by the wall, a device presses the other way
        let end = contact.at - contact.force_n * per_n;
        let (Some(from), Some(to)) = (place(&contact.at, &seen), place(&end, &seen)) else {
            continue;
        };
        looked_at += 1;
        for share in [0.0, 0.3, 0.6, 0.9] {
            let at = from.lerp(to, share);
            // tips have dots of their own over the arrows
            if tips.iter().any(|tip| tip.distance(at) < 8.0) {
                continue;
            }
            assert!(
                changes(&without, &with, at),
                "{:.2} N at {:.0} mm: nothing at {at:?}, {share} of its arrow",
                contact.force_n.norm(),
                contact.station_mm
            );
        }
    }
    assert!(looked_at >= 4, "{looked_at} arrows");
    // where nothing presses the pictures are the same
    let far = pos2(seen.0.left() + 40.0, seen.0.top() + 200.0);
    assert!(
        !changes(&without, &with, far),
        "something stands at {far:?}"
    );
}

#[test]
fn look_the_legend_and_the_arrows_have_one_scale() {
    let stage = staged(DEFAULT, true);
    let step = three_through_the_arch(&stage);
    let moment = stage.at_step(step, 1.0);
    let rect = Rect::from_min_size(Pos2::ZERO, vec2(964.0, 542.0));
    let scheme = Scheme::new(Theme::Light, 720.0);
    for height_mm in [20.0, 90.0, 260.0, 1000.0] {
        let contact = moment
            .contacts
            .iter()
            .max_by(|a, b| a.force_n.norm().total_cmp(&b.force_n.norm()))
            .unwrap();
        // one that lies in the picture, in its middle
        let alone = Moment {
            contacts: vec![*contact],
            ..moment.clone()
        };
        let force = contact.force_n;
        let view = View {
            at_mm: vec3(&contact.at),
            from: nestline::output::screen::Angles {
                left_deg: force.y.atan2(force.x).to_degrees() as f32,
                head_deg: 0.0,
            },
            height_mm,
            parallel: true,
        };
        let arrows = press_arrows(&alone, rect, &view);
        let arrow = arrows.first().expect("it is in the picture");
        let (legend_n, legend_px) = legend_arrow(&scheme, rect, &view);
        let expected_px = force.norm() as f32 / legend_n * legend_px;
        let (right, up) = view.axes();
        let turned = vec3(&force.into());
        let in_plane = turned.dot(right).hypot(turned.dot(up)) / turned.length();
        let long_px = (arrow.to - arrow.from).length();
        assert!(
            (long_px - expected_px * in_plane).abs() < 0.01 * expected_px + 0.1,
            "{height_mm} mm: {long_px} px, {expected_px} by the legend"
        );
        assert!((arrow.force_n - force.norm()).abs() < 1e-12);
        assert!(
            legend_px > 8.0 && legend_px <= 90.0,
            "{legend_px} px at {height_mm} mm"
        );
    }
}

#[test]
fn look_a_shot_is_had_where_there_is_something_to_see() {
    let stage = stage_of(DEFAULT);
    // the balloon goes through the stent
    let through = 44;
    let script = |step: usize, shot: Place| {
        let settings = FilmSettings {
            steps: Some((step, step)),
            shot: Some(shot),
            ..FilmSettings::default()
        };
        settings.script(&stage).map_err(|e| e.to_string())
    };
    for place in Place::ALL {
        assert_eq!(Place::named(place.name()), Ok(place));
        assert_eq!(script(through, place).unwrap().beats[0].place, place);
    }
    let edge_mm = script(through, Place::Edge).unwrap().beats[0].at_mm;
    let bands = stage.at_step(through - 1, 1.0).bands;
    let upper = bands.iter().find(|b| b.upper).unwrap();
    assert_eq!(edge_mm, Some(upper.station_mm), "the upper edge");
    let wire_mm = script(25, Place::Tip).unwrap().beats[0].at_mm.unwrap();
    let moment = stage.at_step(24, 1.0);
    let tip_mm = moment.devices.iter().map(|d| d.tip_mm).fold(0.0, f64::max);
    assert!((wire_mm - tip_mm).abs() < 0.5, "{wire_mm} and {tip_mm}");
    assert_eq!(
        script(5, Place::Edge).unwrap_err(),
        "in step 5 no stent is out that the shot `edge` could show: choose other steps, or another shot"
    );
    assert_eq!(
        script(17, Place::Tip).unwrap_err(),
        "in step 17 no device moves that the shot `tip` could show: choose other steps, or another shot"
    );
    // in a film that has it at last, what comes before is seen where it happens
    let settings = FilmSettings {
        shot: Some(Place::Edge),
        length_s: 60.0,
        ..FilmSettings::default()
    };
    let film = settings.script(&stage).unwrap();
    for beat in &film.beats {
        let out = !stage.at_step(beat.told, 1.0).bands.is_empty();
        assert_eq!(beat.place == Place::Edge, out, "step {}", beat.told + 1);
    }
}

#[test]
fn look_what_does_not_reach_is_seen_with_the_place_it_should_have_come_to() {
    let stage = stage_of("too-short");
    let track = &stage.plan().track;
    let short = |step: usize| {
        let settings = FilmSettings {
            steps: Some((step, step)),
            ..FilmSettings::default()
        };
        let beat = settings.script(&stage).unwrap().beats[0].clone();
        let (device, meant_mm) = meant_tip(&stage, step - 1).unwrap();
        assert_eq!(stage.devices[device].name, "guide");
        let moment = stage.at_step(step - 1, 1.0);
        (beat, meant_mm, moment.device(device).unwrap().tip_mm)
    };
    let (near, meant_mm, tip_mm) = short(13);
    let bifurcation_mm = track.landmark("carotid-bifurcation").unwrap();
    assert!(
        (meant_mm - (bifurcation_mm - 30.0)).abs() < 1e-9,
        "{meant_mm}"
    );
    assert_eq!(near.place, Place::Tip);
    assert_eq!(near.at_mm, Some(f64::midpoint(meant_mm, tip_mm)));
    // a place that belongs to a device: 12 mm past the stent's far end
    let (far, meant_mm, tip_mm) = short(54);
    let stents = stage.at_step(53, 0.0).stents;
    assert!(
        (meant_mm - (stents[0].distal_mm + 12.0)).abs() < 1e-9,
        "{meant_mm}"
    );
    assert_eq!(far.place, Place::Neck);
    let studio = Studio::new(&stage, &adapter(), Theme::Light, (1280, 720));
    for seen in studio.seen(&far) {
        for station_mm in [meant_mm, tip_mm] {
            let at = track.frame_at(station_mm).origin_mm;
            assert!(
                place(&at, &seen).is_some(),
                "{station_mm} mm is not in the picture"
            );
        }
    }
}
