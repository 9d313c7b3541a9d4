//! Checks across the fields of a device: every contradiction, each with how to mend it.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a negated comparison also refuses NaN, which is meant"
)]

use super::{Basis, Designation, Device, DeviceClass, DeviceError, Knot, LumenKind, Payload, Tip};
use crate::units::{MM_PER_FRENCH, mm_to_french};

/// Lengths closer than this are the same place, mm: far below what anyone can read off a device,
/// far above the rounding of a unit conversion.
const SAME_PLACE_MM: f64 = 1e-6;

/// How far a catheter's widest place may lie from its French number, mm: makers round to whole or
/// half French and a balloon or marker adds to it (common practice, no source), while the next
/// French number, a third of a millimetre away, must not pass.
const FRENCH_ROUNDING_MM: f64 = 0.25;

/// Tolerances above this are a slip of units, mm; 0.025 to 0.05 mm is typical (from memory).
const MOST_TOLERANCE_MM: f64 = 0.2;

/// Gathers what is wrong.
#[derive(Default)]
pub(super) struct Findings(pub(super) Vec<DeviceError>);

impl Findings {
    pub(super) fn add(
        &mut self,
        field: impl Into<String>,
        found: impl Into<String>,
        mend: impl Into<String>,
    ) {
        self.0.push(DeviceError::Invalid {
            field: field.into(),
            found: found.into(),
            mend: mend.into(),
        });
    }

    /// Notes a value that is not a finite number above zero; says whether it is.
    pub(super) fn positive(&mut self, field: &str, value: f64, unit: &str) -> bool {
        let good = value.is_finite() && value > 0.0;
        if !good {
            self.add(
                field,
                format!("is {value} {unit}"),
                "give a number above zero",
            );
        }
        good
    }

    pub(super) fn name(&mut self, name: &str) {
        if name.trim().is_empty() {
            self.add("name", "is empty", "give a generic name in plain words");
        }
    }

    pub(super) fn basis(&mut self, field: &str, basis: &Basis) {
        if let Basis::Published(text)
        | Basis::Measured(text)
        | Basis::FromMemory(text)
        | Basis::Assumed(text) = basis
            && text.trim().is_empty()
        {
            self.add(
                field,
                "has an empty text",
                "say where the values come from, how sure you are, or why they were chosen",
            );
        }
    }
}

impl Device {
    /// Everything in this description that contradicts itself, in the order of its fields; empty
    /// for a sound device.
    ///
    /// Each finding names the field by its path in a file, what was found and how to mend it.
    #[must_use]
    pub fn check(&self) -> Vec<DeviceError> {
        let mut findings = Findings::default();
        findings.name(&self.name);
        self.check_class(&mut findings);
        self.check_lengths(&mut findings);
        let profile_is_sound = self.check_profile(&mut findings);
        self.check_lumen(&mut findings);
        if profile_is_sound {
            self.check_size(&mut findings);
        }
        self.check_tip_and_surface(&mut findings);
        self.check_payload(&mut findings);
        self.check_basis(&mut findings);
        findings.0
    }

    fn check_class(&self, findings: &mut Findings) {
        use DeviceClass as C;
        let (solid, full, exchange) = match self.lumen {
            LumenKind::Solid => (true, false, false),
            LumenKind::Full => (false, true, false),
            LumenKind::RapidExchange { .. } => (false, false, true),
        };
        let (allowed, mend) = match self.class {
            C::Wire | C::Retriever | C::Filter => (solid, "write `Solid`"),
            C::CarotidStent | C::Balloon => (
                full || exchange,
                "write `Full` (over the wire) or `RapidExchange(port_from_tip: ...)`",
            ),
            C::AccessSheath
            | C::Dilator
            | C::LongSheath
            | C::Guide
            | C::BalloonGuide
            | C::Selector
            | C::Aspiration
            | C::Microcatheter => (full, "write `Full`"),
        };
        if !allowed {
            let found = if solid {
                "Solid"
            } else if full {
                "Full"
            } else {
                "RapidExchange"
            };
            findings.add(
                "lumen",
                format!("is {found}, which no {:?} is", self.class),
                format!("{mend}, or correct `class`"),
            );
        }
        let carried = match &self.payload {
            None => "nothing",
            Some(Payload::Stent(_)) => "Stent",
            Some(Payload::Retriever(_)) => "Retriever",
            Some(Payload::Balloon(_)) => "Balloon",
            Some(Payload::OcclusionBalloon(_)) => "OcclusionBalloon",
            Some(Payload::Filter { .. }) => "Filter",
        };
        let expected = match self.class {
            C::Retriever => "Retriever",
            C::CarotidStent => "Stent",
            C::Balloon => "Balloon",
            C::BalloonGuide => "OcclusionBalloon",
            C::Filter => "Filter",
            _ => "nothing",
        };
        if carried != expected {
            findings.add(
                "payload",
                format!(
                    "is {carried}, but a device of class {:?} carries {expected}",
                    self.class
                ),
                if expected == "nothing" {
                    "leave `payload` out, or correct `class`".to_owned()
                } else {
                    format!("give `payload: {expected}(...)`, or correct `class`")
                },
            );
        }
    }

