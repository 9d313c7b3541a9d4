//! Where a file comes from: the disk, or the files built into the program.

use super::error::{DataError, Problem, choices};
use super::excerpt::plainly;
use super::text;
use std::ffi::OsStr;
use std::fmt;
use std::path::{Component, Path, PathBuf};
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
    pub fn from_argument(argument: impl AsRef<OsStr>) -> Self {
        let argument = argument.as_ref();
        match argument.to_str().and_then(Self::built_in) {
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
    /// assert_eq!(scene.beside("cabinet:stent").to_string(), "cabinet:stent");
    /// ```
    #[must_use]
    pub fn beside(&self, reference: &str) -> Self {
        if let Some(source) = Self::built_in(reference) {
            return source;
        }
        // a whole path means the same wherever it is written, in a change to a built-in scene too
        if Path::new(reference).is_absolute() {
            return Self::Disk(PathBuf::from(reference));
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

    /// A name that means the same file wherever it is written, in a change to a scene too.
    #[must_use]
    pub fn whole_name(&self) -> String {
        match self {
            Self::Disk(path) => {
                let whole = std::path::absolute(path).unwrap_or_else(|_| path.clone());
                whole.display().to_string()
            }
            Self::Embedded(_) => self.to_string(),
        }
    }

    /// Reads the text.
    ///
    /// # Errors
    /// A [`DataError`] where there is no such file or it is no text of ours: see
    /// [`Problem`] for the cases.
    pub fn read(&self) -> Result<Arc<str>, DataError> {
        match self {
            Self::Disk(path) => text::read_text(path, &self.to_string()).map(Arc::from),
            Self::Embedded(path) => Self::embedded()
                .find(|(name, _)| name == path)
                .map(|(_, text)| Arc::from(text))
                .ok_or_else(|| no_such_built_in(path)),
        }
    }

    /// All built-in devices and parts with what `cabinet:` calls them, in order.
    pub(super) fn built_in_devices() -> impl Iterator<Item = (String, Self)> {
        Self::embedded().filter_map(|(path, _)| {
            let name = shortest(path);
            let name = name.strip_prefix(CABINET)?.to_owned();
            Some((name, Self::Embedded(path.to_owned())))
        })
    }

    /// Paths and texts of all built-in files, in order of their paths.
    pub fn embedded() -> impl Iterator<Item = (&'static str, &'static str)> {
        FILES.iter().copied()
    }
}

fn no_such_built_in(path: &str) -> DataError {
    let error = DataError::new(
        Problem::NotFound,
        format!("there is no built-in file `{}`", shortest(path)),
    );
    let folder = |path: &str| {
        path.rsplit_once('/')
            .map_or("", |(folder, _)| folder)
            .to_owned()
    };
    let wanted = folder(path);
    let beside = if path.starts_with(CABINET_FOLDER) {
        ""
    } else {
        "; a file of your own is named by its whole path, from the root"
    };
    let mut there: Vec<String> = Source::embedded()
        .map(|(name, _)| name)
        .filter(|name| folder(name) == wanted)
        .map(shortest)
        .collect();
    if there.is_empty() {
        there = Source::embedded().map(|(name, _)| shortest(name)).collect();
    }
    let choices = choices(&shortest(path), there.iter().map(String::as_str));
    error.with_help(format!("{choices}{beside}"))
}

/// The shortest name of a built-in file.
fn shortest(path: &str) -> String {
    path.strip_prefix(CABINET_FOLDER)
        .and_then(|name| name.strip_prefix('/')?.strip_suffix(".ron"))
        .map_or_else(
            || format!("{EMBEDDED}{path}"),
            |name| format!("{CABINET}{name}"),
        )
}

/// A path without `folder/..` inside, for messages; the file itself is opened by the path as it
/// is, since a folder may be a link.
pub(super) fn tidy(path: &Path) -> PathBuf {
    let mut tidied = PathBuf::new();
    for part in path.components() {
        let steps_back = part == Component::ParentDir
            && matches!(tidied.components().next_back(), Some(Component::Normal(_)));
        if steps_back {
            tidied.pop();
        } else {
            tidied.push(part);
        }
    }
    tidied
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Disk(path) => f.write_str(&plainly(&tidy(path).to_string_lossy())),
            Self::Embedded(path) => f.write_str(&plainly(&shortest(path))),
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

impl From<&OsStr> for Source {
    fn from(argument: &OsStr) -> Self {
        Self::from_argument(argument)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_references_are_taken_from_the_file_that_names_them() {
        for (from, reference, leads_to) in [
            ("scenes/a.ron", "devices/b.ron", "scenes/devices/b.ron"),
            ("scenes/a.ron", "../vessels/b.ron", "vessels/b.ron"),
            ("a.ron", "../b.ron", "../b.ron"),
            ("/x/a.ron", "/y/b.ron", "/y/b.ron"),
            ("scenes/a.ron", "cabinet:b", "cabinet:b"),
            ("cabinet:b", "c.ron", "cabinet:c"),
            (
                "embedded:scenes/a.ron",
                "../vessels/b.ron",
                "embedded:vessels/b.ron",
            ),
            ("embedded:scenes/a.ron", "./b.ron", "embedded:scenes/b.ron"),
            ("embedded:scenes/a.ron", "../../b.ron", "embedded:../b.ron"),
            ("embedded:scenes/a.ron", "/y/b.ron", "/y/b.ron"),
        ] {
            let found = Source::from_argument(from).beside(reference).to_string();
            assert_eq!(found, leads_to, "{reference} in {from}");
        }
    }

    #[test]
    fn property_built_in_files_read_as_on_disk() {
        let count = Source::embedded()
            .filter(|(name, text)| {
                let on_disk = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
                let on_disk = Source::from(on_disk).read().unwrap();
                assert_eq!(&*on_disk, *text, "{name}");
                true
            })
            .count();
        assert!(count > 0, "no file is built in");
    }

    #[test]
    fn exact_unknown_built_in_file_names_the_likest() {
        let error = Source::from_argument("cabinet:guide-8f-091")
            .read()
            .unwrap_err();
        let help = error.help_text().unwrap_or_default();
        assert!(help.contains("`cabinet:guide-8f-9"), "{error}: {help}");
    }
}
