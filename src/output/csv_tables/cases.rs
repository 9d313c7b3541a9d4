//! The cases of a population.

use super::{CsvTable, optional, word};
use crate::rehearsal::vary::Case;

/// One row a case.
pub fn case_table(cases: &[Case]) -> CsvTable {
    let mut table = CsvTable::new(
        "cases",
        &[
            "case",
            "ends",
            "breaks",
            "spare_mm",
            "hub_force_n",
            "catch_share",
            "reperfusion_s",
        ],
    );
    for case in cases {
        let breaks: Vec<String> = case.breaks.iter().map(word).collect();
        table.row([
            case.number.to_string(),
            word(&case.ends),
            breaks.join(" "),
            optional(case.spare_mm),
            optional(case.hub_force_n),
            optional(case.catch_share),
            optional(case.reperfusion_s),
        ]);
    }
    table
}
