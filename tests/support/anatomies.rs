//! What tests of vessels from measurements ask of them.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use nestline_physics::geometry::Vector;
use nestline_physics::geometry::anatomy::Anatomy;

/// Direction of a branch at a place on it.
pub(crate) fn tangent(anatomy: &Anatomy, branch: &str, at_mm: f64) -> Vector {
    let branch = anatomy.tree.branch(branch).unwrap();
    anatomy.tree.branches[branch].curve.tangent_at(at_mm)
}

/// Holds a found value against an entered one.
pub(crate) fn close(what: &str, found: f64, entered: f64, tolerance: f64) {
    assert!(
        (found - entered).abs() <= tolerance,
        "{what}: {found} against {entered}"
    );
}
