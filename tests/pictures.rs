//! What is drawn is where the numbers say, twice the same, and told in words; films are whole.
#![cfg(feature = "viewer")]
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stdout,
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "a test may stop where it stands, and reads back what it wrote"
)]
#![expect(clippy::cast_possible_truncation, reason = "pixels of small pictures")]

use crate::support::inside::outside;
use crate::support::not_run::not_run;
use crate::support::staged::{stage_of, staged};
use kiss3d::glamx::{Vec2, Vec3};
use nestline::output::film::{
    FilmError, FilmSettings, Format, Pace, Picture, Reel, Script, Shot, Studio, make_film,
    make_still, moment_of, shots, write_still,
};
use nestline::output::palette::{Rgb, Theme};
use nestline::output::screen::{
    Adapter, Angles, Pane, Place, Props, Set, Shown, View, find_adapter, key_colour, vec3,
};
use nestline::output::viewer::{Desk, Wish};
use nestline::procedure::Severity;
use nestline::rehearsal::{CAUTION, StepRow};
use nestline::stage::{EdgeState, Moment, Stage};
use std::path::Path;

const DEFAULT: &str = "left-tandem-retriever-first";

fn adapter() -> Adapter {
    find_adapter().expect("install mesa-vulkan-drivers, as .ci/test does")
}

/// Width and height of the pictures that are measured.
const SIZE: (u32, u32) = (480, 360);

/// A view in which the tip's direction lies in the picture.
fn across(tip_mm: Vec3, along: Vec3, height_mm: f32) -> View {
    View {
        at_mm: tip_mm,
        from: Angles {
            left_deg: along.y.atan2(along.x).to_degrees(),
            head_deg: 0.0,
        },
        height_mm,
        parallel: true,
    }
}

/// Pixels of one colour.
fn of_colour(pixels: &[u8], Rgb(r, g, b): Rgb) -> Vec<Vec2> {
    let near = |a: u8, b: u8| a.abs_diff(b) <= 2;
    pixels
        .chunks_exact(3)
        .enumerate()
        .filter(|(_, p)| near(p[0], r) && near(p[1], g) && near(p[2], b))
        .map(|(k, _)| {
            let (x, y) = (k as u32 % SIZE.0, k as u32 / SIZE.0);
            Vec2::new(x as f32 + 0.5, y as f32 + 0.5)
        })
        .collect()
}

/// How far from where it is projected to a tip is found in a picture, pixels.
fn miss_px(
    pane: &mut Pane,
    set: &mut Set,
    props: &Props,
    stage: &Stage,
    moment: &Moment,
    version: u64,
) -> f32 {
    let device = &moment.devices[0];
    let tip = vec3(&device.tip);
    let last = &device.nodes[device.nodes.len() - 1];
    // an open retriever ends beyond its last section, along the vessel
    let along = if device.struts.is_some() {
        let track = &stage.plan().track;
        vec3(&track.frame_at(device.tip_mm).tangent.into())
    } else {
        vec3(&last.along.into())
    };
    let view = across(tip, along, 45.0);
    let shown = Shown {
        keyed: true,
        ..Shown::default()
    };
    props.fill(set, stage, moment, Theme::Light, &shown, 0.0);
    pane.draw(set, version, &view, egui::Color32::WHITE);
    let found = of_colour(&pane.pixels(), key_colour(device.device));
    let size = Vec2::new(SIZE.0 as f32, SIZE.1 as f32);
    let at = view.project(tip, size).unwrap();
    let (right, up) = view.axes();
    let way = Vec2::new(along.dot(right), -along.dot(up)).normalize();
    let ahead = |p: &Vec2| (*p - at).dot(way);
    // in the siphon the same device passes nearby a second time
    let near: Vec<&Vec2> = found
        .iter()
        .filter(|p| (**p - at).length() < 24.0)
        .collect();
    let tip_px = near
        .iter()
        .map(|p| ahead(p))
        .fold(f32::NEG_INFINITY, f32::max);
    let end: Vec<&&Vec2> = near
        .iter()
        .filter(|p| (ahead(p) - tip_px).abs() < 8.0)
        .collect();
    assert!(
        !end.is_empty(),
        "{} is not in the picture",
        stage.devices[device.device].name
    );
    let aside: f32 = end
        .iter()
        .map(|p| (***p - at).dot(Vec2::new(-way.y, way.x)))
        .sum::<f32>()
        / end.len() as f32;
    // struts of a retriever end on a circle, not in a point
    if device.struts.is_some() {
        return tip_px.abs();
    }
    let name = &stage.devices[device.device].name;
    println!("{name}: {tip_px:.2} px ahead, {aside:.2} px aside");
    tip_px.abs().max(aside.abs())
}

