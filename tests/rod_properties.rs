//! Properties of equilibria on random tubes and stacks.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use crate::support::rods::{problem, rod, run};
use nestline_physics::geometry::Vector;
use nestline_physics::mechanics::problem::{
    Problem, ProblemBend, ProblemEnd, ProblemRod, ProblemRun, ProblemStart, ProblemStiffness,
};
use nestline_physics::mechanics::{Flag, MechanicsError, Settle, Solution, Status};
use proptest::prelude::*;

/// Tubes of three to six bends between straights, lumens of 2.4 to 8 mm.
fn tubes() -> impl Strategy<Value = Vec<ProblemRun>> {
    let bend = (
        8.0..40.0_f64,
        10.0..100.0_f64,
        0.0..360.0_f64,
        5.0..25.0_f64,
    );
    (proptest::collection::vec(bend, 3..6), 2.4..8.0_f64).prop_map(|(bends, lumen)| {
        let mut runs = vec![run(15.0, 0.0, 0.0, lumen)];
        for (length, turn, roll, straight) in bends {
            // at least 1.5 lumens of bend radius, as arteries have
            let most = (length / (1.5 * lumen)).to_degrees();
            runs.push(run(length, turn.min(most), roll, lumen));
            runs.push(run(straight, 0.0, 0.0, lumen));
        }
        runs
    })
}

/// One to four rods, each with room in the one before, tips behind each other.
fn stacks() -> impl Strategy<Value = Vec<ProblemRod>> {
    let one = (0.3..1.0_f64, 0.3..1.0_f64, 0.0..1.0_f64);
    proptest::collection::vec(one, 1..=4).prop_map(|parts| {
        let mut outer = 2.0;
        let mut stiffness = 200.0;
        let mut stack = Vec::new();
        let count = parts.len();
        for (k, (wall, soft, tip)) in parts.into_iter().enumerate() {
            let inner = outer * (0.5 + 0.35 * wall);
            let mut next = rod(stiffness, outer, (k + 1 < count).then_some(inner));
            next.stiffness = ProblemStiffness::FromTip(vec![
                (0.0, 0.1 * stiffness),
                (20.0, 0.1 * stiffness),
                (60.0, stiffness),
            ]);
            // as the lead of each is given: loads by station
            next.frictionless = false;
            if k + 1 < count {
                next.end = ProblemEnd::Tip(30.0 + 12.0 * k as f64 + 8.0 * tip);
            }
            stack.push(next);
            outer = inner - 0.06 - 0.2 * soft * inner;
            stiffness *= 0.1 + 0.3 * soft;
        }
        stack
    })
}

/// None where a rod runs away: then there is no equilibrium near the route.
fn try_settle(problem: &Problem) -> Option<Solution> {
    let posed = problem.pose().unwrap();
    match Settle::new(problem.settings).settle(&posed.scene()) {
        Ok(found) => Some(found),
        Err(MechanicsError::Prolapsed { .. }) => None,
        Err(e) => panic!("{e}: {}", serde_json::to_string(problem).unwrap()),
    }
}

fn settle(problem: &Problem) -> Solution {
    try_settle(problem).expect("a rod runs away without being pushed")
}

fn deepest_in_the_wall(found: &Solution) -> f64 {
    found
        .contacts
        .iter()
        .filter(|c| c.other.is_none())
        .map(|c| c.indentation_mm)
        .fold(0.0, f64::max)
}

/// Whether a solve met other equilibria or left the model, where these properties do not hold.
fn plain(found: &Solution) -> bool {
    found.status == Status::Converged && !found.flags.contains(&Flag::SeveralEquilibria)
}

/// A rod of 50 N mm2 in a wide straight tube whose last `length_mm` are bent by `angle_deg`.
fn bent_tip(length_mm: f64, angle_deg: f64, spacing_mm: f64, tip: bool) -> Problem {
    let mut bent = rod(50.0, 0.7, None);
    bent.natural_bend = Some(ProblemBend {
        length_mm,
        angle_deg,
        roll_deg: 120.0,
        free_to_turn: false,
    });
    if tip {
        bent.end = ProblemEnd::Tip(80.3);
    }
    let mut posed = problem(vec![run(100.0, 0.0, 0.0, 40.0)], vec![bent]);
    posed.spacing_mm = spacing_mm;
    posed
}

