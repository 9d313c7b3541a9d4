//! Trees built from forms, against what the form says.

use super::Branches;
use crate::data::decode::decode;
use crate::geometry::{Point, Tree, Vector};
use std::f64::consts::PI;
use std::sync::Arc;

fn tree(text: &str) -> Tree {
    let text: Arc<str> = Arc::from(text);
    let form: Branches = decode("test", &text).unwrap();
    let mut complaints = Vec::new();
    let built = form.build("form", &mut complaints);
    assert!(complaints.is_empty(), "{complaints:?}");
    built.unwrap().tree
}

/// 80 mm up, a half turn of 90 mm towards x, 100 mm down; a child at the top of the turn.
const HOOK: &str = r#"(
    wall_stiffness_n_per_mm2: 0.1,
    branches: [
        (name: "child", wall_stiffness_n_per_mm2: 0.5, course: Runs(
            start: Leaves(branch: "hook", at: "top", turn_deg: 90, roll_deg: 180),
            runs: [(length: "2 cm", lumen: "6 mm", lumen_end: "4 mm"),
                   (length: "10 mm", lumen: "5 mm")])),
        (name: "hook", course: Runs(
            start: Root(origin_mm: (1, 2, 3), direction: (0, 0, 2), normal: (1, 0, 5)),
            runs: [(length: "80 mm", lumen: "25 mm"),
                   (length: "90 mm", turn_deg: 180, lumen: "25 mm", lumen_end: "22 mm"),
                   (length: "100 mm", lumen: "22 mm")])),
        (name: "traced", course: Points(
            leaves: (branch: "child", at: "end"), unit: "cm",
            points: [POINTS])),
    ],
    landmarks: [(name: "top", branch: "hook", at: "125 mm")],
    access: (branch: "hook", at: "end - 1 cm"),
    targets: [(name: "tip", branch: "child", at: "end")],
)"#;

/// End of the child, from the closed form below: 30 mm above the top of the hook.
fn child_end_mm() -> Point {
    let radius_mm = 90.0 / PI;
    Point::new(1.0 + radius_mm, 2.0, 3.0 + 80.0 + radius_mm + 30.0)
}

fn hook() -> Tree {
    let p = child_end_mm() / 10.0;
    let points = format!(
        "({:.5}, {:.5}, {:.5}, 0.25), ({:.5}, {:.5}, {:.5}, 0.2), ({:.5}, {:.5}, {:.5}, 0.15)",
        p.x,
        p.y,
        p.z,
        p.x,
        p.y,
        p.z + 1.0,
        p.x,
        p.y,
        p.z + 3.0
    );
    tree(&HOOK.replace("POINTS", &points))
}

fn assert_near(found: Point, wanted: Point, what: &str) {
    let miss_mm = (found - wanted).norm();
    assert!(miss_mm < 1e-9, "{what}: {found} against {wanted}");
}

#[test]
fn exact_hook_ends_beside_its_start() {
    let tree = hook();
    let hook = &tree.branches[1];
    assert_eq!(hook.name, "hook");
    assert!((hook.curve.length_mm() - 270.0).abs() < 1e-9, "length");
    // diameter of the half turn to the side of the normal, 20 mm below the start
    let end = Point::new(1.0 + 2.0 * 90.0 / PI, 2.0, 3.0 - 20.0);
    assert_near(hook.curve.end().origin_mm, end, "end of the hook");
    assert_near(
        hook.curve.start().origin_mm,
        Point::new(1.0, 2.0, 3.0),
        "root",
    );
}

#[test]
fn exact_child_leaves_the_top_square_against_the_bend() {
    let tree = hook();
    let child = &tree.branches[0];
    let ostium = child.ostium.unwrap();
    assert_eq!(ostium.branch, 1, "its parent");
    assert!((ostium.at_mm - 125.0).abs() < 1e-9, "{ostium:?}");
    // at the top the flow is along x and the bend pulls down: roll 180 is straight up
    let start = child.curve.start();
    let up = Vector::new(0.0, 0.0, 1.0);
    assert!((start.tangent - up).norm() < 1e-9, "{}", start.tangent);
    assert_near(
        child.curve.end().origin_mm,
        child_end_mm(),
        "end of the child",
    );
}

#[test]
fn exact_lumen_steps_where_runs_differ() {
    let tree = hook();
    let lumen = &tree.branches[0].lumen;
    for (at_mm, diameter_mm) in [
        (0.0, 6.0),
        (10.0, 5.0),
        (19.999_999, 4.0),
        (20.0, 5.0),
        (30.0, 5.0),
    ] {
        let found = lumen.diameter_at(at_mm);
        assert!((found - diameter_mm).abs() < 1e-5, "{at_mm}: {found}");
    }
    let stiffness = tree.branches.iter().map(|b| b.wall_stiffness_n_per_mm2);
    let stiffness: Vec<f64> = stiffness.collect();
    assert!(
        stiffness
            .iter()
            .zip([0.5, 0.1, 0.1])
            .all(|(a, b)| (a - b).abs() < 1e-12),
        "{stiffness:?}"
    );
}

#[test]
fn exact_traced_branch_passes_its_points_with_their_radii() {
    let tree = hook();
    let traced = &tree.branches[2];
    // collinear points: the spline is the straight line through them
    for (at_mm, diameter_mm) in [(0.0, 5.0), (10.0, 4.0), (20.0, 3.5), (30.0, 3.0)] {
        let found = traced.lumen.diameter_at(at_mm);
        assert!((found - diameter_mm).abs() < 1e-6, "{at_mm}: {found}");
        let point = traced.curve.point_at(at_mm);
        let wanted = child_end_mm() + Vector::new(0.0, 0.0, at_mm);
        // coordinates are written with five decimals of a centimetre
        assert!((point - wanted).norm() < 2e-4, "{at_mm}: {point}");
    }
    assert!(tree.check().is_ok(), "{:?}", tree.check());
}

#[test]
fn exact_lesion_refers_to_the_healthy_lumen_behind_it() {
    let text = HOOK.replace("POINTS", "").replace(
        "landmarks:",
        r#"lesions: [(name: "plaque", kind: Plaque, branch: "child", start: "5 mm", length: "10 mm",
            nascet_percent: 70)], landmarks:"#,
    );
    let cut = text.find("        (name: \"traced\"").unwrap();
    let end = text.find("    ],\n").unwrap();
    let tree = tree(&format!("{}{}", &text[..cut], &text[end..]));
    // from 6 to 4 mm over 20 mm: 4.5 mm where the lesion ends
    let lesion = &tree.lesions[0];
    assert!((lesion.reference_mm - 4.5).abs() < 1e-9, "{lesion:?}");
    assert!((lesion.residual_mm() - 1.35).abs() < 1e-9, "{lesion:?}");
}
