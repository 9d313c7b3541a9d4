//! Rods followed along their paths, friction holding them where they were: against closed forms and another program.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use crate::support::rods::{problem, rod, run};
use nestline_physics::mechanics::problem::{
    PathPoint, PathReport, Problem, ProblemEnd, ProblemFriction, ProblemLeg, ProblemMove,
    ProblemPath, ProblemStart,
};
use nestline_physics::mechanics::{Direction, Status};
use std::f64::consts::PI;

fn leg(feed_mm: f64) -> ProblemLeg {
    ProblemLeg {
        feed_mm,
        hub_push_n: None,
        held_back_n: None,
        line_load_n_per_mm: None,
    }
}

/// The problem with its first rod fed along these legs.
fn fed(
    mut posed: Problem,
    coefficient: f64,
    held_back_n: f64,
    increment_mm: f64,
    legs: Vec<ProblemLeg>,
) -> Problem {
    posed.friction = vec![ProblemFriction {
        rod: 0,
        against: None,
        coefficient,
    }];
    posed.moves = Some(ProblemMove {
        rod: 0,
        direction: Direction::Push,
        held_back_n,
    });
    posed.path = Some(ProblemPath {
        legs,
        increment_mm,
        stick_mm: 0.01,
    });
    posed
}

fn went(posed: &Problem) -> PathReport {
    let report = posed.solve().unwrap();
    assert_eq!(report.status, Status::Converged, "all of it agrees");
    report.path.unwrap()
}

/// Where a path was after so much feed in all.
fn at(report: &PathReport, fed_mm: f64) -> &PathPoint {
    let mut points = report.points.iter();
    points.find(|p| (p.fed_mm - fed_mm).abs() < 1e-6).unwrap()
}

/// A rod through two bends in two planes, pinned on the axis at both ends, pushed over 30 mm of feed against a force
/// that rises from 0.05 to 0.7 N, and then over 10 mm more.
fn two_bends(increment_mm: f64, spacing_mm: f64) -> Problem {
    let arc_mm = 40.0 * PI / 3.0;
    let mut shaft = rod(38.0, 1.0, None);
    shaft.end = ProblemEnd::ExitOnAxis;
    let mut posed = problem(
        vec![
            run(60.0, 0.0, 0.0, 9.0),
            run(arc_mm, 60.0, 0.0, 9.0),
            run(40.0, 0.0, 0.0, 9.0),
            run(arc_mm, 60.0, 250.0, 9.0),
            run(60.0, 0.0, 0.0, 9.0),
        ],
        vec![shaft],
    );
    posed.start = ProblemStart::Pinned;
    posed.spacing_mm = spacing_mm;
    let rising = ProblemLeg {
        held_back_n: Some(0.7),
        ..leg(30.0)
    };
    fed(posed, 0.05, 0.05, increment_mm, vec![rising, leg(10.0)])
}

#[test]
fn reference_a_rod_followed_through_two_bends() {
    // by a program of its own, with memory and drag of contacts in space: clearance 4 mm, B 38, wall 10 N/mm2, mu 0.05
    let report = went(&two_bends(2.5, 1.5));
    for (fed_mm, push_n, path_mm) in [
        (10.0, 0.3062, 255.00),
        (20.0, 0.5826, 258.78),
        (30.0, 0.9015, 263.68),
        (40.0, 0.9342, 265.06),
    ] {
        let found = at(&report, fed_mm);
        println!(
            "{fed_mm} mm: {:.4} against {push_n} N, {:.2} against {path_mm} mm",
            found.hub_push_n, found.path_length_mm
        );
        assert!(
            (found.hub_push_n / push_n - 1.0).abs() < 0.005,
            "{found:?} against {push_n} N"
        );
        assert!(
            (found.path_length_mm - path_mm).abs() < 0.1,
            "{found:?} against {path_mm} mm"
        );
    }
}

