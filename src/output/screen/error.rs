//! Why nothing can be drawn.

/// Why no picture can be drawn on this machine.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
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
    /// The display is there, the window did not come.
    #[error(
        "the window did not open ({reason}): on Debian and Ubuntu `apt-get install libxcursor1 libxi6 libxkbcommon-x11-0 mesa-vulkan-drivers` has what it needs; `nestline film` needs no window"
    )]
    NoWindow {
        /// What the drawing library said, in one line.
        reason: String,
    },
}
