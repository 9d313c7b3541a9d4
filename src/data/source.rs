//! Where a file comes from: the disk, or the files built into the program.

use super::error::{DataError, Problem, listed, nearest};
use super::text;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

include!(concat!(env!("OUT_DIR"), "/embedded.rs"));

/// Prefix of names of built-in files.
const EMBEDDED: &str = "embedded:";
/// Prefix of built-in devices: `cabinet:NAME` is `embedded:scenes/devices/NAME.ron`.
const CABINET: &str = "cabinet:";
/// Folder of the built-in devices.
const CABINET_FOLDER: &str = "scenes/devices";

/// Where a file comes from.
///
/// Written as a path (`scenes/mine.ron`), as `embedded:scenes/default.ron` for a file built into
/// the program, or as `cabinet:NAME` for a built-in device. All three may be used on the command
/// line and inside scene files, where plain paths are relative to the file that names them.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// A file on disk.
    Disk(PathBuf),
    /// A built-in file by its path from the project's root, with forward slashes.
    Embedded(String),
}

impl Source {
    /// Reads `embedded:…`, `cabinet:…` or a path as given on a command line.
    #[must_use]
    pub fn from_argument(argument: &str) -> Self {
        match Self::built_in(argument) {
            Some(source) => source,
            None => Self::Disk(PathBuf::from(argument)),
        }
    }

    fn built_in(name: &str) -> Option<Self> {
        if let Some(path) = name.strip_prefix(EMBEDDED) {
            return Some(Self::Embedded(path.to_owned()));
        }
        let device = name.strip_prefix(CABINET)?;
        Some(Self::Embedded(format!("{CABINET_FOLDER}/{device}.ron")))
    }

    /// The file that a file at `self` calls `reference`.
    ///
    /// # Example
    /// ```
    /// use nestline::data::Source;
    /// let scene = Source::from_argument("embedded:scenes/default.ron");
    /// assert_eq!(scene.beside("../vessels/a.ron").to_string(), "embedded:vessels/a.ron");
    /// let scene = Source::from_argument("mine/scene.ron");
    /// assert_eq!(scene.beside("stent.ron").to_string(), "mine/stent.ron");
    /// assert_eq!(scene.beside("cabinet:stent").to_string(), "embedded:scenes/devices/stent.ron");
    /// ```
    #[must_use]
    pub fn beside(&self, reference: &str) -> Self {
        if let Some(source) = Self::built_in(reference) {
            return source;
        }
        match self {
            Self::Disk(path) => {
                let folder = path.parent().unwrap_or_else(|| Path::new(""));
                Self::Disk(folder.join(reference))
            }
            Self::Embedded(path) => {
                let mut parts: Vec<&str> = path.split('/').collect();
                parts.pop();
                for part in reference.split('/') {
                    match part {
                        "" | "." => {}
                        // out of the root: keep the dots, so that the name is found nowhere
                        ".." if parts.last().is_none_or(|last| *last == "..") => parts.push(".."),
                        ".." => {
                            parts.pop();
                        }
                        name => parts.push(name),
                    }
                }
                Self::Embedded(parts.join("/"))
            }
        }
    }

    /// Reads the text.
    ///
    /// # Errors
    /// A [`DataError`] where there is no such file or it is no text of ours: see
    /// [`Problem`] for the cases.
    pub fn read(&self) -> Result<Arc<str>, DataError> {
        match self {
            Self::Disk(path) => text::read_text(path).map(Arc::from),
            Self::Embedded(path) => Self::embedded()
                .find(|(name, _)| name == path)
                .map(|(_, text)| Arc::from(text))
                .ok_or_else(|| no_such_built_in(path)),
        }
    }

    /// Paths and texts of all built-in files, in order of their paths.
    pub fn embedded() -> impl Iterator<Item = (&'static str, &'static str)> {
        FILES.iter().copied()
    }
}

fn no_such_built_in(path: &str) -> DataError {
    let error = DataError::new(
        Problem::NotFound,
        format!("there is no built-in file `{EMBEDDED}{path}`"),
    );
    let names = || Source::embedded().map(|(name, _)| name);
    if let Some(near) = nearest(path, names()) {
        return error.with_help(format!("did you mean `{EMBEDDED}{near}`?"));
    }
    let folder = path.rsplit_once('/').map_or("", |(folder, _)| folder);
    let mut there: Vec<&str> = names()
        .filter(|name| name.rsplit_once('/').map_or("", |(f, _)| f) == folder)
        .collect();
    if there.is_empty() {
        there = names().collect();
    }
    if there.is_empty() {
        return error.with_help("no files are built into this program");
    }
    error.with_help(format!("there are {}", listed(there)))
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Disk(path) => write!(f, "{}", path.display()),
            Self::Embedded(path) => write!(f, "{EMBEDDED}{path}"),
        }
    }
}

impl From<&Path> for Source {
    fn from(path: &Path) -> Self {
        Self::Disk(path.to_owned())
    }
}

impl From<PathBuf> for Source {
    fn from(path: PathBuf) -> Self {
        Self::Disk(path)
    }
}

impl From<&str> for Source {
    fn from(argument: &str) -> Self {
        Self::from_argument(argument)
    }
}

impl From<&Self> for Source {
    fn from(source: &Self) -> Self {
        source.clone()
    }
}
