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
    let mut milestones = CsvTable::new(
        "milestones",
        &["what", "at_mean_steps_s", "p10_s", "p50_s", "p90_s"],
    );
    for m in clock.milestones() {
        let [p10, p50, p90] = percentiles(m.spread);
        milestones.row([m.what.to_owned(), optional(m.mean_s), p10, p50, p90]);
    }
    let mut anchors = CsvTable::new(
        "time-anchors",
        &[
            "what",
            "expected_s",
            "p10_s",
            "p50_s",
            "p90_s",
            "with_failed_tries_mean_s",
            "with_failed_tries_p10_s",
            "with_failed_tries_p50_s",
            "with_failed_tries_p90_s",
            "known",
            "source",
            "fitted_to_it",
        ],
    );
    for a in &clock.anchors {
        let [p10, p50, p90] = percentiles(a.spread);
        let [again_p10, again_p50, again_p90] = percentiles(a.disturbed);
        anchors.row([
            a.what.clone(),
            number(a.expected_s),
            p10,
            p50,
            p90,
            optional(a.disturbed_s),
            again_p10,
            again_p50,
            again_p90,
            a.known.clone(),
            a.source.clone(),
            yes(a.calibrated),
        ]);
    }
    [table, milestones, anchors]
}

pub(super) fn access(rehearsed: &Rehearsed) -> [CsvTable; 3] {
    let ledger = &rehearsed.ledger;
    let mut held = CsvTable::new(
        "access",
        &["step", "across", "held_by", "true_lumen", "let_go"],
    );
    for row in &ledger.rows {
        for hold in &row.holds {
            held.row([
                row.step.to_string(),
                hold.across.clone(),
                hold.held_by.join("; "),
                yes(hold.true_lumen),
                yes(hold.let_go),
            ]);
        }
    }
    let mut crossings = CsvTable::new("crossings", &["across", "tips", "unled", "let_go_at_steps"]);
    for c in &ledger.crossings {
        let steps: Vec<String> = c.let_go_at.iter().map(ToString::to_string).collect();
        crossings.row([
            c.across.clone(),
            c.tips.to_string(),
            c.unled.to_string(),
            steps.join("; "),
        ]);
    }
    let mut protection = CsvTable::new(
        "neck-work",
        &["step", "suction", "flow_stopped_by", "open_above"],
    );
    for work in &ledger.neck_work {
        protection.row([
            work.step.to_string(),
            work.suction.join("; "),
            work.flow_stopped_by.join("; "),
            work.open_above.join("; "),
        ]);
    }
    [held, crossings, protection]
}
