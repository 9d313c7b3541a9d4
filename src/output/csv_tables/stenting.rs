//! Lesions, stents and their edges, pulls and suction.

use super::{CsvTable, number, optional, word, yes};
use crate::rehearsal::Outcome;

pub(super) fn stents(outcome: &Outcome) -> [CsvTable; 4] {
    let mut lesions = CsvTable::new(
        "lesions",
        &[
            "lesion",
            "before_mm",
            "after_mm",
            "nascet_before_percent",
            "nascet_after_percent",
            "ecst_before_percent",
            "ecst_after_percent",
            "tips_across",
        ],
    );
    for l in &outcome.lesions {
        lesions.row([
            l.name.clone(),
            number(l.before_mm),
            number(l.after_mm),
            number(l.nascet_before_percent),
            number(l.nascet_after_percent),
            number(l.ecst_before_percent),
            number(l.ecst_after_percent),
            l.crossings.to_string(),
        ]);
    }
    let mut stents = CsvTable::new(
        "stents",
        &[
            "stent",
            "near_end_mm",
            "near_end_at",
            "far_end_mm",
            "far_end_at",
            "length_mm",
            "length_at_rest_mm",
            "below_bifurcation_mm",
        ],
    );
    let mut covers = CsvTable::new(
        "stent-covers",
        &[
            "stent",
            "lesion",
            "covered_below_mm",
            "covered_above_mm",
            "moment",
            "lumen_mm",
            "nascet_percent",
            "ecst_percent",
        ],
    );
    let mut profile = CsvTable::new(
        "stent-profile",
        &[
            "stent",
            "station_mm",
            "held_diameter_mm",
            "artery_diameter_mm",
        ],
    );
    for s in &outcome.stents {
        stents.row([
            s.name.clone(),
            number(s.proximal_mm),
            s.proximal_at.clone(),
            number(s.distal_mm),
            s.distal_at.clone(),
            number(s.length_mm),
            number(s.free_length_mm),
            optional(s.below_bifurcation_mm),
        ]);
        for c in &s.covers {
            for (moment, [lumen_mm, nascet, ecst]) in [
                ("before", c.before),
                ("stent alone", c.stent_alone),
                ("after", c.after),
            ] {
                covers.row([
                    s.name.clone(),
                    c.lesion.clone(),
                    number(c.below_mm),
                    number(c.above_mm),
                    moment.to_owned(),
                    number(lumen_mm),
                    number(nascet),
                    number(ecst),
                ]);
            }
        }
        for [station_mm, held_mm, artery_mm] in &s.profile {
            profile.row([
                s.name.clone(),
                number(*station_mm),
                number(*held_mm),
                number(*artery_mm),
            ]);
        }
    }
    [lesions, stents, covers, profile]
}

pub(super) fn edges(outcome: &Outcome) -> [CsvTable; 4] {
    let mut table = CsvTable::new(
        "edges",
        &[
            "crossing",
            "step",
            "device",
            "stent",
            "edge",
            "station_mm",
            "at",
            "way",
            "faces",
            "meets",
            "riding_on",
            "step_height_mm",
            "placed_by_rods",
            "offset_first_normal_mm",
            "offset_second_normal_mm",
            "room_mm",
            "approach_deg",
            "largest_gap_mm",
            "strut_mm",
            "clearance_mm",
            "rides_over_mm",
            "shielded",
            "covered_by",
            "cover_mm",
            "cover_under_load_mm",
            "fall_back_mm",
            "caught_share",
            "caught_low",
            "caught_high",
            "caught_share_bare",
            "safe_cover_mm",
            "samples",
            "seed",
        ],
    );
    let mut rim = CsvTable::new("edge-rim", &["crossing", "angle_deg", "gap_mm"]);
    let mut sweep = CsvTable::new(
        "edge-sweep",
        &[
            "crossing",
            "cover_mm",
            "caught_share",
            "caught_low",
            "caught_high",
        ],
    );
    let mut helps = CsvTable::new("edge-helps", &["crossing", "what", "caught_share"]);
    for (i, e) in outcome.edges.iter().enumerate() {
        let crossing = (i + 1).to_string();
        table.row([
            crossing.clone(),
            e.step.to_string(),
            e.device.clone(),
            e.stent.clone(),
            word(&e.edge),
            number(e.station_mm),
            e.at.clone(),
            if e.forward { "up" } else { "back" }.to_owned(),
            yes(e.faces),
            word(&e.meets),
            e.riding_on.clone().unwrap_or_default(),
            number(e.step_mm),
            yes(e.placed_by_rods),
            number(e.offset_mm[0]),
            number(e.offset_mm[1]),
            number(e.room_mm),
            number(e.approach_deg),
            number(e.rim_gap_mm),
            number(e.strut_mm),
            number(e.clearance_mm),
            number(e.rides_over_mm),
            yes(e.shielded),
            e.covered_by.clone().unwrap_or_default(),
            optional(e.cover_mm),
            optional(e.cover_under_load_mm),
            number(e.fall_back_mm),
            number(e.probability),
            number(e.interval[0]),
            number(e.interval[1]),
            number(e.probability_bare),
            number(e.safe_cover_mm),
            e.samples.to_string(),
            e.seed.to_string(),
        ]);
        #[expect(clippy::cast_precision_loss, reason = "a dozen directions")]
        for (k, gap_mm) in e.rim_gaps_mm.iter().enumerate() {
            let angle_deg = 360.0 * k as f64 / e.rim_gaps_mm.len() as f64;
            rim.row([crossing.clone(), number(angle_deg), number(*gap_mm)]);
        }
        for p in &e.sweep {
            sweep.row([
                crossing.clone(),
                number(p.cover_mm),
                number(p.probability),
                number(p.interval[0]),
                number(p.interval[1]),
            ]);
        }
        for (what, share) in &e.helps {
            helps.row([crossing.clone(), what.clone(), number(*share)]);
        }
    }
    [table, rim, sweep, helps]
}

pub(super) fn pulls(outcome: &Outcome) -> [CsvTable; 3] {
    let mut pulls = CsvTable::new(
        "pulls",
        &[
            "step",
            "retriever",
            "on_wall_n",
            "on_clot_n",
            "capstan_factor",
            "at_hub_n",
        ],
    );
    let mut cover = CsvTable::new(
        "pull-cover",
        &[
            "step",
            "retriever",
            "drawn_back_mm",
            "covered_mm",
            "bare_mm",
            "covered_by",
        ],
    );
    for p in &outcome.pulls {
        pulls.row([
            p.step.to_string(),
            p.retriever.clone(),
            number(p.on_wall_n),
            number(p.on_clot_n),
            number(p.capstan_factor),
            number(p.at_hub_n),
        ]);
        for (moved_mm, covered_mm, bare_mm, by) in &p.cover {
            cover.row([
                p.step.to_string(),
                p.retriever.clone(),
                number(*moved_mm),
                number(*covered_mm),
                number(*bare_mm),
                by.clone().unwrap_or_default(),
            ]);
        }
    }
    let mut suction = CsvTable::new(
        "suction",
        &[
            "step",
            "device",
            "in_its_lumen",
            "least_flow_share",
            "most_flow_share",
            "tip_force_n",
            "pump_kpa",
        ],
    );
    for s in &outcome.suction {
        suction.row([
            s.step.to_string(),
            s.device.clone(),
            s.occupants.join("; "),
            number(s.least_share),
            number(s.most_share),
            number(s.tip_force_n),
            number(s.pump_kpa),
        ]);
    }
    [pulls, cover, suction]
}
