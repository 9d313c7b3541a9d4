//! Flow through occupied lumens and the pull of suction: a table computed elsewhere, limits.
use crate::support::table::Table;
use nestline_physics::mechanics::{
    OccupiedStretch, PUMP_KPA, annulus_flow_fraction, eccentric_flow_fraction, flush_push_n,
    series_flow_fraction, suction_force_n,
};

#[test]
fn exact_catheter_in_a_carotid() {
    // 4.5 mm lumen, concentric catheters; worked by hand from the closed form.
    for (outer_mm, percent) in [(0.90, 42.6), (1.40, 29.2), (2.10, 15.0), (2.67, 7.2)] {
        let found = 100.0 * annulus_flow_fraction(outer_mm / 4.5);
        assert!((found - percent).abs() < 0.05, "{outer_mm}: {found}");
    }
}

#[test]
fn reference_annulus_beside_and_on_the_axis() {
    for case in Table::read("annulus_flow").rows(20) {
        let (ratio, eccentricity) = (case.number("ratio"), case.number("eccentricity"));
        let share = case.number("share");
        let mut found = vec![eccentric_flow_fraction(ratio, eccentricity)];
        if eccentricity <= 0.0 {
            found.push(annulus_flow_fraction(ratio));
        }
        for found in found {
            assert!(
                (found / share - 1.0).abs() < 1e-11 && (found - share).abs() < 1e-12,
                "{ratio} {eccentricity}: {found} against {share}"
            );
        }
    }
}

#[test]
fn exact_limits_of_the_eccentric_annulus() {
    for ratio in [0.1, 0.5, 0.9, 0.97] {
        let (small, none) = (
            eccentric_flow_fraction(ratio, 2e-4),
            annulus_flow_fraction(ratio),
        );
        assert!(
            (small / none - 1.0).abs() < 1e-5,
            "{ratio}: {small} against {none}"
        );
        let mut last = none;
        for i in 1..=20 {
            let found = eccentric_flow_fraction(ratio, 0.05 * f64::from(i));
            assert!(found > last, "{ratio}: grows with eccentricity");
            last = found;
        }
        assert!(
            last < 2.6 * none,
            "{ratio}: at most 2.5 times the concentric flow"
        );
    }
    // narrow gap: 1 + 1.5 e^2, joined at a gap of a hundredth of the radius
    for eccentricity in [0.3, 0.9] {
        let (below, above) = (
            eccentric_flow_fraction(0.9901, eccentricity),
            eccentric_flow_fraction(0.9899, eccentricity),
        );
        let cubes = (0.0101_f64 / 0.0099).powi(3);
        assert!(
            (above / below / cubes - 1.0).abs() < 0.01,
            "{below} {above}"
        );
    }
}

#[test]
fn exact_stretches_in_series() {
    let stretch = |length_mm, lumen_mm, share| OccupiedStretch {
        length_mm,
        lumen_mm,
        share,
    };
    let alone = series_flow_fraction(&[stretch(900.0, 2.2, 0.25)]).unwrap();
    assert!((alone - 0.25).abs() < 1e-15, "{alone}");
    // half of it free: 2 / (1 / 0.25 + 1) = 0.4
    let half =
        series_flow_fraction(&[stretch(450.0, 2.2, 0.25), stretch(450.0, 2.2, 1.0)]).unwrap();
    assert!((half - 0.4).abs() < 1e-15, "{half}");
    // a wide stretch hardly counts: 1/16 of the resistance
    let wide = series_flow_fraction(&[stretch(100.0, 4.4, 0.1), stretch(100.0, 2.2, 1.0)]).unwrap();
    assert!(
        (wide - (1.0 / 16.0 + 1.0) / (10.0 / 16.0 + 1.0)).abs() < 1e-12,
        "{wide}"
    );
    let shut = series_flow_fraction(&[stretch(1.0, 2.2, 0.0), stretch(900.0, 2.2, 1.0)]).unwrap();
    assert!(shut.abs() < 1e-15, "one plug shuts it: {shut}");
    let refused = series_flow_fraction(&[stretch(0.0, 2.2, 1.0)]).unwrap_err();
    assert!(
        refused.to_string().contains("stretches[0].length_mm"),
        "{refused}"
    );
}

#[test]
fn exact_suction_forces() {
    // (pi / 4) ID^2 at 86.8 kPa (Froehler 2017, Interv. Neurol. 6:199), worked by hand.
    for (inch, force_n) in [
        (0.060, 0.158),
        (0.064, 0.180),
        (0.068, 0.203),
        (0.071, 0.222),
        (0.074, 0.241),
        (0.084, 0.310),
        (0.088, 0.341),
    ] {
        let found = suction_force_n(25.4 * inch, PUMP_KPA);
        assert!((found - force_n).abs() < 6e-4, "{inch}: {found}");
    }
    // bench, J. NeuroIntervent. Surg. 13, 1157 (2021): 0.26 N on 0.068 in, 0.42 N on an 8F guide
    for (inch, bench_n) in [(0.068, 0.26), (0.088, 0.42)] {
        let ratio = bench_n / suction_force_n(25.4 * inch, PUMP_KPA);
        assert!(
            (1.1..1.4).contains(&ratio),
            "{inch}: bench over ideal {ratio}"
        );
    }
}

#[test]
fn exact_forces_on_the_fluid_in_a_flushed_lumen_balance() {
    // pressure on the annulus is carried by shaft and wall; the wall's share from the slope of the velocity
    let (pressure, lumen_mm) = (0.5_f64, 0.54_f64);
    let radius_mm = 0.5 * lumen_mm;
    for ratio in [0.05_f64, 0.3, 0.69, 0.95] {
        let k2 = ratio * ratio;
        // velocity times 4 viscosity length over pressure, mm2
        let velocity = |r_mm: f64| {
            let r = r_mm / radius_mm;
            radius_mm * radius_mm * (1.0 - r * r + (1.0 - k2) / (1.0 / ratio).ln() * r.ln())
        };
        let h_mm = 1e-4 * radius_mm;
        let slope = (3.0 * velocity(radius_mm) - 4.0 * velocity(radius_mm - h_mm)
            + velocity(radius_mm - 2.0 * h_mm))
            / (2.0 * h_mm);
        let wall_n = -2.0 * std::f64::consts::PI * radius_mm * slope * pressure / 4.0;
        let whole_n = pressure * std::f64::consts::PI * radius_mm * radius_mm;
        let shaft_n = flush_push_n(pressure, ratio * lumen_mm, lumen_mm);
        assert!(
            (shaft_n + wall_n - whole_n).abs() < 1e-6 * whole_n,
            "{ratio}: {shaft_n} + {wall_n} against {whole_n}"
        );
    }
    let piston_n = flush_push_n(pressure, lumen_mm, lumen_mm);
    assert!((piston_n - 0.114_511).abs() < 1e-6, "{piston_n}");
    assert!(
        flush_push_n(pressure, 0.0, lumen_mm).abs() < 1e-12,
        "no shaft"
    );
}
