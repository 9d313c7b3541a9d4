//! The program as a user runs it: every scene, every command, exit codes, wrong arguments.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs the program in the project's folder; reports go where they litter nothing.
fn nestline(arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_nestline"));
    command.args(arguments).current_dir(root());
    let reports = tempfile::tempdir().unwrap();
    if arguments.first() == Some(&"run") && !arguments.contains(&"--each") {
        command.arg("--out").arg(reports.path().join("out"));
    }
    command.output().unwrap()
}

/// What was printed before the lines that say where files went.
fn printed(output: &Output) -> String {
    let text = out(output);
    text.split("\nReport: ").next().unwrap().to_owned()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

fn ron_files(folder: &str) -> Vec<PathBuf> {
    let mut files: Vec<_> = std::fs::read_dir(root().join(folder))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "ron"))
        .collect();
    files.sort();
    files
}

/// What each scene has to say, by file name: exit code and words of its output.
const SCENES: [(&str, i32, &str); 8] = [
    (
        "left-tandem-retriever-first",
        0,
        "Every device reaches, with",
    ),
    (
        "dissection",
        0,
        "is dissected: a balloon there can extend the flap",
    ),
    ("kinked-neck-type-3", 0, "type III"),
    ("right-radial", 0, "of the access artery"),
    (
        "guide-below-stent",
        1,
        "is drawn bare across the upper edge of the stent",
    ),
    ("too-short", 1, "the guide is too short"),
    (
        "full-shaft-beside-pusher",
        1,
        "the retriever beside the stent does not fit in the guide",
    ),
    (
        "pusher-too-thick",
        1,
        "the retriever does not fit in the stent",
    ),
];

#[test]
fn cli_every_scene_runs_and_says_its_lesson() {
    for (name, exit, words) in SCENES {
        let output = nestline(&["run", &format!("scenes/{name}.ron")]);
        assert!(
            code(&output) == exit,
            "{name}: exit {}, {}",
            code(&output),
            err(&output)
        );
        let text = out(&output)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        assert!(
            text.contains(words),
            "{name} does not say `{words}`:\n{text}"
        );
        assert!(
            text.contains("not a medical device"),
            "{name}: the caution is missing"
        );
    }
}

#[test]
fn layer_every_scene_file_is_known_here() {
    for file in ron_files("scenes") {
        let stem = file.file_stem().unwrap().to_str().unwrap().to_owned();
        assert!(
            SCENES.iter().any(|s| s.0 == stem),
            "{stem} is not in this test's table"
        );
    }
}

#[test]
fn cli_alone_it_runs_the_embedded_default_scene_anywhere() {
    let elsewhere = tempfile::tempdir().unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .current_dir(elsewhere.path())
        .output()
        .unwrap();
    assert!(code(&output) == 0, "{}", err(&output));
    let from_file = nestline(&["run", "scenes/left-tandem-retriever-first.ron"]);
    assert!(
        printed(&output) == printed(&from_file),
        "the embedded scene and its file say the same"
    );
}

#[test]
fn cli_no_share_is_told_of_a_force_hardly_known() {
    let rehearsed: nestline::rehearsal::Rehearsed =
        serde_json::from_slice(&nestline(&["--json"]).stdout).unwrap();
    let steps = rehearsed.outcome.steps.iter();
    let loads: Vec<_> = steps
        .flat_map(|s| &s.devices)
        .filter_map(|d| d.load.as_ref())
        .collect();
    let mut hardly_known = 0;
    for load in &loads {
        let known = load.hub_force_n > 2.0 * load.within_n;
        // more at the tip than at the hub comes from the device's own bend: no share of what the hand gives
        let share = known && load.tip_force_n <= load.hub_force_n;
        assert!(load.efficiency.is_some() == share, "{load:?}");
        assert!(known || load.share_lost.is_none(), "{load:?}");
        assert!(load.share_lost.is_none_or(|lost| lost <= 1.0), "{load:?}");
        hardly_known += usize::from(!known);
    }
    assert!(
        (1..loads.len()).contains(&hardly_known),
        "{hardly_known} of {} forces hardly known",
        loads.len()
    );
}

