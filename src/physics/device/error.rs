//! Why a device is refused.

use crate::units::Allowed;
use thiserror::Error;

/// Why a description is not a device.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum DeviceError {
    /// Values that contradict each other or their range.
    #[error("{field}: {found}; {mend}")]
    Invalid {
        /// Path of the field (`profile[1].inner`).
        field: String,
        /// What was found, in words.
        found: String,
        /// How to mend it.
        mend: String,
    },
    /// A quantity asked of a device outside its range.
    #[error("{what} is {found}, must be {needed}")]
    OutOfRange {
        /// Name of the quantity.
        what: &'static str,
        /// Its value.
        found: f64,
        /// What it must be: limits as numbers, and in words.
        needed: Allowed,
    },
}

impl DeviceError {
    /// How to mend it.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Invalid { mend, .. } => mend.clone(),
            Self::OutOfRange { needed, .. } => needed.help(),
        }
    }
}
