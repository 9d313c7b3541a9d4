//! The sign of a verdict, and the figures that are asked for first.

use super::Sheet;
use super::text::{Kind, length, minutes, percent};
use crate::device::Verdict as FitVerdict;
use crate::procedure::{Severity, Topic};
use crate::rehearsal::{Verdict, range_in_figures};
use maud::{Markup, html};

/// What stands for a verdict: its class, its sign and its word.
pub(super) const fn sign(verdict: Verdict) -> (&'static str, &'static str, &'static str) {
    match verdict {
        Verdict::Passes => ("good", "✓", "Passes"),
        Verdict::Fails => ("bad", "✗", "Fails"),
        Verdict::Undecided => ("weak", "?", "Undecided"),
    }
}

/// The handful of figures that are asked for first.
pub(super) fn figures(sheet: &Sheet<'_>) -> Markup {
    let outcome = sheet.outcome();
    let clock = &sheet.rehearsed.clock;
    let too_short = outcome.steps.iter().find(|s| {
        let mut found = s.findings.iter();
        found.any(|f| f.topic == Topic::Reach && f.severity == Severity::Failure)
    });
    let reach = outcome.reach.first();
    let passes = outcome.verdict == Verdict::Passes;
    let blind = outcome.longest_blind();
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
                div { dt { "Least to spare" } dd { b { (length(r.margin_mm, Kind::Way, 0)) } small { @if let Some(m) = outcome.sure.reach(&r.device) { "± " (length(m.spread_mm, Kind::Way, 0)) ", " } (r.device) ", " (sheet.step_link(r.step)) } } }
            }
            @if let Some(f) = fit {
                div { dt { "Tightest fit" } dd { b { (length(f.clearance_mm, Kind::Bore, 2)) } small { (f.inside.join(" beside ")) " in " (f.around) @if f.verdict == FitVerdict::DoesNotFit { ": does not fit" } ", " (sheet.step_link(f.step)) } } }
            }
            @if let Some(e) = blind {
                div { dt { "Nobody holds the rail for" } dd { b { (length(e.blind_mm, Kind::Way, 0)) } small { (e.rail) ", " (sheet.step_link(e.step)) } } }
            }
            @if let Some(e) = edge {
                div { dt { "Worst edge crossing" } dd { b { "catching " (e.likelihood.in_words()) } small { (percent(e.probability)) " of samples, no clinical rate; " (e.device) ", " (sheet.step_link(e.step)) } } }
            }
            @if let Some((step, d, load)) = pushed {
                div { dt { "Largest force at a hub" } dd { b { (super::text::fixed(load.hub_force_n, 1)) " N" } small { @if let Some(range) = range_in_figures(1.0, [load.hub_force_least_n, load.hub_force_most_n]) { (range) " N; " } (d.name) ", " (sheet.step_link(step)) } } }
            }
            @for lesion in outcome.lesions.iter().take(1) {
                div { dt { "Neck, NASCET" } dd { b { (super::text::fixed(lesion.nascet_before_percent, 0)) " → " (super::text::fixed(lesion.nascet_after_percent, 0)) " %" } small { "after: estimate" } } }
            }
        }
    }
}
