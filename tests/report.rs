//! The report and its tables: what stands in them is what was rehearsed, nothing in them runs or asks for
//! anything, and no file of somebody else is touched.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and reads and writes files of its own"
)]

use nestline::data::{LoadedScene, Source, load_scene};
use nestline::geometry::TrackSettings;
use nestline::mechanics::Direction;
use nestline::output::{
    Everything, Folder, Report, clock_text, comparison_folder, comparison_html, to_json,
};
use nestline::procedure::{CentreLine, Choices, Sampling};
use nestline::rehearsal::{
    Briefing, CAUTION, Candidate, Comparison, LoadRow, LossRow, Rehearsed, compare, rehearsed_of,
    walk_through,
};
use nestline::stage::{Stage, StageSettings};
use std::path::Path;
use std::process::{Command, Output};

struct Played {
    loaded: LoadedScene,
    rehearsed: Rehearsed,
    stage: Stage,
}

fn play(source: &Source) -> Played {
    let loaded = load_scene(source, &TrackSettings::default()).unwrap();
    let passed = walk_through(&loaded.plan, &mut CentreLine).unwrap();
    let sampling = Sampling {
        courses: 50,
        ..Sampling::default()
    };
    let rehearsed = rehearsed_of(&loaded.plan, &loaded.durations, &sampling, &passed).unwrap();
    let settings = StageSettings {
        settle: false,
        ..StageSettings::default()
    };
    let stage = Stage::new(
        &loaded.plan,
        &loaded.vessel.tree,
        &passed,
        &rehearsed.outcome,
        settings,
    );
    Played {
        loaded,
        rehearsed,
        stage,
    }
}

impl Played {
    fn report(&self) -> Report<'_> {
        Report {
            plan: &self.loaded.plan,
            rehearsed: &self.rehearsed,
            durations: &self.loaded.durations,
            stage: Some(&self.stage),
            comparison: None,
        }
    }
}

fn embedded(name: &str) -> Played {
    play(&Source::from_argument(format!(
        "embedded:scenes/{name}.ron"
    )))
}

fn default_scene() -> Played {
    embedded("left-tandem-retriever-first")
}

/// A page as words: tags out, entities read.
fn words(html: &str) -> String {
    let mut out = String::new();
    let mut inside = false;
    for c in html.chars() {
        match c {
            '<' => inside = true,
            '>' => inside = false,
            c if !inside => out.push(c),
            _ => {}
        }
    }
    out.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&amp;", "&")
}

#[test]
fn look_the_page_says_what_was_rehearsed_and_what_it_rests_on() {
    let played = default_scene();
    let html = played.report().html();
    let text = words(&html);
    let outcome = &played.rehearsed.outcome;
    for line in outcome
        .headline
        .iter()
        .chain([&outcome.scene, &outcome.vessel.name])
    {
        assert!(text.contains(line.as_str()), "not in the page: {line}");
    }
    assert!(text.contains(CAUTION), "the caution is missing");
    for step in &outcome.steps {
        assert!(text.contains(&step.say), "not in the page: {}", step.say);
        for finding in &step.findings {
            let rest = &finding.text[1..];
            assert!(text.contains(rest), "not in the page: {rest}");
        }
    }
    for value in outcome
        .vessel
        .values
        .iter()
        .filter_map(|v| v.assumed_from.as_ref())
    {
        assert!(text.contains(value.as_str()), "source missing: {value}");
    }
    for row in Everything::of(&played.report()).basis {
        assert!(
            text.contains(&row.rests_on),
            "source missing: {}",
            row.rests_on
        );
    }
    assert!(html.len() < 3_000_000, "{} bytes", html.len());
    let verdict = html.find("class=\"verdict").unwrap();
    let first_svg = html.find("<svg").unwrap();
    assert!(verdict < first_svg, "verdict before pictures");
}

#[test]
fn look_the_page_asks_for_nothing() {
    let html = default_scene().report().html();
    assert!(
        html.contains("Content-Security-Policy") && html.contains("default-src 'none'"),
        "the page forbids itself requests"
    );
    for asks in [
        "src=\"",
        "@import",
        "url(",
        "<link rel=\"stylesheet\"",
        "<iframe",
        "fetch(",
    ] {
        assert!(!html.contains(asks), "the page has {asks}");
    }
}

