//! One suite that every kind of curve must pass.
#![expect(clippy::unwrap_used, reason = "a failing test may stop anywhere")]

use crate::support::trees::{arch_tree, femoral, frame, run};
use nestline_physics::geometry::{Curve, Point};
use std::f64::consts::PI;

/// What a kind of curve promises.
struct Promise {
    name: &'static str,
    curve: Curve,
    /// Relative error of arc lengths.
    length: f64,
    /// Rotation of the frame about the tangent, rad a rad of turning.
    twist: f64,
}

fn kinds() -> Vec<Promise> {
    let start = frame([1.0, 2.0, 3.0], [0.3, -0.2, 1.0], [1.0, 0.0, 0.0]);
    let runs = Curve::from_runs(
        start,
        &[
            run(10.0, 0.0, 0.0),
            run(12.0, 2.5, 0.7),
            run(8.0, 1.0, 0.7 + PI),
            run(20.0, 7.0, -1.0),
            run(5.0, 0.0, 0.0),
        ],
    )
    .unwrap();
    let points: Vec<Point> = (0..=60)
        .map(|i| f64::from(i) * 0.15)
        .map(|t| {
            Point::new(
                6.0 * t.cos(),
                5.0 * t.sin(),
                2.0 * t + 0.3 * (3.0 * t).sin(),
            )
        })
        .collect();
    let spline = Curve::through_points(&points).unwrap();
    let (access, target) = femoral();
    let track = arch_tree().track(access, target, 1.0).unwrap().curve;
    let exact = |name, curve| Promise {
        name,
        curve,
        length: 1e-12,
        twist: 1e-8,
    };
    let approximate = |name, curve| Promise {
        name,
        curve,
        length: 1e-10,
        twist: 1e-6,
    };
    vec![
        exact("arc part, backwards", runs.section(41.0, 3.0).unwrap()),
        exact("runs", runs),
        exact("track", track),
        approximate("spline part, backwards", spline.section(40.0, 7.3).unwrap()),
        approximate("spline", spline),
        approximate(
            "two points",
            Curve::through_points(&[Point::origin(), Point::new(1.0, 2.0, -2.0)]).unwrap(),
        ),
    ]
}

/// Arc lengths spread over a curve, its ends and seams included.
fn places(curve: &Curve) -> Vec<f64> {
    (0..=500)
        .map(|i| curve.length_mm() * f64::from(i) / 500.0)
        .collect()
}

#[test]
fn contract_frames_are_right_handed_and_orthonormal() {
    for kind in kinds() {
        for s in places(&kind.curve) {
            let f = kind.curve.frame_at(s);
            let worst = [
                f.tangent.norm() - 1.0,
                f.n1.norm() - 1.0,
                f.tangent.dot(&f.n1),
                (f.tangent.cross(&f.n1) - f.n2).norm(),
            ]
            .map(f64::abs)
            .into_iter()
            .fold(0.0, f64::max);
            assert!(worst < 1e-12, "{} at {s} mm: {worst}", kind.name);
        }
    }
}

#[test]
fn contract_parameter_is_arc_length() {
    // chords of a smooth curve are short of the arc by h^3 kappa^2 / 24: halve until that is seen
    for kind in kinds() {
        let length = kind.curve.length_mm();
        let polygon = |cells: u32| -> f64 {
            let points: Vec<Point> = (0..=cells)
                .map(|i| {
                    kind.curve
                        .point_at(length * f64::from(i) / f64::from(cells))
                })
                .collect();
            points.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
        };
        // Richardson: the error of the polygon is even in the cell
        let (a, b) = (polygon(20_000), polygon(40_000));
        let extrapolated = b + (b - a) / 3.0;
        // seams leave an error of the third order, 1e-9 of the length here
        assert!(
            (extrapolated / length - 1.0).abs() < 2e-9,
            "{}: {extrapolated} is not {length}",
            kind.name
        );
    }
}

#[test]
fn contract_tangent_is_the_derivative_by_arc_length() {
    // steps of 1e-3 mm: chord errs by h^2 kappa' / 6, rounding by 1e-13 / h
    let h = 1e-3;
    for kind in kinds() {
        let length = kind.curve.length_mm();
        for s in places(&kind.curve) {
            if s < h || s > length - h {
                continue;
            }
            let chord = kind.curve.point_at(s + h) - kind.curve.point_at(s - h);
            let miss = (chord / (2.0 * h) - kind.curve.tangent_at(s)).norm();
            // at a seam curvature jumps, by 0.4 / mm at most here
            assert!(miss < 0.2 * h, "{} at {s} mm: {miss}", kind.name);
        }
    }
}

