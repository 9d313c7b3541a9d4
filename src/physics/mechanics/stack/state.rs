//! A stack in equilibrium: what moves, where everything lies, and why a move fails.

use super::arrangement::{Drive, StackDevice};
use super::load_report::LoadReport;
use crate::mechanics::equilibrium::solution::{RodState, Solution};
use crate::mechanics::error::MechanicsError;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Why a move fails or cannot be told, with its place.
///
/// The first three are physical: an equilibrium says so. The others say that none is known
/// ([`Self::is_undecided`]): such a move has neither passed nor failed. All there are: who tells them must have a word
/// for each.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Failure {
    /// No force at the hub moves it on: friction eats more than every addition.
    LockUp {
        /// Where most of the force is lost, arc length of the centre line, mm.
        station_mm: f64,
        /// Hub force reached before giving up, N.
        hub_force_n: f64,
    },
    /// The hub force is above the scene's limit.
    HubForce {
        /// Where most of the force is lost, mm.
        station_mm: f64,
        /// Hub force, N.
        hub_force_n: f64,
        /// The limit, N.
        limit_n: f64,
    },
    /// A device wider than the lumen of the device that should hold it, by itself or with what lies
    /// beside it.
    DoesNotFit {
        /// The device inside.
        inner: usize,
        /// The device that lies beside it in the same lumen, where both together are too wide.
        beside: Option<usize>,
        /// The device around it.
        outer: usize,
        /// Where, mm.
        station_mm: f64,
        /// Outer diameter of the device inside, with that of what lies beside it in the same lumen, mm.
        outer_diameter_mm: f64,
        /// Lumen of the device around it, mm.
        lumen_mm: f64,
    },
    /// A device leaves the centre line's direction by more than the model allows: a loop or
    /// prolapse, at rest or on the way there.
    Prolapse {
        /// The device.
        device: usize,
        /// Where, mm.
        station_mm: f64,
        /// Angle to the centre line, degrees.
        angle_deg: f64,
    },
    /// The solver found no balance of forces.
    NotConverged {
        /// The device on which most force was left out of balance.
        device: usize,
        /// Where, mm.
        station_mm: f64,
        /// That force, N.
        residual_n: f64,
    },
    /// Loads, lengths and shape came to no agreement.
    LoadsNotSettled {
        /// Largest change of a load in the last round, N.
        change_n: f64,
        /// Largest difference between a length fed and found, mm.
        off_mm: f64,
    },
    /// The solver met a number that is not finite.
    NonFinite,
    /// The solve was given up at the most work that one may take.
    OverBound {
        /// That work, in factorised unknowns.
        most: u64,
    },
}

impl Failure {
    /// Why a solve that ended in this error fails or cannot be told; none where the problem itself
    /// was refused. Devices are numbered as the error numbers its rods.
    #[must_use]
    pub const fn of(why: &MechanicsError) -> Option<Self> {
        Some(match *why {
            MechanicsError::DoesNotFit {
                inner,
                outer,
                station_mm,
                outer_diameter_mm,
                lumen_mm,
            } => Self::DoesNotFit {
                inner,
                beside: None,
                outer,
                station_mm,
                outer_diameter_mm,
                lumen_mm,
            },
            MechanicsError::NoRoomBeside {
                rods: [beside, inner],
                outer,
                station_mm,
                together_mm,
                lumen_mm,
            } => Self::DoesNotFit {
                inner,
                beside: Some(beside),
                outer,
                station_mm,
                outer_diameter_mm: together_mm,
                lumen_mm,
            },
            MechanicsError::LockedUp {
                station_mm,
                hub_force_n,
                ..
            } => Self::LockUp {
                station_mm,
                hub_force_n,
            },
            MechanicsError::Prolapsed {
                rod,
                station_mm,
                angle_deg,
            } => Self::Prolapse {
                device: rod,
                station_mm,
                angle_deg,
            },
            MechanicsError::NotConverged {
                rod,
                station_mm,
                residual_n,
                ..
            } => Self::NotConverged {
                device: rod,
                station_mm,
                residual_n,
            },
            MechanicsError::LoadsNotSettled {
                change_n, off_mm, ..
            } => Self::LoadsNotSettled { change_n, off_mm },
            MechanicsError::NonFinite { .. } => Self::NonFinite,
            MechanicsError::OverBound { most } => Self::OverBound { most },
            MechanicsError::OutOfRange { .. }
            | MechanicsError::LengthMismatch { .. }
            | MechanicsError::BadContainer { .. } => return None,
        })
    }

