//! Rods in rods: exact limits of nesting, containers by station, siblings, tips.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use crate::support::rods::{arc_tube, problem, rod, run};
use nestline_physics::mechanics::problem::{
    Problem, ProblemBend, ProblemBeside, ProblemEnd, ProblemRod, ProblemRun, ProblemStiffness,
    ProblemStretch,
};
use nestline_physics::mechanics::{
    Beside, End, Flag, MechanicsError, Profile, Rod, Scene, Settings, Settle, Solution, Status,
    nest,
};

/// An S out of plane: 30 mm straight, two bends, 40 mm straight.
fn s_bend(lumen_mm: f64) -> Vec<ProblemRun> {
    vec![
        run(30.0, 0.0, 0.0, lumen_mm),
        run(30.0, 80.0, 20.0, lumen_mm),
        run(25.0, 60.0, 190.0, lumen_mm),
        run(40.0, 0.0, 0.0, lumen_mm),
    ]
}

fn settle(problem: &Problem) -> Solution {
    let posed = problem.pose().unwrap();
    let found = Settle::new(problem.settings)
        .settle(&posed.scene())
        .unwrap();
    assert_eq!(found.status, Status::Converged, "status");
    found
}

fn with_tip(mut rod: ProblemRod, tip_mm: f64) -> ProblemRod {
    rod.end = ProblemEnd::Tip(tip_mm);
    rod
}

#[test]
fn exact_two_halves_on_one_axis_are_one_rod() {
    // 30 N mm2 as 18 around 12 with a gap below 0.02 mm.
    for end in [ProblemEnd::ExitPlane, ProblemEnd::Tip(101.37)] {
        let mut one = rod(30.0, 1.0, Some(0.7));
        one.end = end;
        let mut halves = [rod(18.0, 1.0, Some(0.7)), rod(12.0, 0.68, None)];
        for half in &mut halves {
            half.end = end;
        }
        let whole = settle(&problem(s_bend(4.0), vec![one]));
        let split = settle(&problem(s_bend(4.0), halves.to_vec()));
        let (a, b) = (whole.bending_energy_n_mm(), split.bending_energy_n_mm());
        assert!(
            (a / b - 1.0).abs() < 1e-7,
            "{end:?}: energy {a} whole, {b} split"
        );
        for half in &split.rods {
            let off = (half.path_length_mm - whole.rods[0].path_length_mm).abs();
            assert!(off < 1e-6, "{end:?}: path differs by {off:.2e} mm");
        }
        let share = split.rods[0].bending_energy_n_mm / b;
        assert!(
            (share - 0.6).abs() < 1e-9,
            "{end:?}: outer half holds {share}"
        );
    }
}

#[test]
fn exact_no_container_is_a_single_rod() {
    // A second rod beside the first one's tube would change nothing; here it is not there at all.
    let single = settle(&problem(s_bend(4.0), vec![rod(20.0, 0.5, None)]));
    let mut alone = rod(20.0, 0.5, None);
    alone.containers = vec![ProblemStretch {
        from_mm: 0.0,
        to_mm: None,
        in_rod: None,
    }];
    let stated = settle(&problem(s_bend(4.0), vec![alone]));
    let (a, b) = (single.bending_energy_n_mm(), stated.bending_energy_n_mm());
    assert!((a - b).abs() < 1e-12, "{a} against {b}");
}

#[test]
fn exact_inner_takes_the_path_of_a_stiff_outer() {
    // An outer rod 10 000 times stiffer does not feel the inner one, and a tight lumen leaves the
    // inner one its path.
    let outer = rod(2e4, 2.0, Some(1.1));
    let alone = settle(&problem(s_bend(4.0), vec![outer.clone()]));
    let both = settle(&problem(s_bend(4.0), vec![outer, rod(2.0, 1.0, None)]));
    let apart = |a: usize, b: usize| {
        both.rods[a]
            .position_mm
            .iter()
            .zip(&both.rods[b].position_mm)
            .map(|(x, y)| (x - y).norm())
            .fold(0.0, f64::max)
    };
    assert!(
        apart(0, 1) < 0.06,
        "inner leaves the lumen by {}",
        apart(0, 1)
    );
    let moved = both.rods[0]
        .position_mm
        .iter()
        .zip(&alone.rods[0].position_mm)
        .map(|(x, y)| (x - y).norm())
        .fold(0.0, f64::max);
    assert!(moved < 2e-3, "outer moved by {moved} mm");
}

