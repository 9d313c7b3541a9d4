//! The verb `measure`: a vessel printed back, a drawing of it, or the form to fill in.

use super::{Stop, columns, print};
use clap::Args;
use nestline::data::{self, Edit, Source};
use nestline::geometry::TrackSettings;
use nestline::output::{blank_form, measures_text, refuse_existing, vessel_drawing, write_text};
use nestline::rehearsal::{HelpsPlan, outcome_of, walk};
use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

/// What is measured, or written to be measured.
#[derive(Debug, Clone, Args)]
pub(crate) struct MeasureArguments {
    /// Vessel file.
    #[arg(required_unless_present = "new")]
    vessel: Option<OsString>,
    /// Target the route ends in; the vessel's first one if left out.
    #[arg(long)]
    target: Option<String>,
    /// Write a form to fill in: every measurement with what it is, how it is read and what is usual.
    #[arg(long, conflicts_with_all = ["vessel", "target", "drawing", "scene"])]
    new: bool,
    /// File for the form; printed if left out.
    #[arg(short, long, value_name = "FILE", requires = "new")]
    out: Option<PathBuf>,
    /// Draw the vessel from the front and from the left, as SVG.
    #[arg(long, value_name = "FILE")]
    drawing: Option<PathBuf>,
    /// Scene rehearsed on this vessel, by ruler: which missing measurement would help its margins most.
    #[arg(long = "for", value_name = "SCENE")]
    scene: Option<OsString>,
    /// Replace files that exist.
    #[arg(long, visible_alias = "force")]
    replace: bool,
}

pub(crate) fn measure(arguments: &MeasureArguments, json: bool) -> Result<ExitCode, Stop> {
    match &arguments.vessel {
        Some(vessel) => measured(&Source::from_argument(vessel), arguments, json),
        None => form(arguments, json),
    }
}

fn form(arguments: &MeasureArguments, json: bool) -> Result<ExitCode, Stop> {
    let text = blank_form().map_err(|error| Stop::Refused(error.to_string()))?;
    let written = arguments
        .out
        .as_ref()
        .map(|path| path.display().to_string());
    if let Some(path) = &arguments.out {
        write_text(path, &text, arguments.replace)?;
    }
    let report = serde_json::json!({
        "schema": "nestline.form", "version": 1, "written": written, "form": text,
    });
    print(json, &report, || match &written {
        Some(path) => {
            format!("written: {path}\nfill in what was measured, then: nestline measure {path}")
        }
        None => text.clone(),
    })?;
    Ok(ExitCode::SUCCESS)
}

fn measured(source: &Source, arguments: &MeasureArguments, json: bool) -> Result<ExitCode, Stop> {
    if let Some(path) = &arguments.drawing {
        refuse_existing(path, arguments.replace)?;
    }
    let (mut report, vessel, track) = data::measure_vessel_on(source, arguments.target.as_deref())?;
    if let Some(scene) = &arguments.scene {
        report.for_plan = Some(helps_plan(scene, source)?);
    }
    if let Some(path) = &arguments.drawing {
        let drawing = vessel_drawing(&vessel.info.name, &vessel.tree, &track);
        write_text(path, &drawing, arguments.replace)?;
    }
    print(json, &report, || measures_text(&report, columns()))?;
    Ok(ExitCode::SUCCESS)
}

/// Which measurements would help a scene with this vessel in the place of its own.
fn helps_plan(scene: &OsString, vessel: &Source) -> Result<HelpsPlan, Stop> {
    let edit = Edit::parse(&format!("vessel={}", vessel.whole_name()))?;
    let loaded = data::load_scene_with(
        &Source::from_argument(scene),
        &TrackSettings::default(),
        &[edit],
    )?;
    let plan = &loaded.plan;
    // lengths follow from the script's places: a ruler knows them
    Ok(HelpsPlan::of(
        &plan.name,
        outcome_of(plan, &walk(plan)).sure,
    ))
}
