//! The folder a report goes into: written whole or not at all, and never over a file of somebody else.
//!
//! A list of what was written lies beside it, with a checksum of each file. What is in the list and
//! unchanged is our own and may be replaced; everything else stays as it is.
//!
//! Where the folder holds nothing but our own, a whole new one is made beside it and both exchange their
//! names in one step. Where other files lie in it, ours are moved one by one, by a note from which a run that
//! was cut off is brought to its end by the next. Everything is on the disk before it is moved.

mod list;
mod lock;
mod stage;

use super::file::{blamed, exchange, folder_of, keep_folder, told};
use list::{LIST, Sums, checksum, folders_of, list_of, sum_of, written_before};
use lock::Lock;
use stage::{INSIDE, Stage, beside, there};
use std::collections::BTreeMap;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// Files to be written together: names with `/` between folders, and their bytes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Folder {
    files: BTreeMap<String, Vec<u8>>,
}

fn refused(text: String) -> io::Error {
    told(ErrorKind::AlreadyExists, text)
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
    /// that somebody else wrote or changed. Folders of these names, and links where folders should be, are
    /// refused even with `overwrite`.
    ///
    /// # Errors
    /// [`ErrorKind::AlreadyExists`] naming the file in the way, or the path if it is no folder.
    pub fn check(into: &Path, names: &[&str], overwrite: bool) -> io::Result<()> {
        if !there(into) {
            return Ok(());
        }
        if !into.is_dir() {
            return Err(refused(format!(
                "`{}` is no folder: name another one (--out DIR)",
                into.display()
            )));
        }
        for inner in folders_of(names.iter().copied()) {
            let inner = into.join(inner);
            if there(&inner) && !std::fs::symlink_metadata(&inner).is_ok_and(|m| m.is_dir()) {
                return Err(refused(format!(
                    "`{}` is a link or a file where a folder is needed: name another folder (--out DIR), or move it away",
                    inner.display()
                )));
            }
        }
        let own = written_before(into);
        for name in names.iter().chain([&LIST]) {
            let path = into.join(name);
            if !there(&path) {
                continue;
            }
            if std::fs::symlink_metadata(&path).is_ok_and(|m| m.is_dir()) {
                return Err(refused(format!(
                    "`{}` is a folder: name another folder for the report (--out DIR), or move it away",
                    path.display()
                )));
            }
            let unchanged = match own.get(*name) {
                Some(sum) => sum_of(&path).as_ref() == Some(sum),
                None => *name == LIST && !own.is_empty(),
            };
            if !unchanged && !overwrite {
                return Err(refused(format!(
                    "`{}` was not written by nestline, or was changed since: name another folder (--out DIR), or allow it to be replaced (--force)",
                    path.display()
                )));
            }
        }
        Ok(())
    }

    /// Writes everything, or leaves everything as it was. Files that an earlier writing left and this one
    /// does not have are removed where they are unchanged; all other files stay. What a run that was cut off
    /// left is put in order first. Two that write into one folder do so one after the other.
    ///
    /// # Errors
    /// Those of [`Folder::check`]; [`ErrorKind::ResourceBusy`] where another run does not come to its end;
    /// those of the file system, with the place and what would help.
    pub fn write(&self, into: &Path, overwrite: bool) -> io::Result<()> {
        let told = |error: io::Error| blamed(into, &error);
        let place = Place::find(into).map_err(told)?;
        let done = Lock::on(place.room.as_ref().unwrap_or(&place.folder)).and_then(|_held| {
            place.put_in_order()?;
            self.put(&place, overwrite)
        });
        if done.is_err() {
            place.unmake();
        }
        done.map_err(told)
    }

    fn put(&self, place: &Place, overwrite: bool) -> io::Result<()> {
        let names: Vec<&str> = self.files.keys().map(String::as_str).collect();
        let folder = &place.folder;
        Self::check(folder, &names, overwrite)?;
        let sums = self.files.iter();
        let sums = sums.map(|(name, bytes)| (name.clone(), checksum(bytes)));
        let list = list_of(&sums.collect())?;
        let mut files: BTreeMap<&str, &[u8]> = BTreeMap::from([(LIST, list.as_slice())]);
        files.extend(self.files.iter().map(|(n, bytes)| (n.as_str(), &**bytes)));
        if !there(folder) {
            return place.make(&files);
        }
        let old = giving_way(folder, &files);
        if place.may_be_exchanged(&old) && place.exchange(&files, &old)? {
            return Ok(());
        }
        place.move_into(&files, &old)
    }
}

