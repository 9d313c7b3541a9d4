//! The README says what is true: its example files are accepted, its first look is the program's
//! own output, its two commands are the two commands.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and reads the project's own files"
)]

use nestline::data::{Source, check_file};
use std::path::Path;
use std::process::Command;

fn readme() -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap()
}

/// The fenced blocks of a language.
fn blocks(text: &str, language: &str) -> Vec<String> {
    let fence = format!("```{language}\n");
    text.split(fence.as_str())
        .skip(1)
        .map(|rest| rest.split("```").next().unwrap().to_owned())
        .collect()
}

#[test]
fn look_example_files_are_accepted() {
    let examples = blocks(&readme(), "ron");
    assert!(examples.len() >= 2, "{} examples", examples.len());
    let folder = tempfile::tempdir().unwrap();
    for (i, example) in examples.iter().enumerate() {
        let file = folder.path().join(format!("example-{i}.ron"));
        std::fs::write(&file, example).unwrap();
        if let Err(error) = check_file(&Source::Disk(file)) {
            panic!("{error}\n{example}");
        }
    }
}

#[test]
fn cli_the_first_look_is_what_the_program_prints() {
    let elsewhere = tempfile::tempdir().unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .current_dir(elsewhere.path())
        .output()
        .unwrap();
    let printed = String::from_utf8(output.stdout).unwrap();
    let printed = printed.split("\nReport: ").next().unwrap().trim();
    let shown = blocks(&readme(), "text");
    assert!(
        shown.iter().any(|block| block.trim() == printed),
        "put this into the README's first look:\n{printed}"
    );
}

#[test]
fn layer_there_are_two_commands_and_ci_runs_the_second() {
    let text = readme();
    let section = text.split("## Two commands").nth(1).unwrap();
    let section = section.split("\n## ").next().unwrap();
    let commands = blocks(section, "sh");
    assert!(
        commands == ["cargo run --release --locked\n", ".ci/test\n"],
        "{commands:?}"
    );
    let ci = Path::new(env!("CARGO_MANIFEST_DIR")).join(".ci/run");
    let ci = std::fs::read_to_string(ci).unwrap();
    assert!(ci.contains("exec .ci/test"), "{ci}");
}
