//! Geometry against closed forms and published definitions.
#![expect(clippy::unwrap_used, reason = "a failing test may stop anywhere")]

use crate::support::trees::{arch_tree, femoral, frame, radial, run};
use nestline_physics::geometry::{
    ArchType, Branch, Curve, Frame, KinkGrade, Lesion, LesionKind, LesionMeasures, Lumen,
    MeasureSettings, Measures, Ostium, Place, Point, Run, TortuositySettings, Track, TrackLesion,
    Tree, tortuosity,
};
use std::f64::consts::{FRAC_PI_2, PI, SQRT_2, TAU};

fn upright() -> Frame {
    frame([0.0, 0.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0])
}

fn arcs(runs: &[Run]) -> Curve {
    Curve::from_runs(upright(), runs).unwrap()
}

fn measured(curve: &Curve) -> nestline_physics::geometry::Tortuosity {
    tortuosity(
        curve,
        0.0,
        curve.length_mm(),
        &TortuositySettings::default(),
    )
    .unwrap()
}

/// Radius 3, rise 2 a radian: curvature 3/13, torsion 2/13.
const HELIX: (f64, f64) = (3.0, 2.0);

/// A helix over some turns as a spline through points, the first half turn and the last one spent
/// on the spline's natural ends.
fn helix(points_per_turn: u32, turns: u32) -> Curve {
    let (a, b) = HELIX;
    let points: Vec<Point> = (0..=points_per_turn * turns)
        .map(|i| TAU * f64::from(i) / f64::from(points_per_turn))
        .map(|t| Point::new(a * t.cos(), a * t.sin(), b * t))
        .collect();
    Curve::through_points(&points).unwrap()
}

fn graph(of: impl Fn(f64) -> f64, to: f64, points: u32) -> Curve {
    let points: Vec<Point> = (0..=points)
        .map(|i| to * f64::from(i) / f64::from(points))
        .map(|x| Point::new(x, of(x), 0.0))
        .collect();
    Curve::through_points(&points).unwrap()
}

#[test]
fn exact_distance_metric_of_arcs() {
    for (degrees, want) in [
        (90.0_f64, 1.110_721),
        (180.0, FRAC_PI_2),
        (270.0, 3.332_162),
    ] {
        let turn = degrees.to_radians();
        let got = measured(&arcs(&[run(7.0 * turn, turn, 0.4)]));
        assert!(
            (got.distance_metric - want).abs() < 5e-7,
            "{degrees} degrees: {}",
            got.distance_metric
        );
        assert!(
            (got.turning_deg - degrees).abs() < 1e-10,
            "turning of {degrees} degrees: {}",
            got.turning_deg
        );
        assert!(
            (got.sum_of_angles_rad_per_mm - 1.0 / 7.0).abs() < 1e-12,
            "a circle's sum of angles is its curvature: {}",
            got.sum_of_angles_rad_per_mm
        );
    }
}

#[test]
fn exact_distance_metric_of_sines() {
    // values of the elliptic integral; the spline through 2,000 points errs by less than 1e-8
    for (amplitude, wavelength, want) in [
        (1.0, TAU, 1.216_007),
        (5.0, 40.0, 1.139_839),
        (10.0, 40.0, 1.463_695),
    ] {
        let sine = graph(
            |x| amplitude * (TAU * x / wavelength).sin(),
            wavelength,
            2000,
        );
        let got = measured(&sine).distance_metric;
        assert!(
            (got - want).abs() < 1e-6,
            "amplitude {amplitude}, wavelength {wavelength}: {got}"
        );
        let sharpest = (0..=4000)
            .map(|i| sine.curvature_at(sine.length_mm() * f64::from(i) / 4000.0))
            .fold(0.0, f64::max);
        let exact = amplitude * (TAU / wavelength).powi(2);
        assert!(
            (sharpest / exact - 1.0).abs() < 1e-4,
            "curvature of the crest: {sharpest} is not {exact}"
        );
    }
}

