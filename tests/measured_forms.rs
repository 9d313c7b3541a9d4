//! The form to fill in: every line of it can be, whatever is left out is assumed, and contradictions are told.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and writes its own files"
)]

use nestline::data::{self, Source};
use nestline::geometry::TrackSettings;
use nestline::output::{blank_form, measures_text, vessel_drawing};
use std::path::Path;
use std::process::Command;

fn in_file<T>(text: &str, read: impl FnOnce(&Source) -> T) -> T {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("form.ron");
    std::fs::write(&path, text).unwrap();
    read(&Source::Disk(path))
}

/// The form with some of its lines filled in.
fn filled(form: &str, fill: impl Fn(&str) -> bool) -> String {
    let lines = form.lines().map(|line| {
        let inner = line.trim_start();
        match inner.strip_prefix("// ") {
            Some(rest) if is_field(rest) && fill(rest) => format!("{rest}\n"),
            _ => format!("{line}\n"),
        }
    });
    lines.collect()
}

/// `name: value,` with nothing before it.
fn is_field(rest: &str) -> bool {
    let name = rest.split(':').next().unwrap();
    rest.ends_with(',')
        && rest.contains(": ")
        && name
            .chars()
            .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
}

#[test]
fn property_every_line_of_the_form_can_be_filled() {
    let form = blank_form().unwrap();
    let vessel = in_file(&form, |source| data::read_vessel(source).unwrap());
    assert_eq!(
        vessel
            .info
            .values
            .iter()
            .filter(|v| v.assumed_from.is_none())
            .count(),
        4,
        "who it is, and no more"
    );
    let fields: Vec<&str> = form
        .lines()
        .filter_map(|l| l.trim_start().strip_prefix("// "))
        .filter(|l| is_field(l))
        .collect();
    assert_eq!(fields.len(), 73, "{fields:?}");
    let blank_error = |text: &str| in_file(text, |source| data::read_vessel(source).err());
    for (i, field) in fields.iter().enumerate() {
        // the place of the field among those of its name, since groups share names
        let nth = fields[..i].iter().filter(|f| *f == field).count();
        let seen = std::cell::Cell::new(0);
        let mut text = filled(&form, |line| {
            let hit = line == *field && seen.get() == nth;
            seen.set(seen.get() + usize::from(line == *field));
            hit
        });
        if form.find("radial: (").unwrap() < form.find(field).unwrap()
            && form.find(field).unwrap() < form.find("aorta: (").unwrap()
        {
            text = text.replace("access: FemoralRight", "access: RadialRight");
        }
        if field.starts_with("puncture_below_bifurcation") {
            text = text.replace("access: FemoralRight", "access: DirectCarotid");
        }
        if field.starts_with("chord") {
            // a straight distance says something only with the length
            text = text.replacen(field, &format!("{field} length_to_chord: 1.15,"), 1);
        }
        let error = blank_error(&text);
        assert!(
            error.is_none(),
            "{field}: {}",
            error.unwrap().render(data::Rendering::default())
        );
    }
}

