//! Writing into folders: killed at any moment, at once with another run, without room or rights, over links,
//! beside other people's files.
#![cfg(unix)]
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and writes what it needs"
)]

use nestline::output::{Folder, write_bytes, write_files};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::LazyLock;
use std::time::{Duration, Instant};

const LIST: &str = "written-by-nestline.json";

/// Two steps of a plan, so that a run takes no time.
pub(crate) const SHORT: &str = r#"Scene(
    name: "Guide to the carotid",
    about: "The first steps of a plan.",
    vessel: "embedded:vessels/left-tandem-type-2.ron",
    target: "m2-inferior",
    hub_standoff: "30 mm",
    stack: [
        (name: "sheath", file: "cabinet:access-sheath-8f-11"),
        (name: "guide", file: "cabinet:guide-8f-90", valves: ["cabinet:valve-rotating-y"]),
    ],
    script: [
        (act: Insert(device: "sheath", to: Hub)),
        (act: Insert(device: "guide", through: "sheath", to: Short("carotid-bifurcation", "30 mm"))),
    ],
)"#;

/// The same as a file.
static SHORT_FILE: LazyLock<PathBuf> = LazyLock::new(|| {
    let file = Path::new(env!("CARGO_TARGET_TMPDIR")).join("guide-to-the-carotid.ron");
    fs::write(&file, SHORT).unwrap();
    file
});

fn two_files(text: &str) -> Folder {
    let mut folder = Folder::default();
    folder.add("report.html", text);
    folder.add("tables/a.csv", text);
    folder
}

fn read(path: impl AsRef<Path>) -> String {
    fs::read_to_string(path).unwrap()
}

/// Every file below a folder with its bytes.
fn all_files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut pending = vec![folder.to_path_buf()];
    while let Some(at) = pending.pop() {
        for entry in fs::read_dir(&at).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                pending.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().to_path_buf();
                found.insert(name, fs::read(&path).unwrap());
            }
        }
    }
    found
}

/// Names in a folder that begin with a dot.
fn hidden(folder: &Path) -> Vec<String> {
    let names = fs::read_dir(folder).unwrap();
    names
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.starts_with('.'))
        .collect()
}

fn program(place: &Path, out: &str, dwell: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_nestline"));
    let change = format!("dwell={dwell}");
    command
        .arg("run")
        .arg(&*SHORT_FILE)
        .args(["--ruler", "--courses", "10", "--out", out, "--set"])
        .arg(change)
        .current_dir(place)
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    command
}

