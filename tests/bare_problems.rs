//! Bare problems as the program solves them: exit codes, what the report says, zones of contact.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use crate::support::rods::{problem, rod, run};
use nestline::mechanics::problem::Problem;
use std::process::{Command, Output};

/// Lets the program settle a problem.
fn settle(posed: &Problem) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("problem.ron");
    let body = ron::ser::to_string(posed).unwrap();
    std::fs::write(&file, format!("Problem{body}")).unwrap();
    Command::new(env!("CARGO_BIN_EXE_nestline"))
        .args(["settle", "--json"])
        .arg(&file)
        .output()
        .unwrap()
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A rod of 5 N mm2 in a wide tube, with a dead force across its end.
fn drawn_aside(force_n: f64) -> Problem {
    let mut aside = rod(5.0, 0.5, None);
    aside.tip_force_n = [0.0, force_n, 0.0];
    problem(vec![run(40.0, 0.0, 0.0, 160.0)], vec![aside])
}

#[test]
fn cli_exit_codes_say_how_a_solve_ended() {
    let rests = settle(&drawn_aside(1e-3));
    assert_eq!(rests.status.code(), Some(0), "{}", told(&rests));
    let report: serde_json::Value = serde_json::from_slice(&rests.stdout).unwrap();
    assert_eq!(report["status"], "Converged", "{report}");
    for field in ["residual_n", "load_off_n", "length_off_mm"] {
        let value = report[field].as_f64().unwrap();
        assert!((0.0..1e-5).contains(&value), "{field} {value}");
    }
    assert!(report["factorised_unknowns"].as_u64().unwrap() > 0, "work");

    let outside = settle(&drawn_aside(5e-3));
    assert_eq!(outside.status.code(), Some(3), "{}", told(&outside));
    let report: serde_json::Value = serde_json::from_slice(&outside.stdout).unwrap();
    assert!(report["status"]["OutsideModel"].is_object(), "{report}");

    let mut short = drawn_aside(1e-3);
    short.settings.most_factorised_unknowns = 100;
    let given_up = settle(&short);
    assert_eq!(given_up.status.code(), Some(2), "{}", told(&given_up));
    assert!(
        told(&given_up).contains("100 factorised unknowns"),
        "{}",
        told(&given_up)
    );
}

#[test]
fn property_a_solve_takes_no_more_than_its_bound() {
    use nestline::mechanics::MechanicsError;
    let whole = drawn_aside(1e-3).solve().unwrap().factorised_unknowns;
    for most in [1, whole / 3, whole - 1] {
        let mut posed = drawn_aside(1e-3);
        posed.settings.most_factorised_unknowns = most;
        let why = posed.solve().unwrap_err();
        assert!(
            matches!(why, MechanicsError::OverBound { .. }),
            "{most} of {whole}: {why}"
        );
    }
    let mut posed = drawn_aside(1e-3);
    posed.settings.most_factorised_unknowns = whole;
    assert!(posed.solve().is_ok(), "just enough: {whole}");
}

#[test]
fn exact_which_resultant_is_the_walls() {
    // A rod drawn to the wall at the exit, where it leaves the tube tilted: what is normal to the rod is
    // what the wall answers, across the tube, over the cosine of the tilt.
    let mut posed = drawn_aside(2e-3);
    posed.runs[0].lumen_mm = Some(16.0);
    let found = posed.solve().unwrap();
    let zone = found.contacts.last().unwrap();
    let tilt = found.rods[0].end_angle_deg.to_radians();
    assert!(tilt > 0.1, "tilted by {tilt} rad");
    let off = zone.wall_resultant_n / (zone.resultant_n * tilt.cos()) - 1.0;
    assert!(off.abs() < 1e-6, "{zone:?} at {tilt} rad");
    assert!(
        (zone.sum_of_sizes_n - zone.wall_resultant_n).abs() < 1e-9,
        "{zone:?}"
    );
}

#[test]
fn property_a_flush_zone_is_one_zone_at_any_spacing() {
    // Drawn taut round a bend a rod lies flush on the inner wall. Next to a point force it lifts off by less
    // than half a wave of a beam on the wall's bed, 2.26 mm here, whatever the spacing.
    for spacing_mm in [1.0, 0.2, 0.05] {
        let mut taut = rod(20.0, 1.0, None);
        taut.axial_load_n = 2.0;
        taut.frictionless = false;
        let mut posed = problem(
            vec![
                run(40.0, 0.0, 0.0, 3.0),
                run(30.0, 60.0, 0.0, 3.0),
                run(40.0, 0.0, 0.0, 3.0),
            ],
            vec![taut],
        );
        posed.spacing_mm = spacing_mm;
        posed.wall_stiffness_n_per_mm2 = 300.0;
        let ready = posed.pose().unwrap();
        let found = nestline::mechanics::Settle::default()
            .settle(&ready.scene())
            .unwrap();
        let zones = |lifted_mm: f64| {
            let mut found = found.clone();
            let off = |s_mm: f64| (s_mm - 55.0).abs() < 0.5 * lifted_mm;
            found.contacts.retain(|c| !off(c.station_mm));
            posed.report(&ready, &found).contacts.len()
        };
        let counts = [0.0, 2.0, 6.0].map(zones);
        assert_eq!(counts, [1, 1, 2], "at {spacing_mm} mm");
    }
}

#[test]
fn cli_a_path_is_told_increment_by_increment() {
    use nestline::mechanics::Direction;
    use nestline::mechanics::problem::{ProblemFriction, ProblemLeg, ProblemMove, ProblemPath};
    let mut posed = problem(
        vec![run(40.0, 0.0, 0.0, 2.0), run(40.0, 60.0, 0.0, 2.0)],
        vec![rod(20.0, 1.0, None)],
    );
    posed.friction = vec![ProblemFriction {
        rod: 0,
        against: None,
        coefficient: 0.1,
    }];
    posed.moves = Some(ProblemMove {
        rod: 0,
        direction: Direction::Push,
        held_back_n: 0.2,
    });
    let leg = |feed_mm: f64| ProblemLeg {
        feed_mm,
        hub_push_n: None,
        held_back_n: None,
        line_load_n_per_mm: None,
    };
    posed.path = Some(ProblemPath {
        legs: vec![leg(10.0), leg(-5.0)],
        increment_mm: 5.0,
        stick_mm: 0.01,
    });
    let output = settle(&posed);
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    let report: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let points = report["path"]["points"].as_array().unwrap();
    assert_eq!(points.len(), 4, "start, two pushed, one drawn back");
    let push_n = |i: usize| points[i]["hub_push_n"].as_f64().unwrap();
    assert!(push_n(2) > 0.2 && push_n(3) < 0.2, "{report:#}");

    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("path.ron");
    let body = ron::ser::to_string(&posed).unwrap();
    std::fs::write(&file, format!("Problem{body}")).unwrap();
    for columns in ["60", "100"] {
        let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
            .env("COLUMNS", columns)
            .arg("settle")
            .arg(&file)
            .output()
            .unwrap();
        let text = String::from_utf8_lossy(&output.stdout);
        assert!(text.contains("hub pushes N"), "{text}");
        let most = columns.parse().unwrap();
        let widest = text.lines().map(|line| line.chars().count()).max();
        assert!(widest <= Some(most), "{columns}: {text}");
    }

    // the file's own error, with its place
    if let Some(path) = &mut posed.path {
        path.legs[1].feed_mm = f64::NAN;
    }
    let output = settle(&posed);
    assert_eq!(output.status.code(), Some(2), "{}", told(&output));
    assert!(told(&output).contains("path.legs[1]"), "{}", told(&output));
}
