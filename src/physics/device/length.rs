//! The arithmetic of nested lengths: what of a device lies outside, how far it can go in, and the
//! rail that an exchange over it takes.

use super::{Device, LumenKind};

/// A line of a profile that lies so near a device's end is its end, mm.
const SAME_END_MM: f64 = 1e-6;

impl Device {
    /// The same device with all of its bending stiffness larger by a factor > 0.
    #[must_use]
    pub fn with_stiffness_times(&self, factor: f64) -> Self {
        let mut device = self.clone();
        for line in &mut device.profile {
            line.stiffness_n_mm2 *= factor;
        }
        device
    }

    /// Makes the device so long (mm, > 0), tip to hub: the end of its profile goes along, and what lay beyond the new
    /// end of it ends there.
    pub fn set_usable_length_mm(&mut self, usable_length_mm: f64) {
        let old_mm = self.usable_length_mm;
        for line in &mut self.profile {
            let at_end = line.from_tip_mm >= old_mm - SAME_END_MM;
            line.from_tip_mm = match at_end {
                true => usable_length_mm,
                false => line.from_tip_mm.min(usable_length_mm),
            };
        }
        self.usable_length_mm = usable_length_mm;
    }

    /// Usable length, hub and strain relief together, mm.
    #[must_use]
    pub fn whole_length_mm(&self) -> f64 {
        self.usable_length_mm + self.hub_length_mm
    }

    /// What of this catheter still lies outside the access, with its hub and the valves behind it
    /// (`valves_mm`, their summed length, `>= 0`), mm, when `fed_mm` of it have passed the access.
    ///
    /// What enters through its hub must pass *all* of it, also this part.
    #[must_use]
    pub fn outside_with_hub_mm(&self, fed_mm: f64, valves_mm: f64) -> f64 {
        self.whole_length_mm() + valves_mm - fed_mm
    }

    /// Length of this device left behind the hub (and its valves) that it went in through, mm, when
    /// `fed_mm` of it have passed the access and that hub's rear lies `hub_mm` outside it
    /// ([`Device::outside_with_hub_mm`]; 0 where it enters at the access itself). Negative when it
    /// would have to be longer.
    #[must_use]
    pub fn outside_mm(&self, fed_mm: f64, hub_mm: f64) -> f64 {
        self.usable_length_mm - fed_mm - hub_mm
    }

    /// Largest length of this device that can pass the access, mm, with `reserve_mm` kept outside;
    /// `hub_mm` as in [`Device::outside_mm`].
    #[must_use]
    pub fn most_fed_mm(&self, hub_mm: f64, reserve_mm: f64) -> f64 {
        self.usable_length_mm - reserve_mm - hub_mm
    }

    /// Length of rail that must stand outside to load this device onto it, or take it off, with
    /// the rail held throughout, mm; none for a solid device, which runs over no rail.
    ///
    /// A full lumen needs its whole length with hub and valves, rapid exchange the stretch from tip
    /// to port and `grip_mm` (`>= 0`) to hold the rail by.
    #[must_use]
    pub fn rail_needed_mm(&self, valves_mm: f64, grip_mm: f64) -> Option<f64> {
        match self.lumen {
            LumenKind::Solid => None,
            LumenKind::Full => Some(self.whole_length_mm() + valves_mm),
            LumenKind::RapidExchange { port_from_tip } => Some(port_from_tip + grip_mm),
        }
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