#[test]
fn exact_helix() {
    let (a, b) = HELIX;
    let square = a * a + b * b;
    let curve = helix(400, 6);
    let turn_mm = TAU * square.sqrt();
    for i in 0..=40 {
        let s = turn_mm * (1.0 + 4.0 * f64::from(i) / 40.0);
        let curvature = curve.curvature_at(s);
        assert!(
            (curvature - 0.230_769).abs() < 2e-5,
            "curvature {curvature}"
        );
    }
    let torsion: f64 = (0..400)
        .map(|i| curve.torsion_at(turn_mm * (2.0 + (f64::from(i) + 0.5) / 400.0)))
        .sum::<f64>()
        / 400.0;
    assert!((torsion - 0.153_846).abs() < 2e-5, "torsion {torsion}");
    let settings = TortuositySettings::with(|s| s.step_mm = 0.05).unwrap();
    let got = tortuosity(&curve, turn_mm, 4.0 * turn_mm, &settings).unwrap();
    assert!(
        (got.distance_metric - 1.802_776).abs() < 1e-6,
        "distance metric {}",
        got.distance_metric
    );
    assert!(
        (got.sum_of_angles_rad_per_mm - 0.277_350).abs() < 1e-4,
        "sum of angles {}",
        got.sum_of_angles_rad_per_mm
    );
    assert_eq!(got.inflections, 0, "a helix turns to one side");
}

/// Orders `log2(e(n) / e(2 n))` of errors at doubling resolution.
fn orders(errors: &[f64]) -> Vec<f64> {
    errors.windows(2).map(|w| (w[0] / w[1]).log2()).collect()
}

#[test]
fn exact_spline_is_fourth_order_its_curvature_second() {
    let (a, b) = HELIX;
    let speed = (a * a + b * b).sqrt();
    let mut place = Vec::new();
    let mut bend = Vec::new();
    let mut twist = Vec::new();
    for points in [16, 32, 64, 128] {
        let curve = helix(points, 10);
        // third to seventh turn: the natural ends fade by a factor of 3.7 a point
        let inside = |i: u32| TAU * speed * (3.0 + 4.0 * f64::from(i) / 397.0);
        let errors = (0..397).map(|i| {
            let at = curve.point_at(inside(i));
            let t = at.z / b;
            // distance across the helix, as the parameter itself errs along it
            let radial = at.x.hypot(at.y) - a;
            let turned = (at.y / at.x).atan() - t;
            let turned = turned - PI * (turned / PI).round();
            (
                radial.hypot(a * turned),
                curve.curvature_at(inside(i)) - 3.0 / 13.0,
            )
        });
        let (p, k) = errors.fold((0.0_f64, 0.0_f64), |m, e| {
            (m.0.max(e.0), m.1.max(e.1.abs()))
        });
        place.push(p);
        bend.push(k);
        let half_way = TAU * speed * (5.0 + 0.5 / f64::from(points));
        twist.push((curve.torsion_at(half_way) - 2.0 / 13.0).abs());
    }
    for (what, errors, order) in [
        ("place", place, 4.0),
        ("curvature", bend, 2.0),
        ("torsion", twist, 2.0),
    ] {
        for found in orders(&errors) {
            assert!(
                (found - order).abs() < 0.25,
                "{what}: order {found} of {errors:?}"
            );
        }
    }
}

