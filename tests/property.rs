//! Invariants of geometry, mostly on random input.
#![expect(clippy::unwrap_used, reason = "a failing test may stop anywhere")]

use crate::support::trees::{
    arch_tree, femoral, frame, moved_arch_tree, radial, radial_right, run,
};
use nalgebra::{Isometry3, Translation3, UnitQuaternion};
use nestline_physics::geometry::{
    Branch, Curve, Frame, GeometryError, Lumen, MeasureSettings, Measures, Ostium, Place, Run,
    TortuositySettings, Track, TrackSettings, Tree, Vector, tortuosity,
};
use proptest::prelude::*;
use serde_json::Value;
use std::f64::consts::TAU;

/// All numbers of two values agree to `tolerance`, relative above 1.
fn agree(a: &Value, b: &Value, tolerance: f64, path: &str) -> Result<(), String> {
    match (a, b) {
        (Value::Number(x), Value::Number(y)) => {
            let (x, y) = (x.as_f64().unwrap(), y.as_f64().unwrap());
            if (x - y).abs() <= tolerance * x.abs().max(1.0) {
                Ok(())
            } else {
                Err(format!("{path}: {x} and {y}"))
            }
        }
        (Value::Array(x), Value::Array(y)) if x.len() == y.len() => x
            .iter()
            .zip(y)
            .enumerate()
            .try_for_each(|(i, (x, y))| agree(x, y, tolerance, &format!("{path}[{i}]"))),
        (Value::Object(x), Value::Object(y)) if x.len() == y.len() => x
            .iter()
            .try_for_each(|(k, x)| agree(x, &y[k], tolerance, &format!("{path}.{k}"))),
        _ if a == b => Ok(()),
        _ => Err(format!("{path}: {a} and {b}")),
    }
}

fn measures(tree: &Tree, route: (Place, Place), up: Vector) -> Value {
    let track = tree.track(route.0, route.1, 1.0).unwrap();
    let settings = MeasureSettings::with(|s| s.up = up.into()).unwrap();
    serde_json::to_value(Measures::of(tree, &track, &settings).unwrap()).unwrap()
}

/// What every track promises about its tube; the worst product of curvature and radius.
fn check_tube(track: &Track, limit: f64) -> f64 {
    let length = track.length_mm();
    let cells = (track.stations.len() - 1) as f64;
    assert!(
        (track.spacing_mm * cells - length).abs() < 1e-9,
        "{cells} cells of {} mm do not make {length} mm",
        track.spacing_mm
    );
    for (i, station) in track.stations.iter().enumerate() {
        let at = track.spacing_mm * i as f64;
        assert!(
            (station.s_mm - at).abs() < 1e-9,
            "station {i} lies at {}",
            station.s_mm
        );
        let off = (station.frame.origin_mm - track.frame_at(at).origin_mm).norm();
        assert!(off < 1e-6, "station {i} is off the centre line by {off}");
        assert!(
            (station.turning_rad - track.turning_between(0.0, at)).abs() < 1e-9,
            "station {i} has turned by {}",
            station.turning_rad
        );
    }
    let mut worst = 0.0_f64;
    let samples = 20 * track.stations.len();
    for i in 0..=samples {
        let s = length * i as f64 / samples as f64;
        let product = track.curve.curvature_at(s) * 0.5 * track.healthy_diameter_at(s);
        assert!(
            product <= limit * (1.0 + 1e-9),
            "{product} at {s} mm, {}",
            track.place_name(s)
        );
        worst = worst.max(product);
        // neither a gap nor an overlap: a chord is as long as its arc but for its bend
        let further = length * (i + 1) as f64 / samples as f64;
        if further <= length {
            let chord = (track.curve.point_at(further) - track.curve.point_at(s)).norm();
            let share = chord / (further - s);
            assert!(
                (0.99..1.0 + 1e-9).contains(&share),
                "chord over arc is {share} at {s} mm"
            );
        }
        let next = (s + 1e-6).min(length);
        let bend = (track.curve.tangent_at(next) - track.curve.tangent_at(s)).norm();
        assert!(bend < 1e-5, "corner of {bend} rad at {s} mm");
    }
    worst
}

#[test]
fn property_the_tube_of_every_route_is_sound() {
    let tree = arch_tree();
    for (name, route) in [
        ("femoral", femoral()),
        ("radial", radial()),
        ("radial to the right", radial_right()),
    ] {
        for (access, target) in [route, (route.1, route.0)] {
            let track = tree.track(access, target, 1.0).unwrap();
            let worst = check_tube(&track, 0.9);
            println!(
                "{name}: {:.1} mm, worst product {worst:.2}",
                track.length_mm()
            );
        }
    }
}

