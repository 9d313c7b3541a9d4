//! Why a rehearsal has no outcome.

use crate::mechanics::MechanicsError;
use crate::procedure::NetworkError;
use thiserror::Error;

/// Why a rehearsal has no outcome.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum RehearsalError {
    /// The devices found no equilibrium.
    #[error("step {step} ({say}): {source}")]
    NoEquilibrium {
        /// Number of the step, from 1.
        step: usize,
        /// What it does.
        say: String,
        /// Why.
        source: MechanicsError,
    },
    /// The steps cannot be put on a clock.
    #[error(transparent)]
    Clock(#[from] NetworkError),
}