#[test]
fn look_every_scene_has_a_page_that_leads_with_its_verdict() {
    for (name, word) in [
        ("too-short", "Fails"),
        ("pusher-too-thick", "Fails"),
        ("guide-below-stent", "Fails"),
        ("dissection", "Passes"),
        ("right-radial", "Passes"),
    ] {
        let played = embedded(name);
        let html = played.report().html();
        let shown = html.split("<p class=\"word\">").nth(1).unwrap();
        assert!(shown.starts_with(word), "{name}: {}", &shown[..20]);
        let list = html.split("<ol class=\"points\">").nth(1).unwrap();
        let points = list.split("</ol>").next().unwrap().matches("<li").count();
        assert!(
            (1..=3).contains(&points),
            "{name}: {points} points at the top"
        );
        if word == "Fails" {
            assert!(
                html.contains("The plan breaks at step"),
                "{name} says what breaks"
            );
        }
    }
}

#[test]
fn look_what_breaks_is_called_by_its_name_and_before_what_follows_from_it() {
    let top = |name: &str| {
        let html = embedded(name).report().html();
        let top = html.split("id=\"nesting\"").next().unwrap().to_owned();
        words(&top[top.find("<body").unwrap()..])
    };
    let too_short = top("too-short");
    assert!(
        too_short.contains(": the guide is too short"),
        "{too_short}"
    );
    // the guide cannot be drawn back to where it never came: that follows from its length
    assert!(
        !too_short.contains("nothing is left to draw back"),
        "{too_short}"
    );
    assert!(too_short.contains("Least to sparenone"), "nothing to spare");
    let too_thick = top("pusher-too-thick");
    assert!(too_thick.contains("does not fit"), "{too_thick}");
    assert!(
        too_thick.contains("retriever in stent: does not fit"),
        "tile"
    );
    for text in [too_short, too_thick, top("right-radial")] {
        let gist = CAUTION.split('.').next().unwrap();
        assert!(text.contains(gist), "the gist of the caution is at the top");
    }
}

#[test]
fn look_the_first_page_tells_moments_questions_and_both_planes() {
    for (name, most_watched) in [
        ("guide-below-stent", "the plan breaks"),
        ("dissection", "nobody holds"),
    ] {
        let played = embedded(name);
        let html = played.report().handout();
        let text = words(&html);
        assert!(
            !html.contains("<script"),
            "{name}: a sheet of paper runs nothing"
        );
        assert!(text.contains(CAUTION), "{name}: the caution");
        assert!(text.contains(most_watched), "{name}: {text}");
        let briefing = Briefing::of(&played.loaded.plan, &played.rehearsed.outcome);
        assert!(
            (3..=5).contains(&briefing.moments.len()),
            "{name}: {briefing:?}"
        );
        assert!(
            (2..=5).contains(&briefing.questions.len()),
            "{name}: {briefing:?}"
        );
        let steps: Vec<usize> = briefing.moments.iter().map(|m| m.step).collect();
        assert!(steps.is_sorted(), "{name}: {steps:?}");
        for moment in &briefing.moments {
            assert!(text.contains(&moment.say), "{name}: {}", moment.say);
        }
        for plane in ["from the front", "from the patient's left"] {
            assert!(text.contains(plane), "{name}: {plane}");
        }
        assert_eq!(html.matches("<svg").count(), 2, "{name}: planes and strip");
    }
}

#[test]
fn look_names_that_look_like_markup_stay_names() {
    const NASTY: &str = "</script><script>alert(1)</script>\"'&";
    let mut played = default_scene();
    let scene = &mut played.loaded.plan;
    scene.devices[1].name = NASTY.into();
    scene.track.lesions[0].name = NASTY.into();
    scene.vessel.values[0].value = NASTY.into();
    let outcome = &mut played.rehearsed.outcome;
    outcome.scene = NASTY.into();
    outcome.about = NASTY.into();
    outcome.vessel.name = NASTY.into();
    outcome.headline[0] = NASTY.into();
    outcome.lesions[0].name = NASTY.into();
    for step in &mut outcome.steps {
        step.say = NASTY.into();
        for finding in &mut step.findings {
            finding.text = NASTY.into();
            finding.help = Some(NASTY.into());
        }
        for device in step.devices.iter_mut().filter(|d| d.name == "guide") {
            device.name = NASTY.into();
        }
    }
    for activity in &mut played.rehearsed.clock.activities {
        activity.name = NASTY.into();
    }
    played.stage.devices[1].name = NASTY.into();
    let html = played.report().html();
    assert!(!html.contains("<script>alert"), "a name runs");
    // two scripts of our own and the data of the scene in space
    assert!(html.matches("<script").count() == 3, "scripts");
    assert!(html.matches("</script>").count() == 3, "ends of scripts");
    for plot in played.report().plots() {
        assert!(!plot.svg.contains("<script"), "{}: a name runs", plot.name);
    }
    let tables = played.report().tables();
    let steps = tables.iter().find(|t| t.name == "steps").unwrap();
    assert!(steps.text().unwrap().contains("alert(1)"), "and is kept");
}