#[test]
fn property_work_is_stored_or_goes_into_friction() {
    for (increment_mm, off) in [(2.5, 0.01), (0.625, 0.0005)] {
        let report = went(&two_bends(increment_mm, 3.0));
        let last = report.points.last().unwrap();
        assert!(last.dissipated_n_mm > 0.2 * last.work_n_mm, "{last:?}");
        let balance = (last.stored_n_mm + last.dissipated_n_mm) / last.work_n_mm;
        println!("increments of {increment_mm} mm: {balance:.6}");
        assert!((balance - 1.0).abs() < off, "{increment_mm} mm: {last:?}");
    }
}

#[test]
fn property_increments_and_cells_change_little() {
    let usual = went(&two_bends(5.0, 1.5));
    for (increment_mm, spacing_mm) in [(2.5, 1.5), (5.0, 1.35), (5.0, 1.65)] {
        let other = went(&two_bends(increment_mm, spacing_mm));
        for fed_mm in [10.0, 20.0, 30.0, 40.0] {
            let (a, b) = (at(&usual, fed_mm), at(&other, fed_mm));
            let off_mm = (a.path_length_mm - b.path_length_mm).abs();
            let off = (a.hub_push_n / b.hub_push_n - 1.0).abs();
            println!(
                "{increment_mm}, {spacing_mm} mm: {off_mm:.3} mm, {:.2} %",
                100.0 * off
            );
            assert!(off_mm < 0.3 && off < 0.03, "{a:?} against {b:?}");
        }
    }
}

#[test]
fn property_rounding_moves_no_path() {
    let usual = went(&two_bends(5.0, 3.0));
    for by in [-1e-10, 1e-10] {
        let mut posed = two_bends(5.0, 3.0);
        for run in &mut posed.runs {
            run.lumen_mm = run.lumen_mm.map(|lumen_mm| lumen_mm * (1.0 + by));
        }
        // without load the rod lies in a flat valley, which is found to hundredths; pushed it knows its place
        let pushed = |p: &&PathPoint| p.fed_mm > 9.0;
        let other = went(&posed);
        let pairs = usual.points.iter().zip(&other.points);
        for (a, b) in pairs.filter(|(a, _)| pushed(a)) {
            let off_mm = (a.path_length_mm - b.path_length_mm).abs();
            let off_n = (a.hub_push_n - b.hub_push_n).abs();
            assert!(off_mm < 1e-3 && off_n < 1e-3, "{by:e}: {a:?}, {b:?}");
        }
    }
}

/// A problem with one of its inputs times a factor.
type Change = fn(&mut Problem, f64);

#[test]
fn property_paths_go_on_smoothly_with_their_inputs() {
    // friction and lumen in 41 steps of half a per cent: what is told of the end has no jump
    let swept = |change: Change| {
        let ends: Vec<[f64; 2]> = (-20..=20)
            .map(|step| {
                let mut posed = two_bends(5.0, 3.0);
                change(&mut posed, 1.0 + 0.005 * f64::from(step));
                let report = went(&posed);
                let end = report.points.last().unwrap();
                [end.hub_push_n, end.path_length_mm]
            })
            .collect();
        [0, 1].map(|i| {
            let bends = ends
                .windows(3)
                .map(|e| (e[2][i] - 2.0 * e[1][i] + e[0][i]).abs());
            let range = (ends[40][i] - ends[0][i]).abs();
            (bends.fold(0.0, f64::max), range)
        })
    };
    let sweeps: [(&str, Change); 2] = [
        ("friction", |posed, by| posed.friction[0].coefficient *= by),
        ("lumen", |posed, by| {
            for run in &mut posed.runs {
                run.lumen_mm = run.lumen_mm.map(|lumen_mm| lumen_mm * by);
            }
        }),
    ];
    for (what, change) in sweeps {
        let [(bend_n, range_n), (bend_mm, range_mm)] = swept(change);
        println!("{what}: {range_n:.4} N by {bend_n:.1e}, {range_mm:.3} mm by {bend_mm:.1e}");
        assert!(range_n > 1e-3, "{what} changes the force: {range_n} N");
        assert!(
            bend_n < 0.002 && bend_mm < 0.1,
            "{what}: {bend_n} N, {bend_mm} mm"
        );
    }
}

