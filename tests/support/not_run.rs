//! What a test could not look at, said where the harness does not hide it.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and reads and writes files of its own"
)]

use std::collections::BTreeSet;
use std::io::Write;
use std::panic::Location;
use std::sync::Mutex;

/// Path of the file in which lines are gathered for a summary; `.ci/test` sets it and prints them at its end.
pub(crate) const GATHERED: &str = "NESTLINE_NOT_RUN";
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