#[test]
fn contract_position_and_direction_are_continuous() {
    let h = 1e-7;
    for kind in kinds() {
        let length = kind.curve.length_mm();
        for i in 0..4000 {
            let s = (length - h) * f64::from(i) / 3999.0;
            let (a, b) = (kind.curve.frame_at(s), kind.curve.frame_at(s + h));
            let jump = (b.origin_mm - a.origin_mm).norm();
            let bend = (b.tangent - a.tangent).norm() + (b.n1 - a.n1).norm();
            assert!((jump - h).abs() < 1e-11, "{} at {s} mm: {jump}", kind.name);
            assert!(bend < 2.0 * h + 1e-12, "{} at {s} mm: {bend}", kind.name);
        }
    }
}

#[test]
fn property_seams_are_continuous() {
    // the runs above meet at these places; 1e-9 on either side must agree
    let kind = &kinds()[1];
    for seam in [10.0, 22.0, 30.0, 50.0] {
        let (a, b) = (
            kind.curve.frame_at(seam - 1e-9),
            kind.curve.frame_at(seam + 1e-9),
        );
        let jump = (b.origin_mm - a.origin_mm).norm() + (b.tangent - a.tangent).norm();
        assert!(jump < 5e-9, "seam at {seam} mm: {jump}");
        assert!((b.n1 - a.n1).norm() < 2e-9, "normal at {seam} mm");
    }
}

#[test]
fn contract_frames_do_not_twist() {
    for kind in kinds() {
        let length = kind.curve.length_mm();
        // the check itself errs at seams by the square of its cells: 0.002 mm is enough
        let cells = (0..).find(|n| f64::from(*n) * 0.002 > length).unwrap();
        let mut twist = 0.0;
        let mut last = kind.curve.frame_at(0.0);
        for i in 1..=cells {
            let next = kind
                .curve
                .frame_at(length * f64::from(i) / f64::from(cells));
            // rotation about the mean tangent
            let change = next.n1 - last.n1;
            twist += change.dot(&(last.n2 + next.n2)) * 0.5;
            last = next;
        }
        let turning = kind.curve.turning_to(length).max(1.0);
        println!("{}: {:.1e}", kind.name, twist / turning);
        assert!(
            (twist / turning).abs() < kind.twist,
            "{}: {} rad a rad",
            kind.name,
            twist / turning
        );
    }
}

#[test]
fn contract_closest_point_of_a_point_on_the_curve_is_itself() {
    for kind in kinds() {
        for s in places(&kind.curve) {
            let point = kind.curve.point_at(s);
            let (at, distance) = kind.curve.closest(&point);
            assert!(distance < 1e-8, "{} at {s} mm: {distance}", kind.name);
            let back = (kind.curve.point_at(at) - point).norm();
            assert!(back < 1e-8, "{} at {s} mm: {back}", kind.name);
        }
    }
}

#[test]
fn contract_closest_beats_every_sample() {
    for kind in kinds() {
        for (i, s) in places(&kind.curve).into_iter().enumerate().step_by(25) {
            let f = kind.curve.frame_at(s);
            let out = f64::from(u32::try_from(i).unwrap() % 7);
            let point = f.origin_mm + f.n1 * out - f.n2 * (0.3 * out);
            let (at, distance) = kind.curve.closest(&point);
            let there = (kind.curve.point_at(at) - point).norm();
            assert!(
                (there - distance).abs() < 1e-8,
                "{}: place and distance disagree by {}",
                kind.name,
                there - distance
            );
            for sample in places(&kind.curve) {
                let other = (kind.curve.point_at(sample) - point).norm();
                assert!(
                    distance <= other + 1e-9,
                    "{} at {s} mm: {distance} where {other} is to be had",
                    kind.name
                );
            }
        }
    }
}

#[test]
fn contract_curvature_is_the_rate_of_turning() {
    for kind in kinds() {
        let length = kind.curve.length_mm();
        for s in places(&kind.curve) {
            let h = 1e-4;
            if s < h || s > length - h {
                continue;
            }
            let rate = (kind.curve.turning_to(s + h) - kind.curve.turning_to(s - h)) / (2.0 * h);
            let (before, after) = (
                kind.curve.curvature_at(s - h),
                kind.curve.curvature_at(s + h),
            );
            assert!(
                rate > before.min(after) - 1e-3 && rate < before.max(after) + 1e-3,
                "{} at {s} mm: {rate} is not between {before} and {after}",
                kind.name
            );
        }
    }
}

