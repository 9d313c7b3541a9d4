//! Files: vessels, devices and scenes in RON, on disk or built into the program.
//!
//! Every refusal is a [`DataError`]: what was found, the file, line and column, and how to mend
//! it. [`DataError::render`] gives the text for a terminal.

mod decode;
mod error;
mod map;
mod source;
mod text;

pub use error::{DataError, Problem, Rendering};
pub use source::Source;
