//! Writing files: all of them or none, and never through a name that somebody could have guessed.

use std::io::{self, ErrorKind, Write as _};
use std::path::{Path, PathBuf};
use tempfile::{Builder, NamedTempFile, TempPath};

/// What names of files begin with that are not whole yet; random letters follow.
pub(super) const UNFINISHED: &str = ".nestline-";

/// Largest file that is looked at before it is replaced, bytes. Our own largest is below 100 MB; anything
/// beyond is somebody else's.
const LARGEST_OWN: u64 = 1024 * 1024 * 1024;

/// Refuses to touch a file that exists, before the work for it is done.
///
/// # Errors
/// [`ErrorKind::AlreadyExists`] where it does and `overwrite` is not given, or where it is no file that
/// could be replaced; [`ErrorKind::NotFound`] where its folder is not there.
pub fn refuse_existing(path: &Path, overwrite: bool) -> io::Result<()> {
    let refused = |text: String| Err(told(ErrorKind::AlreadyExists, text));
    // a link that leads nowhere stands there all the same
    let Ok(about) = std::fs::symlink_metadata(path) else {
        return match folder_of(path).metadata() {
            Ok(_) => Ok(()),
            Err(error) => Err(blamed(path, &error)),
        };
    };
    if !about.is_file() && !about.is_symlink() {
        return refused(format!(
            "`{}` is no file that could be replaced: name another one",
            path.display()
        ));
    }
    if overwrite {
        return Ok(());
    }
    refused(format!(
        "`{}` exists already: name another file, or allow it to be replaced (--replace, --force)",
        path.display()
    ))
}

/// Writes files, all of them or none. Each is written whole to a file of a random name beside it, which
/// then takes its name; a link that stands there is replaced, not what it leads to.
///
/// # Errors
/// Those of the file system, with the file and what would help; those of [`refuse_existing`].
pub fn write_files(files: &[(&Path, &[u8])], overwrite: bool) -> io::Result<()> {
    let mut whole: Vec<(&Path, NamedTempFile)> = Vec::new();
    for (path, bytes) in files {
        refuse_existing(path, overwrite)?;
        let beside = written_beside(path, bytes).map_err(|error| blamed(path, &error))?;
        whole.push((path, beside));
    }
    let mut placed: Vec<Placed> = Vec::new();
    for (path, beside) in whole {
        match Placed::put(beside, path, overwrite) {
            Ok(done) => placed.push(done),
            Err(error) => {
                for done in placed.into_iter().rev() {
                    done.take_back();
                }
                return Err(blamed(path, &error));
            }
        }
    }
    for (path, _) in files {
        keep_folder(folder_of(path)).map_err(|error| blamed(path, &error))?;
    }
    Ok(())
}

/// Writes bytes to a file, all of them or none: see [`write_files`].
///
/// # Errors
/// As [`write_files`].
pub fn write_bytes(path: &Path, bytes: &[u8], overwrite: bool) -> io::Result<()> {
    write_files(&[(path, bytes)], overwrite)
}

/// The same for a text.
///
/// # Errors
/// As [`write_files`].
pub fn write_text(path: &Path, text: &str, overwrite: bool) -> io::Result<()> {
    write_bytes(path, text.as_bytes(), overwrite)
}

/// A builder of files and folders that are not whole yet; files get the rights that any new file gets.
pub(super) fn unfinished() -> Builder<'static, 'static> {
    let mut builder = Builder::new();
    builder.prefix(UNFINISHED);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // less what the user's mask takes away
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder
}

/// The folder a file lies in.
pub(super) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

fn written_beside(path: &Path, bytes: &[u8]) -> io::Result<NamedTempFile> {
    let mut file = unfinished().tempfile_in(folder_of(path))?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    Ok(file)
}

/// A file that has taken its name.
pub(super) struct Placed {
    path: PathBuf,
    before: Before,
}

/// What stood there before.
enum Before {
    Nothing,
    /// Under another name now; goes when it is dropped.
    Kept(TempPath),
    /// Gone, where names cannot be exchanged.
    Gone,
}

