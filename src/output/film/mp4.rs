//! H.264 in MP4, constant frame rate.
#![expect(
    clippy::disallowed_types,
    reason = "written beside its place and renamed there when it is whole"
)]

use super::error::FilmError;
use super::pipeline::{Pipeline, Stopped};
use super::reel::{Pace, Picture, check_size, writing};
use crate::threads::all_of_them;
use muxide::api::{Muxer, MuxerBuilder, VideoCodec};
use openh264::OpenH264API;
use openh264::encoder::{
    Complexity, Encoder, EncoderConfig, FrameRate, FrameType, IntraFramePeriod, Profile, QpRange,
    RateControlMode, UsageType, VuiConfig,
};
use openh264::formats::{RgbSliceU8, YUVBuffer};
use std::fs::File;
use std::io::BufWriter;
use std::mem::replace;
use std::path::Path;
use std::sync::Arc;

/// How coarsely the encoder rounds, of 51: below, files grow and nothing is seen; above, thin letters
/// get halos.
const QUANTISER: u8 = 22;
/// Seconds between frames one can jump to.
const KEY_EVERY_S: u32 = 2;

/// Pictures that wait for an encoder together take no more than this, bytes: at most so much of a film is kept in
/// memory at once.
const MOST_WAITING: usize = 1 << 30;

/// An MP4 file being written. Every two seconds begin with a frame of their own to jump to, and are encoded by
/// themselves: drawing goes on meanwhile, and the file is the same for any number of cores.
pub(super) struct Mp4 {
    line: Pipeline<Segment, Result<Vec<Frame>, FilmError>>,
    open: Segment,
    pace: Pace,
    written: Written,
}

/// Pictures of one stretch, each with the number of frames it stands.
struct Segment {
    pictures: Vec<(Arc<Picture>, u32)>,
    frames_per_s: u32,
}

impl Segment {
    fn frames(&self) -> u32 {
        self.pictures.iter().map(|(_, frames)| frames).sum()
    }
}

/// What stands in the file.
struct Written {
    muxer: Muxer<BufWriter<File>>,
    frames: u32,
    frames_per_s: u32,
}

/// An encoded frame.
struct Frame {
    bytes: Vec<u8>,
    key: bool,
}

impl Mp4 {
    pub(super) fn begin(path: &Path, pace: Pace) -> Result<Self, FilmError> {
        // what the encoder refuses is told before anything is drawn
        encoder(pace.frames_per_s)?;
        let file = File::create(path).map_err(writing(path))?;
        let muxer = MuxerBuilder::new(BufWriter::new(file))
            .video(
                VideoCodec::H264,
                pace.width,
                pace.height,
                f64::from(pace.frames_per_s),
            )
            .build()
            .map_err(refused("MP4"))?;
        Ok(Self {
            line: Pipeline::new(all_of_them(), encode),
            open: Segment {
                pictures: Vec::new(),
                frames_per_s: pace.frames_per_s,
            },
            pace,
            written: Written {
                muxer,
                frames: 0,
                frames_per_s: pace.frames_per_s,
            },
        })
    }

    pub(super) fn add(&mut self, picture: &Picture, frames: u32) -> Result<(), FilmError> {
        check_size(picture, self.pace.width, self.pace.height)?;
        let picture = Arc::new(picture.clone());
        let most = KEY_EVERY_S * self.pace.frames_per_s;
        let mut left = frames;
        while left > 0 {
            let taken = left.min(most - self.open.frames());
            self.open.pictures.push((Arc::clone(&picture), taken));
            left -= taken;
            if self.open.frames() == most {
                self.hand_on()?;
            }
        }
        Ok(())
    }

    /// Gives the open stretch to an encoder, and writes what others have finished.
    fn hand_on(&mut self) -> Result<(), FilmError> {
        let next = Segment {
            pictures: Vec::new(),
            frames_per_s: self.pace.frames_per_s,
        };
        let segment = replace(&mut self.open, next);
        let each = segment
            .pictures
            .iter()
            .map(|(picture, _)| picture.rgb.len());
        let most = (MOST_WAITING / each.sum::<usize>().max(1)).min(2 * all_of_them());
        let done = self.line.hand(segment, most);
        self.written.add(done.map_err(Stopped::of("H.264"))?)
    }

    pub(super) fn finish(mut self) -> Result<(), FilmError> {
        if !self.open.pictures.is_empty() {
            self.hand_on()?;
        }
        let left = self.line.finish().map_err(Stopped::of("H.264"))?;
        self.written.add(left)?;
        self.written.muxer.finish().map_err(refused("MP4"))
    }
}

impl Written {
    fn add(&mut self, done: Vec<Result<Vec<Frame>, FilmError>>) -> Result<(), FilmError> {
        for segment in done {
            for frame in segment? {
                let at_s = f64::from(self.frames) / f64::from(self.frames_per_s);
                self.muxer
                    .write_video(at_s, &frame.bytes, frame.key)
                    .map_err(refused("MP4"))?;
                self.frames += 1;
            }
        }
        Ok(())
    }
}

fn encoder(frames_per_s: u32) -> Result<Encoder, FilmError> {
    let config = EncoderConfig::new()
        // labels and flat areas, not camera noise
        .usage_type(UsageType::ScreenContentRealTime)
        .max_frame_rate(FrameRate::from_hz(frames_per_s as f32))
        .rate_control_mode(RateControlMode::Off)
        .qp(QpRange::new(QUANTISER, QUANTISER))
        // neither is made for flat areas
        .adaptive_quantization(false)
        .background_detection(false)
        .skip_frames(false)
        .intra_frame_period(IntraFramePeriod::from_num_frames(
            KEY_EVERY_S * frames_per_s,
        ))
        .complexity(Complexity::Medium)
        .profile(Profile::High)
        // the matrix by which the library turns RGB into luma and chroma
        .vui(VuiConfig::bt601())
        // stretches are encoded side by side instead
        .num_threads(1);
    Encoder::with_api_config(OpenH264API::from_source(), config).map_err(refused("H.264"))
}

fn encode(segment: Segment) -> Result<Vec<Frame>, FilmError> {
    let mut encoder = encoder(segment.frames_per_s)?;
    let mut out = Vec::new();
    for (picture, frames) in segment.pictures {
        let size = (picture.width as usize, picture.height as usize);
        let yuv = YUVBuffer::from_rgb8_source(RgbSliceU8::new(&picture.rgb, size));
        for _ in 0..frames {
            let stream = encoder.encode(&yuv).map_err(refused("H.264"))?;
            let key = matches!(stream.frame_type(), FrameType::IDR | FrameType::I);
            let bytes = stream.to_vec();
            if bytes.is_empty() {
                return Err(refused("H.264")("it left a frame out"));
            }
            out.push(Frame { bytes, key });
        }
    }
    Ok(out)
}

/// Keeps the encoder's own words.
fn refused<E: std::fmt::Display>(encoder: &'static str) -> impl Fn(E) -> FilmError {
    move |error| FilmError::Encode {
        encoder,
        reason: error.to_string(),
    }
}
