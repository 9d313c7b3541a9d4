//! What a lesion asks of a device that is too wide for it, against closed forms.
#![expect(clippy::unwrap_used, reason = "a helper that fails fails the test")]

use crate::support::materials::plaque_law;
use nestline_physics::mechanics::{
    Bed, Passage, Passed, PassingKnot, PlaqueLaw, Squeeze, Squeezed, Way,
};

/// Radial force per length of 2 N/mm2 times the depth, all of which comes back.
const SPRING: PlaqueLaw = PlaqueLaw {
    stiffness_n_per_mm2: 1.0,
    kept: 0.0,
    kept_bare: 0.0,
    artery_n_per_mm: 0.4,
};
const MU: f64 = 0.05;
const OPEN_MM: f64 = 0.6;
const DEEP_MM: f64 = 0.4;

fn knot(from_front_mm: f64, radius_mm: f64) -> PassingKnot {
    PassingKnot {
        from_front_mm,
        radius_mm,
    }
}

/// A device in an even lesion that reaches over 100 mm.
fn met(law: &PlaqueLaw, mu: f64, wall_mm: f64, passage: &Passage<'_>) -> Squeezed {
    let bed = |_: f64| Bed {
        rest_mm: 2.0 * OPEN_MM,
        healthy_mm: 8.0,
        plaque_share: 1.0,
        rigid: false,
    };
    let squeeze = Squeeze {
        law,
        friction: mu,
        wall_mm,
    };
    let vessel = Passed {
        bed: &bed,
        carried_mm: &|_| 0.0,
        opened_mm: 0.0,
        within_mm: [0.0, 100.0],
    };
    squeeze.meet(passage, &vessel).unwrap()
}

/// With its front so far on and nowhere further before.
fn forward(profile: &[PassingKnot], front_mm: f64) -> Passage<'_> {
    Passage {
        profile,
        front_mm,
        furthest_mm: front_mm,
        way: Way::Forward,
    }
}

fn cone_mm(angle_deg: f64) -> f64 {
    DEEP_MM / angle_deg.to_radians().tan()
}

fn assert_near(found: f64, exact: f64, what: &str) {
    assert!(
        (found - exact).abs() < 6e-6,
        "{what}: {found} against {exact}"
    );
}

#[test]
fn exact_cylinder_and_cones() {
    // 0.05 of 2 N/mm2 times 0.4 mm over 15 mm; cones by U (1 + mu cot) and -U (1 - mu cot), U = 0.16 N
    let wide_mm = OPEN_MM + DEEP_MM;
    let cylinder = [knot(0.0, 1e-9), knot(20.0, 1e-9), knot(20.0, wide_mm)];
    let found = met(&SPRING, MU, 0.0, &forward(&cylinder, 35.0));
    assert_near(found.along_n, 0.6, "a cylinder with 15 mm inside");
    assert_near(
        found.opening_n,
        0.16 * (1.0 + MU),
        "its bare step, as a cone of 45 degrees",
    );
    assert!(
        (found.ledge_mm - DEEP_MM).abs() < 1e-9,
        "{}",
        found.ledge_mm
    );

    for (angle_deg, enters_n, leaves_n) in [
        (5.0, 0.251_44, -0.068_56),
        (10.0, 0.205_37, -0.114_63),
        (20.0, 0.181_98, -0.138_02),
    ] {
        let long_mm = cone_mm(angle_deg);
        let enters = [knot(0.0, OPEN_MM), knot(long_mm, wide_mm)];
        let found = met(&SPRING, MU, 0.0, &forward(&enters, long_mm + 15.0));
        assert_near(found.opening_n, enters_n, "a cone that opens");
        assert_near(found.force_n(), 0.6 + enters_n, "with 15 mm behind it");
        assert_near(found.ledge_mm, 0.0, "no ledge");

        let both = [
            knot(0.0, OPEN_MM),
            knot(long_mm, wide_mm),
            knot(long_mm + 15.0, wide_mm),
            knot(2.0 * long_mm + 15.0, OPEN_MM),
        ];
        let found = met(&SPRING, MU, 0.0, &forward(&both, 80.0));
        assert_near(found.leaving_n, leaves_n, "a cone that leaves");
        assert_near(
            found.force_n(),
            0.6 + enters_n + leaves_n,
            "both cones inside",
        );
        let by_place: f64 = found.by_place.iter().map(|f| f.force_n).sum();
        assert_near(by_place, found.force_n(), "by place");
    }
}