#[test]
fn look_forces_are_shown_where_they_are_known() {
    let mut played = default_scene();
    let html = played.report().html();
    assert!(!html.contains("id=\"fig-hub-force\""), "none is known");
    assert!(
        html.contains("there are no forces in it"),
        "and that is said"
    );
    let device = &mut played.rehearsed.outcome.steps[24].devices[2];
    device.load = Some(LoadRow {
        direction: Direction::Push,
        hub_force_n: 1.23,
        hub_force_least_n: None,
        hub_force_most_n: None,
        hand_force_n: 1.4,
        hand_force_least_n: None,
        hand_force_most_n: None,
        tip_force_n: 0.41,
        efficiency: Some(0.33),
        share_lost: Some(0.67),
        lost: vec![LossRow {
            station_mm: 890.0,
            at: "7 mm past posterior-genu".into(),
            lost_n: 0.52,
            on: "vessel".into(),
        }],
        slack_mm: Some(3.0),
        largest_wall_force_n_per_mm: 0.017,
        largest_wall_force_at: None,
        buckled_mm: None,
        within_n: 0.01,
    });
    let mut weaker = played.rehearsed.outcome.steps[24].devices[2]
        .load
        .clone()
        .unwrap();
    weaker.efficiency = Some(-0.06);
    weaker.lost[0].lost_n = 0.001;
    weaker.buckled_mm = Some(219.0);
    played.rehearsed.outcome.steps[25].devices[1].load = Some(weaker);
    let html = played.report().html();
    for part in ["id=\"fig-hub-force\"", "id=\"fig-force-lost\""] {
        assert!(html.contains(part), "{part}");
    }
    let text = words(&html);
    for part in [
        "1.23",
        "0.52 N 7 mm past posterior genu on the vessel",
        "33 %",
        "0.017",
        "nowhere as much as 0.01 N; pushed into waves along 219 mm",
    ] {
        assert!(text.contains(part), "{part}");
    }
    assert!(!text.contains("-6 %"), "less than nothing at the tip");
}

#[test]
fn property_everything_as_data_reads_back_the_same() {
    for name in ["left-tandem-retriever-first", "too-short"] {
        let played = embedded(name);
        let written = Everything::of(&played.report());
        let text = to_json(&written).unwrap();
        let read: Everything = serde_json::from_str(&text).unwrap();
        assert!(read == written, "{name}: not the same after reading");
        assert!(
            read.schema == "nestline.report" && read.version == 1,
            "schema"
        );
        // and the rehearsal in it is the one that machines get
        let alone = serde_json::to_value(&played.rehearsed).unwrap();
        let whole: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert!(whole["rehearsal"] == alone, "{name}");
    }
}