#[test]
fn exact_double_reflection_is_fourth_order_on_a_helix() {
    let (a, b) = HELIX;
    let speed = (a * a + b * b).sqrt();
    let at = |t: f64| {
        let origin = Point::new(a * t.cos(), a * t.sin(), b * t);
        let tangent = Point::new(-a * t.sin(), a * t.cos(), b).coords / speed;
        let normal = Point::new(-t.cos(), -t.sin(), 0.0).coords;
        Frame::new(origin, tangent, normal)
    };
    // the principal normal turns by torsion times length against a frame without twist
    let exact = -2.0 / 13.0 * TAU * speed;
    let errors: Vec<f64> = [32_u32, 64, 128, 256]
        .map(|cells| {
            let mut carried = at(0.0);
            let mut turned = 0.0;
            let mut last = 0.0;
            for i in 1..=cells {
                let there = at(TAU * f64::from(i) / f64::from(cells));
                carried = carried.carried_to(there.origin_mm, there.tangent);
                let angle = carried.n1.dot(&there.n2).atan2(carried.n1.dot(&there.n1));
                let step: f64 = angle - last;
                turned += step - TAU * (step / TAU).round();
                last = angle;
            }
            (turned - exact).abs()
        })
        .to_vec();
    for order in orders(&errors) {
        assert!((order - 4.0).abs() < 0.1, "order {order} of {errors:?}");
    }
}

#[test]
fn exact_frame_of_a_spline_turns_against_the_helix_by_its_torsion() {
    let (a, b) = HELIX;
    let speed = (a * a + b * b).sqrt();
    let curve = helix(2000, 4);
    // where the normal points is known from the place: towards the axis
    let angle = |s: f64| {
        let f = curve.frame_at(s);
        let inward = -Point::new(f.origin_mm.x, f.origin_mm.y, 0.0)
            .coords
            .normalize();
        f.n1.dot(&f.tangent.cross(&inward)).atan2(f.n1.dot(&inward))
    };
    let (from, to) = (TAU * speed, 2.0 * TAU * speed);
    let turned = angle(to) - angle(from) + 2.0 / 13.0 * (to - from);
    let turned = turned - TAU * (turned / TAU).round();
    assert!(turned.abs() < 1e-5, "off by {turned} rad in one turn");
}

#[test]
fn exact_sum_of_angles_is_second_order_in_the_step() {
    let (a, b) = HELIX;
    let turn_mm = TAU * (a * a + b * b).sqrt();
    let curve = helix(3000, 4);
    let errors: Vec<f64> = [2.0, 1.0, 0.5, 0.25]
        .map(|step_mm| {
            let settings = TortuositySettings::with(|s| s.step_mm = step_mm).unwrap();
            let got = tortuosity(&curve, turn_mm, 3.0 * turn_mm, &settings).unwrap();
            (got.sum_of_angles_rad_per_mm - 1.0 / 13.0_f64.sqrt()).abs()
        })
        .to_vec();
    for order in orders(&errors) {
        assert!((order - 2.0).abs() < 0.1, "order {order} of {errors:?}");
    }
}

#[test]
fn exact_inflections_are_counted_and_are_no_torsion() {
    // S of two arcs: one inflection, so twice the distance metric; all turning is in plane
    let bend = measured(&arcs(&[run(10.0, 1.0, 0.0), run(10.0, 1.0, PI)]));
    assert_eq!(bend.inflections, 1, "an S turns once to the other side");
    assert!(
        (bend.inflection_count_metric - 2.0 * bend.distance_metric).abs() < 1e-12,
        "count plus one: {}",
        bend.inflection_count_metric
    );
    assert!(
        (bend.sum_of_angles_rad_per_mm - 0.1).abs() < 1e-12,
        "no jump at the inflection: {}",
        bend.sum_of_angles_rad_per_mm
    );
    // a straight stretch in between changes nothing about that
    let parted = measured(&arcs(&[
        run(10.0, 1.0, 0.0),
        run(30.0, 0.0, 0.0),
        run(10.0, 1.0, PI),
    ]));
    assert_eq!(parted.inflections, 1, "over a straight stretch");
    let same = measured(&arcs(&[
        run(10.0, 1.0, 0.0),
        run(30.0, 0.0, 0.0),
        run(10.0, 1.0, 0.0),
    ]));
    assert_eq!(same.inflections, 0, "a C has none");
    // a sine crosses its axis at the inner multiples of half a wavelength
    let sine = measured(&graph(|x| 5.0 * (TAU * x / 40.0).sin(), 80.0, 4000));
    assert_eq!(sine.inflections, 3, "two wavelengths");
    let mean = sine.turning_deg.to_radians() / sine.length_mm;
    assert!(
        (sine.sum_of_angles_rad_per_mm / mean - 1.0).abs() < 1e-3,
        "in plane the sum of angles is the mean curvature {mean}: {}",
        sine.sum_of_angles_rad_per_mm
    );
}

