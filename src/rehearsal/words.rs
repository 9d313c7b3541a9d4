//! A rehearsal in plain words: the headline.

use super::edge_rows::{EDGE_CAUTION, EdgeRow};
use super::load_rows::range_in_figures;
use super::outcome::{ExchangeRow, FindingRow, Outcome, Verdict};
use super::verdict::{first_that_stands, undecided};
use super::weak_points::WeakPoint;
use crate::mechanics::Direction as Push;
use crate::procedure::reason::{Exchange, Reach};
use crate::procedure::{Direction, Meets, Reason, Severity, Topic, longer_mm, samples, spoken};
use crate::units::fixed;

/// Weak points on a first page.
const SHOWN_FIRST: usize = 3;

/// Headline of a plan that passes.
const PASSES: &str = "The plan passes.";

impl Outcome {
    /// The headline without what the word of the verdict says already: why, and what it rests on.
    pub fn reasons(&self) -> impl Iterator<Item = &str> {
        let lines = self.headline.iter().map(String::as_str);
        lines.filter(|line| *line != PASSES)
    }

    /// The step to look at first: where the plan breaks or stops being known, else that of the costliest weak point,
    /// else the last.
    #[must_use]
    pub fn telling_step(&self) -> usize {
        let breaks = self.breaks().map(|(step, _)| step);
        let weak = || self.weak_points.first().map(|p| p.step);
        breaks.or_else(weak).unwrap_or(self.steps.len().max(1))
    }

    /// The step and the finding on which a plan breaks, or with which it stops being known.
    #[must_use]
    pub fn breaks(&self) -> Option<(usize, &FindingRow)> {
        match self.verdict {
            Verdict::Passes => None,
            Verdict::Fails => first_that_stands(&self.steps),
            Verdict::Undecided => undecided(&self.steps).next(),
        }
    }

    /// The exchange with the longest way on which nobody holds the rail; none where it is held all along.
    #[must_use]
    pub fn longest_blind(&self) -> Option<&ExchangeRow> {
        let blind = self.exchanges.iter().filter(|e| e.blind_mm > 0.0);
        blind.max_by(|a, b| a.blind_mm.total_cmp(&b.blind_mm))
    }

    /// What the numbers rest on, in a sentence.
    #[must_use]
    pub fn rests_on(&self) -> String {
        let (measured, assumed) = self.vessel.counts();
        format!(
            "Of the vessel {measured} values are measured and {assumed} assumed; forces are known to a factor of about three."
        )
    }

    /// A title, and the costliest weak points that the headline has not told already, as a first page shows them.
    #[must_use]
    pub fn costliest(&self) -> (String, Vec<&WeakPoint>) {
        let mut left = self.weak_points_left();
        let all = left.len();
        left.truncate(SHOWN_FIRST);
        let title = match all > left.len() {
            true => format!("Weak points, the {} costliest of {all}", left.len()),
            false => "Weak points".to_owned(),
        };
        (title, left)
    }

    /// The weak points that the headline has not told already.
    fn weak_points_left(&self) -> Vec<&WeakPoint> {
        let told = |point: &WeakPoint| {
            let first = self.headline.first();
            point.severity >= Severity::Undecided
                && first.is_some_and(|line| line.contains(&point.text))
        };
        self.weak_points.iter().filter(|p| !told(p)).collect()
    }
}

/// The verdict, why, and whether everything reaches.
pub(super) fn headline(outcome: &Outcome) -> Vec<String> {
    let mut lines = verdict_lines(outcome);
    lines.extend(shortfall_line(outcome));
    if outcome.verdict == Verdict::Passes {
        lines.extend(reach_line(outcome));
    }
    lines.extend(rail_line(outcome));
    lines
}

