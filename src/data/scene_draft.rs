//! A scene's text with another script in it.

use super::document::{Document, FileKind};
use super::error::{DataError, Problem};
use super::map::RonMap;
use super::source::Source;
use crate::procedure::Scene;
use std::ops::Range;
use std::path::Path;

/// The text of the scene at `source` with another name, another `about` and another script (RON
/// text, brackets included), for a file at `out`. Vessel, stack and comments stay as they are; where
/// the new file lies in another folder, the files it names are written such that they are found.
///
/// # Errors
/// A [`DataError`] where the scene cannot be read.
pub fn draft_text(
    source: &Source,
    out: Option<&Path>,
    name: &str,
    about: &str,
    script: &str,
) -> Result<String, DataError> {
    let document = Document::open(source)?;
    document.must_be(&[FileKind::Scene])?;
    let scene: Scene = document.decode()?;
    let map = RonMap::of(&document.text);
    let mut changes: Vec<(Range<usize>, String)> = Vec::new();
    let mut change = |path: &str, by: String| {
        let found = map.locate(path);
        if found.exact {
            changes.push((found.span, by));
        }
    };
    change("name", format!("{name:?}"));
    change("about", format!("{about:?}"));
    change("script", script.to_owned());
    if !stays_beside(source, out) {
        let found = |reference: &str| found_from_anywhere(source, reference);
        change("vessel", format!("{:?}", found(&scene.vessel)?));
        if let Some(file) = &scene.durations {
            change("durations", format!("{:?}", found(file)?));
        }
        for (i, entry) in scene.stack.iter().enumerate() {
            change(
                &format!("stack[{i}].file"),
                format!("{:?}", found(&entry.file)?),
            );
            for (v, valve) in entry.valves.iter().enumerate() {
                change(
                    &format!("stack[{i}].valves[{v}]"),
                    format!("{:?}", found(valve)?),
                );
            }
        }
    }
    changes.sort_by_key(|(span, _)| std::cmp::Reverse(span.start));
    let mut text = document.text.to_string();
    for (span, by) in changes {
        text.replace_range(span, &by);
    }
    Ok(text)
}

fn stays_beside(source: &Source, out: Option<&Path>) -> bool {
    match (source, out) {
        (Source::Disk(path), Some(out)) => path.parent() == out.parent(),
        _ => false,
    }
}

fn found_from_anywhere(source: &Source, reference: &str) -> Result<String, DataError> {
    match source.beside(reference) {
        Source::Disk(path) => std::path::absolute(&path)
            .map(|path| path.display().to_string())
            .map_err(|error| {
                DataError::new(
                    Problem::Unreadable,
                    format!("`{}` cannot be found: {error}", path.display()),
                )
            }),
        embedded @ Source::Embedded(_) => Ok(embedded.to_string()),
    }
}
