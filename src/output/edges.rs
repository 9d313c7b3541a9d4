//! Stents, their edges, pulls and suction as tables for people.

use super::grid::Grid;
use super::table::{long_section, section, wrapped};
use crate::math;
use crate::procedure::{Meets, spoken};
use crate::rehearsal::{EDGE_CAUTION, EdgeRow, Outcome};
use crate::units::{fixed, signed};
use std::fmt::Write as _;

/// Width of a full bar of the sweep, characters.
const BAR: usize = 40;

/// Everything about stents and their edges that an outcome has; nothing where it has none.
pub(super) fn stent_sections(out: &mut String, outcome: &Outcome, columns: u16) {
    let width = usize::from(columns);
    if !outcome.stents.is_empty() {
        section(out, "Stents");
        for line in stent_lines(outcome) {
            wrapped(out, "  - ", &line, width);
        }
    }
    if !outcome.edges.is_empty() {
        let title = "Stent edges (mm; clearance below zero is interference)";
        long_section(out, title, width);
        edges_table(out, outcome, columns);
        for (title, row) in sweeps(outcome) {
            long_section(out, &title, width);
            sweep(out, row);
        }
        for line in &outcome.counterfactuals {
            wrapped(out, "  - ", line, width);
        }
        wrapped(out, "  - ", EDGE_CAUTION, width);
    }
    if !outcome.pulls.is_empty() {
        section(out, "Pulling the open retriever");
        for line in pull_lines(outcome) {
            wrapped(out, "  - ", &line, width);
        }
    }
    if !outcome.suction.is_empty() {
        section(out, "Lumens on suction");
        suction_table(out, outcome, columns);
    }
}

fn stent_lines(outcome: &Outcome) -> Vec<String> {
    let mut lines = Vec::new();
    for stent in &outcome.stents {
        lines.push(format!(
            "{}: {:.0} mm long ({:.0} mm at rest), from {} to {}.",
            stent.name, stent.length_mm, stent.free_length_mm, stent.proximal_at, stent.distal_at
        ));
        for cover in &stent.covers {
            let measures = |m: &[f64; 3]| {
                let [nascet, ecst] = [m[1], m[2]].map(|percent| fixed(percent, 0));
                format!("{:.1} mm (NASCET {nascet} %, ECST {ecst} %)", m[0])
            };
            lines.push(format!(
                "{} in it: {:.0} mm of wall covered below, {:.0} mm above; {} before, {} with the stent alone, {} in the end (estimates).",
                spoken(&cover.lesion),
                cover.below_mm,
                cover.above_mm,
                measures(&cover.before),
                measures(&cover.stent_alone),
                measures(&cover.after)
            ));
        }
    }
    lines
}

fn edges_table(out: &mut String, outcome: &Outcome, columns: u16) {
    let header = [
        "step",
        "device",
        "edge",
        "way",
        "step height",
        "off middle",
        "rim gap",
        "clearance",
        "lifted over",
        "covered by",
        "beyond, under load",
        "caught",
        "95 %",
        "bare %",
    ];
    let mut table = Grid::new(2, &header).right([0, 4, 6, 7, 8, 13]);
    for row in &outcome.edges {
        let beyond = match (row.cover_mm, row.cover_under_load_mm) {
            (Some(still_mm), Some(loaded_mm)) => format!("{still_mm:.0}, {loaded_mm:.0}"),
            _ => String::new(),
        };
        table.row([
            row.step.to_string(),
            row.riding_on.as_ref().map_or_else(
                || row.device.clone(),
                |rail| format!("{} over {rail}", row.device),
            ),
            format!("{} of {}", row.edge.in_words(), row.stent),
            format!(
                "{}{}",
                if row.forward { "up" } else { "back" },
                if row.faces { "" } else { ", leaving it" }
            ),
            format!("{:.2}", row.step_mm),
            format!(
                "{:.1} of {:.1}",
                math::hypot(row.offset_mm[0], row.offset_mm[1]),
                row.room_mm
            ),
            format!("{:.2}", row.rim_gap_mm),
            signed(row.clearance_mm, 2),
            format!("{:.2}", row.rides_over_mm),
            match (&row.covered_by, row.shielded) {
                (Some(by), true) => by.clone(),
                (Some(by), false) => format!("{by}: NO"),
                (None, _) => "bare".to_owned(),
            },
            beyond,
            format!(
                "{} {:.1} %",
                row.likelihood.in_words(),
                100.0 * row.probability
            ),
            format!(
                "{:.1}-{:.1}",
                100.0 * row.interval[0],
                100.0 * row.interval[1]
            ),
            format!("{:.0}", 100.0 * row.probability_bare),
        ]);
    }
    out.push_str(&table.text(columns));
    if let Some(row) = outcome.edges.first() {
        let _ = writeln!(out, "  {} samples each, seed {}", row.samples, row.seed);
    }
    for row in outcome.edges.iter().filter(|e| !e.placed_by_rods) {
        let line = format!(
            "step {}: no equilibrium of the {} at this edge was found; it is taken to lie on the wall inside the bend",
            row.step, row.device
        );
        wrapped(out, "  ", &line, usize::from(columns));
    }
}