#[test]
fn property_the_tube_stays_within_the_walls() {
    let tree = arch_tree();
    // share of the radius by which the tube cuts the edge between two lumens: a quarter of the
    // narrower one where there is room; the arm's turn by 130 degrees into the right carotid has none
    for (name, (access, target), allowed) in [
        ("femoral", femoral(), 0.36),
        ("radial", radial(), 0.4),
        ("radial to the right", radial_right(), 0.8),
    ] {
        let track = tree.track(access, target, 1.0).unwrap();
        let mut worst = (0.0, 0.0);
        for station in &track.stations {
            let radius_mm = 0.5 * track.healthy_diameter_at(station.s_mm);
            let excess_mm = tree
                .branches
                .iter()
                .map(|branch| {
                    let (at_mm, off_mm) = branch.curve.closest(&station.frame.origin_mm);
                    off_mm + radius_mm - 0.5 * branch.lumen.diameter_at(at_mm)
                })
                .fold(f64::INFINITY, f64::min);
            if excess_mm / radius_mm > worst.0 {
                worst = (excess_mm / radius_mm, station.s_mm);
            }
        }
        println!("{name}: {:.2} of the radius at {:.0} mm", worst.0, worst.1);
        assert!(
            worst.0 < allowed,
            "{name}: the tube is {} of its radius through the wall, {}",
            worst.0,
            track.place_name(worst.1)
        );
    }
}

#[test]
fn exact_segments_and_landmarks_follow_the_route() {
    let (access, target) = radial();
    let track = arch_tree().track(access, target, 1.0).unwrap();
    let names: Vec<&str> = track.segments.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "right-subclavian",
            "innominate",
            "aorta",
            "left-common-carotid",
            "left-internal-carotid",
            "left-m1",
            "left-m2"
        ],
        "from the arm over the arch into the left carotid"
    );
    assert!(
        track.segments[0].start_mm.abs() < 1e-9,
        "starts at the access"
    );
    for pair in track.segments.windows(2) {
        let gap = pair[1].start_mm - pair[0].end_mm;
        assert!(gap.abs() < 1e-9, "gap of {gap} before {}", pair[1].name);
    }
    let end = track.segments.last().unwrap().end_mm;
    assert!((end - track.length_mm()).abs() < 1e-9, "ends at the target");
    assert!(
        track.landmarks.windows(2).all(|w| w[0].s_mm <= w[1].s_mm),
        "landmarks in order: {:?}",
        track.landmarks
    );
    for name in [
        "innominate-origin",
        "left-m1-origin",
        "skull-base",
        "clot-end",
    ] {
        assert!(track.landmark(name).is_ok(), "{name} is on the route");
    }
    assert!(
        track.landmark("left-internal-carotid-origin").is_err(),
        "the bifurcation is a landmark already"
    );
}

#[test]
fn property_every_place_reaches_every_other_or_is_refused_for_overlap() {
    let tree = arch_tree();
    let mut refused = Vec::new();
    for a in 0..tree.branches.len() {
        for b in 0..tree.branches.len() {
            for share in [0.0, 0.03, 0.5, 0.97, 1.0] {
                let place = |branch: usize, share: f64| Place {
                    branch,
                    at_mm: tree.branches[branch].curve.length_mm() * share,
                };
                match tree.track(place(a, share), place(b, 0.4), 1.0) {
                    Ok(track) => {
                        check_tube(&track, 0.9);
                    }
                    Err(GeometryError::SelfOverlap { .. }) => refused.push((a, b, share)),
                    Err(other) => panic!("{a} at {share} to {b}: {other}"),
                }
            }
        }
    }
    assert!(refused.is_empty(), "refused: {refused:?}");
}

#[test]
fn property_short_branches_between_ostia_work() {
    // first segment of the middle cerebral artery from almost nothing to its usual length
    for length_mm in [0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 20.0] {
        let mut tree = arch_tree();
        let start = tree.branches[7].curve.start();
        tree.branches[7].curve = Curve::from_runs(start, &[run(length_mm, 0.0, 0.0)]).unwrap();
        let end = tree.branches[7].curve.end();
        let away = Frame::new(end.origin_mm, end.tangent * 0.4 - end.n2, end.n1);
        tree.branches[8].curve = Curve::from_runs(away, &[run(25.0, 0.5, 0.0)]).unwrap();
        tree.branches[8].ostium = Some(Ostium {
            branch: 7,
            at_mm: length_mm,
        });
        tree.clots.clear();
        let (access, target) = femoral();
        let track = tree.track(access, target, 1.0).unwrap();
        let worst = check_tube(&track, 0.9);
        let (a, b) = (
            track.landmark("left-m1-origin").unwrap(),
            track.landmark("left-m2-origin").unwrap(),
        );
        println!(
            "{length_mm} mm: product {worst:.2}, {:.2} mm between the ostia",
            b - a
        );
        assert!(
            (0.0..=length_mm).contains(&(b - a)),
            "{} mm between the ostia of a branch of {length_mm} mm",
            b - a
        );
    }
}

