//! Imports point left: `{ threads, math, units } ← geometry ← device ← mechanics ← procedure ← rehearsal ← stage ←
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
const LAYERS: [&str; 11] = [
    "threads",
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

/// Layers of the inner crate, which cannot name the others: they are not among what it is built from.
const PHYSICS: [&str; 6] = [
    "threads",
    "math",
    "units",
    "geometry",
    "device",
    "mechanics",
];

/// Rooms of a layer from left to right, a folder or a single file each; a file may name its own room and those
/// left of it, by the room and not through the layer's list of exports.
const ROOMS: [(&str, &[&str]); 2] = [
    (
        "mechanics",
        &[
            "error",
            "linear_algebra",
            "closed_forms",
            "rod",
            "equilibrium",
            "stack",
            "stent",
            "materials",
            "problem",
        ],
    ),
    (
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
    ),
];

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
    "Placer",
    "Settings",
    "LoadSettings",
    "MechanicsError",
    "perform",
    "perform_with",
    "place_step",
    "judge_edge",
    "walk_with",
    "at_rest",
];

/// How the name of a test begins, by what the test holds its subject against.
const PREFIXES: [(&str, &str); 9] = [
    (
        "exact_",
        "an answer known beforehand: a closed form, arithmetic by hand, a rule written down",
    ),
    (
        "published_",
        "a table, figure or observation of a source that is cited",
    ),
    (
        "reference_",
        "an independent library or program, or a problem solved independently",
    ),
    (
        "property_",
        "a statement that holds for random or many inputs",
    ),
    (
        "regress_",
        "something that once failed, or an answer on file that may not move unnoticed",
    ),
    ("cli_", "the program as a user runs it"),
    (
        "contract_",
        "what every implementation of an interface holds",
    ),
    (
        "look_",
        "pictures, animations, words and documents as a reader sees them",
    ),
    (
        "layer_",
        "the house: imports, rooms, sizes, names, files that belong together",
    ),
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

/// The folder in which a layer lies.
fn source_of(layer: &str) -> PathBuf {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    match PHYSICS.contains(&layer) {
        true => source.join("physics"),
        false => source,
    }
}

fn layer_files(layer: &str) -> Vec<PathBuf> {
    let source = source_of(layer);
    let mut files = files_of(&source.join(layer));
    let single = source.join(format!("{layer}.rs"));
    files.extend(single.exists().then_some(single));
    files
}

#[test]
fn layer_imports_point_left() {
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

/// Files of a layer by their module path below it, with what they say outside their tests.
fn modules_of(layer: &str) -> BTreeMap<Vec<String>, String> {
    let folder = source_of(layer).join(layer);
    let mut modules = BTreeMap::new();
    for file in files_of(&folder) {
        let below = file.strip_prefix(&folder).unwrap().with_extension("");
        let mut path: Vec<String> = below
            .iter()
            .map(|part| part.to_str().unwrap().to_owned())
            .collect();
        if path.last().is_some_and(|last| last == "tests") {
            continue;
        }
        path.retain(|part| part != "mod");
        modules.insert(path, code_of(&fs::read_to_string(&file).unwrap()));
    }
    modules
}

/// A text without comments and without the tests at its end.
fn code_of(text: &str) -> String {
    let code = text.split("#[cfg(test)]\nmod tests").next().unwrap();
    let lines = code.lines().map(|l| l.split("//").next().unwrap());
    lines.collect::<Vec<_>>().join("\n")
}

/// Words of a path that starts at `text`.
fn words(text: &str) -> Vec<String> {
    let end = text.find(|c: char| !(c.is_alphanumeric() || c == '_' || c == ':'));
    let path = text[..end.unwrap_or(text.len())].split("::");
    path.filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect()
}

/// The modules of a layer that one of its files names.
fn named(
    layer: &str,
    own: &[String],
    code: &str,
    modules: &BTreeMap<Vec<String>, String>,
) -> BTreeSet<Vec<String>> {
    let mut found = BTreeSet::new();
    let mut add = |path: Vec<String>| {
        // the longest beginning of the path that is a file
        let known = (0..=path.len()).rev().map(|n| path[..n].to_vec());
        found.extend(known.into_iter().find(|path| modules.contains_key(path)));
    };
    let absolute = format!("crate::{layer}::");
    for (at, _) in code.match_indices(&absolute) {
        add(words(&code[at + absolute.len()..]));
    }
    for (at, _) in code.match_indices("super::") {
        if code[..at].ends_with("super::") {
            continue;
        }
        let mut rest = &code[at..];
        let mut above = own.to_vec();
        while let Some(after) = rest.strip_prefix("super::") {
            above.pop();
            rest = after;
        }
        above.extend(words(rest));
        add(above);
    }
    found.remove(own);
    found
}

/// Everything by which a file breaks the order of rooms.
fn wrong_rooms(rooms: &[&str], own: &[String], named: &BTreeSet<Vec<String>>) -> Vec<String> {
    let place = |path: &[String]| {
        let room = path.first()?;
        rooms.iter().position(|r| r == room)
    };
    let Some(from) = place(own) else {
        // the list of rooms itself
        return Vec::new();
    };
    named
        .iter()
        .filter(|path| place(path).is_none_or(|to| to > from))
        .map(|path| format!("{} names {}", own.join("::"), path.join("::")))
        .collect()
}

#[test]
fn layer_rooms_stand_in_order() {
    for (layer, rooms) in ROOMS {
        let modules = modules_of(layer);
        let mut found = Vec::new();
        for (own, code) in &modules {
            let room = own.first().map(String::as_str);
            assert!(
                room.is_none_or(|room| rooms.contains(&room)),
                "{own:?} lies in no room: add it to the list here and in {layer}/mod.rs"
            );
            found.extend(wrong_rooms(rooms, own, &named(layer, own, code, &modules)));
        }
        assert!(found.is_empty(), "{layer}:\n{}", found.join("\n"));
        let top = source_of(layer).join(layer).join("mod.rs");
        let top = code_of(&fs::read_to_string(top).unwrap());
        for room in rooms {
            assert!(
                top.contains(&format!("mod {room};")),
                "there is no room {room} in {layer}"
            );
        }
    }
}

/// Files that name one another in a circle, the first of them twice.
fn circle(graph: &BTreeMap<Vec<String>, BTreeSet<Vec<String>>>) -> Option<String> {
    for start in graph.keys() {
        let mut reached = BTreeSet::new();
        let mut open = vec![vec![start.clone()]];
        while let Some(way) = open.pop() {
            for next in graph.get(&way[way.len() - 1]).into_iter().flatten() {
                let mut further = way.clone();
                further.push(next.clone());
                if next == start {
                    let files: Vec<String> = further.iter().map(|file| file.join("::")).collect();
                    return Some(files.join(" names "));
                }
                if reached.insert(next.clone()) {
                    open.push(further);
                }
            }
        }
    }
    None
}

#[test]
fn layer_files_of_rooms_form_no_circle() {
    for (layer, _) in ROOMS {
        let modules = modules_of(layer);
        let mut graph = BTreeMap::new();
        for (own, code) in &modules {
            graph.insert(own.clone(), named(layer, own, code, &modules));
        }
        assert!(
            graph.values().map(BTreeSet::len).sum::<usize>() > 100,
            "imports of {layer} are not seen"
        );
        if let Some(circle) = circle(&graph) {
            panic!("{circle}");
        }
    }
}

#[test]
fn layer_planted_circles_and_wrong_rooms_are_caught() {
    let path = |text: &str| words(text);
    let (_, rooms) = ROOMS
        .into_iter()
        .find(|(layer, _)| *layer == "procedure")
        .unwrap();
    let mut modules = BTreeMap::from([(Vec::new(), String::new())]);
    for (own, code) in [
        ("script::plan", "use super::place::Place;"),
        (
            "script::place",
            "let x = crate::procedure::script::plan::Plan::new();",
        ),
        ("steps::travel", "use crate::procedure::state::Move;"),
        ("state::moves", "use super::super::words::samples;"),
        ("state::bed", "use crate::procedure::Plan;"),
        ("words", "pub use edges::samples;"),
        ("state", "pub use moves::Move;"),
    ] {
        modules.insert(path(own), code.to_owned());
    }
    let mut graph = BTreeMap::new();
    let mut wrong = Vec::new();
    for (own, code) in &modules {
        let names = named("procedure", own, code, &modules);
        wrong.extend(wrong_rooms(rooms, own, &names));
        graph.insert(own.clone(), names);
    }
    assert!(circle(&graph).is_some(), "a circle of two files");
    let expected = ["state::bed names ", "state::moves names words"];
    assert_eq!(wrong, expected, "rooms, and names without their room");
    graph.remove(&path("script::place"));
    assert_eq!(circle(&graph), None, "no circle left");
}

/// Nothing that draws or writes looks for an equilibrium: what it shows has been found by those before it.
#[test]
fn layer_output_solves_nothing() {
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
fn layer_commands_only_join_layers() {
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
fn layer_planted_violations_are_caught() {
    for (layer, line) in [
        ("geometry", "use crate::procedure::Plan;"),
        ("device", "let x = crate::mechanics::capstan_factor();"),
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
    assert!(
        violations("output", "use crate::rehearsal::Outcome;").is_empty(),
        "left is allowed"
    );
    assert!(
        violations("units", "// crate::geometry::Track").is_empty(),
        "comments name what they like"
    );
}

/// The inner crate is known by one name, as layers of this one.
#[test]
fn layer_physics_is_a_crate_of_its_own() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let inner = source.join("physics");
    let files = files_of(&source);
    let outer = files.iter().filter(|file| !file.starts_with(&inner));
    let naming: Vec<&Path> = outer
        .filter(|file| {
            fs::read_to_string(file)
                .unwrap()
                .contains("nestline_physics")
        })
        .map(|file| file.strip_prefix(&source).unwrap())
        .collect();
    assert_eq!(
        naming,
        [Path::new("lib.rs")],
        "`crate::mechanics` and so on"
    );
    let said = fs::read_to_string(inner.join("Cargo.toml")).unwrap();
    for package in ["nestline", "ron", "kiss3d", "serde_json", "miette", "clap"] {
        let needed = said.split("[dev-dependencies]").next().unwrap();
        assert!(
            !needed
                .lines()
                .any(|line| line.starts_with(&format!("{package}.workspace"))
                    || line.starts_with(&format!("{package} ="))),
            "physics is built from {package}"
        );
    }
    let shown = fs::read_to_string(inner.join("lib.rs")).unwrap();
    for layer in PHYSICS {
        assert!(shown.contains(&format!("pub mod {layer};")), "{layer}");
    }
}

/// Names of the functions of a text that are tests, in `proptest!` as well.
fn tests_of(text: &str) -> Vec<&str> {
    let mut found = Vec::new();
    let mut marked = false;
    for line in text.lines().map(str::trim) {
        if line == "#[test]" {
            marked = true;
        } else if let Some(rest) = line.strip_prefix("fn ").filter(|_| marked) {
            found.push(rest.split('(').next().unwrap());
            marked = false;
        }
    }
    found
}

/// Whether a name says what its test holds, beyond how it holds it.
fn says_what_it_holds(name: &str) -> bool {
    let mut rests = PREFIXES
        .iter()
        .filter_map(|(prefix, _)| name.strip_prefix(prefix));
    rests.any(|rest| !rest.is_empty())
}

#[test]
fn layer_names_of_tests_say_what_they_hold() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    let mut wrong = Vec::new();
    for file in [root.join("src"), root.join("tests")]
        .iter()
        .flat_map(|f| files_of(f))
    {
        let text = fs::read_to_string(&file).unwrap();
        for name in tests_of(&text) {
            match PREFIXES.iter().find(|(p, _)| name.starts_with(p)) {
                Some((prefix, _)) if says_what_it_holds(name) => {
                    *seen.entry(prefix).or_default() += 1;
                }
                _ => wrong.push(format!("{}: {name}", file.display())),
            }
        }
    }
    let list = PREFIXES.map(|(prefix, holds)| format!("{prefix} {holds}"));
    assert!(
        wrong.is_empty(),
        "{}\nhave none of these prefixes:\n{}",
        wrong.join("\n"),
        list.join("\n")
    );
    assert_eq!(seen.len(), PREFIXES.len(), "a prefix nobody uses: {seen:?}");
    assert!(
        seen.values().sum::<usize>() > 500,
        "tests are not seen: {seen:?}"
    );
}

#[test]
fn layer_planted_names_of_tests_are_caught() {
    let text = "#[test]\n#[ignore = \"long\"]\nfn it_works() {}\nfn helper() {}\n    #[test]\n    fn exact_sum(a in 0..3) {}";
    assert_eq!(tests_of(text), ["it_works", "exact_sum"]);
    for (name, says) in [
        ("it_works", false),
        ("exact_", false),
        ("exactly_so", false),
        ("test_exact_sum", false),
        ("exact_sum", true),
        ("look_the_page", true),
    ] {
        assert_eq!(says_what_it_holds(name), says, "{name}");
    }
}

#[test]
fn layer_files_are_of_a_size_to_read() {
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
    for file in files_of(&Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")) {
        let lines = fs::read_to_string(&file).unwrap().lines().count();
        assert!(
            lines <= 800,
            "{} has {lines} lines: split it, and put what several tests share into tests/support",
            file.display()
        );
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
