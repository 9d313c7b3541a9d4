//! What fits in what, against closed forms, worked arithmetic and properties.

#![expect(
    clippy::unwrap_used,
    clippy::float_cmp,
    reason = "a helper that fails fails the test; compared values are copied, not computed"
)]

use nestline_physics::device::{
    Accessory, Basis, Cells, Coating, Device, DeviceBasis, DeviceClass, FitRules, Knot, LumenKind,
    Relation, StentDesign, StentSpec, Tip, Verdict, bundle_diameter_mm, coaxial, side_by_side,
};
use nestline_physics::units::MM_PER_INCH;
use proptest::prelude::*;

const RULES: FitRules = FitRules {
    needed_mm: 0.05,
    comfortable_mm: 0.10,
    comfortable_for_rail_mm: 0.07,
};

fn knot(from_tip_mm: f64, outer_mm: f64, inner_mm: Option<f64>) -> Knot {
    Knot {
        from_tip_mm,
        outer_mm,
        inner_mm,
        stiffness_n_mm2: 10.0,
    }
}

fn device(class: DeviceClass, lumen: LumenKind, hub_length_mm: f64, profile: Vec<Knot>) -> Device {
    let basis = || Basis::Assumed("made up for the test".to_owned());
    let solid = matches!(lumen, LumenKind::Solid);
    Device {
        name: format!("{class:?}"),
        class,
        size: None,
        usable_length_mm: profile.last().unwrap().from_tip_mm,
        hub_length_mm,
        lumen,
        profile,
        diameter_tolerance_mm: 0.02,
        tip: Tip::Straight,
        outer_surface: Coating::Hydrophilic,
        inner_surface: (!solid).then_some(Coating::Ptfe),
        payload: None,
        basis: DeviceBasis {
            lengths: basis(),
            diameters: basis(),
            stiffness: basis(),
            tip_and_surface: basis(),
            payload: None,
        },
    }
}

fn catheter(usable_mm: f64, outer_mm: f64, inner_mm: f64) -> Device {
    let ends = [0.0, usable_mm].map(|a| knot(a, outer_mm, Some(inner_mm)));
    device(DeviceClass::Guide, LumenKind::Full, 50.0, ends.to_vec())
}

fn rail(usable_mm: f64, outer_mm: f64) -> Device {
    let ends = [0.0, usable_mm].map(|a| knot(a, outer_mm, None));
    device(DeviceClass::Wire, LumenKind::Solid, 0.0, ends.to_vec())
}

fn exchange(usable_mm: f64, port_mm: f64, front_mm: f64, shaft_mm: f64, inner_mm: f64) -> Device {
    device(
        DeviceClass::CarotidStent,
        LumenKind::RapidExchange {
            port_from_tip: port_mm,
        },
        60.0,
        vec![
            knot(0.0, front_mm, Some(inner_mm)),
            knot(port_mm, front_mm, Some(inner_mm)),
            knot(port_mm, shaft_mm, None),
            knot(usable_mm, shaft_mm, None),
        ],
    )
}

// --- coaxial and side by side: worked arithmetic ---

#[test]
fn exact_coaxial_arithmetic() {
    // 2.11 mm into 0.088 in = 2.2352 mm leaves 0.1252 mm; into 0.071 in = 1.8034 mm it is too wide.
    let inner = catheter(1320.0, 2.11, 1.8034);
    for (lumen_in, clearance_mm, verdict) in [
        (0.088, 0.1252, Verdict::Fits),
        (0.071, -0.3066, Verdict::DoesNotFit),
    ] {
        let outer = catheter(900.0, 2.7, lumen_in * MM_PER_INCH);
        let fit = coaxial(&inner, 1000.0, &outer, 850.0, &RULES).unwrap();
        assert_eq!(fit.verdict, verdict, "{}", fit.reason);
        assert!(
            (fit.clearance_mm - clearance_mm).abs() < 1e-12,
            "{}",
            fit.reason
        );
        let worst = clearance_mm - 0.04;
        assert!(
            (fit.worst_clearance_mm - worst).abs() < 1e-12,
            "{}",
            fit.reason
        );
    }
}