/// A rail in nobody's hand that is nearly lost: what drags on it, and what holds it.
fn rail_line(outcome: &Outcome) -> Option<String> {
    let told = outcome
        .steps
        .iter()
        .flat_map(|s| s.findings.iter().map(move |f| (s.number, f)));
    let nearly_lost = told.filter(|(_, f)| f.severity == Severity::Warning);
    let dragged = nearly_lost.filter_map(|(step, f)| match &f.reason {
        Reason::Exchange(Exchange::RailDragged {
            rail,
            device,
            drag_n,
            holds_n,
            flush_n,
        }) => Some((step, rail, device, drag_n - flush_n, *holds_n)),
        _ => None,
    });
    let (step, rail, device, drag_n, holds_n) =
        dragged.max_by(|a, b| (a.3 / a.4).total_cmp(&(b.3 / b.4)))?;
    Some(format!(
        "The {rail} is nearly lost as a rail: the {device} drags on it with {} N at step {step}, it holds with {} N.",
        fixed(drag_n, 2),
        fixed(holds_n, 2)
    ))
}

/// The numbers behind it, one of a kind.
pub(super) fn numbers(outcome: &Outcome) -> Vec<String> {
    let mut lines = Vec::new();
    if outcome.verdict != Verdict::Passes {
        lines.extend(reach_line(outcome));
    }
    lines.extend(force_line(outcome));
    lines.extend(blind_line(outcome));
    lines.extend(fit_line(outcome));
    lines.extend(edge_lines(outcome));
    lines.extend(access_lines(outcome));
    lines.extend(ruler_line(outcome));
    lines
}

/// The verdict and what it rests on.
fn verdict_lines(outcome: &Outcome) -> Vec<String> {
    let mut lines = Vec::new();
    match outcome.verdict {
        Verdict::Passes if outcome.by_ruler => lines.push(
            "The plan passes by ruler: lengths along the centre line, without forces.".into(),
        ),
        Verdict::Passes => lines.push(PASSES.into()),
        Verdict::Fails => {
            if let Some((step, finding)) = first_that_stands(&outcome.steps) {
                lines.push(format!("The plan breaks at step {step}: {}.", finding.text));
                lines.extend(helps(finding));
            }
            let told = outcome.steps.iter().flat_map(|s| &s.findings);
            let failures = told.filter(|f| f.severity == Severity::Failure).count();
            if failures > 1 {
                lines.push(format!(
                    "{} further failure{} at later steps or in the same one.",
                    failures - 1,
                    if failures == 2 { "" } else { "s" }
                ));
            }
        }
        Verdict::Undecided => {
            let mut unknown = undecided(&outcome.steps);
            if let Some((step, finding)) = unknown.next() {
                lines.push(format!(
                    "Whether the plan holds is not known. Step {step}: {}.",
                    finding.text
                ));
                lines.extend(helps(finding));
            }
            match unknown.count() {
                0 => {}
                1 => lines.push(
                    "One further thing is not known at a later step or in the same one.".into(),
                ),
                n => lines.push(format!(
                    "{n} further things are not known at later steps or in the same one."
                )),
            }
        }
    }
    lines
}

fn helps(finding: &FindingRow) -> Option<String> {
    let help = finding.help.as_ref()?;
    Some(format!("What would help: {help}."))
}

/// The worst shortfall of all steps, and the length of device that would do, unless the plan breaks on just that.
fn shortfall_line(outcome: &Outcome) -> Option<String> {
    let told = outcome
        .steps
        .iter()
        .flat_map(|s| s.findings.iter().map(move |f| (s.number, f)));
    let short = told.filter_map(|(step, finding)| match &finding.reason {
        Reason::Reach(Reach::TooShort {
            device,
            short_mm,
            usable_mm,
            ..
        }) => Some((step, device, *short_mm, *usable_mm)),
        _ => None,
    });
    let (step, device, short_mm, usable_mm) = short.max_by(|a, b| a.2.total_cmp(&b.2))?;
    let told = outcome.breaks().is_some_and(|(breaks, finding)| {
        let of_it = |r: &Reason| matches!(r, Reason::Reach(Reach::TooShort { device: d, .. }) if d == device);
        breaks == step && of_it(&finding.reason)
    });
    if told {
        return None;
    }
    Some(format!(
        "The worst shortfall is {} mm (the {device}, at step {step}): a {device} of {} mm would do, it has {}.",
        fixed(short_mm, 0),
        fixed(longer_mm(usable_mm, short_mm), 0),
        fixed(usable_mm, 0)
    ))
}

