//! The smallest round lumen around shafts side by side, against closed forms and packings.

use nestline_physics::device::bundle_diameter_mm;
use proptest::prelude::*;

#[test]
fn exact_three_equal_circles() {
    // R = r (1 + 2 / sqrt 3).
    for d in [0.4, 1.0, 3.0] {
        let exact = d * (1.0 + 2.0 / 3.0_f64.sqrt());
        let found = bundle_diameter_mm(&[d, d, d]);
        assert!((found - exact).abs() < 1e-12, "{found} / {exact}");
    }
}

#[test]
fn published_integral_circle_quadruples() {
    // Quadruples of whole curvatures of mutually touching circles, the first around the others:
    // Graham, Lagarias, Mallows, Wilks & Yan, J. Number Theory 100, 1-45 (2003).
    for (around, curvatures) in [
        (3.0, [5.0, 8.0, 8.0]),
        (4.0, [8.0, 9.0, 9.0]),
        (6.0, [11.0, 14.0, 15.0]),
        (2.0, [3.0, 6.0, 7.0]),
        (1.0, [2.0, 2.0, 3.0]),
    ] {
        let diameters = curvatures.map(|k: f64| 2.0 / k);
        let found = bundle_diameter_mm(&diameters);
        let exact = 2.0 / around;
        assert!(
            (found - exact).abs() < 1e-12,
            "{curvatures:?}: {found} / {exact}"
        );
    }
}

#[test]
fn exact_a_thin_third_lies_beside_two() {
    // Beside two of 1 mm in 2 mm there is room for 2/3 mm.
    assert!(
        (bundle_diameter_mm(&[1.0, 1.0, 0.66]) - 2.0).abs() < 1e-12,
        "room for it"
    );
    assert!(
        bundle_diameter_mm(&[1.0, 1.0, 0.70]) > 2.0 + 1e-3,
        "no room"
    );
}

#[test]
fn published_equal_circles() {
    // Ratios of radii: Graham, Lubachevsky, Nurmela & Östergård, Discrete Math. 181, 139-154 (1998).
    let five = 1.0 + (2.0 * (1.0 + 1.0 / 5.0_f64.sqrt())).sqrt();
    for (count, ratio) in [
        (1, 1.0),
        (2, 2.0),
        (4, 1.0 + 2.0_f64.sqrt()),
        (5, five),
        (6, 3.0),
        (7, 3.0),
    ] {
        let found = bundle_diameter_mm(&vec![0.5; count]) / 0.5;
        assert!((found - ratio).abs() < 1e-6, "{count}: {found} / {ratio}");
    }
    assert!(
        bundle_diameter_mm(&[]).abs() < 1e-12,
        "nothing needs nothing"
    );
    assert!(
        bundle_diameter_mm(&[1.0, f64::NAN]).is_nan(),
        "no number, no answer"
    );
    assert!(
        bundle_diameter_mm(&[1.0, 0.0]).is_nan(),
        "no diameter, no answer"
    );
}

proptest! {
    #[test]
    fn property_bundles_of_three(d in prop::array::uniform3(0.1..3.0_f64), more in 0.0..1.0_f64) {
        let around = bundle_diameter_mm(&d);
        let scaled = bundle_diameter_mm(&d.map(|d| 2.0 * d));
        prop_assert!((scaled - 2.0 * around).abs() < 1e-9, "scales");
        let turned = bundle_diameter_mm(&[d[2], d[0], d[1]]);
        prop_assert!((turned - around).abs() < 1e-12, "order does not count");
        let grown = bundle_diameter_mm(&[d[0] + more, d[1], d[2]]);
        prop_assert!(grown >= around - 1e-12, "{around} / {grown}");
        let pair = bundle_diameter_mm(&d[..2]);
        prop_assert!(around >= pair - 1e-12, "{around} / {pair}");
        let sum: f64 = d.iter().sum();
        prop_assert!(around <= sum + 1e-12, "{around} / {sum}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))] // a search over arrangements each
    #[test]
    fn property_bundles_of_four(d in prop::array::uniform4(0.3..3.0_f64)) {
        let around = bundle_diameter_mm(&d);
        let area = d.iter().map(|d| d * d).sum::<f64>().sqrt();
        prop_assert!(around >= area, "{around} / {area}");
        for left_out in 0..4 {
            let three: Vec<f64> = (0..4).filter(|i| *i != left_out).map(|i| d[i]).collect();
            let three = bundle_diameter_mm(&three);
            prop_assert!(around >= three - 1e-6, "{around} / {three}");
            // The fourth beside the bundle of the other three is one arrangement.
            prop_assert!(around <= three + d[left_out] + 1e-6, "{around} / {three}");
        }
    }
}
