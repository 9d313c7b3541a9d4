//! Why an equilibrium cannot be had.

use crate::units::Allowed;
use thiserror::Error;

/// Advice stands here once, for the messages and for [`MechanicsError::help`].
const THINNER: &str = "choose a thinner rod or a wider lumen";
const ONE_OUT: &str = "take one of them out or choose thinner rods or a wider lumen";
const PUSH_LESS: &str = "push less, or support it further along";
const MORE_ROUNDS: &str = "allow more rounds, or come from a neighbouring state in smaller moves";
const LESS_FRICTION: &str = "less friction, a softer rod or less held back";
const FAR_OUTSIDE: &str = "look for an input far outside of what devices and vessels are";
const SMALLER_MOVES: &str =
    "come from a neighbouring state in smaller moves, or take fewer stations";

/// Advice as it stands at the end of a message.
fn after_colon(mend: Option<&'static str>) -> String {
    mend.map_or_else(String::new, |mend| format!(": {mend}"))
}

/// Why a rod problem is refused or was not solved.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum MechanicsError {
    /// A quantity outside its range.
    #[error("{what} is {found}, must be {needed}")]
    OutOfRange {
        /// Name of the quantity, with its path (`rods[1].stiffness`).
        what: String,
        /// Its value.
        found: f64,
        /// What it must be: limits as numbers, and in words.
        needed: Allowed,
    },
    /// Two lists that must be equally long.
    #[error("{what} has {found} entries, must have {needed}")]
    LengthMismatch {
        /// Name of the list.
        what: String,
        /// Its length.
        found: usize,
        /// The length it must have.
        needed: usize,
    },
    /// A rod said to lie in a rod that cannot hold it.
    #[error("{what}: {why}{}", after_colon(*mend))]
    BadContainer {
        /// Which stretch of which rod (`rods[2].containers[0]`).
        what: String,
        /// What is wrong.
        why: String,
        /// How to mend it, where that can be said.
        mend: Option<&'static str>,
    },
    /// A rod wider than the rod that should hold it.
    #[error(
        "rods[{inner}] is {outer_diameter_mm:.3} mm wide {station_mm:.1} mm from the start, the lumen of rods[{outer}] there {lumen_mm:.3} mm: it does not fit, {THINNER}"
    )]
    DoesNotFit {
        /// The rod inside.
        inner: usize,
        /// The rod around it.
        outer: usize,
        /// Arc length of the centre line, mm.
        station_mm: f64,
        /// Outer diameter of the rod inside, mm.
        outer_diameter_mm: f64,
        /// Lumen of the rod around it, mm.
        lumen_mm: f64,
    },
    /// A rod that runs away from the route while it is being settled.
    #[error(
        "rods[{rod}] turns {angle_deg:.0} degrees away from the centre line {station_mm:.1} mm from the start and goes on turning: a loop or prolapse, which lies outside the model; {PUSH_LESS}"
    )]
    Prolapsed {
        /// The rod.
        rod: usize,
        /// Where it is worst, arc length of the centre line, mm.
        station_mm: f64,
        /// Angle between rod and centre line there, degrees.
        angle_deg: f64,
    },
    /// Newton's method ended before the forces balanced.
    #[error(
        "no equilibrium after {steps} Newton steps: a force of {residual_n:.3e} N is out of balance on rods[{rod}], {station_mm:.1} mm from the start (needed {needed_n:.1e} N): {hint}"
    )]
    NotConverged {
        /// Newton steps taken.
        steps: usize,
        /// Largest entry of the energy's gradient, N.
        residual_n: f64,
        /// What it had to fall below, N.
        needed_n: f64,
        /// The rod on which it is largest.
        rod: usize,
        /// Where it is largest, arc length of the centre line, mm.
        station_mm: f64,
        /// What may help.
        hint: &'static str,
    },
    /// Loads, lengths and shape did not come to agree.
    #[error(
        "loads still change by {change_n:.1e} N and lengths by {off_mm:.1e} mm after {rounds} rounds: {MORE_ROUNDS}"
    )]
    LoadsNotSettled {
        /// Rounds taken.
        rounds: usize,
        /// Largest change of a load in the last one, N.
        change_n: f64,
        /// Largest difference between a length fed and found, mm.
        off_mm: f64,
    },
    /// Two rods side by side, together wider than the lumen that should hold both.
    #[error(
        "rods[{}] and rods[{}] side by side are {together_mm:.3} mm wide {station_mm:.1} mm from the start, the lumen of rods[{outer}] there {lumen_mm:.3} mm: they do not fit, {ONE_OUT}",
        rods[0], rods[1]
    )]
    NoRoomBeside {
        /// The two rods.
        rods: [usize; 2],
        /// The rod around both.
        outer: usize,
        /// Arc length of the centre line, mm.
        station_mm: f64,
        /// Sum of their outer diameters, mm.
        together_mm: f64,
        /// Lumen of the rod around them, mm.
        lumen_mm: f64,
    },
    /// A rod that friction holds whatever force is put on it.
    #[error(
        "rods[{rod}] locks up: {hub_force_n:.1} N at its start and it still does not slide; most is lost {station_mm:.1} mm from the start: {LESS_FRICTION}"
    )]
    LockedUp {
        /// The rod.
        rod: usize,
        /// Where most of the force is lost, arc length of the centre line, mm.
        station_mm: f64,
        /// Force reached before giving up, N.
        hub_force_n: f64,
    },
    /// A number that is not finite.
    #[error("{what} is no finite number: nothing that follows from it can be told; {FAR_OUTSIDE}")]
    NonFinite {
        /// What.
        what: &'static str,
    },
    /// A solve that takes more work than one may.
    #[error(
        "no equilibrium within the work that one solve may take ({most} factorised unknowns): {SMALLER_MOVES}"
    )]
    OverBound {
        /// The most that one solve may take, unknowns of all its factorisations together.
        most: u64,
    },
}