#[test]
fn exact_bends_are_peaks_of_curvature_in_one_plane() {
    let bends = |runs: &[Run]| measured(&arcs(runs)).bends;
    let straight = run(30.0, 0.0, 0.0);
    assert_eq!(bends(&[straight]), 0);
    assert_eq!(bends(&[run(10.0, 1.0, 0.0)]), 1);
    assert_eq!(bends(&[run(10.0, 1.0, 0.0), run(10.0, 1.0, PI)]), 2, "an S");
    let apart = [run(10.0, 1.0, 0.0), straight, run(10.0, 1.0, 0.0)];
    assert_eq!(bends(&apart), 2, "two of one side with a straight between");
    let beside = [run(10.0, 1.0, 0.0), run(10.0, 0.9, 0.0)];
    assert_eq!(bends(&beside), 1, "no valley between");
    let square = [run(10.0, 1.0, 0.0), run(10.0, 1.0, 0.5 * PI)];
    assert_eq!(bends(&square), 2, "in two planes");
    assert_eq!(
        bends(&[run(10.0, 0.3, 0.0)]),
        0,
        "17 degrees are not counted"
    );
    assert_eq!(bends(&[run(10.0, 0.4, 0.0)]), 1, "23 are");
    let sine = measured(&graph(|x| 5.0 * (TAU * x / 40.0).sin(), 80.0, 4000));
    assert_eq!(sine.bends, 4, "two wavelengths");
}

#[test]
fn exact_a_place_between_bends_has_no_plane() {
    // an S whose middle bends by next to nothing in a plane square to the others: noise of a tracing
    let noisy = [
        run(10.0, 1.0, 0.0),
        run(2.0, 0.03, 0.5 * PI),
        run(10.0, 1.0, PI),
    ];
    let bend = measured(&arcs(&noisy));
    assert_eq!(bend.inflections, 1, "one S");
    let turned = bend.turning_deg.to_radians() / bend.length_mm;
    assert!(
        (bend.sum_of_angles_rad_per_mm / turned - 1.0).abs() < 0.02,
        "no torsion: {} of {turned}",
        bend.sum_of_angles_rad_per_mm
    );
    let all = TortuositySettings::with(|s| {
        s.straight_below_per_mm = 1e-3;
        s.crest_share = 1e-3;
    });
    let curve = arcs(&noisy);
    let published = tortuosity(&curve, 0.0, curve.length_mm(), &all.unwrap()).unwrap();
    assert!(
        published.sum_of_angles_rad_per_mm > 1.3 * turned,
        "with all planes: {}",
        published.sum_of_angles_rad_per_mm
    );
    for share in [0.0, 1.0, f64::NAN] {
        assert!(
            TortuositySettings::with(|s| s.crest_share = share).is_err(),
            "{share}"
        );
        assert!(
            TortuositySettings::with(|s| s.valley_share = share).is_err(),
            "{share}"
        );
    }
}

