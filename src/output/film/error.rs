//! Why a film was not made.

use std::path::PathBuf;

/// Why a film, a still or a window could not be had.
#[derive(Debug, thiserror::Error)]
pub enum FilmError {
    /// The file's ending names no format.
    #[error(
        "`{}` names no kind of film: end the name in .mp4 or .gif, or in a slash for a folder of PNG frames (frames/)", path.display()
    )]
    Format {
        /// The file asked for.
        path: PathBuf,
    },
    /// A still is a PNG.
    #[error("`{}` is no name for a still: end it in .png", path.display())]
    Still {
        /// The file asked for.
        path: PathBuf,
    },
    /// Something stands where the film is to go.
    #[error("`{}` exists already: name another one, or allow it to be replaced (--replace)", path.display())]
    Exists {
        /// The file asked for.
        path: PathBuf,
    },
    /// A folder that holds more than frames is never replaced.
    #[error("`{}` holds `{foreign}`, which is no frame of a film: name another folder", path.display())]
    ForeignFolder {
        /// The folder asked for.
        path: PathBuf,
        /// What else lies in it.
        foreign: String,
    },
    /// A setting out of its range.
    #[error("{what} is {found}, must be {needed}")]
    OutOfRange {
        /// What is set.
        what: &'static str,
        /// What was given.
        found: String,
        /// What may be given.
        needed: &'static str,
    },
    /// Nothing of what is to be shown is there.
    #[error("{} {lacks} that the shot `{shot}` could show: choose other steps, or another shot", steps_in_words(*.first, *.last))]
    NoShot {
        /// What was to be shown.
        shot: &'static str,
        /// Number of the first step.
        first: usize,
        /// Number of the last step.
        last: usize,
        /// What is missing there.
        lacks: &'static str,
    },
    /// The file system.
    #[error("cannot write `{}`: {error}", path.display())]
    Write {
        /// The file being written.
        path: PathBuf,
        /// What went wrong.
        #[source]
        error: std::io::Error,
    },
    /// An encoder refused a frame.
    #[error("the {encoder} encoder gave up: {reason}")]
    Encode {
        /// H.264, MP4, GIF or PNG.
        encoder: &'static str,
        /// Its own words.
        reason: String,
    },
}

fn steps_in_words(first: usize, last: usize) -> String {
    if first == last {
        format!("in step {first}")
    } else {
        format!("in steps {first} to {last}")
    }
}