    /// Whether no equilibrium within the model is known, so that the move has neither passed nor
    /// failed.
    #[must_use]
    pub const fn is_undecided(&self) -> bool {
        match self {
            Self::LockUp { .. } | Self::HubForce { .. } | Self::DoesNotFit { .. } => false,
            Self::Prolapse { .. }
            | Self::NotConverged { .. }
            | Self::LoadsNotSettled { .. }
            | Self::NonFinite
            | Self::OverBound { .. } => true,
        }
    }

    /// The same with its devices numbered otherwise.
    #[must_use]
    pub fn renumbered(mut self, number: impl Fn(usize) -> usize) -> Self {
        match &mut self {
            Self::Prolapse { device, .. } | Self::NotConverged { device, .. } => {
                *device = number(*device);
            }
            Self::DoesNotFit {
                inner,
                beside,
                outer,
                ..
            } => {
                *inner = number(*inner);
                *beside = beside.map(&number);
                *outer = number(*outer);
            }
            Self::LockUp { .. }
            | Self::HubForce { .. }
            | Self::LoadsNotSettled { .. }
            | Self::NonFinite
            | Self::OverBound { .. } => {}
        }
        self
    }
}

/// One device of a solved stack.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct DeviceState {
    /// Its rod in the solution; none where too little of it is in the tube to bend.
    pub rod: Option<usize>,
    /// Arc length of the centre line at its tip, mm: how deep it is.
    pub tip_mm: f64,
    /// Its own length from station 0 to its tip, mm: what was fed.
    pub inserted_mm: f64,
    /// Length of the centre line from station 0 to its tip, mm: what a ruler on it says.
    pub centre_line_mm: f64,
    /// Load at its tip, N (negative: pressed back).
    pub tip_load_n: f64,
    /// Configurational load at its hub, N (negative: pushed).
    pub hub_load_n: f64,
}

impl DeviceState {
    /// By how much a ruler on the centre line overrates the length needed, mm.
    #[must_use]
    pub fn ruler_error_mm(&self) -> f64 {
        self.centre_line_mm - self.inserted_mm
    }
}

/// A stack in equilibrium, and the neighbour to start the next one from.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct StackState {
    /// The devices, `[devices]`, in the order given.
    pub devices: Vec<DeviceState>,
    /// Shapes, contacts, flags of the rods present; none where no device is in far enough.
    pub solution: Option<Solution>,
    /// Forces of the move, where something moves.
    pub load: Option<LoadReport>,
    /// Why it fails; empty if it does not.
    pub failures: Vec<Failure>,
    /// Rounds between loads, lengths and shape.
    pub rounds: usize,
    /// Newton steps over all rounds.
    pub newton_steps: usize,
    /// Work: unknowns of all factorisations, those of ways that were lost included.
    pub factorised_unknowns: u64,
    pub(crate) added_n: Vec<Vec<f64>>,
    /// The rods of the solution where nothing is pushed or pulled; none where that was not asked for.
    pub(crate) light: Option<Arc<[RodState]>>,
}

impl StackState {
    /// The state as a start for the same move the other way: friction turns round.
    #[must_use]
    pub fn turned(&self) -> Self {
        let mut turned = self.clone();
        for load_n in turned.added_n.iter_mut().flatten() {
            *load_n = -*load_n;
        }
        turned
    }