#[test]
fn published_kink_grades() {
    // interior angle: mild 60 and more, moderate 30 to 60, severe below 30; none above 90
    for (interior, want) in [
        (120.0, KinkGrade::None),
        (91.0, KinkGrade::None),
        (89.0, KinkGrade::Mild),
        (61.0, KinkGrade::Mild),
        (59.0, KinkGrade::Moderate),
        (31.0, KinkGrade::Moderate),
        (29.0, KinkGrade::Severe),
        (5.0, KinkGrade::Severe),
    ] {
        let turn = (180.0_f64 - interior).to_radians();
        let neck = arcs(&[
            run(40.0, 0.1, 0.0),
            run(4.0 * turn, turn, 1.0),
            run(40.0, 0.0, 0.0),
        ]);
        let bend = measured(&neck).sharpest;
        // the first limb bends by 0.0025 rad/mm, which the window may add
        assert!(
            (bend.interior_deg - interior).abs() < 1.5 || bend.interior_deg < interior,
            "{interior}: {}",
            bend.interior_deg
        );
        let grade = KinkGrade::of(bend.interior_deg);
        assert_eq!(grade, want, "{interior} degrees between the limbs");
        assert_eq!(bend.grade, None, "a bare curve has no neck");
        assert!(
            (bend.middle_mm - 40.0 - 2.0 * turn).abs() < 0.5,
            "the bend of {interior} lies at {}",
            bend.middle_mm
        );
    }
    // half a turn spread over 63 mm is no kink however far round it goes
    let wide = measured(&arcs(&[run(20.0 * PI, PI, 0.0)])).sharpest;
    let want = 180.0 - (15.0_f64 / 20.0).to_degrees();
    assert!(
        (wide.interior_deg - want).abs() < 1.0,
        "wide curve: {}",
        wide.interior_deg
    );
}

fn lesion_on_track(residual_mm: f64, reference_mm: f64) -> TrackLesion {
    TrackLesion {
        name: "neck-lesion".into(),
        kind: LesionKind::Plaque,
        start_mm: 0.0,
        end_mm: 10.0,
        reference_mm,
        residual_mm,
        false_lumen_mm: None,
        rigid: false,
    }
}

#[test]
fn exact_stenosis_by_three_definitions() {
    // residual 1.4, artery beyond 4.7, original 7.6, common carotid 6.5 mm
    let got = LesionMeasures::new(&lesion_on_track(1.4, 4.7), 7.6, Some(6.5));
    for (what, found, want) in [
        ("NASCET", got.nascet_percent, 70.2),
        ("ECST", got.ecst_percent, 81.6),
        ("common carotid", got.common_carotid_percent.unwrap(), 78.5),
        ("area", got.area_percent, 91.1),
    ] {
        assert!((found - want).abs() < 0.05, "{what}: {found}");
    }
}

fn lesion(nascet_percent: f64, reference_mm: f64) -> Lesion {
    Lesion {
        name: "neck-lesion".into(),
        kind: LesionKind::Plaque,
        branch: 0,
        start_mm: 40.0,
        length_mm: 20.0,
        nascet_percent,
        reference_mm,
        false_lumen_mm: None,
        rigid: false,
    }
}

#[test]
fn published_residual_lumen_of_70_and_50_percent() {
    // CT angiography: 1.3 mm left at 70 percent, 2.2 mm at 50 (136 arteries; millimetre CT
    // angiography of carotid stenosis, AJNR 2006, pmc.ncbi.nlm.nih.gov/articles/PMC7976065), which
    // imply 4.3 to 4.4 mm beyond
    for (percent, want) in [(70.0, 1.3), (50.0, 2.2)] {
        let found = lesion(percent, 4.35).residual_mm();
        assert!((found - want).abs() < 0.05, "{percent} percent: {found} mm");
    }
    assert!(
        lesion(100.0, 4.35).residual_mm().abs() < 1e-15,
        "100 percent is shut"
    );
    assert!(
        (lesion(-10.0, 4.0).residual_mm() - 4.4).abs() < 1e-12,
        "a wide bulb may be wider than the artery beyond"
    );
}

