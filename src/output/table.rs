//! A rehearsal as a table for people: verdict, weak points, steps, fits, exchanges.

use super::edges::stent_sections;
use super::grid::Grid;
use crate::device::Verdict as FitVerdict;
use crate::mechanics::Direction;
use crate::procedure::reason::{Force, Reason};
use crate::procedure::{Direction as ExchangeDirection, Severity, spoken};
use crate::rehearsal::{DeviceRow, FindingRow, Outcome, StepRow, Verdict, WeakPoint};
use crate::units::fixed;
use std::fmt::Write as _;

/// Lines of fits shown when none of them is tight: the tightest ones.
const FITS_SHOWN: usize = 8;

/// Which parts of a rehearsal are told beside its verdict.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is asked for on its own"
)]
pub struct Parts {
    /// Every margin with its spread and what causes it.
    pub sure: bool,
    /// Every step with what it moves.
    pub steps: bool,
    /// Every failure, warning and note.
    pub findings: bool,
    /// What runs in what, and every exchange.
    pub fits: bool,
    /// Stents, their edges, pulls and suction.
    pub edges: bool,
    /// Who holds the way across lesion and clot.
    pub held: bool,
    /// The clock.
    pub clock: bool,
}

impl Parts {
    /// All of them.
    pub const ALL: Self = Self {
        sure: true,
        steps: true,
        findings: true,
        fits: true,
        edges: true,
        held: true,
        clock: true,
    };

    /// Whether any is asked for.
    #[must_use]
    pub fn any(self) -> bool {
        self != Self::default()
    }
}

/// The verdict and the parts that are asked for, for a terminal of `columns` characters: verdict before numbers, and
/// every state told by a word, never by colour.
#[must_use]
pub fn rehearsal_text(outcome: &Outcome, parts: Parts, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    wrapped(&mut out, "", &outcome.scene, width);
    if parts == Parts::ALL {
        wrapped(&mut out, "", &outcome.about, width);
    }
    wrapped(&mut out, "vessel: ", &outcome.vessel.name, width);
    let _ = writeln!(out, "\n{}", verdict_words(outcome));
    for line in &outcome.headline {
        wrapped(&mut out, "  ", line, width);
    }
    if parts == Parts::ALL {
        numbers(&mut out, outcome, width);
    }
    if parts.sure {
        how_sure(&mut out, outcome, width);
    }
    if parts.steps {
        section(&mut out, "Steps");
        out.push_str(&steps_table(outcome, columns));
    }
    if parts.findings {
        findings(&mut out, outcome, width, "Failures", Severity::Failure);
        findings(&mut out, outcome, width, "Not known", Severity::Undecided);
        findings(&mut out, outcome, width, "Warnings", Severity::Warning);
        findings(&mut out, outcome, width, "Notes", Severity::Note);
    }
    if parts.fits {
        section(&mut out, "What runs in what (diametral clearance, mm)");
        out.push_str(&fits_table(outcome, columns));
        if !outcome.exchanges.is_empty() {
            section(&mut out, "Exchanges (mm)");
            out.push_str(&exchanges_table(outcome, columns));
        }
    }
    if parts.edges {
        stent_sections(&mut out, outcome, columns);
    }
    if parts.held {
        lesions(&mut out, outcome, width);
    }
    out
}

/// What every text of a rehearsal ends with: how it was had, where everything is told, and the caution.
#[must_use]
pub fn closing_text(outcome: &Outcome, parts: Parts, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    if parts == Parts::ALL {
        method(&mut out, outcome, width);
    }
    out.push('\n');
    wrapped(&mut out, "", &outcome.caution, width);
    out
}

fn numbers(out: &mut String, outcome: &Outcome, width: usize) {
    section(out, "Weak points, the costliest first");
    for point in &outcome.weak_points {
        let lead = format!("  step {:>2}: ", point.step);
        wrapped(out, &lead, &weak_point_line(point), width);
    }
    section(out, "In numbers");
    for line in &outcome.numbers {
        wrapped(out, "  - ", line, width);
    }
}

