//! Friction along devices that slide: closed forms, published cases, properties, bare problems.
#![expect(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop where they stand, and count few cells"
)]

use crate::support::rods::{problem, rod, run};
use nestline_physics::geometry::{Frame, Point, Vector};
use nestline_physics::mechanics::problem::{Problem, ProblemFriction, ProblemMove, ProblemStart};
use nestline_physics::mechanics::{
    Containment, Direction, Drive, FrictionOf, LoadSettings, MechanicsError, Moving, Rod, Settings,
    StackDevice, StackProblem, StackSolver, StackState, StartSupport, Status, TubeStation,
};
use rand::{RngExt, SeedableRng};
use std::f64::consts::PI;

/// A tube of straight runs and arcs: (length, turn, roll).
fn tube(runs: &[(f64, f64, f64)], radius_mm: f64, wall: f64, h: f64) -> Vec<TubeStation> {
    let mut frame = Frame::new(Point::origin(), Vector::x(), Vector::y());
    let mut s = 0.0;
    let station = |s_mm, frame| TubeStation {
        s_mm,
        frame,
        radius_mm,
        wall_stiffness_n_per_mm2: wall,
    };
    let mut stations = vec![station(0.0, frame)];
    for (length, turn, roll) in runs {
        let cells = (length / h).round().max(1.0);
        let n = cells as usize;
        let start = frame;
        for i in 1..=n {
            let part = i as f64 / cells;
            frame = start.along_arc(length * part, turn * part, *roll);
            stations.push(station(s + length * part, frame));
        }
        s += length;
    }
    stations
}

fn device(rod: Rod, drive: Drive) -> StackDevice {
    StackDevice::new(rod, drive)
}

fn moving(direction: Direction, tip_resistance_n: f64) -> Option<Moving> {
    Some(Moving {
        device: 0,
        direction,
        tip_resistance_n,
    })
}

fn stack<'a>(
    tube: &'a [TubeStation],
    devices: &'a [StackDevice],
    friction: FrictionOf<'a>,
    moving: Option<Moving>,
) -> StackProblem<'a> {
    let problem = StackProblem::new(tube, devices).with_friction(friction);
    match moving {
        Some(moving) => problem.with_moving(moving),
        None => problem,
    }
}

fn solve(tube: &[TubeStation], rod: Rod, drive: Drive, mu: f64, m: Option<Moving>) -> StackState {
    StackSolver::new(Settings::default(), LoadSettings::default())
        .solve(&stack(tube, &[device(rod, drive)], &|_, _| mu, m), None)
        .unwrap()
}

#[test]
fn exact_capstan_of_a_limp_rod_held_taut_in_a_bend() {
    // T2 = T1 exp(mu theta), the belt equation. The rod is limp: B / R² is 1e-5 of its tension.
    for (mu, theta) in [(0.05, PI), (0.2, PI / 2.0), (0.2, PI), (0.4, 1.5 * PI)] {
        let tube = tube(
            &[
                (20.0, 0.0, 0.0),
                (12.0 * theta, theta, 0.0),
                (20.0, 0.0, 0.0),
            ],
            1.0,
            2000.0,
            0.5,
        );
        let limp = Rod::builder().stiffness_n_mm2(1e-3).outer_mm(0.4);
        let rod = limp.start(StartSupport::Free).build().unwrap();
        let found = solve(&tube, rod, Drive::Through, mu, moving(Direction::Pull, 1.0));
        let load = found.load.unwrap();
        let exact = (mu * theta).exp();
        println!(
            "capstan mu {mu} theta {theta:.3}: {} exact {exact} rounds {} newton {}",
            load.hub_force_n, found.rounds, found.newton_steps
        );
        assert!(
            (load.hub_force_n / exact - 1.0).abs() < 1e-3,
            "{mu} {theta}: {} against {exact}",
            load.hub_force_n
        );
    }
}

