//! Films without a display: MP4, GIF and PNG frames.

mod error;
mod frames;
mod gif;
mod make;
mod mp4;
mod pipeline;
mod reel;
mod script;
mod sheet;
mod studio;

pub use error::FilmError;
pub use frames::write_still;
pub use make::{FilmReport, FilmSettings, make_film, make_still};
pub use reel::{Format, Pace, Picture, Reel};
pub use script::{Beat, Script};
pub use studio::{Shot, Studio, moment_of, shots};
