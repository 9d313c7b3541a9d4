//! Trees and curves shared by the geometry tests, all invented.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use nalgebra::Isometry3;
use nestline_physics::geometry::{
    Branch, Clot, Curve, Frame, Landmark, Lesion, LesionKind, Lumen, Ostium, Place, Point, Run,
    Tree, Vector,
};
use std::f64::consts::PI;

pub(crate) fn frame(origin: [f64; 3], tangent: [f64; 3], hint: [f64; 3]) -> Frame {
    Frame::new(
        Point::from(origin),
        Vector::from(tangent),
        Vector::from(hint),
    )
}

pub(crate) fn run(length_mm: f64, turn_rad: f64, roll_rad: f64) -> Run {
    Run {
        length_mm,
        turn_rad,
        roll_rad,
        diameter_start_mm: 5.0,
        diameter_end_mm: 5.0,
    }
}

fn lumen(knots_mm: &[(f64, f64)]) -> Lumen {
    Lumen {
        knots_mm: knots_mm.to_vec(),
    }
}

/// Child of a branch leaving at `at_mm` in a direction, made of runs.
fn child(
    tree: &Tree,
    name: &str,
    parent: usize,
    at_mm: f64,
    direction: Vector,
    runs: &[Run],
    knots_mm: &[(f64, f64)],
) -> Branch {
    let start = tree.branches[parent].curve.point_at(at_mm);
    // the moved x axis, whatever the motion of the whole tree
    let x = tree.branches[0].curve.start().n1 * 0.8 - tree.branches[0].curve.start().n2 * 0.6;
    let start = Frame::new(start, direction, x);
    Branch {
        name: name.into(),
        ostium: Some(Ostium {
            branch: parent,
            at_mm,
        }),
        curve: Curve::from_runs(start, runs).unwrap(),
        lumen: lumen(knots_mm),
        wall_stiffness_n_per_mm2: 0.5,
    }
}

/// An arch with a femoral and a radial limb and both carotids. x is the patient's left, y the
/// back, z the head.
pub(crate) fn arch_tree() -> Tree {
    moved_arch_tree(&Isometry3::identity())
}

