//! What is told of forces, and what no equilibrium is known of.

use crate::procedure::script::Spot;
use serde::{Deserialize, Serialize};

/// Pushing, pulling, falling back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Force {
    /// Nothing at the hub moves the tip.
    LocksUp {
        /// The device.
        device: String,
        /// Where most is lost.
        place: Spot,
        /// Force at the hub.
        hub_force_n: f64,
    },
    /// More at the hub than the scene allows.
    AboveLimit {
        /// The device.
        device: String,
        /// Where most is lost.
        place: Spot,
        /// Force at the hub.
        hub_force_n: f64,
        /// What the scene allows.
        limit_n: f64,
    },
    /// More than the scene allows, or a device that does not move, only if frictions and stiffnesses are as large as
    /// they may be.
    BreaksAtMost {
        /// The device.
        device: String,
        /// Where most is lost.
        place: Spot,
        /// Force at the hub.
        hub_force_n: f64,
        /// What the scene allows; none where the device locks up.
        limit_n: Option<f64>,
    },
    /// A tip that presses.
    TipPresses {
        /// The device.
        device: String,
        /// Force.
        tip_force_n: f64,
        /// From where on it is shown.
        shown_n: f64,
    },
    /// A device that its own bend, or what bears on it, moves: the hand has to hold it back.
    MovesByItself {
        /// The device.
        device: String,
        /// Forward or back.
        forward: bool,
        /// Force that the hub is held with.
        held_n: f64,
    },
    /// A device that buckles.
    Buckles {
        /// The device.
        device: String,
        /// Length in all.
        length_mm: f64,
        /// Where most of it is.
        place: Spot,
    },
    /// Length that comes out before a tip follows.
    Slack {
        /// The device.
        device: String,
        /// How much.
        slack_mm: f64,
    },
    /// A held tip that falls back.
    FallsBack {
        /// The device.
        device: String,
        /// How far.
        back_mm: f64,
    },
    /// A held tip that jumps forward.
    JumpsForward {
        /// The device.
        device: String,
        /// How far.
        forward_mm: f64,
    },
}

/// Why no equilibrium of the rods is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "because", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Why {
    /// A device turns away from the vessel: it loops or prolapses, which lies outside the model.
    OutsideModel {
        /// The device.
        device: String,
        /// Where.
        place: Spot,
        /// Angle to the vessel, degrees.
        angle_deg: f64,
    },
    /// The forces on the devices came to no balance.
    NoRest {
        /// The device that was furthest from it.
        device: String,
        /// Where.
        place: Spot,
        /// Force out of balance, N.
        residual_n: f64,
    },
    /// Loads, lengths and shapes came to no agreement.
    LoadsUnsettled,
    /// The devices as they lie make no problem that rods could solve.
    Refused,
    /// A number was met that is not finite.
    NotANumber,
    /// It took more work than one search may.
    TooMuchWork {
        /// That work, in factorised unknowns.
        most: u64,
    },
}

/// What no equilibrium is known of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Unknown {
    /// A step: whether it can be done.
    #[serde(rename = "step-not-known")]
    Step {
        /// Why.
        why: Why,
    },
    /// A pull: whether it comes, and what it takes.
    #[serde(rename = "pull-not-known")]
    Pull {
        /// The device.
        device: String,
        /// Why.
        why: Why,
    },
    /// The slack of a device: nothing of the verdict rests on it.
    #[serde(rename = "slack-not-known")]
    Slack {
        /// The device.
        device: String,
        /// Why.
        why: Why,
    },
    /// A crossing of a stent's edge.
    #[serde(rename = "crossing-not-known")]
    Crossing {
        /// What stands against it, for whoever looks after the files.
        what: String,
    },
    /// What it takes to make a retriever slide.
    #[serde(rename = "sliding-not-known")]
    Sliding {
        /// What stands against it, for whoever looks after the files.
        what: String,
    },
}
