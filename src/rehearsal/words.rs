//! A rehearsal in plain words: the headline.

use super::edge_rows::{EDGE_CAUTION, EdgeRow};
use super::outcome::{Outcome, Verdict};
use crate::mechanics::Direction as Push;
use crate::procedure::{Direction, Meets, Severity, Topic};

/// Verdict first, then what breaks or is weak, the gravest first.
pub(super) fn headline(outcome: &Outcome) -> Vec<String> {
    let mut lines = Vec::new();
    let failures = outcome
        .steps
        .iter()
        .flat_map(|s| s.findings.iter().map(move |f| (s.number, f)))
        .filter(|(_, f)| f.severity == Severity::Failure);
    let (mut count, mut first) = (0, None);
    for failure in failures {
        count += 1;
        first = first.or(Some(failure));
    }
    match (outcome.verdict, first) {
        (Verdict::Passes, _) | (_, None) => lines.push("The plan passes.".to_owned()),
        (Verdict::Fails, Some((step, finding))) => {
            lines.push(format!("The plan breaks at step {step}: {}.", finding.text));
            if let Some(help) = &finding.help {
                lines.push(format!("What would help: {help}."));
            }
            if count > 1 {
                lines.push(format!(
                    "{} further failure{} at later steps or in the same one.",
                    count - 1,
                    if count == 2 { "" } else { "s" }
                ));
            }
        }
    }
    lines.extend(reach_line(outcome));
    lines.extend(ruler_line(outcome));
    lines.extend(force_line(outcome));
    lines.extend(blind_line(outcome));
    lines.extend(fit_line(outcome));
    lines.extend(edge_lines(outcome));
    lines.extend(access_lines(outcome));
    lines
}

fn reach_line(outcome: &Outcome) -> Option<String> {
    // The access sheath is meant to go in to its hub: it says nothing about reach.
    let row = outcome.reach.iter().find(|r| r.margin_mm > 0.5)?;
    if outcome
        .steps
        .iter()
        .flat_map(|s| &s.findings)
        .any(|f| f.severity == Severity::Failure && f.topic == Topic::Reach)
    {
        return None;
    }
    Some(format!(
        "Every device reaches, with {:.0} mm to spare (the {}, at step {}).",
        row.margin_mm, row.device, row.step
    ))
}

/// What a ruler on the centre line would have got wrong, at its worst.
fn ruler_line(outcome: &Outcome) -> Option<String> {
    let rows = outcome
        .steps
        .iter()
        .flat_map(|s| s.devices.iter().map(move |d| (s.number, d)));
    let (step, row) = rows.max_by(|a, b| a.1.ruler_error_mm.total_cmp(&b.1.ruler_error_mm))?;
    (row.ruler_error_mm > 0.5).then(|| {
        format!(
            "A ruler on the centre line would be off by up to {:.0} mm (the {}, at step {step}).",
            row.ruler_error_mm, row.name
        )
    })
}

/// The hardest push and where it is lost.
fn force_line(outcome: &Outcome) -> Option<String> {
    let rows = outcome
        .steps
        .iter()
        .flat_map(|s| s.devices.iter().map(move |d| (s.number, d)));
    let pushes = rows.filter_map(|(step, d)| Some((step, d, d.load.as_ref()?)));
    let (step, device, load) = pushes
        .filter(|(_, _, l)| l.direction == Push::Push)
        .max_by(|a, b| a.2.hub_force_n.total_cmp(&b.2.hub_force_n))?;
    let lost = load
        .lost
        .first()
        .map_or_else(String::new, |l| format!(", most of it lost {}", l.at));
    Some(format!(
        "The hardest push is {:.2} N at the hub of the {} (step {step}){lost}.",
        load.hub_force_n, device.name
    ))
}

