//! A ledge at the rim of a stent: exact geometry, limits, sampling against integration.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use nestline_physics::mechanics::{
    Chance, Crossing, Ledge, Placement, Rim, Sampling, Share, Spread,
};
use std::f64::consts::TAU;

/// A guide over an aspiration catheter at the rim of a braid in a 4.9 mm artery.
fn crossing() -> Crossing {
    Crossing {
        rim: Rim::even(2.45, 2.45, 0.1, 12),
        ledge: Ledge {
            outer_radius_mm: 1.33,
            inner_radius_mm: 1.04,
            rounding_mm: (0.04, 0.04),
            tolerance_mm: 0.025,
            friction_coefficient: 0.0,
        },
        place: Placement::default(),
        faces: true,
        cover_mm: None,
    }
}

/// The open struts of a retriever of 4 mm against the wall.
fn retriever() -> Crossing {
    Crossing {
        ledge: Ledge {
            outer_radius_mm: 2.0,
            inner_radius_mm: 0.0,
            rounding_mm: (0.02, 0.05),
            tolerance_mm: 0.0,
            friction_coefficient: 0.15,
        },
        place: Placement {
            offset_mm: [0.45, 0.0],
            fall_back_mm: 4.0,
            ..Placement::default()
        },
        ..crossing()
    }
}

fn chance(crossing: &Crossing, spread: &Spread) -> Chance {
    crossing.chance(spread, &Sampling::default()).unwrap()
}

fn probability(crossing: &Crossing, spread: &Spread) -> f64 {
    chance(crossing, spread)
        .with_cover(crossing.cover_mm)
        .probability
}

#[test]
fn exact_clearance_of_circles() {
    // Concentric: wall less gap less strut less device.
    let centred = crossing().clearance().unwrap();
    assert!(
        (centred.clearance_mm - (2.45 - 0.1 - 1.33)).abs() < 1e-12,
        "{centred:?}"
    );
    // Rim too narrow by 0.3 mm all round: that much less.
    let narrow = Crossing {
        rim: Rim::even(2.45, 2.15, 0.1, 12),
        ..crossing()
    };
    let found = narrow.clearance().unwrap().clearance_mm;
    assert!((found - (2.15 - 0.1 - 1.33)).abs() < 1e-12, "{found}");
    // Off the middle by 0.7 mm along the second normal: least there, by 0.7 mm less.
    let aside = Crossing {
        place: Placement {
            offset_mm: [0.0, 0.7],
            ..Placement::default()
        },
        ..crossing()
    };
    let found = aside.clearance().unwrap();
    assert!(
        (found.clearance_mm - (2.35 - 2.03)).abs() < 1e-9,
        "{found:?}"
    );
    assert!((found.angle_rad - TAU / 4.0).abs() < 1e-9, "{found:?}");
    // On the wall: the strut stands 0.1 mm into its way.
    let on_wall = Crossing {
        place: Placement {
            offset_mm: [1.12, 0.0],
            ..Placement::default()
        },
        ..crossing()
    };
    let found = on_wall.clearance().unwrap().clearance_mm;
    assert!((found + 0.1).abs() < 1e-12, "{found}");
}

#[test]
fn exact_no_gap_and_no_ledge_is_no_interference() {
    let mut smooth = crossing();
    smooth.ledge.inner_radius_mm = smooth.ledge.outer_radius_mm;
    smooth.place.offset_mm = [1.12, 0.0];
    let found = smooth.clearance().unwrap().clearance_mm;
    assert!(found >= 0.0, "{found}");
    assert!(
        probability(&smooth, &Spread::default()) < 1e-12,
        "nothing to catch with"
    );
}