#[test]
fn exact_forces_between_rods_cancel_under_their_weights() {
    // Two free rods in a straight tube under a transverse load: the wall carries both weights, the
    // outer rod the inner one's. At a tight tolerance the sums are exact only if what one rod feels
    // from the other cancels to rounding.
    let mut posed = problem(
        vec![run(100.0, 0.0, 0.0, 6.0)],
        vec![rod(50.0, 2.0, Some(1.2)), rod(5.0, 0.5, None)],
    );
    posed.start = nestline_physics::mechanics::problem::ProblemStart::Free;
    posed.line_load_n_per_mm = [0.0, -2e-3, 0.0];
    posed.settings.gradient_tolerance_n = 1e-14;
    let found = settle(&posed);
    let sum = |other: Option<usize>| {
        found
            .contacts
            .iter()
            .filter(|c| c.other == other)
            .map(|c| c.force_in_space_n.y)
            .sum::<f64>()
    };
    let (wall, between) = (sum(None), sum(Some(0)));
    assert!(
        (wall - 0.4).abs() < 1e-12,
        "the wall carries {wall} N of 0.4 N"
    );
    assert!(
        (between - 0.2).abs() < 1e-12,
        "the outer rod carries {between} N of 0.2 N"
    );
}

#[test]
fn property_tip_moves_everything_continuously() {
    // Energy and fed length by tip station, over two hand-overs of a node and two stations passed. The
    // other rod's axis is linear between stations, so the slope has kinks there; jumps would stay
    // where the step shrinks, kinks shrink with it.
    let at = |tip: f64| {
        let found = settle(&problem(
            s_bend(3.0),
            vec![
                with_tip(rod(60.0, 1.6, Some(1.2)), tip),
                with_tip(rod(10.0, 0.8, None), 110.0),
            ],
        ));
        (found.rods[0].path_length_mm, found.bending_energy_n_mm())
    };
    let roughness = |from: f64, step: f64, count: u32| {
        let values: Vec<(f64, f64)> = (0..count).map(|i| at(from + step * f64::from(i))).collect();
        for w in values.windows(2) {
            let path = w[1].0 - w[0].0;
            assert!(
                path > 0.5 * step && path < 1.5 * step,
                "fed length moves by {path} mm for {step} mm"
            );
            let energy = (w[1].1 - w[0].1).abs();
            assert!(energy < step, "energy jumps by {energy} N mm");
        }
        values
            .windows(3)
            .map(|w| (w[2].0 - 2.0 * w[1].0 + w[0].0).abs())
            .fold(0.0, f64::max)
    };
    let whole = roughness(70.0, 0.02, 110);
    assert!(whole < 5e-4, "fed length bends by {whole} mm");
    // a hand-over ends 0.65 stations behind the tip, a station is passed at 72 mm
    for place in [71.65, 72.0] {
        let coarse = roughness(place - 0.02, 0.004, 11);
        let fine = roughness(place - 0.002, 0.0004, 11);
        assert!(
            fine < 0.15 * coarse.max(1e-6),
            "near {place}: {coarse:.2e} mm, then {fine:.2e} mm for a tenth of the step"
        );
    }
}