#[test]
fn exact_verdicts_at_their_borders() {
    // Decimal borders must not fall to rounding: 0.05 and 0.10 mm themselves are enough.
    for (clearance_mm, verdict) in [
        (0.049, Verdict::DoesNotFit),
        (0.05, Verdict::Tight),
        (0.099, Verdict::Tight),
        (0.1, Verdict::Fits),
    ] {
        let (inner, outer) = (
            catheter(1320.0, 2.1, 1.8),
            catheter(900.0, 2.7, 2.1 + clearance_mm),
        );
        let fit = coaxial(&inner, 1000.0, &outer, 850.0, &RULES).unwrap();
        assert_eq!(fit.verdict, verdict, "{clearance_mm}: {}", fit.reason);
    }
    // A rail in a lumen made for it: 0.07 mm is comfortable. Tolerances that use up more than
    // there is make any pair tight.
    let wire = rail(2000.0, 0.36);
    let lumen = catheter(1500.0, 0.8, 0.44);
    let fit = coaxial(&wire, 1000.0, &lumen, 900.0, &RULES).unwrap();
    assert_eq!(fit.verdict, Verdict::Fits, "{}", fit.reason);
    let rough = Device {
        diameter_tolerance_mm: 0.07,
        ..wire
    };
    let fit = coaxial(&rough, 1000.0, &lumen, 900.0, &RULES).unwrap();
    assert_eq!(fit.verdict, Verdict::Tight, "{}", fit.reason);
}

#[test]
fn exact_side_by_side_arithmetic() {
    // Pusher beside shaft, inches and French as the trade names them; sums in mm.
    let five_french = 5.0 / 3.0;
    for (pusher_in, shaft_mm, lumen_in, sum_mm, fits) in [
        (0.018, five_french, 0.088, 2.124, true),
        (0.018, five_french, 0.070, 2.124, false),
        (0.0145, five_french, 0.085, 2.035, true),
        (0.0145, five_french, 0.091, 2.035, true),
        (0.0145, five_french, 0.078, 2.035, false),
        (0.0145, 2.0, 0.091, 2.368, false),
    ] {
        let pusher = rail(2000.0, pusher_in * MM_PER_INCH);
        let stent = exchange(1350.0, 250.0, shaft_mm, shaft_mm, 0.48);
        let guide = catheter(900.0, 2.8, lumen_in * MM_PER_INCH);
        // from the guide's rear end to the port
        let placed = [(&stent, 1000.0), (&pusher, 1100.0)];
        let fit = side_by_side(&placed, &guide, 850.0, -50.0, 750.0, &RULES).unwrap();
        assert_eq!(fit.verdict != Verdict::DoesNotFit, fits, "{}", fit.reason);
        let needed = lumen_in * MM_PER_INCH - fit.clearance_mm;
        assert!((needed - sum_mm).abs() < 5e-4, "{needed}: {}", fit.reason);
    }
}

#[test]
fn exact_tolerances_of_a_bundle() {
    // 0.02 mm each: two shafts grow by 0.04, three equal ones by 0.02 (1 + 2 / sqrt 3), the lumen
    // shrinks by 0.02.
    let (wire, guide) = (rail(2000.0, 0.7), catheter(900.0, 2.7, 2.2));
    for (count, growth_mm) in [(2, 0.04), (3, 0.02 * (1.0 + 2.0 / 3.0_f64.sqrt()))] {
        let wires = vec![(&wire, 1000.0); count];
        let fit = side_by_side(&wires, &guide, 850.0, 0.0, 850.0, &RULES).unwrap();
        let lost = fit.clearance_mm - fit.worst_clearance_mm;
        assert!((lost - growth_mm - 0.02).abs() < 1e-12, "{count}: {fit:?}");
    }
}