#[test]
fn exact_without_friction_only_what_recoils_comes_back() {
    let law = PlaqueLaw {
        kept_bare: 0.49,
        ..SPRING
    };
    let wide_mm = OPEN_MM + DEEP_MM;
    for long_mm in [1.0, 6.0] {
        let spindle = [
            knot(0.0, OPEN_MM),
            knot(long_mm, wide_mm),
            knot(long_mm + 5.0, wide_mm),
            knot(2.0 * long_mm + 5.0, OPEN_MM),
        ];
        let found = met(&law, 0.0, 0.7, &forward(&spindle, 60.0));
        assert_near(found.opening_n, 0.16, "U, whatever the cone");
        // the law turns within a cell: 3e-4 of a newton
        let off_n = found.leaving_n + 0.16 * 0.51;
        assert!(
            off_n.abs() < 3e-4,
            "the part of it that recoils: {off_n} off"
        );
        // back again: its rear cone opens what has closed, its front cone lets go
        let back = Passage {
            front_mm: 50.0,
            furthest_mm: 60.0,
            way: Way::Back,
            ..forward(&spindle, 60.0)
        };
        let found = met(&law, 0.0, 0.7, &back);
        let off_n = found.opening_n - 0.16 * 0.51;
        assert!(
            off_n.abs() < 3e-4,
            "a cone opens what recoiled: {off_n} N off"
        );
        let lost_n = found.force_n();
        assert!(
            lost_n.abs() < 3e-4,
            "nothing is lost on the way back: {lost_n} N"
        );
    }
}

#[test]
fn reference_cones_against_an_axisymmetric_shell() {
    // A tube of 1 MPa, 0.7 mm thick, 2.5 mm of radius, widened by 0.5 mm with friction 0.1: an axisymmetric shell on a
    // foundation, solved beside this, needs 0.689, 0.520 and 0.434 N at cones of 5, 10 and 20 degrees.
    let (radius_mm, deep_mm, wall_mm, mu) = (2.5_f64, 0.5, 0.7, 0.1);
    let tube = PlaqueLaw {
        stiffness_n_per_mm2: std::f64::consts::PI * wall_mm / radius_mm,
        kept: 0.0,
        kept_bare: 0.0,
        artery_n_per_mm: 0.0,
    };
    let bed = |_: f64| Bed {
        rest_mm: 2.0 * radius_mm,
        healthy_mm: 20.0,
        plaque_share: 1.0,
        rigid: false,
    };
    let squeeze = Squeeze {
        law: &tube,
        friction: mu,
        // of the thickness by which the middle surface is reckoned
        wall_mm: wall_mm * radius_mm / (radius_mm + deep_mm),
    };
    for (angle_deg, shell_n) in [(5.0_f64, 0.689), (10.0, 0.520), (20.0, 0.434)] {
        let long_mm = deep_mm / angle_deg.to_radians().tan();
        let end_mm = long_mm + 1e-3;
        let profile = [
            knot(0.0, radius_mm),
            knot(long_mm, radius_mm + deep_mm),
            knot(end_mm, radius_mm + deep_mm),
            knot(end_mm, radius_mm),
        ];
        let vessel = Passed {
            bed: &bed,
            carried_mm: &|_| 0.0,
            opened_mm: 0.0,
            within_mm: [0.0, 100.0],
        };
        let found = squeeze.meet(&forward(&profile, 40.0), &vessel).unwrap();
        let ours_n = found.opening_n + found.along_n;
        let off = ours_n / shell_n - 1.0;
        assert!(
            off.abs() < 0.065,
            "{angle_deg} degrees: {ours_n} N against {shell_n} N"
        );
    }
}