fn told(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Which of two sets a folder holds, others' files and those on their way left out; none for anything between.
fn which_set(
    out: &Path,
    sets: &[BTreeMap<PathBuf, Vec<u8>>; 2],
    foreign: &[&str],
) -> Option<usize> {
    let mut there = all_files(out);
    there.retain(|name, _| !hidden_first(name));
    for name in foreign {
        there.remove(Path::new(name));
    }
    sets.iter().position(|set| *set == there)
}

/// Whether the first part of a path begins with a dot.
fn hidden_first(path: &Path) -> bool {
    let first = path.iter().next().unwrap();
    first.as_encoded_bytes().starts_with(b".")
}

/// Starts a run, waits until it begins to write, and kills it some microseconds later.
fn killed_while_writing(mut run: Child, watched: &[&Path], after: Duration) {
    loop {
        let begun = watched.iter().any(|folder| {
            let entries = fs::read_dir(folder).into_iter().flatten().flatten();
            entries
                .filter_map(|e| e.file_name().into_string().ok())
                .any(|name| name.starts_with(".nestline-"))
        });
        if begun || run.try_wait().unwrap().is_some() {
            break;
        }
        std::thread::sleep(Duration::from_micros(50));
    }
    std::thread::sleep(after);
    let _ = run.kill();
    run.wait().unwrap();
}

/// How long it takes to write such a report, us, and a quarter more.
#[expect(clippy::cast_possible_truncation, reason = "a few hundred thousand")]
fn takes_us(out: &Path) -> u64 {
    let mut folder = Folder::default();
    for (name, bytes) in all_files(out) {
        folder.add(name.to_str().unwrap(), bytes);
    }
    let place = tempfile::tempdir().unwrap();
    let start = Instant::now();
    folder.write(&place.path().join("out"), false).unwrap();
    (start.elapsed().as_micros() as u64) * 5 / 4
}

/// Kills runs that replace a report by another one at random moments. `foreign` lie in the folder too.
fn kills(count: u64, foreign: &[&str]) -> BTreeMap<&'static str, usize> {
    let place = tempfile::tempdir().unwrap();
    let out = place.path().join("out");
    let sets = ["180", "480"].map(|dwell| {
        let output = program(place.path(), "out", dwell).output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", told(&output));
        all_files(&out)
    });
    assert_ne!(sets[0], sets[1], "both runs write the same");
    for name in foreign {
        fs::create_dir_all(out.join(name).parent().unwrap()).unwrap();
        fs::write(out.join(name), "mine").unwrap();
    }
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let longest_us = takes_us(&out);
    let mut seen = BTreeMap::new();
    let mut was = 1;
    for kill in 0..count {
        let next = 1 - was;
        let run = program(place.path(), "out", ["180", "480"][next])
            .spawn()
            .unwrap();
        let after = Duration::from_micros(rng.random_range(0..longest_us));
        killed_while_writing(run, &[place.path(), &out], after);
        let found = which_set(&out, &sets, foreign);
        let what = match found {
            Some(set) if set == was => "old",
            Some(_) => "new",
            // ours beside others' are moved one by one; the next run brings that to an end
            None => "on the way",
        };
        *seen.entry(what).or_insert(0) += 1;
        assert!(
            found.is_some() || !foreign.is_empty(),
            "kill {kill}: the folder holds neither the old report nor the new one"
        );
        // the next run puts everything in order by itself
        let again = program(place.path(), "out", ["180", "480"][next])
            .output()
            .unwrap();
        assert_eq!(
            again.status.code(),
            Some(0),
            "kill {kill}: {}",
            told(&again)
        );
        assert_eq!(
            which_set(&out, &sets, foreign),
            Some(next),
            "kill {kill}: not what was asked for"
        );
        for name in foreign {
            assert_eq!(read(out.join(name)), "mine", "kill {kill}: {name}");
        }
        let left = [hidden(place.path()), hidden(&out)].concat();
        assert!(left.is_empty(), "kill {kill}: left behind: {left:?}");
        was = next;
    }
    seen
}

/// How often runs are killed: a few times, or as often as the variable says.
fn how_often() -> u64 {
    std::env::var("NESTLINE_KILLS").map_or(6, |n| n.parse().unwrap())
}

#[test]
fn cli_a_report_killed_at_any_moment_is_the_old_one_or_the_new_one() {
    let seen = kills(how_often(), &[]);
    println!("killed while a report was replaced: {seen:?}");
}

#[test]
fn cli_a_kill_beside_other_files_is_made_good_by_the_next_run() {
    let foreign = ["notes.txt", "tables/mine.csv", "more/deep.txt"];
    let seen = kills(how_often(), &foreign);
    println!("killed while a report was replaced beside other files: {seen:?}");
}