#[test]
fn exact_small_parts() {
    let basis = || Basis::CommonPractice;
    let valve = Accessory::Valve {
        name: "valve".to_owned(),
        length_mm: 80.0,
        passes_mm: 3.0,
        basis: basis(),
    };
    let clip = Accessory::Clip {
        name: "clip".to_owned(),
        length_mm: 30.0,
        grips_from_mm: 0.25,
        grips_to_mm: 0.45,
        basis: basis(),
    };
    let tool = |outer_mm: f64| Accessory::InsertionTool {
        name: "tool".to_owned(),
        length_mm: 100.0,
        inner_mm: 0.50,
        outer_mm,
        basis: basis(),
    };
    // Diameters are off by up to 0.02 mm.
    for (part, outer_mm, clearance_mm, verdict) in [
        (&valve, 2.70, 0.30, Verdict::Fits),
        (&valve, 2.99, 0.01, Verdict::Tight),
        (&valve, 3.10, -0.10, Verdict::DoesNotFit),
        (&clip, 0.36, 0.09, Verdict::Fits),
        (&clip, 0.30, 0.05, Verdict::Fits),
        (&clip, 0.26, 0.01, Verdict::Tight),
        (&clip, 0.46, -0.01, Verdict::DoesNotFit),
        (&clip, 0.20, -0.05, Verdict::DoesNotFit),
        (&tool(1.2), 0.43, 0.07, Verdict::Fits),
        (&tool(1.2), 0.44, 0.06, Verdict::Tight),
        (&tool(1.2), 0.46, 0.04, Verdict::DoesNotFit),
    ] {
        let fit = part.fit(&rail(2000.0, outer_mm), 100.0, 200.0, &RULES);
        assert_eq!(fit.verdict, verdict, "{}", fit.reason);
        assert!((fit.clearance_mm - clearance_mm).abs() < 1e-12, "{fit:?}");
        let worst = clearance_mm - 0.02;
        assert!((fit.worst_clearance_mm - worst).abs() < 1e-12, "{fit:?}");
    }
}

#[test]
fn exact_wire_lumen_arithmetic() {
    // Made for 0.014 in, 0.017 in wide: 0.0145 in is tight, 0.0155 and 0.018 in do not run.
    let stent = exchange(1350.0, 250.0, 1.67, 1.67, 0.017 * MM_PER_INCH);
    for (pusher_in, verdict) in [
        (0.014, Verdict::Fits),
        (0.0145, Verdict::Tight),
        (0.0155, Verdict::DoesNotFit),
        (0.018, Verdict::DoesNotFit),
    ] {
        let pusher = rail(2000.0, pusher_in * MM_PER_INCH);
        let fit = coaxial(&pusher, 1100.0, &stent, 1000.0, &RULES).unwrap();
        assert_eq!(fit.verdict, verdict, "{}", fit.reason);
        assert!(fit.reason.contains("wire lumen"), "{}", fit.reason);
    }
}

#[test]
fn exact_length_arithmetic() {
    let guide = catheter(900.0, 2.7, 2.235);
    let aspiration = catheter(1320.0, 2.11, 1.80);
    let micro = catheter(1550.0, 0.87, 0.53);
    let pusher = rail(1800.0, 0.368);
    let stent = exchange(1350.0, 300.0, 1.67, 1.67, 0.43);
    let valve_mm = 80.0;
    let is = |found: f64, exact: f64| assert!((found - exact).abs() < 1e-9, "{found} / {exact}");
    // the guide fed 84 cm: 90 + 5 of hub + 8 of valve - 84 = 19 cm still outside
    let hub_mm = guide.outside_with_hub_mm(840.0, valve_mm);
    is(hub_mm, 190.0);
    is(aspiration.most_fed_mm(hub_mm, 0.0) - 840.0, 290.0);
    is(pusher.most_fed_mm(hub_mm, 100.0), 1510.0);
    let outside = pusher.outside_mm(950.0, hub_mm);
    is(outside, 660.0);
    is(stent.rail_needed_mm(0.0, 100.0).unwrap(), 400.0);
    is(micro.rail_needed_mm(0.0, 100.0).unwrap() - outside, 940.0);
    is(
        aspiration.rail_needed_mm(0.0, 100.0).unwrap() - outside,
        710.0,
    );
    // valves on its own hub hide rail as well
    is(aspiration.rail_needed_mm(valve_mm, 100.0).unwrap(), 1450.0);
    assert_eq!(
        pusher.rail_needed_mm(0.0, 100.0),
        None,
        "a rail runs over no rail"
    );
}