#[test]
fn exact_elastic_capstan() {
    // Rod on a rigid drum, outside contact T + M²/(2B) constant, point forces at lift-off (derived from
    // the balance there): (P2 - c) - mu Q2 = exp(mu theta_c) ((P1 - c) + mu Q1), with c = B/(2R²),
    // Q = sqrt(2 P c - c²) and theta_c = phi - beta1 - beta2, cos beta = 1 - c/P. For P1 = 1 N, mu = 0.1,
    // half a turn, R = 5 mm, B = 10 N mm2: P2 = 1.31370 N.
    let (p1, mu, c) = (1.0_f64, 0.1_f64, 10.0_f64 / (2.0 * 25.0));
    let shear = |p: f64| (2.0 * p * c - c * c).sqrt();
    let lift_off = |p: f64| (1.0 - c / p).acos();
    let mut exact = 1.3_f64;
    for _ in 0..100 {
        let turn = PI - lift_off(p1) - lift_off(exact);
        exact = c + mu * shear(exact) + (mu * turn).exp() * (p1 - c + mu * shear(p1));
    }
    assert!((exact - 1.31370).abs() < 5e-6, "closed form {exact}");
    for (spacing_mm, within) in [(1.0, 2e-4), (0.5, 2e-5), (0.25, 1e-5)] {
        let mut posed = string_problem(10.0, 1.0, 7.0, [40.0, 8.0 * PI], spacing_mm, 5000.0);
        posed.friction[0].coefficient = mu;
        let report = posed.solve().unwrap();
        assert_eq!(report.status, Status::Converged, "at {spacing_mm} mm");
        let found = report.friction.unwrap().hub_force_n;
        let off = (found / exact - 1.0).abs();
        assert!(
            off < within,
            "at {spacing_mm} mm: {found} N against {exact} N, {off:.1e}"
        );
    }
}

/// A rod pulled with 1 N at its far end round half a turn, as the file format poses it.
fn string_problem(
    stiffness_n_mm2: f64,
    outer_mm: f64,
    lumen_mm: f64,
    [straight_mm, arc_mm]: [f64; 2],
    spacing_mm: f64,
    wall_stiffness_n_per_mm2: f64,
) -> Problem {
    Problem {
        start: ProblemStart::Free,
        spacing_mm,
        wall_stiffness_n_per_mm2,
        friction: vec![ProblemFriction {
            rod: 0,
            against: None,
            coefficient: 0.2,
        }],
        moves: Some(ProblemMove {
            rod: 0,
            direction: Direction::Pull,
            held_back_n: 1.0,
        }),
        ..problem(
            vec![
                run(straight_mm, 0.0, 0.0, lumen_mm),
                run(arc_mm, 180.0, 0.0, lumen_mm),
                run(straight_mm, 0.0, 0.0, lumen_mm),
            ],
            vec![rod(stiffness_n_mm2, outer_mm, None)],
        )
    }
}

#[test]
fn exact_soft_string_meets_the_capstan_law_to_a_millionth() {
    // exp(mu theta) = 1.8744560875 for mu = 0.2 and half a turn; of second order in the angle of a cell
    let exact = (0.2 * PI).exp();
    let off = |stiffness: f64, spacing_mm: f64, wall: f64| {
        let posed = string_problem(stiffness, 0.4, 2.0, [10.0, 12.0 * PI], spacing_mm, wall);
        let report = posed.solve().unwrap();
        assert_eq!(report.status, Status::Converged, "at {spacing_mm} mm");
        (report.friction.unwrap().hub_force_n / exact - 1.0).abs()
    };
    let (coarse, fine) = (off(1e-4, 0.25, 2e4), off(1e-5, 0.125, 2e4));
    assert!(fine < 1e-6, "{fine:.2e} at 0.125 mm");
    let order = (coarse / fine).log2();
    assert!(
        order > 1.6,
        "{coarse:.2e}, then {fine:.2e}: order {order:.2}"
    );
}

