//! What a move costs, as it is told: forces at hub and tip, where they are lost, what the held devices feel.

use super::moving::Direction;
use crate::mechanics::closed_forms::buckling::Buckling;
use serde::{Deserialize, Serialize};

/// Force lost to friction on one stretch of one partner.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Loss {
    /// What it rubs on: another device, or the vessel (none).
    pub other: Option<usize>,
    /// Nearest contact, arc length of the centre line, mm.
    pub from_mm: f64,
    /// Furthest contact, mm.
    pub to_mm: f64,
    /// Centre of the friction, mm.
    pub station_mm: f64,
    /// Friction, N.
    pub lost_n: f64,
    /// Whether it is what a lesion asks for, and no friction of a contact.
    pub in_lesion: bool,
}

/// What a held device feels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HeldLoad {
    /// The device.
    pub device: usize,
    /// Force its hub must be held with if none of it is taken up by the surfaces it rests on, N;
    /// positive: it is drawn in.
    pub hub_reaction_n: f64,
    /// The least and the most it may be, N, shape `[2]`: surfaces at rest carry anything up to their friction.
    pub hub_range_n: [f64; 2],
    /// Friction of the moving device on it, along its whole length, N; positive: drawn towards its
    /// tip. On a rail that nobody holds this is what its tip must withstand.
    pub drag_n: f64,
    /// How far its tip moved against the state before at the same length fed, mm; negative: it
    /// fell back. None without such a state.
    pub tip_moved_mm: Option<f64>,
}

/// Forces of one move.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct LoadReport {
    /// The device that moves.
    pub device: usize,
    /// Which way.
    pub direction: Direction,
    /// Force at its hub in the direction of the move, N.
    pub hub_force_n: f64,
    /// Axial force in it at station 0, N, in the same sense: less than at the hub by `M²/(2 B)`
    /// where the start clamps it in a bend.
    pub start_force_n: f64,
    /// Force its tip works against, N: resistance and what walls press back.
    pub tip_force_n: f64,
    /// Tip force over hub force; none where the hub needs no force.
    pub efficiency: Option<f64>,
    /// Friction in all, N.
    pub friction_n: f64,
    /// What lesions ask of it where it is, N, not counted as friction.
    pub lesions_n: f64,
    /// Friction over hub force; none where the hub needs no force.
    pub share_lost: Option<f64>,
    /// Where it is lost, most first.
    pub losses: Vec<Loss>,
    /// The devices that are held.
    pub held: Vec<HeldLoad>,
    /// Largest force on the vessel's wall per length of any device, N/mm.
    pub largest_wall_force_n_per_mm: f64,
    /// Where, arc length of the centre line, mm; none without contact.
    pub largest_wall_force_at_mm: Option<f64>,
    /// Angle the centre line turns by up to its tip, rad.
    pub route_turning_rad: f64,
    /// Angle the device itself turns by, rad.
    pub own_turning_rad: f64,
    /// What a limp string along the centre line would multiply the tip force by.
    pub capstan_factor: f64,
    /// Hub force over tip force; none without tip force.
    pub force_factor: Option<f64>,
    /// Where it buckles, if it is pushed beyond the onset.
    pub buckling: Option<Buckling>,
}

impl LoadReport {
    /// A move of which the force at the hub is known, N, and nothing else: for whoever tells forces that no solver
    /// found. All else is zero, empty or not known.
    #[must_use]
    pub const fn new(device: usize, direction: Direction, hub_force_n: f64) -> Self {
        Self {
            device,
            direction,
            hub_force_n,
            start_force_n: hub_force_n,
            tip_force_n: 0.0,
            efficiency: None,
            friction_n: 0.0,
            lesions_n: 0.0,
            share_lost: None,
            losses: Vec::new(),
            held: Vec::new(),
            largest_wall_force_n_per_mm: 0.0,
            largest_wall_force_at_mm: None,
            route_turning_rad: 0.0,
            own_turning_rad: 0.0,
            capstan_factor: 1.0,
            force_factor: None,
            buckling: None,
        }
    }
}
