//! A film being written: MP4, GIF or a folder of PNG frames, all of it or nothing.

use super::super::file::{UNFINISHED, folder_of, unfinished};
use super::error::FilmError;
use super::frames::Frames;
use super::gif::Gif;
use super::mp4::Mp4;
use std::path::{Path, PathBuf};
use std::{fs, io};
use tempfile::{Builder, TempDir, TempPath};

/// A finished picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Width, pixels.
    pub width: u32,
    /// Height, pixels.
    pub height: u32,
    /// Red, green and blue, row by row from the top, `3 × width × height` bytes.
    pub rgb: Vec<u8>,
}

/// What a film is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// H.264 in MP4.
    Mp4,
    /// Animated GIF.
    Gif,
    /// A folder of PNG files, one for each frame.
    Frames,
}

impl Format {
    /// What a path asks for by its ending: `.mp4`, `.gif`, or a folder (a trailing slash, or no
    /// ending at all).
    ///
    /// # Errors
    /// [`FilmError::Format`] for any other ending.
    pub fn of(path: &Path) -> Result<Self, FilmError> {
        let text = path.as_os_str().to_string_lossy();
        if text.ends_with(['/', std::path::MAIN_SEPARATOR]) {
            return Ok(Self::Frames);
        }
        let ending = path
            .extension()
            .map(|e| e.to_string_lossy().to_ascii_lowercase());
        match ending.as_deref() {
            Some("mp4") => Ok(Self::Mp4),
            Some("gif") => Ok(Self::Gif),
            None if !text.is_empty() => Ok(Self::Frames),
            _ => Err(FilmError::Format {
                path: path.to_owned(),
            }),
        }
    }
}

/// Size and pace of a film.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Width, pixels; even.
    pub width: u32,
    /// Height, pixels; even.
    pub height: u32,
    /// Frames per second.
    pub frames_per_s: u32,
}

impl Pace {
    /// Refuses what no encoder takes.
    ///
    /// # Errors
    /// [`FilmError::OutOfRange`] for sizes below 320 × 180, above 3840 × 2160 or odd, and for frame
    /// rates outside 1 to 60.
    pub fn check(self) -> Result<(), FilmError> {
        let refuse = |what, found: u32, needed| {
            Err(FilmError::OutOfRange {
                what,
                found: found.to_string(),
                needed,
            })
        };
        if !(320..=3840).contains(&self.width) || self.width % 2 == 1 {
            return refuse("width", self.width, "even, from 320 to 3840 pixels");
        }
        if !(180..=2160).contains(&self.height) || self.height % 2 == 1 {
            return refuse("height", self.height, "even, from 180 to 2160 pixels");
        }
        if !(1..=60).contains(&self.frames_per_s) {
            return refuse(
                "frame rate",
                self.frames_per_s,
                "from 1 to 60 frames per second",
            );
        }
        Ok(())
    }
}

/// What takes pictures one after the other.
enum Sink {
    Mp4(Box<Mp4>),
    Gif(Box<Gif>),
    Frames(Frames),
}

/// A film being written beside its place; it takes its name when it is whole. One that is dropped
/// unfinished leaves nothing behind.
pub struct Reel {
    path: PathBuf,
    sink: Option<Sink>,
    beside: Beside,
}

/// What is not whole yet, under a name that nobody could have guessed; goes when it is dropped.
enum Beside {
    File(TempPath),
    Folder(TempDir),
}

impl Beside {
    fn new(path: &Path, format: Format) -> io::Result<Self> {
        let room = folder_of(path);
        Ok(match format {
            Format::Mp4 | Format::Gif => {
                Self::File(unfinished().tempfile_in(room)?.into_temp_path())
            }
            Format::Frames => Self::Folder(Builder::new().prefix(UNFINISHED).tempdir_in(room)?),
        })
    }

    /// Where frames go: a folder with the rights that any new one gets.
    fn path(&self) -> PathBuf {
        match self {
            Self::File(path) => path.to_path_buf(),
            Self::Folder(folder) => folder.path().join("frames"),
        }
    }

