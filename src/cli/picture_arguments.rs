//! What films and the window take, known to the program whether it draws or not, so that its help
//! tells the same.
//!
//! The defaults are those of `output::film::FilmSettings`.

use clap::Args;
use std::path::PathBuf;

/// How a film is made.
#[derive(Debug, Clone, Args)]
pub(crate) struct FilmArguments {
    /// Scene file; the built-in default scene if left out.
    pub(super) scene: Option<std::ffi::OsString>,
    /// File to write: NAME.mp4, NAME.gif, a folder for PNG frames (frames/), or NAME.png with --still.
    #[arg(short, long, value_name = "FILE")]
    pub(super) out: PathBuf,
    /// Width and height in pixels.
    #[arg(long, default_value = "1280x720", value_parser = size)]
    pub(super) size: (u32, u32),
    /// Frames per second.
    #[arg(long, default_value_t = 12)]
    pub(super) fps: u32,
    /// Length in seconds; a longer film joins fewer steps under one caption.
    #[arg(long, default_value_t = 32.0)]
    pub(super) seconds: f64,
    /// Light on dark.
    #[arg(long)]
    pub(super) dark: bool,
    /// Only these steps, for example 38-44.
    #[arg(long, value_name = "FIRST-LAST", value_parser = steps)]
    pub(super) steps: Option<(usize, usize)>,
    /// Only a picture of the end of this step, as PNG.
    #[arg(long, value_name = "STEP", conflicts_with = "steps")]
    pub(super) still: Option<usize>,
    /// What every step is seen at, instead of where it happens: route, arch, neck, edge (of the stent),
    /// tip (that moves), head.
    #[arg(long, value_name = "PLACE")]
    pub(super) shot: Option<String>,
    /// Show where devices press, and how hard.
    #[arg(long, conflicts_with = "ruler")]
    pub(super) contacts: bool,
    /// Replace what stands there.
    #[arg(long, visible_alias = "force")]
    pub(super) replace: bool,
    #[command(flatten)]
    pub(super) drawn: Drawn,
}

/// What is drawn, for films and the window alike.
#[derive(Debug, Clone, Args)]
pub(crate) struct Drawn {
    /// Leave everything on the centre line instead of laying every device as an elastic rod: at once, and
    /// wrong in bends.
    #[arg(long)]
    pub(super) ruler: bool,
    /// Change a value of vessel, device or script; may be given several times.
    #[arg(long = "set", value_name = "PATH=VALUE")]
    pub(super) set: Vec<String>,
}

fn size(text: &str) -> Result<(u32, u32), String> {
    let pair = text.split_once(['x', '×']);
    let parsed = pair.and_then(|(w, h)| Some((w.parse().ok()?, h.parse().ok()?)));
    parsed.ok_or_else(|| format!("`{text}` is no size: write width and height, as 1280x720"))
}

fn steps(text: &str) -> Result<(usize, usize), String> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    match (first.parse(), last.parse()) {
        (Ok(first), Ok(last)) => Ok((first, last)),
        _ => Err(format!(
            "`{text}` is no range of steps: write two numbers, as 38-44"
        )),
    }
}

/// How the window opens.
#[derive(Debug, Clone, Args)]
pub(crate) struct ViewArguments {
    /// Scene file; the built-in default scene if left out.
    pub(super) scene: Option<std::ffi::OsString>,
    /// Light on dark.
    #[arg(long)]
    pub(super) dark: bool,
    #[command(flatten)]
    pub(super) drawn: Drawn,
}