#[test]
fn exact_friction_between_rods_is_that_of_their_pair() {
    // An inner rod pulled through an outer one that is held, both round half a turn: only the pair rubs
    // on it, and the outer one feels just that.
    let mut posed = string_problem(0.01, 0.4, 4.0, [10.0, 12.0 * PI], 0.5, 1e3);
    posed.rods.insert(0, rod(400.0, 2.0, Some(1.0)));
    posed.moves = Some(ProblemMove {
        rod: 1,
        direction: Direction::Pull,
        held_back_n: 1.0,
    });
    let with = |friction: &[(usize, Option<usize>, f64)]| {
        let mut posed = posed.clone();
        posed.friction = friction
            .iter()
            .map(|(rod, against, coefficient)| ProblemFriction {
                rod: *rod,
                against: *against,
                coefficient: *coefficient,
            })
            .collect();
        posed.solve().unwrap().friction.unwrap()
    };
    let bare = with(&[]);
    assert!((bare.hub_force_n - 1.0).abs() < 1e-5, "{bare:?}");
    let wall = with(&[(0, None, 0.2)]);
    assert!(
        (wall.hub_force_n - 1.0).abs() < 1e-5,
        "it does not slide: {wall:?}"
    );
    for pair in [(1, Some(0), 0.2), (0, Some(1), 0.2)] {
        let found = with(&[pair]);
        let off = found.hub_force_n / (0.2 * PI).exp() - 1.0;
        assert!(off.abs() < 0.01, "{pair:?}: {found:?}");
        let drag = found.held[0].drag_n.abs();
        assert!((drag - found.friction_n).abs() < 1e-9, "{found:?}");
    }
}

#[test]
fn exact_friction_that_does_nothing_is_refused() {
    let posed = string_problem(10.0, 1.0, 7.0, [40.0, 8.0 * PI], 1.0, 100.0);
    let refused = |change: &dyn Fn(&mut Problem), what: &str| {
        let mut posed = posed.clone();
        change(&mut posed);
        let why = posed.pose().unwrap_err().to_string();
        assert!(why.starts_with(what), "{why}");
    };
    refused(&|p| p.moves = None, "friction");
    refused(
        &|p| p.friction[0].coefficient = -0.1,
        "friction[0].coefficient",
    );
    refused(&|p| p.friction[0].rod = 1, "friction[0].rod");
    refused(&|p| p.friction[0].against = Some(0), "friction[0].against");
    refused(
        &|p| p.friction.push(p.friction[0]),
        "friction[1].coefficient",
    );
    refused(&|p| p.rods[0].axial_load_n = 1.0, "rods[0].axial_load_n");
    refused(
        &|p| {
            if let Some(moves) = &mut p.moves {
                moves.held_back_n = -1.0;
            }
        },
        "moves.held_back_n",
    );
}

#[test]
fn exact_a_rod_that_friction_holds_locks_up() {
    let mut posed = string_problem(10.0, 1.0, 7.0, [40.0, 8.0 * PI], 1.0, 100.0);
    posed.friction[0].coefficient = 2.0;
    posed.moves = Some(ProblemMove {
        rod: 0,
        direction: Direction::Pull,
        held_back_n: 1.0,
    });
    let why = posed.solve().unwrap_err();
    assert!(
        matches!(why, MechanicsError::LockedUp { rod: 0, .. }),
        "{why}"
    );
}

#[test]
fn exact_a_number_that_is_not_finite_is_no_lock_up() {
    let tube = tube(&[(20.0, 0.0, 0.0), (30.0, 1.5, 0.0)], 1.0, 10.0, 1.0);
    for friction in [f64::NAN, f64::INFINITY] {
        let rod = device(Rod::uniform(20.0, 0.6), Drive::Through);
        let held = device(Rod::uniform(5.0, 0.4), Drive::Tip(40.0));
        let found = StackSolver::new(Settings::default(), LoadSettings::default()).solve(
            &stack(
                &tube,
                &[rod, held],
                &|_, _| friction,
                moving(Direction::Push, 1.0),
            ),
            None,
        );
        let why = found.unwrap_err();
        assert!(
            matches!(why, MechanicsError::NonFinite { .. }),
            "friction {friction}: {why}"
        );
    }
}

