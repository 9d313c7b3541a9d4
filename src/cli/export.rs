//! The verb `export`: files for other programs.

use super::plans::{DEFAULT_SCENE, load};
use super::{Stop, laying, print};
use clap::Args;
use nestline::data::{self, FileKind, Source};
use nestline::geometry::Tree;
use nestline::output::glb::{GlbSettings, glb};
use nestline::output::palette::Theme;
use nestline::output::stl::{StlSettings, phantom};
use nestline::output::{CentreLines, LineFormat, refuse_existing, write_files};
use nestline::rehearsal::outcome_of;
use nestline::stage::{Stage, StageSettings};
use nestline::units::parse_length_mm;
use std::ffi::OsStr;
use std::path::PathBuf;
use std::process::ExitCode;

/// What is written.
#[derive(Debug, Clone, Args)]
pub(crate) struct Exports {
    /// Animated glTF binary of the whole script: vessel, devices, stents, retriever, clot.
    #[arg(long, value_name = "FILE")]
    glb: Option<PathBuf>,
    /// STL of the vessel for printing: the lumen, or with `--wall` a wall with open ends.
    #[arg(long, value_name = "FILE")]
    stl: Option<PathBuf>,
    /// Centre lines with radii, in the format of the file's ending: .csv, .vtk, .vtp or .swc. With this alone a vessel
    /// file does as well as a scene.
    #[arg(long, value_name = "FILE")]
    centre_lines: Option<PathBuf>,
    /// Only the route among the centre lines, with the lumen that is open.
    #[arg(long, requires = "centre_lines")]
    route_only: bool,
    /// Thickness of the printed wall, with its unit, for example 1.5mm.
    #[arg(long, value_name = "LENGTH", requires = "stl")]
    wall: Option<String>,
    /// Only these branches of the vessel in the STL; may be given several times.
    #[arg(long = "branch", value_name = "NAME", requires = "stl")]
    branches: Vec<String>,
    /// Largest edge of facets over the radius of the vessel, 0.1 to 1.
    #[arg(long, value_name = "SHARE", requires = "stl", default_value_t = StlSettings::default().facet)]
    facet: f64,
    /// Length of the animation, s; as long as its motions take if left out.
    #[arg(long, value_name = "SECONDS", requires = "glb")]
    seconds: Option<f64>,
    /// Colours for a dark ground.
    #[arg(long, requires = "glb")]
    dark: bool,
    /// Leave everything on the centre line instead of laying every device as an elastic rod: at once, and
    /// wrong in bends.
    #[arg(long, requires = "glb")]
    ruler: bool,
    /// Replace files that exist.
    #[arg(long)]
    force: bool,
}

fn refuse(text: String) -> Stop {
    Stop::Refused(text)
}

/// Names that no branch of the vessel bears, with all that there are.
fn refuse_unknown(tree: &Tree, names: &[String]) -> Result<(), Stop> {
    let known: Vec<&str> = tree.branches.iter().map(|b| b.name.as_str()).collect();
    match names.iter().find(|name| !known.contains(&name.as_str())) {
        None => Ok(()),
        Some(name) => Err(refuse(format!(
            "no branch of the vessel is named `{name}`: there are {}",
            known.join(", ")
        ))),
    }
}