// --- where they lie ---

#[test]
fn exact_no_overlap_is_no_fit() {
    let (inner, outer) = (catheter(1320.0, 2.11, 1.80), catheter(900.0, 2.7, 2.235));
    let wire = rail(300.0, 0.889);
    assert_eq!(
        coaxial(&inner, -60.0, &outer, 840.0, &RULES),
        None,
        "still before the hub"
    );
    assert_eq!(
        coaxial(&wire, 1200.0, &outer, 840.0, &RULES),
        None,
        "rail has left the front"
    );
    assert_eq!(
        coaxial(&outer, 840.0, &wire, 900.0, &RULES),
        None,
        "no lumen"
    );
    let stent = exchange(1350.0, 250.0, 1.67, 1.67, 0.43);
    let behind_port = coaxial(&wire, 700.0, &stent, 1000.0, &RULES);
    assert_eq!(
        behind_port, None,
        "a rail behind the port is not in the lumen"
    );
}

#[test]
fn exact_only_the_stretch_inside_counts() {
    // A retriever: 0.46 mm folded over 50 mm, 0.36 mm pusher; microcatheter lumen 0.50 mm.
    let folded = device(
        DeviceClass::Retriever,
        LumenKind::Solid,
        0.0,
        vec![
            knot(0.0, 0.46, None),
            knot(50.0, 0.46, None),
            knot(50.0, 0.36, None),
            knot(1800.0, 0.36, None),
        ],
    );
    let micro = catheter(1550.0, 0.87, 0.50);
    let folded_in = coaxial(&folded, 1000.0, &micro, 1000.0, &RULES).unwrap();
    assert!(
        (folded_in.clearance_mm - 0.04).abs() < 1e-12,
        "{folded_in:?}"
    );
    assert_eq!(folded_in.verdict, Verdict::DoesNotFit, "{folded_in:?}");
    // Pushed out exactly: the step lies at the tip, only its proximal side is inside.
    let open = coaxial(&folded, 1050.0, &micro, 1000.0, &RULES).unwrap();
    assert!((open.clearance_mm - 0.14).abs() < 1e-12, "{open:?}");
    assert_eq!(open.verdict, Verdict::Fits, "{open:?}");
    // Rounding must not pull the folded side in: tips that are no binary fractions.
    let shifted = coaxial(&folded, 1050.1, &micro, 1000.1, &RULES).unwrap();
    assert!((shifted.clearance_mm - 0.14).abs() < 1e-9, "{shifted:?}");
}

#[test]
fn exact_side_by_side_ends_at_the_port() {
    // Front 2.0 mm, shaft 1.2 mm behind the port at 250 mm; rail 0.4 mm; lumen 2.2 mm. Only the
    // shaft lies beside the rail, so 0.6 mm is left; the front with its own rail inside is alone.
    let stent = exchange(1350.0, 250.0, 2.0, 1.2, 0.48);
    let (wire, guide) = (rail(2000.0, 0.4), catheter(900.0, 2.7, 2.2));
    let placed = [(&stent, 900.1), (&wire, 1000.7)];
    let port_mm = 900.1 - 250.0;
    let fit = side_by_side(&placed, &guide, 850.3, -49.7, port_mm, &RULES).unwrap();
    assert!((fit.clearance_mm - 0.6).abs() < 1e-9, "{fit:?}");
    // Beside a rail it does not hold, its front counts as well.
    let buddy = side_by_side(&placed, &guide, 850.3, -49.7, 850.3, &RULES).unwrap();
    assert!((buddy.clearance_mm + 0.2).abs() < 1e-9, "{buddy:?}");
}