#[test]
fn property_siblings_lie_side_by_side() {
    // A shaft and a rail in one guide: never nearer than their radii, both inside.
    let mut guide = rod(300.0, 3.0, Some(2.6));
    guide.stiffness = ProblemStiffness::Constant(300.0);
    let mut shaft = rod(30.0, 1.5, None);
    let mut rail = rod(10.0, 0.4, None);
    for inner in [&mut shaft, &mut rail] {
        inner.containers = vec![ProblemStretch {
            from_mm: 0.0,
            to_mm: None,
            in_rod: Some(0),
        }];
    }
    let mut posed = problem(s_bend(4.0), vec![guide, shaft, rail]);
    posed.start = nestline_physics::mechanics::problem::ProblemStart::Free;
    posed.beside = vec![ProblemBeside {
        rods: [1, 2],
        from_mm: 0.0,
        to_mm: 125.0,
        side_deg: 40.0,
    }];
    let found = settle(&posed);
    for i in 0..found.rods[1].offset_mm.len() {
        let between = |a: usize, b: usize| {
            let (u, v) = (found.rods[a].offset_mm[i], found.rods[b].offset_mm[i]);
            (u[0] - v[0]).hypot(u[1] - v[1])
        };
        let side = between(1, 2);
        assert!(side > 0.95 - 0.05, "station {i}: axes {side} mm apart");
        assert!(between(0, 1) < 0.55 + 0.05, "station {i}: shaft outside");
        assert!(between(0, 2) < 1.1 + 0.05, "station {i}: rail outside");
    }
}

#[test]
fn exact_rail_rides_in_a_wire_lumen_and_beside_its_shaft() {
    // Rapid exchange: from 70 mm on the rail runs in the device, before it beside the shaft.
    let mut device = with_tip(rod(25.0, 1.3, Some(0.5)), 100.0);
    device.containers = vec![ProblemStretch {
        from_mm: 0.0,
        to_mm: None,
        in_rod: None,
    }];
    let mut rail = rod(8.0, 0.36, None);
    rail.containers = vec![
        ProblemStretch {
            from_mm: 0.0,
            to_mm: Some(70.0),
            in_rod: None,
        },
        ProblemStretch {
            from_mm: 70.0,
            to_mm: Some(100.0),
            in_rod: Some(0),
        },
        ProblemStretch {
            from_mm: 100.0,
            to_mm: None,
            in_rod: None,
        },
    ];
    let mut posed = problem(s_bend(4.0), vec![device, rail]);
    posed.start = nestline_physics::mechanics::problem::ProblemStart::Free;
    posed.beside = vec![ProblemBeside {
        rods: [0, 1],
        from_mm: 0.0,
        to_mm: 60.0,
        side_deg: 90.0,
    }];
    let found = settle(&posed);
    let apart = |i: usize| {
        let (u, v) = (found.rods[0].offset_mm[i], found.rods[1].offset_mm[i]);
        (u[0] - v[0]).hypot(u[1] - v[1])
    };
    for i in 0..=58 {
        assert!(apart(i) > 0.83 - 0.06, "station {i}: {} mm apart", apart(i));
    }
    for i in 72..98 {
        assert!(apart(i) < 0.07 + 0.06, "station {i}: {} mm apart", apart(i));
    }
}

#[test]
fn exact_refusals_say_how_to_mend() {
    let refused = |rods: Vec<ProblemRod>| problem(s_bend(4.0), rods).solve().unwrap_err();
    let wide = refused(vec![rod(50.0, 2.0, Some(1.0)), rod(5.0, 1.2, None)]);
    assert!(
        matches!(
            wide,
            MechanicsError::DoesNotFit {
                inner: 1,
                outer: 0,
                ..
            }
        ),
        "{wide}"
    );
    let mut beyond = rod(5.0, 0.5, None);
    beyond.containers = vec![ProblemStretch {
        from_mm: 0.0,
        to_mm: None,
        in_rod: Some(0),
    }];
    let text = refused(vec![with_tip(rod(50.0, 2.0, Some(1.0)), 60.0), beyond]).to_string();
    assert!(
        text.contains("ends at 60.000 mm") && text.contains("end this stretch there"),
        "{text}"
    );
    let text = refused(vec![rod(50.0, 2.0, Some(2.5))]).to_string();
    assert_eq!(
        text,
        "rods[0].inner_mm is 2.5, must be smaller than outer_mm"
    );
}

/// An open retriever: wide at its tip, its pusher behind.
fn open_rod(pusher_mm: f64) -> Rod {
    let mut rod = Rod::uniform(3.0, pusher_mm);
    rod.outer_mm = Profile::new(
        "outer_mm",
        &[
            (0.0, 3.8),
            (20.0, 3.8),
            (23.0, pusher_mm),
            (100.0, pusher_mm),
        ],
    )
    .unwrap();
    rod.yields = true;
    rod
}