#[test]
fn exact_a_bent_tip_that_nothing_touches_is_at_rest() {
    // It keeps its bend, and nothing is stressed: the energy is 0, whatever the load is said to follow.
    let (mut cases, mut wrong) = (0, Vec::new());
    for angle_deg in [30.0, 40.0, 50.0, 55.0, 60.0, 70.0, 80.0] {
        for length_mm in [3.0, 5.0, 8.0, 12.0, 20.0] {
            for (spacing_mm, tip) in [(1.0, true), (1.0, false), (0.5, true), (0.5, false)] {
                for frictionless in [true, false] {
                    let mut posed = bent_tip(length_mm, angle_deg, spacing_mm, tip);
                    posed.rods[0].frictionless = frictionless;
                    cases += 1;
                    let found = posed.solve();
                    let rests = found.as_ref().is_ok_and(|found| {
                        found.status == Status::Converged
                            && found.energy_n_mm.abs() < 1e-3
                            && found.residual_n < 1e-6
                            && found.load_off_n < 1e-5
                            && found.length_off_mm < 1e-6
                    });
                    if !rests {
                        let case = (angle_deg, length_mm, spacing_mm, tip, frictionless);
                        wrong.push((case, found.map(|f| (f.status, f.energy_n_mm, f.load_off_n))));
                    }
                }
            }
        }
    }
    assert_eq!(cases, 280, "140, each with both loads");
    assert!(wrong.is_empty(), "{} of {cases}: {wrong:#?}", wrong.len());
}