#[test]
fn exact_side_by_side_counts_who_is_there() {
    // Two wires reach the guide's tip, a third ends 300 mm behind it.
    let (a, b, c) = (rail(2000.0, 0.8), rail(2000.0, 0.6), rail(2000.0, 0.7));
    let guide = catheter(900.0, 2.7, 2.2);
    let all = [(&a, 1000.0), (&b, 1000.0), (&c, 550.0)];
    let rear = side_by_side(&all, &guide, 850.0, -50.0, 850.0, &RULES).unwrap();
    let three = bundle_diameter_mm(&[0.8, 0.6, 0.7]);
    assert!(
        (rear.clearance_mm - (2.2 - three)).abs() < 1e-12,
        "{rear:?}"
    );
    let front = side_by_side(&all, &guide, 850.0, 560.0, 850.0, &RULES).unwrap();
    assert!((front.clearance_mm - 0.8).abs() < 1e-12, "{front:?}");
    let Relation::SideBySide { devices, .. } = &front.relation else {
        panic!("{front:?}");
    };
    assert_eq!(devices.len(), 2, "{front:?}");
    let alone = side_by_side(&[all[0], (&c, 100.0)], &guide, 850.0, 200.0, 850.0, &RULES);
    assert_eq!(alone, None, "one alone is not side by side");
}

// --- profile and payload ---

#[test]
fn exact_sections_and_steps() {
    let stent = exchange(1350.0, 250.0, 2.0, 1.2, 0.48);
    assert_eq!(
        stent.section_at(249.0).inner_mm,
        Some(0.48),
        "in the wire lumen"
    );
    assert_eq!(
        stent.section_at(250.0).outer_mm,
        1.2,
        "a step reads proximally"
    );
    assert!(
        !stent.has_lumen_at(250.0),
        "the port is the end of the lumen"
    );
    assert_eq!(
        stent.max_outer_between(250.0, 1350.0),
        1.2,
        "inner side of the step"
    );
    assert_eq!(stent.max_outer_between(1350.0, 249.0), 2.0, "either order");
    assert_eq!(
        stent.max_outer_between(250.0, 250.0),
        2.0,
        "both sides of one place"
    );
    assert_eq!(stent.min_outer_between(0.0, 1350.0), 1.2, "thinnest");
    assert_eq!(
        stent.min_inner_between(0.0, 250.0),
        Some(0.48),
        "up to the port"
    );
    assert_eq!(stent.min_inner_between(0.0, 251.0), None, "past the port");
    let mut cone = catheter(100.0, 3.0, 1.0);
    cone.profile = vec![knot(0.0, 1.0, Some(0.5)), knot(100.0, 3.0, Some(1.5))];
    assert!(
        (cone.section_at(25.0).outer_mm - 1.5).abs() < 1e-12,
        "linear"
    );
    assert!(
        (cone.min_inner_between(40.0, 90.0).unwrap() - 0.9).abs() < 1e-12,
        "linear"
    );
    assert_eq!(cone.section_at(-5.0).outer_mm, 1.0, "nearest end");
    assert_eq!(cone.section_at(500.0).outer_mm, 3.0, "nearest end");
    assert!(!cone.has_lumen_at(100.1), "behind the hub");
}

#[test]
fn exact_tip_turns_by_its_angle() {
    let mut wire = rail(2000.0, 0.356);
    wire.tip = Tip::Curved {
        length: 8.0,
        angle_deg: 45.0,
    };
    let step_mm = 0.01;
    let turned: f64 = (0..2000)
        .map(|i| wire.natural_curvature_per_mm((f64::from(i) + 0.5) * step_mm) * step_mm)
        .sum();
    assert!((turned - 45.0_f64.to_radians()).abs() < 1e-9, "{turned}");
}

