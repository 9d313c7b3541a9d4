//! Imports point left: `units ← geometry ← device ← mechanics ← procedure ← rehearsal ← stage ←
//! { data, output } ← main`, and physics knows no file, no screen and no format.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and reads the project's own files"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// The layers from left to right; `data` and `output` are siblings that do not know each other.
const LAYERS: [&str; 10] = [
    "math",
    "units",
    "geometry",
    "device",
    "mechanics",
    "procedure",
    "rehearsal",
    "stage",
    "data",
    "output",
];

/// Rooms of a layer from left to right: a folder or a file each, and imports point left among them as well.
const ROOMS: [(&str, &[&str]); 1] = [(
    "procedure",
    &[
        "error",
        "script",
        "state",
        "reason",
        "placing",
        "edges",
        "steps",
        "ledger",
        "words",
        "clock",
        "strategies",
    ],
)];

/// What only some layers may name.
const RESERVED: [(&str, &[&str]); 7] = [
    ("std::fs", &["data", "output"]),
    ("std::io", &["data", "output"]),
    ("std::path", &["data", "output"]),
    ("ron::", &["data"]),
    ("serde_json", &["output"]),
    ("miette", &["data"]),
    ("kiss3d", &["output"]),
];

/// What finds equilibria, walks through scripts or judges crossings.
const SOLVERS: [&str; 13] = [
    "Settle",
    "StackSolver",
    "Rods",
    "Lay",
    "Settings",
    "LoadSettings",
    "MechanicsError",
    "perform",
    "perform_with",
    "lay_step",
    "judge_edge",
    "walk_with",
    "at_rest",
];

