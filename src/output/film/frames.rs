//! PNG: a folder of frames, and single stills.
#![expect(
    clippy::disallowed_types,
    reason = "written beside its place and renamed there when it is whole"
)]

use super::super::file::{folder_of, unfinished};
use super::error::FilmError;
use super::reel::{Picture, check_size, writing};
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::{Path, PathBuf};

/// A folder of frames being written.
pub(super) struct Frames {
    folder: PathBuf,
    frames: u32,
    size: Option<(u32, u32)>,
}

impl Frames {
    pub(super) fn begin(folder: &Path) -> Result<Self, FilmError> {
        fs::create_dir(folder).map_err(writing(folder))?;
        Ok(Self {
            folder: folder.to_owned(),
            frames: 0,
            size: None,
        })
    }

    pub(super) fn add(&mut self, picture: &Picture, frames: u32) -> Result<(), FilmError> {
        let (width, height) = *self.size.get_or_insert((picture.width, picture.height));
        check_size(picture, width, height)?;
        let mut first: Option<PathBuf> = None;
        for _ in 0..frames {
            self.frames += 1;
            let path = self.folder.join(format!("{:05}.png", self.frames));
            match &first {
                Some(same) => {
                    fs::copy(same, &path).map_err(writing(&path))?;
                }
                None => {
                    write_png(&path, picture)?;
                    first = Some(path);
                }
            }
        }
        Ok(())
    }
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
