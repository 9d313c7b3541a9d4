//! The clock, and plans side by side.

use super::{CsvTable, number, optional, word, yes};
use crate::procedure::Percentiles;
use crate::rehearsal::{Comparison, Rehearsed};

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

fn percentiles(p: Option<Percentiles>) -> [String; 3] {
    p.map_or_else(Default::default, |p| {
        [p.p10_s, p.p50_s, p.p90_s].map(number)
    })
}

/// The tables of a comparison.
#[must_use]
pub fn comparison_tables(comparison: &Comparison) -> Vec<CsvTable> {
    let mut plans = CsvTable::new(
        "plans",
        &[
            "place",
            "plan",
            "verdict",
            "breaks_at_step",
            "unsolved_at_step",
            "reperfusion_mean_s",
            "reperfusion_p10_s",
            "reperfusion_p50_s",
            "reperfusion_p90_s",
            "open_to_reperfusion_p50_s",
            "neck_open_mean_s",
            "retriever_sat_mean_s",
            "neck_left_nascet_percent",
            "tips_across_neck",
            "unled_crossings",
            "times_let_go",
            "largest_hub_force_n",
            "largest_capstan_factor",
            "edge_clearance_mm",
            "bare_edges",
            "least_reach_mm",
            "least_reach_device",
            "least_reach_step",
            "whole_exchanges",
            "rapid_exchanges",
            "longest_out_of_hand_mm",
            "out_of_hand_mm",
            "neck_steps",
            "neck_steps_protected",
            "true_lumen_unproven",
        ],
    );
    for (i, r) in comparison.rows.iter().enumerate() {
        let [p10, p50, p90] = percentiles(r.reperfusion);
        let step = |at: &Option<(usize, String)>| {
            at.as_ref().map_or_else(String::new, |(s, _)| s.to_string())
        };
        let reach = r.least_reach.as_ref();
        plans.row([
            (i + 1).to_string(),
            r.name.clone(),
            word(&r.verdict),
            step(&r.breaks_at),
            step(&r.unsolved),
            optional(r.expected.reperfusion_s),
            p10,
            p50,
            p90,
            optional(r.open_to_reperfusion.map(|p| p.p50_s)),
            optional(r.expected.neck_open_s),
            optional(r.expected.retriever_sat_s),
            optional(r.neck_left_percent),
            r.crossings.to_string(),
            r.unled_crossings.to_string(),
            r.let_go.len().to_string(),
            optional(r.largest_hub_force_n),
            number(r.largest_capstan_factor),
            optional(r.edge_clearance_mm),
            r.bare_edges.to_string(),
            optional(reach.map(|l| l.margin_mm)),
            reach.map_or_else(String::new, |l| l.device.clone()),
            reach.map_or_else(String::new, |l| l.step.to_string()),
            r.whole_exchanges.to_string(),
            r.rapid_exchanges.to_string(),
            number(r.longest_blind_mm),
            number(r.blind_mm),
            r.neck_steps.0.to_string(),
            r.neck_steps.1.to_string(),
            r.true_lumen_unproven.to_string(),
        ]);
    }
    let mut flips = CsvTable::new(
        "turning-points",
        &["first", "other", "changed", "now", "from", "to", "sooner"],
    );
    for f in &comparison.flips {
        for s in &f.stretches {
            flips.row([
                f.first.clone(),
                f.other.clone(),
                word(&f.changed),
                number(f.now),
                number(s.from),
                number(s.to),
                word(&s.sooner),
            ]);
        }
    }
    vec![plans, flips]
}