/// The least that is to spare; only a plan that passes is known to reach everywhere.
fn reach_line(outcome: &Outcome) -> Option<String> {
    let row = outcome.reach.first()?;
    let sure = outcome.sure.reach(&row.device);
    let spread = sure.map_or_else(String::new, |m| format!(" ± {}", fixed(m.spread_mm, 0)));
    let chance = outcome.sure.chance_in_words();
    let chance = chance.map_or_else(String::new, |words| format!("; {words}"));
    if outcome.verdict == Verdict::Passes {
        return Some(format!(
            "Every device reaches, with {} mm to spare{spread} (the {}, at step {}){chance}.",
            fixed(row.margin_mm, 0),
            row.device,
            row.step
        ));
    }
    let told = outcome.steps.iter().flat_map(|s| &s.findings);
    let short = told
        .filter(|f| f.severity == Severity::Failure)
        .any(|f| f.topic == Topic::Reach);
    (!short).then(|| {
        format!(
            "Of what was done, the {} has least to spare: {} mm{spread}, at step {}{chance}.",
            row.device,
            fixed(row.margin_mm, 0),
            row.step
        )
    })
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
    let ends = [load.hub_force_least_n, load.hub_force_most_n];
    let range = range_in_figures(1.0, ends).map_or_else(String::new, |range| {
        format!(", {range} N with friction and stiffness at their least and most")
    });
    let lost = load
        .lost
        .first()
        .map_or_else(String::new, |l| format!(", most of it lost {}", l.at));
    Some(format!(
        "The hardest push is {:.2} N at the hub of the {} (step {step}){range}{lost}.",
        load.hub_force_n, device.name
    ))
}

fn blind_line(outcome: &Outcome) -> Option<String> {
    let longest = outcome.longest_blind()?;
    let blind = outcome.exchanges.iter().filter(|e| e.blind_mm > 0.0);
    let also = match blind.count() {
        1 => String::new(),
        n => format!(" ({n} such exchanges in all)"),
    };
    Some(format!(
        "Nobody holds the {} for {} cm while the {} goes {}, at step {}{also}.",
        longest.rail,
        fixed(0.1 * longest.blind_mm, 0),
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
        let (edge, caught) = (row.edge.in_words(), caught(row));
        lines.push(match (&row.covered_by, row.cover_mm) {
            (Some(by), Some(cover_mm)) if row.shielded => format!(
                "The open {} passes the {edge} of the {} inside the {by}, whose tip lies {cover_mm:.0} mm beyond it, {:.0} mm under load: {caught} (step {}).",
                row.device,
                row.stent,
                row.cover_under_load_mm.unwrap_or(0.0),
                row.step
            ),
            _ => format!(
                "The open {} is drawn bare across the {edge} of the {}: {caught} (step {}).",
                row.device, row.stent, row.step
            ),
        });
    }
    let others = outcome.edges.iter().filter(|e| e.meets != Meets::Struts);
    if let Some(row) = others.max_by(by_chance).filter(|e| e.probability > 0.0) {
        lines.push(format!(
            "The weakest other crossing is the {} at the {} of the {}: {} (step {}).",
            row.device,
            row.edge.in_words(),
            row.stent,
            caught(row),
            row.step
        ));
    }
    lines.extend(outcome.counterfactuals.iter().cloned());
    if !lines.is_empty() {
        lines.push(EDGE_CAUTION.to_owned());
    }
    lines
}

/// How likely a crossing catches, with the share of samples beside it.
fn caught(row: &EdgeRow) -> String {
    format!(
        "catching is {}, {}",
        row.likelihood.in_words(),
        samples(row.probability)
    )
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
                spoken(&lesion.name),
                lesion.crossings
            )
        })
        .collect()
}
