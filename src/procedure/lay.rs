//! How devices lie: from fed lengths to tips and back.
//!
//! The script moves tips to places; what the operator controls is the length fed past the access.
//! A [`Lay`] turns one into the other for the whole stack at once. [`Ruler`] does it along the
//! centre line, [`Rods`](super::Rods) by the equilibrium of elastic rods.

use super::{Plan, State};
use crate::mechanics::MechanicsError;
use serde::{Deserialize, Serialize};

/// What is wanted of a device that moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wish {
    /// Its (folded) tip at this station, mm.
    Tip(f64),
    /// This much of it past the access hub, mm.
    Fed(f64),
}

/// Which way the devices with a wish move.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Motion {
    /// Away from the access: pushed.
    Forward,
    /// Towards it: pulled.
    Back,
}

/// How the stack lies: by device of the plan, none where it is not in the body.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Laid {
    /// Station of the folded tip, mm.
    pub tip_mm: Vec<Option<f64>>,
    /// Length past the access hub, mm.
    pub fed_mm: Vec<Option<f64>>,
    /// Forces and slack, where they are known.
    pub loads: Vec<Option<DeviceLoad>>,
    /// What the model says about itself (several equilibria, buckling…), in words.
    pub remarks: Vec<String>,
}

/// What it takes to move or hold a device.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeviceLoad {
    /// Whether it is the one that moves.
    pub moving: bool,
    /// Force the hand applies at the hub, N: positive pushes, negative pulls. For a held device the
    /// reaction its holder feels, at the middle of its range.
    pub hub_force_n: f64,
    /// Least and largest reaction of a held device, N: a held surface carries anything up to its
    /// friction. Both ends are the hub force for the one that moves.
    pub range_n: (f64, f64),
    /// Force at the tip along the device, N.
    pub tip_force_n: f64,
    /// Tip force over hub force; none without a hub force.
    pub efficiency: Option<f64>,
    /// Where along the route the force is lost, the largest first: station in mm, N.
    pub lost: Vec<(f64, f64)>,
    /// Fed length that moves between pushing and pulling before the tip follows, mm; only for the
    /// one that moves.
    pub slack_mm: Option<f64>,
    /// Hub force over the force at the tip from turning and friction alone (capstan).
    pub capstan_factor: f64,
    /// Largest force on the wall per length, N/mm, and its station, mm.
    pub largest_wall_n_per_mm: Option<(f64, f64)>,
}

/// Turns wishes into where everything lies.
pub trait Lay {
    /// Where the stack lies with these wishes for the devices that move; all others keep their fed
    /// length.
    ///
    /// # Errors
    /// [`MechanicsError`] where no equilibrium was found or the model does not hold.
    fn lay(
        &mut self,
        plan: &Plan,
        state: &State,
        wishes: &[(usize, Wish)],
        motion: Motion,
    ) -> Result<Laid, MechanicsError>;
}

/// Lengths ruled along the centre line.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Ruler;

impl Lay for Ruler {
    fn lay(
        &mut self,
        plan: &Plan,
        state: &State,
        wishes: &[(usize, Wish)],
        _motion: Motion,
    ) -> Result<Laid, MechanicsError> {
        let mut laid = Laid {
            tip_mm: state.in_place.iter().map(|p| p.map(|p| p.tip_mm)).collect(),
            fed_mm: state.in_place.iter().map(|p| p.map(|p| p.fed_mm)).collect(),
            loads: vec![None; state.in_place.len()],
            remarks: Vec::new(),
        };
        for (device, wish) in wishes {
            let (tip_mm, fed_mm) = match wish {
                Wish::Tip(tip_mm) => (*tip_mm, tip_mm + plan.hub_standoff_mm),
                Wish::Fed(fed_mm) => (fed_mm - plan.hub_standoff_mm, *fed_mm),
            };
            laid.tip_mm[*device] = Some(tip_mm);
            laid.fed_mm[*device] = Some(fed_mm);
        }
        Ok(laid)
    }
}
