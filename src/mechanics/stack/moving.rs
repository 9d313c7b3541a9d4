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
