//! Verbs that draw: film, view.

use super::plans::{DEFAULT_SCENE, load};
use super::print;
use super::{Stop, laying};
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use nestline::data::{Edit, LoadedScene};
use nestline::output::film::{FilmSettings, Pace, make_film, make_still};
use nestline::output::palette::Theme;
use nestline::output::screen::{Place, find_adapter, find_adapter_and_display};
use nestline::output::stage::{Stage, StageSettings};
use nestline::output::viewer::open;
use nestline::procedure::Passed;
use nestline::rehearsal::{Outcome, outcome_of};
use std::io::{Write, stderr};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::mpsc::channel;
use std::time::Duration;

/// How a film is made.
#[derive(Debug, Clone, Args)]
pub(crate) struct FilmArguments {
    /// Scene file; the built-in default scene if left out.
    scene: Option<String>,
    /// File to write: NAME.mp4, NAME.gif, a folder for PNG frames (frames/), or NAME.png with --still.
    #[arg(short, long, value_name = "FILE")]
    out: PathBuf,
    /// Width and height in pixels.
    #[arg(long, default_value = "1280x720", value_parser = size)]
    size: (u32, u32),
    /// Frames per second.
    #[arg(long, default_value_t = FilmSettings::default().pace.frames_per_s)]
    fps: u32,
    /// Length in seconds; a longer film joins fewer steps under one caption.
    #[arg(long, default_value_t = FilmSettings::default().length_s)]
    seconds: f64,
    /// Light on dark.
    #[arg(long)]
    dark: bool,
    /// Only these steps, for example 38-44.
    #[arg(long, value_name = "FIRST-LAST", value_parser = steps)]
    steps: Option<(usize, usize)>,
    /// Only a picture of the end of this step, as PNG.
    #[arg(long, value_name = "STEP", conflicts_with = "steps")]
    still: Option<usize>,
    /// What every step is seen at, instead of where it happens: route, arch, neck, edge (of the stent),
    /// tip (that moves), head.
    #[arg(long, value_parser = Place::named)]
    shot: Option<Place>,
    /// Show where devices press, and how hard.
    #[arg(long, conflicts_with = "ruler")]
    contacts: bool,
    /// Replace what stands there.
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    drawn: Drawn,
}

/// What is drawn, for films and the window alike.
#[derive(Debug, Clone, Args)]
pub(crate) struct Drawn {
    /// Leave everything on the centre line instead of laying every device as an elastic rod: at once, and
    /// wrong in bends.
    #[arg(long)]
    ruler: bool,
    /// Change a value of vessel, device or script; may be given several times.
    #[arg(long = "set", value_name = "PATH=VALUE")]
    set: Vec<String>,
}

fn size(text: &str) -> Result<(u32, u32), String> {
    let pair = text.split_once(['x', '×']);
    let parsed = pair.and_then(|(w, h)| Some((w.parse().ok()?, h.parse().ok()?)));
    parsed.ok_or_else(|| format!("`{text}` is no size: write width and height, as 1280x720"))
}

fn steps(text: &str) -> Result<(usize, usize), String> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    match (first.parse(), last.parse()) {
        (Ok(first), Ok(last)) => Ok((first, last)),
        _ => Err(format!(
            "`{text}` is no range of steps: write two numbers, as 38-44"
        )),
    }
}

/// A scene that was read and rehearsed.
struct Rehearsed {
    loaded: LoadedScene,
    passed: Vec<Passed>,
    outcome: Outcome,
}

impl Rehearsed {
    fn new(scene: Option<&str>, drawn: &Drawn) -> Result<Self, Stop> {
        let scene = scene.unwrap_or(DEFAULT_SCENE);
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
        shot: arguments.shot,
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

/// How the window opens.
#[derive(Debug, Clone, Args)]
pub(crate) struct ViewArguments {
    /// Scene file; the built-in default scene if left out.
    scene: Option<String>,
    /// Light on dark.
    #[arg(long)]
    dark: bool,
    #[command(flatten)]
    drawn: Drawn,
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