proptest! {
    #![proptest_config(ProptestConfig {
        // the same cases everywhere; `PROPTEST_RNG_SEED` draws others, and a long search finds rare
        // counterexamples (DEVELOPERS.md lists them)
        rng_seed: proptest::test_runner::RngSeed::Fixed(20_260),
        ..ProptestConfig::with_cases(24)
    })]

    #[test]
    fn property_energy_never_rises_and_forces_balance(runs in tubes(), stack in stacks()) {
        let found = settle(&problem(runs, stack));
        prop_assert!(found.residual_n < 1e-6, "residual {}", found.residual_n);
        for stage in &found.energies_n_mm {
            let size = stage.iter().fold(0.0_f64, |m, e| m.max(e.abs()));
            for pair in stage.windows(2) {
                prop_assert!(
                    pair[1] <= pair[0] + 1e-11 * size.max(1.0),
                    "energy rises from {} to {}", pair[0], pair[1]
                );
            }
        }
    }

    #[test]
    fn property_the_wall_gives_a_tenth_of_a_mm_at_most(
        runs in tubes(), push in -1.0..0.5_f64, stiffness in 1.0..40.0_f64,
    ) {
        let mut one = rod(stiffness, 0.6, None);
        one.axial_load_n = push;
        let found = try_settle(&problem(runs, vec![one]));
        prop_assume!(found.as_ref().is_some_and(|f| f.status == Status::Converged));
        let found = found.unwrap();
        let deep = deepest_in_the_wall(&found);
        prop_assert!(deep <= 0.1, "indentation {deep} mm at {push} N");
    }

    #[test]
    fn property_indentation_halves_with_twice_the_stiffness(
        weight in 0.5..2.0_f64, outer in 0.5..1.5_f64,
    ) {
        // A rod lying in a straight tube under a fixed load across it, deep enough to be past the
        // onset.
        let deep = |wall: f64| {
            let mut posed = problem(vec![run(60.0, 0.0, 0.0, 4.0)], vec![rod(5.0, outer, None)]);
            posed.start = ProblemStart::Free;
            posed.wall_stiffness_n_per_mm2 = wall;
            posed.line_load_n_per_mm = [0.0, 0.0, weight];
            deepest_in_the_wall(&settle(&posed))
        };
        let (soft, hard) = (deep(5.0), deep(10.0));
        prop_assert!((soft / hard - 2.0).abs() < 1e-4, "{soft} mm, then {hard} mm");
        prop_assert!((soft * 5.0 / weight - 1.0).abs() < 1e-4, "{soft} mm under {weight} N/mm");
    }

    #[test]
    fn property_mirrored_in_mirrored_out(runs in tubes(), stack in stacks()) {
        let right = problem(runs.clone(), stack.clone());
        let mut left = problem(runs, stack);
        for run in &mut left.runs {
            run.roll_deg = -run.roll_deg;
        }
        let (right, left) = (settle(&right), settle(&left));
        prop_assume!(plain(&right) && plain(&left));
        let energies = (right.bending_energy_n_mm(), left.bending_energy_n_mm());
        prop_assert!((energies.0 / energies.1 - 1.0).abs() < 1e-6, "{energies:?}");
        for (a, b) in right.rods.iter().zip(&left.rods) {
            for (p, q) in a.position_mm.iter().zip(&b.position_mm) {
                let off = (p.x - q.x).hypot(p.y - q.y).hypot(p.z + q.z);
                prop_assert!(off < 2e-3, "{p:?} against the mirror image of {q:?}");
            }
        }
    }

    #[test]
    fn property_rotated_in_same_numbers_out(runs in tubes(), stack in stacks(), turn in 0.0..360.0_f64) {
        let before = problem(runs.clone(), stack.clone());
        let mut after = problem(runs, stack);
        for run in &mut after.runs {
            run.roll_deg += turn;
        }
        let (before, after) = (settle(&before), settle(&after));
        prop_assume!(plain(&before) && plain(&after));
        let energies = (before.bending_energy_n_mm(), after.bending_energy_n_mm());
        prop_assert!((energies.0 / energies.1 - 1.0).abs() < 1e-6, "{energies:?}");
        for (a, b) in before.rods.iter().zip(&after.rods) {
            let off = (a.path_length_mm - b.path_length_mm).abs();
            prop_assert!(off < 1e-5, "path differs by {off} mm");
        }
    }

    #[test]
    fn property_same_state_from_any_start(runs in tubes(), seed in 0.0..6.0_f64) {
        // One rod at tight tolerance: started from the centre line, and from itself pushed about.
        let mut posed = problem(runs, vec![rod(20.0, 0.6, None)]);
        posed.settings.gradient_tolerance_n = 1e-10;
        posed.settings.smallest_eigenvalue = true;
        let ready = posed.pose().unwrap();
        let mut settle = Settle::new(posed.settings);
        let first = settle.settle(&ready.scene()).unwrap();
        prop_assume!(plain(&first));
        let lowest = first.smallest_eigenvalue_n_per_mm.unwrap();
        prop_assert!(lowest > 0.0, "lowest eigenvalue {lowest} of a converged state");
        // far enough from neutral for one state to be the only one near
        prop_assume!(lowest > 1e-5);
        let mut moved = first.clone();
        let last = moved.rods[0].offset_mm.len() as f64;
        for (i, u) in moved.rods[0].offset_mm.iter_mut().enumerate() {
            let s = i as f64 / last;
            u[0] += 0.05 * s * (9.0 * s + seed).sin();
            u[1] += 0.05 * s * (7.0 * s - seed).cos();
        }
        let again = settle.settle_from(&ready.scene(), &moved).unwrap();
        let (a, b) = (first.bending_energy_n_mm(), again.bending_energy_n_mm());
        prop_assert!((a / b - 1.0).abs() < 1e-6, "energy {a}, then {b}");
        let off = first.rods[0]
            .position_mm
            .iter()
            .zip(&again.rods[0].position_mm)
            .map(|(p, q)| (p - q).norm())
            .fold(0.0, f64::max);
        prop_assert!(off < 1e-4, "states {off} mm apart, lowest eigenvalue {lowest}");
    }

    #[test]
    fn property_very_stiff_walls_converge(runs in tubes(), stack in stacks(), power in 3.0..7.0_f64) {
        let mut posed = problem(runs, stack);
        posed.wall_stiffness_n_per_mm2 = 10.0_f64.powf(power);
        let found = settle(&posed);
        prop_assume!(found.status == Status::Converged);
        let deep = deepest_in_the_wall(&found);
        prop_assert!(deep < 3.0 / posed.wall_stiffness_n_per_mm2.min(100.0), "indentation {deep} mm");
    }

    #[test]
    fn property_loads_along_the_tube_and_across_converge(
        runs in tubes(), stack in stacks(), push in -0.3..0.3_f64, angle in 0.0..6.3_f64,
    ) {
        let mut posed = problem(runs, stack);
        for rod in &mut posed.rods {
            rod.axial_load_n = push;
        }
        let across = Vector::new(0.3, angle.cos(), angle.sin()) * 1e-3;
        posed.line_load_n_per_mm = [across.x, across.y, across.z];
        let found = try_settle(&posed);
        prop_assume!(found.is_some());
        let found = found.unwrap();
        prop_assert!(found.residual_n < 1e-6, "residual {}", found.residual_n);
    }
}