#[test]
fn property_spacing_does_not_move_the_tube() {
    let (access, target) = femoral();
    let tree = arch_tree();
    let fine = tree.track(access, target, 0.25).unwrap();
    for spacing in [0.5, 1.0, 3.0, 10.0] {
        let track = tree.track(access, target, spacing).unwrap();
        for station in &track.stations {
            let radius = fine.radius_at(station.s_mm);
            assert!(
                (station.radius_mm - radius).abs() < 1e-12,
                "spacing {spacing} at {}: {} is not {radius}",
                station.s_mm,
                station.radius_mm
            );
            let normal = (station.frame.n1 - fine.frame_at(station.s_mm).n1).norm();
            assert!(
                normal < 1e-9,
                "spacing {spacing} at {}: {normal}",
                station.s_mm
            );
        }
    }
}

#[test]
fn property_a_stricter_limit_is_kept_or_refused() {
    let (access, target) = femoral();
    let tree = arch_tree();
    for overlap_limit in [0.95, 0.9, 0.8, 0.7, 0.6, 0.5, 0.3] {
        let settings = TrackSettings::with(|s| s.overlap_limit = overlap_limit).unwrap();
        match tree.track_with(access, target, &settings) {
            Ok(track) => {
                check_tube(&track, overlap_limit);
            }
            Err(GeometryError::SelfOverlap {
                curvature_per_mm,
                radius_mm,
                ..
            }) => {
                let product = curvature_per_mm * radius_mm;
                assert!(
                    product > overlap_limit,
                    "refused at {product} under a limit of {overlap_limit}"
                );
                assert!(overlap_limit < 0.75, "refused already at {overlap_limit}");
            }
            Err(other) => panic!("{other}"),
        }
    }
}

fn motion() -> impl Strategy<Value = Isometry3<f64>> {
    (
        prop::array::uniform3(-500.0..500.0),
        prop::array::uniform3(-3.0..3.0),
    )
        .prop_map(|(shift, turn)| {
            Isometry3::from_parts(
                Translation3::from(Vector::from(shift)),
                UnitQuaternion::from_scaled_axis(Vector::from(turn)),
            )
        })
}