    fn check_lengths(&self, findings: &mut Findings) {
        findings.positive("usable_length", self.usable_length_mm, "mm");
        let hub = self.hub_length_mm;
        if !(hub.is_finite() && hub >= 0.0) {
            findings.add("hub_length", format!("is {hub} mm"), "give 0 mm or more");
        }
        let has_lumen = !matches!(self.lumen, LumenKind::Solid);
        if has_lumen && hub == 0.0 {
            findings.add(
                "hub_length",
                "is 0 mm on a catheter, so it would take no rail outside",
                "give the length of hub and strain relief (40 to 70 mm is usual, from memory)",
            );
        }
        if matches!(self.class, DeviceClass::Wire) && hub > 0.0 {
            findings.add(
                "hub_length",
                format!("is {hub} mm on a wire, over whose end other devices are loaded"),
                "write \"0 mm\"; describe a torque clip as a part of its own",
            );
        }
        let tolerance = self.diameter_tolerance_mm;
        if !(0.0..=MOST_TOLERANCE_MM).contains(&tolerance) {
            findings.add(
                "diameter_tolerance",
                format!("is {tolerance} mm"),
                format!("give the one-sided tolerance, 0 to {MOST_TOLERANCE_MM} mm"),
            );
        }
    }

    /// Checks lines and their order; says whether diameters can be read from it.
    fn check_profile(&self, findings: &mut Findings) -> bool {
        let before = findings.0.len();
        let (Some(first), Some(last)) = (self.profile.first(), self.profile.last()) else {
            findings.add(
                "profile",
                "has no lines",
                "give at least one line at `from_tip: \"0 mm\"` and one at the usable length",
            );
            return false;
        };
        if first.from_tip_mm.abs() > SAME_PLACE_MM {
            findings.add(
                "profile[0].from_tip",
                format!("is {} mm", first.from_tip_mm),
                "start the profile at the tip, `from_tip: \"0 mm\"`",
            );
        }
        for (i, knot) in self.profile.iter().enumerate() {
            check_knot(findings, i, knot);
        }
        for (i, pair) in self.profile.windows(2).enumerate() {
            if let [a, b] = pair
                && !(b.from_tip_mm >= a.from_tip_mm)
            {
                findings.add(
                    format!("profile[{}].from_tip", i + 1),
                    format!(
                        "is {} mm, nearer the tip than the line before ({} mm)",
                        b.from_tip_mm, a.from_tip_mm
                    ),
                    "order the lines from the tip to the hub",
                );
            }
        }
        for (i, triple) in self.profile.windows(3).enumerate() {
            if let [a, _, c] = triple
                && (c.from_tip_mm - a.from_tip_mm).abs() <= SAME_PLACE_MM
            {
                findings.add(
                    format!("profile[{}].from_tip", i + 2),
                    format!("stands at {} mm for the third time", c.from_tip_mm),
                    "a step takes two lines: its distal and its proximal side",
                );
            }
        }
        if !((last.from_tip_mm - self.usable_length_mm).abs() <= SAME_PLACE_MM) {
            findings.add(
                format!("profile[{}].from_tip", self.profile.len() - 1),
                format!(
                    "is {} mm, but the usable length is {} mm",
                    last.from_tip_mm, self.usable_length_mm
                ),
                "end the profile at the usable length",
            );
        }
        findings.0.len() == before
    }