#[test]
fn cli_json_has_a_schema_and_the_text_s_numbers() {
    for (arguments, schema) in [
        (vec!["--json"], "nestline.rehearsal"),
        (
            vec!["run", "scenes/too-short.ron", "--json"],
            "nestline.rehearsal",
        ),
        (
            vec!["measure", "vessels/left-tandem-type-2.ron", "--json"],
            "nestline.measures",
        ),
        (
            vec!["check", "vessels/left-tandem-type-2.ron", "--json"],
            "nestline.check",
        ),
    ] {
        let output = nestline(&arguments);
        let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert!(
            value["schema"] == schema,
            "{arguments:?}: {}",
            value["schema"]
        );
        assert!(value["version"].is_u64(), "{arguments:?}: no version");
    }
    let rehearsed: nestline::rehearsal::Rehearsed =
        serde_json::from_slice(&nestline(&["--json"]).stdout).unwrap();
    let steps = rehearsed.outcome.steps.len();
    assert!(steps > 40, "{steps} steps");
    let again = serde_json::to_string_pretty(&rehearsed).unwrap() + "\n";
    assert!(
        again.as_bytes() == nestline(&["--json"]).stdout,
        "JSON does not survive a round trip"
    );
}

#[test]
fn cli_two_runs_are_the_same_to_the_last_byte() {
    let runs: Vec<_> = (0..2)
        .map(|_| nestline(&["run", "scenes/right-radial.ron", "--json"]).stdout)
        .collect();
    assert!(runs[0] == runs[1], "the same scene gives another output");
}

#[test]
fn cli_every_vessel_is_measured() {
    let files = ron_files("vessels");
    assert!(files.len() >= 17, "{} vessels", files.len());
    for file in files {
        let output = nestline(&["measure", file.to_str().unwrap()]);
        assert!(code(&output) == 0, "{}: {}", file.display(), err(&output));
        assert!(
            out(&output).contains("NASCET"),
            "{}: no lesion on the route",
            file.display()
        );
    }
}

#[test]
fn cli_a_clot_longer_than_its_vessel_is_told_where_it_runs_on() {
    let told = |length: &str| {
        let vessel = std::fs::read_to_string("vessels/left-tandem-type-2.ron").unwrap();
        let written = vessel.replace(
            "beyond_terminus: \"6 mm\"), length: \"10 mm\"",
            &format!("beyond_terminus: \"6 mm\"), length: \"{length}\""),
        );
        assert!(written.contains(length), "the clot stands there");
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("vessel.ron");
        std::fs::write(&file, written).unwrap();
        let output = nestline(&["measure", file.to_str().unwrap()]);
        assert!(code(&output) == 0, "{}", err(&output));
        let text = out(&output);
        let line = text.lines().find(|line| line.starts_with("clot: "));
        line.unwrap().to_owned()
    };
    assert_eq!(told("10 mm"), "clot: 10.0 mm in m1");
    let long = told("30 mm");
    let (in_m1, on) = long
        .strip_prefix("clot: ")
        .and_then(|rest| rest.split_once(" mm in m1, running on for "))
        .unwrap_or_else(|| panic!("{long}"));
    let on = on.strip_suffix(" mm in m2-inferior").unwrap();
    let all: f64 = [in_m1, on]
        .map(|mm| mm.parse::<f64>().unwrap())
        .iter()
        .sum();
    assert!((all - 30.0).abs() < 0.11, "{long}");
}

#[test]
fn cli_check_says_good_or_exits_with_2() {
    let vessels = ron_files("vessels");
    let scenes = ron_files("scenes");
    let devices = ron_files("scenes/devices");
    let mut arguments = vec!["check"];
    let all: Vec<_> = vessels
        .iter()
        .chain(&scenes)
        .chain(&devices)
        .map(|p| p.to_str().unwrap())
        .collect();
    arguments.extend(&all);
    let output = nestline(&arguments);
    assert!(code(&output) == 0, "{}", err(&output));
    assert!(out(&output).lines().count() == all.len(), "one line a file");
    let output = nestline(&[
        "check",
        "scenes/too-short.ron",
        "tests/bad/device_unknown_unit.ron",
    ]);
    assert!(code(&output) == 2, "a wrong file among good ones");
    assert!(
        out(&output).contains("good") && err(&output).contains("device_unknown_unit"),
        "{}",
        err(&output)
    );
}

