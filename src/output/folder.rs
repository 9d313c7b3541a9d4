//! The folder a report goes into: written whole or not at all, and never over a file of somebody else.
//!
//! A list of what was written lies beside it, with a checksum of each file. What is in the list and
//! unchanged is our own and may be replaced; everything else stays as it is.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

/// The list of what was written.
const LIST: &str = "written-by-nestline.json";
/// Schema of that list.
const LIST_SCHEMA: &str = "nestline.folder";
/// Folder of files that are not all written yet.
const PART: &str = ".nestline-part";
/// Folder of files that are being replaced.
const OLD: &str = ".nestline-old";

/// Files to be written together: names with `/` between folders, and their bytes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Folder {
    files: BTreeMap<String, Vec<u8>>,
}

#[derive(Debug, Serialize, Deserialize)]
struct List {
    schema: String,
    version: u32,
    /// CRC-32 of each file, hexadecimal.
    files: BTreeMap<String, String>,
}

fn checksum(bytes: &[u8]) -> String {
    format!("{:08x}", crc32fast::hash(bytes))
}

fn refused(text: String) -> io::Error {
    io::Error::new(io::ErrorKind::AlreadyExists, text)
}

#[expect(
    clippy::disallowed_methods,
    reason = "what lies in the folder already is looked at before it is replaced"
)]
fn bytes_of(path: &Path) -> io::Result<Vec<u8>> {
    std::fs::read(path)
}

/// What was written into a folder before and is still as it was written; nothing where there is no list.
fn own(into: &Path) -> BTreeMap<String, String> {
    bytes_of(&into.join(LIST))
        .ok()
        .and_then(|bytes| serde_json::from_slice::<List>(&bytes).ok())
        .filter(|list| list.schema == LIST_SCHEMA)
        .map_or_else(BTreeMap::new, |list| list.files)
}

impl Folder {
    /// Adds a file.
    pub fn add(&mut self, name: impl Into<String>, bytes: impl Into<Vec<u8>>) {
        self.files.insert(name.into(), bytes.into());
    }

    /// Names and sizes in bytes, in the order of names.
    pub fn sizes(&self) -> impl Iterator<Item = (&str, usize)> {
        self.files
            .iter()
            .map(|(name, bytes)| (name.as_str(), bytes.len()))
    }

    /// Whether a folder may be written into: it does not exist, is empty, or holds no file of these names
    /// that somebody else wrote or changed.
    ///
    /// # Errors
    /// [`io::ErrorKind::AlreadyExists`] naming the file in the way, or the path if it is no folder.
    pub fn check(into: &Path, names: &[&str], overwrite: bool) -> io::Result<()> {
        if !into.exists() {
            return Ok(());
        }
        if !into.is_dir() {
            return Err(refused(format!(
                "`{}` is a file: name another folder (--out DIR)",
                into.display()
            )));
        }
        if overwrite {
            return Ok(());
        }
        let own = own(into);
        for name in names {
            let path = into.join(name);
            if !path.exists() {
                continue;
            }
            let unchanged = path.is_file()
                && own
                    .get(*name)
                    .is_some_and(|sum| bytes_of(&path).is_ok_and(|b| checksum(&b) == *sum));
            if !unchanged {
                return Err(refused(format!(
                    "`{}` was not written by nestline, or was changed since: name another folder (--out DIR), or allow it to be replaced (--force)",
                    path.display()
                )));
            }
        }
        Ok(())
    }