    /// The state as one of other devices: `places`, shape `[devices]` of the new stack, is the index that each has
    /// here, none for one that is new. What is left out is gone; what is new lies along what it is put into.
    #[must_use]
    pub fn rearranged(&self, places: &[Option<usize>]) -> Self {
        let new = DeviceState {
            rod: None,
            tip_mm: 0.0,
            inserted_mm: 0.0,
            centre_line_mm: 0.0,
            tip_load_n: 0.0,
            hub_load_n: 0.0,
        };
        let pick = |place: &Option<usize>| place.and_then(|p| self.devices.get(p)).copied();
        Self {
            devices: places.iter().map(|p| pick(p).unwrap_or(new)).collect(),
            added_n: places
                .iter()
                .map(|p| {
                    p.and_then(|p| self.added_n.get(p))
                        .cloned()
                        .unwrap_or_default()
                })
                .collect(),
            solution: self.solution.clone(),
            load: None,
            failures: Vec::new(),
            rounds: self.rounds,
            newton_steps: self.newton_steps,
            factorised_unknowns: self.factorised_unknowns,
            light: self.light.clone(),
        }
    }
}

/// A stack of which nothing is far enough in to bend.
pub(crate) fn absent(devices: &[StackDevice], first: f64) -> StackState {
    StackState {
        devices: devices.iter().map(|d| outside(d, first)).collect(),
        solution: None,
        load: None,
        failures: Vec::new(),
        rounds: 0,
        newton_steps: 0,
        factorised_unknowns: 0,
        added_n: Vec::new(),
        light: None,
    }
}

/// A device with too little in the tube: on the centre line.
pub(crate) fn outside(device: &StackDevice, first: f64) -> DeviceState {
    let length = match device.drive {
        Drive::Tip(s) => s - first,
        Drive::Inserted(l) => l,
        Drive::Through => 0.0,
    }
    .max(0.0);
    DeviceState {
        rod: None,
        tip_mm: first + length,
        inserted_mm: length,
        centre_line_mm: length,
        tip_load_n: 0.0,
        hub_load_n: 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_what_stands_and_what_is_not_known() {
        let wide = MechanicsError::DoesNotFit {
            inner: 2,
            outer: 1,
            station_mm: 30.0,
            outer_diameter_mm: 2.0,
            lumen_mm: 1.9,
        };
        let away = MechanicsError::Prolapsed {
            rod: 2,
            station_mm: 30.0,
            angle_deg: 88.0,
        };
        let failures = [
            (wide, false),
            (away, true),
            (MechanicsError::NonFinite { what: "a load" }, true),
            (MechanicsError::OverBound { most: 7 }, true),
            (
                MechanicsError::LoadsNotSettled {
                    rounds: 3,
                    change_n: 0.1,
                    off_mm: 0.2,
                },
                true,
            ),
        ];
        for (why, undecided) in failures {
            let failure = Failure::of(&why).unwrap();
            assert_eq!(failure.is_undecided(), undecided, "{why}");
        }
        let refused = MechanicsError::LengthMismatch {
            what: "tube".into(),
            found: 3,
            needed: 4,
        };
        assert_eq!(Failure::of(&refused), None, "no solve, no failure");
    }

    #[test]
    fn exact_failures_carry_the_numbers_of_their_devices() {
        let why = MechanicsError::Prolapsed {
            rod: 1,
            station_mm: 30.0,
            angle_deg: 88.0,
        };
        let failure = Failure::of(&why).unwrap().renumbered(|rod| rod + 4);
        let Failure::Prolapse { device, .. } = failure else {
            unreachable!("{failure:?}");
        };
        assert_eq!(device, 5, "{failure:?}");
        assert_eq!(
            Failure::of(&why.renumbered(|rod| rod + 4)),
            Some(failure),
            "errors alike"
        );
    }
}
