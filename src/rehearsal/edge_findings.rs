//! What a judged crossing of a stent's edge is told as.

use crate::procedure::reason::{Catching, StentEdge};
use crate::procedure::{EdgeReport, Finding, Likelihood, Meets, Plan, Severity, State};

/// What a crossing is told as: what is likely to catch breaks the plan, whatever device it is; what may
/// catch is a weak point.
pub(super) fn edge_finding(plan: &Plan, before: &State, report: &EdgeReport) -> Finding {
    let passage = &report.passage;
    let name = |k: usize| plan.devices[k].name.clone();
    let (device, stent) = (
        name(passage.device),
        name(before.stents[passage.stent].device),
    );
    let edge = passage.kind;
    let likelihood = report.likelihood(&plan.rules.edge);
    let helps: Vec<(String, f64)> = report
        .helps
        .iter()
        .map(|h| (h.what.in_words(plan), h.share.probability))
        .collect();
    let catching = Catching {
        share: report.share.probability,
        likelihood,
        helps,
    };
    let reason = match (passage.meets, passage.cover) {
        (Meets::Struts, Some(cover)) if report.shielded() => StentEdge::PassesInside {
            device,
            stent,
            edge,
            cover: name(cover.device),
            beyond_mm: cover.beyond_mm,
            under_load_mm: report.under_load_mm.unwrap_or(0.0),
            catching,
        },
        (Meets::Struts, cover) => StentEdge::DrawnBare {
            device,
            stent,
            edge,
            nearest: cover.map(|c| (name(c.device), c.beyond_mm)),
            catching,
        },
        (_, _) => StentEdge::StepPasses {
            device,
            over: passage.riding_on.map(name),
            stent,
            edge,
            forward: passage.forward,
            faces: passage.faces,
            step_mm: report.crossing.ledge.height_mm(),
            behind_tip_mm: passage.tip_mm() - passage.station_mm,
            catching,
        },
    };
    let severity = match likelihood {
        Likelihood::Likely => Severity::Failure,
        Likelihood::Possible => Severity::Warning,
        Likelihood::Unlikely => Severity::Note,
    };
    Finding::new(severity, reason)
}
