//! Files that are refused, and what is said about them.
//!
//! `tests/bad/NAME.ron` is refused with exactly the words of `tests/bad/NAME.txt`. After a change
//! of a message is meant, run once with `NESTLINE_RENEW_BAD_FILES=1` and read the difference
//! before committing it.

#![expect(
    clippy::disallowed_methods,
    reason = "tests write the files they hand in, and read what is expected"
)]

use nestline::data::{
    DataError, Problem, Rendering, Source, check_file, read_device, read_scene, read_vessel,
};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Fewest wrong files; only to notice if the folder is not found.
const LEAST_FILES: usize = 28;

const RENEW: &str = "NESTLINE_RENEW_BAD_FILES";

/// Reads a file as what its name says it should be (`device_…`, `vessel_…`).
fn refusal(path: &Path) -> Option<DataError> {
    let source = Source::from(path);
    let stem = path.file_stem()?.to_string_lossy().into_owned();
    let kind = stem.split('_').next()?;
    match kind {
        "device" | "balloon" | "stent" | "part" => read_device(&source).err(),
        "vessel" => read_vessel(&source).err(),
        "scene" => read_scene(&source).err(),
        other => panic!("{other}_… is no kind of file this test knows"),
    }
}

fn files(extension: &str) -> BTreeSet<PathBuf> {
    fs::read_dir("tests/bad")
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == extension))
        .map(|path| path.with_extension(""))
        .collect()
}

/// Both texts line by line, differing ones marked.
fn difference(expected: &str, found: &str) -> String {
    let (expected, found): (Vec<_>, Vec<_>) = (expected.lines().collect(), found.lines().collect());
    (0..expected.len().max(found.len()))
        .map(|i| match (expected.get(i), found.get(i)) {
            (Some(e), Some(f)) if e == f => format!("    {e}\n"),
            (e, f) => [("  - ", e), ("  + ", f)]
                .iter()
                .filter_map(|(mark, line)| line.map(|line| format!("{mark}{line}\n")))
                .collect(),
        })
        .collect()
}

#[test]
fn every_wrong_file_is_refused_in_the_expected_words() {
    let inputs = files("ron");
    assert!(inputs.len() >= LEAST_FILES, "only {} files", inputs.len());
    let renew = std::env::var_os(RENEW).is_some();
    let mut failures = String::new();
    for stem in &inputs {
        let path = stem.with_extension("ron");
        let Some(error) = refusal(&path) else {
            failures.push_str(&format!("{} is accepted\n", path.display()));
            continue;
        };
        let found = error.render(Rendering::default());
        let expected_path = stem.with_extension("txt");
        if renew {
            fs::write(&expected_path, &found).unwrap();
            continue;
        }
        let expected = fs::read_to_string(&expected_path).unwrap_or_default();
        if expected != found {
            failures.push_str(&format!(
                "{}:\n{}\n",
                path.display(),
                difference(&expected, &found)
            ));
        }
    }
    if !renew {
        assert_eq!(files("txt"), inputs, "a text for each file and no other");
    }
    assert!(
        failures.is_empty(),
        "- expected, + found; {RENEW}=1 takes what is found\n{failures}"
    );
}

/// A refusal without advice leaves the reader alone; a refusal without place makes him search.
#[test]
fn every_refusal_has_a_place_and_advice() {
    for stem in files("ron") {
        let error = refusal(&stem.with_extension("ron")).unwrap();
        let parts: Vec<&DataError> = match error.parts() {
            [] => vec![&error],
            parts => parts.iter().collect(),
        };
        for part in parts {
            assert!(
                part.span().is_some(),
                "{}: no place: {part}",
                stem.display()
            );
            assert!(
                part.help_text().is_some(),
                "{}: no advice: {part}",
                stem.display()
            );
        }
    }
}

#[test]
fn the_files_that_the_wrong_ones_vary_are_accepted() {
    for entry in fs::read_dir("tests/bad/good").unwrap() {
        let source = Source::from(entry.unwrap().path());
        let error = check_file(&source).err();
        let text = error.map(|e| e.render(Rendering::default()));
        assert!(text.is_none(), "{}", text.unwrap_or_default());
    }
}
