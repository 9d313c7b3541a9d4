//! Friction along devices that slide: closed forms, published cases, properties.
#![expect(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop where they stand, and count few cells"
)]

use nestline::geometry::{Frame, Point, Vector};
use nestline::mechanics::{
    Direction, Drive, LoadSettings, MechanicsError, Moving, Rod, Settings, StackDevice,
    StackSolver, StackState, StartSupport, TubeStation,
};
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
    StackDevice { rod, drive }
}

fn moving(direction: Direction, tip_resistance_n: f64) -> Option<Moving> {
    Some(Moving {
        device: 0,
        direction,
        tip_resistance_n,
    })
}

fn solve(tube: &[TubeStation], rod: Rod, drive: Drive, mu: f64, m: Option<Moving>) -> StackState {
    StackSolver::new(Settings::default(), LoadSettings::default())
        .solve(tube, &[device(rod, drive)], &[], &|_, _| mu, m, None)
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
        let rod = Rod {
            start: StartSupport::Free,
            ..Rod::uniform(1e-3, 0.4)
        };
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
    // Rod on a rigid drum, outside contact T + M²/(2B) constant, point forces at lift-off:
    // (P2 - c) - mu Q2 = exp(mu theta_c) ((P1 - c) + mu Q1), c = B/(2R²): P2 = 1.31370 N.
    for h in [0.5, 0.25, 0.125] {
        let tube = tube(
            &[(40.0, 0.0, 0.0), (8.0 * PI, PI, 0.0), (40.0, 0.0, 0.0)],
            3.5,
            5000.0,
            h,
        );
        let rod = Rod {
            start: StartSupport::Free,
            ..Rod::uniform(10.0, 1.0)
        };
        let found = solve(
            &tube,
            rod,
            Drive::Through,
            0.1,
            moving(Direction::Pull, 1.0),
        );
        let load = found.load.unwrap();
        println!(
            "elastic capstan h {h}: {} rounds {} newton {}",
            load.hub_force_n, found.rounds, found.newton_steps
        );
    }
}

#[test]
fn exact_a_number_that_is_not_finite_is_no_lock_up() {
    let tube = tube(&[(20.0, 0.0, 0.0), (30.0, 1.5, 0.0)], 1.0, 10.0, 1.0);
    for friction in [f64::NAN, f64::INFINITY] {
        let rod = device(Rod::uniform(20.0, 0.6), Drive::Through);
        let held = device(Rod::uniform(5.0, 0.4), Drive::Tip(40.0));
        let found = StackSolver::new(Settings::default(), LoadSettings::default()).solve(
            &tube,
            &[rod, held],
            &[],
            &|_, _| friction,
            moving(Direction::Push, 1.0),
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
            let l = found.devices[0].path_mm;
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
