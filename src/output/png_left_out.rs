//! Plots as PNG, in a program that was built without them.

use super::report::Plot;
use std::io;

impl Plot {
    /// The plot as PNG.
    ///
    /// # Errors
    /// Always: the program was built without the feature `png`.
    pub fn png(&self) -> io::Result<Vec<u8>> {
        Err(io::Error::new(
            io::ErrorKind::Unsupported,
            "plots as PNG were left out of this program",
        ))
    }
}
