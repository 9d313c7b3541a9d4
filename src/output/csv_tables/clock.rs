//! Tables of the clock and of who holds the way.

use super::{CsvTable, number, optional, percentiles, yes};
use crate::rehearsal::Rehearsed;

pub(super) fn clock(rehearsed: &Rehearsed) -> [CsvTable; 3] {
    let clock = &rehearsed.clock;
    let mut table = CsvTable::new(
        "clock",
        &[
            "name",
            "step",
            "lane",
            "start_s",
            "end_s",
            "handling_s",
            "travel_s",
            "difficulty_s",
            "slack_s",
            "slack_to_reperfusion_s",
            "critical",
        ],
    );
    for a in &clock.activities {
        table.row([
            a.name.clone(),
            a.step.map_or_else(String::new, |s| s.to_string()),
            a.lane.in_words().to_owned(),
            number(a.start_s),
            number(a.end_s),
            number(a.parts.handling_s),
            number(a.parts.travel_s),
            number(a.parts.difficulty_s),
            number(a.slack_s),
            optional(a.slack_to_reperfusion_s),
            yes(a.critical),
        ]);
    }
    let mut milestones =
        CsvTable::new("milestones", &["what", "mean_s", "p10_s", "p50_s", "p90_s"]);
    let (mean, spread) = (&clock.expected, &clock.spread);
    for (what, mean_s, p) in [
        (
            "guide in the neck",
            mean.guide_in_neck_s,
            spread.guide_in_neck,
        ),
        (
            "retriever open",
            mean.retriever_open_s,
            spread.retriever_open,
        ),
        ("neck dilated", mean.neck_dilated_s, spread.neck_dilated),
        ("neck open", mean.neck_open_s, spread.neck_open),
        ("neck done", mean.neck_done_s, None),
        ("reperfusion", mean.reperfusion_s, spread.reperfusion),
        (
            "retriever sat in the clot",
            mean.retriever_sat_s,
            spread.retriever_sat,
        ),
        (
            "retriever open to reperfusion",
            mean.open_to_reperfusion_s,
            spread.open_to_reperfusion,
        ),
        ("total", mean.total_s, spread.total),
    ] {
        let [p10, p50, p90] = percentiles(p);
        milestones.row([what.to_owned(), optional(mean_s), p10, p50, p90]);
    }
    let mut anchors = CsvTable::new(
        "time-anchors",
        &[
            "what",
            "expected_s",
            "p10_s",
            "p50_s",
            "p90_s",
            "known",
            "source",
            "fitted_to_it",
        ],
    );
    for a in &clock.anchors {
        let [p10, p50, p90] = percentiles(a.spread);
        anchors.row([
            a.what.clone(),
            number(a.expected_s),
            p10,
            p50,
            p90,
            a.known.clone(),
            a.source.clone(),
            yes(a.calibrated),
        ]);
    }
    [table, milestones, anchors]
}

pub(super) fn access(rehearsed: &Rehearsed) -> CsvTable {
    let mut table = CsvTable::new(
        "access",
        &["step", "across", "held_by", "true_lumen", "let_go"],
    );
    for row in &rehearsed.ledger.rows {
        for hold in &row.holds {
            table.row([
                row.step.to_string(),
                hold.across.clone(),
                hold.held_by.join("; "),
                yes(hold.true_lumen),
                yes(hold.let_go),
            ]);
        }
    }
    table
}