#[test]
fn look_tips_are_found_where_they_are_projected_to() {
    let adapter = adapter();
    let stage = stage_of(DEFAULT);
    let props = Props::new(&stage);
    let mut set = Set::default();
    let mut pane = Pane::new(SIZE.0, SIZE.1, false);
    assert!(!adapter.name.is_empty());
    let total_s = stage.timeline.total_s();
    let mut measured = 0;
    for k in 0..10_u32 {
        let moment = stage.at(total_s * (f64::from(k) + 0.6) / 10.0);
        for device in &moment.devices {
            // outside the body there is nothing to aim at, and hidden wires end in their catheters
            if device.tip_mm < 5.0 {
                continue;
            }
            let alone = Moment {
                devices: vec![device.clone()],
                ..moment.clone()
            };
            measured += 1;
            let miss = miss_px(&mut pane, &mut set, &props, &stage, &alone, measured);
            assert!(
                miss <= 3.0,
                "{} at {:.1} s: {miss:.1} px",
                stage.devices[device.device].name,
                moment.time_s
            );
        }
    }
    assert!(measured >= 24, "{measured} tips");
}

#[test]
fn look_devices_show_through_the_wall() {
    let _ = adapter();
    let stage = stage_of(DEFAULT);
    let props = Props::new(&stage);
    let mut set = Set::default();
    let mut pane = Pane::new(SIZE.0, SIZE.1, false);
    let moment = stage.at_step(25, 1.0);
    let device = moment.devices.iter().find(|d| d.device == 4).unwrap();
    let node = device.nodes.iter().rev().nth(12).unwrap();
    let view = across(vec3(&node.at), vec3(&node.along.into()), 30.0);
    let mut picture = |moment: &Moment, version| {
        props.fill(
            &mut set,
            &stage,
            moment,
            Theme::Light,
            &Shown::default(),
            0.0,
        );
        pane.draw(&mut set, version, &view, egui::Color32::WHITE);
        let pixels = pane.pixels();
        let middle = (SIZE.1 / 2 * SIZE.0 + SIZE.0 / 2) as usize * 3;
        [pixels[middle], pixels[middle + 1], pixels[middle + 2]].map(i32::from)
    };
    let with = picture(&moment, 1);
    let mut empty = moment.clone();
    empty.devices.clear();
    let without = picture(&empty, 2);
    // the microcatheter is green; the wall alone is grey
    let tint = |c: [i32; 3]| c[1] - c[0];
    assert!(tint(with) > tint(without) + 20, "{with:?} and {without:?}");
    assert!(without[0] < 250, "the wall itself is seen: {without:?}");
}

#[test]
fn look_two_renders_are_the_same_to_the_byte() {
    let adapter = adapter();
    let stage = stage_of(DEFAULT);
    let script = Script::new(&stage, (0, stage.steps.len() - 1), 32.0);
    let size = (640, 360);
    let mut one = Studio::new(&stage, &adapter, Theme::Light, size);
    let mut two = Studio::new(&stage, &adapter, Theme::Light, size);
    for beat in [0, script.beats.len() / 2] {
        let shot = Shot::Beat {
            beat,
            share: 0.7,
            glide: 1.0,
        };
        // the second studio comes from another picture
        let _ = two.draw(&script, &Shot::Title);
        let (a, b) = (one.draw(&script, &shot), two.draw(&script, &shot));
        assert!(a == b, "beat {beat} differs");
        let first = &a.rgb[..3];
        assert!(a.rgb.chunks(3).any(|p| p != first), "an empty picture");
    }
}

