//! Coefficients of friction between the surfaces of the trade.

use crate::device::Coating;
use serde::{Deserialize, Serialize};

/// What a device slides on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Surface {
    /// The inner wall of a vessel.
    Vessel,
    /// The lumen or the outside of another device.
    Device(Coating),
}

/// A coefficient with its range and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct FrictionValue {
    /// Default.
    pub coefficient: f64,
    /// Least plausible.
    pub least: f64,
    /// Largest plausible.
    pub most: f64,
    /// What it rests on.
    pub basis: &'static str,
}

/// How well friction is known: to this factor either way. The ranges below reach from a quarter of their
/// default (hydrophilic) to two and a half times it (polymer).
pub const KNOWN_TO_FACTOR: f64 = 3.0;

const fn value(coefficient: f64, least: f64, most: f64, basis: &'static str) -> FrictionValue {
    FrictionValue {
        coefficient,
        least,
        most,
        basis,
    }
}

const HYDROPHILIC_ON_VESSEL: FrictionValue = value(
    0.04,
    0.01,
    0.06,
    "from memory: hydrophilic catheters on endothelium 0.01 to 0.06; Kwak et al. (2022), Front. Neurol. 964354, chose 0.037 to mimic intima",
);
const POLYMER_ON_VESSEL: FrictionValue = value(
    0.2,
    0.1,
    0.5,
    "from memory, order of magnitude: uncoated polymer on vessel",
);
const METAL_ON_VESSEL: FrictionValue = value(
    0.24,
    0.06,
    0.5,
    "derived: six times the hydrophilic value, the ratio of bare steel to hydrophilic wires in Schroeder (1993), Cardiovasc. Intervent. Radiol. 16:93",
);
const PTFE_ON_VESSEL: FrictionValue = value(
    0.12,
    0.04,
    0.3,
    "derived: half the bare metal value, the ratio of PTFE-coated to bare steel wires in Schroeder (1993), Cardiovasc. Intervent. Radiol. 16:93",
);
const ON_PTFE: FrictionValue = value(
    0.05,
    0.04,
    0.10,
    "from memory: steel or nitinol on a wet PTFE liner 0.04 to 0.10",
);
const HYDROPHILIC_PAIR: FrictionValue = value(
    0.04,
    0.01,
    0.06,
    "from memory: as hydrophilic on endothelium; one wet hydrophilic side rules the pair",
);
const BARE_PAIR: FrictionValue = value(
    0.15,
    0.10,
    0.30,
    "assumed: bare polymer or metal on bare polymer in blood, below polymer on vessel",
);

/// Coefficient of friction of a device's surface on what it slides on.
#[must_use]
pub const fn friction(on_device: Coating, against: Surface) -> FrictionValue {
    match (on_device, against) {
        (Coating::Hydrophilic, Surface::Vessel) => HYDROPHILIC_ON_VESSEL,
        (Coating::Polymer, Surface::Vessel) => POLYMER_ON_VESSEL,
        (Coating::Metal, Surface::Vessel) => METAL_ON_VESSEL,
        (Coating::Ptfe, Surface::Vessel) => PTFE_ON_VESSEL,
        (Coating::Hydrophilic, Surface::Device(_)) | (_, Surface::Device(Coating::Hydrophilic)) => {
            HYDROPHILIC_PAIR
        }
        (Coating::Ptfe, Surface::Device(_)) | (_, Surface::Device(Coating::Ptfe)) => ON_PTFE,
        (Coating::Polymer | Coating::Metal, Surface::Device(Coating::Polymer | Coating::Metal)) => {
            BARE_PAIR
        }
    }
}
