//! How a device lies in the vessel.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a negated comparison also refuses NaN, which is meant"
)]

use super::fit::ROUNDING_MM;
use super::nest::{Candidate, lines_of, pair};
use super::profile::cells_between;
use super::{Device, Fit, FitRules, Relation, Spot, Verdict, VesselStation, VesselWall};

/// How a device lies in the vessel: one fit for each kind of wall it passes, its tightest spot, in
/// the order access, artery, lesion, rigid lesion.
///
/// `vessel` has at least two stations in rising order, lumen linear between them; the device
/// counts where it overlaps them. Wider than a healthy artery or a rigid lesion: does not fit.
/// Above [`FitRules::vessel_share`] of a healthy artery: tight. Wider than any other lesion:
/// tight, since it dilates the lesion on its way; what that takes is not known here.
#[must_use]
pub fn in_lumen(
    device: &Device,
    tip_mm: f64,
    vessel: &[VesselStation],
    rules: &FitRules,
) -> Vec<Fit> {
    let rear_mm = tip_mm - device.usable_length_mm;
    let walls = [
        VesselWall::Access,
        VesselWall::Artery,
        VesselWall::Lesion,
        VesselWall::RigidLesion,
    ];
    let tightest_at = |wall: VesselWall| {
        let mut tightest: Option<Candidate> = None;
        let stretches = vessel.iter().zip(vessel.iter().skip(1));
        for (start, end) in stretches.filter(|(start, _)| start.wall == wall) {
            let from = start.station_mm.max(rear_mm);
            let to = end.station_mm.min(tip_mm);
            for (near, far) in cells_between(from, to, lines_of(device, tip_mm)) {
                let inside = f64::midpoint(near, far);
                for station in [near, far] {
                    let t = (station - start.station_mm) / (end.station_mm - start.station_mm);
                    let lumen = start.lumen_mm + t * (end.lumen_mm - start.lumen_mm);
                    let a = tip_mm - station;
                    let next = pair(
                        device.section_in_cell(a, tip_mm - inside).outer_mm,
                        Some(lumen),
                        Spot {
                            station_mm: Some(station),
                            from_tip_mm: a,
                            container_from_tip_mm: None,
                        },
                    );
                    // In the vessel the share of the lumen counts, not the gap left.
                    let fuller = tightest.is_none_or(|t| {
                        !(next.outer_mm * t.inner_mm <= t.outer_mm * next.inner_mm + ROUNDING_MM)
                    });
                    if fuller {
                        tightest = Some(next);
                    }
                }
            }
        }
        tightest.map(|tightest| vessel_fit(device, wall, tightest, rules))
    };
    walls.into_iter().filter_map(tightest_at).collect()
}

fn vessel_fit(device: &Device, wall: VesselWall, tightest: Candidate, rules: &FitRules) -> Fit {
    let Candidate {
        clearance_mm,
        outer_mm,
        inner_mm,
        at,
    } = tightest;
    let narrower = !(clearance_mm >= -ROUNDING_MM);
    let fills = !(outer_mm <= rules.vessel_share * inner_mm + ROUNDING_MM);
    let (verdict, outcome) = match wall {
        VesselWall::Lesion if narrower => (
            Verdict::Tight,
            format!(
                "is {:.2} mm wider than the residual lumen: it dilates the lesion, which may need pre-dilation",
                -clearance_mm
            ),
        ),
        VesselWall::RigidLesion if narrower => (
            Verdict::DoesNotFit,
            format!(
                "is {:.2} mm wider than a lesion that does not give",
                -clearance_mm
            ),
        ),
        VesselWall::Lesion | VesselWall::RigidLesion => (
            Verdict::Fits,
            format!("passes the lesion with {clearance_mm:.2} mm to spare"),
        ),
        VesselWall::Access | VesselWall::Artery if narrower => (
            Verdict::DoesNotFit,
            format!("is {:.2} mm wider than the artery", -clearance_mm),
        ),
        VesselWall::Access | VesselWall::Artery if fills => (
            Verdict::Tight,
            format!(
                "fills {:.0} % of the artery, above {:.0} %: expect spasm and no flow beside it",
                100.0 * outer_mm / inner_mm,
                100.0 * rules.vessel_share
            ),
        ),
        VesselWall::Access | VesselWall::Artery => {
            (Verdict::Fits, format!("leaves {clearance_mm:.2} mm"))
        }
    };
    let place = match wall {
        VesselWall::Access => "the access artery",
        VesselWall::Artery => "an artery",
        VesselWall::Lesion => "a lesion",
        VesselWall::RigidLesion => "a rigid lesion",
    };
    Fit {
        verdict,
        clearance_mm,
        worst_clearance_mm: clearance_mm - device.diameter_tolerance_mm,
        at,
        relation: Relation::InVessel {
            device: device.name.clone(),
            wall,
        },
        reason: format!(
            "{} ({outer_mm:.2} mm) in {place} of {inner_mm:.2} mm: {outcome}",
            device.name
        ),
    }
}
