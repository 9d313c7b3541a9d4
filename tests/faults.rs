//! What people and machines do wrong: hostile names, values beyond all bounds, output that goes nowhere.
#![cfg(unix)]
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and writes what it needs"
)]

use super::folders::SHORT;
use nestline::data::{Rendering, Source, check_file};
use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::path::Path;
use std::process::{Command, Output, Stdio};

const DEVICE: &str = include_str!("bad/good/selector.ron");

fn nestline(place: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_nestline"))
        .args(arguments)
        .current_dir(place)
        .output()
        .unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn code(output: &Output) -> Option<i32> {
    output.status.code()
}

/// Whether a text holds anything that a terminal would obey, or that turns the direction of a text.
fn steers(text: &str) -> bool {
    text.chars().any(|c| {
        (c.is_control() && !matches!(c, '\n' | '\t'))
            || matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
    })
}

/// The default scene's text with one piece exchanged, its devices found from anywhere.
fn scene_with(old: &str, new: &str) -> String {
    let text = include_str!("../scenes/left-tandem-retriever-first.ron");
    assert!(text.contains(old), "`{old}` is not in the scene");
    let root = env!("CARGO_MANIFEST_DIR");
    text.replacen(old, new, 1)
        .replace("\"../", "\"embedded:")
        .replace("\"devices/", &format!("\"{root}/scenes/devices/"))
}

#[test]
fn cli_times_beyond_a_day_are_refused_where_they_stand() {
    let place = tempfile::tempdir().unwrap();
    for (change, field) in [
        ("dwell=1e20", "86400"),
        ("pace=1e9", "0.01 to 10"),
        ("pace=11", "pace"),
        ("durations.handling.insert.takes_s=1e12", "86400"),
        (
            "durations.speed_mm_per_s.covered.value=1e-9",
            "0.1 to 10000",
        ),
    ] {
        let run = nestline(place.path(), &["run", "--ruler", "--json", "--set", change]);
        assert_eq!(code(&run), Some(2), "{change}: {}", err(&run));
        assert!(err(&run).contains(field), "{change}: {}", err(&run));
        assert!(run.stdout.is_empty(), "{change}: half an output");
    }
    let act = "act: Insert(device: \"sheath\"";
    for (new, field) in [
        (format!("takes_s: 1e20, {act}"), "script[0].takes_s"),
        (format!("act: Wait(minutes: 1e6)),\n({act}"), "minutes"),
    ] {
        let file = place.path().join("scene.ron");
        fs::write(&file, scene_with(act, &new)).unwrap();
        let error = check_file(&Source::from(file)).unwrap_err();
        let told = error.render(Rendering::default());
        assert!(
            told.contains("1440") || told.contains("86400"),
            "{field}: {told}"
        );
        assert!(error.place().is_some(), "no line is named: {told}");
    }
}

#[test]
fn cli_counts_beyond_all_bounds_are_refused() {
    let place = tempfile::tempdir().unwrap();
    for (arguments, word) in [
        (vec!["--set", "durations.team.hands=4294967295"], "0 to 20"),
        (vec!["--set", "durations.team.assistants=21"], "0 to 20"),
        (vec!["--courses", "18446744073709551615"], "100000"),
        (vec!["--courses", "10000000"], "100000"),
        (vec!["--courses", "0"], "1..=100000"),
    ] {
        let all = [&["run", "--ruler", "--json"], arguments.as_slice()].concat();
        let run = nestline(place.path(), &all);
        assert_eq!(code(&run), Some(2), "{arguments:?}: {}", err(&run));
        assert!(err(&run).contains(word), "{arguments:?}: {}", err(&run));
    }
    let file = place.path().join("long.ron");
    for (sampling, word) in [
        ("threads: 4294967295", "1 to 1024"),
        ("samples: 4294967295", "1 to 1000000"),
        ("samples: 0", "1 to 1000000"),
    ] {
        let rules = format!("rules: (edge: (sampling: ({sampling}))),\n    script: [");
        fs::write(&file, scene_with("script: [", &rules)).unwrap();
        let error = check_file(&Source::from(file.clone())).unwrap_err();
        assert!(error.to_string().contains(word), "{error}");
    }
    let step = "(act: Wait(minutes: 0.1)),\n";
    fs::write(
        &file,
        scene_with("script: [", &format!("script: [{}", step.repeat(2001))),
    )
    .unwrap();
    let error = check_file(&Source::from(file)).unwrap_err();
    assert!(error.to_string().contains("more than 2000"), "{error}");
}

#[test]
fn cli_refusals_of_endless_lines_are_short() {
    let place = tempfile::tempdir().unwrap();
    let long = "x".repeat(65_600);
    for (name, text) in [
        (
            "name.ron",
            DEVICE
                .replacen("class:", &format!("about: \"{long}\", wrong: 1, class:"), 1)
                .replace('\n', " "),
        ),
        (
            "field.ron",
            DEVICE.replacen("class:", &format!("{long}: 1, class:"), 1),
        ),
        ("text.ron", format!("Device(name: \"{}", long.repeat(60))),
        (
            "blank.ron",
            format!("Device(name: {}1", " ".repeat(4_000_000)),
        ),
    ] {
        fs::write(place.path().join(name), text).unwrap();
        let check = nestline(place.path(), &["check", name]);
        assert_eq!(code(&check), Some(2), "{name}: {}", check.stderr.len());
        let told = err(&check);
        assert!(told.len() < 8000, "{name}: {} bytes", told.len());
        assert!(!told.contains("panicked"), "{name}: {told}");
        assert!(told.contains(name), "{name} is not named: {told}");
    }
    // the place is that in the whole line
    fs::write(
        place.path().join("column.ron"),
        DEVICE
            .replacen("class:", &format!("/* {long} */ wrong: 1, class:"), 1)
            .replace('\n', " "),
    )
    .unwrap();
    let check = nestline(place.path(), &["check", "column.ron", "--json"]);
    let told: serde_json::Value = serde_json::from_slice(&check.stderr).unwrap();
    assert_eq!(
        (&told["line"], told["column"].as_u64() > Some(65_600)),
        (&1.into(), true),
        "{told}"
    );
}

#[test]
fn cli_nothing_that_steers_a_terminal_gets_in() {
    let place = tempfile::tempdir().unwrap();
    let file = place.path().join("device.ron");
    for hostile in [
        "\u{1b}[31m",
        "\u{1b}]0;title\u{7}",
        "\u{9b}31m",
        "\r",
        "\u{7f}",
        "\u{202e}",
        "\u{2066}",
        "\\u{1b}",
        "\\x07",
        "\\r",
        "\\b",
    ] {
        let text = DEVICE.replacen("name: \"", &format!("name: \"{hostile}"), 1);
        assert_ne!(text, DEVICE, "nothing was put in");
        fs::write(&file, text).unwrap();
        let error = check_file(&Source::from(file.clone())).unwrap_err();
        let told = error.render(Rendering::default());
        assert!(told.contains("`name` holds U+"), "{hostile:?}: {told}");
        assert!(!steers(&told), "{hostile:?}: {told:?}");
    }
    // what is no escape, and line ends of both kinds
    for harmless in ["\\\\u{1b}", "\\t", "\\u{e9}"] {
        let text = DEVICE.replacen("name: \"", &format!("name: \"{harmless}"), 1);
        fs::write(&file, text.replace('\n', "\r\n")).unwrap();
        assert!(
            check_file(&Source::from(file.clone())).is_ok(),
            "{harmless}"
        );
    }
    // a refusal for another reason shows the line, and a name of a file
    fs::write(
        &file,
        DEVICE
            .replacen("name: \"", "wrong: \"\u{1b}[31m\u{202e}", 1)
            .replacen("Device(", "Devise(", 1),
    )
    .unwrap();
    let hostile = place.path().join("a\u{1b}[31m.ron");
    fs::copy(&file, &hostile).unwrap();
    for arguments in [
        ["check", "device.ron"],
        ["check", "a\u{1b}[31m.ron"],
        ["check", "no\u{9b}such.ron"],
        ["run", "no\u{1b}such.ron"],
        ["draft", "\u{1b}strategy"],
    ] {
        for json in [&[][..], &["--json"]] {
            let output = nestline(place.path(), &[&arguments[..], json].concat());
            assert_eq!(code(&output), Some(2), "{arguments:?}");
            let told = err(&output) + &String::from_utf8(output.stdout).unwrap();
            assert!(!steers(&told), "{arguments:?}: {told:?}");
        }
    }
}

#[test]
fn cli_machines_get_errors_as_documents() {
    let place = tempfile::tempdir().unwrap();
    fs::write(
        place.path().join("bad.ron"),
        DEVICE.replacen("class:", "clas:", 1),
    )
    .unwrap();
    fs::create_dir_all(place.path().join("out/report.html")).unwrap();
    fs::write(place.path().join("short.ron"), SHORT).unwrap();
    for (arguments, kind) in [
        (vec!["check", "bad.ron"], "not_accepted"),
        (vec!["run", "missing.ron"], "not_found"),
        (vec!["run", "--courses", "0"], "arguments"),
        (vec!["fly"], "arguments"),
        (vec!["export"], "refused"),
        (
            vec!["run", "short.ron", "--ruler", "--out", "out"],
            "not_written",
        ),
        (
            vec!["draft", "neck-first", "--out", "no/x.ron"],
            "not_written",
        ),
    ] {
        let output = nestline(place.path(), &[arguments.as_slice(), &["--json"]].concat());
        assert_eq!(code(&output), Some(2), "{arguments:?}: {}", err(&output));
        assert_eq!(
            err(&output).lines().count(),
            1,
            "{arguments:?}: {}",
            err(&output)
        );
        let told: serde_json::Value = serde_json::from_slice(&output.stderr).unwrap();
        assert_eq!(told["schema"], "nestline.error", "{told}");
        assert_eq!(told["version"], 1, "{told}");
        assert_eq!(told["code"], kind, "{told}");
        assert!(
            told["message"].as_str().is_some_and(|m| m.len() > 10),
            "{told}"
        );
        if kind == "not_accepted" {
            assert_eq!(told["file"], "bad.ron", "{told}");
            assert!(
                told["line"].as_u64() > Some(1) && told["column"].is_u64(),
                "{told}"
            );
            assert!(
                told["help"].as_str().is_some_and(|h| h.contains("class")),
                "{told}"
            );
        }
    }
}

#[test]
fn cli_what_cannot_be_written_names_the_place_and_keeps_the_verdict() {
    let place = tempfile::tempdir().unwrap();
    fs::write(place.path().join("file"), SHORT).unwrap();
    // a place below a file, and one where the system lets nobody write
    for (out, why) in [
        ("file/out", "is a file"),
        ("/proc/nestline/out", "/proc/nestline/out"),
    ] {
        let run = nestline(
            place.path(),
            &["run", "file", "--ruler", "--courses", "10", "--out", out],
        );
        assert_eq!(code(&run), Some(2), "{out}: {}", err(&run));
        let told = err(&run);
        assert!(told.contains(out) && told.contains(why), "{out}: {told}");
        let said = String::from_utf8(run.stdout).unwrap();
        assert!(
            said.contains("PASSES") || said.contains("FAILS"),
            "{out}: the verdict is lost\n{said}"
        );
    }
    let draft = nestline(
        place.path(),
        &["draft", "neck-first", "--out", "missing/y.ron"],
    );
    assert_eq!(code(&draft), Some(2), "{}", err(&draft));
    assert!(
        err(&draft).contains("there is no folder `missing`"),
        "{}",
        err(&draft)
    );
    // no room: files may not grow beyond a few blocks
    for arguments in [
        "run file --ruler --courses 10 --out new",
        "run file --ruler --courses 10 --out old",
        "export --stl x.stl --branch internal-carotid",
    ] {
        fs::create_dir_all(place.path().join("old")).unwrap();
        fs::write(place.path().join("old/notes.txt"), "mine").unwrap();
        let script = format!("trap '' XFSZ; ulimit -f 40; exec \"$0\" {arguments}");
        let full = Command::new("sh")
            .args(["-c", &script, env!("CARGO_BIN_EXE_nestline")])
            .current_dir(place.path())
            .stdout(Stdio::null())
            .output()
            .unwrap();
        assert_eq!(code(&full), Some(2), "{arguments}: {}", err(&full));
        assert!(
            err(&full).contains("there is no room left"),
            "{arguments}: {}",
            err(&full)
        );
        let mut left: Vec<_> = fs::read_dir(place.path())
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        left.sort();
        assert_eq!(left, ["file", "old"], "{arguments} leaves something behind");
        let inside = fs::read_dir(place.path().join("old")).unwrap().count();
        assert_eq!(inside, 1, "{arguments} leaves something behind");
    }
}

#[test]
fn cli_exit_codes_do_not_depend_on_who_reads() {
    let place = tempfile::tempdir().unwrap();
    // a plan that fails does so for a reader who has seen enough
    let file = place.path().join("fails.ron");
    let too_far = SHORT.replace(
        "Short(\"carotid-bifurcation\", \"30 mm\")",
        "At(\"m2-inferior-end\")",
    );
    assert_ne!(too_far, SHORT, "nothing was changed");
    fs::write(&file, too_far).unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .arg("run")
        .arg(file)
        .args(["--ruler", "--courses", "10", "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(code(&output), Some(1), "{}", err(&output));
    assert!(err(&output).is_empty(), "{}", err(&output));
    for arguments in [
        &["--help"][..],
        &["--version"],
        &["run", "--help"],
        &["measure", "embedded:vessels/left-tandem-type-2.ron"],
    ] {
        let full = fs::OpenOptions::new()
            .write(true)
            .open("/dev/full")
            .unwrap();
        let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
            .args(arguments)
            .current_dir(place.path())
            .stdout(full)
            .output()
            .unwrap();
        assert_eq!(code(&output), Some(2), "{arguments:?}: {}", err(&output));
        assert!(
            err(&output).contains("standard output"),
            "{arguments:?}: {}",
            err(&output)
        );
    }
}

#[test]
fn cli_a_file_may_have_any_name() {
    let place = tempfile::tempdir().unwrap();
    let name = OsStr::from_bytes(b"selector-\xff.ron");
    fs::write(place.path().join(name), DEVICE).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .args([OsStr::new("check"), name])
        .current_dir(place.path())
        .output()
        .unwrap();
    assert_eq!(code(&output), Some(0), "{}", err(&output));
    // files of the system that are regular by name only block nobody
    if Path::new("/proc/kmsg").exists() {
        let output = nestline(place.path(), &["check", "/proc/kmsg"]);
        assert_eq!(code(&output), Some(2), "{}", err(&output));
    }
}