fn runs() -> impl Strategy<Value = Vec<Run>> {
    prop::collection::vec((5.0..60.0, 0.0..2.0, 0.0..TAU), 1..8)
        .prop_map(|runs| runs.into_iter().map(|(l, t, r)| run(l, t, r)).collect())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn property_measures_do_not_depend_on_pose(motion in motion()) {
        let up = motion * Vector::z();
        for route in [femoral(), radial()] {
            let here = measures(&arch_tree(), route, Vector::z());
            let there = measures(&moved_arch_tree(&motion), route, up);
            // the acute angle of a tangent errs by 1e-8 where two are parallel
            let same = agree(&here, &there, 1e-6, "measures");
            prop_assert!(same.is_ok(), "{same:?}");
        }
    }

    #[test]
    fn property_reversal_changes_no_measure(runs in runs()) {
        let start = frame([0.0, 0.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]);
        let curve = Curve::from_runs(start, &runs).unwrap();
        let length = curve.length_mm();
        let back = curve.section(length, 0.0).unwrap();
        let settings = TortuositySettings::default();
        let mut a = tortuosity(&curve, 0.0, length, &settings).unwrap();
        let mut b = tortuosity(&back, 0.0, length, &settings).unwrap();
        // of equally sharp bends each takes its first
        if (a.sharpest.middle_mm + b.sharpest.middle_mm - length).abs() > 1e-6 {
            a.sharpest.middle_mm = 0.0;
            b.sharpest.middle_mm = 0.0;
        } else {
            b.sharpest.middle_mm = a.sharpest.middle_mm;
        }
        let same = agree(
            &serde_json::to_value(a).unwrap(),
            &serde_json::to_value(b).unwrap(),
            1e-7,
            "tortuosity",
        );
        prop_assert!(same.is_ok(), "{same:?}");
    }

    #[test]
    fn property_the_way_back_is_the_same_tube(swap in 0..3_usize) {
        let tree = arch_tree();
        let (access, target) = [femoral(), radial(), radial_right()][swap];
        let there = tree.track(access, target, 1.0).unwrap();
        let back = tree.track(target, access, 1.0).unwrap();
        let length = there.length_mm();
        prop_assert!((back.length_mm() - length).abs() < 1e-6, "{} is not {length}", back.length_mm());
        for i in 0..=1000 {
            let s = length * f64::from(i) / 1000.0;
            let off = (there.curve.point_at(s) - back.curve.point_at(length - s)).norm();
            prop_assert!(off < 1e-6, "{off} mm apart at {s}");
            let radius = there.radius_at(s) - back.radius_at(length - s);
            prop_assert!(radius.abs() < 1e-6, "radius differs by {radius} at {s}");
        }
    }

    #[test]
    fn property_splitting_a_run_changes_nothing(runs in runs(), share in 0.05..0.95_f64, which in 0..8_usize) {
        let which = which % runs.len();
        let mut split = runs.clone();
        let whole = split[which];
        let cut = whole.diameter_start_mm + (whole.diameter_end_mm - whole.diameter_start_mm) * share;
        split[which] = Run {
            length_mm: whole.length_mm * share,
            turn_rad: whole.turn_rad * share,
            diameter_end_mm: cut,
            ..whole
        };
        split.insert(which + 1, Run {
            length_mm: whole.length_mm * (1.0 - share),
            turn_rad: whole.turn_rad * (1.0 - share),
            diameter_start_mm: cut,
            ..whole
        });
        let start = frame([3.0, 0.0, 0.0], [0.2, 0.0, 1.0], [1.0, 0.0, 0.0]);
        let (a, b) = (Curve::from_runs(start, &runs).unwrap(), Curve::from_runs(start, &split).unwrap());
        let settings = TortuositySettings::default();
        let of = |c: &Curve| serde_json::to_value(tortuosity(c, 0.0, c.length_mm(), &settings).unwrap()).unwrap();
        let same = agree(&of(&a), &of(&b), 1e-6, "tortuosity");
        prop_assert!(same.is_ok(), "{same:?}");
        for i in 0..=50 {
            let s = a.length_mm() * f64::from(i) / 50.0;
            let (x, y) = (a.frame_at(s), b.frame_at(s));
            let off = (x.origin_mm - y.origin_mm).norm() + (x.n1 - y.n1).norm();
            prop_assert!(off < 1e-10, "{off} at {s} mm");
        }
    }

    #[test]
    fn property_ostia_share_the_branch_between_them(
        middle_mm in 0.3..60.0_f64,
        turns in prop::array::uniform2(0.0..1.3_f64),
        roll in 0.0..TAU,
        diameters in prop::array::uniform3(2.0..9.0_f64),
    ) {
        let mut branches: Vec<Branch> = Vec::new();
        let mut start = frame([0.0, 0.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]);
        for (i, length_mm) in [60.0, middle_mm, 60.0].into_iter().enumerate() {
            let curve = Curve::from_runs(start, &[run(length_mm, 0.01, 0.0)]).unwrap();
            start = curve.end().turned(turns[i.min(1)], roll * i as f64);
            branches.push(Branch {
                name: ["low", "middle", "high"][i].into(),
                ostium: i.checked_sub(1).map(|branch| Ostium {
                    branch,
                    at_mm: branches[branch].curve.length_mm(),
                }),
                curve,
                lumen: Lumen::uniform(diameters[i]),
                wall_stiffness_n_per_mm2: 0.5,
            });
        }
        let tree = Tree { branches, landmarks: vec![], lesions: vec![], clots: vec![] };
        let (low, high) = (Place { branch: 0, at_mm: 0.0 }, Place { branch: 2, at_mm: 60.0 });
        let track = tree.track(low, high, 1.0);
        prop_assert!(track.is_ok(), "60 mm on both sides make every bend: {track:?}");
        check_tube(&track.unwrap(), 0.9);
    }

    #[test]
    fn property_ostium_radius_falls_monotonically_between_its_lumens(
        turn in 0.0..2.6_f64,
        parent_mm in 4.0..28.0_f64,
        child_share in 0.2..1.0_f64,
        bent in 0.0..1.0_f64,
        upwards in any::<bool>(),
    ) {
        let child_mm = parent_mm * child_share;
        let start = frame([0.0, 0.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]);
        let parent = Curve::from_runs(start, &[run(90.0, bent, 2.0)]).unwrap();
        let off = parent.end().turned(turn, 0.5);
        let child = Curve::from_runs(off, &[run(90.0, 0.5 * bent, 0.0)]).unwrap();
        let branch = |name: &str, ostium, curve, diameter_mm| Branch {
            name: name.into(),
            ostium,
            curve,
            lumen: Lumen::uniform(diameter_mm),
            wall_stiffness_n_per_mm2: 0.5,
        };
        let tree = Tree {
            branches: vec![
                branch("parent", None, parent, parent_mm),
                branch("child", Some(Ostium { branch: 0, at_mm: 90.0 }), child, child_mm),
            ],
            landmarks: vec![],
            lesions: vec![],
            clots: vec![],
        };
        let (low, high) = (Place { branch: 0, at_mm: 0.0 }, Place { branch: 1, at_mm: 90.0 });
        let (access, target) = if upwards { (high, low) } else { (low, high) };
        match tree.track(access, target, 1.0) {
            Ok(track) => {
                check_tube(&track, 0.9);
                let sense = if upwards { -1.0 } else { 1.0 };
                for pair in track.stations.windows(2) {
                    let fall = sense * (pair[0].radius_mm - pair[1].radius_mm);
                    prop_assert!(fall > -1e-9, "radius rises by {} at {}", -fall, pair[0].s_mm);
                }
                for station in &track.stations {
                    prop_assert!(
                        2.0 * station.radius_mm > child_mm - 1e-9,
                        "{} is narrower than {child_mm}", 2.0 * station.radius_mm
                    );
                }
                let ends = (track.stations[0].radius_mm, track.stations.last().unwrap().radius_mm);
                let widest = 2.0 * ends.0.max(ends.1);
                prop_assert!((widest - parent_mm).abs() < 1e-9, "the parent starts at {widest}");
            }
            Err(GeometryError::SelfOverlap { .. }) => {
                // 90 mm limbs make every bend up to 2.6 rad unless the child is as wide as the aorta
                prop_assert!(child_mm > 8.0 && turn > 1.5, "refused {turn} rad into {child_mm} mm");
            }
            Err(other) => prop_assert!(false, "{other}"),
        }
    }
}

