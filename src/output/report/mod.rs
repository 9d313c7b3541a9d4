//! The report: one HTML file that needs nothing else, and its plots as pictures.
//!
//! Everything a scene or a vessel says goes through the template's escaping; the page forbids itself
//! every request by its content security policy. Verdict first, numbers after, then what each number
//! rests on.

mod access;
mod basis;
mod clock;
mod compare;
mod edge;
mod fits;
mod forces;
mod handout;
mod lengths;
mod nesting;
mod planes;
mod scene3d;
mod steps;
mod style;
mod sure;
mod svg;
mod text;
mod vary;
mod verdict;
mod vessel;

pub(super) use basis::all as everything_rests;
pub use vary::{vary_html, vary_plots};

use super::palette::{Look, looks};
use crate::procedure::{Durations, Plan};
use crate::rehearsal::{CAUTION, Comparison, Outcome, Rehearsed};
use crate::stage::Stage;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use svg::Figure;

/// Name under which the page says what wrote it.
pub const GENERATOR: &str = concat!("nestline ", env!("CARGO_PKG_VERSION"));

/// What the page is allowed to do: show what is written in it. No request of any kind.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'";

const SCRIPT: &str = include_str!("page.js");

/// What a report is made from.
#[derive(Debug, Clone, Copy)]
pub struct Report<'a> {
    /// The plan that was rehearsed.
    pub plan: &'a Plan,
    /// What came of it.
    pub rehearsed: &'a Rehearsed,
    /// How long its steps take.
    pub durations: &'a Durations,
    /// The scene in space; left out where there is none.
    pub stage: Option<&'a Stage>,
    /// The plan beside others, where that was asked for.
    pub comparison: Option<&'a Comparison>,
}

/// A plot as a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plot {
    /// Name without ending.
    pub name: String,
    /// SVG.
    pub svg: String,
}

/// A report in the making, with what every part of it asks for.
#[derive(Debug)]
struct Sheet<'a> {
    plan: &'a Plan,
    rehearsed: &'a Rehearsed,
    durations: &'a Durations,
    looks: Vec<Look>,
    first_step: usize,
}

impl<'a> Sheet<'a> {
    fn new(report: &Report<'a>) -> Self {
        let classes = report.plan.devices.iter().map(|d| d.device.class);
        Self {
            plan: report.plan,
            rehearsed: report.rehearsed,
            durations: report.durations,
            looks: looks(classes),
            first_step: report.rehearsed.outcome.telling_step(),
        }
    }

    const fn outcome(&self) -> &'a Outcome {
        &self.rehearsed.outcome
    }

    fn index(&self, name: &str) -> Option<usize> {
        self.plan.device_index(name)
    }

    /// A patch in a device's colour.
    fn key(&self, name: &str) -> Markup {
        html! {
            @if let Some(i) = self.index(name) {
                span class={ "key key" (i) } aria-hidden="true" {}
            }
        }
    }

    /// A link that shows a step in every picture.
    fn step_link(&self, step: usize) -> Markup {
        html! { a.go href="#nesting" data-go=(step) { "step " (step) } }
    }

    /// Class of what belongs to one step and is hidden while another one is shown.
    const fn step_class(&self, step: usize) -> &'static str {
        if step == self.first_step {
            "step on"
        } else {
            "step"
        }
    }
}

