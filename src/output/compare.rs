//! Plans side by side, single changes, and the access ledger, as text.

use super::grid::Grid;
use super::table::{long_section, section, wrapped};
use crate::procedure::{Ledger, Likelihood, spoken};
use crate::rehearsal::{CompareRow, Comparison, Verdict, WhatIf};
use crate::units::signed;

/// A comparison for a terminal of `columns` characters: verdict and reason first, then the table.
#[must_use]
pub fn comparison_text(comparison: &Comparison, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    section(&mut out, "Why this order");
    for line in &comparison.why {
        wrapped(&mut out, "  - ", line, width);
    }
    let title = "Side by side (times in min from the puncture, lengths in mm)";
    long_section(&mut out, title, width);
    out.push_str(&side_by_side(&comparison.rows, columns));
    wrapped(&mut out, "  ", &comparison.order, width);
    section(&mut out, "What series found");
    for line in &comparison.series {
        wrapped(&mut out, "  - ", line, width);
    }
    section(&mut out, "What would turn the order round");
    for line in &comparison.flips_in_words {
        wrapped(&mut out, "  - ", line, width);
    }
    section(&mut out, "What each does");
    for row in &comparison.rows {
        wrapped(
            &mut out,
            "  - ",
            &format!("{}: {}", row.name, row.about),
            width,
        );
    }
    section(&mut out, "How this was had");
    let fitted: Vec<&str> = comparison
        .calibrated_to
        .iter()
        .map(|k| k.in_words())
        .collect();
    let line = format!(
        "Step times are spans for rehearsal, not measurements{}. Forces are shown where rods were solved, edges where their clearance was computed.",
        if fitted.is_empty() {
            String::new()
        } else {
            format!(", and calibrated to {}", fitted.join(", and to "))
        }
    );
    wrapped(&mut out, "  - ", &line, width);
    out.push('\n');
    wrapped(&mut out, "", &comparison.caution, width);
    out
}

