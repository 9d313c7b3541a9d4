//! What moves, and which way.

use serde::{Deserialize, Serialize};

/// Which way a device slides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Direction {
    /// Towards its tip.
    Push,
    /// Towards its hub.
    Pull,
}

impl Direction {
    /// How friction changes the load towards the hub.
    pub(crate) const fn sign(self) -> f64 {
        match self {
            Self::Push => -1.0,
            Self::Pull => 1.0,
        }
    }
}

impl Moving {
    /// A device pushed towards its tip, which only walls hold back.
    #[must_use]
    pub const fn pushed(device: usize) -> Self {
        Self {
            device,
            direction: Direction::Push,
            tip_resistance_n: 0.0,
        }
    }

    /// A device pulled towards its hub, which only walls hold back.
    #[must_use]
    pub const fn pulled(device: usize) -> Self {
        Self {
            device,
            direction: Direction::Pull,
            tip_resistance_n: 0.0,
        }
    }

    /// The same with a force that holds its tip back, N, >= 0.
    #[must_use]
    pub const fn held_back_by_n(self, tip_resistance_n: f64) -> Self {
        Self {
            tip_resistance_n,
            ..self
        }
    }
}

/// The device that slides while the others are held at their hubs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moving {
    /// Its index.
    pub device: usize,
    /// Which way.
    pub direction: Direction,
    /// What holds its tip back besides walls (stenosis, clot, an open retriever), N, >= 0.
    pub tip_resistance_n: f64,
}

/// Axial force against the motion at a station of the centre line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForceAt {
    /// Station, mm.
    pub s_mm: f64,
    /// Force, N; negative where it drives the device on.
    pub force_n: f64,
}
