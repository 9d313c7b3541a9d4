//! Why nothing can be drawn.

/// Why no picture can be drawn on this machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ScreenError {
    /// Nothing draws.
    #[error("nothing on this machine draws in three dimensions: {advice}")]
    NoAdapter {
        /// What to install.
        advice: &'static str,
    },
    /// There is no display to open a window on.
    #[error(
        "no display to open a window on: start it from a desktop, or under a virtual one (on Debian and Ubuntu: `apt-get install xvfb libxcursor1 libxi6 libxkbcommon-x11-0`, then `xvfb-run nestline view`); `nestline film` needs no display"
    )]
    NoDisplay,
}