impl Placed {
    pub(super) fn put(beside: NamedTempFile, path: &Path, overwrite: bool) -> io::Result<Self> {
        let before = if overwrite && std::fs::symlink_metadata(path).is_ok() {
            let beside = beside.into_temp_path();
            if exchange(&beside, path).is_ok() {
                Before::Kept(beside)
            } else {
                beside.persist(path).map_err(|error| error.error)?;
                Before::Gone
            }
        } else {
            let placed = beside.persist_noclobber(path);
            placed.map_err(|error| error.error)?;
            Before::Nothing
        };
        Ok(Self {
            path: path.to_owned(),
            before,
        })
    }

    /// Leaves everything as it was. What cannot be put back stays: the error that stopped the writing is
    /// the one to tell.
    fn take_back(self) {
        let _ = match &self.before {
            Before::Nothing => std::fs::remove_file(&self.path),
            Before::Kept(before) => exchange(before, &self.path),
            Before::Gone => Ok(()),
        };
    }
}

/// Lets two files or folders exchange their names, in one step.
///
/// # Errors
/// Those of the file system; [`ErrorKind::Unsupported`] where the system cannot do it.
#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
pub(super) fn exchange(one: &Path, other: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE).map_err(io::Error::from)
}

/// Lets two files or folders exchange their names, in one step.
///
/// # Errors
/// [`ErrorKind::Unsupported`]: this system cannot do it.
#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
pub(super) fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(ErrorKind::Unsupported.into())
}

/// Waits until the names in a folder are on the disk. Systems that open no folders (Windows) and drives that
/// cannot be asked for it keep them by themselves.
///
/// # Errors
/// Those of the drive itself.
#[expect(
    clippy::disallowed_types,
    reason = "an open folder, for the system to keep its names"
)]
pub(super) fn keep_folder(folder: &Path) -> io::Result<()> {
    let Ok(folder) = std::fs::File::open(folder) else {
        return Ok(());
    };
    match folder.sync_all() {
        Err(error)
            if matches!(
                error.kind(),
                ErrorKind::InvalidInput | ErrorKind::Unsupported
            ) =>
        {
            Ok(())
        }
        done => done,
    }
}

/// The bytes of a regular file; links are not followed, nothing else is opened.
///
/// # Errors
/// Those of the file system; [`ErrorKind::InvalidInput`] for what is no regular file or too large to be
/// one of ours.
#[expect(
    clippy::disallowed_methods,
    reason = "what lies there already is looked at before it is replaced"
)]
pub(super) fn bytes_of(path: &Path) -> io::Result<Vec<u8>> {
    let about = std::fs::symlink_metadata(path)?;
    if !about.is_file() || about.len() > LARGEST_OWN {
        return Err(ErrorKind::InvalidInput.into());
    }
    std::fs::read(path)
}

/// An error in our own words.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
struct Told(String);

/// An error in our own words, of a kind.
pub(super) fn told(kind: ErrorKind, text: String) -> io::Error {
    io::Error::new(kind, Told(text))
}

/// An error of the file system with the file it is about and what would help; one in our own words stays
/// itself.
pub(super) fn blamed(path: &Path, error: &io::Error) -> io::Error {
    if error.get_ref().is_some_and(|inner| inner.is::<Told>()) {
        return told(error.kind(), error.to_string());
    }
    let elsewhere = "name another place";
    let (why, help) = match error.kind() {
        ErrorKind::PermissionDenied => (
            "permission denied".to_owned(),
            format!("{elsewhere}, or allow writing there"),
        ),
        ErrorKind::ReadOnlyFilesystem => (
            "the drive can only be read".to_owned(),
            elsewhere.to_owned(),
        ),
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => (
            "there is no room left".to_owned(),
            format!("make room, or {elsewhere}"),
        ),
        ErrorKind::NotFound => (
            format!("there is no folder `{}`", folder_of(path).display()),
            "make it first, or check the path".to_owned(),
        ),
        ErrorKind::NotADirectory => (
            "a part of its path is a file".to_owned(),
            "check the path".to_owned(),
        ),
        ErrorKind::InvalidFilename => (
            "the name is too long".to_owned(),
            "name a shorter one".to_owned(),
        ),
        ErrorKind::AlreadyExists => (
            "something took its name meanwhile".to_owned(),
            "try again".to_owned(),
        ),
        _ => (error.to_string(), elsewhere.to_owned()),
    };
    told(
        error.kind(),
        format!("`{}` cannot be written, {why}: {help}", path.display()),
    )
}