#[test]
fn regress_what_yields_is_as_thin_beside_another_as_its_thinnest_part() {
    let tube = arc_tube(100.0, 0.0, 100, 2.0, 1.0);
    let settle = |rods: &[Rod], beside: &[Beside]| {
        let scene = Scene::new(&tube, rods).with_beside(beside);
        Settle::new(Settings::default()).settle(&scene)
    };
    let mut guide = Rod::uniform(400.0, 2.6);
    guide.inner_mm = Some(Profile::constant(2.2));
    guide.end = End::Tip(tube[70]);
    let side_by_side = |pusher_mm: f64| {
        let mut rods = [guide.clone(), open_rod(pusher_mm), Rod::uniform(40.0, 1.8)];
        rods[2].end = End::Tip(tube[70]);
        nest(&tube, &mut rods);
        let beside = [Beside {
            rods: [1, 2],
            from_mm: 0.0,
            to_mm: 60.0,
            side_rad: 0.0,
        }];
        settle(&rods, &beside)
    };
    let refused = side_by_side(0.5).unwrap_err();
    let MechanicsError::NoRoomBeside {
        rods,
        outer,
        together_mm,
        ..
    } = refused
    else {
        unreachable!("{refused}");
    };
    assert_eq!((rods, outer), ([1, 2], 0));
    assert!((together_mm - 2.3).abs() < 1e-9, "{together_mm}");
    // side by side with room for both, the open part beyond: it is laid
    let fits = side_by_side(0.36).map(|_| ());
    assert_eq!(fits, Ok(()));
}

#[test]
fn exact_rod_wider_than_the_vessel_is_flagged_not_refused() {
    let found = settle(&problem(
        vec![
            run(30.0, 0.0, 0.0, 3.0),
            run(10.0, 0.0, 0.0, 1.0),
            run(30.0, 0.0, 0.0, 3.0),
        ],
        vec![rod(20.0, 1.4, None)],
    ));
    let excess = found.flags.iter().find_map(|f| match f {
        Flag::WiderThanLumen { excess_mm, .. } => Some(*excess_mm),
        _ => None,
    });
    assert!(
        excess.is_some_and(|e| (e - 0.4).abs() < 1e-9),
        "{:?}",
        found.flags
    );
}

#[test]
fn exact_settings_are_checked() {
    let mut posed = problem(s_bend(4.0), vec![rod(5.0, 0.5, None)]);
    posed.settings.stiffening = 0.5;
    let text = posed.solve().unwrap_err().to_string();
    assert_eq!(text, "settings.stiffening is 0.5, must be finite and > 1");
}

#[test]
fn regress_pre_shaped_wire_in_the_aorta_settles() {
    // Held or free to turn, with loads by station or following the stiffness: a tip whose direction
    // was held still while the shape moved once turned for ever, and loads that follow the shape
    // swung between two states where the tip stands in the arch (603 mm).
    let route: Problem =
        serde_json::from_str(include_str!("../benches/femoral_route.json")).unwrap();
    for tip_mm in [200.0, 500.0, 603.0] {
        for (free_to_turn, frictionless) in [(false, false), (true, false), (true, true)] {
            let mut wire = with_tip(rod(3.0, 0.89, None), tip_mm);
            wire.stiffness =
                ProblemStiffness::FromTip(vec![(0.0, 3.0), (30.0, 3.0), (150.0, 300.0)]);
            wire.frictionless = frictionless;
            wire.natural_bend = Some(ProblemBend {
                length_mm: 10.0,
                angle_deg: 40.0,
                roll_deg: 0.0,
                free_to_turn,
            });
            let found = settle(&Problem {
                rods: vec![wire],
                ..route.clone()
            });
            let unsettled = found.flags.iter().find_map(|f| match f {
                Flag::Unsettled { load_n } => Some(*load_n),
                _ => None,
            });
            assert!(
                unsettled.is_none_or(|n| frictionless && n < 2e-3),
                "tip {tip_mm}: loads still {unsettled:?} N apart"
            );
            assert!(
                found.residual_n < 1e-6,
                "tip {tip_mm}: {}",
                found.residual_n
            );
        }
    }
}
