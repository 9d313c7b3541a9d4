//! The list of what was written, with a checksum of each file.
//!
//! Lists are read back from folders that anybody may have written to, so nothing in them is trusted: a list
//! with a name that leads out of its folder counts as no list.

use super::super::file::bytes_of;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::io;
use std::path::{Component, Path, PathBuf};

/// The list's own name.
pub(super) const LIST: &str = "written-by-nestline.json";
/// Schema of that list.
const LIST_SCHEMA: &str = "nestline.folder";

/// Names with `/` between folders, and the CRC-32 of each file, hexadecimal.
pub(super) type Sums = BTreeMap<String, String>;

#[derive(Debug, Serialize, Deserialize)]
struct List {
    schema: String,
    version: u32,
    files: Sums,
}

/// CRC-32, hexadecimal.
pub(super) fn checksum(bytes: &[u8]) -> String {
    format!("{:08x}", crc32fast::hash(bytes))
}

/// The text of a list of these files.
pub(super) fn list_of(files: &Sums) -> io::Result<Vec<u8>> {
    let list = List {
        schema: LIST_SCHEMA.into(),
        version: 1,
        files: files.clone(),
    };
    serde_json::to_vec_pretty(&list).map_err(io::Error::other)
}

/// What was written into a folder before; nothing where there is no list of ours.
pub(super) fn written_before(folder: &Path) -> Sums {
    bytes_of(&folder.join(LIST))
        .ok()
        .and_then(|bytes| serde_json::from_slice::<List>(&bytes).ok())
        .filter(|list| list.schema == LIST_SCHEMA && names_stay_inside(&list.files))
        .map_or_else(BTreeMap::new, |list| list.files)
}

/// Whether every name leads to a place inside the folder it is joined to.
pub(super) fn names_stay_inside(files: &Sums) -> bool {
    files.keys().all(|name| {
        let plain = |part: Component<'_>| matches!(part, Component::Normal(_));
        !name.is_empty()
            && !name.contains(['\\', ':'])
            && !name.ends_with('/')
            && Path::new(name).components().all(plain)
    })
}

/// Folders inside a folder that hold these files, the deepest first.
pub(super) fn folders_of<'a>(names: impl Iterator<Item = &'a str>) -> Vec<PathBuf> {
    let mut folders: Vec<PathBuf> = names
        .flat_map(|name| Path::new(name).ancestors().skip(1))
        .filter(|folder| !folder.as_os_str().is_empty())
        .map(Path::to_path_buf)
        .collect();
    folders.sort_by(|a, b| b.cmp(a));
    folders.dedup();
    folders
}

/// The checksum of a file, or of where a link leads; none for everything else. Our lists hold none of a
/// link, so that links are never taken for what we wrote.
pub(super) fn sum_of(path: &Path) -> Option<String> {
    match std::fs::read_link(path) {
        Ok(leads_to) => {
            let sum = checksum(leads_to.as_os_str().as_encoded_bytes());
            Some(format!("link {sum}"))
        }
        Err(_) => bytes_of(path).ok().map(|bytes| checksum(&bytes)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_names_that_lead_out_are_not_believed() {
        for (name, inside) in [
            ("report.html", true),
            ("tables/a.csv", true),
            ("../x", false),
            ("tables/../../x", false),
            ("/etc/x", false),
            ("./x", false),
            ("a\\..\\x", false),
            ("C:x", false),
            ("tables/", false),
            ("", false),
        ] {
            let files = Sums::from([(name.to_owned(), String::new())]);
            assert_eq!(names_stay_inside(&files), inside, "`{name}`");
        }
    }

    #[test]
    fn exact_folders_come_deepest_first() {
        let found = folders_of(["a/b/c.csv", "a/d.csv", "e.html"].into_iter());
        assert_eq!(found, [Path::new("a/b"), Path::new("a")]);
    }
}
