//! A sentence without its capital and full stop, and what would help.

use crate::units::fixed;

/// A sentence, and what would help.
pub(super) type Said = (String, Option<String>);

pub(super) fn note(text: String) -> Said {
    (text, None)
}

pub(super) fn with(text: String, help: impl Into<String>) -> Said {
    (text, Some(help.into()))
}

/// Several devices, after "the".
pub(super) fn and_the(devices: &[String]) -> String {
    devices.join(" and the ")
}

/// A length to the millimetre.
pub(super) fn mm(value_mm: f64) -> String {
    fixed(value_mm, 0)
}