    /// Writes everything, or leaves everything as it was. Files that an earlier writing left and this one
    /// does not have are removed where they are unchanged; all other files stay.
    ///
    /// # Errors
    /// Those of [`Folder::check`] and of the file system.
    pub fn write(&self, into: &Path, overwrite: bool) -> io::Result<()> {
        let into: &Path = &into.components().collect::<PathBuf>();
        let names: Vec<&str> = self.files.keys().map(String::as_str).collect();
        Self::check(into, &names, overwrite)?;
        let fresh = !into.exists();
        // a folder that is not there yet is built beside and takes its name at the end
        let (stage, beside) = if fresh {
            let mut beside = into.as_os_str().to_owned();
            beside.push(PART);
            let beside = PathBuf::from(beside);
            (beside.clone(), Some(beside))
        } else {
            (into.join(PART), None)
        };
        // left over from a run that was cut off
        if stage.exists() {
            std::fs::remove_dir_all(&stage)?;
        }
        let done = self.stage(&stage).and_then(|()| {
            if beside.is_some() {
                std::fs::rename(&stage, into)
            } else {
                self.swap(&stage, into)
            }
        });
        if done.is_err() || !fresh {
            // the error that stopped the writing is the one to tell
            let _ = std::fs::remove_dir_all(&stage);
        }
        done
    }

    #[expect(
        clippy::disallowed_methods,
        reason = "the one place where folders are written"
    )]
    fn stage(&self, stage: &Path) -> io::Result<()> {
        std::fs::create_dir_all(stage)?;
        for (name, bytes) in &self.files {
            let path = stage.join(name);
            if let Some(parent) = path.parent() {
                std::fs::create_dir_all(parent)?;
            }
            std::fs::write(path, bytes)?;
        }
        let list = List {
            schema: LIST_SCHEMA.into(),
            version: 1,
            files: self
                .files
                .iter()
                .map(|(name, bytes)| (name.clone(), checksum(bytes)))
                .collect(),
        };
        let text = serde_json::to_vec_pretty(&list).map_err(io::Error::other)?;
        std::fs::write(stage.join(LIST), text)
    }

    /// Moves staged files into their places; puts the old ones back if one move fails.
    fn swap(&self, stage: &Path, into: &Path) -> io::Result<()> {
        let old = into.join(OLD);
        if old.exists() {
            return Err(refused(format!(
                "`{}` holds files of a run that was cut off: move what is needed out of it and remove it",
                old.display()
            )));
        }
        let stale: Vec<String> = own(into)
            .into_iter()
            .filter(|(name, sum)| {
                !self.files.contains_key(name)
                    && bytes_of(&into.join(name)).is_ok_and(|b| checksum(&b) == *sum)
            })
            .map(|(name, _)| name)
            .collect();
        let names = self.files.keys().map(String::as_str).chain([LIST]);
        let moved = move_all(stage, into, &old, names, stale.iter().map(String::as_str));
        moved?;
        // what remains there takes room and nothing else
        let _ = std::fs::remove_dir_all(&old);
        for name in &stale {
            // goes only where it is empty
            if let Some(parent) = into.join(name).parent().filter(|p| *p != into) {
                let _ = std::fs::remove_dir(parent);
            }
        }
        Ok(())
    }
}

/// Moves `names` from `stage` to `into`, what is in their way and `stale` to `old`; all or nothing.
fn move_all<'a>(
    stage: &Path,
    into: &Path,
    old: &Path,
    names: impl Iterator<Item = &'a str>,
    stale: impl Iterator<Item = &'a str>,
) -> io::Result<()> {
    let mut undo: Vec<(PathBuf, PathBuf)> = Vec::new();
    let mut go = |from: PathBuf, to: PathBuf| -> io::Result<()> {
        if let Some(parent) = to.parent() {
            std::fs::create_dir_all(parent)?;
        }
        std::fs::rename(&from, &to)?;
        undo.push((to, from));
        Ok(())
    };
    let all = || -> io::Result<()> {
        for name in stale {
            go(into.join(name), old.join(name))?;
        }
        for name in names {
            let place = into.join(name);
            if place.exists() {
                go(place.clone(), old.join(name))?;
            }
            go(stage.join(name), place)?;
        }
        Ok(())
    };
    let done = all();
    if done.is_err() {
        let mut all_back = true;
        for (now, before) in undo.into_iter().rev() {
            all_back &= std::fs::rename(now, before).is_ok();
        }
        // files that do not go back stay where they can be found
        if all_back {
            let _ = std::fs::remove_dir_all(old);
        }
    }
    done
}