#[test]
fn look_a_contradiction_is_told_with_what_would_mend_it() {
    let form = blank_form().unwrap();
    let text = form.replacen(
        "cervical_ica: (",
        "cervical_ica: (length: \"80 mm\", length_to_chord: 1.4, chord: \"30 mm\",",
        1,
    );
    let error = in_file(&text, |source| data::read_vessel(source).unwrap_err());
    let told = error.render(data::Rendering::default());
    for words in ["30 mm", "57 mm", "2.67", "contradict"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    assert_eq!(
        error.place().map(|(_, line, _)| line),
        text.lines()
            .position(|l| l.contains("chord: \"30 mm\""))
            .map(|i| i + 1)
    );
}

#[test]
fn exact_unusual_entries_are_doubted_and_the_missing_length_named() {
    let form = blank_form().unwrap();
    let text = form
        .replacen("m1: (", "m1: (diameter: \"4.6 mm\",", 1)
        .replacen(
            "femoral: (",
            "femoral: (puncture_to_bifurcation: \"310 mm\",",
            1,
        );
    let report = in_file(&text, |source| data::measure_vessel(source, None).unwrap());
    let about = |word: &str| report.doubts.iter().any(|d| d.contains(word));
    assert!(
        about("m1.diameter") && about("femoral.puncture_to_bifurcation"),
        "{:?}",
        report.doubts
    );
    // the abdominal aorta differs most of all lengths that are left
    assert_eq!(
        report.would_help[0].name, "femoral.coeliac_to_left_subclavian",
        "{:?}",
        report.would_help
    );
    let help = &report.would_help[0];
    assert!(
        (help.longer_mm - help.spread).abs() < 1.0,
        "a length moves the route by itself: {help:?}"
    );
    let words = measures_text(&report, 100);
    for part in [
        "Look again",
        "Missing measurements that would help most",
        "derived from",
        "measured",
    ] {
        assert!(words.contains(part), "{part}: {words}");
    }
    let calm = in_file(&form, |source| data::measure_vessel(source, None).unwrap());
    assert!(calm.doubts.is_empty(), "{:?}", calm.doubts);
}

#[test]
fn look_the_drawing_shows_both_views_with_names() {
    let source = Source::from_argument("embedded:vessels/left-tandem-type-2.ron");
    let (_, vessel, track) = data::measure_vessel_on(&source, None).unwrap();
    assert!(track.spacing_mm <= TrackSettings::default().spacing_mm);
    let drawing = vessel_drawing(&vessel.info.name, &vessel.tree, &track);
    assert!(drawing.starts_with("<svg ") && drawing.ends_with("</svg>\n"));
    for words in [
        "from the front",
        "from the patient",
        "carotid bifurcation",
        "skull base",
        "100 mm",
    ] {
        assert!(drawing.contains(words), "{words}");
    }
    assert_eq!(
        drawing.matches(">carotid bifurcation<").count(),
        2,
        "in both views"
    );
    assert!(
        !drawing.contains("NaN") && !drawing.contains(",inf") && !drawing.contains("\"inf"),
        "every place is a number"
    );
}

/// Exit code of the program in a folder, and everything it said.
fn told_in(folder: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned()
        + &String::from_utf8_lossy(&output.stderr);
    (output.status.code(), text)
}

#[test]
fn cli_the_form_is_written_filled_and_measured() {
    let folder = tempfile::tempdir().unwrap();
    let run = |arguments: &[&str]| told_in(folder.path(), arguments);
    assert_eq!(run(&["measure", "--new", "-o", "neck.ron"]).0, Some(0));
    let (code, told) = run(&["measure", "--new", "-o", "neck.ron"]);
    assert!(code == Some(2) && told.contains("exists already"), "{told}");
    let (code, told) = run(&["measure", "neck.ron", "--drawing", "neck.svg"]);
    assert!(
        code == Some(0) && told.contains("would help most"),
        "{told}"
    );
    assert!(folder.path().join("neck.svg").is_file());
    let (code, told) = run(&["measure"]);
    assert!(code == Some(2) && told.contains("VESSEL"), "{told}");
}

#[test]
fn cli_an_import_is_written_checked_and_measured() {
    let folder = tempfile::tempdir().unwrap();
    let run = |arguments: &[&str]| told_in(folder.path(), arguments);
    let generic = "embedded:vessels/left-tandem-type-2.ron";
    assert_eq!(
        run(&["export", generic, "--centre-lines", "tree.vtp"]).0,
        Some(0)
    );
    let (code, told) = run(&["import", "tree.vtp"]);
    assert!(
        code == Some(2) && told.contains("--unit"),
        "a unit is never guessed: {told}"
    );
    let (code, told) = run(&["import", "tree.vtp", "--unit", "mm", "-o", "tree.ron"]);
    assert!(
        code == Some(0) && told.contains("written: tree.ron"),
        "{told}"
    );
    let (code, told) = run(&["import", "tree.vtp", "--unit", "mm", "-o", "tree.ron"]);
    assert!(code == Some(2) && told.contains("exists already"), "{told}");
    assert_eq!(run(&["check", "tree.ron"]).0, Some(0));
    assert_eq!(run(&["measure", "tree.ron"]).0, Some(0));
    std::fs::write(
        folder.path().join("bad.csv"),
        "x,y,z,radius\n0,0,0,1\n0,0,nan,1\n",
    )
    .unwrap();
    let (code, told) = run(&["import", "bad.csv", "--unit", "mm", "-o", "bad.ron"]);
    assert!(
        code == Some(2) && told.contains("bad.csv") && told.contains("row 3"),
        "{told}"
    );
    assert!(
        !folder.path().join("bad.ron").exists(),
        "nothing half-written"
    );
}

#[test]
fn cli_what_is_missing_is_ranked_by_a_plan() {
    let folder = tempfile::tempdir().unwrap();
    let (vessel, scene) = (
        "embedded:vessels/left-tandem-type-2.ron",
        "embedded:scenes/left-tandem-retriever-first.ron",
    );
    let text = Source::from_argument(vessel).read().unwrap();
    let measured = text.replacen(
        "form: Measured((",
        "form: Measured((\n        femoral: (puncture_to_bifurcation: \"215 mm\", bifurcation_to_renal: \"100 mm\", renal_to_coeliac: \"50 mm\",\n            coeliac_to_left_subclavian: \"240 mm\"),",
        1,
    );
    std::fs::write(folder.path().join("measured.ron"), measured).unwrap();
    let asked = |vessel: &str| {
        let (code, told) = told_in(
            folder.path(),
            &["measure", vessel, "--for", scene, "--json"],
        );
        assert_eq!(code, Some(0), "{told}");
        let report: serde_json::Value = serde_json::from_str(&told).unwrap();
        report["for_plan"].clone()
    };
    let short = |plan: &serde_json::Value| plan["short"]["usual"].as_f64().unwrap();
    let causes = |plan: &serde_json::Value| -> Vec<String> {
        let all = plan["causes"].as_array().unwrap().iter();
        all.map(|c| c["what"].as_str().unwrap().to_owned())
            .collect()
    };
    let assumed = asked(vessel);
    assert_eq!(causes(&assumed)[0], "the groin-to-arch length");
    let settled = assumed["causes"][0]["short_if_measured"].as_f64().unwrap();
    assert!(
        settled < short(&assumed),
        "{settled} of {}",
        short(&assumed)
    );
    // measured, it is no longer what is missing, and less is left to chance
    let measured = asked("measured.ron");
    assert!(
        !causes(&measured).contains(&"the groin-to-arch length".to_owned()),
        "{:?}",
        causes(&measured)
    );
    assert!(short(&measured) < short(&assumed), "{measured}");
    let (code, told) = told_in(folder.path(), &["measure", "measured.ron", "--for", scene]);
    assert!(code == Some(0) && told.contains("too short in"), "{told}");
    let (code, told) = told_in(folder.path(), &["measure", vessel, "--for", "nowhere.ron"]);
    assert!(code == Some(2) && told.contains("nowhere.ron"), "{told}");
}