/// The step, from zero, at which a plan breaks.
fn first_failure(stage: &Stage) -> Option<usize> {
    let fails = |row: &StepRow| row.worst() == Some(Severity::Failure);
    stage.steps.iter().position(|card| fails(&card.row))
}

#[test]
fn look_films_tell_what_the_rehearsal_found() {
    for (name, seconds, fails) in [
        (DEFAULT, 32.0, false),
        ("guide-below-stent", 60.0, true),
        ("too-short", 60.0, true),
    ] {
        let stage = stage_of(name);
        let script = Script::new(&stage, (0, stage.steps.len() - 1), seconds);
        assert!(
            (script.length_s() - seconds).abs() < 1e-6,
            "{name}: {}",
            script.length_s()
        );
        assert_eq!(stage.caution, CAUTION);
        for beat in &script.beats {
            let words = stage.plan().script[beat.told].in_words();
            assert_eq!(stage.steps[beat.told].row.say, words);
            assert!(!words.is_empty() && beat.hold_s > 0.3, "{name}: {beat:?}");
        }
        let breaks = first_failure(&stage);
        assert_eq!(breaks.is_some(), fails, "{name}");
        if let Some(step) = breaks {
            assert!(
                script.beats.iter().any(|b| b.told == step),
                "{name}: step {} is not told",
                step + 1
            );
        }
        let frames: u32 = shots(&script, 12).iter().map(|(_, n)| n).sum();
        assert!(
            (f64::from(frames) / 12.0 - seconds).abs() < 0.3,
            "{name}: {frames} frames"
        );
    }
}