/// A folder as a run leaves it that was cut off while it moved files one by one.
fn cut_off(moved: &[&str]) -> (tempfile::TempDir, PathBuf) {
    let place = tempfile::tempdir().unwrap();
    let into = place.path().join("out");
    two_files("one").write(&into, false).unwrap();
    let sum = |text: &str| format!("{:08x}", crc32fast::hash(text.as_bytes()));
    let old_list = read(into.join(LIST));
    let new_list = old_list.replace(&sum("one"), &sum("two"));
    let stage = into.join(".nestline-in-abcdef");
    fs::create_dir_all(stage.join("new/tables")).unwrap();
    fs::create_dir_all(stage.join("old/tables")).unwrap();
    let names = ["report.html", "tables/a.csv", LIST];
    let note = serde_json::json!({
        "schema": "nestline.stage", "version": 1, "moving": true,
        "new": { names[0]: sum("two"), names[1]: sum("two"), LIST: sum(&new_list) },
        "old": { names[0]: sum("one"), names[1]: sum("one"), LIST: sum(&old_list) },
    });
    fs::write(stage.join("stage.json"), note.to_string()).unwrap();
    for name in names {
        let text = if name == LIST {
            new_list.as_str()
        } else {
            "two"
        };
        if moved.contains(&name) {
            fs::rename(into.join(name), stage.join("old").join(name)).unwrap();
            fs::write(into.join(name), text).unwrap();
        } else {
            fs::write(stage.join("new").join(name), text).unwrap();
        }
    }
    (place, into)
}

#[test]
fn property_what_was_cut_off_is_brought_to_its_end() {
    for moved in [
        &[][..],
        &["report.html"],
        &["report.html", "tables/a.csv"],
        &["report.html", "tables/a.csv", LIST],
    ] {
        let (_place, into) = cut_off(moved);
        two_files("three").write(&into, false).unwrap();
        assert_eq!(read(into.join("tables/a.csv")), "three", "{moved:?}");
        assert_eq!(read(into.join("report.html")), "three", "{moved:?}");
        assert!(hidden(&into).is_empty(), "{moved:?}: {:?}", hidden(&into));
    }
    // what somebody changed between both runs stays, and the run that follows says so
    let (_place, into) = cut_off(&["report.html"]);
    fs::write(into.join("tables/a.csv"), "edited").unwrap();
    let error = two_files("three").write(&into, false).unwrap_err();
    assert!(error.to_string().contains("a.csv"), "{error}");
    assert_eq!(read(into.join("tables/a.csv")), "edited", "written over");
    assert_eq!(read(into.join("report.html")), "two", "brought to its end");
}

#[test]
fn regress_a_run_cut_off_while_it_cleaned_up_leaves_nothing() {
    // the last file of a folder is gone and the folder is not: found by kills at random moments
    let place = tempfile::tempdir().unwrap();
    let into = place.path().join("out");
    two_files("one").write(&into, false).unwrap();
    let stage = place
        .path()
        .join(format!(".nestline-{:08x}-abcdef", crc32fast::hash(b"out")));
    fs::create_dir_all(stage.join("new/tables")).unwrap();
    let note = serde_json::json!({
        "schema": "nestline.stage", "version": 1, "moving": true,
        "new": { "tables/a.csv": "00000000" }, "old": { "tables/a.csv": "00000001" },
    });
    fs::write(stage.join("stage.json"), note.to_string()).unwrap();
    two_files("two").write(&into, false).unwrap();
    assert!(
        hidden(place.path()).is_empty(),
        "left behind: {:?}",
        hidden(place.path())
    );
    // and what is neither stays, whoever put it there
    fs::create_dir_all(stage.join("new/tables")).unwrap();
    fs::write(stage.join("new/tables/a.csv"), "edited").unwrap();
    fs::write(stage.join("stage.json"), note.to_string()).unwrap();
    two_files("three").write(&into, false).unwrap();
    assert_eq!(read(stage.join("new/tables/a.csv")), "edited", "removed");
}

