//! An imported vessel as a vessel file, and what the import changed in words.

use super::grid::Grid;
use super::table::{section, wrapped};
use crate::geometry::traced::{Narrowing, Told, TracedVessel};
use std::fmt::Write as _;

/// A text as RON writes it.
fn quoted(text: &str) -> String {
    let plain: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    format!("\"{}\"", plain.replace('\\', "\\\\").replace('"', "\\\""))
}

/// The vessel file. It reads as any other that is drawn branch by branch; grafted, it holds the measurements of the
/// vessel around the piece as well.
#[must_use]
pub fn traced_vessel_text(vessel: &TracedVessel) -> String {
    let mut out = String::new();
    for line in told(vessel) {
        for part in textwrap::wrap(&line, 110) {
            let _ = writeln!(out, "// {part}");
        }
    }
    let teaches = "A vessel traced on images: its own course and lumen.";
    let _ = write!(
        out,
        "Vessel(\n    name: {},\n    source: {},\n    teaches: {},\n    form: ",
        quoted(&vessel.name),
        quoted(&vessel.source),
        quoted(teaches)
    );
    match &vessel.onto {
        None => {
            out.push_str("Branches((\n");
            piece(&mut out, vessel, "        ");
            out.push_str("    )),\n)\n");
        }
        Some(onto) => {
            let _ = write!(
                out,
                "Grafted((\n        // everything up to the joint is assumed or measured on this form, nothing of it was traced\n        onto: {},\n        from: {},\n",
                onto.measurements,
                quoted(&onto.from)
            );
            if let Some(on) = &onto.go_on_at {
                let _ = writeln!(out, "        go_on_at: {},", quoted(on));
            }
            let _ = writeln!(
                out,
                "        roll_deg: {},\n        piece: (",
                onto.roll_deg
            );
            piece(&mut out, vessel, "            ");
            out.push_str("        ),\n    )),\n)\n");
        }
    }
    out
}

fn piece(out: &mut String, vessel: &TracedVessel, pad: &str) {
    let names = &vessel.names;
    let _ = writeln!(
        out,
        "{pad}wall_stiffness_n_per_mm2: {:?}, // assumed: as the internal carotid of measured forms, order of magnitude only\n{pad}branches: [",
        vessel.wall_stiffness_n_per_mm2
    );
    for (branch, name) in vessel.traced.branches.iter().zip(names) {
        let leaves = branch.leaves.map(|(parent, at_mm)| {
            format!(
                "leaves: (branch: {}, at: \"{at_mm:.4} mm\"), ",
                quoted(&names[parent])
            )
        });
        let _ = writeln!(
            out,
            "{pad}    (name: {}, course: Points({}unit: \"mm\", points: [",
            quoted(name),
            leaves.unwrap_or_default()
        );
        for (p, radius) in branch.points_mm.iter().zip(&branch.radii_mm) {
            // a ten-thousandth of a millimetre would turn the planes of gentle bends
            let _ = writeln!(
                out,
                "{pad}        ({:.6}, {:.6}, {:.6}, {radius:.4}),",
                p.x, p.y, p.z
            );
        }
        let _ = writeln!(out, "{pad}    ])),");
    }
    let _ = writeln!(out, "{pad}],");
    let place = |(name, branch, at_mm): &(String, usize, f64)| {
        let end = (vessel.traced.branches[*branch].curve.length_mm() - at_mm).abs() < 1e-3;
        let at = if end {
            "end".to_owned()
        } else {
            format!("{at_mm:.3} mm")
        };
        format!(
            "(name: {}, branch: {}, at: \"{at}\"),",
            quoted(name),
            quoted(&names[*branch])
        )
    };
    list(out, pad, "landmarks", vessel.landmarks.iter().map(place));
    let lesions = vessel.lesions.iter().map(|lesion| {
        let reference = lesion.reference_mm.map_or_else(String::new, |mm| format!(", reference: \"{mm:.2} mm\""));
        format!(
            "(name: {}, kind: Plaque, branch: {}, start: \"{:.3} mm\", length: \"{:.2} mm\", nascet_percent: {:.1}{reference}),",
            quoted(&lesion.name),
            quoted(&names[lesion.branch]),
            lesion.start_mm,
            lesion.length_mm,
            lesion.nascet_percent
        )
    });
    list(out, pad, "lesions", lesions);
    let clots = vessel.clots.iter().map(|(name, branch, at_mm, length_mm)| {
        format!(
            "(name: {}, branch: {}, start: \"{at_mm:.3} mm\", length: \"{length_mm:.2} mm\"),",
            quoted(name),
            quoted(&names[*branch])
        )
    });
    list(out, pad, "clots", clots);
    if vessel.onto.is_none() {
        let _ = writeln!(
            out,
            "{pad}access: (branch: {}, at: \"0 mm\"),",
            quoted(&names[0])
        );
    }
    list(out, pad, "targets", vessel.targets.iter().map(place));
}

fn list(out: &mut String, pad: &str, name: &str, entries: impl Iterator<Item = String>) {
    let entries: Vec<String> = entries.collect();
    if entries.is_empty() {
        return;
    }
    let _ = writeln!(out, "{pad}{name}: [");
    for entry in entries {
        let _ = writeln!(out, "{pad}    {entry}");
    }
    let _ = writeln!(out, "{pad}],");
}

/// What was done to the lines, a sentence each.
fn told(vessel: &TracedVessel) -> Vec<String> {
    let mut lines = vec![format!("Imported centre lines; {}.", vessel.coordinates)];
    lines.extend(gathered(&vessel.traced.told));
    for (branch, narrowing) in &vessel.proposed {
        lines.push(proposal(&vessel.names[*branch], narrowing));
    }
    lines
}

