//! Verbs that draw: film, view.

use super::picture_arguments::{Drawn, FilmArguments, ViewArguments};
use super::plans::{DEFAULT_SCENE, load};
use super::print;
use super::{Stop, laying};
use indicatif::{ProgressBar, ProgressStyle};
use nestline::data::{Edit, LoadedScene};
use nestline::output::film::{FilmSettings, Pace, make_film, make_still};
use nestline::output::palette::Theme;
use nestline::output::screen::{Place, find_adapter, find_adapter_and_display};
use nestline::output::viewer::open;
use nestline::procedure::Passed;
use nestline::rehearsal::{Outcome, outcome_of};
use nestline::stage::{Stage, StageSettings};
use std::ffi::OsStr;
use std::io::{Write, stderr};
use std::process::ExitCode;
use std::sync::mpsc::channel;
use std::time::Duration;

/// A scene that was read and rehearsed.
struct Rehearsed {
    loaded: LoadedScene,
    passed: Vec<Passed>,
    outcome: Outcome,
}

impl Rehearsed {
    fn new(scene: Option<&OsStr>, drawn: &Drawn) -> Result<Self, Stop> {
        let scene = scene.unwrap_or(DEFAULT_SCENE.as_ref());
        let mut edits = Vec::new();
        for text in &drawn.set {
            edits.push(Edit::parse(text)?);
        }
        let loaded = load(scene, &edits)?;
        let passed = laying::walk(scene, &loaded.plan, drawn.ruler)?;
        let outcome = outcome_of(&loaded.plan, &passed);
        Ok(Self {
            loaded,
            passed,
            outcome,
        })
    }

    fn stage(&self, settle: bool) -> Stage {
        let settings = StageSettings {
            settle,
            ..StageSettings::default()
        };
        Stage::new(
            &self.loaded.plan,
            &self.loaded.vessel.tree,
            &self.passed,
            &self.outcome,
            settings,
        )
    }
}

pub(crate) fn film(arguments: &FilmArguments, json: bool) -> Result<ExitCode, Stop> {
    let shot = arguments.shot.as_deref().map(Place::named);
    let shot = shot.transpose().map_err(Stop::Refused)?;
    let adapter = find_adapter()?;
    let rehearsed = Rehearsed::new(arguments.scene.as_deref(), &arguments.drawn)?;
    let bar = ProgressBar::new_spinner();
    bar.enable_steady_tick(Duration::from_millis(120));
    bar.set_message("letting the rods settle");
    let stage = rehearsed.stage(!arguments.drawn.ruler);
    bar.finish_and_clear();
    let settings = FilmSettings {
        pace: Pace {
            width: arguments.size.0,
            height: arguments.size.1,
            frames_per_s: arguments.fps,
        },
        length_s: arguments.seconds,
        theme: theme(arguments.dark),
        steps: arguments.steps,
        shot,
        contacts: arguments.contacts,
    };
    let out = &arguments.out;
    if let Some(step) = arguments.still {
        make_still(&stage, &settings, &adapter, step, out, arguments.replace)?;
        let told = serde_json::json!({
            "schema": "nestline.still", "version": 1, "file": out.display().to_string(), "step": step,
        });
        print(json, &told, || out.display().to_string())?;
        return Ok(ExitCode::SUCCESS);
    }
    let bar = ProgressBar::new(0);
    // a template of our own that is wrong would only cost the bar its looks
    if let Ok(style) =
        ProgressStyle::with_template("{msg} {bar:30} {pos} of {len} pictures, {eta} left")
    {
        bar.set_style(style);
    }
    bar.set_message(format!("drawing with {}", adapter.name));
    let report = make_film(
        &stage,
        &settings,
        &adapter,
        out,
        arguments.replace,
        &mut |done, of| {
            bar.set_length(of as u64);
            bar.set_position(done as u64);
        },
    )?;
    bar.finish_and_clear();
    let seconds = f64::from(report.frames) / f64::from(arguments.fps);
    let told = serde_json::json!({
        "schema": "nestline.film", "version": 1, "file": out.display().to_string(),
        "seconds": seconds, "frames": report.frames, "drawn": report.drawn,
        "most_triangles": report.most_triangles,
    });
    print(json, &told, || {
        format!(
            "{}: {seconds:.1} s, {} frames, {} of them drawn, up to {} triangles",
            out.display(),
            report.frames,
            report.drawn,
            report.most_triangles
        )
    })?;
    if out.extension().is_some_and(|e| e == "mp4") {
        writeln!(
            stderr().lock(),
            "H.264 may need a licence where you show it; GIF and PNG frames need none."
        )?;
    }
    Ok(ExitCode::SUCCESS)
}

pub(crate) fn view(arguments: &ViewArguments) -> Result<ExitCode, Stop> {
    let adapter = find_adapter_and_display()?;
    let rehearsed = Rehearsed::new(arguments.scene.as_deref(), &arguments.drawn)?;
    let stage = rehearsed.stage(false);
    // the window is there at once; rods settle meanwhile
    let settled = (!arguments.drawn.ruler).then(|| {
        let (tell, settled) = channel();
        std::thread::spawn(move || {
            // nobody is left to tell where the window was closed meanwhile
            let _ = tell.send(rehearsed.stage(true));
        });
        settled
    });
    open(stage, settled, &adapter, theme(arguments.dark))?;
    Ok(ExitCode::SUCCESS)
}

fn theme(dark: bool) -> Theme {
    if dark { Theme::Dark } else { Theme::Light }
}