#[test]
fn cli_what_cannot_run_exits_with_2_and_says_why() {
    for (arguments, words) in [
        (
            vec!["run", "no-such-scene.ron"],
            "there is no file `no-such-scene.ron`",
        ),
        (vec!["run", "scenes"], "scenes"),
        (vec!["measure", "scenes/too-short.ron"], "scene"),
        (vec!["run", "embedded:scenes/nothing.ron"], "nothing.ron"),
        (
            vec![
                "measure",
                "vessels/left-tandem-type-2.ron",
                "--target",
                "m2-inferor",
            ],
            "m2-inferior",
        ),
        (
            vec!["export", "--stl", "never-written.stl", "--branch", "ica"],
            "no branch of the vessel is named `ica`: there are aorta,",
        ),
        (vec!["fly"], "fly"),
        (vec!["check"], "FILES"),
    ] {
        let output = nestline(&arguments);
        assert!(code(&output) == 2, "{arguments:?}: exit {}", code(&output));
        let told = err(&output);
        assert!(
            told.contains(words),
            "{arguments:?}: `{words}` is not in\n{told}"
        );
        assert!(!told.contains("panicked"), "{arguments:?}: {told}");
        assert!(output.stdout.is_empty(), "{arguments:?}: half an output");
    }
}

#[test]
fn cli_help_carries_an_example_and_the_caution() {
    for command in ["run", "compare", "draft", "measure", "check"] {
        let output = nestline(&[command, "--help"]);
        assert!(
            code(&output) == 0 && out(&output).contains("Example: nestline"),
            "{command}: {}",
            out(&output)
        );
    }
    assert!(
        out(&nestline(&["--help"])).contains("not a medical device"),
        "the caution is missing in --help"
    );
}

/// Whether the program draws or not: a reader of the help decides by it whether to build what does.
#[test]
fn cli_help_of_what_draws_lists_its_options() {
    for (command, options) in [
        (
            "film",
            &["--size", "--seconds", "--shot", "--set", "--ruler"][..],
        ),
        ("view", &["--dark", "--set", "--ruler"]),
    ] {
        let told = out(&nestline(&[command, "--help"]));
        for option in options {
            assert!(told.contains(option), "{command} {option}: {told}");
        }
        let built = cfg!(feature = "viewer") || told.contains("--features viewer");
        assert!(built, "{command} does not say how to get it: {told}");
    }
}

#[test]
fn cli_names_are_not_cut_at_their_hyphens() {
    let told = err(&nestline(&[
        "check",
        "tests/bad/scene_unknown_landmark.ron",
    ]));
    let help = told.split("help:").nth(1).unwrap();
    for line in help.lines() {
        assert!(!line.trim_end().ends_with('-'), "{help}");
    }
}

#[test]
fn cli_a_closed_pipe_is_no_error() {
    use std::process::Stdio;
    let mut child = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .arg("--json")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert!(code(&output) == 0, "{}", err(&output));
}

#[test]
#[expect(clippy::disallowed_methods, reason = "a test writes its own file")]
fn cli_a_problem_solved_more_often_is_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bend.ron");
    std::fs::write(
        &file,
        "Problem(runs: [(length_mm: 30.0, turn_deg: 0.0, clearance_mm: 1.5), (length_mm: 30.0, turn_deg: 90.0, clearance_mm: 1.5)], \
         rods: [(stiffness: constant_n_mm2(20.0), outer_mm: 0.5)])",
    )
    .unwrap();
    let file = file.to_str().unwrap();
    let solved = |more: &[&str]| {
        let output = nestline(&[&["settle", file, "--json"], more].concat());
        assert_eq!(code(&output), 0, "{}", err(&output));
        serde_json::from_str::<serde_json::Value>(&out(&output)).unwrap()
    };
    let (once, often) = (solved(&[]), solved(&["--best-of", "5"]));
    assert!(often["milliseconds"].as_f64().unwrap() > 0.0, "{often}");
    let without_time = |mut report: serde_json::Value| {
        report["milliseconds"] = serde_json::Value::Null;
        report
    };
    assert_eq!(without_time(once), without_time(often), "another solution");
    let never = nestline(&["settle", file, "--best-of", "0"]);
    assert_eq!(code(&never), 2, "{}", err(&never));
    assert!(err(&never).contains("--best-of"), "{}", err(&never));
}