#[test]
fn exact_loaded_length_of_a_braid() {
    // Wire length is conserved (Jedwab & Clerc, J. Appl. Biomater. 4, 77-85, 1993): at rest 9 mm,
    // 40 mm and 30 degrees make 80 mm of wire.
    let mut stent = StentSpec {
        design: StentDesign::Braided {
            wires: 24,
            wire_diameter_mm: 0.1,
            braid_angle_deg: 30.0,
            youngs_modulus_gpa: 206.0,
            poisson_ratio: 0.3,
        },
        free_diameter_mm: 9.0,
        free_length_mm: 40.0,
        nose_length_mm: 15.0,
    };
    for (diameter_mm, length_mm) in [(9.0, 40.0), (7.0, 59.129), (5.0, 70.132), (1.6, 79.046)] {
        let found = stent.loaded_length_mm(diameter_mm);
        assert!((found - length_mm).abs() < 5e-4, "{diameter_mm}: {found}");
    }
    stent.design = StentDesign::Cut {
        cells: Cells::Closed,
        strut_thickness_mm: 0.2,
        cell_length_mm: 5.0,
        foreshortening_percent: 20.0,
        radial_stiffness_n_per_mm2: 0.06,
        plateau_n_per_mm: 0.2,
    };
    assert!(
        (stent.loaded_length_mm(1.6) - 50.0).abs() < 1e-12,
        "20 % shorter when open"
    );
}

// --- properties ---

/// A profile of four lines with room for a wall, lumen 0.3 mm thinner than outside.
fn tapered(usable_mm: f64, outer_mm: &[f64; 4], lumen: LumenKind) -> Device {
    let solid = matches!(lumen, LumenKind::Solid);
    let profile = outer_mm
        .iter()
        .zip([0.0, 0.2, 0.2, 1.0])
        .map(|(d, share)| knot(share * usable_mm, *d, (!solid).then_some(d - 0.3)))
        .collect();
    let (class, hub) = if solid {
        (DeviceClass::Wire, 0.0)
    } else {
        (DeviceClass::Guide, 50.0)
    };
    device(class, lumen, hub, profile)
}

/// Dense stations inside `from..to`, and a hair to either side of every profile line: a stretch
/// between two steps may be shorter than any spacing.
fn stations(from: f64, to: f64, placed: &[(&Device, f64)]) -> Vec<f64> {
    let hair_mm = 1e-7;
    let even = (0..=4000).map(|i| from + (to - from) * f64::from(i) / 4000.0);
    let lines = placed.iter().flat_map(|(d, tip)| {
        let knots = d.profile.iter().map(move |k| tip - k.from_tip_mm);
        knots.flat_map(move |s| [s - hair_mm, s + hair_mm])
    });
    even.chain(lines)
        .map(|s| s.clamp(from + hair_mm, to - hair_mm))
        .collect()
}

fn diameters() -> impl Strategy<Value = [f64; 4]> {
    prop::array::uniform4(0.5..3.0_f64)
}