/// An arch whose innominate leaves `before_top_rad` before the top of a half-circle of 35 mm.
fn arch_with_innominate(before_top_rad: f64) -> Tree {
    let mut tree = arch_tree();
    let at_mm = 40.0 + 35.0 * (FRAC_PI_2 - before_top_rad);
    let start = tree.branches[0].curve.point_at(at_mm);
    tree.branches[2].ostium = Some(Ostium { branch: 0, at_mm });
    let up = Frame::new(
        start,
        Point::new(0.0, 0.0, 1.0).coords,
        Point::new(1.0, 0.0, 0.0).coords,
    );
    tree.branches[2].curve = Curve::from_runs(up, &[run(33.0, 0.0, 0.0)]).unwrap();
    for child in [4, 5] {
        let from = tree.branches[2].curve.end();
        let runs = [run(600.0, 0.3, 0.0)];
        tree.branches[child].curve =
            Curve::from_runs(from.turned(0.7, f64::from(child == 4)), &runs).unwrap();
    }
    tree
}

#[test]
fn published_arch_type_by_height() {
    // type I below one diameter (6.5 mm), II to two, III above
    for (height_mm, want) in [
        (1.0, ArchType::I),
        (6.4, ArchType::I),
        (6.6, ArchType::II),
        (12.9, ArchType::II),
        (13.1, ArchType::III),
        (20.0, ArchType::III),
    ] {
        let before_top = (1.0_f64 - height_mm / 35.0).acos();
        let tree = arch_with_innominate(before_top);
        let (access, target) = femoral();
        let track = tree.track(access, target, 1.0).unwrap();
        let measures = Measures::of(&tree, &track, &MeasureSettings::default()).unwrap();
        let arch = measures.arch.unwrap();
        assert!(
            (arch.height_mm - height_mm).abs() < 1e-9,
            "{height_mm} mm: {}",
            arch.height_mm
        );
        assert_eq!(arch.arch_type, want, "{height_mm} mm over the origin");
        // a vertical branch where the arch rises at 90 degrees minus its place before the top
        let take_off = measures
            .take_offs
            .iter()
            .find(|t| t.branch == "innominate")
            .unwrap();
        let exact = 90.0 - before_top.to_degrees();
        assert!(
            (take_off.take_off_deg - exact).abs() < 1e-9,
            "take-off {} is not {exact}",
            take_off.take_off_deg
        );
    }
}

/// Two straight limbs of 60 mm with lumens, the child turning off at the parent's end.
fn elbow(turn_rad: f64, parent_mm: f64, child_mm: f64) -> Tree {
    let parent = arcs(&[run(60.0, 0.0, 0.0)]);
    let child =
        Curve::from_runs(parent.end().turned(turn_rad, 0.3), &[run(60.0, 0.0, 0.0)]).unwrap();
    let branch = |name: &str, ostium, curve, diameter_mm| Branch {
        name: name.into(),
        ostium,
        curve,
        lumen: Lumen::uniform(diameter_mm),
        wall_stiffness_n_per_mm2: 0.5,
    };
    let ostium = Ostium {
        branch: 0,
        at_mm: 60.0,
    };
    Tree {
        branches: vec![
            branch("parent", None, parent, parent_mm),
            branch("child", Some(ostium), child, child_mm),
        ],
        landmarks: vec![],
        lesions: vec![],
        clots: vec![],
    }
}

fn through(tree: &Tree) -> Result<Track, nestline_physics::geometry::GeometryError> {
    let end = Place {
        branch: 1,
        at_mm: 60.0,
    };
    let start = Place {
        branch: 0,
        at_mm: 0.0,
    };
    tree.track(start, end, 1.0)
}

#[test]
fn exact_elbow_of_equal_limbs_is_one_arc() {
    for degrees in [10.0_f64, 60.0, 90.0, 130.0] {
        let turn = degrees.to_radians();
        let track = through(&elbow(turn, 4.0, 4.0)).unwrap();
        let middle = 0.5 * track.length_mm();
        let curvature = track.curve.curvature_at(middle + 0.1);
        let radius = 1.0 / curvature;
        let limb = radius * (0.5 * turn).tan();
        let exact = 120.0 - 2.0 * limb + radius * turn;
        assert!(
            (track.length_mm() - exact).abs() < 1e-9,
            "{degrees} degrees: {} is not {exact}",
            track.length_mm()
        );
        let total = track.turning_between(0.0, track.length_mm());
        assert!((total - turn).abs() < 1e-12, "turning {total}");
        assert!(
            curvature * 2.0 <= 0.8 * 0.9 + 1e-12,
            "not tight: {}",
            curvature * 2.0
        );
        let origin = track.landmark("child-origin").unwrap();
        assert!(
            (origin - middle).abs() < 1e-9,
            "the ostium lies in the middle: {origin}"
        );
    }
}

