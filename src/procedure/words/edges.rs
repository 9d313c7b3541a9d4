//! What is told at the edges of stents, in plain words.

use super::said::{Said, mm, note, with};
use crate::procedure::edges::LEAST_STEP_MM;
use crate::procedure::reason::{Catching, Likelihood, StentEdge};

/// A share as per cent of the samples.
#[must_use]
pub fn samples(share: f64) -> String {
    let percent = 100.0 * share;
    if percent <= 0.0 {
        "in none of the samples".into()
    } else if percent < 0.1 {
        "in less than 0.1 % of samples".into()
    } else if percent < 10.0 {
        format!("in {percent:.1} % of samples")
    } else {
        format!("in {percent:.0} % of samples")
    }
}

pub(super) fn stent_edge(reason: &StentEdge) -> Said {
    match reason {
        StentEdge::PassesInside {
            device,
            stent,
            edge,
            cover,
            beyond_mm,
            under_load_mm,
            catching,
        } => crossed(
            format!(
                "the open {device} passes the {} of the {stent} inside the {cover}, whose tip lies {} mm beyond it, {} mm under load: {}",
                edge.in_words(),
                mm(*beyond_mm),
                mm(*under_load_mm),
                caught(catching)
            ),
            catching,
        ),
        StentEdge::DrawnBare {
            device,
            stent,
            edge,
            nearest,
            catching,
        } => {
            let by = left_bare_by(nearest.as_ref());
            crossed(
                format!(
                    "the open {device} is drawn bare across the {} of the {stent}: {by}; {}",
                    edge.in_words(),
                    caught(catching)
                ),
                catching,
            )
        }
        StentEdge::RimStandsOff {
            stent,
            edge,
            gap_mm,
        } => with(
            format!(
                "the {} of the {stent} stands off the wall by up to {gap_mm:.2} mm: what passes may go behind it",
                edge.in_words()
            ),
            "a wider or a softer stent, post-dilation, or an end in a straighter stretch",
        ),
        StentEdge::StepPasses {
            device,
            over,
            stent,
            edge,
            forward,
            faces,
            step_mm,
            behind_tip_mm,
            catching,
        } => {
            let over = over
                .as_ref()
                .map_or_else(String::new, |over| format!(" over the {over}"));
            let way = if *forward { "up" } else { "back" };
            let leaving = if *faces { "" } else { " as it leaves it" };
            let with = step_met(*step_mm, *behind_tip_mm, catching);
            crossed(
                format!(
                    "the {device}{over} goes {way} past the {} of the {stent}{leaving}: {with}",
                    edge.in_words()
                ),
                catching,
            )
        }
    }
}

/// Why nothing covers a crossing: the catheter that comes nearest, and where its tip lies.
fn left_bare_by(nearest: Option<&(String, f64)>) -> String {
    match nearest {
        None => "no catheter covers it".to_owned(),
        Some((cover, beyond_mm)) if *beyond_mm < 0.0 => {
            format!("the {cover}'s tip lies {} mm below it", mm(-beyond_mm))
        }
        Some((cover, beyond_mm)) => format!(
            "the {cover}'s tip, {} mm beyond it, falls back under the pull",
            mm(*beyond_mm)
        ),
    }
}

/// The step of a device that meets an edge, and how likely it catches.
fn step_met(step_mm: f64, behind_tip_mm: f64, catching: &Catching) -> String {
    if step_mm < LEAST_STEP_MM {
        return "no step meets it".to_owned();
    }
    let behind = if behind_tip_mm > 0.0 {
        format!(", {} mm behind its tip", mm(behind_tip_mm))
    } else {
        String::new()
    };
    format!("a step of {step_mm:.2} mm{behind}, {}", caught(catching))
}

/// How likely it is to be caught, with the share of samples beside it.
fn caught(catching: &Catching) -> String {
    let likelihood = catching.likelihood.in_words();
    format!("catching is {likelihood}, {}", samples(catching.share))
}

/// A crossing, with what would help where it may catch.
fn crossed(text: String, catching: &Catching) -> Said {
    let helps = &catching.helps;
    if catching.likelihood == Likelihood::Unlikely {
        return note(text);
    }
    if helps.is_empty() {
        return with(
            text,
            "cross it inside a catheter, or leave the stent until the clot is out",
        );
    }
    let helps = helps
        .iter()
        .map(|(what, share)| format!("{what} ({:.0} %)", 100.0 * share));
    with(text, helps.collect::<Vec<_>>().join("; or "))
}
