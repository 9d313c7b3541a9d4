//! What the program prints fits the screen it is printed on: no line is too long, no word is cut, and the first screen
//! of a rehearsal is one.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use crate::support::scenes::SCENES;
use std::collections::BTreeSet;
use std::process::Command;

const WIDTHS: [usize; 5] = [60, 80, 100, 140, 200];

/// What a command prints where there is no terminal and `COLUMNS` says how wide.
fn printed(arguments: &[&str], columns: usize) -> String {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .args(arguments)
        .current_dir(folder.path())
        .env("COLUMNS", columns.to_string())
        .output()
        .unwrap();
    let code = output.status.code();
    assert!(matches!(code, Some(0 | 1 | 3)), "{arguments:?}: {code:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// Words as they stand in a text, without what layout adds: bars, scales, marks of what was left out.
fn words(text: &str) -> BTreeSet<String> {
    let drawn = |word: &&str| word.chars().any(char::is_alphabetic);
    let bare = |word: &str| {
        word.trim_matches(|c: char| ";.,:()`\"".contains(c))
            .to_owned()
    };
    text.split_whitespace().filter(drawn).map(bare).collect()
}

fn holds_at_every_width(arguments: &[&str]) {
    let widest = words(&printed(arguments, 1000));
    for columns in WIDTHS {
        let text = printed(arguments, columns);
        for line in text.lines() {
            let length = line.chars().count();
            assert!(
                length <= columns,
                "{arguments:?}, {length} of {columns}: {line}"
            );
        }
        let cut: Vec<String> = words(&text).difference(&widest).cloned().collect();
        assert!(cut.is_empty(), "{arguments:?} at {columns}: {cut:?}");
    }
}

fn scene(name: &str) -> String {
    format!("embedded:scenes/{name}.ron")
}

#[test]
fn cli_a_rehearsal_fits_every_width() {
    let scene = scene("left-tandem-retriever-first");
    holds_at_every_width(&["run", &scene, "--ruler"]);
    holds_at_every_width(&["run", &scene, "--ruler", "--all"]);
    holds_at_every_width(&["run", &scene, "--ruler", "--each"]);
}

#[test]
fn cli_comparison_measures_and_help_fit_every_width() {
    holds_at_every_width(&["compare", &scene("dissection"), "--ruler"]);
    holds_at_every_width(&["measure", "embedded:vessels/left-tandem-type-2.ron"]);
    holds_at_every_width(&["measure", "embedded:vessels/bench-phantom.ron"]);
    holds_at_every_width(&["check", "embedded:vessels/bench-phantom.ron"]);
    for command in [&["--help"][..], &["run", "--help"], &["film", "--help"]] {
        for columns in WIDTHS {
            for line in printed(command, columns).lines() {
                assert!(line.chars().count() <= columns, "{columns}: {line}");
            }
        }
    }
}

/// What a command that is refused prints, `columns` wide.
fn refused(arguments: &[&str], columns: usize) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .args(arguments)
        .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bad"))
        .env("COLUMNS", columns.to_string())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2), "{arguments:?}");
    String::from_utf8(output.stderr).unwrap()
}

#[test]
fn cli_errors_fit_every_width() {
    let bad = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bad")).unwrap();
    let mut files: Vec<String> = bad
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".ron"))
        .collect();
    files.sort();
    let mut commands: Vec<Vec<&str>> = files.iter().map(|f| vec!["check", f.as_str()]).collect();
    let vessel = "embedded:vessels/left-tandem-type-2.ron";
    commands.extend([
        vec!["run", "nowhere.ron"],
        vec!["run", "--set", "common_carotid.lenght=100mm"],
        vec!["run", "--set", "clot.length=+3mm"],
        vec!["run", "--frobnicate"],
        vec!["frobnicate"],
        vec!["compare", "nowhere.ron"],
        vec!["vary", "nowhere.ron"],
        vec!["measure", vessel, "--target", "nowhere"],
        vec!["import", "vessel_cycle.ron", "--unit", "mm"],
        vec!["import", "nowhere.vtp", "--unit", "furlong"],
    ]);
    for arguments in &commands {
        let widest = words(&refused(arguments, 1000));
        for columns in WIDTHS {
            let text = refused(arguments, columns);
            for line in text.lines() {
                let length = line.chars().count();
                assert!(
                    length <= columns,
                    "{arguments:?}, {length} of {columns}: {line}\n{text}"
                );
            }
            // a path too long for its line begins with an ellipsis
            let ends_one = |part: &str| widest.iter().any(|whole| whole.ends_with(part));
            let cut: Vec<String> = words(&text)
                .difference(&widest)
                .filter(|word| !word.rsplit('…').next().is_some_and(ends_one))
                .cloned()
                .collect();
            assert!(
                cut.is_empty(),
                "{arguments:?} at {columns}: {cut:?}\n{text}"
            );
        }
    }
}

