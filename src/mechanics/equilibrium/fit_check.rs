//! Whether lumens have room for rods side by side.

use super::settle::Settle;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::scene::{Container, Scene};

/// Stretch over which two rods side by side must be too wide for the lumen around both before that is
/// refused unsolved, mm: further than tips and tapers lie from where a first guess has them.
const TOO_WIDE_MM: f64 = 20.0;
/// By how much too wide, mm: lumens give less, and diameters are known no better.
const TOO_WIDE_BY_MM: f64 = 0.05;

impl Settle {
    /// Refuses rods side by side where a lumen has no room for both: whatever way is tried to such a state
    /// is lost, after much work. Needs distances from the tips ([`Model::update_sections`]).
    pub(crate) fn check_room(&self, scene: &Scene<'_>) -> Result<(), MechanicsError> {
        let sections = &self.model.coefficients.sections;
        for pair in scene.beside {
            let [a, b] = pair.rods;
            if scene.rods[a].yields || scene.rods[b].yields {
                continue;
            }
            let mut from_mm = None;
            let containers = &scene.rods[a].containers;
            let counts = [a, b].map(|k| self.model.layout.rods[k].last_regular + 1);
            for (i, station) in scene.tube.iter().enumerate().take(counts[0].min(counts[1])) {
                let s_mm = station.s_mm;
                let around = containers.iter().find(|c| s_mm <= c.to_mm);
                let outer = match around.map(|c| c.container) {
                    Some(Container::Rod(j)) if i <= self.model.layout.rods[j].last_regular => j,
                    _ => {
                        from_mm = None;
                        continue;
                    }
                };
                let [na, nb, no] = [a, b, outer].map(|k| self.model.layout.rods[k].first + i);
                let together_mm = sections.outer[na] + sections.outer[nb];
                let lumen_mm = sections.inner[no];
                let too_wide = s_mm >= pair.from_mm
                    && s_mm <= pair.to_mm
                    && together_mm > lumen_mm + TOO_WIDE_BY_MM;
                if !too_wide {
                    from_mm = None;
                    continue;
                }
                let since_mm = *from_mm.get_or_insert(s_mm);
                if s_mm - since_mm >= TOO_WIDE_MM {
                    return Err(MechanicsError::NoRoomBeside {
                        rods: pair.rods,
                        outer,
                        station_mm: since_mm,
                        together_mm,
                        lumen_mm,
                    });
                }
            }
        }
        Ok(())
    }
}
