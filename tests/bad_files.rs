//! Files that are refused, and what is said about them.
//!
//! `tests/bad/NAME.ron` is refused with exactly the words of `tests/bad/NAME.txt`. After a change
//! of a message is meant, run once with `NESTLINE_RENEW_BAD_FILES=1` and read the difference
//! before committing it.

#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::panic,
    reason = "tests write the files they hand in, read what is expected, and may fail loudly"
)]

use crate::support::not_run::not_run;
use nestline::data::{
    DataError, Problem, Rendering, Source, check_file, read_device, read_materials, read_problem,
    read_scene, read_vessel,
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
        "materials" => read_materials(&source).err(),
        "problem" => read_problem(&source).err(),
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
fn exact_every_wrong_file_is_refused_in_the_expected_words() {
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
    if renew {
        not_run("expected messages were written anew, not compared with");
    }
    let texts = files("txt");
    for alone in inputs.symmetric_difference(&texts) {
        if !renew {
            failures.push_str(&format!("{} lacks its text or its file\n", alone.display()));
        }
    }
    assert!(
        failures.is_empty(),
        "- expected, + found; {RENEW}=1 takes what is found\n{failures}"
    );
}

/// A refusal without advice leaves the reader alone; a refusal without place makes him search.
#[test]
fn property_every_refusal_has_a_place_and_advice() {
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
fn property_the_files_that_the_wrong_ones_vary_are_accepted() {
    for entry in fs::read_dir("tests/bad/good").unwrap() {
        let source = Source::from(entry.unwrap().path());
        let error = check_file(&source).err();
        let text = error.map(|e| e.render(Rendering::default()));
        assert!(text.is_none(), "{}", text.unwrap_or_default());
    }
}

#[test]
fn property_every_built_in_file_is_accepted() {
    let mut failures = String::new();
    for (name, _) in Source::embedded() {
        let source = Source::from_argument(format!("embedded:{name}"));
        if let Err(error) = check_file(&source) {
            failures.push_str(&error.render(Rendering::default()));
        }
    }
    assert!(failures.is_empty(), "{failures}");
}

/// A file of this test's own.
fn made(name: &str, bytes: &[u8]) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    fs::write(&path, bytes).unwrap();
    path
}

/// Refused with this problem, these words in the message and these in the advice.
fn assert_refused(path: &Path, problem: Problem, message: &str, help: &str) {
    let error = Source::from(path).read().unwrap_err();
    let name = path.display();
    assert_eq!(error.problem(), problem, "{name}: {error}");
    let found = error.to_string();
    assert!(found.contains(message), "{name}: {found}");
    let found = error.help_text().unwrap_or_default();
    assert!(found.contains(help), "{name}: {found}");
}

#[test]
fn exact_a_missing_file_names_the_likest_beside_it() {
    assert_refused(
        Path::new("tests/bad/good/vesel.ron"),
        Problem::NotFound,
        "there is no file `tests/bad/good/vesel.ron`",
        "that folder has vessel.ron",
    );
    assert_refused(
        Path::new("no-such-folder/vessel.ron"),
        Problem::NotFound,
        "there is no file",
        "its folder is not there either",
    );
}

#[test]
fn exact_a_folder_names_files_in_it() {
    let folder = Path::new("tests/bad/good");
    assert_refused(
        folder,
        Problem::NotAFile,
        "is a folder",
        "name a file in it: balloon.ron, ",
    );
}

#[test]
fn exact_a_huge_file_is_refused_by_its_size_alone() {
    let path = made("huge.ron", b"");
    // sparse: 200 MB by its metadata, nothing on disk
    let file = fs::OpenOptions::new().write(true).open(&path).unwrap();
    file.set_len(200 * 1024 * 1024).unwrap();
    assert_refused(
        &path,
        Problem::TooLarge,
        "200.0 MB, more than the 4 MB",
        "right file",
    );
}

#[test]
fn exact_largest_size_is_still_read() {
    const LARGEST: usize = 4 * 1024 * 1024;
    let mut bytes = vec![b' '; LARGEST];
    bytes[LARGEST - 1] = b'x';
    let path = made("largest.ron", &bytes);
    let text = Source::from(path).read().unwrap();
    assert_eq!(text.len(), LARGEST, "read to its last byte");
    let path = made("too-large.ron", &vec![b' '; LARGEST + 1]);
    assert_refused(&path, Problem::TooLarge, "4.1 MB", "right file");
}

#[test]
fn exact_place_of_what_is_not_utf8() {
    let path = made("latin.ron", b"// one\n// 5 \xB5m\n");
    assert_refused(
        &path,
        Problem::NotText,
        "byte 12 (0xB5), in line 2",
        "save it as UTF-8",
    );
    let path = made("utf16.ron", b"\xFF\xFED\0e\0v\0");
    assert_refused(&path, Problem::NotText, "byte 0 (0xFF)", "UTF-16");
    let path = made("binary.ron", b"\x7FELF\0\0\xFF");
    assert_refused(&path, Problem::NotText, "byte 6 (0xFF)", "no text at all");
}

#[test]
fn exact_an_empty_file_says_so() {
    let path = made("empty.ron", b"");
    assert_refused(&path, Problem::Empty, "is empty", "copy");
    let path = made("blank.ron", b"\n \t\r\n");
    assert_refused(&path, Problem::Empty, "is empty", "copy");
}

#[test]
fn exact_a_byte_order_mark_and_windows_line_ends_do_no_harm() {
    let text = fs::read_to_string("tests/bad/good/selector.ron").unwrap();
    let windows = format!("\u{FEFF}{}", text.replace('\n', "\r\n"));
    let path = made("windows.ron", windows.as_bytes());
    let read = read_device(&Source::from(path)).unwrap();
    let plain = read_device(&Source::from_argument("tests/bad/good/selector.ron")).unwrap();
    assert_eq!(read, plain, "the same device");
}

#[test]
#[cfg(unix)]
fn exact_a_file_that_may_not_be_read_says_so() {
    use std::os::unix::fs::PermissionsExt;
    let path = made("secret.ron", b"Device()");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o000)).unwrap();
    if fs::read(&path).is_ok() {
        return not_run("this user may read everything");
    }
    assert_refused(&path, Problem::NoPermission, "may not be read", "owner");
}

#[test]
#[cfg(unix)]
fn exact_what_is_no_regular_file_is_not_waited_for() {
    assert_refused(
        Path::new("/dev/zero"),
        Problem::NotAFile,
        "is not a regular file",
        "save the text in a file",
    );
}

#[test]
fn exact_deep_nesting_is_refused_not_followed() {
    let path = made(
        "deep.ron",
        format!("Device({}", "(".repeat(500_000)).as_bytes(),
    );
    let error = read_device(&Source::from(path)).unwrap_err();
    assert_eq!(error.problem(), Problem::Syntax, "{error}");
}
