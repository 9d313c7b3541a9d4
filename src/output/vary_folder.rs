//! What goes into the folder of a population, and the cases kept beside it while it grows.

use super::csv_tables::case_table;
use super::file::{UNFINISHED, blamed, write_bytes};
use super::folder::Folder;
use super::report::{vary_html, vary_plots};
use super::to_json;
use crate::rehearsal::vary::{CASES_TOGETHER, Case, Shard, Vary};
use std::collections::BTreeMap;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// What the cases of a folder are of.
const KEY: &str = "cases-are-of.txt";

/// The folder: `vary.json`, `report.html`, `tables/cases.csv`, `plots/*.svg`.
///
/// # Errors
/// Those of the writers of these formats.
pub fn vary_folder(vary: &Vary, cases: &[Case]) -> io::Result<Folder> {
    let mut folder = Folder::default();
    folder.add("report.html", vary_html(vary));
    folder.add("vary.json", to_json(vary).map_err(io::Error::other)?);
    folder.add("tables/cases.csv", case_table(cases).text()?);
    for plot in vary_plots(vary) {
        folder.add(format!("plots/{}.svg", plot.name), plot.svg);
    }
    Ok(folder)
}

/// The bytes of a file of our own, which holds sixteen cases or a key.
#[expect(
    clippy::disallowed_methods,
    reason = "our own cases, not input of somebody's"
)]
fn own(path: &Path) -> io::Result<Vec<u8>> {
    std::fs::read(path)
}

/// Cases that were worked out before, in files of sixteen, each written whole: a run that was cut off goes on from
/// them, and a longer one takes them over.
#[derive(Debug)]
pub struct CaseStore {
    folder: PathBuf,
}

impl CaseStore {
    /// The cases of a population in a folder, or of one part of it. `key` says all that a case depends on but its number.
    ///
    /// # Errors
    /// [`io::ErrorKind::AlreadyExists`] where the folder keeps cases of something else; those of the file system.
    pub fn open(out: &Path, shard: Option<Shard>, key: &str) -> io::Result<Self> {
        let folder = out.join(match shard {
            None => "cases".to_owned(),
            Some(shard) => format!("cases-{}-of-{}", shard.number(), shard.of()),
        });
        std::fs::create_dir_all(&folder).map_err(|error| blamed(&folder, &error))?;
        let path = folder.join(KEY);
        if own(&path).is_err() {
            match write_bytes(&path, key.as_bytes(), false) {
                // another run of the same part was quicker
                Err(error) if error.kind() != ErrorKind::AlreadyExists => return Err(error),
                _ => {}
            }
        }
        match own(&path) {
            Ok(kept) if kept == key.as_bytes() => Ok(Self { folder }),
            _ => Err(io::Error::new(
                ErrorKind::AlreadyExists,
                format!(
                    "`{}` keeps cases of another scene, seed, change or version: name another folder (--out DIR), or remove it",
                    folder.display()
                ),
            )),
        }
    }

    /// Removes what is kept, which is in its place now; files of others stay, and the folder with them.
    pub fn remove(self) {
        let Ok(entries) = std::fs::read_dir(&self.folder) else {
            return;
        };
        for entry in entries.flatten() {
            let name = entry.file_name();
            let name = name.to_string_lossy();
            let number = name.strip_suffix(".json").unwrap_or_default();
            let cases = !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit());
            if cases || name == KEY || name.starts_with(UNFINISHED) {
                // what cannot be removed harms nobody
                let _ = std::fs::remove_file(entry.path());
            }
        }
        let _ = std::fs::remove_dir(&self.folder);
    }

    fn path(&self, number: u64) -> PathBuf {
        self.folder
            .join(format!("{:08}.json", number / CASES_TOGETHER))
    }

    /// Those cases of a block that are kept; a file that is not whole or holds something else is none.
    #[must_use]
    pub fn kept(&self, numbers: &[u64]) -> Vec<Case> {
        let Some(first) = numbers.first() else {
            return Vec::new();
        };
        let bytes = own(&self.path(*first)).unwrap_or_default();
        let cases: Vec<Case> = serde_json::from_slice(&bytes).unwrap_or_default();
        let mut kept: BTreeMap<u64, Case> = BTreeMap::new();
        for case in cases {
            if numbers.contains(&case.number) {
                kept.insert(case.number, case);
            }
        }
        kept.into_values().collect()
    }

    /// Keeps the cases of a block.
    ///
    /// # Errors
    /// Those of the file system.
    pub fn keep(&self, cases: &[Case]) -> io::Result<()> {
        let Some(first) = cases.first() else {
            return Ok(());
        };
        let text = to_json(&cases).map_err(io::Error::other)?;
        write_bytes(&self.path(first.number), text.as_bytes(), true)
    }
}
