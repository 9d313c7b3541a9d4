//! Animated GIF: one palette for all of it, and only the rectangle that changed.
#![expect(
    clippy::disallowed_types,
    reason = "written beside its place and renamed there when it is whole"
)]

use super::error::FilmError;
use super::reel::{Pace, Picture, check_size, writing};
use color_quant::NeuQuant;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;

/// Index of the colour that lets the picture before show through.
const KEEP: u8 = 255;
/// Colours that are taken as they are, the most frequent ones: backgrounds, panels, text. The rest
/// of the palette is trained on what remains.
const EXACT: usize = 96;
/// Every so many pixels of a sample are looked at.
const STRIDE: usize = 5;
/// How thoroughly the palette is trained: 1 is best, 30 fastest; 10 is the crate's own advice.
const TRAINING: i32 = 10;

/// A GIF file being written.
pub(super) struct Gif {
    encoder: gif::Encoder<BufWriter<File>>,
    palette: Palette,
    pace: Pace,
    /// The picture before in palette indices, and how long it stands; written when the next comes.
    waiting: Option<Waiting>,
    before: Vec<u8>,
    /// Frames so far, and hundredths of a second written for them: what rounding loses in one
    /// frame comes back in the next.
    frames: u64,
    hundredths: u64,
}

struct Waiting {
    indices: Vec<u8>,
    frames: u32,
}

impl Gif {
    pub(super) fn begin(path: &Path, pace: Pace, samples: &[Picture]) -> Result<Self, FilmError> {
        let palette = Palette::of(samples);
        let (width, height) = (short(pace.width), short(pace.height));
        let file = File::create(path).map_err(writing(path))?;
        let mut encoder = gif::Encoder::new(BufWriter::new(file), width, height, &palette.table())
            .map_err(refused)?;
        encoder.set_repeat(gif::Repeat::Infinite).map_err(refused)?;
        Ok(Self {
            encoder,
            palette,
            pace,
            waiting: None,
            before: Vec::new(),
            frames: 0,
            hundredths: 0,
        })
    }

    pub(super) fn add(&mut self, picture: &Picture, frames: u32) -> Result<(), FilmError> {
        check_size(picture, self.pace.width, self.pace.height)?;
        let indices = self.palette.indices(&picture.rgb);
        if let Some(waiting) = &mut self.waiting
            && waiting.indices == indices
        {
            waiting.frames += frames;
            return Ok(());
        }
        let next = Waiting { indices, frames };
        if let Some(waiting) = self.waiting.replace(next) {
            self.write(waiting)?;
        }
        Ok(())
    }

    pub(super) fn finish(mut self) -> Result<(), FilmError> {
        if let Some(waiting) = self.waiting.take() {
            self.write(waiting)?;
        }
        Ok(())
    }

    fn write(&mut self, waiting: Waiting) -> Result<(), FilmError> {
        let width = self.pace.width as usize;
        let whole = (0, 0, width, self.pace.height as usize);
        let first = self.before.is_empty();
        let (left, top, right, bottom) = if first {
            whole
        } else {
            changed(&self.before, &waiting.indices, width)
        };
        let mut buffer = Vec::with_capacity((right - left) * (bottom - top));
        for y in top..bottom {
            for k in y * width + left..y * width + right {
                let same = !first && self.before[k] == waiting.indices[k];
                buffer.push(if same { KEEP } else { waiting.indices[k] });
            }
        }
        self.frames += u64::from(waiting.frames);
        let until = 100 * self.frames / u64::from(self.pace.frames_per_s);
        let delay = u16::try_from(until - self.hundredths).unwrap_or(u16::MAX);
        self.hundredths += u64::from(delay);
        let frame = gif::Frame {
            left: short(left),
            top: short(top),
            width: short(right - left),
            height: short(bottom - top),
            delay,
            dispose: gif::DisposalMethod::Keep,
            transparent: (!first).then_some(KEEP),
            buffer: buffer.into(),
            ..gif::Frame::default()
        };
        self.encoder.write_frame(&frame).map_err(refused)?;
        self.before = waiting.indices;
        Ok(())
    }
}

