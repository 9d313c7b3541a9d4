//! Why nothing could be chosen.

use crate::procedure::NetworkError;
use thiserror::Error;

/// Why nothing could be chosen.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ChooseError {
    /// A name that no device of the stack bears.
    #[error("the stack has no device `{name}`: there are {}", there.join(", "))]
    UnknownDevice {
        /// The name.
        name: String,
        /// Names in the stack.
        there: Vec<String>,
    },
    /// A place that is neither a landmark nor an end of a device.
    #[error(
        "`{name}` is no place of this scene: name a landmark of the route ({}), or an end of a device such as `guide.tip` or `stent.distal`",
        landmarks.join(", ")
    )]
    UnknownPlace {
        /// The name.
        name: String,
        /// Landmarks of the route.
        landmarks: Vec<String>,
    },
    /// A device that is to reach its own end.
    #[error(
        "`{place}` is an end of the `{device}` itself: it lies there wherever it is; name another place"
    )]
    ItsOwnEnd {
        /// The device.
        device: String,
        /// The place.
        place: String,
    },
    /// The script never has the device in the body, or never while the place is there.
    #[error(
        "the script never has the `{device}` in the body while there is a `{place}`: name another place, or ask for what the script does"
    )]
    NeverThere {
        /// The device.
        device: String,
        /// The place.
        place: String,
    },
    /// More stacks than can be kept apart.
    #[error(
        "{stacks} stacks still stand at step {step}, more than {most}: let some devices stay what they are with --keep"
    )]
    TooMany {
        /// How many.
        stacks: usize,
        /// Number of the step.
        step: usize,
        /// How many can be kept apart.
        most: usize,
    },
    /// The steps cannot be put on a clock.
    #[error(transparent)]
    Clock(#[from] NetworkError),
}
