//! How something fits: rules, verdicts and where it is tightest.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a negated comparison also refuses NaN, which is meant"
)]

use super::Device;
use serde::{Deserialize, Serialize};

/// What a fit is judged by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitRules {
    /// Diametral running clearance below which a device does not go, mm.
    pub needed_mm: f64,
    /// Diametral running clearance below which a catheter is tight, mm.
    pub comfortable_mm: f64,
    /// The same for a rail (a wire, a pusher) in a lumen made for it, mm.
    pub comfortable_for_rail_mm: f64,
}

impl Default for FitRules {
    /// 0.05 mm, 0.10 mm and 0.07 mm, from memory with middling confidence. Less would pass
    /// pairs that bind once bent, more would warn of pairs used every day: a lumen made for a
    /// 0.014 in wire is about 0.017 in wide, which leaves 0.076 mm.
    fn default() -> Self {
        Self {
            needed_mm: 0.05,
            comfortable_mm: 0.10,
            comfortable_for_rail_mm: 0.07,
        }
    }
}

impl FitRules {
    /// Verdict on a diametral clearance, nominal and with tolerances used up; `comfortable_mm` is
    /// the one of the two that applies.
    fn judge(&self, clearance_mm: f64, worst_mm: f64, comfortable_mm: f64) -> Verdict {
        if !(clearance_mm >= self.needed_mm - ROUNDING_MM) {
            Verdict::DoesNotFit
        } else if clearance_mm < comfortable_mm - ROUNDING_MM || worst_mm < 0.0 {
            Verdict::Tight
        } else {
            Verdict::Fits
        }
    }
}

/// Differences below this are rounding of unit conversions, mm.
pub(super) const ROUNDING_MM: f64 = 1e-9;

/// How a device fits. Ordered from good to bad, so the largest of several is the one that counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Verdict {
    /// With room to run.
    Fits,
    /// Nominally, but little is left: a warning.
    Tight,
    /// Not.
    DoesNotFit,
}

/// Who lies in what.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub enum Relation {
    /// One device in the lumen of another.
    Coaxial {
        /// Name of the device inside.
        inner: String,
        /// Name of the device around it.
        outer: String,
    },
    /// Devices beside each other in the lumen of another.
    SideBySide {
        /// Names of those beside each other at the tightest spot.
        devices: Vec<String>,
        /// Name of the device around them.
        container: String,
    },
    /// A device through, or gripped by, a small part.
    InPart {
        /// Name of the device.
        device: String,
        /// Name of the part.
        part: String,
    },
}

/// Where the tightest spot is: the one met first on the way in, of several equal ones.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spot {
    /// Place along the route, mm; none for parts outside the body.
    pub station_mm: Option<f64>,
    /// Distance from the tip of the device inside (the first one given), mm.
    pub from_tip_mm: f64,
    /// Distance from the tip of the device around it, mm; none in a part.
    pub container_from_tip_mm: Option<f64>,
}

/// How something fits, and where least.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fit {
    /// Verdict.
    pub verdict: Verdict,
    /// Diametral clearance at the tightest spot with nominal diameters, mm; negative when too wide.
    pub clearance_mm: f64,
    /// The same with every diameter off by its tolerance in the wrong direction, mm.
    pub worst_clearance_mm: f64,
    /// The tightest spot.
    pub at: Spot,
    /// Who lies in what.
    pub relation: Relation,
    /// Why, in plain words.
    pub reason: String,
}

impl FitRules {
    /// The comfortable clearance for this device in a lumen.
    pub(super) fn comfortable_for(&self, inner: &Device) -> f64 {
        if inner.is_rail() {
            self.comfortable_for_rail_mm
        } else {
            self.comfortable_mm
        }
    }

    /// Verdict and the end of a sentence that started with the two diameters.
    pub(super) fn conclude(
        &self,
        clearance_mm: f64,
        worst_mm: f64,
        comfortable_mm: f64,
    ) -> (Verdict, String) {
        let verdict = self.judge(clearance_mm, worst_mm, comfortable_mm);
        let text = match verdict {
            Verdict::Fits => format!("leaves {clearance_mm:.3} mm"),
            Verdict::Tight if worst_mm < 0.0 => format!(
                "leaves {clearance_mm:.3} mm, less than the tolerances: some pairs will not go"
            ),
            Verdict::Tight => {
                format!("leaves {clearance_mm:.3} mm: tight, {comfortable_mm:.2} mm runs freely")
            }
            Verdict::DoesNotFit if clearance_mm < 0.0 => format!(
                "is {:.3} mm too wide: {:.2} mm less inside or more around leaves {:.2} mm",
                -clearance_mm,
                0.01 * (100.0 * (self.needed_mm - clearance_mm)).ceil(),
                self.needed_mm
            ),
            Verdict::DoesNotFit => format!(
                "leaves {clearance_mm:.3} mm, but {:.2} mm is needed to run",
                self.needed_mm
            ),
        };
        (verdict, text)
    }
}
