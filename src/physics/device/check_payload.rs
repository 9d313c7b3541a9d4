//! Checks of what a device carries, against itself and the device.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a negated comparison also refuses NaN, which is meant"
)]

use super::check::Findings;
use super::{
    BalloonSpec, Device, OcclusionBalloonSpec, Payload, RetrieverSpec, StentDesign, StentSpec,
};

impl Device {
    pub(super) fn check_payload(&self, findings: &mut Findings) {
        // A stent or balloon lies on the wire lumen, so it must end before the port.
        let room = self.lumen_length_mm().unwrap_or(self.usable_length_mm);
        match &self.payload {
            None => {}
            Some(Payload::Stent(stent)) => self.check_stent(findings, stent, room),
            Some(Payload::Retriever(retriever)) => self.check_retriever(findings, retriever),
            Some(Payload::Balloon(balloon)) => self.check_balloon(findings, balloon, room),
            Some(Payload::OcclusionBalloon(balloon)) => self.check_occlusion(findings, balloon),
            Some(Payload::Filter { open_diameter_mm }) => {
                const FIELD: &str = "payload.open_diameter";
                if findings.positive(FIELD, *open_diameter_mm, "mm") {
                    let widest = self.max_outer_between(0.0, self.usable_length_mm);
                    self.check_opens(findings, FIELD, *open_diameter_mm, widest);
                }
            }
        }
    }

    fn check_opens(&self, findings: &mut Findings, field: &str, open_mm: f64, folded_mm: f64) {
        if open_mm <= folded_mm {
            findings.add(
                field,
                format!(
                    "is {open_mm} mm, no wider than the device that carries it ({folded_mm} mm)"
                ),
                "give the open diameter, and the folded one as `outer` in the profile",
            );
        }
    }

    fn check_stent(&self, findings: &mut Findings, stent: &StentSpec, room_mm: f64) {
        let mut sound = findings.positive("payload.free_diameter", stent.free_diameter_mm, "mm");
        sound &= findings.positive("payload.free_length", stent.free_length_mm, "mm");
        match stent.design {
            StentDesign::Braided {
                wires,
                wire_diameter_mm,
                braid_angle_deg,
                youngs_modulus_gpa,
                poisson_ratio,
            } => {
                if wires < 4 || wires % 2 == 1 {
                    findings.add(
                        "payload.design.wires",
                        format!("is {wires}"),
                        "a braid has an even number of wires, half in each direction, at least 4",
                    );
                }
                if findings.positive("payload.design.wire_diameter", wire_diameter_mm, "mm")
                    && 4.0 * wire_diameter_mm >= stent.free_diameter_mm
                {
                    findings.add(
                        "payload.design.wire_diameter",
                        format!(
                            "is {wire_diameter_mm} mm: two crossings fill a stent of {} mm",
                            stent.free_diameter_mm
                        ),
                        "give the diameter of one wire",
                    );
                }
                if !(braid_angle_deg > 0.0 && braid_angle_deg < 90.0) {
                    findings.add(
                        "payload.design.braid_angle_deg",
                        format!("is {braid_angle_deg} degrees"),
                        "give the angle from the circumferential direction at rest, above 0 and below 90",
                    );
                    sound = false;
                }
                findings.positive(
                    "payload.design.youngs_modulus_gpa",
                    youngs_modulus_gpa,
                    "GPa",
                );
                if !(0.0..=0.5).contains(&poisson_ratio) {
                    findings.add(
                        "payload.design.poisson_ratio",
                        format!("is {poisson_ratio}"),
                        "give 0 to 0.5 (about 0.3 for metals)",
                    );
                }
            }
            StentDesign::Cut {
                strut_thickness_mm,
                cell_length_mm,
                foreshortening_percent,
                ..
            } => {
                if findings.positive("payload.design.strut_thickness", strut_thickness_mm, "mm")
                    && 2.0 * strut_thickness_mm >= stent.free_diameter_mm
                {
                    findings.add(
                        "payload.design.strut_thickness",
                        format!(
                            "is {strut_thickness_mm} mm in a stent of {} mm",
                            stent.free_diameter_mm
                        ),
                        "give the thickness of the cut tube's wall",
                    );
                }
                if findings.positive("payload.design.cell_length", cell_length_mm, "mm")
                    && cell_length_mm > stent.free_length_mm
                {
                    findings.add(
                        "payload.design.cell_length",
                        format!(
                            "is {cell_length_mm} mm in a stent of {} mm",
                            stent.free_length_mm
                        ),
                        "give the length of one cell along the stent",
                    );
                }
                if !(0.0..100.0).contains(&foreshortening_percent) {
                    findings.add(
                        "payload.design.foreshortening_percent",
                        format!("is {foreshortening_percent} percent"),
                        "give the shortening from delivered to free, 0 to below 100",
                    );
                    sound = false;
                }
            }
        }
        if !sound || !(stent.nose_length_mm >= 0.0) {
            return;
        }
        let loaded_outer = self.max_outer_between(0.0, room_mm);
        self.check_opens(
            findings,
            "payload.free_diameter",
            stent.free_diameter_mm,
            loaded_outer,
        );
        let loaded = stent.loaded_length_mm(loaded_outer);
        let needed = stent.nose_length_mm + loaded;
        if needed > room_mm {
            findings.add(
                "payload.free_length",
                format!(
                    "is {} mm, {loaded:.0} mm when loaded; with the nose it ends {needed:.0} mm from the tip, behind {room_mm} mm of wire lumen",
                    stent.free_length_mm
                ),
                "shorten the stent or its nose, or move the port back",
            );
        }
    }

