//! What the lengths of two devices leave: reach beyond a guide, rail outside, blind travel.

use super::{Device, LumenKind};

impl Device {
    /// Usable length, hub and strain relief together, mm.
    #[must_use]
    pub fn whole_length_mm(&self) -> f64 {
        self.usable_length_mm + self.hub_length_mm
    }

    /// How far the tip can stand beyond the tip of the catheter it goes through, mm, negative when
    /// it cannot even reach it: own usable length less that catheter's whole length and the valves
    /// behind its hub (`valves_mm`, their summed length, `>= 0`).
    #[must_use]
    pub fn reach_beyond_mm(&self, outer: &Self, valves_mm: f64) -> f64 {
        self.usable_length_mm - (outer.whole_length_mm() + valves_mm)
    }

    /// Length of this device left outside, behind the valves of the catheter it went in through,
    /// mm; tips are places along one path, mm. Negative when it would have to be longer.
    ///
    /// The device must pass *all* of that catheter, also the part still outside the patient.
    #[must_use]
    pub fn outside_mm(
        &self,
        own_tip_mm: f64,
        outer: &Self,
        outer_tip_mm: f64,
        valves_mm: f64,
    ) -> f64 {
        self.reach_beyond_mm(outer, valves_mm) - (own_tip_mm - outer_tip_mm)
    }

    /// Length of rail that must stand outside to load this device onto it, or take it off, with
    /// the rail held throughout, mm; none for a solid device, which runs over no rail.
    ///
    /// A full lumen needs its whole length with hub, rapid exchange the stretch from tip to port
    /// and `grip_mm` (`>= 0`) to hold the rail by.
    #[must_use]
    pub fn rail_needed_mm(&self, grip_mm: f64) -> Option<f64> {
        match self.lumen {
            LumenKind::Solid => None,
            LumenKind::Full => Some(self.whole_length_mm()),
            LumenKind::RapidExchange { port_from_tip } => Some(port_from_tip + grip_mm),
        }
    }

    /// Travel over a rail with nobody holding the rail, mm: what [`Device::rail_needed_mm`] asks
    /// for beyond the `rail_outside_mm` there is. None for a solid device.
    #[must_use]
    pub fn blind_travel_mm(&self, rail_outside_mm: f64, grip_mm: f64) -> Option<f64> {
        self.rail_needed_mm(grip_mm)
            .map(|needed| (needed - rail_outside_mm).max(0.0))
    }
}

impl Device {
    /// Widest place of the device, mm: what has to pass a valve or a narrow lumen.
    #[must_use]
    pub fn widest_mm(&self) -> f64 {
        self.max_outer_between(0.0, self.usable_length_mm)
    }

    /// Outer diameter at the rear end, where a hand, a clip or another device meets it, mm.
    #[must_use]
    pub fn shaft_outer_mm(&self) -> f64 {
        self.section_at(self.usable_length_mm).outer_mm
    }
}