#[test]
fn exact_track_without_ostium_is_its_branch() {
    let mut tree = elbow(0.5, 5.0, 4.0);
    tree.branches[0].curve = arcs(&[run(20.0, 1.0, 0.0), run(40.0, 1.5, 2.0)]);
    tree.branches.truncate(1);
    let place = |at_mm| Place { branch: 0, at_mm };
    let track = tree.track(place(55.0), place(3.0), 0.5).unwrap();
    assert!(
        (track.length_mm() - 52.0).abs() < 1e-12,
        "length {}",
        track.length_mm()
    );
    assert_eq!(track.stations.len(), 105, "104 cells of 0.5 mm");
    for station in &track.stations {
        let want = tree.branches[0].curve.frame_at(55.0 - station.s_mm);
        let miss = (station.frame.origin_mm - want.origin_mm).norm();
        assert!(miss < 1e-9, "{} mm: off by {miss}", station.s_mm);
    }
}

#[test]
fn exact_lesion_is_a_cosine_hourglass() {
    let mut tree = elbow(0.0, 6.0, 6.0);
    tree.lesions = vec![lesion(75.0, 4.0)];
    let mut track = through(&tree).unwrap();
    assert!(
        (track.radius_at(50.0) - 0.5).abs() < 1e-9,
        "middle: {}",
        track.radius_at(50.0)
    );
    // a quarter of the length in, half of the narrowing from 6 to 1 mm
    assert!(
        (track.radius_at(45.0) - 1.75).abs() < 1e-9,
        "quarter: {}",
        track.radius_at(45.0)
    );
    // an eighth in, sin^2(pi / 8) of it
    let eighth = 3.0 - 2.5 * (PI / 8.0).sin().powi(2);
    assert!(
        (track.radius_at(42.5) - eighth).abs() < 1e-9,
        "eighth: {}",
        track.radius_at(42.5)
    );
    for outside in [39.9, 40.0, 60.0, 70.0] {
        assert!(
            (track.radius_at(outside) - 3.0).abs() < 1e-9,
            "healthy at {outside}"
        );
    }
    for (residual, want) in [(4.0, 2.0), (0.0, 0.0), (9.0, 3.0)] {
        track.set_residual(0, residual).unwrap();
        let middle = track
            .stations
            .iter()
            .find(|s| (s.s_mm - 50.0).abs() < 1e-6)
            .unwrap();
        assert!(
            (middle.radius_mm - want).abs() < 1e-9,
            "residual {residual}: station radius {}",
            middle.radius_mm
        );
        assert!(
            (track.healthy_diameter_at(50.0) - 6.0).abs() < 1e-12,
            "healthy lumen unchanged"
        );
    }
    assert_eq!(
        track.set_residual(0, -1.0).unwrap_err().to_string(),
        "residual_mm is -1, must be finite and >= 0",
        "a diameter is not negative"
    );
    assert_eq!(
        track.set_residual(3, 1.0).unwrap_err().to_string(),
        "lesions on the route needs at least 4 entries, has 1",
        "no fourth lesion"
    );
    assert_eq!(
        track.landmarks[0].name, "neck-lesion-start",
        "start is nearer the access"
    );
    // seen from the other end the same lesion starts at its other end
    let back = tree
        .track(
            Place {
                branch: 1,
                at_mm: 60.0,
            },
            Place {
                branch: 0,
                at_mm: 0.0,
            },
            1.0,
        )
        .unwrap();
    let start = back.landmark("neck-lesion-start").unwrap();
    assert!(
        (start - 60.0).abs() < 1e-9,
        "backwards the lesion starts at {start}"
    );
}