#[test]
fn exact_force_to_feed_into_a_frictionless_bend() {
    // B/(2R²) = 20/(2·20²) = 0.025 N
    for h in [2.0, 1.0, 0.5] {
        let tube = tube(&[(60.0, 0.0, 0.0), (60.0, 3.0, 0.0)], 1.0, 10.0, h);
        let mut last: Option<(f64, f64, f64)> = None;
        for tip in [89.0, 89.3, 89.6, 89.8, 90.0] {
            let found = solve(
                &tube,
                Rod::uniform(20.0, 0.6),
                Drive::Tip(tip),
                0.0,
                moving(Direction::Push, 0.0),
            );
            let load = found.load.clone().unwrap();
            let s = found.solution.as_ref().unwrap();
            let e = s.bending_energy_n_mm() + s.contact_energy_n_mm;
            let l = found.devices[0].inserted_mm;
            if let Some((e0, l0, f0)) = last {
                println!(
                    "h {h} tip {tip}: hub {} mean {} dE/dL {} rounds {} newton {}",
                    load.hub_force_n,
                    0.5 * (f0 + load.hub_force_n),
                    (e - e0) / (l - l0),
                    found.rounds,
                    found.newton_steps
                );
            }
            last = Some((e, l, load.hub_force_n));
        }
    }
}

#[test]
fn property_what_presses_on_tips_goes_on_as_they_pass_stations() {
    // long cells in a bend: a node that comes or goes behind a tip turns the last edge by degrees
    const CELL_MM: f64 = 4.0;
    const NEAR_MM: f64 = 1e-5;
    let tube = tube(&[(80.0, 0.0, 0.0), (80.0, 2.0, 0.0)], 2.0, 10.0, CELL_MM);
    let catheter = Rod::builder().stiffness_n_mm2(100.0).outer_mm(2.0);
    let catheter = catheter.inner_mm(1.0).build().unwrap();
    let wire = Rod::uniform(20.0, 0.6);
    let inside = [Containment::coaxial(1, 0)];
    let tips = |ends_mm: [f64; 2]| {
        let devices = [
            device(catheter.clone(), Drive::Tip(ends_mm[0])),
            device(wire.clone(), Drive::Tip(ends_mm[1])),
        ];
        let problem = StackProblem::new(&tube, &devices).with_containments(&inside);
        let found = StackSolver::new(Settings::default(), LoadSettings::default())
            .solve(&problem, None)
            .unwrap();
        [0, 1].map(|k| found.devices[k].tip_load_n)
    };
    let mut largest_n = 0.0_f64;
    // where a node behind the tip begins to count, where it counts fully, and on a station
    for part in [0.45, 0.65, 1.0] {
        let at_mm = 112.0 + part * CELL_MM;
        for (ends_mm, moved) in [([at_mm, 150.0], 0), ([100.0, at_mm], 1)] {
            let near = |by_mm: f64| {
                let mut ends_mm = ends_mm;
                ends_mm[moved] += by_mm;
                tips(ends_mm)
            };
            let (before, after) = (near(-NEAR_MM), near(NEAR_MM));
            for (before_n, after_n) in before.into_iter().zip(after) {
                largest_n = largest_n.max(before_n.abs());
                let jump_n = (after_n - before_n).abs();
                assert!(jump_n < 2e-5, "{ends_mm:?}: {before_n} N, then {after_n} N");
            }
        }
    }
    assert!(largest_n > 0.02, "walls press on tips: {largest_n} N");
}

