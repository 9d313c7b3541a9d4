//! A scene's text with another script in it.

use super::document::{Document, FileKind};
use super::error::{DataError, Problem};
use super::map::RonMap;
use super::source::{Source, tidy};
use crate::procedure::Scene;
use std::ops::Range;
use std::path::Path;

/// The text of the scene at `source` with another name, another `about` and another script (RON
/// text, brackets included), for a file at `out`. Vessel, stack and comments stay as they are; where
/// the new file lies in another folder, the files it names are named from there; without `out` from the
/// current folder.
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
        let found = |reference: &str| found_from(source, out, reference);
        change("vessel", format!("{:?}", found(&scene.vessel)?));
        if let Some(file) = &scene.durations {
            change("durations", format!("{:?}", found(file)?));
        }
        if let Some(file) = &scene.materials {
            change("materials", format!("{:?}", found(file)?));
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

/// How the file that `source` calls `reference` is called in a scene at `out`, or in the current
/// folder where nothing is written yet: from there, so that both may be moved together.
fn found_from(source: &Source, out: Option<&Path>, reference: &str) -> Result<String, DataError> {
    let path = match source.beside(reference) {
        Source::Disk(path) => path,
        embedded @ Source::Embedded(_) => return Ok(embedded.to_string()),
    };
    if Path::new(reference).is_absolute() {
        return Ok(reference.to_owned());
    }
    let unreadable = |path: &Path, error: std::io::Error| {
        DataError::new(
            Problem::Unreadable,
            format!("`{}` cannot be found: {error}", path.display()),
        )
    };
    // links resolved where there is something: `..` leads out of what a link leads to
    let whole = |path: &Path| {
        path.canonicalize()
            .or_else(|_| std::path::absolute(path).map(|path| tidy(&path)))
            .map_err(|error| unreadable(path, error))
    };
    let folder = match out.and_then(Path::parent) {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    Ok(relative(&whole(folder)?, &whole(&path)?))
}

/// The way from a folder to a file, with forward slashes as scenes have them.
fn relative(folder: &Path, to: &Path) -> String {
    let folder: Vec<_> = folder.components().collect();
    let parts: Vec<_> = to.components().collect();
    let shared = folder
        .iter()
        .zip(&parts)
        .take_while(|(a, b)| a == b)
        .count();
    if shared == 0 {
        // on another drive
        return to.display().to_string();
    }
    let up = folder[shared..].iter().map(|_| "..".to_owned());
    let down = parts[shared..]
        .iter()
        .map(|part| part.as_os_str().to_string_lossy().into_owned());
    up.chain(down).collect::<Vec<_>>().join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_files_are_named_from_where_the_draft_stands() {
        for (from, to, named) in [
            ("/lab", "/lab/vessels/a.ron", "vessels/a.ron"),
            ("/lab/drafts", "/lab/vessels/a.ron", "../vessels/a.ron"),
            ("/lab", "/lab/a.ron", "a.ron"),
            ("/a/b", "/c/d.ron", "../../c/d.ron"),
        ] {
            assert_eq!(relative(Path::new(from), Path::new(to)), named, "{from}");
        }
    }
}
