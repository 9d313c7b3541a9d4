//! Tables of plans side by side.

use super::{CsvTable, number, optional, percentiles, word};
use crate::rehearsal::Comparison;

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
            "undecided_at_step",
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
        let step =
            |at: Option<&(usize, String)>| at.map_or_else(String::new, |(s, _)| s.to_string());
        let reach = r.least_reach.as_ref();
        plans.row([
            (i + 1).to_string(),
            r.name.clone(),
            word(&r.verdict),
            step(r.breaks_at.as_ref()),
            step(r.undecided.first()),
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
