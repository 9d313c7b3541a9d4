//! Tips that move, and devices that go onto rails or come off them.

use serde::{Deserialize, Serialize};

/// A tip that moved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Move {
    /// Index of the device.
    pub device: usize,
    /// Station of its tip before, mm; minus the hub's stand-off where it came in.
    pub from_mm: f64,
    /// Station of its tip after, mm.
    pub to_mm: f64,
}

/// Whether a device goes onto a rail or comes off it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// Loaded from behind, then advanced.
    Loading,
    /// Pulled back, then taken off behind.
    Removal,
}

/// One exchange and the rail it needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exchange {
    /// Index of the device that is exchanged.
    pub device: usize,
    /// Index of the rail that stays.
    pub rail: usize,
    /// Onto the rail or off it.
    pub direction: Direction,
    /// A side port near the tip, or the whole length.
    pub rapid: bool,
    /// Rail outside the hub that the device leaves or enters through, mm.
    pub rail_outside_mm: f64,
    /// Rail that would have to be outside for the rail to be held all along, mm.
    pub needed_mm: f64,
    /// Length of travel with nobody holding the rail, mm.
    pub blind_mm: f64,
    /// Stations of the device's tip between which that happens, mm (nearer the access first).
    pub blind_between_mm: Option<(f64, f64)>,
}
