//! How sure every margin is.

use super::{CsvTable, number, word};
use crate::rehearsal::{Cause, Outcome};

/// Margins with their spreads, and their causes.
pub(super) fn sure(outcome: &Outcome) -> [CsvTable; 2] {
    let mut margins = CsvTable::new(
        "margins",
        &[
            "kind",
            "device",
            "step",
            "margin_mm",
            "spread_mm",
            "short_usual",
            "short_from",
            "short_to",
            "first_cause",
        ],
    );
    let mut causes = CsvTable::new(
        "margin-causes",
        &[
            "kind",
            "device",
            "cause",
            "value_mm",
            "spread_mm",
            "measured_to_mm",
            "short_if_measured",
        ],
    );
    for margin in &outcome.sure.margins {
        let first = margin.causes.first();
        margins.row([
            word(&margin.kind),
            margin.device.clone(),
            margin.step.to_string(),
            number(margin.margin_mm),
            number(margin.spread_mm),
            number(margin.short.usual),
            number(margin.short.from),
            number(margin.short.to),
            first.map_or_else(String::new, |c| c.what.clone()),
        ]);
        for cause in &margin.causes {
            causes.row(cause_row(&word(&margin.kind), &margin.device, cause));
        }
    }
    for cause in &outcome.sure.causes {
        causes.row(cause_row("any", "", cause));
    }
    [margins, causes]
}

fn cause_row(kind: &str, device: &str, cause: &Cause) -> [String; 7] {
    [
        kind.to_owned(),
        device.to_owned(),
        cause.what.clone(),
        number(cause.value_mm),
        number(cause.spread_mm),
        number(cause.measured_to_mm),
        number(cause.short_if_measured),
    ]
}