/// What is there of these names and of an earlier writing, as far as it is a file or a link.
fn giving_way(folder: &Path, files: &BTreeMap<&str, &[u8]>) -> Sums {
    let before = written_before(folder);
    let unchanged = before
        .into_iter()
        .filter(|(name, sum)| sum_of(&folder.join(name)).as_ref() == Some(sum));
    let mut old: Sums = unchanged.collect();
    for name in files.keys() {
        if let Some(sum) = sum_of(&folder.join(name)) {
            old.insert((*name).to_owned(), sum);
        }
    }
    old
}

/// Where a folder is, or is to be.
struct Place {
    /// The folder, without links in its path.
    folder: PathBuf,
    /// The folder it lies in; none for the root.
    room: Option<PathBuf>,
    /// Folders that were made for it, the outermost first.
    made: Vec<PathBuf>,
}

impl Place {
    /// Follows links, and makes the folders that a new folder is to lie in.
    fn find(into: &Path) -> io::Result<Self> {
        if there(into) {
            let folder = into.canonicalize().map_err(|error| match error.kind() {
                ErrorKind::NotFound => refused(format!(
                    "`{}` is a link that leads nowhere: name another folder (--out DIR)",
                    into.display()
                )),
                _ => error,
            })?;
            return Ok(Self {
                room: folder.parent().map(Path::to_path_buf),
                folder,
                made: Vec::new(),
            });
        }
        let Some(name) = into.file_name() else {
            return Err(told(
                ErrorKind::InvalidInput,
                format!(
                    "`{}` names no folder: name another one (--out DIR)",
                    into.display()
                ),
            ));
        };
        let room = folder_of(into);
        let missing = room.ancestors().take_while(|a| !a.as_os_str().is_empty());
        let mut made: Vec<PathBuf> = missing
            .take_while(|a| !there(a))
            .map(Path::to_path_buf)
            .collect();
        made.reverse();
        let mut place = Self {
            folder: PathBuf::new(),
            room: None,
            made,
        };
        let found = std::fs::create_dir_all(room).and_then(|()| room.canonicalize());
        match found {
            Ok(room) => {
                place.folder = room.join(name);
                place.room = Some(room);
                Ok(place)
            }
            Err(error) => {
                place.unmake();
                Err(match error.kind() {
                    // a file where a folder is needed
                    ErrorKind::AlreadyExists => ErrorKind::NotADirectory.into(),
                    _ => error,
                })
            }
        }
    }

    /// Removes the folders that were made for nothing.
    fn unmake(&self) {
        for folder in self.made.iter().rev() {
            let _ = std::fs::remove_dir(folder);
        }
    }

    /// Brings to an end what a run that was cut off left.
    fn put_in_order(&self) -> io::Result<()> {
        if let Some(room) = &self.room {
            for stage in Stage::left_in(room, &beside(&self.folder)) {
                stage.retire();
            }
        }
        for stage in Stage::left_in(&self.folder, INSIDE) {
            stage.make_good(&self.folder)?;
        }
        Ok(())
    }

    /// A folder that is not there yet takes its name when it is whole.
    fn make(&self, files: &BTreeMap<&str, &[u8]>) -> io::Result<()> {
        let room = folder_of(&self.folder);
        let stage = Stage::build(room, &beside(&self.folder), files, &Sums::new())?;
        let done = std::fs::rename(stage.new_files(), &self.folder);
        stage.discard();
        done?;
        keep_folder(room)
    }