#[test]
fn property_starts_under_light_thrust_merge() {
    // drawn aside to five sides at the start, and let go on the first 10 mm
    let mut ends = Vec::new();
    for turn in 0..5 {
        let (sine, cosine) = (0.4 * PI * f64::from(turn)).sin_cos();
        let mut posed = two_bends(2.5, 2.0);
        posed.line_load_n_per_mm = [0.0, 2e-5 * cosine, 2e-5 * sine];
        if let Some(path) = &mut posed.path {
            let let_go = ProblemLeg {
                line_load_n_per_mm: Some([0.0; 3]),
                ..leg(10.0)
            };
            path.legs.insert(0, let_go);
        }
        let report = went(&posed);
        let (start, end) = (&report.points[0], report.points.last().unwrap());
        println!(
            "{:.3} mm, then {:.4} mm, {:.5} N",
            start.path_length_mm, end.path_length_mm, end.hub_push_n
        );
        ends.push((start.path_length_mm, end.path_length_mm, end.hub_push_n));
    }
    let spread = |of: fn(&(f64, f64, f64)) -> f64| {
        let all = || ends.iter().map(of);
        all().fold(f64::MIN, f64::max) - all().fold(f64::MAX, f64::min)
    };
    assert!(spread(|e| e.0) > 0.05, "they begin apart: {ends:?}");
    assert!(spread(|e| e.1) < 0.05 && spread(|e| e.2) < 1e-3, "{ends:?}");
}

#[test]
fn property_a_pull_after_much_thrust_comes_to_agree() {
    let mut posed = two_bends(2.5, 1.5);
    if let Some(path) = &mut posed.path {
        path.legs.push(leg(-10.0));
    }
    let report = went(&posed);
    let points = &report.points[report.points.len() - 5..];
    for p in points {
        println!("{p:?}");
    }
    let (pushed, pulled) = (&points[0], &points[4]);
    assert!(pulled.hub_push_n < 0.6, "{pulled:?} after {pushed:?}");
}

#[test]
fn property_a_pull_goes_back_another_way() {
    let mut posed = two_bends(2.5, 2.0);
    if let Some(path) = &mut posed.path {
        path.legs = vec![
            ProblemLeg {
                held_back_n: Some(0.4),
                ..leg(20.0)
            },
            leg(-10.0),
            leg(10.0),
        ];
    }
    let report = went(&posed);
    let end_of = |leg: usize| report.points.iter().rfind(|p| p.leg == leg).unwrap();
    let (pushed, pulled, again) = (end_of(1), end_of(2), end_of(3));
    println!("{pushed:?} {pulled:?} {again:?}");
    // friction helps to hold what pushes back, and is met again by the next push
    assert!(pushed.hub_push_n > 0.45, "{pushed:?}");
    assert!(pulled.hub_push_n < 0.4 * 0.95, "{pulled:?}");
    assert!(
        (again.hub_push_n / pushed.hub_push_n - 1.0).abs() < 0.1,
        "{again:?} after {pushed:?}"
    );
    assert!(again.dissipated_n_mm > pulled.dissipated_n_mm, "{again:?}");
    assert!(
        pulled.dissipated_n_mm > pushed.dissipated_n_mm,
        "{pulled:?}"
    );
}

/// A wire in a wide straight tube, 10 mm off its axis, of the weight `w`, and that weight as it acts in a tube that is
/// rolled.
fn wire_on_the_wall(w: f64) -> (Problem, impl Fn(f64) -> [f64; 3]) {
    let weight = move |rad: f64| [0.0, w * rad.sin(), -w * rad.cos()];
    let mut posed = problem(vec![run(100.0, 0.0, 0.0, 20.5)], vec![rod(5.0, 0.5, None)]);
    posed.start = ProblemStart::Free;
    posed.spacing_mm = 2.0;
    posed.line_load_n_per_mm = weight(0.25);
    (posed, weight)
}

