//! Imports point left: `units ← geometry ← device ← mechanics ← procedure ← rehearsal ← { data,
//! output } ← main`, and physics knows no file, no screen and no format.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and reads the project's own files"
)]

use std::fs;
use std::path::{Path, PathBuf};

/// The layers from left to right; `data` and `output` are siblings that do not know each other.
const LAYERS: [&str; 9] = [
    "math",
    "units",
    "geometry",
    "device",
    "mechanics",
    "procedure",
    "rehearsal",
    "data",
    "output",
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