#[test]
fn exact_height_that_a_round_edge_rides_over() {
    // r (1 - sin(friction angle + approach)): all of r without either, nothing at a right angle.
    let rides = |friction_coefficient: f64, approach_rad: f64| {
        let mut c = crossing();
        c.ledge.rounding_mm = (0.2, 0.2);
        c.ledge.friction_coefficient = friction_coefficient;
        c.place.approach_rad = approach_rad;
        c.clearance().unwrap().rides_over_mm
    };
    assert!((rides(0.0, 0.0) - 0.2).abs() < 1e-12, "frictionless");
    let half = 0.2 * (1.0 - 0.5);
    assert!(
        (rides(0.0, TAU / 12.0) - half).abs() < 1e-12,
        "30 degrees: half of it"
    );
    assert!(
        (rides(TAU.sin().abs() + 1.0, TAU / 8.0)).abs() < 1e-12,
        "45 + 45 degrees: none"
    );
}

#[test]
fn exact_guide_beyond_the_edge_shields() {
    let none = Spread::none();
    let with_cover = |cover_mm| {
        let covered = Crossing {
            cover_mm,
            ..retriever()
        };
        probability(&covered, &none)
    };
    assert!((with_cover(None) - 1.0).abs() < 1e-12, "bare");
    assert!(
        (with_cover(Some(3.9)) - 1.0).abs() < 1e-12,
        "falls back by 4 mm"
    );
    assert!(with_cover(Some(4.1)) < 1e-12, "beyond it under load");
    assert!((with_cover(Some(-20.0)) - 1.0).abs() < 1e-12, "below it");
}

#[test]
fn exact_an_edge_that_looks_away_does_not_catch() {
    let away = Crossing {
        faces: false,
        ..retriever()
    };
    assert!(probability(&away, &Spread::default()) < 1e-12, "slides off");
}

#[test]
fn property_monotone_in_gap_from_0_to_1() {
    let spread = Spread::default();
    let at_gap = |gap_mm: f64| {
        let mut c = crossing();
        c.ledge.rounding_mm = (0.10, 0.25);
        c.rim.rim_radius_mm = 2.45 - gap_mm;
        probability(&c, &spread)
    };
    let mut last = -1.0;
    for i in 0..=15 {
        let found = at_gap(0.1 * f64::from(i));
        assert!(
            found >= last,
            "gap {}: {found} after {last}",
            0.1 * f64::from(i)
        );
        last = found;
    }
    assert!(
        at_gap(0.0) < 0.05,
        "an apposed rim and a rounded tip: {}",
        at_gap(0.0)
    );
    assert!(last > 0.99, "a rim in the middle of the way: {last}");
}

#[test]
fn property_monotone_in_the_guides_distance() {
    let drawn = chance(&retriever(), &Spread::default());
    let mut last = 2.0;
    for i in -10..=60 {
        let found = drawn.with_cover(Some(0.5 * f64::from(i)));
        assert!(found.probability <= last, "{i}: {found:?} after {last}");
        assert!(
            found.low <= found.probability && found.probability <= found.high,
            "{found:?}"
        );
        last = found.probability;
    }
    assert!(last < 1e-3, "{last}");
    // the distance asked for a level is the first at which it holds
    for level in [0.5, 0.05, 0.01] {
        let cover_mm = drawn.cover_for_mm(level);
        assert!(
            drawn.with_cover(Some(cover_mm)).probability <= level,
            "{level}: {cover_mm}"
        );
        let nearer = drawn.with_cover(Some(cover_mm - 1e-6)).probability;
        assert!(nearer > level, "{level}: {nearer} a micrometre nearer");
    }
}