    fn take_name(self, path: &Path) -> io::Result<()> {
        match self {
            Self::File(beside) => beside.persist(path).map_err(|error| error.error),
            Self::Folder(_) => {
                if path.is_dir() {
                    fs::remove_dir_all(path)?;
                }
                fs::rename(self.path(), path)
            }
        }
    }
}

impl std::fmt::Debug for Reel {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Reel").field("path", &self.path).finish()
    }
}

impl Reel {
    /// Begins a film.
    ///
    /// `samples` are pictures from all over the film, at least one: a GIF takes its palette from
    /// them. The other formats do not look at them.
    ///
    /// # Errors
    /// [`FilmError`] for a size out of range, a path that exists while `replace` is not given, and
    /// those of the file system.
    pub fn begin(
        path: &Path,
        format: Format,
        pace: Pace,
        samples: &[Picture],
        replace: bool,
    ) -> Result<Self, FilmError> {
        pace.check()?;
        Self::free(path, format, replace)?;
        // a trailing slash would put the name beside inside the folder
        let path: PathBuf = path.components().collect();
        let beside = Beside::new(&path, format).map_err(writing(&path))?;
        let at = beside.path();
        let sink = match format {
            Format::Mp4 => Sink::Mp4(Box::new(Mp4::begin(&at, pace)?)),
            Format::Gif => Sink::Gif(Box::new(Gif::begin(&at, pace, samples)?)),
            Format::Frames => Sink::Frames(Frames::begin(&at)?),
        };
        Ok(Self {
            path,
            beside,
            sink: Some(sink),
        })
    }

    /// Whether a place may be taken, asked before the work of a film is begun.
    ///
    /// # Errors
    /// [`FilmError`] where something stands there that may not be replaced.
    pub fn free(path: &Path, format: Format, replace: bool) -> Result<(), FilmError> {
        if !path.exists() {
            return Ok(());
        }
        if !replace || path.is_dir() != (format == Format::Frames) {
            return Err(FilmError::Exists {
                path: path.to_owned(),
            });
        }
        if format == Format::Frames {
            for entry in fs::read_dir(path).map_err(writing(path))? {
                let name = entry.map_err(writing(path))?.file_name();
                let name = name.to_string_lossy();
                let frame = name
                    .strip_suffix(".png")
                    .is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()));
                if !frame {
                    return Err(FilmError::ForeignFolder {
                        path: path.to_owned(),
                        foreign: name.into_owned(),
                    });
                }
            }
        }
        Ok(())
    }

    /// Appends a picture that stands for `frames` frames, at least one.
    ///
    /// # Errors
    /// [`FilmError`] of encoder and file system, and for a picture of another size.
    pub fn add(&mut self, picture: &Picture, frames: u32) -> Result<(), FilmError> {
        match &mut self.sink {
            Some(Sink::Mp4(mp4)) => mp4.add(picture, frames),
            Some(Sink::Gif(gif)) => gif.add(picture, frames),
            Some(Sink::Frames(folder)) => folder.add(picture, frames),
            None => Ok(()),
        }
    }

    /// Finishes the film and gives it its name.
    ///
    /// # Errors
    /// [`FilmError`] of encoder and file system.
    pub fn finish(mut self) -> Result<(), FilmError> {
        match self.sink.take() {
            Some(Sink::Mp4(mp4)) => mp4.finish()?,
            Some(Sink::Gif(gif)) => gif.finish()?,
            Some(Sink::Frames(folder)) => folder.finish()?,
            None => {}
        }
        let Self { path, beside, .. } = self;
        beside.take_name(&path).map_err(writing(&path))
    }
}

/// Names the file of an error.
pub(super) fn writing(path: &Path) -> impl Fn(io::Error) -> FilmError + '_ {
    |error| FilmError::Write {
        path: path.to_owned(),
        error,
    }
}

/// Refuses a picture of another size than the film's.
pub(super) fn check_size(picture: &Picture, width: u32, height: u32) -> Result<(), FilmError> {
    let bytes = 3 * picture.width as usize * picture.height as usize;
    if (picture.width, picture.height) == (width, height) && picture.rgb.len() == bytes {
        return Ok(());
    }
    Err(FilmError::OutOfRange {
        what: "size of a picture",
        found: format!("{} × {}", picture.width, picture.height),
        needed: "that of the film",
    })
}