#[test]
fn look_tables_hold_every_row_and_every_digit() {
    let played = default_scene();
    let outcome = &played.rehearsed.outcome;
    let tables = played.report().tables();
    let read = |name: &str| {
        let table = tables.iter().find(|t| t.name == name).unwrap();
        let text = table.text().unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let header = reader.headers().unwrap().clone();
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        (header, rows)
    };
    for table in &tables {
        let (header, rows) = read(table.name);
        assert!(rows.len() == table.len(), "{}", table.name);
        let mut names: Vec<&str> = header.iter().collect();
        names.sort_unstable();
        names.dedup();
        assert!(
            names.len() == header.len(),
            "{}: a column twice",
            table.name
        );
    }
    let (header, rows) = read("devices");
    let devices: usize = outcome.steps.iter().map(|s| s.devices.len()).sum();
    assert!(rows.len() == devices, "{} of {devices}", rows.len());
    let column = header.iter().position(|h| h == "outside_mm").unwrap();
    let all = outcome.steps.iter().flat_map(|s| &s.devices);
    for (row, device) in rows.iter().zip(all) {
        let value: f64 = row[column].parse().unwrap();
        assert!(
            value.to_bits() == (device.outside_mm + 0.0).to_bits(),
            "{value}"
        );
    }
    let (header, rows) = read("edges");
    let column = header.iter().position(|h| h == "caught_share").unwrap();
    for (row, edge) in rows.iter().zip(&outcome.edges) {
        let value: f64 = row[column].parse().unwrap();
        assert!(value.to_bits() == edge.probability.to_bits(), "{value}");
    }
    let (_, rows) = read("route");
    assert!(
        rows.len() == played.loaded.plan.track.stations.len(),
        "route"
    );
}

#[test]
fn look_plots_become_pictures() {
    let played = default_scene();
    let plots = played.report().plots();
    for wanted in ["nesting", "outside", "clock", "edge-1", "vessel"] {
        assert!(plots.iter().any(|p| p.name == wanted), "{wanted}");
    }
    for plot in &plots {
        assert!(
            !plot.svg.contains("var("),
            "{}: a colour is left open",
            plot.name
        );
    }
}

