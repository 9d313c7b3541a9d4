//! What a user of the library meets: refusals with their range, settings made by `with`, the hub in one place.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "tests stop where they stand"
)]

use nestline::data::{Source, read_scene};
use nestline::geometry::{
    Curve, GeometryError, Lumen, MeasureSettings, Point, TortuositySettings, Track, TrackSettings,
};
use nestline::mechanics::{
    Containment, Drive, LoadSettings, MechanicsError, Moving, Rod, Scene, Settings, Settle,
    StackDevice, StackProblem, StackSolver, TubeStation,
};
use nestline::units::Allowed;

fn line(last_mm: f64) -> Vec<Point> {
    [0.0, 0.5 * last_mm, last_mm]
        .map(|x| Point::new(x, 0.0, 0.0))
        .to_vec()
}

fn tube() -> Vec<TubeStation> {
    TubeStation::along(&Track::through_points(&line(60.0), &[2.0; 3], 10.0, 1.0).unwrap())
}

fn rod() -> Rod {
    Rod::builder()
        .stiffness_n_mm2(20.0)
        .outer_mm(1.0)
        .inner_mm(0.8)
        .build()
        .unwrap()
}

/// Field, what was found and the range of a refusal by the mechanics.
fn mechanics<T>(refused: Result<T, MechanicsError>) -> (String, f64, Allowed) {
    match refused.err().unwrap() {
        MechanicsError::OutOfRange {
            what,
            found,
            needed,
        } => (what, found, needed),
        other => panic!("{other:?}"),
    }
}

/// The same of one by the geometry.
fn geometry<T>(refused: Result<T, GeometryError>) -> (String, f64, Allowed) {
    match refused.err().unwrap() {
        GeometryError::OutOfRange {
            what,
            found,
            needed,
        } => (what, found, needed),
        other => panic!("{other:?}"),
    }
}

#[test]
fn exact_what_is_refused_lies_outside_the_range_told() {
    let (tube, rods) = (tube(), [rod()]);
    let settle = |scene: Scene<'_>| Settle::default().settle(&scene);
    let mut soft = tube.clone();
    soft[7].wall_stiffness_n_per_mm2 = -1.0;
    let many = vec![rod(); 7];
    let refusals = [
        (
            "tube[7].wall_stiffness_n_per_mm2",
            mechanics(settle(Scene::new(&soft, &rods))),
        ),
        (
            "number of stations",
            mechanics(settle(Scene::new(&tube[..3], &rods))),
        ),
        (
            "number of rods",
            mechanics(settle(Scene::new(&tube, &many))),
        ),
        (
            "tip_at_mm",
            mechanics(
                Rod::builder()
                    .tip_at_mm(&tube, 61.0)
                    .stiffness_n_mm2(1.0)
                    .outer_mm(1.0)
                    .build(),
            ),
        ),
        (
            "settings.stiffening",
            mechanics(Settings::with(|s| s.stiffening = 1.0)),
        ),
        (
            "load_settings.lock_up_n",
            mechanics(LoadSettings::with(|s| s.lock_up_n = 0.0)),
        ),
        (
            "load_settings.enough_share",
            mechanics(LoadSettings::with(|s| s.enough_share = -0.1)),
        ),
        (
            "overlap_limit",
            geometry(TrackSettings::with(|s| s.overlap_limit = 1.0)),
        ),
        (
            "step_mm",
            geometry(TortuositySettings::with(|s| s.step_mm = 0.0)),
        ),
        (
            "clear_of_ends_mm",
            geometry(MeasureSettings::with(|s| s.clear_of_ends_mm = -1.0)),
        ),
        (
            "radii_mm[1]",
            geometry(Track::through_points(
                &line(60.0),
                &[2.0, 0.0, 2.0],
                10.0,
                1.0,
            )),
        ),
        (
            "spacing_mm on a route of 60 mm",
            geometry(Track::through_points(&line(60.0), &[2.0; 3], 10.0, 1e-6)),
        ),
    ];
    for (field, (what, found, needed)) in refusals {
        assert_eq!(what, field, "the field is named");
        assert!(!needed.allows(found), "{what}: {found} is in {needed:?}");
        let limits = [needed.least(), needed.most()];
        let nearest = limits
            .into_iter()
            .flatten()
            .map(|l| (l.value - found).abs());
        let nearest = nearest.fold(f64::INFINITY, f64::min);
        assert!(
            nearest.is_finite(),
            "{what}: no limit as a number, {needed:?}"
        );
        assert!(
            needed.help().contains(needed.words()),
            "{what}: {}",
            needed.help()
        );
    }
}

