//! Tubes and problems shared by the tests of the rod solver.

#![allow(
    unreachable_pub,
    dead_code,
    reason = "two programs share it, each takes its part"
)]

use nestline_physics::geometry::{Frame, Point, Vector};
use nestline_physics::mechanics::problem::{
    Problem, ProblemEnd, ProblemRod, ProblemRun, ProblemStart, ProblemStiffness,
};
use nestline_physics::mechanics::{Settings, TubeStation};

/// A run with a lumen.
pub fn run(length_mm: f64, turn_deg: f64, roll_deg: f64, lumen_mm: f64) -> ProblemRun {
    ProblemRun {
        length_mm,
        turn_deg,
        roll_deg,
        lumen_mm: Some(lumen_mm),
        lumen_end_mm: None,
        clearance_mm: None,
    }
}

/// A uniform rod through the exit plane.
pub fn rod(stiffness_n_mm2: f64, outer_mm: f64, inner_mm: Option<f64>) -> ProblemRod {
    ProblemRod {
        name: String::new(),
        stiffness: ProblemStiffness::Constant(stiffness_n_mm2),
        outer_mm,
        inner_mm,
        axial_stiffness_n: None,
        end: ProblemEnd::ExitPlane,
        axial_load_n: 0.0,
        frictionless: true,
        tip_force_n: [0.0; 3],
        natural_bend: None,
        containers: Vec::new(),
    }
}

/// A problem with the defaults of the file format.
pub fn problem(runs: Vec<ProblemRun>, rods: Vec<ProblemRod>) -> Problem {
    Problem {
        runs,
        rods,
        beside: Vec::new(),
        start: ProblemStart::Clamped,
        wall_stiffness_n_per_mm2: 10.0,
        line_load_n_per_mm: [0.0; 3],
        spacing_mm: 1.0,
        friction: Vec::new(),
        moves: None,
        path: None,
        settings: Settings::default(),
    }
}

/// The reference problem: 60 mm straight, 90 degrees at 20 mm radius, 60 mm straight; a rod of
/// 20 N mm2 whose axis stays within 1.5 mm of the centre line.
pub fn reference(start: ProblemStart, spacing_mm: f64, wall_stiffness_n_per_mm2: f64) -> Problem {
    let arc_mm = 10.0 * std::f64::consts::PI;
    Problem {
        start,
        spacing_mm,
        wall_stiffness_n_per_mm2,
        ..problem(
            vec![
                run(60.0, 0.0, 0.0, 3.5),
                run(arc_mm, 90.0, 0.0, 3.5),
                run(60.0, 0.0, 0.0, 3.5),
            ],
            vec![rod(20.0, 0.5, None)],
        )
    }
}

/// A planar tube of constant curvature (0 is straight), along x, bending towards y.
pub fn arc_tube(
    length_mm: f64,
    curvature_per_mm: f64,
    cells: u32,
    radius_mm: f64,
    wall_stiffness_n_per_mm2: f64,
) -> Vec<TubeStation> {
    let start = Frame::new(Point::origin(), Vector::x(), Vector::y());
    (0..=cells)
        .map(|i| {
            let s_mm = length_mm * f64::from(i) / f64::from(cells);
            TubeStation {
                s_mm,
                frame: start.along_arc(s_mm, s_mm * curvature_per_mm, 0.0),
                radius_mm,
                wall_stiffness_n_per_mm2,
            }
        })
        .collect()
}