    fn check_retriever(&self, findings: &mut Findings, retriever: &RetrieverSpec) {
        let RetrieverSpec {
            free_diameter_mm: free,
            free_length_mm: length,
            folded_length_mm: folded,
            vessel_from_mm: from,
            vessel_to_mm: to,
        } = *retriever;
        findings.positive("payload.free_length", length, "mm");
        if findings.positive("payload.folded_length", folded, "mm") {
            if folded >= self.usable_length_mm {
                findings.add(
                    "payload.folded_length",
                    format!("is {folded} mm on a device of {} mm", self.usable_length_mm),
                    "give the folded basket only, without its pusher",
                );
            } else if folded < length {
                findings.add(
                    "payload.folded_length",
                    format!("is {folded} mm, shorter than the open basket ({length} mm)"),
                    "a basket grows longer as it folds: correct either length",
                );
            }
        }
        if findings.positive("payload.free_diameter", free, "mm") {
            let outer = self.max_outer_between(0.0, folded);
            self.check_opens(findings, "payload.free_diameter", free, outer);
        }
        findings.positive("payload.vessel_from", from, "mm");
        if !(from <= to) {
            findings.add(
                "payload.vessel_from",
                format!("is {from} mm, above `vessel_to` ({to} mm)"),
                "give the smallest vessel first",
            );
        } else if to > free {
            findings.add(
                "payload.vessel_to",
                format!("is {to} mm, wider than the open basket ({free} mm), which would not touch the wall"),
                "give the largest vessel the basket still touches",
            );
        }
    }

    fn check_balloon(&self, findings: &mut Findings, balloon: &BalloonSpec, room_mm: f64) {
        let nominal = balloon.nominal_pressure_atm;
        let rated = balloon.rated_pressure_atm;
        if findings.positive("payload.nominal_pressure_atm", nominal, "atm") && !(rated >= nominal)
        {
            findings.add(
                "payload.rated_pressure_atm",
                format!("is {rated} atm, below the nominal pressure ({nominal} atm)"),
                "the rated burst pressure is at least the nominal pressure",
            );
        }
        if !(balloon.compliance_percent_per_atm >= 0.0) {
            findings.add(
                "payload.compliance_percent_per_atm",
                format!("is {}", balloon.compliance_percent_per_atm),
                "give 0 or more",
            );
        }
        if findings.positive(
            "payload.nominal_diameter",
            balloon.nominal_diameter_mm,
            "mm",
        ) {
            let outer = self.max_outer_between(0.0, room_mm);
            self.check_opens(
                findings,
                "payload.nominal_diameter",
                balloon.nominal_diameter_mm,
                outer,
            );
        }
        let needed = balloon.nose_length_mm + balloon.length_mm;
        if findings.positive("payload.length", balloon.length_mm, "mm") && !(needed <= room_mm) {
            findings.add(
                "payload.length",
                format!(
                    "is {} mm; with the nose the balloon ends {needed} mm from the tip, behind {room_mm} mm of wire lumen",
                    balloon.length_mm
                ),
                "shorten the balloon or its nose, or move the port back",
            );
        }
    }

    fn check_occlusion(&self, findings: &mut Findings, balloon: &OcclusionBalloonSpec) {
        let nose = balloon.nose_length_mm;
        if !(nose >= 0.0 && nose < self.usable_length_mm) {
            findings.add(
                "payload.nose_length",
                format!(
                    "is {nose} mm on {} mm of usable length",
                    self.usable_length_mm
                ),
                "give the distance from the tip to the balloon",
            );
        }
        const FIELD: &str = "payload.largest_diameter";
        if findings.positive(FIELD, balloon.largest_diameter_mm, "mm") {
            let widest = self.max_outer_between(0.0, self.usable_length_mm);
            self.check_opens(findings, FIELD, balloon.largest_diameter_mm, widest);
        }
    }
}
