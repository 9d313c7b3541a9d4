//! Verbs about plans: run, compare, draft.

use super::each;
use super::handout::Handout;
use super::more::More;
use super::save::Saved;
use super::{Save, Stop, columns, laying, print};
use clap::Args;
use clap::builder::RangedU64ValueParser;
use nestline::data::{self, Edit, LoadedScene, Source};
use nestline::geometry::TrackSettings;
use nestline::output::{Report, comparison_folder, comparison_text, script_text, write_text};
use nestline::procedure::{Choices, Sampling};
use nestline::rehearsal::{Candidate, Verdict, compare as side_by_side, rehearsed_of};
use nestline::stage::{Stage, StageSettings};
use std::ffi::{OsStr, OsString};
use std::path::Path;
use std::process::ExitCode;

/// The scene that runs when none is named.
pub(super) const DEFAULT_SCENE: &str = "embedded:scenes/left-tandem-retriever-first.ron";

/// Name of the scene's own script among strategies.
const THIS_PLAN: &str = "this plan";

/// What the moving sign says meanwhile.
const COMPARING: &str = "rehearsing the plans side by side";

/// Values changed for this run only, and how times are drawn.
#[derive(Debug, Clone, Args)]
pub(crate) struct Changes {
    /// Change a value of vessel, device, script or step times; may be given several times.
    #[arg(long = "set", value_name = "PATH=VALUE")]
    set: Vec<String>,
    /// Rule lengths along the centre line instead of laying every device as an elastic rod: at once, wrong
    /// by up to centimetres, and without forces.
    #[arg(long)]
    ruler: bool,
    /// Seed of the sampled times.
    #[arg(long, default_value_t = Sampling::default().seed)]
    seed: u64,
    /// Courses drawn for the percentiles.
    #[arg(long, default_value_t = Sampling::default().courses, value_parser = courses())]
    courses: usize,
}

fn courses() -> RangedU64ValueParser<usize> {
    RangedU64ValueParser::new().range(1..=Sampling::MOST_COURSES as u64)
}

impl Default for Changes {
    fn default() -> Self {
        let Sampling { seed, courses, .. } = Sampling::default();
        Self {
            set: Vec::new(),
            ruler: false,
            seed,
            courses,
        }
    }
}

impl Changes {
    pub(super) fn edits(&self) -> Result<Vec<Edit>, Stop> {
        let edits = self.set.iter().map(|text| Edit::parse(text));
        Ok(edits.collect::<Result<_, _>>()?)
    }

    /// With as many threads as there are cores; their number changes no bit of the result.
    pub(super) fn sampling(&self) -> Sampling {
        Sampling {
            courses: self.courses,
            seed: self.seed,
            threads: std::thread::available_parallelism().map_or(1, std::num::NonZero::get),
        }
    }
}

pub(super) fn load(scene: &OsStr, edits: &[Edit]) -> Result<LoadedScene, Stop> {
    let source = Source::from_argument(scene);
    Ok(data::load_scene_with(
        &source,
        &TrackSettings::default(),
        edits,
    )?)
}

pub(super) fn code(verdict: Verdict) -> ExitCode {
    match verdict {
        Verdict::Passes => ExitCode::SUCCESS,
        Verdict::Fails => ExitCode::from(1),
        Verdict::Undecided => ExitCode::from(3),
    }
}

/// A scene's vessel and stack with the script of a strategy.
fn strategy(
    name: String,
    loaded: &LoadedScene,
    choices: &Choices,
    changes: &Changes,
) -> Result<Candidate, Stop> {
    let plan = loaded.plan.with_strategy(choices)?;
    Ok(Candidate {
        ruler: changes.ruler,
        ..Candidate::new(name, plan, loaded.durations.clone())
    })
}

pub(super) fn candidate(name: String, loaded: LoadedScene, changes: &Changes) -> Candidate {
    Candidate {
        ruler: changes.ruler,
        ..Candidate::new(name, loaded.plan, loaded.durations)
    }
}

/// What is rehearsed, and what is told of it.
#[derive(Debug, Clone, Default, Args)]
pub(crate) struct Run {
    /// Scene file; the built-in default scene if left out.
    scene: Option<OsString>,
    #[command(flatten)]
    changes: Changes,
    #[command(flatten)]
    more: More,
    #[command(flatten)]
    save: Save,
    #[command(flatten)]
    handout: Handout,
}

pub(crate) fn run(arguments: &Run, json: bool) -> Result<ExitCode, Stop> {
    let Run {
        changes,
        more,
        save,
        ..
    } = arguments;
    save.check()?;
    let handout = arguments.handout.check(save.force())?;
    let scene = arguments.scene.as_deref();
    let scene = scene.unwrap_or(DEFAULT_SCENE.as_ref());
    if more.compare && json && save.named().is_none() {
        return Err(Stop::Refused(
            "`run --json` prints the plan alone: name a folder with --out for report.json with the comparison in it, or use `nestline compare --json`".into(),
        ));
    }
    if more.each {
        return each::one_at_a_time(scene, changes, json);
    }
    let loaded = load(scene, &changes.edits()?)?;
    let fault = |fault: &dyn std::fmt::Display| {
        data::not_rehearsed(&Source::from_argument(scene), &fault.to_string())
    };
    let passed = laying::walk_with_ranges(scene, &loaded.plan, changes.ruler, !more.no_ranges)?;
    let sampling = changes.sampling();
    let rehearsed = laying::watched("drawing courses of the clock", || {
        rehearsed_of(&loaded.plan, &loaded.durations, &sampling, &passed)
    })
    .map_err(|error| fault(&error))?;
    let comparison = if more.compare {
        let mut candidates = vec![candidate(THIS_PLAN.into(), loaded.clone(), changes)];
        for (_, choices) in Choices::NAMED {
            candidates.push(strategy(choices.name(), &loaded, &choices, changes)?);
        }
        let compared = laying::watched(COMPARING, || side_by_side(&candidates, &sampling));
        Some(compared.map_err(|error| fault(&error))?)
    } else {
        None
    };
    let mut saved = Saved::default();
    let into = save.folder(json);
    if into.is_some() || handout.is_some() {
        let stage = Stage::new(
            &loaded.plan,
            &loaded.vessel.tree,
            &passed,
            &rehearsed.outcome,
            StageSettings::default(),
        );
        let report = Report {
            plan: &loaded.plan,
            rehearsed: &rehearsed,
            durations: &loaded.durations,
            stage: Some(&stage),
            comparison: comparison.as_ref(),
        };
        if let Some(into) = into {
            saved = save.write(into, &report.folder(save.png())?)?;
        }
        if let Some(handout) = handout {
            saved.told += &handout.print(&report)?;
        }
    }
    print(json, &rehearsed, || {
        let width = columns();
        [
            more.told(&rehearsed, width),
            comparison
                .as_ref()
                .map_or_else(String::new, |c| comparison_text(c, width)),
            saved.told.clone(),
        ]
        .concat()
    })?;
    saved.end(code(rehearsed.outcome.verdict))
}