fn blind_line(outcome: &Outcome) -> Option<String> {
    let blind: Vec<_> = outcome
        .exchanges
        .iter()
        .filter(|e| e.blind_mm > 0.0)
        .collect();
    let longest = blind
        .iter()
        .max_by(|a, b| a.blind_mm.total_cmp(&b.blind_mm))?;
    let also = match blind.len() {
        1 => String::new(),
        n => format!(" ({n} such exchanges in all)"),
    };
    Some(format!(
        "The {} is out of hand for {:.0} mm while the {} goes {}, at step {}{also}.",
        longest.rail,
        longest.blind_mm,
        longest.device,
        match longest.direction {
            Direction::Loading => "in",
            Direction::Removal => "out",
        },
        longest.step
    ))
}

fn fit_line(outcome: &Outcome) -> Option<String> {
    let row = outcome.fits.first()?;
    (row.clearance_mm > 0.0).then(|| {
        format!(
            "The tightest fit is the {} in the {}: {:.2} mm of clearance ({:.2} mm with tolerances), at step {}.",
            row.inside.join(" beside the "),
            row.around,
            row.clearance_mm,
            row.worst_clearance_mm,
            row.step
        )
    })
}

/// What the plan rests on at stent edges: how the open retriever stays covered, the weakest other
/// crossing, and what the crossing would be otherwise.
fn edge_lines(outcome: &Outcome) -> Vec<String> {
    let mut lines = Vec::new();
    let by_chance = |a: &&EdgeRow, b: &&EdgeRow| a.probability.total_cmp(&b.probability);
    let cover = |e: &EdgeRow| e.cover_under_load_mm.unwrap_or(f64::NEG_INFINITY);
    let struts = outcome.edges.iter().filter(|e| e.meets == Meets::Struts);
    // of equal chances the one that is covered least
    let weakest = struts.max_by(|a, b| by_chance(a, b).then(cover(b).total_cmp(&cover(a))));
    if let Some(row) = weakest {
        let (edge, caught) = (row.edge.in_words(), 100.0 * row.probability);
        lines.push(match (&row.covered_by, row.cover_mm) {
            (Some(by), Some(cover_mm)) if row.shielded => format!(
                "The open {} passes the {edge} of the {} inside the {by}, whose tip lies {cover_mm:.0} mm beyond it, {:.0} mm under load: caught in {caught:.1} % of samples (step {}).",
                row.device,
                row.stent,
                row.cover_under_load_mm.unwrap_or(0.0),
                row.step
            ),
            _ => format!(
                "The open {} is drawn bare across the {edge} of the {}: clearance {:+.2} mm, caught in {caught:.0} % of samples (step {}).",
                row.device, row.stent, row.clearance_mm, row.step
            ),
        });
    }
    let others = outcome.edges.iter().filter(|e| e.meets != Meets::Struts);
    if let Some(row) = others.max_by(by_chance).filter(|e| e.probability > 0.0) {
        lines.push(format!(
            "The weakest other crossing is the {} at the {} of the {}: clearance {:+.2} mm, caught in {:.0} % of samples (step {}).",
            row.device,
            row.edge.in_words(),
            row.stent,
            row.clearance_mm,
            100.0 * row.probability,
            row.step
        ));
    }
    lines.extend(outcome.counterfactuals.iter().cloned());
    if !lines.is_empty() {
        lines.push(EDGE_CAUTION.to_owned());
    }
    lines
}

fn access_lines(outcome: &Outcome) -> Vec<String> {
    outcome
        .lesions
        .iter()
        .map(|lesion| {
            let lost: Vec<String> = outcome
                .steps
                .iter()
                .filter(|s| s.access.iter().any(|a| a.lesion == lesion.name && a.lost))
                .map(|s| s.number.to_string())
                .collect();
            let held = match lost.first() {
                None => "access is never given up".to_owned(),
                Some(first) => format!("nothing holds the way across it from step {first} on"),
            };
            format!(
                "{}: crossed {} times, {held}.",
                lesion.name, lesion.crossings
            )
        })
        .collect()
}
