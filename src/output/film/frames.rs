//! PNG: a folder of frames, and single stills.
#![expect(
    clippy::disallowed_types,
    reason = "written beside its place and renamed there when it is whole"
)]

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
        if folder.is_dir() {
            fs::remove_dir_all(folder).map_err(writing(folder))?;
        }
        fs::create_dir_all(folder).map_err(writing(folder))?;
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
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let beside = PathBuf::from(beside);
    write_png(&beside, picture)?;
    fs::rename(&beside, path).map_err(writing(path))
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