#[test]
fn contract_curvature_is_the_derivative_of_the_tangent() {
    // steps of 1e-4 mm: the difference errs by h^2 and by rounding over h, both below 1e-8
    let h = 1e-4;
    for kind in kinds() {
        let length = kind.curve.length_mm();
        for s in places(&kind.curve) {
            if s < h || s > length - h {
                continue;
            }
            let curvature = kind.curve.curvature_at(s);
            let jump = kind.curve.curvature_at(s + h) - kind.curve.curvature_at(s - h);
            if jump.abs() > 1e-2 {
                continue; // a seam
            }
            let change = kind.curve.tangent_at(s + h) - kind.curve.tangent_at(s - h);
            let miss = change.norm() / (2.0 * h) - curvature;
            // smooth curvature changes by less than its jump over 2 h
            assert!(
                miss.abs() < 1e-6 + jump.abs(),
                "{} at {s} mm: off by {miss} from {curvature}",
                kind.name
            );
        }
    }
}

#[test]
fn contract_section_is_the_same_curve() {
    for kind in kinds() {
        let length = kind.curve.length_mm();
        let (from, to) = (0.13 * length, 0.86 * length);
        let forward = kind.curve.section(from, to).unwrap();
        let backward = kind.curve.section(to, from).unwrap();
        for part in [&forward, &backward] {
            let miss = part.length_mm() / (to - from) - 1.0;
            assert!(miss.abs() < kind.length, "{}: {miss}", kind.name);
        }
        for i in 0..=100 {
            let along = (to - from) * f64::from(i) / 100.0;
            let want = kind.curve.frame_at(from + along);
            let a = forward.frame_at(along);
            let b = backward.frame_at(to - from - along);
            let miss = (a.origin_mm - want.origin_mm)
                .norm()
                .max((b.origin_mm - want.origin_mm).norm());
            let bend = (a.tangent - want.tangent)
                .norm()
                .max((b.tangent + want.tangent).norm());
            assert!(miss < 1e-7, "{} at {along} mm: {miss}", kind.name);
            assert!(bend < 1e-7, "{} at {along} mm: {bend}", kind.name);
        }
    }
}

#[test]
fn exact_a_spline_passes_its_points_in_their_order() {
    // a coil of three turns that ends where it began: places close by are not taken for each other; so many
    // points that a look at all pieces for each would not end
    let count = 30_000_u32;
    let points: Vec<Point> = (0..=count)
        .map(|i| {
            let turn = 6.0 * PI * f64::from(i) / f64::from(count);
            Point::new(
                20.0 * turn.cos(),
                20.0 * turn.sin(),
                0.01 * (turn / 3.0).sin(),
            )
        })
        .collect();
    let curve = Curve::through_points(&points).unwrap();
    let places = curve.passes(&points);
    assert_eq!(places.len(), points.len(), "one for each");
    assert!(places.windows(2).all(|pair| pair[0] < pair[1]), "rising");
    for (i, (point, s_mm)) in points.iter().zip(&places).enumerate().step_by(97) {
        let miss_mm = (curve.point_at(*s_mm) - point).norm();
        assert!(miss_mm < 1e-9, "point {i}: {miss_mm}");
        let exact_mm = 120.0 * PI * f64::from(u32::try_from(i).unwrap()) / f64::from(count);
        assert!(
            (s_mm - exact_mm).abs() < 0.01,
            "point {i}: {s_mm} for {exact_mm}"
        );
    }
}

#[test]
fn exact_refusals_name_what_is_wrong() {
    let refusal = |points: &[Point]| Curve::through_points(points).unwrap_err().to_string();
    let p = Point::new;
    assert_eq!(
        refusal(&[p(0.0, 0.0, 0.0)]),
        "points needs at least 2 entries, has 1",
        "one point is no curve"
    );
    assert_eq!(
        refusal(&[p(0.0, 0.0, 0.0), p(0.0, f64::NAN, 0.0)]),
        "points[1].y is NaN, must be finite",
        "a point that is none"
    );
    assert_eq!(
        refusal(&[p(0.0, 0.0, 0.0), p(1.0, 0.0, 0.0), p(1.0, 0.0, 0.0)]),
        "the distance from points[1] to points[2] is 0, must be > 0 mm: drop one of two equal points",
        "two equal points"
    );
    let curve = Curve::through_points(&[p(0.0, 0.0, 0.0), p(1.0, 0.0, 0.0)]).unwrap();
    assert_eq!(
        curve.section(0.5, 0.5).unwrap_err().to_string(),
        "the length of a section is 0, must be > 0 mm",
        "an empty section"
    );
}
