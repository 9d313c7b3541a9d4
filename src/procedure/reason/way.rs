//! What a device meets on its way: its own length, other devices, vessels, lesions, rails.

use crate::procedure::script::Spot;
use crate::procedure::state::Direction;
use serde::{Deserialize, Serialize};

/// A device is too short.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Reach {
    /// The route ends before the place asked for.
    RouteEnds {
        /// The device.
        device: String,
        /// By how much.
        short_mm: f64,
    },
    /// An advance to a place that the device was carried beyond already, by a little.
    ThereAlready {
        /// The device.
        device: String,
        /// How far beyond it is.
        beyond_mm: f64,
    },
    /// The device is fed to its end and not there.
    TooShort {
        /// The device.
        device: String,
        /// How far its tip comes.
        reaches: Spot,
        /// What is missing.
        short_mm: f64,
        /// Its usable length.
        usable_mm: f64,
        /// What a hand keeps of a rail; none for a catheter, whose hub is against the valve.
        grip_mm: Option<f64>,
        /// Catheter around it that takes length away outside.
        around: Option<String>,
        /// Short sheath that it goes through and could go without.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sheath: Option<String>,
    },
}

/// What lies in a lumen, and the room it has there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Within {
    /// What lies inside, side by side.
    pub inside: Vec<String>,
    /// What lies around it.
    pub around: String,
    /// The room there is, in words.
    pub room: String,
    /// Where, coming from the hub, it begins to be so; none where no rods were laid there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Spot>,
}

impl Within {
    /// Whether it is about the same devices in the same one, in whatever order they are named.
    #[must_use]
    pub fn is_of(&self, inside: &[String], around: &str) -> bool {
        self.around == around
            && self.inside.len() == inside.len()
            && self.inside.iter().all(|name| inside.contains(name))
    }
}

/// A device in or beside another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Fit {
    /// It passes with little room.
    Tight(Within),
    /// It does not pass.
    DoesNotFit(Within),
}

/// A device against a vessel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Vessel {
    /// Wider than the vessel it lies in.
    WiderThanVessel {
        /// The device.
        device: String,
        /// Its outer diameter.
        outer_mm: f64,
        /// The lumen of the vessel.
        lumen_mm: f64,
        /// Where.
        place: Spot,
    },
    /// A guide goes up beyond the arch with nothing inside that leads it.
    Unled {
        /// The guide.
        device: String,
        /// How far its tip goes.
        place: Spot,
    },
    /// A wire far beyond an ostium that no catheter sits in.
    Unengaged {
        /// The wire.
        device: String,
        /// How far beyond.
        beyond_mm: f64,
        /// The ostium.
        place: Spot,
    },
    /// It nearly fills the artery it enters by.
    FillsAccess {
        /// The device.
        device: String,
        /// Its outer diameter.
        outer_mm: f64,
        /// The narrowest lumen of the artery.
        lumen_mm: f64,
    },
}

/// A device where a lesion is narrower than it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Narrow {
    /// The device.
    pub device: String,
    /// Its outer diameter.
    pub outer_mm: f64,
    /// The lesion.
    pub lesion: String,
    /// The lumen it leaves.
    pub residual_mm: f64,
}

/// A step that meets plaque.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LedgeMet {
    /// What passes and what is left.
    #[serde(flatten)]
    pub narrow: Narrow,
    /// Height of the step above what leads it or what is open, mm of radius.
    pub step_mm: f64,
    /// Balloon after which it would pass, mm; none where no balloon that fits the artery opens enough.
    pub balloon_mm: Option<f64>,
    /// Whether the script dilates with a balloon, but only afterwards.
    pub dilated_later: bool,
}

/// A device against the lesion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Lesion {
    /// A rigid ring that is narrower than the device.
    RigidRing(Narrow),
    /// A wire wider than what the lesion leaves.
    WireFindsWay(Narrow),
    /// A device dilates the lesion as it passes.
    Dilates {
        /// What passes and what is left.
        #[serde(flatten)]
        narrow: Narrow,
        /// The most that this takes at the lesion on the way, N.
        needed_n: f64,
        /// The same with plaque and friction at either end of what is known of them, N.
        needed_range_n: [f64; 2],
        /// The lumen it leaves, mm.
        leaves_mm: f64,
    },
    /// A bare step that may ride in over the plaque, or not.
    Ledge(LedgeMet),
    /// What is all but shut, and met by something that is no wire and follows none closely.
    OnlyAWire(LedgeMet),
    /// Less arrives at the lesion than it asks for.
    NotThrough {
        /// What passes and what is left.
        #[serde(flatten)]
        narrow: Narrow,
        /// What it asks for, N.
        needed_n: f64,
        /// What arrives there with the most that a hand may push, N.
        arrives_n: f64,
        /// That most, N.
        limit_n: f64,
        /// Balloon after which it would pass, mm; none where no balloon that fits the artery opens enough.
        balloon_mm: Option<f64>,
        /// Whether the script dilates with a balloon, but only afterwards.
        dilated_later: bool,
    },
    /// A device rides over something that tapers through a stented lesion narrower than itself.
    RidesUp {
        /// The device.
        device: String,
        /// Its outer diameter.
        outer_mm: f64,
        /// What leads it.
        nose: String,
        /// The lesion.
        lesion: String,
        /// The lumen it leaves.
        residual_mm: f64,
    },
}

/// A rail that is too short or in nobody's hand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Exchange {
    /// Too little of a rail outside to hold it while a catheter moves over it.
    RailTooShortToHold {
        /// The rail.
        rail: String,
        /// What moves over it.
        device: String,
        /// What lies outside.
        outside_mm: f64,
    },
    /// A rail that nobody holds for part of an exchange.
    RailOutOfHand {
        /// The rail.
        rail: String,
        /// What goes on or comes off.
        device: String,
        /// On or off.
        direction: Direction,
        /// Way with nobody holding it.
        blind_mm: f64,
        /// Rail outside.
        outside_mm: f64,
        /// Rail that would be needed.
        needed_mm: f64,
        /// Whether the rail is an open retriever.
        held_by_retriever: bool,
    },
    /// What drags on a rail in nobody's hand, against what holds it.
    RailDragged {
        /// The rail.
        rail: String,
        /// What drags on it.
        device: String,
        /// Friction.
        drag_n: f64,
        /// What the open retriever holds with.
        holds_n: f64,
        /// What saline pressed through the device pushes the rail forward with; zero without.
        flush_n: f64,
    },
}

/// Access across the lesion in the true lumen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Access {
    /// Nothing lies beyond a lesion any more.
    GivenUp {
        /// The lesion.
        lesion: String,
    },
    /// A lesion has to be crossed again.
    CrossedAgain {
        /// The lesion.
        lesion: String,
    },
    /// A curve that turns by less than the ostium asks for.
    CurveTooSimple {
        /// The catheter.
        device: String,
        /// Angle of its curve.
        curve_deg: f64,
        /// Angle the route turns by there.
        turn_deg: f64,
        /// The ostium.
        ostium: String,
    },
    /// Nothing has shown the true lumen beyond a dissection.
    TrueLumenUnproven {
        /// The catheter across it.
        catheter: String,
        /// The lesion.
        lesion: String,
    },
}
