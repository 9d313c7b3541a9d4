//! What goes into the folder of a population, and the cases kept beside it while it grows.

use super::csv_tables::case_table;
use super::file::{blamed, write_bytes};
use super::folder::Folder;
use super::report::{vary_html, vary_plots};
use super::to_json;
use crate::rehearsal::vary::{Case, Vary};
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

/// Cases kept in one file.
const BLOCK: u64 = 16;
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
    /// The cases of a folder. `key` says all that a case depends on but its number.
    ///
    /// # Errors
    /// [`io::ErrorKind::AlreadyExists`] where the folder keeps cases of something else; those of the file system.
    pub fn open(out: &Path, key: &str) -> io::Result<Self> {
        let folder = out.join("cases");
        std::fs::create_dir_all(&folder).map_err(|error| blamed(&folder, &error))?;
        let path = folder.join(KEY);
        match own(&path) {
            Ok(kept) if kept == key.as_bytes() => {}
            Ok(_) => {
                return Err(io::Error::new(
                    io::ErrorKind::AlreadyExists,
                    format!(
                        "`{}` keeps cases of another scene, seed, change or version: name another folder (--out DIR), or remove it",
                        folder.display()
                    ),
                ));
            }
            Err(_) => write_bytes(&path, key.as_bytes(), false)?,
        }
        Ok(Self { folder })
    }

    /// Blocks of cases up to a number, and the numbers of each.
    #[must_use]
    pub fn blocks(cases: u64) -> Vec<Vec<u64>> {
        let starts = (0..cases.div_ceil(BLOCK)).map(|block| block * BLOCK);
        let block = |from: u64| (from..(from + BLOCK).min(cases)).collect();
        starts.map(block).collect()
    }

    fn path(&self, number: u64) -> PathBuf {
        self.folder.join(format!("{:08}.json", number / BLOCK))
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