/// A wire in a catheter round an arch, the wire pushed, lumen and stiffness times `factor`.
fn followed_up(factor: f64, from: Option<&StackState>, ends_mm: [f64; 2]) -> StackState {
    let mut tube = tube(
        &[
            (120.0, 0.0, 0.0),
            (90.0, 2.0, 0.3),
            (60.0, 0.0, 0.0),
            (40.0, 1.2, 2.4),
            (60.0, 0.0, 0.0),
        ],
        6.0,
        10.0,
        3.0,
    );
    for station in &mut tube {
        station.radius_mm *= factor;
    }
    let rod = |stiffness_n_mm2: f64, outer_mm: f64| {
        let rod = Rod::builder().stiffness_n_mm2(stiffness_n_mm2 * factor);
        rod.outer_mm(outer_mm)
    };
    let catheter = rod(150.0, 1.8).inner_mm(1.2).start(StartSupport::Clamped);
    let wire = rod(25.0, 0.36).start(StartSupport::Free);
    let devices = [
        device(catheter.build().unwrap(), Drive::Tip(ends_mm[0])),
        device(wire.build().unwrap(), Drive::Tip(ends_mm[1])),
    ];
    let inside = [Containment::coaxial(1, 0)];
    let problem = StackProblem::new(&tube, &devices)
        .with_containments(&inside)
        .with_friction(&|_, _| 0.1)
        .with_moving(Moving::pushed(1).held_back_by_n(0.05));
    let mut settings = LoadSettings::rehearsal();
    settings.follows_up = true;
    StackSolver::new(Settings::default(), settings)
        .solve(&problem, from)
        .unwrap()
}

/// Largest difference of lengths, mm, and of hub loads, N.
fn apart(a: &StackState, b: &StackState) -> (f64, f64) {
    let pairs = || a.devices.iter().zip(&b.devices);
    let length_mm = pairs().map(|(a, b)| (a.inserted_mm - b.inserted_mm).abs());
    let load_n = pairs().map(|(a, b)| (a.hub_load_n - b.hub_load_n).abs());
    (length_mm.fold(0.0, f64::max), load_n.fold(0.0, f64::max))
}

#[test]
fn property_a_stack_followed_up_depends_on_its_inputs_alone() {
    let ends_mm = [180.0, 330.0];
    let base = followed_up(1.0, None, ends_mm);
    let hub_n = base.load.as_ref().unwrap().hub_force_n;
    assert!(hub_n > 0.06, "friction and resistance are there: {hub_n} N");
    assert!(
        base.solution.as_ref().unwrap().flags.is_empty(),
        "loads and shape agree: {:?}",
        base.solution.as_ref().unwrap().flags
    );
    for by in [-1e-10, 1e-10] {
        let (length_mm, load_n) = apart(&base, &followed_up(1.0 + by, None, ends_mm));
        assert!(
            length_mm < 1e-3 && load_n < 1e-3,
            "{by:e}: {length_mm:e} mm, {load_n:e} N"
        );
    }
    // whatever it lay in before
    let mut anywhere = rand_chacha::ChaCha8Rng::seed_from_u64(7);
    let mut others_mm = vec![[180.0, 240.0], [150.0, 360.0]];
    others_mm.extend((0..6).map(|_| {
        let catheter_mm = anywhere.random_range(100.0..250.0);
        [
            catheter_mm,
            catheter_mm + anywhere.random_range(20.0..100.0),
        ]
    }));
    for other_mm in others_mm {
        let before = followed_up(1.0, None, other_mm);
        let found = followed_up(1.0, Some(&before), ends_mm);
        let (length_mm, load_n) = apart(&base, &found);
        assert!(
            length_mm < 1e-3 && load_n < 1e-3,
            "from {other_mm:?}: {length_mm:e} mm, {load_n:e} N"
        );
    }
}

#[test]
fn exact_capstan_round_a_full_turn() {
    // T2 = T1 exp(mu theta): R 40 mm, 2 pi, mu 0.1. What is pulled with 0.5 N at its far end needs 0.937228 N, and
    // what needs 0.5 N is held by 0.266744 N: there the far end begins to follow a hand that gives way.
    let pulled_n = |far_n: f64| {
        let mut posed = string_problem(1e-4, 0.4, 2.0, [10.0, 80.0 * PI], 1.0, 2e4);
        posed.runs[1].turn_deg = 360.0;
        posed.friction[0].coefficient = 0.1;
        posed.moves = Some(ProblemMove {
            rod: 0,
            direction: Direction::Pull,
            held_back_n: far_n,
        });
        let report = posed.solve().unwrap();
        assert_eq!(report.status, Status::Converged, "held by {far_n} N");
        report.friction.unwrap().hub_force_n
    };
    for (far_n, exact_n) in [(0.5, 0.937228), (0.266744, 0.5)] {
        let found_n = pulled_n(far_n);
        println!("full turn, {far_n} N: {found_n:.6} N");
        assert!(
            (found_n / exact_n - 1.0).abs() < 2e-5,
            "{far_n} N: {found_n} against {exact_n}"
        );
    }
}

