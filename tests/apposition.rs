//! The rim of a stent in a bend: beam on a bed, gaps by angle, limits.

use nestline_physics::device::{StentDesign, StentSpec};
use nestline_physics::geometry::{Frame, Point, Vector};
use nestline_physics::mechanics::{Rim, long_stent_shift, rim_shifts};
use std::f64::consts::PI;

fn bend(curvature_per_mm: f64, length_mm: u32) -> Vec<Frame> {
    let start = Frame::new(Point::origin(), Vector::x(), Vector::y());
    (0..=length_mm)
        .map(|i| {
            let s_mm = f64::from(i);
            start.along_arc(s_mm, s_mm * curvature_per_mm, 0.0)
        })
        .collect()
}

fn braided() -> StentSpec {
    StentSpec {
        design: StentDesign::Braided {
            wires: 24,
            wire_diameter_mm: 0.10,
            braid_angle_deg: 30.0,
            youngs_modulus_gpa: 206.0,
            poisson_ratio: 0.3,
        },
        free_diameter_mm: 8.0,
        free_length_mm: 40.0,
        nose_length_mm: 15.0,
    }
}

#[test]
fn exact_beam_on_a_bed_in_an_even_bend() {
    // 20 N mm2 on 0.2 N/mm2: the end effect dies out over (4 B / k)^(1/4) = 4.5 mm of 60.
    let (stiffness, bed) = (20.0, 0.2);
    for curvature in [1.0 / 200.0, 1.0 / 60.0] {
        let (shift_mm, tilt_rad) = long_stent_shift(curvature, stiffness, bed);
        let found = rim_shifts(&bend(curvature, 60), 1.0, stiffness, bed).unwrap();
        for (end, rim) in ["near", "far"].iter().zip(found) {
            let size = rim.shift_mm[0].hypot(rim.shift_mm[1]);
            // cells of 1 mm against 4.5 mm, and a finite slope: a few percent
            assert!(
                (size / shift_mm - 1.0).abs() < 0.06,
                "{end}: {size} against {shift_mm}"
            );
            let tilt = rim.tilt_rad;
            assert!(
                (tilt / tilt_rad - 1.0).abs() < 0.25,
                "{end}: {tilt} against {tilt_rad}"
            );
            // the bend turns towards the first normal: a straight stent's end is pushed outwards
            assert!(rim.shift_mm[0] < 0.0, "{end}: {:?}", rim.shift_mm);
        }
    }
}

#[test]
fn exact_no_shift_without_a_bend() {
    for rim in rim_shifts(&bend(0.0, 40), 1.0, 20.0, 0.05).unwrap() {
        let size = rim.shift_mm[0].hypot(rim.shift_mm[1]);
        assert!(size < 1e-9 && rim.tilt_rad < 1e-6, "{rim:?}");
    }
    assert!(
        rim_shifts(&bend(0.0, 3), 1.0, 20.0, 0.05).is_err(),
        "too short to tell"
    );
}

#[test]
fn exact_gaps_by_angle() {
    // Too narrow by 0.5 mm of radius, straight: the same gap all round.
    let narrow = Rim::even(3.5, 3.0, 0.2, 12);
    assert!(
        narrow.gaps_mm(8).iter().all(|g| (g - 0.5).abs() < 1e-12),
        "{narrow:?}"
    );
    // Pushed to one side by 0.8 mm with 0.3 mm of reserve: 0.5 mm on the other side, none here.
    let pushed = Rim {
        rim_radius_mm: 3.5,
        reserve_mm: 0.3,
        shift_mm: [-0.8, 0.0],
        ..narrow
    };
    assert!(
        (pushed.gap_mm(0.0) - 0.5).abs() < 1e-12,
        "{}",
        pushed.gap_mm(0.0)
    );
    assert!(pushed.gap_mm(PI).abs() < 1e-12, "pressed on the wall");
    assert!(pushed.gap_mm(PI / 2.0).abs() < 1e-12, "held by its reserve");
    let (gap_mm, angle_rad) = pushed.worst_gap();
    assert!(
        (gap_mm - 0.5).abs() < 1e-12 && angle_rad.abs() < 1e-12,
        "{gap_mm} {angle_rad}"
    );
}

#[test]
fn exact_crowns_are_straight_over_a_cell() {
    // k l^2 / 2 with l the length of a diamond at the diameter held: pitch / 12 of 24 wires.
    let spec = braided();
    let rim = Rim::of_stent(&spec, 5.0, 5.0, 1.0 / 30.0, 0.4, [0.0; 2]).unwrap();
    let cell_mm = spec.braid().unwrap().pitch_mm(5.0).unwrap() / 12.0;
    let crown_mm = cell_mm * cell_mm / 60.0;
    assert!(
        (rim.gap_mm(0.4) - crown_mm).abs() < 1e-12,
        "inside of the bend"
    );
    assert!(rim.gap_mm(0.4 + PI).abs() < 1e-12, "outside of the bend");
    assert!((rim.reserve_mm - 1.5).abs() < 1e-12, "half of 8 less 5 mm");
    assert!(
        Rim::of_stent(&spec, 5.0, 0.0, 0.0, 0.0, [0.0; 2]).is_err(),
        "no vessel"
    );
}

#[test]
fn property_gap_grows_with_the_bend_and_falls_with_oversize() {
    let spec = braided();
    let stiff = StentSpec {
        free_diameter_mm: 9.0,
        ..spec
    };
    let worst = |spec: &StentSpec, shift_mm: f64, curvature: f64| {
        Rim::of_stent(spec, 5.0, 5.0, curvature, 0.0, [-shift_mm, 0.0])
            .unwrap()
            .worst_gap()
            .0
    };
    let mut last = -1.0;
    for i in 0..12 {
        let shift_mm = 0.3 * f64::from(i);
        let gap_mm = worst(&spec, shift_mm, 0.01 * f64::from(i));
        assert!(gap_mm >= last, "{shift_mm}: {gap_mm} after {last}");
        assert!(
            worst(&stiff, shift_mm, 0.0) <= worst(&spec, shift_mm, 0.0),
            "{shift_mm}: more oversize, less gap"
        );
        last = gap_mm;
    }
    assert!(last > 1.0, "{last}");
}