impl Report<'_> {
    /// The page.
    #[must_use]
    pub fn html(&self) -> String {
        let sheet = Sheet::new(self);
        let body = html! {
            section #verdict.handout { (handout::section(&sheet, self.stage)) }
            details {
                summary { "All of it in plain words" }
                ul {
                    @for line in sheet.outcome().headline.iter().chain(&sheet.outcome().numbers) { li { (text::prose(line)) } }
                }
            }
            (steps::bar(&sheet))
            section #nesting aria-labelledby="h-nesting" {
                h2 #h-nesting { "Where everything is" }
                p.note.hint { "Drag the slider above, or use the arrow keys on it: all pictures follow." }
                p.note { "Pale: outside. Black: in the hub and valve it enters through. Coloured: inside, thin within another device, thick where it lies bare. White box: its own hub. ▸ moved in this step." }
                (steps::findings(&sheet))
                @for figure in nesting::figures(&sheet) { (shown(&figure)) }
                details open { summary { "The same in figures" } (nesting::tables(&sheet)) }
            }
            @if let Some(stage) = self.stage {
                section #space aria-labelledby="h-space" {
                    h2 #h-space { "In space" }
                    (scene3d::section(&sheet, stage))
                }
            }
            (edges(&sheet))
            section #lengths aria-labelledby="h-lengths" {
                h2 #h-lengths { "Lengths and exchanges" }
                (shown(&lengths::figure(&sheet)))
                p.note { "Each row has a scale of its own, from nought. Dot: the least. Dashed: what a hand needs to hold a wire or pusher." }
                (fits::exchanges(&sheet))
            }
            section #sure aria-labelledby="h-sure" {
                h2 #h-sure { "How sure" }
                (sure::section(&sheet))
            }
            section #fits aria-labelledby="h-fits" {
                h2 #h-fits { "What fits in what" }
                (fits::matrix(&sheet))
            }
            (force(&sheet))
            section #clock aria-labelledby="h-clock" {
                h2 #h-clock { "Clock" }
                (shown(&clock::milestones(&sheet)))
                (shown(&clock::gantt(&sheet)))
                p.note { "Filled: decides when the brain is reperfused. Open: does not. Dotted: how far it may be put off." }
                (clock::words(&sheet))
            }
            section #access aria-labelledby="h-access" {
                h2 #h-access { "Access and lesions" }
                (shown(&access::figure(&sheet)))
                (access::words(&sheet))
                (fits::lesions(&sheet))
            }
            @if let Some(comparison) = self.comparison {
                section #plans aria-labelledby="h-plans" {
                    h2 #h-plans { "Other plans on this vessel and stack" }
                    (compare::section(comparison))
                }
            }
            section #vessel aria-labelledby="h-vessel" {
                h2 #h-vessel { "Vessel" }
                (shown(&vessel::figure(&sheet)))
                (vessel::key())
            }
            section #steps aria-labelledby="h-steps" {
                h2 #h-steps { "All steps" }
                (steps::table(&sheet))
            }
            section #basis aria-labelledby="h-basis" {
                h2 #h-basis { "What all this rests on" }
                (basis::section(&sheet))
            }
        };
        let contents = [
            ("verdict", "Verdict"),
            ("nesting", "Where everything is"),
            ("space", "In space"),
            ("edges", "Stent edges"),
            ("lengths", "Lengths"),
            ("sure", "How sure"),
            ("fits", "Fits"),
            ("force", "Force"),
            ("clock", "Clock"),
            ("access", "Access"),
            ("plans", "Other plans"),
            ("vessel", "Vessel"),
            ("steps", "Steps"),
            ("basis", "Basis"),
        ];
        let contents = contents
            .iter()
            .filter(|(id, _)| *id != "edges" || !self.rehearsed.outcome.edges.is_empty())
            .filter(|(id, _)| *id != "space" || self.stage.is_some())
            .filter(|(id, _)| *id != "plans" || self.comparison.is_some());
        page(
            &self.rehearsed.outcome.scene,
            &sheet.looks,
            &contents.copied().collect::<Vec<_>>(),
            &body,
        )
    }

    /// The first page alone, one sheet of A4: for [`print_pdf`](crate::output::print_pdf).
    #[must_use]
    pub fn handout(&self) -> String {
        let sheet = Sheet::new(self);
        let markup = html! {
            (DOCTYPE)
            html lang="en" {
                (head(&sheet.outcome().scene, &sheet.looks))
                body { main { section #verdict.handout.alone { (handout::section(&sheet, self.stage)) } } }
            }
        };
        markup.into_string()
    }

    /// The plots as pictures of their own; those that show one step show the first of the page.
    #[must_use]
    pub fn plots(&self) -> Vec<Plot> {
        let sheet = Sheet::new(self);
        let mut figures = nesting::figures(&sheet);
        figures.push(lengths::figure(&sheet));
        for (i, row) in edge::chosen(&sheet).into_iter().enumerate() {
            figures.push(edge::figure(&sheet, row, i + 1));
        }
        figures.extend(edge::sweep(&sheet));
        figures.extend(forces::figures(&sheet));
        figures.push(clock::milestones(&sheet));
        figures.push(clock::gantt(&sheet));
        figures.push(access::figure(&sheet));
        figures.push(vessel::figure(&sheet));
        figures.extend(self.comparison.into_iter().flat_map(compare::figures));
        plots_of(&figures, &sheet.looks)
    }
}

/// The page of a comparison; `vessel` names what the plans share.
#[must_use]
pub fn comparison_html(comparison: &Comparison, vessel: &str) -> String {
    let body = html! {
        section #verdict {
            (eyebrow("Comparison of plans"))
            h1 { (vessel) }
            (compare::section(comparison))
        }
    };
    page(vessel, &[], &[], &body)
}