/// Without the feature the program says where PNG is to be had, before it works anything out.
#[cfg(not(feature = "png"))]
#[test]
fn cli_png_is_refused_where_it_was_left_out() {
    let folder = tempfile::tempdir().unwrap();
    for verb in ["run", "compare"] {
        let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
            .args([verb, "--png", "--out", "here"])
            .env("COLUMNS", "1000")
            .current_dir(folder.path())
            .output()
            .unwrap();
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(told.contains("--features png"), "{told}");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}

#[cfg(feature = "png")]
#[test]
fn look_plots_become_png() {
    let plots = default_scene().report().plots();
    for plot in &plots {
        let read = resvg::usvg::Tree::from_str(&plot.svg, &resvg::usvg::Options::default());
        assert!(read.is_ok(), "{}: {:?}", plot.name, read.err());
    }
    let plot = plots.iter().find(|p| p.name == "edge-sweep").unwrap();
    match plot.png() {
        Ok(png) => {
            let picture = resvg::tiny_skia::Pixmap::decode_png(&png).unwrap();
            let ground = picture.pixel(2, 2).unwrap();
            let other = picture.pixels().iter().filter(|p| **p != ground).count();
            assert!(other > 2_000, "{other} points drawn");
        }
        // a machine without fonts is told so
        Err(error) => assert!(error.to_string().contains("font"), "{error}"),
    }
}

fn comparison() -> Comparison {
    let source = Source::from_argument("embedded:scenes/left-tandem-retriever-first.ron");
    let loaded = load_scene(&source, &TrackSettings::default()).unwrap();
    let candidates: Vec<Candidate> = ["retriever-first", "neck-first"]
        .map(|name| {
            let choices = Choices::named(name).unwrap();
            let plan = loaded.plan.with_strategy(&choices).unwrap();
            Candidate {
                ruler: true,
                ..Candidate::new(name.into(), plan, loaded.durations.clone())
            }
        })
        .into();
    let sampling = Sampling {
        courses: 50,
        ..Sampling::default()
    };
    compare(&candidates, &sampling).unwrap()
}

#[test]
fn look_a_comparison_has_a_page_too() {
    let comparison = comparison();
    let html = comparison_html(&comparison, "<b>vessel</b>");
    let text = words(&html);
    for line in &comparison.flips_in_words {
        assert!(text.contains(&line[1..]), "not in the page: {line}");
    }
    assert!(
        text.contains("retriever-first") && text.contains("neck-first"),
        "names"
    );
    assert!(!html.contains("<b>vessel"), "names stay names");
    let folder = comparison_folder(&comparison, "vessel", false).unwrap();
    let names: Vec<&str> = folder.sizes().map(|(name, _)| name).collect();
    for name in ["report.html", "report.json", "tables/plans.csv"] {
        assert!(names.contains(&name), "{name} in {names:?}");
    }
}

#[test]
fn look_a_plan_can_stand_beside_others_in_its_report() {
    let played = default_scene();
    let comparison = comparison();
    let report = Report {
        comparison: Some(&comparison),
        ..played.report()
    };
    let (alone, beside) = (played.report().html(), report.html());
    assert!(!alone.contains("id=\"plans\""), "only where asked for");
    let section = beside.split("id=\"plans\"").nth(1).unwrap();
    assert!(section.contains("neck-first"), "the other plan");
    let everything = Everything::of(&report);
    assert!(everything.comparison.as_ref() == Some(&comparison), "data");
    let read: Everything = serde_json::from_str(&to_json(&everything).unwrap()).unwrap();
    assert!(read == everything, "and reads back");
    let tables = report.tables();
    assert!(tables.iter().any(|t| t.name == "plans"), "tables");
    let plots = report.plots();
    assert!(plots.iter().any(|p| p.name == "strategy-times"), "plots");
}

#[test]
fn look_milestones_are_told_in_the_same_words_everywhere() {
    let played = default_scene();
    let report = played.report();
    let clock = &played.rehearsed.clock;
    let plots = report.plots();
    let plot = &plots.iter().find(|p| p.name == "milestones").unwrap().svg;
    let tables = report.tables();
    let table = tables.iter().find(|t| t.name == "milestones").unwrap();
    let (csv, text) = (table.text().unwrap(), clock_text(clock, 140));
    for m in clock.milestones() {
        for (what, where_to) in [("plot", plot), ("table", &csv), ("text", &text)] {
            assert!(where_to.contains(m.what), "{what} lacks {}", m.what);
        }
    }
    let named: Vec<&str> = csv.lines().skip(1).collect();
    assert!(named.len() == clock.milestones().len(), "no other words");
}

/// Every table of the page is a file too; what the page only says in lists stands in files as well.
#[test]
fn look_every_table_of_the_page_is_a_file() {
    let played = default_scene();
    let html = played.report().html();
    let tables = played.report().tables();
    let columns: Vec<&str> = tables.iter().map(|t| t.name).collect();
    let of: [(&str, &[&str]); 12] = [
        ("After step 1:", &["devices"]),
        (
            "Every crossing of every edge",
            &["edges", "edge-helps", "edge-rim"],
        ),
        ("Lumens on suction", &["suction"]),
        ("What goes on or off over which rail", &["exchanges"]),
        ("Clearance in diameter", &["fits"]),
        (
            "Where the times land",
            &["time-anchors", "clock", "milestones"],
        ),
        ("Lesions before and after", &["lesions", "stents"]),
        ("All steps", &["steps", "findings"]),
        ("Limits and laws", &["basis"]),
        ("drawn back", &["pull-cover", "pulls"]),
        ("Who holds the way", &["access", "crossings", "neck-work"]),
        ("Shapes:", &["drawn-tips"]),
    ];
    for (caption, files) in of {
        assert!(html.contains(caption), "the page lacks {caption}");
        for file in files {
            assert!(columns.contains(file), "{file} is missing");
        }
    }
    let captions = html.matches("<caption").count();
    let steps = played.rehearsed.outcome.steps.len();
    let bare = played.rehearsed.outcome.steps.iter();
    let bare = bare.filter(|s| s.devices.is_empty()).count();
    // tables of materials are gathered in one file, `basis`
    let known = 8 + 7 + played.rehearsed.outcome.pulls.len() - 1 + steps - bare;
    assert!(
        captions <= known,
        "{captions} tables, {known} of them known: name their files above"
    );
}

fn two_files(text: &str) -> Folder {
    let mut folder = Folder::default();
    folder.add("report.html", text);
    folder.add("tables/a.csv", text);
    folder
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap()
}

#[test]
fn exact_own_files_are_replaced_and_nobody_else_s() {
    let place = tempfile::tempdir().unwrap();
    let into = place.path().join("deep/out");
    two_files("one").write(&into, false).unwrap();
    two_files("two").write(&into, false).unwrap();
    assert!(read(&into.join("tables/a.csv")) == "two", "replaced");

    // what somebody else put beside stays
    std::fs::write(into.join("notes.txt"), "mine").unwrap();
    let mut folder = two_files("three");
    folder.add("tables/b.csv", "b");
    folder.write(&into, false).unwrap();
    assert!(read(&into.join("notes.txt")) == "mine", "kept");

    // what is no longer written goes, unless somebody changed it
    two_files("four").write(&into, false).unwrap();
    assert!(!into.join("tables/b.csv").exists(), "an old table is left");

    // what somebody changed is not written over, and nothing else is written then
    std::fs::write(into.join("tables/a.csv"), "edited").unwrap();
    let error = two_files("five")
        .write(&into, false)
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("a.csv") && error.contains("--force"),
        "{error}"
    );
    assert!(read(&into.join("report.html")) == "four", "half-written");
    assert!(read(&into.join("tables/a.csv")) == "edited", "written over");
    two_files("six").write(&into, true).unwrap();
    assert!(read(&into.join("tables/a.csv")) == "six", "asked to");
    let left: Vec<_> = std::fs::read_dir(&into)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.starts_with('.'))
        .collect();
    assert!(left.is_empty(), "left behind: {left:?}");
}