impl MechanicsError {
    /// How to mend it, where that can be said: the same words that end the message, as a text of their own.
    #[must_use]
    pub fn help(&self) -> Option<String> {
        let said: &str = match self {
            Self::OutOfRange { needed, .. } => return Some(needed.help()),
            Self::LengthMismatch { needed, .. } => {
                return Some(format!("give it {needed} entries"));
            }
            Self::BadContainer { mend, .. } => return mend.map(str::to_owned),
            Self::DoesNotFit { .. } => THINNER,
            Self::Prolapsed { .. } => PUSH_LESS,
            Self::NotConverged { hint, .. } => hint,
            Self::LoadsNotSettled { .. } => MORE_ROUNDS,
            Self::NoRoomBeside { .. } => ONE_OUT,
            Self::LockedUp { .. } => LESS_FRICTION,
            Self::NonFinite { .. } => FAR_OUTSIDE,
            Self::OverBound { .. } => SMALLER_MOVES,
        };
        Some(said.to_owned())
    }

    /// Whether a solve was lost on the way: another way to the same equilibrium may not be.
    pub(crate) const fn is_lost(&self) -> bool {
        matches!(
            self,
            Self::NotConverged { .. }
                | Self::Prolapsed { .. }
                | Self::LoadsNotSettled { .. }
                | Self::NonFinite { .. }
        )
    }

    /// Whether a rod left what the model holds for: another way would lose it as well.
    pub(crate) const fn has_left(&self) -> bool {
        matches!(self, Self::Prolapsed { .. })
    }

    /// The same with its rods numbered otherwise.
    pub(crate) fn renumbered(mut self, number: impl Fn(usize) -> usize) -> Self {
        match &mut self {
            Self::Prolapsed { rod, .. }
            | Self::NotConverged { rod, .. }
            | Self::LockedUp { rod, .. } => *rod = number(*rod),
            Self::NoRoomBeside { rods, outer, .. } => {
                for rod in rods {
                    *rod = number(*rod);
                }
                *outer = number(*outer);
            }
            Self::DoesNotFit { inner, outer, .. } => {
                *inner = number(*inner);
                *outer = number(*outer);
            }
            Self::OutOfRange { .. }
            | Self::LengthMismatch { .. }
            | Self::BadContainer { .. }
            | Self::LoadsNotSettled { .. }
            | Self::NonFinite { .. }
            | Self::OverBound { .. } => {}
        }
        self
    }
}
