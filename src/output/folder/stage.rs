//! Files on their way into a folder: where they are made, and how a run that was cut off is made good.
//!
//! A stage is a folder of a random name that holds `new`, what is being written; `old`, what gave way to it;
//! and a note of what belongs in both, with checksums. Only what the note names is ever removed.

use super::super::file::{UNFINISHED, bytes_of, keep_folder};
use super::list::{Sums, checksum, folders_of, names_stay_inside, sum_of};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// The note, and the next one before it takes its place.
const NOTE: &str = "stage.json";
const NEXT_NOTE: &str = "stage.json.next";
/// Schema of the note.
const NOTE_SCHEMA: &str = "nestline.stage";
const NEW: &str = "new";
const OLD: &str = "old";

#[derive(Debug, Clone, Serialize, Deserialize)]
struct Note {
    schema: String,
    version: u32,
    /// What is being written.
    new: Sums,
    /// What gives way to it.
    old: Sums,
    /// Whether everything new is there and takes its places now.
    moving: bool,
}

/// What a stage's name begins with that stands beside the folder it is for.
pub(super) fn beside(folder: &Path) -> String {
    let name = folder.file_name().unwrap_or_default();
    format!("{UNFINISHED}{}-", checksum(name.as_encoded_bytes()))
}

/// What a stage's name begins with that stands inside the folder it is for.
pub(super) const INSIDE: &str = ".nestline-in-";

/// A folder of files on their way.
#[derive(Debug)]
pub(super) struct Stage {
    at: PathBuf,
    note: Note,
}

impl Stage {
    /// Writes everything below `new`, down to the disk; leaves nothing behind where that fails.
    pub(super) fn build(
        room: &Path,
        prefix: &str,
        files: &BTreeMap<&str, &[u8]>,
        old: &Sums,
    ) -> io::Result<Self> {
        let sums = files.iter().map(|(n, bytes)| (*n, checksum(bytes)));
        let stage = Self {
            at: tempfile::Builder::new()
                .prefix(prefix)
                .tempdir_in(room)?
                .keep(),
            note: Note {
                schema: NOTE_SCHEMA.into(),
                version: 1,
                new: sums.map(|(n, sum)| (n.to_owned(), sum)).collect(),
                old: old.clone(),
                moving: false,
            },
        };
        match stage.fill(files) {
            Ok(()) => Ok(stage),
            Err(error) => {
                stage.discard();
                Err(error)
            }
        }
    }

    fn fill(&self, files: &BTreeMap<&str, &[u8]>) -> io::Result<()> {
        self.write_note()?;
        let new = self.new_files();
        std::fs::create_dir(&new)?;
        let folders = folders_of(files.keys().copied());
        for folder in folders.iter().rev() {
            std::fs::create_dir(new.join(folder))?;
        }
        for (name, bytes) in files {
            write_down(&new.join(name), bytes)?;
        }
        for folder in &folders {
            keep_folder(&new.join(folder))?;
        }
        keep_folder(&new)
    }

    fn write_note(&self) -> io::Result<()> {
        let text = serde_json::to_vec(&self.note).map_err(io::Error::other)?;
        let next = self.at.join(NEXT_NOTE);
        write_down(&next, &text)?;
        std::fs::rename(next, self.at.join(NOTE))?;
        keep_folder(&self.at)
    }

    /// Notes that everything is there and takes its places now.
    pub(super) fn begin_to_move(&mut self) -> io::Result<()> {
        self.note.moving = true;
        self.write_note()
    }

    /// Stages in a folder that a run left which was cut off.
    pub(super) fn left_in(room: &Path, prefix: &str) -> Vec<Self> {
        let Ok(entries) = std::fs::read_dir(room) else {
            return Vec::new();
        };
        let ours = entries.flatten().filter(|entry| {
            let name = entry.file_name();
            let named = name.as_encoded_bytes().starts_with(prefix.as_bytes());
            // a link of that name is not ours
            named && entry.file_type().is_ok_and(|kind| kind.is_dir())
        });
        ours.filter_map(|entry| Self::open(entry.path())).collect()
    }

    fn open(at: PathBuf) -> Option<Self> {
        let note = bytes_of(&at.join(NOTE))
            .ok()
            .and_then(|bytes| serde_json::from_slice::<Note>(&bytes).ok())
            .filter(|note| note.schema == NOTE_SCHEMA)
            .filter(|note| names_stay_inside(&note.new) && names_stay_inside(&note.old));
        if let Some(note) = note {
            return Some(Self { at, note });
        }
        // cut off before its note was there: holds nothing, or nothing but the next note
        let mut entries = std::fs::read_dir(&at).ok()?.flatten();
        let next = at.join(NEXT_NOTE);
        if entries.all(|entry| entry.path() == next) {
            let _ = std::fs::remove_file(next);
            let _ = std::fs::remove_dir(at);
        }
        None
    }

    /// Everything that is being written.
    pub(super) fn new_files(&self) -> PathBuf {
        self.at.join(NEW)
    }

    /// Removes a stage whose files have not begun to move. What cannot be removed takes room and nothing
    /// else.
    pub(super) fn discard(&self) {
        remove_named(&self.new_files(), self.note.new.keys());
        self.remove_rest();
    }

