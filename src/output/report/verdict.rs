//! Verdict and weak points in plain words.

use super::Sheet;
use super::text::{Kind, length, minutes, percent, prose, sentence};
use crate::device::Verdict as FitVerdict;
use crate::procedure::{Severity, Topic};
use crate::rehearsal::{FindingRow, Outcome, Verdict};
use maud::{Markup, html};

/// Weak points shown at the top.
const SHOWN: usize = 3;

/// One weak point.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Point<'a> {
    /// Step it belongs to, from 1.
    pub(super) step: usize,
    /// What was found there.
    pub(super) finding: &'a FindingRow,
}

/// The two or three things to look at: failures in the order of the script, else the gravest warning
/// of each kind.
pub(super) fn points(outcome: &Outcome) -> Vec<Point<'_>> {
    let all = |severity: Severity| {
        outcome
            .steps
            .iter()
            .flat_map(|s| s.findings.iter().map(move |f| (s.number, f)))
            .filter(move |(_, f)| f.severity == severity)
            .map(|(step, finding)| Point { step, finding })
    };
    let mut points: Vec<Point<'_>> = all(Severity::Failure).collect();
    // a failure that rests on estimated lengths says less than why they are estimated
    if outcome.verdict == Verdict::Undecided {
        points = all(Severity::Undecided).collect();
    }
    // what a step finds missing follows from what broke before it
    if points
        .iter()
        .any(|p| p.finding.topic != Topic::Precondition)
    {
        points.retain(|p| p.finding.topic != Topic::Precondition);
    }
    // one of a kind is enough to see what breaks
    let mut seen: Vec<Topic> = Vec::new();
    points.retain(|p| {
        let new = !seen.contains(&p.finding.topic);
        seen.push(p.finding.topic);
        new
    });
    let mut warnings: Vec<Point<'_>> = Vec::new();
    for point in all(Severity::Warning) {
        let topic = point.finding.topic;
        if points.iter().any(|p| p.finding.topic == topic) {
            continue;
        }
        match warnings.iter_mut().find(|p| p.finding.topic == topic) {
            None => warnings.push(point),
            Some(kept) if weight(outcome, &point) > weight(outcome, kept) => *kept = point,
            Some(_) => {}
        }
    }
    warnings.sort_by_key(|p| rank(p.finding.topic));
    points.extend(warnings);
    points.truncate(SHOWN);
    points
}

/// Which kind of weak point a rehearsal is about, the most telling first.
fn rank(topic: Topic) -> usize {
    [
        Topic::Reach,
        Topic::Access,
        Topic::StentEdge,
        Topic::Exchange,
        Topic::Fit,
        Topic::Unknown,
        Topic::Force,
        Topic::Vessel,
        Topic::Lesion,
        Topic::Treatment,
        Topic::Lumen,
        Topic::Image,
        Topic::Precondition,
    ]
    .iter()
    .position(|t| *t == topic)
    .unwrap_or(usize::MAX)
}

/// How bad a warning is among those of its kind.
fn weight(outcome: &Outcome, point: &Point<'_>) -> f64 {
    let step = point.step;
    match point.finding.topic {
        Topic::StentEdge => outcome
            .edges
            .iter()
            .filter(|e| e.step == step)
            .map(|e| e.probability)
            .fold(0.0, f64::max),
        Topic::Exchange => outcome
            .exchanges
            .iter()
            .filter(|e| e.step == step)
            .map(|e| e.blind_mm)
            .fold(0.0, f64::max),
        Topic::Fit => outcome
            .fits
            .iter()
            .filter(|f| f.step == step)
            .map(|f| -f.clearance_mm)
            .fold(f64::NEG_INFINITY, f64::max),
        _ => 0.0,
    }
}