#[test]
fn cli_everything_else_fits_every_width() {
    for verb in [
        "run", "compare", "vary", "measure", "import", "check", "draft", "settle", "export",
        "film", "view",
    ] {
        for columns in WIDTHS {
            for line in printed(&[verb, "--help"], columns).lines() {
                assert!(line.chars().count() <= columns, "{verb}, {columns}: {line}");
            }
        }
    }
    let (vessel, scene) = (
        "embedded:vessels/left-tandem-type-2.ron",
        scene("left-tandem-retriever-first"),
    );
    holds_at_every_width(&["measure", vessel, "--for", &scene]);
    holds_at_every_width(&["vary", &scene, "--ruler", "--cases", "20"]);
    let folder = tempfile::tempdir().unwrap();
    let lines = folder.path().join("lines.csv");
    let rows: Vec<String> = (0..60).map(|k| format!("{k},0,0,2")).collect();
    std::fs::write(&lines, format!("x,y,z,radius\n{}\n", rows.join("\n"))).unwrap();
    let (lines, out) = (lines.to_str().unwrap(), folder.path().join("made.ron"));
    for columns in WIDTHS {
        let arguments = [
            "import",
            lines,
            "--unit",
            "mm",
            "--replace",
            "-o",
            out.to_str().unwrap(),
        ];
        for line in printed(&arguments, columns).lines() {
            let fits = line.chars().count() <= columns || line.starts_with("written: ");
            assert!(fits, "{columns}: {line}");
        }
    }
}

#[test]
fn look_places_are_spoken_and_not_spelt() {
    use nestline::data::{Source, read_scene};
    for name in SCENES {
        let scene = scene(name);
        let plan = read_scene(&Source::from_argument(&scene)).unwrap();
        let track = &plan.track;
        let names = track.landmarks.iter().map(|l| &l.name);
        let names = names.chain(track.lesions.iter().map(|l| &l.name));
        let names: BTreeSet<&String> = names
            .chain(track.clots.iter().map(|c| &c.name))
            .filter(|name| name.contains('-'))
            .collect();
        assert!(names.len() > 10, "{name}: {names:?}");
        for arguments in [
            vec!["run", &scene, "--ruler"],
            vec!["run", &scene, "--ruler", "--all"],
            vec!["compare", &scene, "--ruler"],
        ] {
            let text = words(&printed(&arguments, 140));
            let spelt: Vec<&&String> = names.iter().filter(|n| text.contains(**n)).collect();
            assert!(spelt.is_empty(), "{arguments:?}: {spelt:?}");
        }
    }
}

#[test]
fn cli_every_scene_tells_verdict_reason_and_remedy_on_one_screen() {
    for name in SCENES {
        for (columns, most) in [(100, 45), (80, 60)] {
            let text = printed(&["run", &scene(name)], columns);
            let lines = text.trim_end().lines().count();
            assert!(lines <= most, "{name}: {lines} lines at {columns}\n{text}");
            let verdict = ["PASSES", "FAILS", "UNDECIDED"].map(|word| text.contains(word));
            assert_eq!(verdict.iter().filter(|v| **v).count(), 1, "{name}:\n{text}");
            assert!(
                text.contains("Weak points") && text.contains("What would help"),
                "{name}"
            );
            assert!(
                text.contains("--all") && text.contains("not a medical device"),
                "{name}"
            );
            // a reason: the step at which the plan breaks, or what it has to spare
            let reason = match verdict[0] {
                true => " mm to spare",
                false => "tep ",
            };
            assert!(text.contains(reason), "{name}: {text}");
        }
    }
}

#[test]
fn cli_parts_are_parts_of_everything() {
    let scene = scene("left-tandem-retriever-first");
    let all = printed(&["run", &scene, "--ruler", "--all"], 120);
    for (flag, title) in [
        ("--sure", "How sure"),
        ("--steps", "Steps\n"),
        ("--findings", "Warnings\n"),
        ("--fits", "What runs in what"),
        ("--edges", "Stent edges"),
        ("--held", "Who holds the way"),
        ("--clock", "Clock (min from the puncture)"),
    ] {
        let part = printed(&["run", &scene, "--ruler", flag], 120);
        assert!(
            part.contains(title) && all.contains(title),
            "{flag}: {part}"
        );
        assert!(
            part.lines().count() < all.lines().count() / 2,
            "{flag} prints everything"
        );
        let titled = |text: &str| {
            text.split_once(title)
                .unwrap()
                .1
                .lines()
                .next()
                .unwrap()
                .to_owned()
        };
        assert_eq!(
            titled(&part),
            titled(&all),
            "{flag} prints what --all prints"
        );
    }
}

#[test]
fn exact_phases_follow_each_other_and_hold_every_step_once() {
    use nestline::data::{Source, read_scene};
    use nestline::procedure::CentreLine;
    use nestline::rehearsal::{Phase, rehearse_with};
    for name in SCENES {
        let plan = read_scene(&Source::from_argument(scene(name))).unwrap();
        let outcome = rehearse_with(&plan, &mut CentreLine).unwrap();
        let mut next = 1;
        for row in &outcome.phases {
            assert_eq!(row.from_step, next, "{name}: {row:?}");
            next = row.to_step + 1;
        }
        assert_eq!(next, outcome.steps.len() + 1, "{name}");
        let phases: Vec<Phase> = outcome.phases.iter().map(|row| row.phase).collect();
        let expected = [
            Phase::Access,
            Phase::Crossing,
            Phase::Retriever,
            Phase::Neck,
            Phase::Aspiration,
            Phase::Out,
        ];
        assert_eq!(phases, expected, "{name}");
    }
}
