//! Shapes to start a solve from.

use super::guess::FormerAxis;
use super::solution::{RodState, Solution};
use crate::mechanics::error::MechanicsError;

/// Shapes of a scene's rods to start a solve from ([`Settle::settle_from`](crate::mechanics::Settle::settle_from)): those
/// of a neighbouring [`Solution`], or offsets of one's own, where another equilibrium is looked for than the one that
/// a solve from scratch finds.
#[derive(Debug, Clone)]
pub struct StartShapes {
    pub(super) rods: Vec<StartShape>,
}

/// Axis of one rod, and its roll.
#[derive(Debug, Clone)]
pub(super) struct StartShape {
    pub(super) axis: FormerAxis,
    pub(super) roll_rad: f64,
}

impl StartShape {
    pub(super) fn of(rod: &RodState) -> Self {
        Self {
            axis: FormerAxis::of(rod),
            roll_rad: rod.roll_rad,
        }
    }
}

impl From<&Solution> for StartShapes {
    fn from(solution: &Solution) -> Self {
        Self {
            rods: solution.rods.iter().map(StartShape::of).collect(),
        }
    }
}

impl StartShapes {
    /// For every rod, in the scene's order: arc lengths of the centre line, mm, shape `[nodes]`, rising, and offsets
    /// on the first and second normal there, mm, shape `[nodes]`. A roll that is free starts at zero; a rod with fewer
    /// than three nodes starts along what it lies in.
    ///
    /// # Errors
    /// [`MechanicsError::LengthMismatch`] where a rod has not as many offsets as arc lengths.
    pub fn from_offsets(shapes: Vec<(Vec<f64>, Vec<[f64; 2]>)>) -> Result<Self, MechanicsError> {
        let shape = |(k, (station_mm, offset_mm)): (usize, (Vec<f64>, Vec<[f64; 2]>))| {
            if offset_mm.len() != station_mm.len() {
                return Err(MechanicsError::LengthMismatch {
                    what: format!("shapes[{k}]"),
                    found: offset_mm.len(),
                    needed: station_mm.len(),
                });
            }
            Ok(StartShape {
                axis: FormerAxis::from_offsets(station_mm, offset_mm),
                roll_rad: 0.0,
            })
        };
        let rods = shapes.into_iter().enumerate().map(shape);
        Ok(Self {
            rods: rods.collect::<Result<_, _>>()?,
        })
    }
}