/// A kind of finding as a heading.
pub(super) const fn heading(finding: &FindingRow) -> &'static str {
    let fails = matches!(finding.severity, Severity::Failure);
    match finding.topic {
        Topic::Reach if fails => "Does not reach",
        Topic::Reach => "Reach",
        Topic::Fit if fails => "Does not fit",
        Topic::Fit => "Tight fit",
        Topic::Vessel => "Device against vessel",
        Topic::Lesion => "At the lesion",
        Topic::Exchange => "Rail out of hand",
        Topic::Precondition => "Step cannot be done",
        Topic::Access => "Access lost",
        Topic::Treatment => "Treatment",
        Topic::StentEdge => "At the stent's edge",
        Topic::Force => "Force",
        Topic::Unknown => "Not known",
        Topic::Lumen => "Lumen blocked",
        Topic::Image => "Out of sight",
    }
}

/// Step to show first: that of the gravest point.
pub(super) fn first_step(outcome: &Outcome) -> usize {
    points(outcome)
        .first()
        .map_or(outcome.steps.len().max(1), |p| p.step)
}

/// What stands for a verdict: its class, its sign and its word.
pub(super) const fn sign(verdict: Verdict) -> (&'static str, &'static str, &'static str) {
    match verdict {
        Verdict::Passes => ("good", "✓", "Passes"),
        Verdict::Fails => ("bad", "✗", "Fails"),
        Verdict::Undecided => ("weak", "?", "Undecided"),
    }
}

/// The top of the page.
pub(super) fn section(sheet: &Sheet<'_>) -> Markup {
    let outcome = sheet.outcome();
    let points = points(outcome);
    let (class, sign, word) = sign(outcome.verdict);
    html! {
        (super::eyebrow("Rehearsal"))
        h1 { (outcome.scene) }
        p.about { (outcome.about) }
        p.about { "Vessel: " (outcome.vessel.name) }
        div class={ "verdict " (class) } {
            span.sign aria-hidden="true" { (sign) }
            div {
                p.word { (word) @if outcome.by_ruler { " (by ruler)" } }
                p { (summary(outcome, points.len())) }
            }
        }
        @if !points.is_empty() {
            h2.small-head { @match outcome.verdict {
                Verdict::Passes => "Weak points",
                Verdict::Fails => "What breaks, what is weak",
                Verdict::Undecided => "What is not known, what is weak",
            } }
            ol.points {
                @for point in &points {
                    @let bad = point.finding.severity == Severity::Failure;
                    li.bad[bad].weak[!bad] {
                        h3 { @if bad { "Breaks: " } (heading(point.finding)) }
                        p { (prose(&sentence(&point.finding.text))) }
                        @if let Some(help) = &point.finding.help {
                            p.help { b { "What would help: " } (prose(help)) "." }
                        }
                        p { (sheet.step_link(point.step)) }
                    }
                }
            }
        }
        (figures(sheet))
        details {
            summary { "All of it in plain words" }
            ul {
                @for line in &outcome.headline { li { (prose(line)) } }
            }
        }
    }
}

fn summary(outcome: &Outcome, shown: usize) -> Markup {
    let count = |severity: Severity| {
        let findings = outcome.steps.iter().flat_map(|s| &s.findings);
        findings.filter(|f| f.severity == severity).count()
    };
    let (failures, warnings) = (count(Severity::Failure), count(Severity::Warning));
    let worst = match outcome.verdict {
        Verdict::Undecided => Severity::Undecided,
        Verdict::Passes | Verdict::Fails => Severity::Failure,
    };
    let first = outcome
        .steps
        .iter()
        .find(|s| s.findings.iter().any(|f| f.severity == worst));
    html! {
        @match first {
            Some(step) if outcome.verdict == Verdict::Undecided => {
                "Whether the plan holds is not known: step " (step.number) " of " (outcome.steps.len()) ", " (step.say) ", could not be solved. "
                "Neither a pass nor a failure."
            }
            Some(step) => {
                "The plan breaks at step " (step.number) " of " (outcome.steps.len()) ": " (step.say) ". "
                (failures) @if failures == 1 { " failure" } @else { " failures" } " in all, "
                (warnings) @if warnings == 1 { " warning." } @else { " warnings." }
            }
            None => {
                "All " (outcome.steps.len()) " steps can be done as planned. "
                @if warnings == 0 { "No warnings." } @else if warnings == 1 { "One warning." } @else {
                    (warnings) " warnings; "
                    @if shown < warnings { "the gravest " (shown) " are below, all of them by step further down." } @else { "all of them are below." }
                }
            }
        }
    }
}