#[test]
fn look_a_device_in_hand_moves_at_once_and_its_rods_follow() {
    let stage = stage_of(DEFAULT);
    let mut desk = Desk::new(&stage, Theme::Light);
    desk.play.to_step(&stage.timeline, 18);
    desk.grant(&stage, Wish::DrawFar);
    assert!(
        desk.hand.moment().is_none(),
        "nothing in hand, nothing moves"
    );
    desk.grant(&stage, Wish::Take);
    desk.grant(&stage, Wish::Take);
    let guide = desk.hand.device.unwrap();
    assert_eq!(stage.devices[guide].name, "guide");
    let tip_mm = |desk: &Desk| desk.moment(&stage).device(guide).unwrap().tip_mm;
    let before_mm = tip_mm(&desk);
    desk.grant(&stage, Wish::DrawFar);
    desk.grant(&stage, Wish::Feed);
    assert!(
        (tip_mm(&desk) - (before_mm - 9.0)).abs() < 1e-9,
        "from {before_mm} to {}",
        tip_mm(&desk)
    );
    for _ in 0..1200 {
        desk.hand.take_over(&stage);
        if !desk.hand.settling {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert!(!desk.hand.settling, "the rods do not settle");
    assert_eq!(desk.hand.unsettled, None);
    let moment = desk.moment(&stage);
    let (beyond_mm, _) = outside(&stage.plan().track, &moment);
    assert!(beyond_mm < 1e-3, "{beyond_mm:.4} mm outside the lumen");
    let drawn = moment.device(guide).unwrap();
    let off_axis_mm = drawn
        .nodes
        .iter()
        .filter(|n| n.station_mm > 0.0)
        .map(|n| (n.at - stage.plan().track.frame_at(n.station_mm).origin_mm).norm())
        .fold(0.0, f64::max);
    assert!(
        off_axis_mm > 1.0,
        "in the aorta a rod leaves the centre line: {off_axis_mm:.2} mm"
    );
    // no further than its hub lets it
    for _ in 0..200 {
        desk.grant(&stage, Wish::FeedFar);
    }
    let moment = desk.moment(&stage);
    let left_mm = moment.device(guide).unwrap().outside_mm.unwrap();
    assert!(left_mm.abs() < 1e-6, "{left_mm} mm outside");
    desk.grant(&stage, Wish::LetGo);
    assert!(
        (tip_mm(&desk) - before_mm).abs() < 1e-9,
        "back to the script"
    );
}

/// The films of the README, frame by frame.
#[test]
fn look_in_no_frame_of_the_films_anything_leaves_the_lumen_or_jumps() {
    /// Beyond its way along the route a tip swings by the lumen at most, mm.
    const SWING_MM: f64 = 8.0;
    for (name, seconds) in [
        (DEFAULT, 75.0),
        ("guide-below-stent", 60.0),
        ("too-short", 60.0),
    ] {
        let stage = staged(name, true);
        let script = Script::new(&stage, (0, stage.steps.len() - 1), seconds);
        let mut before: Option<Moment> = None;
        let mut looked_at = 0;
        for (shot, _) in shots(&script, FilmSettings::default().pace.frames_per_s) {
            let Some(moment) = moment_of(&stage, &script, &shot) else {
                continue;
            };
            looked_at += 1;
            let (beyond_mm, pressed_mm) = outside(&stage.plan().track, &moment);
            let step = moment.step + 1;
            assert!(
                beyond_mm < 1e-3 && pressed_mm < 0.5,
                "{name}, step {step}: {beyond_mm:.4} mm outside, the wall gives by {pressed_mm:.2} mm"
            );
            let before = before.replace(moment.clone());
            // a cut to another step may leave out what nobody would see
            let Some(before) = before.filter(|b| b.step == moment.step) else {
                continue;
            };
            for device in &moment.devices {
                let Some(was) = before.device(device.device) else {
                    continue;
                };
                let along_mm = (device.tip_mm - was.tip_mm).abs();
                let by_mm = (device.tip - was.tip).norm();
                assert!(
                    by_mm < along_mm + SWING_MM,
                    "{name}, step {step}: the {} jumps by {by_mm:.1} mm on {along_mm:.1} mm of its way",
                    stage.devices[device.device].name
                );
            }
        }
        println!("{name}: {looked_at} different pictures");
        assert!(looked_at > 100, "{name}: {looked_at} different pictures");
    }
}

#[test]
fn look_the_film_stops_where_the_retriever_catches() {
    let stage = stage_of("guide-below-stent");
    let script = Script::new(&stage, (0, stage.steps.len() - 1), 60.0);
    let breaks = first_failure(&stage).unwrap();
    let beat = script.beats.iter().find(|b| b.told == breaks).unwrap();
    assert_eq!(beat.place, Place::Edge);
    assert!(beat.stops_at < 1.0, "{beat:?}");
    let moment = stage.at_step(beat.told, beat.stops_at);
    let edge_mm = beat.at_mm.unwrap();
    let band = moment.bands.iter().find(|b| b.upper).unwrap();
    assert!(
        (band.station_mm - edge_mm).abs() < 0.5,
        "{} and {edge_mm}",
        band.station_mm
    );
    assert_eq!(band.state, EdgeState::Catches);
    let retriever = stage
        .devices
        .iter()
        .position(|d| d.name == "retriever")
        .unwrap();
    let tip_mm = moment.device(retriever).unwrap().tip_mm;
    assert!(
        tip_mm > edge_mm && tip_mm < edge_mm + 9.0,
        "{tip_mm} at {edge_mm}"
    );
    // in the plan that passes nothing stops it
    let good = stage_of(DEFAULT);
    let script = Script::new(&good, (0, good.steps.len() - 1), 60.0);
    assert!(script.beats.iter().all(|b| b.stops_at >= 1.0));
}

/// A picture with a square that moves.
fn sample(frame: u32) -> Picture {
    let (width, height) = (320, 180);
    let rgb = (0..width * height)
        .flat_map(|k| {
            let (x, y) = (k % width, k / width);
            let inside = (20 + 10 * frame..60 + 10 * frame).contains(&x) && (40..90).contains(&y);
            if inside {
                [0, 114, 178]
            } else {
                [250, 250, 247]
            }
        })
        .collect();
    Picture { width, height, rgb }
}

const PACE: Pace = Pace {
    width: 320,
    height: 180,
    frames_per_s: 12,
};

fn write_reel(path: &Path, format: Format) {
    let mut reel = Reel::begin(path, format, PACE, &[sample(0)], false).unwrap();
    for frame in 0..5 {
        reel.add(&sample(frame), if frame == 2 { 7 } else { 1 })
            .unwrap();
    }
    reel.finish().unwrap();
}

#[test]
fn look_a_gif_holds_every_frame_for_its_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("film.gif");
    write_reel(&path, Format::Gif);
    let mut options = gif::DecodeOptions::new();
    options.set_color_output(gif::ColorOutput::RGBA);
    let mut decoder = options
        .read_info(std::fs::File::open(&path).unwrap())
        .unwrap();
    let mut canvas = vec![0; 320 * 180 * 3];
    let mut delays = Vec::new();
    while let Some(frame) = decoder.read_next_frame().unwrap() {
        delays.push(frame.delay);
        for y in 0..u32::from(frame.height) {
            for x in 0..u32::from(frame.width) {
                let from = (y * u32::from(frame.width) + x) as usize * 4;
                let at = (y + u32::from(frame.top)) * 320 + x + u32::from(frame.left);
                if frame.buffer[from + 3] > 0 {
                    let at = at as usize * 3;
                    canvas[at..at + 3].copy_from_slice(&frame.buffer[from..from + 3]);
                }
            }
        }
    }
    assert!(
        canvas == sample(4).rgb,
        "the last picture comes back as it was"
    );
    // 1, 1, 7, 1, 1 frames of a twelfth of a second, rounding carried on
    assert_eq!(delays, [8, 8, 59, 8, 8]);
}

#[test]
fn look_png_frames_are_numbered_and_repeated() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("frames");
    write_reel(&path, Format::Frames);
    let mut names: Vec<String> = std::fs::read_dir(&path)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names.len(), 11);
    assert_eq!(
        (names[0].as_str(), names[10].as_str()),
        ("00001.png", "00011.png")
    );
    let read = |name: &str| std::fs::read(path.join(name)).unwrap();
    assert!(read("00003.png") == read("00009.png"), "a still repeats");
    assert!(
        read("00002.png") != read("00003.png"),
        "what moves does not"
    );
    let decoder = png::Decoder::new(std::io::BufReader::new(
        std::fs::File::open(path.join("00011.png")).unwrap(),
    ));
    let mut reader = decoder.read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut pixels).unwrap();
    assert!(pixels == sample(4).rgb, "the picture comes back as it was");
}

