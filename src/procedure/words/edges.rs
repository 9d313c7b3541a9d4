//! What is told at the edges of stents, in plain words.

use super::said::{Said, mm, note, with};
use crate::procedure::edges::LEAST_STEP_MM;
use crate::procedure::reason::{Likelihood, StentEdge};

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
            share,
            likelihood,
            helps,
        } => crossed(
            format!(
                "the open {device} passes the {} of the {stent} inside the {cover}, whose tip lies {} mm beyond it, {} mm under load: {}",
                edge.in_words(),
                mm(*beyond_mm),
                mm(*under_load_mm),
                caught(*likelihood, *share)
            ),
            *likelihood,
            helps,
        ),
        StentEdge::DrawnBare {
            device,
            stent,
            edge,
            nearest,
            share,
            likelihood,
            helps,
        } => {
            let by = match nearest {
                None => "no catheter covers it".to_owned(),
                Some((cover, beyond_mm)) if *beyond_mm < 0.0 => {
                    format!("the {cover}'s tip lies {} mm below it", mm(-beyond_mm))
                }
                Some((cover, beyond_mm)) => format!(
                    "the {cover}'s tip, {} mm beyond it, falls back under the pull",
                    mm(*beyond_mm)
                ),
            };
            crossed(
                format!(
                    "the open {device} is drawn bare across the {} of the {stent}: {by}; {}",
                    edge.in_words(),
                    caught(*likelihood, *share)
                ),
                *likelihood,
                helps,
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
            share,
            likelihood,
            helps,
        } => {
            let over = over
                .as_ref()
                .map_or_else(String::new, |over| format!(" over the {over}"));
            let way = if *forward { "up" } else { "back" };
            let leaving = if *faces { "" } else { " as it leaves it" };
            let with = if *step_mm < LEAST_STEP_MM {
                "no step meets it".to_owned()
            } else {
                let behind = if *behind_tip_mm > 0.0 {
                    format!(", {} mm behind its tip", mm(*behind_tip_mm))
                } else {
                    String::new()
                };
                let caught = caught(*likelihood, *share);
                format!("a step of {step_mm:.2} mm{behind}, {caught}")
            };
            crossed(
                format!(
                    "the {device}{over} goes {way} past the {} of the {stent}{leaving}: {with}",
                    edge.in_words()
                ),
                *likelihood,
                helps,
            )
        }
    }
}

/// How likely it is to be caught, with the share of samples beside it.
fn caught(likelihood: Likelihood, share: f64) -> String {
    format!("catching is {}, {}", likelihood.in_words(), samples(share))
}

/// A crossing, with what would help where it may catch.
fn crossed(text: String, likelihood: Likelihood, helps: &[(String, f64)]) -> Said {
    if likelihood == Likelihood::Unlikely {
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