/// The same after a rigid motion.
pub(crate) fn moved_arch_tree(motion: &Isometry3<f64>) -> Tree {
    let way = |v: [f64; 3]| motion * Vector::from(v);
    // ascending from the root, half a circle of radius 35 to the left and back, then down
    let root = Frame::new(
        motion * Point::origin(),
        way([0.0, 0.0, 1.0]),
        way([0.8, 0.6, 0.0]),
    );
    let aorta = Branch {
        name: "aorta".into(),
        ostium: None,
        curve: Curve::from_runs(
            root,
            &[
                run(40.0, 0.0, 0.0),
                run(35.0 * PI, PI, 0.0),
                run(400.0, 0.0, 0.0),
            ],
        )
        .unwrap(),
        lumen: lumen(&[(0.0, 30.0), (70.0, 28.0), (150.0, 24.0), (550.0, 17.0)]),
        wall_stiffness_n_per_mm2: 0.8,
    };
    let mut tree = Tree {
        branches: vec![aorta],
        landmarks: vec![],
        lesions: vec![],
        clots: vec![],
    };
    let end_mm = tree.branches[0].curve.length_mm();
    let b = child(
        &tree,
        "iliac",
        0,
        end_mm,
        way([0.4, -0.1, -1.0]),
        &[run(60.0, 0.0, 0.0), run(140.0, 0.8, 1.0)],
        &[(0.0, 10.0), (200.0, 7.3)],
    );
    tree.branches.push(b);
    let b = child(
        &tree,
        "innominate",
        0,
        80.0,
        way([-0.3, 0.1, 1.0]),
        &[run(33.0, 0.2, 0.5)],
        &[(0.0, 14.0), (14.0, 12.5), (33.0, 11.5)],
    );
    tree.branches.push(b);
    let b = child(
        &tree,
        "left-common-carotid",
        0,
        95.0,
        way([0.1, 0.1, 1.0]),
        &[run(60.0, 0.3, 0.0), run(64.0, 0.3, PI)],
        &[(0.0, 8.3), (18.0, 6.5), (124.0, 6.5)],
    );
    tree.branches.push(b);
    let b = child(
        &tree,
        "right-common-carotid",
        2,
        33.0,
        way([-0.2, 0.0, 1.0]),
        &[run(100.0, 0.3, 0.0)],
        &[(0.0, 7.0), (100.0, 6.5)],
    );
    tree.branches.push(b);
    let b = child(
        &tree,
        "right-subclavian",
        2,
        33.0,
        way([-1.0, 0.1, 0.5]),
        &[run(80.0, 1.2, 0.0), run(500.0, 0.2, 0.0)],
        &[(0.0, 9.0), (80.0, 6.5), (580.0, 2.8)],
    );
    tree.branches.push(b);
    let b = child(
        &tree,
        "left-internal-carotid",
        3,
        124.0,
        way([-0.2, 0.3, 1.0]),
        &[
            run(40.0, 0.6, 0.0),
            run(44.0, 0.6, PI),
            run(20.0, 1.5, 0.0),
            run(22.0, 2.0, PI),
            run(18.0, 2.2, 0.4),
        ],
        &[(0.0, 7.6), (20.0, 4.7), (100.0, 4.5), (144.0, 3.6)],
    );
    tree.branches.push(b);
    let end = tree.branches[6].curve.end();
    let t = end.tangent * 0.3 + end.n1;
    let b = child(
        &tree,
        "left-m1",
        6,
        144.0,
        t,
        &[run(6.0, 0.3, 0.0)],
        &[(0.0, 2.9), (6.0, 2.7)],
    );
    tree.branches.push(b);
    let (e, l) = (
        tree.branches[7].curve.end(),
        tree.branches[7].curve.length_mm(),
    );
    let t = e.tangent * 0.6 + e.n2;
    let b = child(
        &tree,
        "left-m2",
        7,
        l,
        t,
        &[run(25.0, 0.8, 1.0)],
        &[(0.0, 2.4), (25.0, 2.0)],
    );
    tree.branches.push(b);
    tree.landmarks = vec![
        Landmark {
            name: "carotid-bifurcation".into(),
            place: Place {
                branch: 6,
                at_mm: 0.0,
            },
        },
        Landmark {
            name: "skull-base".into(),
            place: Place {
                branch: 6,
                at_mm: 84.0,
            },
        },
    ];
    tree.lesions = vec![Lesion {
        name: "neck-lesion".into(),
        kind: LesionKind::Plaque,
        branch: 6,
        start_mm: 4.0,
        length_mm: 16.0,
        nascet_percent: 70.0,
        reference_mm: 4.7,
        false_lumen_mm: None,
        rigid: false,
    }];
    tree.clots = vec![Clot {
        name: "clot".into(),
        branch: 7,
        start_mm: 2.0,
        length_mm: 12.0,
    }];
    tree
}

/// The femoral route to the left M2.
pub(crate) fn femoral() -> (Place, Place) {
    (
        Place {
            branch: 1,
            at_mm: 190.0,
        },
        Place {
            branch: 8,
            at_mm: 20.0,
        },
    )
}

/// The radial route to the same place.
pub(crate) fn radial() -> (Place, Place) {
    (
        Place {
            branch: 5,
            at_mm: 570.0,
        },
        Place {
            branch: 8,
            at_mm: 20.0,
        },
    )
}

/// The radial route to the right carotid.
pub(crate) fn radial_right() -> (Place, Place) {
    (
        Place {
            branch: 5,
            at_mm: 570.0,
        },
        Place {
            branch: 4,
            at_mm: 90.0,
        },
    )
}
