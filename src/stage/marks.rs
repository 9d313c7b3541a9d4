//! What a device shows besides its outline: radiopaque marks and the core of a wire.

use crate::device::{Device, DeviceClass, Payload};
use crate::math;
use std::f64::consts::PI;

/// Width of a marker band, mm (common practice, no source).
const BAND_MM: f64 = 1.0;
/// Distance of a catheter's marker band from its tip, mm (common practice, no source).
const TIP_BAND_MM: f64 = 0.5;
/// Distance of a microcatheter's second mark from its tip, mm (common practice, no source).
const SECOND_MARK_MM: f64 = 30.0;
/// Radiopaque front of a wire, mm (common practice, no source).
const WIRE_FRONT_MM: f64 = 30.0;
/// Young's modulus of a steel core, N/mm2 (from memory; spring steel).
const STEEL_MPA: f64 = 193e3;
/// Share of a wire's outside that its core takes at most: the rest is coil and coating (assumed).
const MOST_CORE: f64 = 0.85;

/// Radiopaque stretches, `(near the tip, away from it)`, mm from the tip, in order.
pub(super) fn marks(device: &Device) -> Vec<(f64, f64)> {
    let band = |at_mm: f64| (at_mm, at_mm + BAND_MM);
    let mut found = match device.class {
        DeviceClass::Wire => vec![(0.0, WIRE_FRONT_MM)],
        DeviceClass::Retriever => Vec::new(),
        DeviceClass::Microcatheter => vec![band(TIP_BAND_MM), band(SECOND_MARK_MM)],
        _ => vec![band(TIP_BAND_MM)],
    };
    match &device.payload {
        Some(Payload::Stent(spec)) => {
            let folded_mm = device.max_outer_between(0.0, spec.nose_length_mm);
            let length_mm = spec.loaded_length_mm(folded_mm);
            found.push(band(spec.nose_length_mm));
            if length_mm.is_finite() {
                found.push(band(spec.nose_length_mm + length_mm));
            }
        }
        Some(Payload::Balloon(spec)) => {
            found.push(band(spec.nose_length_mm));
            found.push(band(spec.nose_length_mm + spec.length_mm - BAND_MM));
        }
        Some(Payload::Retriever(spec)) => found.push(band(spec.folded_length_mm)),
        _ => {}
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    found
}

/// Radius of the round steel core that alone would give a wire its bending stiffness, mm:
/// `B = E pi d^4 / 64`, at most a share of its outside.
pub(super) fn core_mm(stiffness_n_mm2: f64, outer_radius_mm: f64) -> f64 {
    let diameter_mm = math::pow(64.0 * stiffness_n_mm2.max(0.0) / (PI * STEEL_MPA), 0.25);
    (0.5 * diameter_mm).min(MOST_CORE * outer_radius_mm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_core_of_a_steel_wire() {
        // d = 0.3 mm: B = 193e3 pi 0.0081 / 64 = 76.74 N mm2
        let stiffness = STEEL_MPA * PI * math::power(0.3_f64, 4) / 64.0;
        assert!(
            (core_mm(stiffness, 0.5) - 0.15).abs() < 1e-12,
            "its own core"
        );
        assert!(
            (core_mm(stiffness, 0.15) - 0.1275).abs() < 1e-12,
            "at most its share"
        );
    }
}