    fn check_lumen(&self, findings: &mut Findings) {
        let port = match self.lumen {
            LumenKind::Solid => 0.0,
            LumenKind::Full => f64::INFINITY,
            LumenKind::RapidExchange { port_from_tip } => {
                self.check_port(findings, port_from_tip);
                port_from_tip
            }
        };
        for (i, knot) in self.profile.iter().enumerate() {
            let field = format!("profile[{i}].inner");
            // The second line at the port is the start of the shaft behind it.
            let behind = matches!(self.lumen, LumenKind::Solid)
                || knot.from_tip_mm > port + SAME_PLACE_MM
                || ((knot.from_tip_mm - port).abs() <= SAME_PLACE_MM
                    && i.checked_sub(1)
                        .and_then(|before| self.profile.get(before))
                        .is_some_and(|k| (k.from_tip_mm - port).abs() <= SAME_PLACE_MM));
            match (behind, knot.inner_mm, self.lumen) {
                (true, Some(inner), LumenKind::Solid) => findings.add(
                    field,
                    format!("is {inner} mm in a solid device"),
                    "leave `inner` out, or correct `lumen`",
                ),
                (true, Some(inner), _) => findings.add(
                    field,
                    format!("is {inner} mm behind the rapid-exchange port at {port} mm, where no rail runs"),
                    "leave `inner` out there (an inflation lumen does not count)",
                ),
                (false, None, LumenKind::Full) => findings.add(
                    field,
                    "is missing in a lumen that runs from tip to hub",
                    "give the lumen diameter in every line",
                ),
                (false, None, _) => findings.add(
                    field,
                    format!("is missing between the tip and the rapid-exchange port at {port} mm"),
                    "give the wire lumen in every line up to the port",
                ),
                (true, None, _) | (false, Some(_), _) => {}
            }
        }
    }

    fn check_port(&self, findings: &mut Findings, port: f64) {
        const FIELD: &str = "lumen.port_from_tip";
        if !findings.positive(FIELD, port, "mm") {
            return;
        }
        if port >= self.usable_length_mm {
            findings.add(
                FIELD,
                format!("is {port} mm on {} mm of usable length", self.usable_length_mm),
                "give the distance from the tip to the side port (200 to 350 mm is usual, from memory), or write `Full`",
            );
        } else if !self
            .profile
            .iter()
            .any(|k| (k.from_tip_mm - port).abs() <= SAME_PLACE_MM)
        {
            findings.add(
                FIELD,
                format!("is {port} mm, where the profile has no line"),
                "end the wire lumen with a line at the port, and start the shaft behind it with a second one there",
            );
        }
    }

    fn check_size(&self, findings: &mut Findings) {
        use DeviceClass as C;
        let widest = self.max_outer_between(0.0, self.usable_length_mm);
        match self.size {
            None => {}
            Some(Designation::SheathFrench(french)) => {
                if !matches!(self.class, C::AccessSheath | C::LongSheath) {
                    findings.add(
                        "size",
                        format!("is SheathFrench({french}) on a {:?}", self.class),
                        "only a sheath's French is what fits inside; write `CatheterFrench`, which is the outside",
                    );
                }
                let least = french * MM_PER_FRENCH;
                let Some(narrowest) = self.min_inner_between(0.0, self.usable_length_mm) else {
                    return;
                };
                if !(narrowest >= least - SAME_PLACE_MM) {
                    let trap = if (widest - least).abs() <= FRENCH_ROUNDING_MM {
                        format!(
                            "; its outer diameter is about {french} Fr, so this may be a catheter's French"
                        )
                    } else {
                        String::new()
                    };
                    findings.add(
                        "size",
                        format!(
                            "is SheathFrench({french}) = {least:.3} mm, but the lumen narrows to {narrowest:.3} mm ({:.1} Fr){trap}",
                            mm_to_french(narrowest)
                        ),
                        "a sheath's French is the least diameter that fits inside, a catheter's is its outside: correct `size` or `inner`",
                    );
                }
            }
            Some(Designation::CatheterFrench(french)) => {
                if matches!(self.class, C::AccessSheath | C::LongSheath) {
                    findings.add(
                        "size",
                        format!("is CatheterFrench({french}) on a {:?}", self.class),
                        "a sheath's French is what fits inside; write `SheathFrench`",
                    );
                }
                let outside = french * MM_PER_FRENCH;
                if !((widest - outside).abs() <= FRENCH_ROUNDING_MM) {
                    let trap = self
                        .min_inner_between(0.0, self.usable_length_mm)
                        .filter(|inner| (inner - outside).abs() <= FRENCH_ROUNDING_MM)
                        .map_or_else(String::new, |_| {
                            format!(
                                "; its lumen is about {french} Fr, so this may be a sheath's French"
                            )
                        });
                    findings.add(
                        "size",
                        format!(
                            "is CatheterFrench({french}) = {outside:.3} mm, but the widest outer diameter is {widest:.3} mm ({:.1} Fr){trap}",
                            mm_to_french(widest)
                        ),
                        "a catheter's French is its outside, a sheath's is what fits inside: correct `size` or `outer`",
                    );
                }
            }
        }
    }