/// The rectangle in which two pictures differ: left, top, right, bottom, the latter two past it;
/// one pixel where they do not.
fn changed(before: &[u8], now: &[u8], width: usize) -> (usize, usize, usize, usize) {
    let (mut left, mut top, mut right, mut bottom) = (usize::MAX, usize::MAX, 0, 0);
    for (y, (a, b)) in before.chunks(width).zip(now.chunks(width)).enumerate() {
        let Some(from) = a.iter().zip(b).position(|(a, b)| a != b) else {
            continue;
        };
        let to = a.iter().zip(b).rposition(|(a, b)| a != b).unwrap_or(from);
        left = left.min(from);
        right = right.max(to + 1);
        top = top.min(y);
        bottom = y + 1;
    }
    if right == 0 {
        return (0, 0, 1, 1);
    }
    (left, top, right, bottom)
}

/// At most 255 colours, and which of them is nearest to any other.
struct Palette {
    colours: Vec<[u8; 3]>,
    known: BTreeMap<[u8; 3], u8>,
}

impl Palette {
    fn of(samples: &[Picture]) -> Self {
        let mut count: BTreeMap<[u8; 3], usize> = BTreeMap::new();
        for picture in samples {
            for pixel in picture.rgb.chunks_exact(3).step_by(STRIDE) {
                *count.entry([pixel[0], pixel[1], pixel[2]]).or_default() += 1;
            }
        }
        let mut by_count: Vec<_> = count.into_iter().collect();
        by_count.sort_by_key(|(colour, n)| (std::cmp::Reverse(*n), *colour));
        let rest = by_count.split_off(by_count.len().min(EXACT));
        let mut colours: Vec<[u8; 3]> = by_count.into_iter().map(|(colour, _)| colour).collect();
        let room = usize::from(KEEP) - colours.len();
        if rest.len() <= room {
            colours.extend(rest.into_iter().map(|(colour, _)| colour));
        } else {
            // each colour as often as its share of the picture asks, up to a few times
            let training: Vec<u8> = rest
                .iter()
                .flat_map(|([r, g, b], n)| [*r, *g, *b, 255].repeat((*n).min(8)))
                .collect();
            let trained = NeuQuant::new(TRAINING, room, &training).color_map_rgb();
            colours.extend(
                trained
                    .chunks_exact(3)
                    .take(room)
                    .map(|c| [c[0], c[1], c[2]]),
            );
        }
        if colours.is_empty() {
            colours.push([255; 3]);
        }
        Self {
            colours,
            known: BTreeMap::new(),
        }
    }

    /// The palette as the file wants it, the last entry for what shows through.
    fn table(&self) -> Vec<u8> {
        let mut table: Vec<u8> = self.colours.iter().flatten().copied().collect();
        table.resize(3 * 256, 0);
        table
    }

    fn indices(&mut self, rgb: &[u8]) -> Vec<u8> {
        let mut last = ([0; 3], None);
        rgb.chunks_exact(3)
            .map(|pixel| {
                let colour = [pixel[0], pixel[1], pixel[2]];
                // neighbours are mostly alike
                if let (same, Some(index)) = last
                    && same == colour
                {
                    return index;
                }
                let colours = &self.colours;
                let index = *self
                    .known
                    .entry(colour)
                    .or_insert_with(|| nearest(colours, colour));
                last = (colour, Some(index));
                index
            })
            .collect()
    }
}

fn nearest(colours: &[[u8; 3]], colour: [u8; 3]) -> u8 {
    let far = |other: &[u8; 3]| -> i32 {
        other
            .iter()
            .zip(colour)
            .map(|(a, b)| (i32::from(*a) - i32::from(b)).pow(2))
            .sum()
    };
    let found = colours.iter().enumerate().min_by_key(|(_, c)| far(c));
    found.map_or(0, |(index, _)| u8::try_from(index).unwrap_or(0))
}

/// A length in the file's sixteen bits; the reel has checked the size.
fn short(pixels: impl TryInto<u16>) -> u16 {
    pixels.try_into().unwrap_or(u16::MAX)
}

fn refused(error: gif::EncodingError) -> FilmError {
    FilmError::Encode {
        encoder: "GIF",
        reason: error.to_string(),
    }
}