proptest! {
    #[test]
    fn property_coaxial_is_the_least_of_dense_samples(
        inner in diameters(), outer in diameters(),
        inner_tip in 0.0..1500.0_f64, outer_tip in 0.0..1500.0_f64, shift in -50.0..50.0_f64,
    ) {
        let inner = tapered(1300.0, &inner, LumenKind::Solid);
        let outer = tapered(900.0, &outer, LumenKind::Full);
        let fit = coaxial(&inner, inner_tip, &outer, outer_tip, &RULES);
        let from = (inner_tip - 1300.0).max(outer_tip - 900.0);
        let to = inner_tip.min(outer_tip);
        let overlap = to - from > 1.0;
        prop_assert!(fit.is_some() || !overlap, "overlap of {} mm", to - from);
        if overlap {
            let fit = fit.unwrap();
            let placed = [(&inner, inner_tip), (&outer, outer_tip)];
            let sampled = stations(from, to, &placed)
                .into_iter()
                .map(|s| {
                    let lumen = outer.section_at(outer_tip - s).inner_mm.unwrap_or(f64::INFINITY);
                    lumen - inner.section_at(inner_tip - s).outer_mm
                })
                .fold(f64::INFINITY, f64::min);
            // Diameters change by at most 2.5 mm over 180 mm: 0.01 mm between two samples.
            prop_assert!((fit.clearance_mm - sampled).abs() < 0.01, "{fit:?} / {sampled}");
            prop_assert!(fit.clearance_mm <= sampled + 1e-6, "{fit:?} / {sampled}");
            let moved = coaxial(&inner, inner_tip + shift, &outer, outer_tip + shift, &RULES).unwrap();
            prop_assert!((moved.clearance_mm - fit.clearance_mm).abs() < 1e-9, "only relative places count");
        }
    }

    #[test]
    fn property_a_wider_outer_is_never_worse(
        inner in diameters(), outer in diameters(), tip in 0.0..1500.0_f64, more in 0.0..1.0_f64,
    ) {
        let inner = tapered(1300.0, &inner, LumenKind::Solid);
        let narrow = tapered(900.0, &outer, LumenKind::Full);
        let wide = tapered(900.0, &outer.map(|d| d + more), LumenKind::Full);
        if let Some(before) = coaxial(&inner, tip, &narrow, 800.0, &RULES) {
            let after = coaxial(&inner, tip, &wide, 800.0, &RULES).unwrap();
            prop_assert!(after.verdict <= before.verdict, "{before:?} / {after:?}");
            prop_assert!(
                (after.clearance_mm - before.clearance_mm - more).abs() < 1e-9,
                "{before:?} / {after:?}"
            );
        }
    }

    #[test]
    fn property_more_needed_clearance_is_never_better(
        clearance in -0.2..0.3_f64, needed in 0.0..0.2_f64, more in 0.0..0.2_f64,
    ) {
        let (inner, outer) = (catheter(1300.0, 2.0, 1.5), catheter(900.0, 2.7, 2.0 + clearance));
        let verdict = |needed_mm: f64| {
            let rules = FitRules { needed_mm, comfortable_mm: needed_mm + 0.05, ..RULES };
            coaxial(&inner, 900.0, &outer, 800.0, &rules).unwrap().verdict
        };
        prop_assert!(verdict(needed + more) >= verdict(needed), "{clearance} {needed} {more}");
    }

    #[test]
    fn property_three_shafts_side_by_side_match_dense_samples(
        a in diameters(), b in diameters(), c in diameters(), tips in prop::array::uniform3(400.0..1200.0_f64),
    ) {
        let shafts = [a, b, c].map(|d| tapered(1300.0, &d, LumenKind::Solid));
        let guide = catheter(900.0, 8.0, 7.5);
        let placed: Vec<(&Device, f64)> = shafts.iter().zip(tips).collect();
        let fit = side_by_side(&placed, &guide, 850.0, -50.0, 850.0, &RULES).unwrap();
        let sampled = stations(-50.0, 850.0, &placed)
            .into_iter()
            .filter_map(|s| {
                let there: Vec<f64> = placed
                    .iter()
                    .filter(|(d, tip)| s < *tip && s > tip - d.usable_length_mm)
                    .map(|(d, tip)| d.section_at(tip - s).outer_mm)
                    .collect();
                (there.len() > 1).then(|| 7.5 - bundle_diameter_mm(&there))
            })
            .fold(f64::INFINITY, f64::min);
        prop_assert!((fit.clearance_mm - sampled).abs() < 0.02, "{fit:?} / {sampled}");
        let reversed: Vec<(&Device, f64)> = placed.iter().rev().copied().collect();
        let again = side_by_side(&reversed, &guide, 850.0, -50.0, 850.0, &RULES).unwrap();
        prop_assert!((again.clearance_mm - fit.clearance_mm).abs() < 1e-9, "order does not count");
    }
}