#[test]
fn exact_shut_lesion_has_no_lumen() {
    let mut tree = elbow(0.0, 6.0, 6.0);
    tree.lesions = vec![lesion(100.0, 4.0)];
    let track = through(&tree).unwrap();
    let least = track
        .stations
        .iter()
        .map(|s| s.radius_mm)
        .fold(f64::INFINITY, f64::min);
    assert!((0.0..1e-12).contains(&least), "least radius {least}");
}

#[test]
fn exact_clot_runs_on_into_the_child() {
    let tree = arch_tree();
    for (access, target) in [femoral(), radial()] {
        let track = tree.track(access, target, 1.0).unwrap();
        let clot = &track.clots[0];
        let origin = track.landmark("left-m2-origin").unwrap();
        assert!(
            clot.start_mm < origin && clot.end_mm > origin + 5.0,
            "clot from {} to {} over the branching at {origin}",
            clot.start_mm,
            clot.end_mm
        );
        // bends shorten the raw 12 mm a little
        let length = clot.end_mm - clot.start_mm;
        assert!((10.5..=12.0).contains(&length), "length {length}");
    }
}

#[test]
fn exact_refusal_of_a_bend_too_tight_for_its_lumen() {
    let mut tree = elbow(0.0, 6.0, 6.0);
    tree.branches[0].curve = arcs(&[run(30.0, 0.0, 0.0), run(6.0, 2.0, 0.0), run(24.0, 0.0, 0.0)]);
    tree.branches.truncate(1);
    let place = |at_mm| Place { branch: 0, at_mm };
    let refusal = tree
        .track(place(0.0), place(60.0), 1.0)
        .unwrap_err()
        .to_string();
    assert_eq!(
        refusal,
        "the lumen overlaps itself 30.0 mm from the access, in parent, 30 mm into it: curvature 0.333/mm times radius 3.00 mm is 1.00, must stay below 0.9: widen the bend or narrow the lumen",
        "a bend of one lumen radius"
    );
    let near_reversal = through(&elbow(3.1, 6.0, 6.0)).unwrap_err().to_string();
    assert!(
        near_reversal.contains("in the turn from `parent` into `child`"),
        "an ostium that doubles back: {near_reversal}"
    );
    let bare = Track::from_curve(arcs(&[run(6.0, 2.0, 0.0)]), Lumen::uniform(5.0), 1.0, 0.5);
    assert!(bare.is_ok(), "0.83 is below the limit");
    let bare = Track::from_curve(arcs(&[run(6.0, 2.0, 0.0)]), Lumen::uniform(5.5), 1.0, 0.5);
    assert!(bare.is_err(), "0.92 is not");
}

#[test]
fn exact_lumen_between_knots() {
    let lumen = Lumen {
        knots_mm: vec![(10.0, 4.0), (20.0, 6.0), (20.0, 3.0), (30.0, 2.0)],
    };
    for (at, want) in [
        (0.0, 4.0),
        (15.0, 5.0),
        (20.0, 3.0),
        (25.0, 2.5),
        (99.0, 2.0),
    ] {
        let got = lumen.diameter_at(at);
        assert!((got - want).abs() < 1e-12, "{at} mm: {got}");
    }
}

#[test]
fn exact_closest_on_a_quarter_circle() {
    let quarter = arcs(&[run(10.0 * FRAC_PI_2, FRAC_PI_2, 0.0)]);
    // from the centre (10, 0, 0) outwards at 45 degrees
    let (at, distance) = quarter.closest(&Point::new(10.0 - 14.0 / SQRT_2, 0.0, 14.0 / SQRT_2));
    assert!((at - 5.0 * FRAC_PI_2).abs() < 1e-12, "middle: {at}");
    assert!((distance - 4.0).abs() < 1e-12, "distance {distance}");
}
