//! Commands about plans: run, compare, draft.

use super::{Changes, DEFAULT_SCENE, Stop, columns, say};
use nestline::data::{self, Edit, LoadedScene, Source};
use nestline::geometry::TrackSettings;
use nestline::output::{
    clock_text, comparison_text, ledger_text, rehearsal_text, script_text, to_json, what_if_text,
    write_text,
};
use nestline::procedure::{Choices, ledger, walk};
use nestline::rehearsal::{
    Candidate, Rehearsed, Verdict, WhatIf, WhatIfRow, assess, compare as side_by_side, rehearse,
    time,
};
use std::path::Path;
use std::process::ExitCode;

/// Changes tried one at a time where none is named: a tighter neck, shorter and longer waits, a
/// second assistant, a slow operator.
const USUAL_CHANGES: [&str; 6] = [
    "neck.stenosis.percent=70",
    "neck.stenosis.percent=95",
    "dwell=180",
    "dwell=480",
    "durations.team.assistants=2",
    "pace=1.5",
];

fn load(scene: &str, edits: &[Edit]) -> Result<LoadedScene, Stop> {
    let source = Source::from_argument(scene);
    Ok(data::load_scene_with(
        &source,
        &TrackSettings::default(),
        edits,
    )?)
}

fn code(verdict: Verdict) -> ExitCode {
    match verdict {
        Verdict::Passes => ExitCode::SUCCESS,
        Verdict::Fails => ExitCode::from(1),
    }
}

pub(crate) fn run(
    scene: Option<&str>,
    changes: &Changes,
    each: bool,
    json: bool,
) -> Result<ExitCode, Stop> {
    let scene = scene.unwrap_or(DEFAULT_SCENE);
    if each {
        return one_at_a_time(scene, changes, json);
    }
    let loaded = load(scene, &changes.edits()?)?;
    let plan = &loaded.plan;
    let rehearsed = Rehearsed {
        outcome: rehearse(plan),
        clock: time(plan, &loaded.durations, &[], &changes.sampling())?,
        ledger: ledger(plan, &walk(plan)),
    };
    if json {
        say(&to_json(&rehearsed).map_err(std::io::Error::other)?)?;
    } else {
        let width = columns();
        say(&rehearsal_text(&rehearsed.outcome, width))?;
        say(&ledger_text(&rehearsed.ledger, width))?;
        say(&clock_text(&rehearsed.clock, width))?;
    }
    Ok(code(rehearsed.outcome.verdict))
}

fn candidate(name: String, loaded: LoadedScene) -> Candidate {
    Candidate::new(name, loaded.plan, loaded.durations)
}

fn one_at_a_time(scene: &str, changes: &Changes, json: bool) -> Result<ExitCode, Stop> {
    let sampling = changes.sampling();
    let loaded = load(scene, &[])?;
    let base = assess(&candidate(loaded.plan.name.clone(), loaded), &sampling)?;
    let asked = changes.edits()?;
    let tried: Vec<Edit> = if asked.is_empty() {
        let usual = USUAL_CHANGES.iter().map(|text| Edit::parse(text));
        usual.collect::<Result<_, _>>()?
    } else {
        asked.clone()
    };
    let rows = tried
        .into_iter()
        .map(|edit| {
            let change = edit.in_words();
            let result = load(scene, std::slice::from_ref(&edit))
                .and_then(|loaded| Ok(assess(&candidate(change.clone(), loaded), &sampling)?));
            match result {
                // a path that leads nowhere is a slip, not a finding
                Err(stop) if !asked.is_empty() => Err(stop),
                result => Ok(WhatIfRow {
                    change,
                    result: result.map_err(|stop| stop.to_string()),
                }),
            }
        })
        .collect::<Result<Vec<_>, Stop>>()?;
    let verdict = base.verdict;
    let what_if = WhatIf::new(base, rows);
    if json {
        say(&to_json(&what_if).map_err(std::io::Error::other)?)?;
    } else {
        say(&what_if_text(&what_if, columns()))?;
    }
    Ok(code(verdict))
}

pub(crate) fn compare(
    scenes: &[String],
    changes: &Changes,
    strategies: &[String],
    json: bool,
) -> Result<ExitCode, Stop> {
    let edits = changes.edits()?;
    let default = [DEFAULT_SCENE.to_owned()];
    let scenes = if scenes.is_empty() { &default } else { scenes };
    let mut candidates = Vec::new();
    for scene in scenes {
        let loaded = load(scene, &edits)?;
        if scenes.len() > 1 && strategies.is_empty() {
            candidates.push(candidate(loaded.plan.name.clone(), loaded));
            continue;
        }
        let wanted = if strategies.is_empty() {
            Choices::NAMED.map(|(_, choices)| choices).to_vec()
        } else {
            let named = strategies.iter().map(|name| Choices::named(name));
            named.collect::<Result<Vec<_>, _>>()?
        };
        for choices in wanted {
            let name = if scenes.len() > 1 {
                format!("{} on {}", choices.name(), loaded.plan.name)
            } else {
                choices.name()
            };
            let plan = loaded.plan.with_strategy(&choices)?;
            candidates.push(Candidate::new(name, plan, loaded.durations.clone()));
        }
    }
    let comparison = side_by_side(&candidates, &changes.sampling())?;
    if json {
        say(&to_json(&comparison).map_err(std::io::Error::other)?)?;
    } else {
        if let (1, Some(candidate)) = (scenes.len(), candidates.first()) {
            say(&candidate.plan.vessel.name)?;
        }
        say(&comparison_text(&comparison, columns()))?;
    }
    // done where at least one plan holds
    Ok(comparison
        .rows
        .first()
        .map_or(ExitCode::from(1), |row| code(row.verdict)))
}

pub(crate) fn draft(
    strategy: &str,
    scene: Option<&str>,
    out: Option<&Path>,
    replace: bool,
) -> Result<ExitCode, Stop> {
    let choices = Choices::named(strategy)?;
    let source = Source::from_argument(scene.unwrap_or(DEFAULT_SCENE));
    let loaded = data::load_scene(&source, &TrackSettings::default())?;
    let plan = loaded.plan.with_strategy(&choices)?;
    let script = script_text(&plan.script);
    let text = data::draft_text(&source, out, &plan.name, &plan.about, &script)?;
    match out {
        None => say(&text)?,
        Some(path) => {
            write_text(path, &text, replace)?;
            say(&format!("written: {}", path.display()))?;
        }
    }
    Ok(ExitCode::SUCCESS)
}
