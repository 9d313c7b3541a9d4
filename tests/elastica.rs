//! Single rods against closed forms: elastica, columns, circles, helices, buckling in a tube.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use crate::support::rods::arc_tube;
use crate::support::table::Table;
use nestline_physics::geometry::Vector;
use nestline_physics::mechanics::{
    AxialLoad, End, Flag, NaturalBend, Rod, Roll, Scene, Settings, Settle, Solution, StartShapes,
    StartSupport, Status, TubeStation,
};

/// A tube too wide to touch.
const WIDE_MM: f64 = 1e3;

fn settle(tube: &[TubeStation], rod: &Rod, settings: Settings) -> Solution {
    let rods = [rod.clone()];
    let scene = Scene::new(tube, &rods);
    Settle::new(settings).settle(&scene).unwrap()
}

/// Wide tubes hold a rod so softly that 1e-6 N would move it by hundredths of a millimetre.
fn exact() -> Settings {
    Settings::with(|s| s.gradient_tolerance_n = 1e-11).unwrap()
}

fn end_of(found: &Solution) -> (Vector, f64, f64) {
    let rod = &found.rods[0];
    (
        rod.position_mm[rod.position_mm.len() - 1].coords,
        rod.path_length_mm,
        rod.bending_energy_n_mm - rod.averaging_n_mm,
    )
}

#[test]
fn published_cantilever_under_a_tip_load() {
    // The last plane stands where the exact tip is, and the rod's length is an outcome. The axial
    // load is P sin(slope), the tip's T there (its moment is zero). Slopes above 45 degrees lie
    // outside the model in a straight tube: there the centre line is the circle from the clamp
    // through the exact tip, which the rod leaves by less.
    let (length, b) = (100.0, 20.0);
    for case in Table::read("cantilever").rows(5) {
        let alpha = case.number("alpha");
        let force = alpha * b / (length * length);
        let tip = (
            case.number("place") * length,
            case.number("deflection") * length,
        );
        let (slope_rad, bending) = (case.number("slope_rad"), case.number("energy"));
        let error = |cells: u32| {
            let tube = if alpha <= 2.0 {
                arc_tube(tip.0, 0.0, cells, WIDE_MM, 1.0)
            } else {
                let turn = 2.0 * (tip.1 / tip.0).atan();
                let radius = (tip.0.powi(2) + tip.1.powi(2)) / (2.0 * tip.1);
                arc_tube(radius * turn, 1.0 / radius, cells, 0.9 * radius, 1.0)
            };
            let mut rod = Rod::uniform(b, 0.5);
            rod.load = AxialLoad::Uniform(force * slope_rad.sin());
            rod.tip_force_n = Vector::y() * force;
            let found = settle(&tube, &rod, exact());
            assert_eq!(found.status, Status::Converged, "alpha {alpha}");
            let (end, path, energy) = end_of(&found);
            let off = Vector::new(end.x - tip.0, end.y - tip.1, end.z).norm() / length;
            [
                off,
                (path / length - 1.0).abs(),
                (energy * length / (b * bending) - 1.0).abs(),
            ]
        };
        let (coarse, fine) = (error(50), error(100));
        for (what, (coarse, fine)) in ["tip", "path", "energy"]
            .iter()
            .zip(coarse.iter().zip(fine))
        {
            assert!(
                fine < 5e-4,
                "alpha {alpha}: {what} off by {fine:.2e} with 100 cells"
            );
            let order = (coarse / fine).log2();
            assert!(
                order > 1.8 || fine < 1e-7,
                "alpha {alpha}: {what} falls at order {order:.2} ({coarse:.2e}, {fine:.2e})"
            );
        }
    }
}

#[test]
fn exact_column_pressed_on_the_wall_after_buckling() {
    // With the plane of its end fixed and rod fed under a fixed load, a buckled column that touches
    // nothing is no minimum (its load falls as it grows); it goes to the wall. Beam-column theory
    // for a clamped rod under P whose end rests on a wall r aside:
    // v = a (cos kz - 1) + c (sin kz - kz), k² = P/B, v"(L) = 0, v(L) = r. The wall's force is the
    // shear B v"' + P v', constant along the rod: B c k³ in size.
    let (length, b, aside) = (50.0, 20.0, 0.05);
    let euler = std::f64::consts::PI.powi(2) * b / (4.0 * length * length);
    for part in [1.2, 2.0, 3.0] {
        let load = part * euler;
        let k = (load / b).sqrt();
        let (sin, cos) = (k * length).sin_cos();
        // v"(L) = 0 is a cos + c sin = 0
        let shape = |a: f64, c: f64| a * (cos - 1.0) + c * (sin - k * length);
        let scale = aside / shape(sin, -cos);
        let wall = (b * -cos * scale * k.powi(3)).abs();
        let tube = arc_tube(length, 0.0, 100, 0.25 + aside, 1e5);
        let mut rod = Rod::uniform(b, 0.5);
        rod.load = AxialLoad::Uniform(-load);
        let found = settle(&tube, &rod, exact());
        assert!(
            found.flags.contains(&Flag::SeveralEquilibria),
            "{part}: the straight column is an equilibrium too: {:?}",
            found.flags
        );
        let zones = found.zones(1.1, 1e-9);
        let force = zones.last().unwrap().force_in_space_n.norm();
        assert!(
            (force / wall - 1.0).abs() < 0.01,
            "{part}: wall force {force} against {wall}"
        );
    }
}

