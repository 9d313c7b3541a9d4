//! H.264 in MP4, constant frame rate.
#![expect(
    clippy::disallowed_types,
    reason = "written beside its place and renamed there when it is whole"
)]

use super::error::FilmError;
use super::reel::{Pace, Picture, check_size, writing};
use muxide::api::{Muxer, MuxerBuilder, VideoCodec};
use openh264::OpenH264API;
use openh264::encoder::{
    Complexity, Encoder, EncoderConfig, FrameRate, FrameType, IntraFramePeriod, Profile, QpRange,
    RateControlMode, UsageType, VuiConfig,
};
use openh264::formats::{RgbSliceU8, YUVBuffer};
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;

/// How coarsely the encoder rounds, of 51: below, files grow and nothing is seen; above, thin letters
/// get halos.
const QUANTISER: u8 = 22;
/// Seconds between frames one can jump to.
const KEY_EVERY_S: u32 = 2;

/// An MP4 file being written.
pub(super) struct Mp4 {
    encoder: Encoder,
    muxer: Muxer<BufWriter<File>>,
    pace: Pace,
    frames: u32,
}

impl Mp4 {
    pub(super) fn begin(path: &Path, pace: Pace) -> Result<Self, FilmError> {
        let config = EncoderConfig::new()
            // labels and flat areas, not camera noise
            .usage_type(UsageType::ScreenContentRealTime)
            .max_frame_rate(FrameRate::from_hz(pace.frames_per_s as f32))
            .rate_control_mode(RateControlMode::Off)
            .qp(QpRange::new(QUANTISER, QUANTISER))
            // neither is made for flat areas
            .adaptive_quantization(false)
            .background_detection(false)
            .skip_frames(false)
            .intra_frame_period(IntraFramePeriod::from_num_frames(
                KEY_EVERY_S * pace.frames_per_s,
            ))
            .complexity(Complexity::Medium)
            .profile(Profile::High)
            // the matrix by which the library turns RGB into luma and chroma
            .vui(VuiConfig::bt601())
            // the same file for any number of cores
            .num_threads(1);
        let encoder = Encoder::with_api_config(OpenH264API::from_source(), config)
            .map_err(refused("H.264"))?;
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
            encoder,
            muxer,
            pace,
            frames: 0,
        })
    }

    pub(super) fn add(&mut self, picture: &Picture, frames: u32) -> Result<(), FilmError> {
        check_size(picture, self.pace.width, self.pace.height)?;
        let size = (picture.width as usize, picture.height as usize);
        let yuv = YUVBuffer::from_rgb8_source(RgbSliceU8::new(&picture.rgb, size));
        for _ in 0..frames {
            let stream = self.encoder.encode(&yuv).map_err(refused("H.264"))?;
            let key = matches!(stream.frame_type(), FrameType::IDR | FrameType::I);
            let bytes = stream.to_vec();
            if bytes.is_empty() {
                return Err(refused("H.264")("it left a frame out"));
            }
            let at_s = f64::from(self.frames) / f64::from(self.pace.frames_per_s);
            self.muxer
                .write_video(at_s, &bytes, key)
                .map_err(refused("MP4"))?;
            self.frames += 1;
        }
        Ok(())
    }

    pub(super) fn finish(self) -> Result<(), FilmError> {
        self.muxer.finish().map_err(refused("MP4"))
    }
}

/// Keeps the encoder's own words.
fn refused<E: std::fmt::Display>(encoder: &'static str) -> impl Fn(E) -> FilmError {
    move |error| FilmError::Encode {
        encoder,
        reason: error.to_string(),
    }
}