#[test]
fn exact_a_folder_of_somebody_else_is_left_alone() {
    let place = tempfile::tempdir().unwrap();
    std::fs::write(place.path().join("report.html"), "mine").unwrap();
    let error = two_files("x").write(place.path(), false).unwrap_err();
    assert!(error.to_string().contains("report.html"), "{error}");
    assert!(!place.path().join("tables").exists(), "half-written");
    // a file where the folder should be
    let file = place.path().join("report.html");
    assert!(two_files("x").write(&file, false).is_err(), "no folder");
    assert!(two_files("x").write(&file, true).is_err(), "not even then");
    // a write that fails halfway leaves nothing
    std::fs::create_dir_all(place.path().join("blocked/report.html")).unwrap();
    std::fs::write(place.path().join("blocked/tables"), "a file").unwrap();
    let blocked = place.path().join("blocked");
    assert!(two_files("x").write(&blocked, true).is_err(), "blocked");
    assert!(blocked.join("report.html").is_dir(), "back in its place");
    assert!(read(&blocked.join("tables")) == "a file", "untouched");
}

fn nestline(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_nestline"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

#[test]
fn cli_the_program_writes_its_report_and_refuses_to_write_over_others() {
    let place = tempfile::tempdir().unwrap();
    let first = nestline(place.path(), &[]);
    assert!(first.status.code() == Some(0), "{first:?}");
    let report = place.path().join("nestline-out/report.html");
    assert!(read(&report).starts_with("<!DOCTYPE html>"), "a page");
    let said = String::from_utf8(first.stdout).unwrap();
    assert!(said.contains("report.html"), "and says where");
    // twice is fine, and the same bytes
    let page = read(&report);
    assert!(
        nestline(place.path(), &[]).status.code() == Some(0),
        "again"
    );
    assert!(read(&report) == page, "the same page");

    std::fs::write(&report, "mine").unwrap();
    let refused = nestline(place.path(), &["run"]);
    assert!(refused.status.code() == Some(2), "{refused:?}");
    assert!(refused.stdout.is_empty(), "nothing half said");
    assert!(read(&report) == "mine", "written over");
    let forced = nestline(place.path(), &["run", "--force"]);
    assert!(forced.status.code() == Some(0), "{forced:?}");
    assert!(read(&report) == page, "replaced");
}

#[test]
fn cli_machines_get_files_only_where_they_ask() {
    let place = tempfile::tempdir().unwrap();
    nestline(place.path(), &["run", "--json", "--courses", "50"]);
    nestline(
        place.path(),
        &["compare", "--courses", "50", "--strategy", "neck-first"],
    );
    nestline(place.path(), &["run", "--each", "--courses", "20"]);
    let files = std::fs::read_dir(place.path()).unwrap().count();
    assert!(files == 0, "{files} entries nobody asked for");
    let fails = nestline(
        place.path(),
        &[
            "run",
            "embedded:scenes/too-short.ron",
            "--json",
            "--out",
            "there",
        ],
    );
    assert!(fails.status.code() == Some(1), "{fails:?}");
    assert!(place.path().join("there/report.html").exists(), "asked for");
    let compared = nestline(
        place.path(),
        &["compare", "--courses", "50", "--out", "plans"],
    );
    assert!(compared.status.code() == Some(0), "{compared:?}");
    assert!(
        place.path().join("plans/tables/plans.csv").exists(),
        "asked for"
    );
}