#[test]
fn property_what_reaches_past_the_target_keeps_its_length() {
    let tree = arch_tree();
    let (access, _) = femoral();
    let whole = tree
        .track(
            access,
            Place {
                branch: 8,
                at_mm: 20.0,
            },
            1.0,
        )
        .unwrap();
    let short = tree
        .track(
            access,
            Place {
                branch: 8,
                at_mm: 4.0,
            },
            1.0,
        )
        .unwrap();
    let end = |track: &Track| track.clots[0].end_mm;
    assert!(
        (end(&whole) - end(&short)).abs() < 1e-9 && end(&short) > short.length_mm() + 1.0,
        "the clot ends at {} and {} on routes of {} and {} mm",
        end(&whole),
        end(&short),
        whole.length_mm(),
        short.length_mm()
    );
    // past the end of the last branch there is no route to bend along
    let mut long = arch_tree();
    long.clots[0].length_mm = 80.0;
    let track = long
        .track(
            access,
            Place {
                branch: 8,
                at_mm: 20.0,
            },
            1.0,
        )
        .unwrap();
    let length = track.clots[0].end_mm - track.clots[0].start_mm;
    assert!(
        (78.0..=80.0).contains(&length),
        "a clot of 80 mm has {length}"
    );
    assert!(
        short.landmark("clot-start").is_ok() && short.landmark("clot-end").is_err(),
        "only what lies on the route is a landmark"
    );
}

#[test]
fn exact_dissection_and_rigid_ring_ride_along() {
    let mut tree = arch_tree();
    tree.lesions[0].false_lumen_mm = Some(3.0);
    tree.lesions[0].rigid = true;
    let (access, target) = femoral();
    let track = tree.track(access, target, 1.0).unwrap();
    let lesion = &track.lesions[track.lesion("neck-lesion").unwrap()];
    assert_eq!(lesion.false_lumen_mm, Some(3.0), "false lumen");
    assert!(lesion.rigid, "ring");
    assert!(
        (lesion.residual_mm - 1.41).abs() < 1e-9,
        "residual {}",
        lesion.residual_mm
    );
    // a lesion off the route is left out
    let (access, target) = radial_right();
    let right = tree.track(access, target, 1.0).unwrap();
    assert!(
        right.lesions.is_empty() && right.clots.is_empty(),
        "nothing of the left side"
    );
}