#[test]
fn reference_an_mp4_is_accepted_by_another_program() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("film.mp4");
    write_reel(&path, Format::Mp4);
    let bytes = std::fs::read(&path).unwrap();
    assert_eq!(&bytes[4..8], b"ftyp");
    let probe = std::process::Command::new("ffprobe")
        .args([
            "-v",
            "error",
            "-count_frames",
            "-select_streams",
            "v:0",
            "-of",
            "csv=p=0",
        ])
        .args([
            "-show_entries",
            "stream=codec_name,width,height,avg_frame_rate,nb_read_frames",
        ])
        .arg(&path)
        .output();
    match probe {
        Ok(output) => {
            assert!(
                output.stderr.is_empty(),
                "{}",
                String::from_utf8_lossy(&output.stderr)
            );
            let told = String::from_utf8(output.stdout).unwrap();
            assert_eq!(told.trim(), "h264,320,180,12/1,11");
        }
        Err(_) => not_run("ffprobe is not installed"),
    }
}

#[test]
fn exact_nothing_half_written_stays_and_nothing_is_replaced_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("film.gif");
    let mut reel = Reel::begin(&path, Format::Gif, PACE, &[sample(0)], false).unwrap();
    reel.add(&sample(0), 1).unwrap();
    drop(reel);
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    write_reel(&path, Format::Gif);
    let refused = Reel::begin(&path, Format::Gif, PACE, &[sample(0)], false);
    assert!(matches!(refused, Err(FilmError::Exists { .. })));
    let still = folder.path().join("still.png");
    write_still(&still, &sample(1), false).unwrap();
    assert!(matches!(
        write_still(&still, &sample(1), false),
        Err(FilmError::Exists { .. })
    ));
    // a folder with something of one's own is never emptied
    let frames = folder.path().join("mine");
    std::fs::create_dir(&frames).unwrap();
    std::fs::write(frames.join("notes.txt"), "mine").unwrap();
    let refused = Reel::begin(&frames, Format::Frames, PACE, &[], true);
    assert!(matches!(refused, Err(FilmError::ForeignFolder { .. })));
    assert!(frames.join("notes.txt").exists());
}

