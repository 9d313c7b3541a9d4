//! What a test could not look at, said where the harness does not hide it.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and reads and writes files of its own"
)]

use std::collections::BTreeSet;
use std::io::Write;
use std::panic::Location;
use std::path::PathBuf;
use std::process::Command;
use std::sync::Mutex;

/// Path of the file in which lines are gathered for a summary; `.ci/test` sets it and prints them at its end.
const GATHERED: &str = "NESTLINE_NOT_RUN";
/// Folder of the open artery data, where it does not lie beside the checkout.
const OPEN_DATA: &str = "NESTLINE_OPEN_DATA";

/// Says which test left something out and why, once. The harness keeps back what print macros write while a
/// test passes; this goes to standard error past it, and to the file of [`GATHERED`] where there is one.
#[track_caller]
pub(crate) fn not_run(why: &str) {
    static TOLD: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());
    let place = Location::caller();
    let thread = std::thread::current();
    // tests run on threads of their names, or all of them on the main one
    let test = match thread.name() {
        Some(name) if name != "main" => name.to_owned(),
        _ => format!("{}:{}", place.file(), place.line()),
    };
    let line = format!("not run: {test}: {}\n", why.trim());
    if !TOLD.lock().unwrap().insert(line.clone()) {
        return;
    }
    std::io::stderr().write_all(line.as_bytes()).unwrap();
    if let Some(path) = std::env::var_os(GATHERED) {
        let mut file = std::fs::OpenOptions::new()
            .create(true)
            .append(true)
            .open(path)
            .unwrap();
        file.write_all(line.as_bytes()).unwrap();
    }
}

/// A file of the open artery data as text; where it is absent that is said and nothing comes back.
#[track_caller]
pub(crate) fn open_data(name: &str) -> Option<String> {
    let folder = std::env::var_os(OPEN_DATA).map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/open-data")),
        PathBuf::from,
    );
    let text = std::fs::read_to_string(folder.join(name)).ok();
    if text.is_none() {
        not_run(&format!("open artery data, {name}, are absent"));
    }
    text
}

#[test]
fn layer_absent_data_is_said_past_the_harness_and_gathered() {
    let folder = tempfile::tempdir().unwrap();
    let gathered = folder.path().join("gathered");
    let test = "published::published_siphon_of_a_traced_artery_bends_like_a_siphon";
    let output = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", test])
        .env(OPEN_DATA, folder.path())
        .env(GATHERED, &gathered)
        .output()
        .unwrap();
    let printed = String::from_utf8(output.stdout).unwrap();
    assert!(
        output.status.success() && printed.contains("1 passed"),
        "{printed}"
    );
    let said = String::from_utf8(output.stderr).unwrap();
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines.len(), 2, "one for each file: {said}");
    for line in lines {
        assert!(
            line.starts_with(&format!("not run: {test}: open artery data, "))
                && line.ends_with(".csv, are absent"),
            "{line}"
        );
    }
    let kept = std::fs::read_to_string(gathered).unwrap();
    assert_eq!(kept, said, "the same lines for the summary");
}