/// The handful of figures that are asked for first.
fn figures(sheet: &Sheet<'_>) -> Markup {
    let outcome = sheet.outcome();
    let clock = &sheet.rehearsed.clock;
    let too_short = outcome.steps.iter().find(|s| {
        let mut found = s.findings.iter();
        found.any(|f| f.topic == Topic::Reach && f.severity == Severity::Failure)
    });
    let reach = outcome.reach.first();
    let passes = outcome.verdict == Verdict::Passes;
    let blind = outcome
        .exchanges
        .iter()
        .max_by(|a, b| a.blind_mm.total_cmp(&b.blind_mm))
        .filter(|e| e.blind_mm > 0.0);
    let fit = outcome.fits.first();
    let edge = super::edge::chosen(sheet)
        .into_iter()
        .max_by(|a, b| a.probability.total_cmp(&b.probability));
    let pushed = outcome
        .steps
        .iter()
        .flat_map(|s| s.devices.iter().map(move |d| (s.number, d)))
        .filter_map(|(step, d)| Some((step, d, d.load.as_ref()?)))
        .max_by(|a, b| a.2.hub_force_n.total_cmp(&b.2.hub_force_n));
    html! {
        dl.figures {
            @if let Some(p) = clock.spread.reperfusion {
                div { dt { "Puncture to reperfusion" } dd { b { (minutes(p.p50_s)) " min" } small { (minutes(p.p10_s)) " to " (minutes(p.p90_s)) " undisturbed" @if let Some(mean_s) = clock.disturbed.as_ref().and_then(|d| d.reperfusion_mean_s) { ", " (minutes(mean_s)) " on average with failed tries" } @if !passes { ", as if nothing broke" } } } }
            }
            @if let Some(step) = too_short {
                div { dt { "Least to spare" } dd { b { "none" } small { "too short, " (sheet.step_link(step.number)) } } }
            } @else if let Some(r) = reach {
                div { dt { "Least to spare" } dd { b { (length(r.margin_mm, Kind::Way, 0)) } small { (r.device) ", " (sheet.step_link(r.step)) } } }
            }
            @if let Some(f) = fit {
                div { dt { "Tightest fit" } dd { b { (length(f.clearance_mm, Kind::Bore, 2)) } small { (f.inside.join(" beside ")) " in " (f.around) @if f.verdict == FitVerdict::DoesNotFit { ": does not fit" } ", " (sheet.step_link(f.step)) } } }
            }
            @if let Some(e) = blind {
                div { dt { "Longest rail out of hand" } dd { b { (length(e.blind_mm, Kind::Way, 0)) } small { (e.rail) ", " (sheet.step_link(e.step)) } } }
            }
            @if let Some(e) = edge {
                div { dt { "Worst edge crossing" } dd { b { "catching " (e.likelihood.in_words()) } small { (percent(e.probability)) " of samples, no clinical rate; " (e.device) ", " (sheet.step_link(e.step)) } } }
            }
            @if let Some((step, d, load)) = pushed {
                div { dt { "Largest force at a hub" } dd { b { (super::text::fixed(load.hub_force_n, 1)) " N" } small { (d.name) ", " (sheet.step_link(step)) } } }
            }
            @for lesion in outcome.lesions.iter().take(1) {
                div { dt { "Neck, NASCET" } dd { b { (super::text::fixed(lesion.nascet_before_percent, 0)) " → " (super::text::fixed(lesion.nascet_after_percent, 0)) " %" } small { "after: estimate" } } }
            }
        }
    }
}