#[test]
fn exact_wrong_wishes_are_refused_in_words() {
    let stage = stage_of(DEFAULT);
    let adapter = adapter();
    let folder = tempfile::tempdir().unwrap();
    let film = |settings: FilmSettings, name: &str| {
        let path = folder.path().join(name);
        make_film(&stage, &settings, &adapter, &path, false, &mut |_, _| {})
            .map(|_| ())
            .map_err(|e| e.to_string())
    };
    let good = FilmSettings::default();
    assert!(
        film(good, "film.avi")
            .unwrap_err()
            .contains("names no kind of film")
    );
    let odd = FilmSettings {
        pace: Pace {
            width: 641,
            ..good.pace
        },
        ..good
    };
    assert_eq!(
        film(odd, "a.mp4").unwrap_err(),
        "width is 641, must be even, from 320 to 3840 pixels"
    );
    let count = stage.steps.len();
    let none = FilmSettings {
        steps: Some((count, count + 1)),
        ..good
    };
    assert!(
        film(none, "a.mp4")
            .unwrap_err()
            .contains(&format!("range of steps is {count}-{}", count + 1))
    );
    let never = FilmSettings {
        length_s: 2.0,
        ..good
    };
    assert_eq!(
        film(never, "a.mp4").unwrap_err(),
        "length is 2 s, must be from 5 to 1800 s"
    );
    let nowhere = film(good, "no-such-folder/a.mp4").unwrap_err();
    assert!(nowhere.starts_with("cannot write"), "{nowhere}");
    let still = |step: usize, name: &str| {
        let path = folder.path().join(name);
        make_still(&stage, &good, &adapter, step, &path, false)
            .unwrap_err()
            .to_string()
    };
    assert!(still(3, "a.mp4").ends_with("is no name for a still: end it in .png"));
    assert_eq!(
        still(99, "a.png"),
        "step is 99, must be the number of a step of the scene"
    );
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn look_surfaces_that_drew_nothing_go_quietly() {
    let adapter = adapter();
    let stage = stage_of(DEFAULT);
    // on threads of their own: the library keeps its state by thread
    for _ in 0..2 {
        std::thread::scope(|scope| {
            let gone = scope.spawn(|| drop(Studio::new(&stage, &adapter, Theme::Dark, (640, 360))));
            gone.join().unwrap();
        });
    }
}

#[test]
fn look_a_short_film_is_made_from_beginning_to_end() {
    let stage = stage_of("guide-below-stent");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("film.gif");
    let settings = FilmSettings {
        pace: Pace {
            width: 480,
            height: 270,
            frames_per_s: 4,
        },
        length_s: 6.0,
        steps: Some((42, 42)),
        ..FilmSettings::default()
    };
    let mut told = (0, 0);
    let report = make_film(
        &stage,
        &settings,
        &adapter(),
        &path,
        false,
        &mut |done, of| {
            told = (done, of);
        },
    )
    .unwrap();
    assert_eq!(told.0, told.1);
    assert_eq!(report.frames, 24);
    assert!(report.most_triangles < 60_000, "{}", report.most_triangles);
    assert!(std::fs::metadata(&path).unwrap().len() > 10_000);
}