/// One sweep for each edge that an open retriever crosses with its face to it.
fn sweeps(outcome: &Outcome) -> Vec<(String, &EdgeRow)> {
    let mut found: Vec<(String, &EdgeRow)> = Vec::new();
    for row in &outcome.edges {
        let known = found
            .iter()
            .any(|(_, r)| r.edge == row.edge && r.stent == row.stent && r.device == row.device);
        if row.meets != Meets::Struts || !row.faces || known {
            continue;
        }
        let by = row.covered_by.as_deref().unwrap_or("guide");
        let title = format!(
            "Samples caught, by distance of the {by}'s tip beyond the {} of the {} (falls back by {:.1} mm)",
            row.edge.in_words(),
            row.stent,
            row.fall_back_mm
        );
        found.push((title, row));
    }
    found
}

fn sweep(out: &mut String, row: &EdgeRow) {
    for point in &row.sweep {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            clippy::cast_precision_loss,
            reason = "a share of 0 to 1 of forty characters"
        )]
        let filled = (point.probability.clamp(0.0, 1.0) * BAR as f64).round() as usize;
        let _ = writeln!(
            out,
            "  {:>4.0} mm  {:>5.1} %  {}",
            point.cover_mm,
            100.0 * point.probability,
            "#".repeat(filled)
        );
    }
    let _ = writeln!(
        out,
        "  at most 1 % from {:.0} mm on",
        row.safe_cover_mm.ceil()
    );
}

fn pull_lines(outcome: &Outcome) -> Vec<String> {
    let mut lines = Vec::new();
    for pull in &outcome.pulls {
        lines.push(format!("step {}: {}.", pull.step, pull.say));
        let moments: Vec<String> = pull
            .cover
            .iter()
            .map(|(moved_mm, covered_mm, bare_mm, by)| {
                let by = by
                    .as_ref()
                    .map_or_else(String::new, |by| format!(" in the {by}"));
                format!(
                    "{} mm back: {} mm covered{by}, {} mm bare",
                    fixed(*moved_mm, 0),
                    fixed(*covered_mm, 0),
                    fixed(*bare_mm, 0)
                )
            })
            .collect();
        lines.push(format!("{}.", moments.join("; ")));
    }
    lines
}

fn suction_table(out: &mut String, outcome: &Outcome, columns: u16) {
    let header = [
        "step",
        "catheter",
        "in its lumen",
        "flow left % (middle, on the wall)",
        "pull at its tip N",
    ];
    let mut table = Grid::new(2, &header).right([0, 3, 4]);
    for row in &outcome.suction {
        table.row([
            row.step.to_string(),
            row.device.clone(),
            if row.occupants.is_empty() {
                "nothing".to_owned()
            } else {
                row.occupants.join(", ")
            },
            if row.least_share < 0.01 {
                format!(
                    "{:.2}, {:.2}",
                    100.0 * row.least_share,
                    100.0 * row.most_share
                )
            } else {
                format!(
                    "{:.0}, {:.0}",
                    100.0 * row.least_share,
                    100.0 * row.most_share
                )
            },
            format!("{:.2}", row.tip_force_n),
        ]);
    }
    out.push_str(&table.text(columns));
    if let Some(row) = outcome.suction.first() {
        let line = format!(
            "pull of an ideal seal at {:.1} kPa (25.63 inHg: Froehler, Interv. Neurol. 2017;6:199)",
            row.pump_kpa
        );
        wrapped(out, "  ", &line, usize::from(columns));
    }
}