#[test]
fn exact_a_wire_slides_down_the_wall_as_it_is_fed() {
    // one vector of friction: dphi/dL = -tan(a)/R with sin(a) = tan(phi)/mu, so that from 0.25 to 0.05 rad off the bottom
    // it takes 4.2275 mm of feed, and friction along is sqrt(mu² - tan²(phi)) w cos(phi): 0.5249 and 0.9860 of mu w cos(phi)
    const W: f64 = 1e-3;
    const MU: f64 = 0.3;
    let (posed, weight) = wire_on_the_wall(W);
    let upright = ProblemLeg {
        line_load_n_per_mm: Some(weight(0.0)),
        ..leg(0.0)
    };
    let angle = |p: &PathPoint| p.middle_offset_mm[0].atan2(-p.middle_offset_mm[1]);
    let along = |p: &PathPoint| p.hub_push_n / (MU * W * 100.0 * angle(p).cos());
    let slid = |increment_mm: f64| {
        let mut posed = fed(
            posed.clone(),
            MU,
            0.0,
            increment_mm,
            vec![upright, leg(4.2275)],
        );
        if let Some(path) = &mut posed.path {
            path.stick_mm = 1e-4;
        }
        went(&posed)
    };
    let (coarse, fine) = (slid(0.05), slid(0.025));
    let held = &fine.points[1];
    assert!((angle(held) - 0.25).abs() < 1e-4, "held it stays: {held:?}");
    let last = |report: &PathReport| *report.points.last().unwrap();
    // of first order in the increment
    let (off, half) = (angle(&last(&coarse)) - 0.05, angle(&last(&fine)) - 0.05);
    println!("{off:.6}, then {half:.6} rad off 0.05");
    assert!((off / half - 2.0).abs() < 0.1, "{off} and {half} rad");
    assert!((2.0 * half - off).abs() < 2e-5, "{off} and {half} rad");
    // at the end of the first increment and of the last
    let by_theory = |phi: f64| (MU * MU - phi.tan() * phi.tan()).sqrt() / MU;
    for p in [&fine.points[2], &last(&fine)] {
        let (found, exact) = (along(p), by_theory(angle(p)));
        println!("{:.4} rad: {found:.4} against {exact:.4}", angle(p));
        assert!((found - exact).abs() < 0.01, "{found} against {exact}");
    }
    assert!((by_theory(0.25) - 0.5249).abs() < 1e-4, "the table's start");
    assert!((by_theory(0.05) - 0.9860).abs() < 1e-4, "the table's end");
}