    fn check_tip_and_surface(&self, findings: &mut Findings) {
        if let Tip::Curved { length, angle_deg } = self.tip {
            let long = findings.positive("tip.length", length, "mm");
            let bent = findings.positive("tip.angle_deg", angle_deg, "degrees");
            if long && length > self.usable_length_mm {
                findings.add(
                    "tip.length",
                    format!(
                        "is {length} mm on {} mm of usable length",
                        self.usable_length_mm
                    ),
                    "give the length of the bent stretch only",
                );
            } else if long && bent {
                let half = self.max_outer_between(0.0, length) / 2.0;
                let radius = length / angle_deg.to_radians();
                if radius <= half {
                    findings.add(
                        "tip",
                        format!("bends at a radius of {radius:.2} mm, inside its own half width of {half:.2} mm"),
                        "lengthen the bent stretch or reduce the angle",
                    );
                }
            }
        }
        match (self.lumen, self.inner_surface) {
            (LumenKind::Solid, Some(_)) => findings.add(
                "inner_surface",
                "is given for a solid device",
                "leave it out",
            ),
            (LumenKind::Full | LumenKind::RapidExchange { .. }, None) => findings.add(
                "inner_surface",
                "is missing for a device with a lumen",
                "give the surface of the lumen",
            ),
            _ => {}
        }
    }

    fn check_basis(&self, findings: &mut Findings) {
        let basis = &self.basis;
        findings.basis("basis.lengths", &basis.lengths);
        findings.basis("basis.diameters", &basis.diameters);
        findings.basis("basis.stiffness", &basis.stiffness);
        findings.basis("basis.tip_and_surface", &basis.tip_and_surface);
        match (&self.payload, &basis.payload) {
            (Some(_), None) => findings.add(
                "basis.payload",
                "is missing for a device that carries something",
                "say what the values of `payload` rest on",
            ),
            (None, Some(_)) => findings.add(
                "basis.payload",
                "is given for a device that carries nothing",
                "leave it out",
            ),
            (Some(_), Some(payload)) => findings.basis("basis.payload", payload),
            (None, None) => {}
        }
    }
}

fn check_knot(findings: &mut Findings, i: usize, knot: &Knot) {
    if !knot.from_tip_mm.is_finite() {
        findings.add(
            format!("profile[{i}].from_tip"),
            format!("is {} mm", knot.from_tip_mm),
            "give a finite distance from the tip",
        );
    }
    findings.positive(&format!("profile[{i}].outer"), knot.outer_mm, "mm");
    findings.positive(
        &format!("profile[{i}].stiffness_n_mm2"),
        knot.stiffness_n_mm2,
        "N mm2",
    );
    if let Some(inner) = knot.inner_mm {
        let field = format!("profile[{i}].inner");
        if findings.positive(&field, inner, "mm") && inner >= knot.outer_mm {
            findings.add(
                field,
                format!(
                    "is {inner} mm, not below the outer diameter ({} mm)",
                    knot.outer_mm
                ),
                "a catheter has a wall: swap or correct `inner` and `outer`",
            );
        }
    }
}
