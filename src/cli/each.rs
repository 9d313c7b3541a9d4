//! `run --each`: what each change does on its own.

use super::plans::{Changes, candidate, code, load};
use super::{Stop, columns, print};
use nestline::data::{self, Edit, Source};
use nestline::output::what_if_text;
use nestline::rehearsal::{HowSure, WhatIf, WhatIfRow, assess, outcome_of, walk};
use nestline::units::fixed;
use std::ffi::OsStr;
use std::process::ExitCode;

/// Causes that are varied where no change is named.
const CAUSES_VARIED: usize = 3;

/// The plan as it is, and with one change at a time: those that are named, or the lengths it hangs on most.
pub(super) fn one_at_a_time(
    scene: &OsStr,
    changes: &Changes,
    json: bool,
) -> Result<ExitCode, Stop> {
    let sampling = changes.sampling();
    let fault = |error: &dyn std::fmt::Display| {
        data::not_rehearsed(&Source::from_argument(scene), &error.to_string())
    };
    let loaded = load(scene, &[])?;
    // which lengths matter follows from the script's places: a ruler knows them
    let sure = outcome_of(&loaded.plan, &walk(&loaded.plan)).sure;
    let base = assess(
        &candidate(loaded.plan.name.clone(), loaded, changes),
        &sampling,
    )
    .map_err(|error| fault(&error))?;
    let asked = changes.edits()?;
    let tried: Vec<Edit> = if asked.is_empty() {
        what_matters_most(&sure)?
    } else {
        asked.clone()
    };
    let mut rows = Vec::new();
    for edit in tried {
        let change = edit.in_words();
        let result = match load(scene, std::slice::from_ref(&edit)) {
            Ok(loaded) => assess(&candidate(change.clone(), loaded, changes), &sampling)
                .map_err(|error| error.to_string()),
            // a change that was not asked for and that a scene cannot take is told; else it is refused
            Err(Stop::Data(error)) if asked.is_empty() => Err(error.to_string()),
            Err(stop) => return Err(stop),
        };
        rows.push(WhatIfRow { change, result });
    }
    let verdict = base.verdict;
    let what_if = WhatIf::new(base, rows);
    print(json, &what_if, || what_if_text(&what_if, columns()))?;
    Ok(code(verdict))
}

/// The lengths that a plan hangs on most, each shorter and longer by one standard deviation of all that is told with it
/// as one cause.
fn what_matters_most(sure: &HowSure) -> Result<Vec<Edit>, Stop> {
    let mut tried = Vec::new();
    for cause in &sure.causes {
        // places of lesions are no numbers of their own
        let fields = cause.fields.iter();
        let numbers = fields.filter(|f| !f.field.ends_with(".place") && !f.field.contains("stent"));
        let Some(widest) = numbers.max_by(|a, b| a.spread_mm.total_cmp(&b.spread_mm)) else {
            continue;
        };
        for by_mm in [-cause.spread_mm, cause.spread_mm] {
            let value_mm = fixed(widest.value_mm + by_mm, 1);
            tried.push(Edit::parse(&format!("{}={value_mm}mm", widest.field))?);
        }
        if tried.len() == 2 * CAUSES_VARIED {
            break;
        }
    }
    Ok(tried)
}
