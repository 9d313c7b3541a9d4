//! What of a device meets an edge: its ledge.

use super::passages::{EdgePassage, Meets};
use crate::device::{Coating, LumenKind, Payload};
use crate::mechanics::{Ledge, Surface};
use crate::procedure::script::Plan;

/// Least and largest rounding of a catheter's tip, mm; never more than its wall is thick. Assumed: tips
/// are soft and rounded, no radius is published.
const TIP_ROUNDING_MM: (f64, f64) = (0.10, 0.25);
/// Rounding of a retriever's struts, mm: half of a strut of 0.04 to 0.1 mm (from memory).
const STRUT_ROUNDING_MM: (f64, f64) = (0.02, 0.05);
/// Rounding of a wire's tip over its radius: nearly a hemisphere (from memory).
const WIRE_ROUNDING: (f64, f64) = (0.7, 1.0);

pub(super) fn ledge_of(plan: &Plan, passage: &EdgePassage) -> Ledge {
    let device = &plan.devices[passage.device].device;
    let on_metal = Surface::Device(Coating::Metal);
    let friction_coefficient = plan.values.friction.of(device.outer_surface, on_metal);
    let tip = device.section_at(0.0);
    match (&device.payload, passage.meets) {
        (Some(Payload::Retriever(spec)), Meets::Struts) => Ledge {
            outer_radius_mm: 0.5 * spec.free_diameter_mm,
            inner_radius_mm: 0.0,
            rounding_mm: STRUT_ROUNDING_MM,
            tolerance_mm: 0.0,
            friction_coefficient,
        },
        (_, meets) if passage.step.is_some() || meets == Meets::Back => {
            // a tip that comes back has no step of its own
            let bare_radius_mm = 0.5 * tip.outer_mm;
            let (outer_radius_mm, inner_radius_mm) = passage
                .step
                .map_or((bare_radius_mm, bare_radius_mm), |step| {
                    (step.outer_radius_mm, step.inner_radius_mm)
                });
            let height_mm = outer_radius_mm - inner_radius_mm;
            Ledge {
                outer_radius_mm,
                inner_radius_mm,
                // nothing is rounded by more than it is high
                rounding_mm: (
                    TIP_ROUNDING_MM.0.min(height_mm),
                    TIP_ROUNDING_MM.1.min(height_mm),
                ),
                tolerance_mm: device.diameter_tolerance_mm,
                friction_coefficient,
            }
        }
        _ => {
            let outer_radius_mm = 0.5 * tip.outer_mm;
            let rounding_mm = match (device.lumen, tip.inner_mm) {
                (LumenKind::Solid, _) | (_, None) => (
                    WIRE_ROUNDING.0 * outer_radius_mm,
                    WIRE_ROUNDING.1 * outer_radius_mm,
                ),
                (_, Some(inner_mm)) => {
                    let wall_mm = 0.5 * (tip.outer_mm - inner_mm);
                    (
                        TIP_ROUNDING_MM.0.min(wall_mm),
                        TIP_ROUNDING_MM.1.min(wall_mm),
                    )
                }
            };
            Ledge {
                outer_radius_mm,
                inner_radius_mm: passage.carrier_radius_mm.min(outer_radius_mm),
                rounding_mm,
                tolerance_mm: device.diameter_tolerance_mm,
                friction_coefficient,
            }
        }
    }
}