/// The plots of a comparison.
#[must_use]
pub fn comparison_plots(comparison: &Comparison) -> Vec<Plot> {
    plots_of(&compare::figures(comparison), &[])
}

fn plots_of(figures: &[Figure], looks: &[Look]) -> Vec<Plot> {
    figures
        .iter()
        .map(|f| Plot {
            name: f.name.clone(),
            svg: f.standalone(looks),
        })
        .collect()
}

/// What kind of page it is, and the gist of the caution: whoever reads only the top has read it.
fn eyebrow(kind: &str) -> Markup {
    let gist = CAUTION.split('.').next().unwrap_or(CAUTION);
    html! { p.eyebrow { (kind) span { " · " (gist) } } }
}

fn shown(figure: &Figure) -> Markup {
    html! {
        figure { h3 { (figure.title) } (figure.inline()) }
    }
}

fn edges(sheet: &Sheet<'_>) -> Markup {
    let chosen = edge::chosen(sheet);
    html! {
        @if !chosen.is_empty() {
            section #edges aria-labelledby="h-edges" {
                h2 #h-edges { "At the stent's edges" }
                @for (i, row) in chosen.into_iter().enumerate() {
                    @let figure = edge::figure(sheet, row, i + 1);
                    figure {
                        h3 { (figure.title) ", " (edge::where_it_is(row)) }
                        (edge::words(row))
                        (figure.inline())
                    }
                }
                @if let Some(figure) = edge::sweep(sheet) { (shown(&figure)) }
                @for line in &sheet.outcome().counterfactuals { p { (text::prose(line)) } }
                (edge::table(sheet))
                (edge::pulls_and_suction(sheet))
            }
        }
    }
}

fn force(sheet: &Sheet<'_>) -> Markup {
    html! {
        section #force aria-labelledby="h-force" {
            h2 #h-force { "Force" }
            @if !forces::known(sheet) {
                p { "In this rehearsal lengths were ruled along the centre line: there are no forces in it, only the estimate below: by how much friction multiplies a force between tip and hub, from the turning of the way alone. No figure here says that a force is harmless." }
            } @else {
                p { "Stiffness and friction are known to a factor of about three: compare plans by these figures. None of them says that a force is harmless." }
            }
            @for figure in forces::figures(sheet) { (shown(&figure)) }
            (forces::table(sheet))
        }
    }
}

fn head(title: &str, looks: &[Look]) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta http-equiv="Content-Security-Policy" content=(POLICY);
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="generator" content=(GENERATOR);
            title { (title) " · nestline" }
            link rel="icon" href="data:,";
            style { (PreEscaped(style::sheet(looks))) }
        }
    }
}

/// The frame around every page.
fn page(title: &str, looks: &[Look], contents: &[(&str, &str)], body: &Markup) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            (head(title, looks))
            body {
                a.skip href="#verdict" { "Skip to the verdict" }
                header.top {
                    span.brand { "nestline" }
                    @if !contents.is_empty() {
                        nav aria-label="Parts of the report" {
                            @for (id, name) in contents { a href={ "#" (id) } { (name) } }
                        }
                    }
                    div.settings {
                        label title="Ways in mm, cm or in; bores, gaps and clearances in mm, in or French (3 French are 1 mm)" {
                            "Units "
                            select #units { option value="mm" { "mm" } option value="cm" { "cm" } option value="in" { "in" } option value="Fr" { "Fr" } }
                        }
                        label { "Look " select #look { option value="auto" { "as the system" } option value="light" { "light" } option value="dark" { "dark" } } }
                    }
                }
                main { (body) }
                footer {
                    p.caution { b { "Caution. " } (CAUTION) }
                    p { "Written by " (GENERATOR) ". All cases are invented, all devices are generic classes." }
                }
                script { (PreEscaped(SCRIPT)) }
                script { (PreEscaped(scene3d::SCRIPT)) }
            }
        }
    };
    markup.into_string()
}
