//! Lists the vessel, device and scene files that are built into the program.
//!
//! Only RON texts are taken: pictures that lie beside them stay out of the binary.

use std::path::{Path, PathBuf};
use std::{env, fs, io};

/// Folders whose `.ron` files are built in, at any depth.
const FOLDERS: [&str; 2] = ["scenes", "vessels"];

#[expect(
    clippy::disallowed_methods,
    reason = "a build script writes into OUT_DIR, where nobody reads meanwhile"
)]
fn main() -> io::Result<()> {
    let variable = |name: &str| env::var_os(name).map(PathBuf::from).unwrap_or_default();
    let root = variable("CARGO_MANIFEST_DIR");
    let mut files = Vec::new();
    for folder in FOLDERS {
        println!("cargo::rerun-if-changed={folder}");
        collect(&root.join(folder), &mut files)?;
    }
    files.sort();
    let mut code = String::from("static FILES: &[(&str, &str)] = &[\n");
    for file in &files {
        let name: Vec<_> = file
            .strip_prefix(&root)
            .unwrap_or(file)
            .components()
            .map(|part| part.as_os_str().to_string_lossy())
            .collect();
        let name = name.join("/");
        // from where the crate is compiled: another checkout may share the folder this is written to
        let below = format!("/{name}");
        code.push_str(&format!(
            "    ({name:?}, include_str!(concat!(env!(\"CARGO_MANIFEST_DIR\"), {below:?}))),\n"
        ));
    }
    code.push_str("];\n");
    fs::write(variable("OUT_DIR").join("embedded.rs"), code)
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    if !folder.is_dir() {
        return Ok(());
    }
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            collect(&path, files)?;
        } else if path.extension().is_some_and(|e| e == "ron") {
            files.push(path);
        }
    }
    Ok(())
}