#[test]
fn property_grows_with_depth_length_and_friction() {
    let profile = |radius_mm: f64| [knot(0.0, 0.3), knot(15.0, radius_mm)];
    let at = |radius_mm: f64, front_mm: f64, mu: f64| {
        let law = plaque_law();
        met(&law, mu, 0.7, &forward(&profile(radius_mm), front_mm)).force_n()
    };
    let usual = at(1.0, 40.0, 0.04);
    assert!(at(1.1, 40.0, 0.04) > usual, "deeper");
    assert!(at(1.0, 45.0, 0.04) > usual, "longer");
    assert!(at(1.0, 40.0, 0.05) > usual, "rougher");
    assert!(
        at(OPEN_MM, 40.0, 0.05).abs() < 1e-12,
        "as wide as the lumen"
    );
}

#[test]
fn property_second_passage_meets_what_the_first_left() {
    let law = plaque_law();
    let profile = [knot(0.0, 0.3), knot(15.0, 1.0)];
    let first = met(&law, 0.04, 0.7, &forward(&profile, 60.0));
    let again = Passage {
        front_mm: 60.0,
        furthest_mm: 90.0,
        ..forward(&profile, 60.0)
    };
    let again = met(&law, 0.04, 0.7, &again);
    assert!(again.opening_n < first.opening_n, "less to open");
    assert_near(
        again.along_n,
        first.along_n,
        "as wide as before, held as before",
    );
}

#[test]
fn exact_nothing_of_what_rides_inside_its_rail() {
    // the rail has opened the lumen further than the cone does: the plaque rests on the rail
    let law = plaque_law();
    let profile = [knot(0.0, 0.7), knot(10.0, 0.75)];
    let bed = |_: f64| Bed {
        rest_mm: 1.0,
        healthy_mm: 5.0,
        plaque_share: 1.0,
        rigid: false,
    };
    let squeeze = Squeeze {
        law: &law,
        friction: 0.04,
        wall_mm: 0.7,
    };
    let meet = |carried_mm: f64| {
        let vessel = Passed {
            bed: &bed,
            carried_mm: &|_| carried_mm,
            opened_mm: 0.0,
            within_mm: [0.0, 50.0],
        };
        squeeze.meet(&forward(&profile, 30.0), &vessel).unwrap()
    };
    assert!(meet(0.8).along_n.abs() < 1e-12, "on its rail");
    let (bare, led) = (meet(0.0), meet(0.6));
    assert_near(bare.ledge_mm, 0.2, "from the open lumen");
    assert_near(led.ledge_mm, 0.1, "from what leads it");
    assert!(led.opening_n < bare.opening_n, "less to open");
}

#[test]
fn exact_refusals() {
    let law = plaque_law();
    let squeeze = Squeeze {
        law: &law,
        friction: 0.04,
        wall_mm: 0.7,
    };
    let vessel = Passed {
        bed: &|_| Bed::healthy(4.0),
        carried_mm: &|_| 0.0,
        opened_mm: 0.0,
        within_mm: [0.0, 50.0],
    };
    let refused = |profile: &[PassingKnot], front_mm: f64, furthest_mm: f64| {
        let passage = Passage {
            profile,
            front_mm,
            furthest_mm,
            way: Way::Forward,
        };
        squeeze.meet(&passage, &vessel).unwrap_err().to_string()
    };
    assert!(refused(&[], 1.0, 1.0).contains("profile"), "empty");
    assert!(
        refused(&[knot(0.0, 0.0)], 1.0, 1.0).contains("radius_mm"),
        "no radius"
    );
    assert!(
        refused(&[knot(1.0, 1.0)], 1.0, 1.0).contains("from_front_mm"),
        "not from 0"
    );
    assert!(
        refused(&[knot(0.0, 1.0)], 2.0, 1.0).contains("furthest_mm"),
        "behind"
    );
}