    /// Whether a new folder can stand in for the one that is there: it holds nothing that does not give way,
    /// and nobody known to us stands in it.
    fn may_be_exchanged(&self, old: &Sums) -> bool {
        let here = std::env::current_dir().and_then(|here| here.canonicalize());
        let stands_in_it = here.is_ok_and(|here| here.starts_with(&self.folder));
        self.room.is_some() && !stands_in_it && holds_only(&self.folder, old)
    }

    /// Makes a whole folder beside and exchanges the names of both; `false` where the system cannot do that
    /// here, and nothing has happened.
    fn exchange(&self, files: &BTreeMap<&str, &[u8]>, old: &Sums) -> io::Result<bool> {
        let room = folder_of(&self.folder);
        let Ok(mut stage) = Stage::build(room, &beside(&self.folder), files, old) else {
            return Ok(false);
        };
        let alike = belongs_alike(&stage.new_files(), &self.folder);
        if !alike || stage.begin_to_move().is_err() {
            stage.retire();
            return Ok(false);
        }
        if !(holds_only(&self.folder, old) && is_as_it_was(&self.folder, old)) {
            stage.retire();
            return Err(refused(format!(
                "`{}` was changed while its report was being replaced: try again",
                self.folder.display()
            )));
        }
        if exchange(&stage.new_files(), &self.folder).is_err() {
            stage.retire();
            return Ok(false);
        }
        keep_folder(room)?;
        match stage.retire() {
            None => Ok(true),
            Some(left) => Err(refused(format!(
                "the report is written, but something was changed while it replaced the old one: that lies in `{}`",
                left.display()
            ))),
        }
    }

    /// Moves files into a folder one by one, beside what else lies there.
    fn move_into(&self, files: &BTreeMap<&str, &[u8]>, old: &Sums) -> io::Result<()> {
        let mut stage = Stage::build(&self.folder, INSIDE, files, old)?;
        if let Err(error) = stage.begin_to_move() {
            stage.discard();
            return Err(error);
        }
        let error = match stage.move_into(&self.folder) {
            Ok(in_the_way) => match in_the_way.first() {
                None => {
                    stage.finish(&self.folder);
                    return Ok(());
                }
                Some(name) => refused(format!(
                    "`{}` was changed while the report was being replaced: try again",
                    self.folder.join(name).display()
                )),
            },
            Err(error) => error,
        };
        stage.move_back(&self.folder);
        Err(error)
    }
}

/// Whether a folder holds these files and nothing else.
fn holds_only(folder: &Path, files: &Sums) -> bool {
    let folders = folders_of(files.keys().map(String::as_str));
    let mut pending = vec![PathBuf::new()];
    while let Some(inner) = pending.pop() {
        let Ok(entries) = std::fs::read_dir(folder.join(&inner)) else {
            return false;
        };
        for entry in entries {
            let Ok((entry, kind)) = entry.and_then(|e| e.file_type().map(|kind| (e, kind))) else {
                return false;
            };
            let name = inner.join(entry.file_name());
            if kind.is_dir() && folders.contains(&name) {
                pending.push(name);
            } else if kind.is_dir() || !named(files, &name) {
                return false;
            }
        }
    }
    true
}

/// Whether a path is one of these names, whatever parts its folders.
fn named(files: &Sums, path: &Path) -> bool {
    let parts: Option<Vec<&str>> = path.iter().map(|part| part.to_str()).collect();
    parts.is_some_and(|parts| files.contains_key(&parts.join("/")))
}

fn is_as_it_was(folder: &Path, files: &Sums) -> bool {
    let mut files = files.iter();
    files.all(|(name, sum)| sum_of(&folder.join(name)).as_ref() == Some(sum))
}

/// Gives a new folder the rights of an old one; `false` where they belong to different people.
fn belongs_alike(new: &Path, old: &Path) -> bool {
    let (Ok(of_new), Ok(of_old)) = (std::fs::metadata(new), std::fs::metadata(old)) else {
        return false;
    };
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt as _;
        if (of_new.uid(), of_new.gid()) != (of_old.uid(), of_old.gid()) {
            return false;
        }
    }
    of_new.permissions() == of_old.permissions()
        || std::fs::set_permissions(new, of_old.permissions()).is_ok()
}