#[test]
fn exact_names_of_ours_are_not_believed_of_other_people_s_folders() {
    let place = tempfile::tempdir().unwrap();
    let into = place.path().join("out");
    two_files("one").write(&into, false).unwrap();
    // folders that are called like ours, with other people's files in them
    for name in [
        "out.nestline-part",
        ".nestline-in-abcdef",
        "out/.nestline-in-abcdef",
        "out/.nestline-old",
    ] {
        fs::create_dir_all(place.path().join(name)).unwrap();
        fs::write(place.path().join(name).join("notes.txt"), "mine").unwrap();
    }
    two_files("two").write(&into, false).unwrap();
    for name in [
        "out.nestline-part",
        ".nestline-in-abcdef",
        "out/.nestline-in-abcdef",
        "out/.nestline-old",
    ] {
        assert_eq!(
            read(place.path().join(name).join("notes.txt")),
            "mine",
            "{name}"
        );
    }
    // a list that leads outside: nothing there is touched
    let outside = place.path().join("x");
    fs::write(&outside, "mine").unwrap();
    let sum = format!("{:08x}", crc32fast::hash(b"mine"));
    let list = read(into.join(LIST));
    let hostile = list.replace(
        "\"report.html\"",
        &format!("\"../x\": \"{sum}\",\n    \"report.html\""),
    );
    assert_ne!(list, hostile, "nothing was put in");
    fs::write(into.join(LIST), hostile).unwrap();
    let error = two_files("three").write(&into, false).unwrap_err();
    assert!(error.to_string().contains("--force"), "{error}");
    two_files("three").write(&into, true).unwrap();
    assert_eq!(read(&outside), "mine", "moved or removed");
    // the same in the note of a run that was cut off
    let stage = into.join(".nestline-in-ghijkl");
    fs::create_dir_all(stage.join("new")).unwrap();
    let note = serde_json::json!({
        "schema": "nestline.stage", "version": 1, "moving": true, "new": {}, "old": { "../x": sum },
    });
    fs::write(stage.join("stage.json"), note.to_string()).unwrap();
    two_files("four").write(&into, false).unwrap();
    assert_eq!(read(&outside), "mine", "moved or removed");
}

#[test]
fn exact_folders_and_links_in_the_way_stay_even_by_force() {
    let place = tempfile::tempdir().unwrap();
    let at = |name: &str| place.path().join(name);
    fs::create_dir_all(at("a/report.html")).unwrap();
    fs::write(at("a/report.html/notes.txt"), "mine").unwrap();
    let error = two_files("x").write(&at("a"), true).unwrap_err();
    assert!(error.to_string().contains("is a folder"), "{error}");
    assert_eq!(read(at("a/report.html/notes.txt")), "mine", "removed");

    fs::create_dir_all(at("elsewhere")).unwrap();
    fs::create_dir_all(at("b")).unwrap();
    symlink(at("elsewhere"), at("b/tables")).unwrap();
    let error = two_files("x").write(&at("b"), true).unwrap_err();
    assert!(error.to_string().contains("is a link"), "{error}");
    assert!(
        all_files(&at("elsewhere")).is_empty(),
        "written through a link"
    );

    // a link where a file goes: replaced only by force, and never what it leads to
    fs::write(at("precious"), "mine").unwrap();
    fs::create_dir_all(at("c")).unwrap();
    symlink(at("precious"), at("c/report.html")).unwrap();
    assert!(two_files("x").write(&at("c"), false).is_err(), "not ours");
    two_files("x").write(&at("c"), true).unwrap();
    assert_eq!(read(at("precious")), "mine", "written through a link");
    assert_eq!(read(at("c/report.html")), "x", "asked to");

    // a link to the folder itself is followed
    fs::create_dir_all(at("real")).unwrap();
    symlink(at("real"), at("link")).unwrap();
    two_files("one").write(&at("link"), false).unwrap();
    two_files("two").write(&at("link"), false).unwrap();
    assert_eq!(read(at("real/report.html")), "two", "through the link");
    assert!(
        fs::symlink_metadata(at("link")).unwrap().is_symlink(),
        "the link is gone"
    );
    symlink(at("nothing"), at("dangling")).unwrap();
    let error = two_files("x").write(&at("dangling"), false).unwrap_err();
    assert!(error.to_string().contains("leads nowhere"), "{error}");
}