fn files_of(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let Ok(entries) = fs::read_dir(folder) else {
        return found;
    };
    for entry in entries {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files_of(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// Everything a text names that its layer must not know.
fn violations(layer: &str, text: &str) -> Vec<String> {
    let own = LAYERS.iter().position(|l| *l == layer).unwrap();
    let forbidden =
        |other: usize| other > own || (LAYERS[own] == "output" && LAYERS[other] == "data");
    let mut found = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let code = line.split("//").next().unwrap_or("");
        for (other, name) in LAYERS.iter().enumerate() {
            let named = [
                format!("crate::{name}::"),
                format!("crate::{name};"),
                format!("super::super::{name}::"),
            ];
            if forbidden(other) && named.iter().any(|n| code.contains(n.as_str())) {
                found.push(format!("line {}: {layer} names {name}", number + 1));
            }
        }
        if code.contains("crate::{") {
            found.push(format!(
                "line {}: import layers one by one, so that this test sees them",
                number + 1
            ));
        }
        for (what, allowed) in RESERVED {
            if code.contains(what) && !allowed.contains(&layer) {
                found.push(format!("line {}: {layer} names {what}", number + 1));
            }
        }
    }
    found
}

fn layer_files(layer: &str) -> Vec<PathBuf> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = files_of(&source.join(layer));
    let single = source.join(format!("{layer}.rs"));
    files.extend(single.exists().then_some(single));
    files
}

#[test]
fn imports_point_left() {
    let mut found = Vec::new();
    for layer in LAYERS {
        let files = layer_files(layer);
        assert!(!files.is_empty(), "no source file in layer {layer}");
        for file in files {
            let text = fs::read_to_string(&file).unwrap();
            found.extend(
                violations(layer, &text)
                    .into_iter()
                    .map(|v| format!("{}: {v}", file.display())),
            );
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// The room of a layer that a file lies in, and the file's own name; none for the layer's list of exports.
fn room_of(layer: &str, file: &Path) -> Option<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("src")
        .join(layer);
    let inside = file.strip_prefix(folder).ok()?.with_extension("");
    let parts: Vec<String> = inside
        .iter()
        .map(|part| part.to_str().unwrap().to_owned())
        .collect();
    let room = parts.first().filter(|room| *room != "mod")?;
    Some((room.clone(), parts.last()?.clone()))
}

/// Everything a text names that its room must not know: rooms to the right of it, and names by the layer's
/// list of exports, which hides the room they come from.
fn room_violations(layer: &str, rooms: &[&str], room: &str, text: &str) -> Vec<String> {
    let own = rooms.iter().position(|r| *r == room);
    let mut found = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let code = line.split("//").next().unwrap_or("");
        for named in code.split(&format!("crate::{layer}::")).skip(1) {
            let end = named.find(|c: char| !(c.is_alphanumeric() || c == '_'));
            let name = &named[..end.unwrap_or(named.len())];
            let other = rooms.iter().position(|r| *r == name);
            if other.is_none() || other > own {
                found.push(format!("line {}: {room} names `{name}`", number + 1));
            }
        }
        if code.contains("super::super::") || code.contains(&format!("crate::{layer};")) {
            found.push(format!("line {}: name the room in full", number + 1));
        }
    }
    found
}

#[test]
fn imports_point_left_among_rooms() {
    let mut found = Vec::new();
    for (layer, rooms) in ROOMS {
        for file in layer_files(layer) {
            let Some((room, _)) = room_of(layer, &file) else {
                continue;
            };
            assert!(rooms.contains(&room.as_str()), "{room} of {layer} is new");
            let text = fs::read_to_string(&file).unwrap();
            let here = room_violations(layer, rooms, &room, &text);
            found.extend(here.iter().map(|v| format!("{}: {v}", file.display())));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// Files of a room, each with those of the same room that it imports from.
fn files_of_rooms(layer: &str) -> BTreeMap<(String, String), BTreeSet<String>> {
    let mut files = BTreeMap::new();
    for path in layer_files(layer) {
        let Some((room, name)) = room_of(layer, &path) else {
            continue;
        };
        let text = fs::read_to_string(&path).unwrap();
        let mut needs = BTreeSet::new();
        for line in text.lines() {
            let code = line.split("//").next().unwrap_or("");
            for named in code.split("super::").skip(1) {
                let end = named.find(|c: char| !(c.is_alphanumeric() || c == '_'));
                needs.insert(named[..end.unwrap_or(named.len())].to_owned());
            }
        }
        files.insert((room, name), needs);
    }
    files
}

/// A file's way back to itself, if there is one.
fn circle(
    files: &BTreeMap<(String, String), BTreeSet<String>>,
    way: &mut Vec<(String, String)>,
) -> Option<String> {
    let here = way.last()?.clone();
    for name in files.get(&here)? {
        let next = (here.0.clone(), name.clone());
        if way.contains(&next) {
            return Some(format!("{way:?} comes back to {name}"));
        }
        way.push(next);
        let found = circle(files, way);
        way.pop();
        if found.is_some() {
            return found;
        }
    }
    None
}

#[test]
fn files_of_a_room_import_in_no_circle() {
    for (layer, _) in ROOMS {
        let files = files_of_rooms(layer);
        for file in files.keys() {
            let found = circle(&files, &mut vec![file.clone()]);
            assert!(found.is_none(), "{}", found.unwrap_or_default());
        }
    }
}

/// Nothing that draws or writes looks for an equilibrium: what it shows has been found by those before it.
#[test]
fn output_solves_nothing() {
    for file in layer_files("output") {
        let text = fs::read_to_string(&file).unwrap();
        for word in SOLVERS {
            assert!(
                !text.lines().any(|line| {
                    // what stands in quotes is said, not called
                    let code = line.split("//").next().unwrap_or("");
                    code.split('"')
                        .step_by(2)
                        .flat_map(|part| part.split(|c: char| !(c.is_alphanumeric() || c == '_')))
                        .any(|name| name == word)
                }),
                "{} names {word}: find it in a layer further left",
                file.display()
            );
        }
    }
}

/// `cli` belongs to `main`: it joins the layers through the library, and no layer knows it. It leaves
/// files, formats and drawing to them.
#[test]
fn commands_only_join_layers() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = files_of(&source.join("cli"));
    files.push(source.join("cli.rs"));
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        for word in ["std::fs", "ron::", "miette", "kiss3d", "crate::"] {
            assert!(
                !text.replace("pub(crate)", "").contains(word),
                "{} names {word}",
                file.display()
            );
        }
    }
    for layer in LAYERS {
        for file in layer_files(layer) {
            let text = fs::read_to_string(&file).unwrap();
            assert!(
                !text.contains("crate::cli"),
                "{} knows the command line",
                file.display()
            );
        }
    }
}

#[test]
fn planted_violations_are_caught() {
    for (layer, line) in [
        ("geometry", "use crate::procedure::Plan;"),
        ("device", "let x = crate::mechanics::friction();"),
        ("output", "use crate::data::Source;"),
        ("mechanics", "use std::fs::read;"),
        ("rehearsal", "let x = ron::from_str(y);"),
        ("units", "use crate::{geometry::Track};"),
    ] {
        assert!(
            !violations(layer, line).is_empty(),
            "{layer} may not say {line}"
        );
    }
    let (layer, rooms) = ROOMS[0];
    for (room, line) in [
        ("steps", "use crate::procedure::words::samples;"),
        ("state", "use crate::procedure::Plan;"),
        ("script", "let x = super::super::state::State::start(plan);"),
        ("reason", "use crate::procedure::{script::Spot};"),
    ] {
        assert!(
            !room_violations(layer, rooms, room, line).is_empty(),
            "{room} may not say {line}"
        );
    }
    let left = "use crate::procedure::script::Plan;";
    assert!(
        room_violations(layer, rooms, "state", left).is_empty(),
        "left is allowed among rooms"
    );
    assert!(
        violations("output", "use crate::rehearsal::Outcome;").is_empty(),
        "left is allowed"
    );
    assert!(
        violations("units", "// crate::geometry::Track").is_empty(),
        "comments name what they like"
    );
}

#[test]
fn files_are_of_a_size_to_read() {
    for layer in LAYERS {
        for file in layer_files(layer) {
            let lines = fs::read_to_string(&file).unwrap().lines().count();
            assert!(
                lines <= 800,
                "{} has {lines} lines: split it",
                file.display()
            );
        }
    }
    // `main` is arguments, dispatch and exit code; what the commands do lies in `cli`
    for file in files_of(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/cli")) {
        let lines = fs::read_to_string(&file).unwrap().lines().count();
        assert!(
            lines <= 400,
            "{} has {lines} lines: commands only join layers",
            file.display()
        );
    }
    let main = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/main.rs");
    let lines = fs::read_to_string(main).unwrap().lines().count();
    assert!(
        lines <= 150,
        "main.rs has {lines} lines: arguments, dispatch and exit code only"
    );
}
