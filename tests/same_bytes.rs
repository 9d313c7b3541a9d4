//! The same input gives the same bytes, whatever the width of vectors and the number of threads.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and says what it found"
)]

use crate::support::rods::{problem, rod, run};
use crate::support::scenes::SCENES;
use nestline::mechanics::Lanes;
use nestline::mechanics::problem::Problem;
use nestline::output::to_json;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::LazyLock;

/// Runs the program in the project's folder, on the first core only where `alone`.
fn nestline(arguments: &[&str], lanes: Option<&str>, alone: bool) -> Output {
    let program = env!("CARGO_BIN_EXE_nestline");
    let mut command = if alone {
        let mut pinned = Command::new("taskset");
        pinned.args(["-c", "0", program]);
        pinned
    } else {
        Command::new(program)
    };
    command
        .args(arguments)
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")))
        .env_remove("NESTLINE_LANES");
    if let Some(lanes) = lanes {
        command.env("NESTLINE_LANES", lanes);
    }
    command.output().unwrap()
}

/// What every scene prints at this processor's own width, on all cores.
static NATIVE: LazyLock<Vec<Vec<u8>>> = LazyLock::new(|| {
    SCENES
        .iter()
        .map(|scene| told(scene, None, false))
        .collect()
});

/// What `run --json` prints of a scene, without ranges: those are followed for one of them.
fn told(scene: &str, lanes: Option<&str>, alone: bool) -> Vec<u8> {
    let file = format!("scenes/{scene}.ron");
    let output = nestline(&["run", &file, "--json", "--no-ranges"], lanes, alone);
    let error = String::from_utf8(output.stderr).unwrap();
    assert!(output.stdout.len() > 10_000, "{scene}: {error}");
    output.stdout
}

#[test]
fn property_scenes_are_the_same_at_every_width_and_on_one_core() {
    for (scene, native) in SCENES.into_iter().zip(NATIVE.iter()) {
        for (lanes, alone) in [(Some("2"), false), (Some("4"), false), (Some("8"), true)] {
            // not `assert_eq`, which would print megabytes
            let same = told(scene, lanes, alone) == *native;
            assert!(
                same,
                "{scene} differs with {lanes:?} lanes, one core {alone}"
            );
        }
    }
}

#[test]
fn property_ranges_are_the_same_on_one_core() {
    let run = |lanes, alone| {
        let output = nestline(&["run", "scenes/right-radial.ron", "--json"], lanes, alone);
        assert!(output.stdout.len() > 10_000, "a rehearsal");
        output.stdout
    };
    // not `assert_eq`, which would print megabytes
    let same = run(None, false) == run(Some("2"), true);
    assert!(same, "ranges differ with two lanes on one core");
}

#[test]
fn regress_outcomes_of_scenes_are_those_on_file() {
    let on_file: Vec<&str> = include_str!("outcomes.txt")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .collect();
    let told: Vec<String> = SCENES
        .iter()
        .zip(NATIVE.iter())
        .map(|(scene, bytes)| format!("{scene} {:08x} {}", crc32fast::hash(bytes), bytes.len()))
        .collect();
    assert!(
        told == on_file,
        "numbers have changed; if they should, put these lines into tests/outcomes.txt:\n{}",
        told.join("\n")
    );
}

#[test]
fn cli_other_widths_are_refused_by_every_command() {
    for arguments in [
        &["check", "scenes/right-radial.ron"][..],
        &["measure", "vessels/left-type-3-kink.ron"],
        &["run", "--ruler", "--json"],
        &["settle", "no-such-file.ron"],
    ] {
        for wrong in ["3", "16", "", "four", "2 "] {
            let output = nestline(arguments, Some(wrong), false);
            let error = String::from_utf8(output.stderr).unwrap();
            assert_eq!(output.status.code(), Some(2), "{arguments:?} {wrong:?}");
            assert!(output.stdout.is_empty(), "{arguments:?} {wrong:?}");
            assert!(
                error.contains("NESTLINE_LANES") && error.contains("2, 4 or 8"),
                "{error}"
            );
        }
    }
}

/// One to three rods in a bent tube.
fn drawn(random: &mut impl Rng) -> Problem {
    let runs = (0..random.random_range(2..6))
        .map(|_| {
            let lumen_mm = random.random_range(2.5..6.0);
            let length_mm = random.random_range(8.0..60.0);
            let turn_deg = random.random_range(0.0_f64..50.0).min(1.5 * length_mm);
            run(
                length_mm,
                turn_deg,
                random.random_range(0.0..360.0),
                lumen_mm,
            )
        })
        .collect();
    let rods = (0..random.random_range(1..4))
        .map(|k| {
            let outer_mm = [1.8, 1.0, 0.36][k];
            rod(
                random.random_range(1.0..300.0),
                outer_mm,
                (k < 2).then_some(outer_mm - 0.3),
            )
        })
        .collect();
    problem(runs, rods)
}

#[test]
fn property_bare_problems_are_the_same_at_every_width() {
    let mut random = ChaCha8Rng::seed_from_u64(18);
    let mut solved = 0;
    for case in 0..60 {
        let problem = drawn(&mut random);
        let [native, others @ ..] = Lanes::ALL.map(|lanes| {
            lanes.choose();
            let told = problem
                .solve()
                .map_or_else(|e| e.to_string(), |r| to_json(&r).unwrap());
            Lanes::Native.choose();
            told
        });
        solved += usize::from(native.starts_with('{'));
        for (lanes, other) in Lanes::ALL[1..].iter().zip(others) {
            assert!(other == native, "case {case} differs with {lanes:?} lanes");
        }
    }
    assert!(solved >= 50, "only {solved} of 60 were solved");
}
