//! What each change does on its own.

use super::compare::CompareRow;
use super::run::CAUTION;
use serde::{Deserialize, Serialize};

/// Version of the schema of a what-if table.
pub const WHAT_IF_VERSION: u32 = 2;

/// One change and what came of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WhatIfRow {
    /// The change in words.
    pub change: String,
    /// The plan with it, or why it cannot be made.
    pub result: Result<CompareRow, String>,
}

/// The plan as it is, and with one change at a time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WhatIf {
    /// `nestline.what-if`.
    pub schema: String,
    /// [`WHAT_IF_VERSION`].
    pub version: u32,
    /// The plan as it is.
    pub base: CompareRow,
    /// With one change each.
    pub rows: Vec<WhatIfRow>,
    /// The caution that goes with every output.
    pub caution: String,
}

impl WhatIf {
    /// Changes beside the plan as it is.
    #[must_use]
    pub fn new(base: CompareRow, rows: Vec<WhatIfRow>) -> Self {
        Self {
            schema: "nestline.what-if".into(),
            version: WHAT_IF_VERSION,
            base,
            rows,
            caution: CAUTION.into(),
        }
    }
}