#[test]
fn exact_the_widest_spacing_that_is_refused_is_the_limit_told() {
    let curve = || Curve::through_points(&line(60.0)).unwrap();
    let track = |spacing_mm: f64| Track::from_curve(curve(), Lumen::uniform(4.0), 10.0, spacing_mm);
    let (_, _, needed) = geometry(track(1e-6));
    let least_mm = needed.least().unwrap().value;
    assert!(
        (least_mm / 6e-5 - 1.0).abs() < 1e-6,
        "a million cells: {least_mm}"
    );
}

#[test]
fn exact_points_and_radii_go_together() {
    let refused = Track::through_points(&line(60.0), &[2.0; 2], 10.0, 1.0).unwrap_err();
    let GeometryError::LengthMismatch {
        what,
        needed,
        found,
    } = &refused
    else {
        panic!("{refused:?}");
    };
    assert_eq!(
        (what.as_str(), *needed, *found),
        ("radii_mm", 3, 2),
        "counts"
    );
    assert_eq!(refused.help().unwrap(), "give it 3 entries", "advice");
    assert_eq!(
        refused.to_string(),
        "radii_mm has 2 entries, must have 3",
        "as told"
    );
}

#[test]
fn exact_advice_is_a_text_of_its_own_and_ends_the_message() {
    let tube = tube();
    let devices = [
        StackDevice::new(Rod::uniform(20.0, 1.0), Drive::Through),
        StackDevice::new(Rod::uniform(5.0, 0.4), Drive::Through),
    ];
    let inside = [Containment::coaxial(1, 0)];
    let problem = StackProblem::new(&tube, &devices)
        .with_containments(&inside)
        .with_moving(Moving::pushed(1));
    let solid = StackSolver::default().solve(&problem, None).unwrap_err();
    assert_eq!(
        solid.help().unwrap(),
        "give it an inner diameter",
        "{solid}"
    );
    assert_eq!(
        solid.to_string(),
        "holds[0]: device 0 has no lumen: give it an inner diameter",
        "as told"
    );
    let wide = [
        StackDevice::new(rod(), Drive::Through),
        StackDevice::new(Rod::uniform(5.0, 0.9), Drive::Through),
    ];
    let problem = StackProblem::new(&tube, &wide).with_containments(&inside);
    let wide = StackSolver::default().solve(&problem, None).unwrap_err();
    assert!(
        matches!(wide, MechanicsError::DoesNotFit { .. }),
        "{wide:?}"
    );
    assert!(wide.to_string().ends_with(&wide.help().unwrap()), "{wide}");
}

#[test]
fn exact_a_straight_duct_hands_the_push_on() {
    // nothing presses in a straight duct: what holds the tip back is what must be pushed, and a ruler is right
    let tube = tube();
    let devices = [StackDevice::new(rod(), Drive::Tip(50.0))];
    let problem = StackProblem::new(&tube, &devices)
        .with_friction(&|_, _| 0.3)
        .with_moving(Moving::pushed(0).held_back_by_n(0.01));
    let state = StackSolver::default().solve(&problem, None).unwrap();
    let load = state.load.unwrap();
    assert!((load.hub_force_n - 0.01).abs() < 1e-5, "{load:?}");
    assert!((load.tip_force_n - 0.01).abs() < 1e-5, "{load:?}");
    let device = state.devices[0];
    assert!((device.inserted_mm - 50.0).abs() < 1e-6, "{device:?}");
}

#[test]
fn exact_a_tip_at_the_hub_has_nothing_fed() {
    let scene = Source::from_argument("embedded:scenes/left-tandem-retriever-first.ron");
    let mut plan = read_scene(&scene).unwrap();
    for standoff_mm in [0.0, 30.0, 47.5] {
        plan.hub_standoff_mm = standoff_mm;
        let hub_mm = plan.hub_station_mm();
        assert!((hub_mm + standoff_mm).abs() < 1e-12, "{hub_mm}");
        assert!(plan.fed_mm(hub_mm).abs() < 1e-12, "{standoff_mm}");
    }
}