pub(crate) fn export(
    scene: Option<&OsStr>,
    exports: &Exports,
    json: bool,
) -> Result<ExitCode, Stop> {
    let surfaces = exports.glb.is_some() || exports.stl.is_some();
    if !surfaces && exports.centre_lines.is_none() {
        return Err(refuse(
            "export writes nothing yet: name a file with --glb or --stl, or with --centre-lines"
                .into(),
        ));
    }
    let wall_mm = exports
        .wall
        .as_deref()
        .map(parse_length_mm)
        .transpose()
        .map_err(|error| refuse(format!("--wall: {error}")))?;
    if let Some(seconds) = exports.seconds
        && !(seconds > 0.0 && seconds.is_finite())
    {
        return Err(refuse(format!("--seconds is {seconds}, must be above 0")));
    }
    for path in exports
        .glb
        .iter()
        .chain(&exports.stl)
        .chain(&exports.centre_lines)
    {
        refuse_existing(path, exports.force)?;
    }
    let scene = scene.unwrap_or(DEFAULT_SCENE.as_ref());
    let source = Source::from_argument(scene);
    if let (Some(path), false, Ok(FileKind::Vessel)) =
        (&exports.centre_lines, surfaces, data::file_kind(&source))
    {
        let vessel = data::read_vessel(&source)?;
        let lines = if exports.route_only {
            CentreLines::of_track(&data::vessel_route(&source)?)
        } else {
            CentreLines::of_tree(&vessel.tree)
        };
        return written(&[lines_in(path, &lines)?], exports.force, json);
    }
    let loaded = load(scene, &[])?;
    let mut made: Vec<Made<'_>> = Vec::new();
    if let Some(path) = &exports.centre_lines {
        let lines = if exports.route_only {
            CentreLines::of_track(&loaded.plan.track)
        } else {
            CentreLines::of_tree(&loaded.vessel.tree)
        };
        made.push(lines_in(path, &lines)?);
    }
    if let Some(path) = &exports.glb {
        let passed = laying::walk(scene, &loaded.plan, exports.ruler)?;
        let outcome = outcome_of(&loaded.plan, &passed);
        let settings = StageSettings {
            settle: !exports.ruler,
            ..StageSettings::default()
        };
        let mut stage = Stage::new(
            &loaded.plan,
            &loaded.vessel.tree,
            &passed,
            &outcome,
            settings,
        );
        if let Some(seconds) = exports.seconds {
            stage = stage.lasting(seconds);
        }
        let settings = GlbSettings {
            theme: if exports.dark {
                Theme::Dark
            } else {
                Theme::Light
            },
            ..GlbSettings::default()
        };
        let bytes = glb(&stage, &settings).map_err(|error| refuse(error.to_string()))?;
        made.push((path, bytes, stage.shapes.in_words()));
    }
    if let Some(path) = &exports.stl {
        let settings = StlSettings {
            branches: exports.branches.clone(),
            wall_mm,
            facet: exports.facet,
        };
        refuse_unknown(&loaded.vessel.tree, &exports.branches)?;
        let solid =
            phantom(&loaded.vessel.tree, &settings).map_err(|error| refuse(error.to_string()))?;
        let what = format!(
            "{} facets, {:.1} ml, closed surface in mm",
            solid.facets.len(),
            1e-3 * solid.volume_mm3
        );
        made.push((path, solid.stl(), what));
    }
    written(&made, exports.force, json)
}

/// A file made: where, what, and about it.
type Made<'a> = (&'a PathBuf, Vec<u8>, String);

fn lines_in<'a>(path: &'a PathBuf, lines: &CentreLines) -> Result<Made<'a>, Stop> {
    let ending = path
        .extension()
        .map(|e| e.to_string_lossy().into_owned())
        .unwrap_or_default();
    let format = LineFormat::of_ending(&ending).ok_or_else(|| {
        refuse(format!(
            "--centre-lines: `.{ending}` is none of .csv, .vtk, .vtp and .swc"
        ))
    })?;
    let text = lines.text(format);
    Ok((
        path,
        text.into_bytes(),
        "centre lines with radii, mm".into(),
    ))
}

fn written(made: &[Made<'_>], force: bool, json: bool) -> Result<ExitCode, Stop> {
    let files = made
        .iter()
        .map(|(path, bytes, _)| (path.as_path(), bytes.as_slice()));
    write_files(&files.collect::<Vec<_>>(), force)?;
    let rows: Vec<serde_json::Value> = made
        .iter()
        .map(|(path, bytes, about)| {
            serde_json::json!({
                "file": path.display().to_string(), "bytes": bytes.len(), "about": about,
            })
        })
        .collect();
    let report = serde_json::json!({ "schema": "nestline.export", "version": 1, "files": rows });
    print(json, &report, || {
        let lines = made.iter().map(|(path, bytes, about)| {
            #[expect(clippy::cast_precision_loss, reason = "told to a tenth of a megabyte")]
            let megabytes = bytes.len() as f64 / 1e6;
            format!("written: {} ({megabytes:.1} MB). {about}\n", path.display())
        });
        lines.collect()
    })?;
    Ok(ExitCode::SUCCESS)
}
