//! Which coefficient of friction a pair of surfaces has.

use crate::device::Coating;
use serde::{Deserialize, Serialize};

/// How well friction and stiffness are known where nothing else is said: to this factor either way.
pub const KNOWN_TO_FACTOR: f64 = 3.0;

/// What a device slides on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Surface {
    /// The inner wall of a vessel.
    Vessel,
    /// The lumen of a vessel where plaque lines it.
    Plaque,
    /// The lumen or the outside of another device.
    Device(Coating),
}

/// The line of the table that a pair of surfaces reads.
macro_rules! line_of {
    ($table:expr, $on_device:expr, $against:expr) => {{
        let table = $table;
        match ($on_device, $against) {
            (Coating::Hydrophilic, Surface::Vessel) => &table.hydrophilic_on_vessel,
            (Coating::Polymer, Surface::Vessel) => &table.polymer_on_vessel,
            (Coating::Metal, Surface::Vessel) => &table.metal_on_vessel,
            (Coating::Ptfe, Surface::Vessel) => &table.ptfe_on_vessel,
            (Coating::Hydrophilic, Surface::Plaque) => &table.hydrophilic_on_plaque,
            (Coating::Polymer, Surface::Plaque) => &table.polymer_on_plaque,
            (Coating::Metal, Surface::Plaque) => &table.metal_on_plaque,
            (Coating::Ptfe, Surface::Plaque) => &table.ptfe_on_plaque,
            // one wet hydrophilic side rules the pair, else one of PTFE
            (Coating::Hydrophilic, Surface::Device(_))
            | (_, Surface::Device(Coating::Hydrophilic)) => &table.hydrophilic_pair,
            (Coating::Ptfe, Surface::Device(_)) | (_, Surface::Device(Coating::Ptfe)) => {
                &table.on_ptfe
            }
            (
                Coating::Polymer | Coating::Metal,
                Surface::Device(Coating::Polymer | Coating::Metal),
            ) => &table.bare_pair,
        }
    }};
}
pub(super) use line_of;