#[test]
fn exact_column_buckles_at_eulers_load() {
    // Clamped and free: pi² B / (4 L²). The smallest eigenvalue changes sign there.
    let (length, b) = (50.0, 20.0);
    let euler = std::f64::consts::PI.powi(2) * b / (4.0 * length * length);
    let tube = arc_tube(length, 0.0, 100, WIDE_MM, 1.0);
    for (part, buckles) in [(0.9995, false), (1.0005, true)] {
        let mut rod = Rod::uniform(b, 0.5);
        rod.load = AxialLoad::Uniform(-part * euler);
        let found = settle(&tube, &rod, Settings::default());
        let flagged = found.flags.contains(&Flag::SeveralEquilibria);
        assert_eq!(flagged, buckles, "at {part} of Euler's load");
    }
}

#[test]
fn exact_circle_under_an_end_moment() {
    // A moment t B / L at the end bends a rod to a circle: x = L sin t / t, y = L (1 - cos t) / t. A
    // natural curvature t / L is the same shape without load.
    let (length, turn) = (60.0, 0.7_f64);
    let place = length * turn.sin() / turn;
    let tube = arc_tube(place, 0.0, 60, WIDE_MM, 1.0);
    let mut rod = Rod::uniform(20.0, 0.5);
    rod.natural = Some(NaturalBend {
        length_mm: 2.0 * length,
        curvature_per_mm: turn / length,
        roll: Roll::Fixed(0.3),
    });
    let found = settle(&tube, &rod, exact());
    let (end, path, energy) = end_of(&found);
    let expected = Vector::new(
        place,
        length * (1.0 - turn.cos()) / turn * 0.3_f64.cos(),
        length * (1.0 - turn.cos()) / turn * 0.3_f64.sin(),
    );
    // only the last half cell, where the discrete rod is straight, is missing
    assert!(
        (end - expected).norm() < 0.01,
        "end {end:?} against {expected:?}"
    );
    assert!((path - length).abs() < 1e-3, "path {path} against {length}");
    assert!(energy < 1e-3, "energy {energy} of a rod at rest");
}

#[test]
fn exact_free_roll_turns_into_the_bend() {
    // A pre-shaped tip in a bend of its own direction rests; free to turn, it finds it.
    let tube = arc_tube(60.0, 0.02, 60, 2.0, 10.0);
    let mut rod = Rod::uniform(5.0, 0.5);
    let mut natural = NaturalBend {
        length_mm: 15.0,
        curvature_per_mm: 0.05,
        roll: Roll::Free(1.3),
    };
    rod.natural = Some(natural);
    let free = settle(&tube, &rod, Settings::default());
    assert!(
        free.rods[0].roll_rad.abs() < 1e-4,
        "free tip rests at roll {}",
        free.rods[0].roll_rad
    );
    natural.roll = Roll::Fixed(0.0);
    rod.natural = Some(natural);
    let held = settle(&tube, &rod, Settings::default());
    let (free, held) = (end_of(&free).2, end_of(&held).2);
    assert!(
        (free / held - 1.0).abs() < 1e-5,
        "energy {free} free, {held} held"
    );
}

#[test]
fn published_configurational_force_of_a_bend() {
    // Feeding a straight rod into a frictionless bend costs B/(2R²) (Bigoni, Dal Corso, Bosi &
    // Misseroni, Mech. Mater. 80:368-374, 2015): dE/dL_fed = -tau at the hub. tau at the tip is what
    // the tip's wall reaction N has along the rod, -N sin(angle), so it follows from the shape.
    let (b, radius) = (20.0, 20.0);
    let tube = arc_tube(100.0, 1.0 / radius, 400, 0.6, 1e4);
    let start = tube[0].frame;
    let at = |s_mm: f64| {
        let mut rod = Rod::uniform(b, 0.5);
        let tip = TubeStation {
            s_mm,
            frame: start.along_arc(s_mm, s_mm / radius, 0.0),
            ..tube[0]
        };
        rod.end = End::Tip(tip);
        let mut tau = 0.0;
        for _ in 0..20 {
            rod.load = AxialLoad::Frictionless(tau);
            let found = settle(&tube, &rod, Settings::default());
            let state = &found.rods[0];
            let reaction: f64 = found
                .contacts
                .iter()
                .filter(|c| c.station_mm > s_mm - 1e-6)
                .map(|c| c.force_n[0].hypot(c.force_n[1]))
                .sum();
            let next = -reaction * state.end_angle_rad.sin();
            if (next - tau).abs() < 1e-9 {
                return (state.bending_energy_n_mm, state.path_length_mm, tau);
            }
            tau = next;
        }
        panic!("tip load still moves at {s_mm}");
    };
    // over a whole number of stations, where contacts fall alike
    let (from, middle, to) = (at(70.0), at(71.5), at(73.0));
    let force = (to.0 - from.0) / (to.1 - from.1);
    // the rod lies on the outer wall, 0.35 mm outside the centre line
    let ideal = b / (2.0 * (radius + 0.35_f64).powi(2));
    assert!(
        (force / ideal - 1.0).abs() < 0.002,
        "dE/dL {force} against B/(2R²) = {ideal}"
    );
    // dE/dL_fed equals the hub's push -tau
    assert!(
        (force + middle.2).abs() < 0.02 * ideal,
        "dE/dL {force} against the hub's push {}",
        -middle.2
    );
}