/// Every margin with its spread and first cause, one a line, and what a measurement would leave.
fn how_sure(out: &mut String, outcome: &Outcome, width: usize) {
    let sure = &outcome.sure;
    let title = "How sure (± one standard deviation; no chance to be short is told below 1 of 100)";
    long_section(out, title, width);
    for margin in &sure.margins {
        wrapped(
            out,
            &format!("  {}: ", margin.called()),
            &margin.line(),
            width,
        );
    }
    let Some(short) = sure.short else {
        return;
    };
    wrapped(
        out,
        "  ",
        &format!("Any of them short: {}.", short.in_words()),
        width,
    );
    for cause in &sure.causes {
        wrapped(out, "  - ", &cause.in_words(&short), width);
    }
}

/// A weak point as a sentence or two, with the other steps where it is met.
pub(super) fn weak_point_line(point: &WeakPoint) -> String {
    let mark = match point.severity {
        Severity::Failure => "fails: ",
        Severity::Undecided => "not known: ",
        Severity::Warning | Severity::Note => "",
    };
    let help = point
        .help
        .as_ref()
        .map_or_else(String::new, |help| format!(" What would help: {help}."));
    let also: Vec<String> = point.also.iter().map(ToString::to_string).collect();
    let also = match also.as_slice() {
        [] => String::new(),
        [one] => format!(" Likewise at step {one}."),
        more => format!(" Likewise at steps {}.", more.join(", ")),
    };
    format!("{mark}{}.{help}{also}", point.text)
}

fn lesions(out: &mut String, outcome: &Outcome, width: usize) {
    section(out, "Access and lesions");
    for lesion in &outcome.lesions {
        let line = format!(
            "{}: {:.1} mm before (NASCET {} %), {:.1} mm after (NASCET {} %, estimate); crossed by {} tips.",
            spoken(&lesion.name),
            lesion.before_mm,
            fixed(lesion.nascet_before_percent, 0),
            lesion.after_mm,
            fixed(lesion.nascet_after_percent, 0),
            lesion.crossings
        );
        wrapped(out, "  - ", &line, width);
    }
}

fn method(out: &mut String, outcome: &Outcome, width: usize) {
    section(out, "How this was had");
    wrapped(out, "  - ", &outcome.method, width);
    let (measured, assumed) = outcome.vessel.counts();
    let line = format!(
        "{measured} values of the vessel are measured, {assumed} assumed from published means or from memory; `nestline measure` lists each with its source. Device values are class values; each file names what they rest on."
    );
    wrapped(out, "  - ", &line, width);
}

/// The verdict, and whether only a ruler was asked.
pub(super) fn verdict_words(outcome: &Outcome) -> String {
    let word = match outcome.verdict {
        Verdict::Passes => "PASSES",
        Verdict::Fails => "FAILS",
        Verdict::Undecided => "UNDECIDED",
    };
    if outcome.by_ruler {
        format!("{word} (by ruler)")
    } else {
        word.to_owned()
    }
}

/// A title that may take several lines.
pub(super) fn long_section(out: &mut String, title: &str, columns: usize) {
    out.push('\n');
    wrapped(out, "", title, columns);
}

pub(super) fn section(out: &mut String, title: &str) {
    let _ = writeln!(out, "\n{title}");
}

/// One paragraph, broken at spaces, with a bullet and a hanging indent.
pub(super) fn wrapped(out: &mut String, bullet: &str, text: &str, columns: usize) {
    let indent = " ".repeat(bullet.chars().count());
    let options = textwrap::Options::new(columns)
        .initial_indent(bullet)
        .subsequent_indent(&indent)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .break_words(false);
    let _ = writeln!(out, "{}", textwrap::fill(text, options));
}