    fn remove_rest(&self) {
        remove_named(&self.at.join(OLD), self.note.old.keys());
        if self.new_files().exists() || self.at.join(OLD).exists() {
            // something is there that is not ours: the note stays with it
            return;
        }
        let _ = std::fs::remove_file(self.at.join(NEXT_NOTE));
        let _ = std::fs::remove_file(self.at.join(NOTE));
        let _ = std::fs::remove_dir(&self.at);
    }

    /// Removes a stage beside a folder that exchanged its name with `new`, or was about to: `new` holds what
    /// was there before, or all that should have come. Gives what stays, since it is neither.
    pub(super) fn retire(&self) -> Option<PathBuf> {
        if !self.note.moving {
            self.discard();
            return None;
        }
        let files = self.new_files();
        let Note { new, old, .. } = &self.note;
        for name in old.keys().chain(new.keys()) {
            let sum = sum_of(&files.join(name));
            if sum.is_some() && (sum.as_ref() == old.get(name) || sum.as_ref() == new.get(name)) {
                let _ = std::fs::remove_file(files.join(name));
            }
        }
        // of all names: a run may have been cut off between a folder's last file and the folder
        remove_folders(&files, old.keys().chain(new.keys()));
        self.remove_rest();
        files.exists().then_some(files)
    }

    /// Moves what gives way out of a folder and everything new into it, as far as that is not done yet.
    /// Files that are neither, somebody's since, stay where they are: their names are given.
    pub(super) fn move_into(&self, folder: &Path) -> io::Result<Vec<String>> {
        let Note { new, old, .. } = &self.note;
        for (name, sum) in old {
            let (place, kept) = (folder.join(name), self.at.join(OLD).join(name));
            let still_old = !new.contains_key(name) || self.new_files().join(name).exists();
            if still_old && !there(&kept) && sum_of(&place).as_ref() == Some(sum) {
                moved(&place, &kept)?;
            }
        }
        let mut in_the_way = Vec::new();
        for name in new.keys() {
            let (fresh, place) = (self.new_files().join(name), folder.join(name));
            match (there(&fresh), there(&place)) {
                (true, true) => in_the_way.push(name.clone()),
                (true, false) => moved(&fresh, &place)?,
                (false, _) => {}
            }
        }
        for inner in folders_of(new.keys().map(String::as_str)) {
            keep_folder(&folder.join(inner))?;
        }
        keep_folder(folder)?;
        Ok(in_the_way)
    }

    /// Undoes [`Self::move_into`]. What cannot be moved back now the next run brings to an end.
    pub(super) fn move_back(&self, folder: &Path) {
        let Note { new, old, .. } = &self.note;
        for (name, sum) in new {
            let (fresh, place) = (self.new_files().join(name), folder.join(name));
            if !there(&fresh) && sum_of(&place).as_ref() == Some(sum) {
                let _ = moved(&place, &fresh);
            }
        }
        let mut all_back = true;
        for name in old.keys() {
            let (kept, place) = (self.at.join(OLD).join(name), folder.join(name));
            if there(&kept) {
                all_back &= !there(&place) && moved(&kept, &place).is_ok();
            }
        }
        remove_empty(folder, new);
        if all_back {
            self.discard();
        }
    }

    /// Removes a stage whose files have all been moved into a folder, and folders there that have become
    /// empty.
    pub(super) fn finish(&self, folder: &Path) {
        remove_empty(folder, &self.note.old);
        self.discard();
    }

    /// Brings a stage inside a folder to an end.
    pub(super) fn make_good(&self, folder: &Path) -> io::Result<()> {
        if self.note.moving {
            self.move_into(folder)?;
            self.finish(folder);
        } else {
            self.discard();
        }
        Ok(())
    }
}

fn remove_empty(folder: &Path, files: &Sums) {
    for inner in folders_of(files.keys().map(String::as_str)) {
        // goes only where it is empty
        let _ = std::fs::remove_dir(folder.join(inner));
    }
}

/// Whether anything has this name, a link that leads nowhere included.
pub(super) fn there(path: &Path) -> bool {
    std::fs::symlink_metadata(path).is_ok()
}

fn moved(from: &Path, to: &Path) -> io::Result<()> {
    if let Some(parent) = to.parent() {
        std::fs::create_dir_all(parent)?;
    }
    std::fs::rename(from, to)
}

/// Removes files by name, folders that have become empty, and the folder itself where nothing is left.
fn remove_named<'a>(folder: &Path, names: impl Iterator<Item = &'a String> + Clone) {
    for name in names.clone() {
        let _ = std::fs::remove_file(folder.join(name));
    }
    remove_folders(folder, names);
}

/// Removes the folders of these names and the folder itself, as far as they are empty.
fn remove_folders<'a>(folder: &Path, names: impl Iterator<Item = &'a String>) {
    for inner in folders_of(names.map(String::as_str)) {
        let _ = std::fs::remove_dir(folder.join(inner));
    }
    let _ = std::fs::remove_dir(folder);
}

/// A new file, down to the disk.
#[expect(
    clippy::disallowed_types,
    reason = "written beside its place, which it takes when it is whole"
)]
fn write_down(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = std::fs::File::create_new(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}