#[test]
fn exact_sampling_agrees_with_integration_over_the_rotation() {
    // One unknown: the rotation of twelve crowns. Integrated by hand over one spacing.
    let mut c = retriever();
    c.rim = Rim::even(2.45, 2.45, 0.1, 5);
    c.ledge.rounding_mm = (0.03, 0.03);
    let spread = Spread {
        rotation: 1.0,
        ..Spread::none()
    };
    let rides_mm = c.clearance().unwrap().rides_over_mm;
    let outer_mm = |angle: f64| {
        let (sin, cos) = angle.sin_cos();
        0.45 * cos + (4.0 - (0.45 * sin).powi(2)).sqrt()
    };
    let steps = 100_000;
    let caught = (0..steps)
        .filter(|i| {
            let turn = TAU / 5.0 * (f64::from(*i) + 0.5) / f64::from(steps);
            (0..5).any(|j| outer_mm(turn + TAU / 5.0 * f64::from(j)) - 2.35 > rides_mm)
        })
        .count();
    #[expect(clippy::cast_precision_loss, reason = "a count")]
    let integrated = caught as f64 / f64::from(steps);
    assert!(
        (0.2..0.9).contains(&integrated),
        "a case worth testing: {integrated}"
    );
    let sampling = Sampling {
        samples: 100_000,
        ..Sampling::default()
    };
    let share = c.chance(&spread, &sampling).unwrap().with_cover(None);
    // three standard deviations: a 95 % interval would fail for one seed in twenty
    let allowed = 3.0 * (integrated * (1.0 - integrated) / 1e5).sqrt();
    let error = (share.probability - integrated).abs();
    assert!(error < allowed, "{share:?} against {integrated}");
}

#[test]
fn exact_sampling_agrees_with_integration_over_the_fall_back() {
    // One unknown: fall-back of 4 mm times exp(0.56 z) beyond 6 mm: z > ln(1.5) / 0.56 = 0.7240.
    let mut c = retriever();
    c.cover_mm = Some(6.0);
    let spread = Spread {
        fall_back_log: 0.56,
        ..Spread::none()
    };
    let z = 1.5_f64.ln() / 0.56;
    // upper tail of the normal law by Simpson's rule
    let density = |x: f64| (-0.5 * x * x).exp() / TAU.sqrt();
    let (cells, width) = (2000, (10.0 - z) / 2000.0);
    let tail: f64 = (0..cells)
        .map(|i| {
            let a = z + width * f64::from(i);
            width / 6.0 * (density(a) + 4.0 * density(a + 0.5 * width) + density(a + width))
        })
        .sum();
    let share = chance(&c, &spread).with_cover(c.cover_mm);
    assert!(
        share.low <= tail && tail <= share.high,
        "{share:?} against {tail}"
    );
}

#[test]
fn exact_wilson_interval() {
    // Wilson's interval of 10 in 100: 0.0552 to 0.1744 (worked by hand).
    let share = Share::of(10, 100);
    assert!(
        (share.low - 0.0552).abs() < 5e-5 && (share.high - 0.1744).abs() < 5e-5,
        "{share:?}"
    );
    let none = Share::of(0, 10_000);
    assert!(
        none.low < 1e-12 && (none.high - 3.84e-4).abs() < 1e-6,
        "{none:?}"
    );
}

#[test]
fn property_same_bits_on_any_number_of_threads() {
    let spread = Spread::default();
    let on = |threads| {
        let sampling = Sampling {
            samples: 4_001,
            threads,
            ..Sampling::default()
        };
        retriever().chance(&spread, &sampling).unwrap()
    };
    let one = on(1);
    for threads in [2, 3, 7] {
        assert_eq!(one, on(threads), "{threads} threads");
    }
    let other_seed = Sampling {
        seed: 2,
        samples: 4_001,
        ..Sampling::default()
    };
    assert_ne!(
        one,
        retriever().chance(&spread, &other_seed).unwrap(),
        "the seed counts"
    );
}

#[test]
fn exact_refused_crossings_say_why() {
    let mut c = crossing();
    c.place.fall_back_mm = -1.0;
    let told = c.clearance().unwrap_err().to_string();
    assert_eq!(
        told, "place.fall_back_mm is -1, must be finite and >= 0",
        "in full"
    );
    let none = Sampling {
        samples: 0,
        ..Sampling::default()
    };
    assert!(
        crossing().chance(&Spread::default(), &none).is_err(),
        "no samples"
    );
}