fn steps_table(outcome: &Outcome, columns: u16) -> String {
    // without rods there are no forces, and the ruler is not held against anything
    let forces = outcome
        .steps
        .iter()
        .any(|s| s.devices.iter().any(|d| d.load.is_some()));
    let mut header = vec!["", "step", "device", "tip", "outside mm", "to spare mm"];
    if forces {
        header.extend(["ruler wrong by mm", "hub N", "hand N", "reaches tip"]);
    }
    header.extend(["by turning alone", "true lumen held by"]);
    let mut table = Grid::new(2, &header).right(4..header.len() - 1);
    for step in &outcome.steps {
        let mut lead = vec![mark(step), format!("{}. {}", step.number, step.say)];
        let moved: Vec<&DeviceRow> = step.devices.iter().filter(|d| d.moved).collect();
        if moved.is_empty() {
            lead.resize(header.len() - 1, String::new());
            lead.push(held_by(step));
            table.row(lead);
            continue;
        }
        for device in moved {
            let mut row = std::mem::replace(&mut lead, vec![String::new(); 2]);
            row.extend([
                device.name.clone(),
                device.tip_at.clone(),
                fixed(device.outside_mm, 0),
                fixed(device.margin_mm, 0),
            ]);
            if forces {
                row.extend(force_cells(device));
            }
            row.extend([format!("x{:.2}", device.capstan_factor), held_by(step)]);
            table.row(row);
        }
    }
    table.text(columns)
}

/// What a ruler gets wrong, the force at the hub as the vessel feels it (drawing with a minus, also where the hand holds
/// back what goes on by itself) and as the hand does, past the valves, each with its least and most, and what of it
/// reaches the tip.
fn force_cells(device: &DeviceRow) -> [String; 4] {
    let load = device.load.as_ref();
    let sign = match load.map(|l| l.direction) {
        Some(Direction::Pull) => -1.0,
        _ => 1.0,
    };
    [
        fixed(device.ruler_error_mm, 0),
        load.map_or_else(String::new, |l| l.hub_in_figures(sign)),
        load.map_or_else(String::new, |l| l.hand_in_figures(sign)),
        // a tip that its own bend draws on is pushed by nothing
        load.and_then(|l| l.efficiency)
            .map_or_else(String::new, |e| match e > 0.0 {
                true => format!("{:.0} %", 100.0 * e),
                false => "none".into(),
            }),
    ]
}

fn mark(step: &StepRow) -> String {
    match step.worst() {
        Some(Severity::Failure) => "FAIL",
        _ if !step.performed => "skip",
        Some(Severity::Warning) => "warn",
        _ => "ok",
    }
    .to_owned()
}

fn held_by(step: &StepRow) -> String {
    let lesions = step.access.iter();
    lesions
        .filter(|a| a.crossings > 0)
        .map(|a| {
            if a.held_by.is_empty() {
                "nothing".to_owned()
            } else {
                a.held_by.join(", ")
            }
        })
        .collect::<Vec<_>>()
        .join("; ")
}

fn findings(out: &mut String, outcome: &Outcome, columns: usize, title: &str, severity: Severity) {
    let found: Vec<_> = outcome
        .steps
        .iter()
        .flat_map(|s| s.findings.iter().map(move |f| (s.number, f)))
        .filter(|(_, f)| f.severity == severity)
        .collect();
    if found.is_empty() {
        return;
    }
    section(out, title);
    let in_waves: Vec<Waves> = found.iter().filter_map(|(n, f)| waves(*n, f)).collect();
    let in_one_line = in_waves.len() > 1;
    if in_one_line {
        wrapped(out, "  - ", &waves_line(&in_waves), columns);
    }
    let mut told: Vec<&FindingRow> = Vec::new();
    for (i, (step, finding)) in found.iter().enumerate() {
        let told_before = told.iter().any(|f| same_words(f, finding));
        if told_before || (in_one_line && waves(*step, finding).is_some()) {
            continue;
        }
        told.push(finding);
        let later = found[i + 1..].iter();
        let again = later.filter(|(n, f)| n != step && same_words(f, finding));
        let again = again_at(again.map(|(n, _)| *n));
        let help = finding
            .help
            .as_ref()
            .map_or_else(String::new, |h| format!(" What would help: {h}."));
        wrapped(
            out,
            &format!("  step {step:>2}: "),
            &format!("{}.{help}{again}", finding.text),
            columns,
        );
    }
}