#[test]
fn exact_an_elastic_string_goes_back_round_a_full_turn() {
    // R 40 mm, 2 pi, mu 0.1, EA 500 N, 0.5 N at the far end: pulled it takes 0.937228 N; a hub that is lowered to T goes back
    // by R/(mu EA) (T2 + T - 2 sqrt(T2 T)), and the far end follows at 0.266744 N, after 0.163178 mm
    const STRAIGHT_MM: f64 = 5.0;
    let mut string = rod(1e-4, 0.4, None);
    string.axial_stiffness_n = Some(500.0);
    let mut posed = problem(
        vec![
            run(STRAIGHT_MM, 0.0, 0.0, 0.402),
            run(80.0 * PI, 360.0, 0.0, 0.402),
            run(STRAIGHT_MM, 0.0, 0.0, 0.402),
        ],
        vec![string],
    );
    posed.start = ProblemStart::Free;
    posed.wall_stiffness_n_per_mm2 = 2e4;
    let pulls = |hub_n: f64| ProblemLeg {
        hub_push_n: Some(-hub_n),
        ..leg(0.0)
    };
    let mut legs = vec![leg(-1.0)];
    legs.extend([0.8, 0.6, 0.4, 0.26675].map(pulls));
    legs.push(leg(0.05));
    let mut posed = fed(posed, 0.1, -0.5, 0.02, legs);
    if let Some(path) = &mut posed.path {
        path.stick_mm = 1e-6;
    }
    let report = went(&posed);
    let end_of = |leg: usize| *report.points.iter().rfind(|p| p.leg == leg).unwrap();
    let full = end_of(1);
    println!("pulled by {:.6} N", -full.hub_push_n);
    assert!((full.hub_push_n / -0.937228 - 1.0).abs() < 1e-5, "{full:?}");
    // the straight piece before the turn stretches by itself
    let back_mm = |p: &PathPoint| {
        p.fed_mm - full.fed_mm - STRAIGHT_MM * (p.hub_push_n - full.hub_push_n) / 500.0
    };
    for (leg, hub_n, exact_mm) in [
        (2, 0.8, 0.004343),
        (3, 0.6, 0.029956),
        (4, 0.4, 0.090129),
        (5, 0.26675, 0.163178),
    ] {
        let found = end_of(leg);
        println!("{hub_n} N: {:.6} against {exact_mm} mm", back_mm(&found));
        assert!((found.hub_push_n + hub_n).abs() < 1e-6, "{found:?}");
        assert!((back_mm(&found) - exact_mm).abs() < 4e-6, "{found:?}");
        let moved_mm = (found.end_fed_mm - full.end_fed_mm).abs();
        assert!(moved_mm < 1e-5, "the far end stays: {found:?}");
    }
    let last = end_of(6);
    assert!((last.hub_push_n + 0.266744).abs() < 1e-5, "{last:?}");
    assert!(last.end_fed_mm > end_of(5).end_fed_mm + 0.049, "{last:?}");
    let balance = (full.stored_n_mm + full.dissipated_n_mm) / full.work_n_mm;
    println!("work of the pull: {balance:.5}");
    assert!((balance - 1.0).abs() < 0.01, "{full:?}");
}

#[test]
fn property_paths_that_cannot_be_are_refused() {
    let refused = |change: &dyn Fn(&mut Problem)| {
        let mut posed = two_bends(5.0, 3.0);
        change(&mut posed);
        posed.solve().unwrap_err().to_string()
    };
    let with = |change: fn(&mut ProblemPath)| {
        move |posed: &mut Problem| {
            if let Some(path) = &mut posed.path {
                change(path);
            }
        }
    };
    for (change, named) in [
        (with(|p| p.increment_mm = 0.0), "path.increment_mm"),
        (with(|p| p.stick_mm = f64::NAN), "path.stick_mm"),
        (with(|p| p.legs.clear()), "path.legs"),
        (with(|p| p.legs[1].feed_mm = 1e9), "path.legs[1].feed_mm"),
        (
            with(|p| p.legs[0].hub_push_n = Some(0.1)),
            "path.legs[0].feed_mm",
        ),
        (
            with(|p| p.legs[0].held_back_n = Some(f64::NAN)),
            "path.legs[0]",
        ),
        (
            with(|p| {
                p.legs[0] = ProblemLeg {
                    hub_push_n: Some(0.1),
                    ..leg(0.0)
                };
            }),
            "axial_stiffness_n",
        ),
    ] {
        let told = refused(&change);
        assert!(told.contains(named), "{named}: {told}");
    }
    let told = refused(&|posed| posed.moves = None);
    assert!(told.contains("path"), "{told}");
    let told = refused(&|posed| posed.rods[0].axial_stiffness_n = Some(0.0));
    assert!(told.contains("rods[0].axial_stiffness_n"), "{told}");
    let told = refused(&|posed| {
        posed.path = None;
        posed.rods[0].axial_stiffness_n = Some(500.0);
    });
    assert!(told.contains("rods[0].axial_stiffness_n"), "{told}");
}
