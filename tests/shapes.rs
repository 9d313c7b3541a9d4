//! Shapes that differ: take-offs by arch, carotids by side, trunks by width; the external carotid as a route.
#![expect(
    clippy::panic,
    reason = "functions outside #[test] ones may stop the test"
)]

use crate::support::anatomies::{close, tangent};
use nestline_physics::geometry::Vector;
use nestline_physics::geometry::anatomy::{Access, Anatomy, Measurements, NoteValue, Sex, Side};

fn blank(side: Side) -> Measurements {
    Measurements::new(Sex::Male, 70.0, Access::FemoralRight, side)
}

fn at_mm(anatomy: &Anatomy, landmark: &str) -> f64 {
    let found = anatomy.tree.landmarks.iter().find(|l| l.name == landmark);
    found
        .unwrap_or_else(|| panic!("landmark {landmark}"))
        .place
        .at_mm
}

/// The way from the arch up the external carotid, where a wire gives support without touching the lesion.
#[test]
fn exact_the_external_carotid_is_a_route() {
    let anatomy = blank(Side::Left).build().unwrap();
    let target = anatomy.target("external-carotid").unwrap();
    let track = anatomy.tree.track(anatomy.access, target, 1.0).unwrap();
    let end_mm = track.landmark("external-carotid-end").unwrap();
    let bifurcation_mm = track.landmark("carotid-bifurcation").unwrap();
    // Boileau et al. 2015: 61 mm
    close("length", end_mm - bifurcation_mm, 60.9, 1.0);
    assert!(
        track.landmark("skull-base").is_err(),
        "another way than the internal one"
    );
    assert!(track.lesions.is_empty(), "no lesion on it");
}

#[test]
fn exact_small_branches_leave_the_siphon_forwards_and_backwards() {
    for side in [Side::Left, Side::Right] {
        let anatomy = blank(side).build().unwrap();
        let siphon = anatomy.tree.branch("internal-carotid").unwrap();
        for (name, length_mm, diameter_mm, backwards) in [
            ("ophthalmic", 11.0, 1.4, -1.0),
            ("posterior-communicating", 15.0, 1.46, 1.0),
        ] {
            let k = anatomy.tree.branch(name).unwrap();
            let branch = &anatomy.tree.branches[k];
            let ostium = branch.ostium.unwrap();
            assert_eq!(ostium.branch, siphon, "{name}");
            let beyond_mm = at_mm(&anatomy, "ophthalmic");
            assert!(
                ostium.at_mm >= beyond_mm && ostium.at_mm < at_mm(&anatomy, "ica-terminus"),
                "{name}"
            );
            let outside_mm = branch.curve.length_mm() - length_mm;
            assert!(
                (0.5..4.0).contains(&outside_mm),
                "{name}: from the centre line to the wall {outside_mm}"
            );
            close(name, branch.lumen.diameter_at(0.0), diameter_mm, 1e-9);
            let heading = branch.curve.tangent_at(0.0);
            assert!(heading.y * backwards > 0.5, "{name} heads {heading:?}");
        }
    }
}

#[test]
fn exact_both_common_carotids_bend_in_their_own_way() {
    let anatomy = blank(Side::Left).build().unwrap();
    let course = |side: &str| {
        let k = anatomy
            .tree
            .branch(&format!("{side}-common-carotid"))
            .unwrap();
        let curve = &anatomy.tree.branches[k].curve;
        let at = |share: f64| curve.point_at(share * curve.length_mm());
        let (from, to) = (at(0.25), at(1.0));
        // how far the S swings sideways and backwards off the straight line
        let mut swing = Vector::zeros();
        for i in 0..=100 {
            let share = 0.25 + 0.75 * f64::from(i) / 100.0;
            let off = at(share) - (from + (to - from) * (f64::from(i) / 100.0));
            if off.norm() > swing.norm() {
                swing = off;
            }
        }
        swing
    };
    let (left, right) = (course("left"), course("right"));
    let mirrored = Vector::new(-left.x, left.y, left.z);
    assert!(
        mirrored.angle(&right).to_degrees() > 15.0,
        "not each other's mirror: {left:?} and {right:?}"
    );
}

#[test]
fn exact_trunks_differ_and_the_wider_one_bends_off_less() {
    let anatomy = blank(Side::Left).build().unwrap();
    let flow = tangent(&anatomy, "m1", at_mm(&anatomy, "m1-end"));
    let off_deg = ["m2-superior", "m2-inferior"]
        .map(|m2| flow.angle(&tangent(&anatomy, m2, 0.0)).to_degrees());
    assert!(
        off_deg[1] + 15.0 < off_deg[0],
        "the inferior trunk is wider: {off_deg:?}"
    );
    let length_mm = ["m2-superior-end", "m2-inferior-end"].map(|end| at_mm(&anatomy, end));
    assert!(length_mm[1] - length_mm[0] > 4.0, "{length_mm:?}");
    // Murray's angles for 2.79, 2.71 and 2.09 mm by hand: 33.4 and 67.7 degrees
    let note = anatomy
        .values
        .iter()
        .find(|n| n.name == "layout.m2_inferior_share_of_angle")
        .unwrap();
    let NoteValue::Number(share) = note.value else {
        panic!("{note:?}");
    };
    close("share", share, 33.4 / (33.4 + 67.7), 2e-3);
}