/// Refuses a change to a part of the script that no strategy keeps: it would change nothing.
fn refuse_unread(
    scene: &OsStr,
    edits: &[Edit],
    loaded: &LoadedScene,
    strategies: &[Choices],
) -> Result<(), Stop> {
    for (i, edit) in edits.iter().enumerate() {
        if !edit.changes_the_script() {
            continue;
        }
        let mut others = edits.to_vec();
        others.remove(i);
        let without = load(scene, &others)?.plan;
        let mut read = false;
        for choices in strategies {
            let (a, b) = (
                without.with_strategy(choices)?,
                loaded.plan.with_strategy(choices)?,
            );
            read |= a.script != b.script;
        }
        if !read {
            return Err(Stop::Refused(format!(
                "`{}` changes nothing here: a strategy writes its own script and keeps only the steps up to the guide's place; \
                 change the scene that `nestline draft` writes, or use `nestline run`",
                edit.in_words()
            )));
        }
    }
    Ok(())
}

pub(crate) fn compare(
    scenes: &[OsString],
    changes: &Changes,
    strategies: &[String],
    save: &Save,
    json: bool,
) -> Result<ExitCode, Stop> {
    save.check()?;
    let edits = changes.edits()?;
    let default = [OsString::from(DEFAULT_SCENE)];
    let scenes = if scenes.is_empty() { &default } else { scenes };
    let mut candidates = Vec::new();
    for scene in scenes {
        let loaded = load(scene, &edits)?;
        if scenes.len() > 1 && strategies.is_empty() {
            candidates.push(candidate(loaded.plan.name.clone(), loaded, changes));
            continue;
        }
        let wanted = if strategies.is_empty() {
            Choices::NAMED.map(|(_, choices)| choices).to_vec()
        } else {
            let named = strategies.iter().map(|name| Choices::named(name));
            named.collect::<Result<Vec<_>, _>>()?
        };
        refuse_unread(scene, &edits, &loaded, &wanted)?;
        for choices in wanted {
            let name = if scenes.len() > 1 {
                format!("{} on {}", choices.name(), loaded.plan.name)
            } else {
                choices.name()
            };
            candidates.push(strategy(name, &loaded, &choices, changes)?);
        }
    }
    let compared = laying::watched(COMPARING, || side_by_side(&candidates, &changes.sampling()));
    let comparison = compared.map_err(|error| {
        data::not_rehearsed(&Source::from_argument(&scenes[0]), &error.to_string())
    })?;
    let vessel = match (scenes.len(), candidates.first()) {
        (1, Some(candidate)) => candidate.plan.vessel.name.as_str(),
        _ => "Plans side by side",
    };
    let mut saved = Saved::default();
    if let Some(into) = save.named() {
        let folder = comparison_folder(&comparison, vessel, save.png())?;
        saved = save.write(into, &folder)?;
    }
    print(json, &comparison, || {
        format!(
            "{vessel}\n{}{}",
            comparison_text(&comparison, columns()),
            saved.told
        )
    })?;
    // done where at least one plan holds; where none is known to, one that may hold leaves it open
    let any = |verdict| comparison.rows.iter().any(|row| row.verdict == verdict);
    saved.end(code(if any(Verdict::Passes) {
        Verdict::Passes
    } else if any(Verdict::Undecided) {
        Verdict::Undecided
    } else {
        Verdict::Fails
    }))
}

pub(crate) fn draft(
    strategy: &str,
    scene: Option<&OsStr>,
    out: Option<&Path>,
    replace: bool,
    json: bool,
) -> Result<ExitCode, Stop> {
    let choices = Choices::named(strategy)?;
    let source = Source::from_argument(scene.unwrap_or(DEFAULT_SCENE.as_ref()));
    let loaded = data::load_scene(&source, &TrackSettings::default())?;
    let plan = loaded.plan.with_strategy(&choices)?;
    let script = script_text(&plan.script);
    let text = data::draft_text(&source, out, &plan.name, &plan.about, &script)?;
    let written = out.map(|path| path.display().to_string());
    if let Some(path) = out {
        write_text(path, &text, replace)?;
    }
    let report = serde_json::json!({
        "schema": "nestline.draft", "version": 1, "strategy": choices.name(), "written": written, "scene": text,
    });
    print(json, &report, || match &written {
        Some(path) => format!("written: {path}"),
        None => text,
    })?;
    Ok(ExitCode::SUCCESS)
}