fn proposal(branch: &str, narrowing: &Narrowing) -> String {
    format!(
        "Proposed, not taken over: {branch} narrows from {:.1} mm on along {:.1} mm to {:.2} mm at {:.1} mm, {:.0} % (NASCET) of {:.2} mm beyond. `--take-narrowings` makes it a lesion.",
        narrowing.start_mm,
        narrowing.length_mm,
        narrowing.residual_mm,
        narrowing.narrowest_mm,
        narrowing.nascet_percent,
        narrowing.reference_mm
    )
}

/// Sentences about what was done, of each kind the first few.
fn gathered(all: &[Told]) -> Vec<String> {
    /// So many of a kind are told one by one.
    const SHOWN: usize = 6;
    let mut kinds: Vec<(&str, Vec<String>)> = Vec::new();
    for told in all {
        let (kind, one) = match told {
            Told::SamePoints { count } => (
                "Points dropped that coincide with the one before",
                format!("{count} in all"),
            ),
            Told::RunsAlong { row, length_mm } => (
                "Stretches dropped that run along another line",
                format!("{length_mm:.1} mm from row {row} on"),
            ),
            Told::Joined { row, gap_mm } => (
                "Ends joined to another line",
                format!("row {row} across {gap_mm:.2} mm"),
            ),
            Told::RingOpened { row, length_mm } => (
                "Rings opened, what closed them dropped",
                format!("{length_mm:.1} mm around row {row}"),
            ),
            Told::Stub { row, length_mm } => (
                "Side branches dropped that do not leave the lumen they start in",
                format!("{length_mm:.1} mm to row {row}"),
            ),
            Told::LeftOut { row, length_mm } => (
                "Parts left out that do not touch",
                format!("{length_mm:.0} mm with row {row}"),
            ),
            Told::TooNarrow { row, length_mm } => (
                "Tips cut off, narrower than any lumen",
                format!("{length_mm:.1} mm to row {row}"),
            ),
        };
        match kinds.iter_mut().find(|(known, _)| *known == kind) {
            Some((_, list)) => list.push(one),
            None => kinds.push((kind, vec![one])),
        }
    }
    let sentence = |(kind, list): (&str, Vec<String>)| {
        let more = list.len().saturating_sub(SHOWN);
        let shown = list
            .iter()
            .take(SHOWN)
            .cloned()
            .collect::<Vec<_>>()
            .join("; ");
        if more > 0 {
            format!("{kind}: {shown}; and {more} more.")
        } else {
            format!("{kind}: {shown}.")
        }
    };
    kinds.into_iter().map(sentence).collect()
}

/// What an import did, for a terminal of `columns` characters.
#[must_use]
pub fn traced_text(vessel: &TracedVessel, columns: u16) -> String {
    /// So many branches are listed; a brain has hundreds.
    const SHOWN: usize = 12;
    /// Points that scatter by more leave the largest curvature uncertain, mm (`tests/imports.rs`: routes with noise come
    /// back with 0.15 mm, and their largest curvature within 15 %).
    const SCATTER_MM: f64 = 0.05;
    let mut out = String::new();
    let width = usize::from(columns);
    wrapped(&mut out, "", &vessel.name, width);
    for line in told(vessel) {
        wrapped(&mut out, "", &line, width);
    }
    section(&mut out, "Smoothing (mm, 1/mm)");
    let header = [
        "branch",
        "strength",
        "moved",
        "length",
        "was",
        "largest curvature",
        "was",
        "radius changed",
    ];
    let mut table = Grid::new(1, &header).right(1..8);
    let branches = &vessel.traced.branches;
    for (branch, name) in branches.iter().zip(&vessel.names).take(SHOWN) {
        let s = &branch.smoothing;
        table.row([
            name.clone(),
            format!("{:.2}", s.strength_mm),
            format!("{:.3}", s.moved_mm),
            format!("{:.1}", s.length_after_mm),
            format!("{:.1}", s.length_before_mm),
            format!("{:.3}", s.curvature_after_per_mm),
            format!("{:.3}", s.curvature_before_per_mm),
            format!("{:.2}", s.radius_changed_mm),
        ]);
    }
    out.push_str(&table.text(columns));
    if branches.len() > SHOWN {
        let line = format!(
            "and {} more branches, {} in all",
            branches.len() - SHOWN,
            branches.len()
        );
        wrapped(&mut out, "", &line, width);
    }
    for (branch, name) in branches.iter().zip(&vessel.names) {
        if branch.smoothing.narrowed_mm > 0.05 {
            let line = format!(
                "{name} bends more tightly than its lumen allows: its radius was taken down by up to {:.2} mm there.",
                branch.smoothing.narrowed_mm
            );
            wrapped(&mut out, "", &line, width);
        }
    }
    for (branch, name) in branches.iter().zip(&vessel.names).take(SHOWN) {
        let moved_mm = branch.smoothing.moved_mm;
        if moved_mm > SCATTER_MM {
            let line = format!(
                "{name}: its points scatter by {moved_mm:.2} mm about the smoothed line. Scatter of 0.15 mm at points 1 mm apart makes the sharpest bend up to a seventh too sharp or too gentle."
            );
            wrapped(&mut out, "", &line, width);
        }
    }
    let law = "What is smoothed has the least change of curvature in all that stays by the points; the strength was found by leaving points out in turn unless `--smooth` gave it.";
    wrapped(&mut out, "", law, width);
    out
}
