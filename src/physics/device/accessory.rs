//! Small parts: what they use up, let through or grip, and their checks.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a negated comparison also refuses NaN, which is meant"
)]

use super::check::Findings;
use super::{Accessory, Basis, Device, DeviceError, Fit, FitRules, Relation, Spot, Verdict};

impl Accessory {
    /// Plain name.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Valve { name, .. }
            | Self::Clip { name, .. }
            | Self::InsertionTool { name, .. }
            | Self::Extension { name, .. } => name,
        }
    }

    /// Length of rail it uses up or covers, or that it adds, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        match self {
            Self::Valve { length_mm, .. }
            | Self::Clip { length_mm, .. }
            | Self::InsertionTool { length_mm, .. }
            | Self::Extension { length_mm, .. } => *length_mm,
        }
    }

    /// How the part suits the stretch of `device` from `from_mm` to `to_mm` (mm from its tip) that
    /// is pulled through a valve or an insertion tool, or gripped by a clip.
    ///
    /// A valve only has to open wide enough; an insertion tool needs running clearance; for a clip
    /// the clearance is what is left to the nearer end of the range it grips, and so for an extension.
    #[must_use]
    pub fn fit(&self, device: &Device, from_mm: f64, to_mm: f64, rules: &FitRules) -> Fit {
        let widest = device.max_outer_between(from_mm, to_mm);
        let (verdict, clearance_mm, worst_mm, text) = match self {
            Self::Valve { passes_mm, .. } => {
                open_enough(*passes_mm, widest, device.diameter_tolerance_mm)
            }
            Self::InsertionTool { inner_mm, .. } => {
                let clearance_mm = inner_mm - widest;
                let worst_mm = clearance_mm - device.diameter_tolerance_mm;
                let comfortable_mm = rules.comfortable_for(device);
                let (verdict, text) = rules.conclude(clearance_mm, worst_mm, comfortable_mm);
                (verdict, clearance_mm, worst_mm, text)
            }
            Self::Clip {
                grips_from_mm,
                grips_to_mm,
                ..
            } => grip(
                device.min_outer_between(from_mm, to_mm) - grips_from_mm,
                grips_to_mm - widest,
                device.diameter_tolerance_mm,
            ),
            Self::Extension {
                joins_from_mm,
                joins_to_mm,
                ..
            } => grip(
                device.min_outer_between(from_mm, to_mm) - joins_from_mm,
                joins_to_mm - widest,
                device.diameter_tolerance_mm,
            ),
        };
        Fit {
            verdict,
            clearance_mm,
            worst_clearance_mm: worst_mm,
            at: Spot {
                station_mm: None,
                from_tip_mm: from_mm.min(to_mm),
                container_from_tip_mm: None,
            },
            relation: Relation::InPart {
                device: device.name.clone(),
                part: self.name().to_owned(),
            },
            reason: format!(
                "{} ({widest:.3} mm) in {}: {text}",
                device.name,
                self.name()
            ),
        }
    }

    /// Everything in this description that contradicts itself; empty for a sound part.
    #[must_use]
    pub fn check(&self) -> Vec<DeviceError> {
        let mut findings = Findings::default();
        findings.name(self.name());
        findings.positive("length", self.length_mm(), "mm");
        let basis: &Basis = match self {
            Self::Valve {
                passes_mm, basis, ..
            } => {
                findings.positive("passes", *passes_mm, "mm");
                basis
            }
            Self::Clip {
                grips_from_mm,
                grips_to_mm,
                basis,
                ..
            } => {
                findings.positive("grips_from", *grips_from_mm, "mm");
                if !(grips_from_mm < grips_to_mm) {
                    findings.add(
                        "grips_to",
                        format!("is {grips_to_mm} mm, not above `grips_from` ({grips_from_mm} mm)"),
                        "give the thinnest rail first",
                    );
                }
                basis
            }
            Self::InsertionTool {
                inner_mm,
                outer_mm,
                basis,
                ..
            } => {
                findings.positive("inner", *inner_mm, "mm");
                if !(inner_mm < outer_mm) {
                    findings.add(
                        "inner",
                        format!("is {inner_mm} mm, not below the outer diameter ({outer_mm} mm)"),
                        "a tube has a wall: swap or correct `inner` and `outer`",
                    );
                }
                basis
            }
            Self::Extension {
                joins_from_mm,
                joins_to_mm,
                outer_mm,
                basis,
                ..
            } => {
                findings.positive("joins_from", *joins_from_mm, "mm");
                findings.positive("outer", *outer_mm, "mm");
                if !(joins_from_mm < joins_to_mm) {
                    findings.add(
                        "joins_to",
                        format!("is {joins_to_mm} mm, not above `joins_from` ({joins_from_mm} mm)"),
                        "give the thinnest rail first",
                    );
                }
                basis
            }
        };
        findings.basis("basis", basis);
        findings.0
    }
}

type Outcome = (Verdict, f64, f64, String);

fn open_enough(passes_mm: f64, outer_mm: f64, tolerance_mm: f64) -> Outcome {
    let clearance_mm = passes_mm - outer_mm;
    let worst_mm = clearance_mm - tolerance_mm;
    let (verdict, text) = if !(clearance_mm >= 0.0) {
        (
            Verdict::DoesNotFit,
            format!(
                "is {:.3} mm wider than it opens ({passes_mm:.3} mm)",
                -clearance_mm
            ),
        )
    } else if worst_mm < 0.0 {
        (
            Verdict::Tight,
            format!("leaves {clearance_mm:.3} mm, less than the tolerance"),
        )
    } else {
        (Verdict::Fits, format!("leaves {clearance_mm:.3} mm"))
    };
    (verdict, clearance_mm, worst_mm, text)
}

fn grip(above_thinnest_mm: f64, below_thickest_mm: f64, tolerance_mm: f64) -> Outcome {
    let clearance_mm = above_thinnest_mm.min(below_thickest_mm);
    let worst_mm = clearance_mm - tolerance_mm;
    let (verdict, text) = if !(above_thinnest_mm >= 0.0) {
        (
            Verdict::DoesNotFit,
            format!("is {:.3} mm too thin to be gripped", -above_thinnest_mm),
        )
    } else if !(below_thickest_mm >= 0.0) {
        (
            Verdict::DoesNotFit,
            format!("is {:.3} mm too thick to be gripped", -below_thickest_mm),
        )
    } else if worst_mm < 0.0 {
        (
            Verdict::Tight,
            "is gripped only at the very end of its range".to_owned(),
        )
    } else {
        (Verdict::Fits, "is gripped".to_owned())
    };
    (verdict, clearance_mm, worst_mm, text)
}
