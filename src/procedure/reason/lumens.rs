//! What flows through lumens, and who watches what.

use crate::procedure::script::Region;
use serde::{Deserialize, Serialize};

/// A lumen with something in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Filled {
    /// The catheter.
    pub device: String,
    /// What lies in it.
    pub occupants: Vec<String>,
    /// Share of the free flow left.
    pub share: f64,
}

/// What flows or does not through a lumen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Lumen {
    /// Suction that moves nothing.
    SuctionMovesNothing(Filled),
    /// The neck is worked on with the blood flowing and no suction.
    NeckUnprotected,
    /// A poor run of contrast.
    PoorRun(Filled),
    /// A lumen on suction in the script, off while a retriever is pulled.
    SuctionOff {
        /// The catheter.
        device: String,
        /// Whether it is in the body at all.
        in_body: bool,
    },
}

/// Who watches what.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Image {
    /// A tip that moves where no plane looks.
    Unwatched {
        /// The device.
        device: String,
        /// Where it moves.
        region: Region,
    },
    /// An open retriever that nobody watches.
    OpenUnwatched {
        /// The retriever.
        device: String,
    },
    /// Contrast that is injected beyond what it should show.
    InjectsBehind {
        /// The catheter.
        device: String,
        /// Where its tip lies.
        lies_in: Region,
        /// What is to be shown.
        shows: Region,
    },
    /// A wire that leaves a catheter in an ostium before contrast has shown its seat.
    SeatUnseen {
        /// The catheter.
        device: String,
        /// The wire.
        wire: String,
    },
    /// A way found past an obstacle with no map of it.
    NoRoadmap {
        /// The device that finds it.
        device: String,
        /// The obstacle.
        across: String,
    },
    /// A shut lesion that lets no contrast through.
    ShutBelow {
        /// The lesion.
        lesion: String,
    },
}
