//! PNG: a folder of frames, and single stills.
#![expect(
    clippy::disallowed_types,
    reason = "written beside its place and renamed there when it is whole"
)]

use super::super::file::{folder_of, unfinished};
use super::error::FilmError;
use super::pipeline::{Pipeline, Stopped};
use super::reel::{Picture, check_size, writing};
use crate::threads::all_of_them;
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::{Path, PathBuf};

/// Pictures that wait to be packed, at most for each core.
const WAITING: usize = 2;

/// A folder of frames being written; pictures are packed beside the thread that draws.
pub(super) struct Frames {
    line: Pipeline<Run, Result<(), FilmError>>,
    folder: PathBuf,
    frames: u32,
    size: Option<(u32, u32)>,
}

/// One picture and the files that show it, at least one.
struct Run {
    picture: Picture,
    paths: Vec<PathBuf>,
}

impl Frames {
    pub(super) fn begin(folder: &Path) -> Result<Self, FilmError> {
        fs::create_dir(folder).map_err(writing(folder))?;
        Ok(Self {
            line: Pipeline::new(all_of_them(), write_run),
            folder: folder.to_owned(),
            frames: 0,
            size: None,
        })
    }

    pub(super) fn add(&mut self, picture: &Picture, frames: u32) -> Result<(), FilmError> {
        let (width, height) = *self.size.get_or_insert((picture.width, picture.height));
        check_size(picture, width, height)?;
        let numbers = self.frames + 1..=self.frames + frames;
        self.frames += frames;
        let run = Run {
            picture: picture.clone(),
            paths: numbers
                .map(|n| self.folder.join(format!("{n:05}.png")))
                .collect(),
        };
        let done = self.line.hand(run, WAITING * all_of_them());
        done.map_err(Stopped::of("PNG"))?.into_iter().collect()
    }

    pub(super) fn finish(self) -> Result<(), FilmError> {
        let left = self.line.finish().map_err(Stopped::of("PNG"))?;
        left.into_iter().collect()
    }
}

fn write_run(run: Run) -> Result<(), FilmError> {
    let mut paths = run.paths.iter();
    let Some(first) = paths.next() else {
        return Ok(());
    };
    write_png(first, &run.picture)?;
    for path in paths {
        fs::copy(first, path).map_err(writing(path))?;
    }
    Ok(())
}

/// Writes a picture as PNG, all of it or nothing.
///
/// # Errors
/// Those of the file system; [`FilmError::Exists`] where the file exists and `replace` is not given.
pub fn write_still(path: &Path, picture: &Picture, replace: bool) -> Result<(), FilmError> {
    if !replace && path.exists() {
        return Err(FilmError::Exists {
            path: path.to_owned(),
        });
    }
    let beside = unfinished()
        .tempfile_in(folder_of(path))
        .map_err(writing(path))?
        .into_temp_path();
    write_png(&beside, picture)?;
    beside
        .persist(path)
        .map_err(|error| writing(path)(error.error))
}

fn write_png(path: &Path, picture: &Picture) -> Result<(), FilmError> {
    let failed = |error: png::EncodingError| match error {
        png::EncodingError::IoError(error) => writing(path)(error),
        other => FilmError::Encode {
            encoder: "PNG",
            reason: other.to_string(),
        },
    };
    let file = File::create(path).map_err(writing(path))?;
    let mut encoder = png::Encoder::new(BufWriter::new(file), picture.width, picture.height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(&picture.rgb).map_err(failed)?;
    writer.finish().map_err(failed)
}
