//! What the vessel's values rest on, carried along to every output.

use serde::{Deserialize, Serialize};

/// A vessel and where its numbers come from.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct VesselInfo {
    /// Name in plain words.
    pub name: String,
    /// Where its numbers come from.
    pub source: String,
    /// What it is good for.
    pub teaches: String,
    /// Every value it was built from.
    pub values: Vec<ValueRow>,
}

/// One value and what it rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ValueRow {
    /// Name of the quantity.
    pub name: String,
    /// The value in words, with as many digits as it carries.
    pub value: String,
    /// Its unit; empty for words and ratios.
    pub unit: String,
    /// Where it comes from if it was not measured; none: measured.
    pub assumed_from: Option<String>,
}

impl VesselInfo {
    /// How many values are measured and how many assumed.
    #[must_use]
    pub fn counts(&self) -> (usize, usize) {
        let assumed = self
            .values
            .iter()
            .filter(|v| v.assumed_from.is_some())
            .count();
        (self.values.len() - assumed, assumed)
    }
}