/// Hub force, N, and path, mm, of a rod pushed along a path of two bends by so much thrust; with which axes are
/// held where they lie without loads, N/mm.
fn pushed_path(thrusts_n: &[f64], held_n_per_mm: f64) -> Vec<[f64; 2]> {
    const WIDE_MM: f64 = 4.5;
    let (turn, arc_mm) = (PI / 3.0, 40.0 * PI / 3.0);
    let runs = [
        (60.0, 0.0, 0.0),
        (arc_mm, turn, 0.0),
        (40.0, 0.0, 0.0),
        (arc_mm, turn, 250.0_f64.to_radians()),
        (60.0, 0.0, 0.0),
    ];
    let mut tube = tube(&runs, WIDE_MM, 10.0, 3.0);
    // the far end is pinned on the axis
    if let Some(last) = tube.last_mut() {
        last.radius_mm = 0.51;
    }
    let settings = LoadSettings::with(|s| {
        *s = LoadSettings::rehearsal();
        s.proximal_n_per_mm = held_n_per_mm;
    });
    let mut solver = StackSolver::new(Settings::default(), settings.unwrap());
    let mut before: Option<StackState> = None;
    let mut all = Vec::new();
    for thrust_n in thrusts_n {
        let rod = Rod::builder().stiffness_n_mm2(38.0).outer_mm(1.0);
        let rod = rod.start(StartSupport::Pinned).build().unwrap();
        let devices = [device(rod, Drive::Through)];
        let moving = moving(Direction::Push, *thrust_n);
        let found = solver
            .solve(
                &stack(&tube, &devices, &|_, _| 0.05, moving),
                before.as_ref(),
            )
            .unwrap();
        let hub_n = found.load.as_ref().unwrap().hub_force_n;
        all.push([hub_n, found.devices[0].inserted_mm]);
        before = Some(found);
    }
    all
}

#[test]
fn reference_a_rod_pushed_to_rest_is_near_one_followed_along_its_path() {
    // Followed with drag and memory of its contacts by a program of its own: 10 and 20 mm of feed while thrust rises to
    // 0.7 N at 30 mm, then held for 10 mm. Here friction acts along the rod only and nothing drags across it: every
    // state has come to rest under its thrust, and the bounds are what that costs. At 30 mm the rod followed is on its way
    // (0.9015 N, 263.68 mm), and rest lies beyond.
    const HELD_N_PER_MM: f64 = 2e-5;
    let thrusts_n: Vec<f64> = (0..=30)
        .map(|i| 0.05 + 0.65 * f64::from(i) / 30.0)
        .collect();
    let found = pushed_path(&thrusts_n, HELD_N_PER_MM);
    for (feed, followed_n, followed_mm) in [
        (10, 0.3062, 255.00),
        (20, 0.5826, 258.78),
        (30, 0.9342, 265.06),
    ] {
        let [hub_n, path_mm] = found[feed];
        println!("{hub_n:.4} against {followed_n} N, {path_mm:.2} against {followed_mm} mm");
        assert!(
            (hub_n / followed_n - 1.0).abs() < 0.025,
            "{hub_n} against {followed_n} N"
        );
        assert!(
            (path_mm - followed_mm).abs() < 1.1,
            "{path_mm} against {followed_mm} mm"
        );
    }
    assert!(
        found[30][0] > 0.9015 && found[30][1] > 263.68,
        "{:?}",
        found[30]
    );
}