/// One criterion and how a plan meets it.
type Criterion = (&'static str, fn(&CompareRow) -> String);

const CRITERIA: [Criterion; 19] = [
    ("verdict", |r| {
        let verdict = match (r.verdict, &r.breaks_at, r.undecided.first()) {
            (Verdict::Fails, Some((step, _)), _) => format!("FAILS at {step}"),
            (Verdict::Undecided, _, Some((step, _))) => format!("UNDECIDED at {step}"),
            (Verdict::Passes, ..) => "passes".into(),
            (Verdict::Fails, ..) => "FAILS".into(),
            (Verdict::Undecided, ..) => "UNDECIDED".into(),
        };
        if r.by_ruler {
            format!("{verdict} (by ruler)")
        } else {
            verdict
        }
    }),
    ("reperfusion, median", |r| {
        time(r.reperfusion.map(|p| p.p50_s))
    }),
    ("  10 to 90 %", |r| {
        r.reperfusion.map_or_else(String::new, |p| {
            format!("{:.1} to {:.1}", p.p10_s / 60.0, p.p90_s / 60.0)
        })
    }),
    ("retriever open to reperfusion", |r| {
        time(r.open_to_reperfusion.map(|p| p.p50_s))
    }),
    ("neck open, at mean steps", |r| time(r.expected.neck_open_s)),
    ("retriever sat in clot, at mean steps", |r| {
        time(r.expected.retriever_sat_s)
    }),
    ("neck left, NASCET %, estimate", |r| {
        r.neck_left_percent
            .map_or_else(String::new, |p| format!("{p:.0}"))
    }),
    ("tips across the neck", |r| r.crossings.to_string()),
    ("  crossings with nothing across", |r| {
        r.unled_crossings.to_string()
    }),
    ("access let go with work left", |r| {
        if r.let_go.is_empty() {
            return "never".into();
        }
        let at: Vec<String> = r
            .let_go
            .iter()
            .map(|(across, step)| format!("{} at {step}", spoken(across)))
            .collect();
        at.join(", ")
    }),
    ("largest hub force", |r| {
        r.largest_hub_force_n.map_or_else(
            || {
                format!(
                    "not solved (by turning alone x{:.2})",
                    r.largest_capstan_factor
                )
            },
            |f| format!("{f:.2} N"),
        )
    }),
    ("worst edge clearance", |r| {
        r.edge_clearance_mm.map_or_else(
            || "no crossing".to_owned(),
            // rounded first, or a thousandth below nothing would be written as `-0.00`
            |mm| {
                format!(
                    "{:.2} ({} bare)",
                    (mm * 100.0).round() / 100.0 + 0.0,
                    r.bare_edges
                )
            },
        )
    }),
    ("clot stripped on its way out", |r| {
        let stripped = r.clot_stripped.unwrap_or(Likelihood::Unlikely);
        stripped.in_words().to_owned()
    }),
    ("all goes through, by lengths", |r| {
        r.goes_through
            .map_or_else(String::new, |share| share.hoped_in_words())
    }),
    ("smallest reach margin", |r| {
        r.least_reach.as_ref().map_or_else(String::new, |reach| {
            format!(
                "{:.0} ({} at {})",
                reach.margin_mm, reach.device, reach.step
            )
        })
    }),
    ("exchanges: whole length, side port", |r| {
        format!("{}, {}", r.whole_exchanges, r.rapid_exchanges)
    }),
    ("nobody holds a rail for: longest, all", |r| {
        format!("{:.0}, {:.0}", r.longest_blind_mm, r.blind_mm)
    }),
    ("neck steps, of them under suction", |r| {
        format!("{}, {}", r.neck_steps.0, r.neck_steps.1)
    }),
    ("neck steps, true lumen not shown", |r| {
        r.true_lumen_unproven.to_string()
    }),
];

/// Every criterion with its cell for each plan.
pub(super) fn criteria(rows: &[CompareRow]) -> Vec<(&'static str, Vec<String>)> {
    CRITERIA
        .iter()
        .map(|(name, cell)| (*name, rows.iter().map(cell).collect()))
        .collect()
}

fn time(s: Option<f64>) -> String {
    s.map_or_else(|| "none".to_owned(), |s| format!("{:.1}", s / 60.0))
}

fn side_by_side(rows: &[CompareRow], columns: u16) -> String {
    let header: Vec<&str> = std::iter::once("")
        .chain(rows.iter().map(|r| r.name.as_str()))
        .collect();
    let mut table = Grid::new(1, &header);
    for (name, cells) in criteria(rows) {
        table.row(std::iter::once(name.to_owned()).chain(cells));
    }
    table.text(columns)
}

/// Single changes for a terminal of `columns` characters.
#[must_use]
pub fn what_if_text(what_if: &WhatIf, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    section(&mut out, "One change at a time");
    let header = [
        "change",
        "verdict",
        "reperfusion min",
        "change",
        "reach to spare mm",
        "nobody holds a rail for mm",
        "let go",
        "bare edges",
    ];
    let mut table = Grid::new(1, &header);
    let base_s = what_if.base.reperfusion.map(|p| p.p50_s);
    let mut add = |change: &str, row: &CompareRow| {
        let now_s = row.reperfusion.map(|p| p.p50_s);
        let changed = base_s
            .zip(now_s)
            .map_or_else(String::new, |(a, b)| signed((b - a) / 60.0, 1));
        table.row([
            change.to_owned(),
            CRITERIA[0].1(row),
            time(now_s),
            changed,
            row.least_reach
                .as_ref()
                .map_or_else(String::new, |r| format!("{:.0} {}", r.margin_mm, r.device)),
            format!("{:.0}", row.longest_blind_mm),
            row.let_go.len().to_string(),
            row.bare_edges.to_string(),
        ]);
    };
    add("as it is", &what_if.base);
    for row in &what_if.rows {
        if let Ok(result) = &row.result {
            add(&row.change, result);
        }
    }
    out.push_str(&table.text(columns));
    for row in &what_if.rows {
        match &row.result {
            Ok(result) => {
                if let Some((step, text)) = &result.breaks_at {
                    let line = format!("{}: breaks at step {step}: {text}.", row.change);
                    wrapped(&mut out, "  - ", &line, width);
                }
                if let Some((step, text)) = result.undecided.first() {
                    let line = format!("{}: step {step}: {text}.", row.change);
                    wrapped(&mut out, "  - ", &line, width);
                }
            }
            Err(why) => {
                let line = format!("{}: cannot be made: {why}.", row.change);
                wrapped(&mut out, "  - ", &line, width);
            }
        }
    }
    out.push('\n');
    wrapped(&mut out, "", &what_if.caution, width);
    out
}

/// Who holds the way, moment by moment, for a terminal of `columns` characters.
#[must_use]
pub fn ledger_text(ledger: &Ledger, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    section(&mut out, "Who holds the way in the true lumen");
    let header: Vec<String> = std::iter::once("from step".to_owned())
        .chain(ledger.crossings.iter().map(|c| spoken(&c.across)))
        .collect();
    let header: Vec<&str> = header.iter().map(String::as_str).collect();
    let mut table = Grid::new(1, &header);
    let mut last: Option<Vec<String>> = None;
    for row in &ledger.rows {
        let cells: Vec<String> = row
            .holds
            .iter()
            .map(|hold| match (hold.held_by.is_empty(), hold.let_go) {
                (true, false) => String::new(),
                (true, true) => "NOTHING".into(),
                (false, _) if hold.true_lumen => hold.held_by.join(", "),
                (false, _) => format!("{} (lumen not shown)", hold.held_by.join(", ")),
            })
            .collect();
        if last.as_ref() != Some(&cells) {
            table.row(std::iter::once(row.step.to_string()).chain(cells.iter().cloned()));
            last = Some(cells);
        }
    }
    out.push_str(&table.text(columns));
    for crossing in &ledger.crossings {
        let held = match crossing.let_go_at.as_slice() {
            [] => "never let go of with work left".to_owned(),
            steps => format!(
                "let go of with work left at step {}",
                steps
                    .iter()
                    .map(usize::to_string)
                    .collect::<Vec<_>>()
                    .join(", ")
            ),
        };
        let line = format!(
            "{}: {} tips across, {} of them with nothing there before; {held}.",
            spoken(&crossing.across),
            crossing.tips,
            crossing.unled
        );
        wrapped(&mut out, "  - ", &line, width);
    }
    for work in &ledger.neck_work {
        let protects: Vec<String> = [
            ("suction on the ", &work.suction),
            ("flow stopped by the ", &work.flow_stopped_by),
            ("open above: the ", &work.open_above),
        ]
        .into_iter()
        .filter(|(_, names)| !names.is_empty())
        .map(|(what, names)| format!("{what}{}", names.join(", ")))
        .collect();
        let line = format!(
            "step {} works on the neck: {}.",
            work.step,
            if protects.is_empty() {
                "nothing protects the brain".to_owned()
            } else {
                protects.join("; ")
            }
        );
        wrapped(&mut out, "  - ", &line, width);
    }
    out
}