#[test]
fn published_helix_of_a_pushed_rod() {
    // A weightless rod pushed hard in a tube lies in a helix: dphi/dz = sqrt(F/(2EI)) and a wall
    // force r F²/(4EI) a length (Mitchell, SPE Drilling & Completion; small r). Starts near it:
    // helices of either hand and with reversals are equilibria as well.
    let (b, force, clearance, length) = (20.0_f64, 2.0_f64, 0.2, 300.0);
    let rate = (force / (2.0 * b)).sqrt();
    let tube = arc_tube(length, 0.0, 600, 0.25 + clearance, 1e4);
    let mut rod = Rod::uniform(b, 0.5);
    rod.start = StartSupport::Pinned;
    rod.load = AxialLoad::Uniform(-force);
    let rods = [rod];
    let scene = Scene::new(&tube, &rods);
    let first = StartShapes::from_offsets(vec![(
        tube.iter().map(|t| t.s_mm).collect(),
        tube.iter()
            .map(|t| {
                let phi = 1.08 * rate * t.s_mm;
                [clearance * phi.cos(), clearance * phi.sin()]
            })
            .collect(),
    )])
    .unwrap();
    let found = Settle::new(Settings::default())
        .settle_from(&scene, first)
        .unwrap();
    let offset = &found.rods[0].offset_mm;
    let (from, to) = (200, 400);
    let mut turned = 0.0;
    for i in from..to {
        let (a, b) = (offset[i], offset[i + 1]);
        turned += (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1]);
    }
    let span = tube[to].s_mm - tube[from].s_mm;
    let found_rate = turned.abs() / span;
    assert!(
        (found_rate / rate - 1.0).abs() < 0.02,
        "dphi/dz {found_rate} against {rate}"
    );
    let pressed: f64 = found
        .contacts
        .iter()
        .filter(|c| c.station_mm > tube[from].s_mm && c.station_mm < tube[to].s_mm)
        .map(|c| c.force_n[0].hypot(c.force_n[1]))
        .sum();
    let per_mm = pressed / span;
    let expected = clearance * force * force / (4.0 * b);
    assert!(
        (per_mm / expected - 1.0).abs() < 0.05,
        "wall force {per_mm} N/mm against {expected}"
    );
}

#[test]
fn published_onset_of_buckling_under_a_transverse_load() {
    // F = 2 sqrt(EI w / r) (Dawson & Paslay, J. Petrol. Technol. 36:1734-1738, 1984), a long pipe
    // on the low side of a hole. Pushed only away from its ends, which would buckle at less.
    let (b, w, clearance, length) = (20.0_f64, 1e-3_f64, 1.0, 2000.0);
    let onset = 2.0 * (b * w / clearance).sqrt();
    let cells = 1000_u32;
    let tube = arc_tube(length, 0.0, cells, 0.25 + clearance, 1e4);
    let buckles = |part: f64| {
        let mut rod = Rod::uniform(b, 0.5);
        rod.start = StartSupport::Free;
        rod.line_load_n_per_mm = Vector::y() * -w;
        rod.load = AxialLoad::ByStation(
            tube.iter()
                .map(|t| {
                    if (200.0..=1800.0).contains(&t.s_mm) {
                        -part * onset
                    } else {
                        0.0
                    }
                })
                .collect(),
        );
        let rods = [rod];
        let scene = Scene::new(&tube, &rods);
        // start on the low side
        let first = StartShapes::from_offsets(vec![(
            tube.iter().map(|t| t.s_mm).collect(),
            vec![[-clearance, 0.0]; tube.len()],
        )])
        .unwrap();
        let found = Settle::new(Settings::default())
            .settle_from(&scene, first)
            .unwrap();
        found.flags.contains(&Flag::SeveralEquilibria)
    };
    assert!(!buckles(0.97), "buckles at 0.97 of the onset");
    assert!(buckles(1.03), "still straight at 1.03 of the onset");
}