#[test]
fn property_two_runs_at_once_into_one_folder_write_one_after_the_other() {
    for foreign in [None, Some("notes.txt")] {
        let place = tempfile::tempdir().unwrap();
        let into = place.path().join("out");
        if let Some(name) = foreign {
            fs::create_dir_all(&into).unwrap();
            fs::write(into.join(name), "mine").unwrap();
        }
        std::thread::scope(|scope| {
            for writer in 0..4 {
                let into = &into;
                scope.spawn(move || {
                    for round in 0..5 {
                        let text = format!("{writer} {round}");
                        two_files(&text).write(into, false).unwrap();
                    }
                });
            }
        });
        let page = read(into.join("report.html"));
        assert_eq!(page, read(into.join("tables/a.csv")), "mixed");
        assert!(page.ends_with('4'), "{page}");
        two_files("end").write(&into, false).unwrap();
        let left = [hidden(place.path()), hidden(&into)].concat();
        assert!(left.is_empty(), "left behind: {left:?}");
    }
}

#[test]
fn exact_rights_of_a_folder_stay_and_files_are_as_readable_as_any() {
    let place = tempfile::tempdir().unwrap();
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let plain = place.path().join("plain");
    fs::write(&plain, "").unwrap();
    let into = place.path().join("out");
    two_files("one").write(&into, false).unwrap();
    fs::set_permissions(&into, fs::Permissions::from_mode(0o750)).unwrap();
    two_files("two").write(&into, false).unwrap();
    assert_eq!(mode(&into), 0o750, "rights of the folder");
    assert_eq!(
        mode(&into.join("report.html")),
        mode(&plain),
        "rights of a file"
    );
    let single = place.path().join("single");
    write_bytes(&single, b"x", false).unwrap();
    assert_eq!(mode(&single), mode(&plain), "rights of a single file");
}

#[test]
fn cli_a_folder_one_stands_in_keeps_its_place() {
    let place = tempfile::tempdir().unwrap();
    let into = place.path().join("out");
    fs::create_dir(&into).unwrap();
    let number = || fs::metadata(&into).unwrap().ino();
    let before = number();
    for dwell in ["180", "480"] {
        let output = program(&into, ".", dwell).output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    }
    assert_eq!(number(), before, "whoever stands in it stands in nothing");
}

#[test]
fn exact_several_files_are_written_all_or_none() {
    let place = tempfile::tempdir().unwrap();
    let at = |name: &str| place.path().join(name);
    let error = write_files(&[(&at("a"), b"a"), (&at("no/b"), b"b")], false).unwrap_err();
    assert!(
        error.to_string().contains("no/b") && error.to_string().contains("there is no folder"),
        "{error}"
    );
    assert!(all_files(place.path()).is_empty(), "half of it is written");
    // what stood there comes back: a folder cannot be replaced by a file
    fs::write(at("a"), "before").unwrap();
    fs::create_dir(at("folder")).unwrap();
    assert!(
        write_files(&[(&at("a"), b"a"), (&at("folder"), b"b")], true).is_err(),
        "over a folder"
    );
    assert_eq!(read(at("a")), "before", "half of it is replaced");
    write_files(&[(&at("a"), b"a"), (&at("b"), b"b")], true).unwrap();
    assert_eq!(
        (read(at("a")), read(at("b"))),
        ("a".into(), "b".into()),
        "both"
    );
    assert!(
        hidden(place.path()).is_empty(),
        "{:?}",
        hidden(place.path())
    );
}

#[test]
fn exact_a_name_that_could_be_guessed_is_not_written_through() {
    let place = tempfile::tempdir().unwrap();
    let at = |name: &str| place.path().join(name);
    fs::write(at("precious"), "mine").unwrap();
    symlink(at("precious"), at("a.part")).unwrap();
    write_bytes(&at("a"), b"a", false).unwrap();
    assert_eq!(read(at("precious")), "mine", "written through a link");
    assert!(
        fs::symlink_metadata(at("a.part")).is_ok(),
        "somebody's file is gone"
    );
    // a device is no file that could be replaced, not even by force
    let error = write_bytes(Path::new("/dev/full"), b"a", true).unwrap_err();
    assert!(error.to_string().contains("/dev/full"), "{error}");
}