fn same_words(a: &FindingRow, b: &FindingRow) -> bool {
    a.text == b.text && a.help == b.help
}

/// Later steps of which the same is to be said: what lies where it does not fit does so until it is drawn out.
fn again_at(steps: impl Iterator<Item = usize>) -> String {
    let mut numbers: Vec<String> = steps.map(|n| n.to_string()).collect();
    numbers.dedup();
    match numbers.len() {
        0 => String::new(),
        1 => format!(" The same at step {}.", numbers[0]),
        _ => format!(" The same at steps {}.", numbers.join(", ")),
    }
}

/// A device that lies in waves while it is pushed.
struct Waves<'a> {
    step: usize,
    device: &'a str,
    length_mm: f64,
    at: &'a str,
}

fn waves(step: usize, finding: &FindingRow) -> Option<Waves<'_>> {
    match &finding.reason {
        Reason::Force(Force::Buckles {
            device,
            length_mm,
            place,
        }) => Some(Waves {
            step,
            device,
            length_mm: *length_mm,
            at: &place.at,
        }),
        _ => None,
    }
}

/// Devices in waves at several steps, the longest told: nearly every long push ends in some, and told one by one
/// they hide what differs from step to step.
fn waves_line(in_waves: &[Waves]) -> String {
    let numbers: Vec<String> = in_waves.iter().map(|w| w.step.to_string()).collect();
    let most = in_waves
        .iter()
        .max_by(|a, b| a.length_mm.total_cmp(&b.length_mm));
    let most = most.map_or_else(String::new, |w| {
        format!(
            "; most of all the {}: along {} mm in all at step {}, most {}",
            w.device,
            fixed(w.length_mm, 0),
            w.step,
            w.at
        )
    });
    format!(
        "Pushed devices buckle and lie in waves on the wall at steps {}{most}.",
        numbers.join(", ")
    )
}

fn fits_table(outcome: &Outcome, columns: u16) -> String {
    let mut table = Grid::new(
        3,
        &["", "inside", "in", "nominal", "worst", "first at step"],
    )
    .right(3..6);
    for (i, fit) in outcome.fits.iter().enumerate() {
        if i >= FITS_SHOWN && fit.verdict == FitVerdict::Fits {
            continue;
        }
        table.row([
            match fit.verdict {
                FitVerdict::Fits => "fits",
                FitVerdict::Tight => "tight",
                FitVerdict::DoesNotFit => "NO",
            }
            .to_owned(),
            fit.inside.join(" beside "),
            fit.around.clone(),
            fixed(fit.clearance_mm, 2),
            fixed(fit.worst_clearance_mm, 2),
            fit.step.to_string(),
        ]);
    }
    table.text(columns)
}

fn exchanges_table(outcome: &Outcome, columns: u16) -> String {
    let header = [
        "step",
        "device",
        "over",
        "how",
        "rail outside",
        "needed",
        "nobody holds it for",
        "meanwhile its tip is",
    ];
    let mut table = Grid::new(2, &header).right([0, 4, 5, 6]);
    for e in &outcome.exchanges {
        table.row([
            e.step.to_string(),
            format!(
                "{} {}",
                e.device,
                match e.direction {
                    ExchangeDirection::Loading => "on",
                    ExchangeDirection::Removal => "off",
                }
            ),
            e.rail.clone(),
            if e.rapid {
                "rapid exchange"
            } else {
                "whole length"
            }
            .to_owned(),
            format!("{:.0}", e.rail_outside_mm),
            format!("{:.0}", e.needed_mm),
            format!("{:.0}", e.blind_mm),
            e.blind_where.clone().unwrap_or_default(),
        ]);
    }
    table.text(columns)
}
