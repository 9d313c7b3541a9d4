//! Why a device is refused.

use thiserror::Error;

/// Why a description is not a device.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
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
}
