//! Why a step is told something: typed reasons, by topic.
//!
//! A check says what it found as a reason, and [`Finding`](super::Finding) keeps it; the sentences are in
//! `words`, `acts_words` and `needs_words`, one for each. In JSON a reason is its name (`too-short`) and its fields. Names of devices, parts,
//! lesions and landmarks are those of scene and vessel; lengths in mm, forces in N, shares 0 to 1.

mod acts;
mod acts_words;
mod needs;
mod needs_words;
mod words;

pub use acts::{Ballooning, OpenedBy, Retrieving, Stenting};
pub use needs::{PartNeed, PayloadNeed, Precondition, RailNeed, RetrieverNeed, Use};
pub use words::{longer_mm, samples};

use super::{Direction, EdgeKind, Likelihood, Region};
use serde::{Deserialize, Serialize};

/// A place on the route.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Spot {
    /// Station, mm from the access.
    pub station_mm: f64,
    /// The same in words: the nearest landmark and how far past or short of it.
    pub at: String,
}

/// Why a step is told something.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
#[non_exhaustive]
pub enum Reason {
    /// A device is too short.
    Reach(Reach),
    /// A device in or beside another.
    Fit(Fit),
    /// A device against a vessel.
    Vessel(Vessel),
    /// A device against the lesion.
    Lesion(Lesion),
    /// A rail that is too short or in nobody's hand.
    Exchange(Exchange),
    /// What a step needs and does not find: devices, places, suction.
    Precondition(Precondition),
    /// The same of a rail.
    RailNeed(RailNeed),
    /// The same of valves, lumens, clips and tools.
    PartNeed(PartNeed),
    /// The same of a stent or a balloon.
    PayloadNeed(PayloadNeed),
    /// The same of a retriever.
    RetrieverNeed(RetrieverNeed),
    /// Access across the lesion in the true lumen.
    Access(Access),
    /// A stent and where it comes to lie.
    Stenting(Stenting),
    /// A balloon, and what it or a stent leaves of a lesion.
    Ballooning(Ballooning),
    /// A retriever where it opens.
    Retrieving(Retrieving),
    /// An edge of a stent and what crosses it.
    StentEdge(StentEdge),
    /// Pushing, pulling, falling back.
    Force(Force),
    /// What no equilibrium is known of.
    Unknown(Unknown),
    /// What flows or does not through a lumen.
    Lumen(Lumen),
    /// Who watches what.
    Image(Image),
}

impl Reason {
    /// Whether it hangs on where devices lie or on what moves them, so that it may be otherwise where that
    /// is not known.
    #[must_use]
    pub const fn rests_on_lengths(&self) -> bool {
        match self {
            Self::Reach(_)
            | Self::Vessel(_)
            | Self::Lesion(_)
            | Self::Exchange(_)
            | Self::Access(_)
            | Self::Ballooning(_)
            | Self::Retrieving(_)
            | Self::StentEdge(_)
            | Self::Force(_)
            | Self::Unknown(_)
            | Self::Lumen(_)
            | Self::Image(_) => true,
            Self::Fit(_) | Self::PartNeed(_) => false,
            Self::Stenting(reason) => !matches!(reason, Stenting::StentTooNarrow { .. }),
            Self::PayloadNeed(reason) => matches!(reason, PayloadNeed::OpensInCatheter { .. }),
            Self::RailNeed(reason) => matches!(
                reason,
                RailNeed::RailVanishes { .. }
                    | RailNeed::ValveMeetsHub { .. }
                    | RailNeed::RapidRailShort { .. }
            ),
            Self::RetrieverNeed(reason) => matches!(
                reason,
                RetrieverNeed::ShortOfClot { .. }
                    | RetrieverNeed::SheathShort { .. }
                    | RetrieverNeed::PusherVanishes { .. }
            ),
            Self::Precondition(reason) => matches!(
                reason,
                Precondition::BeyondPlace { .. }
                    | Precondition::ShortOfPlace { .. }
                    | Precondition::NoseBehindTip { .. }
                    | Precondition::LumenBlocked { .. }
            ),
        }
    }

    /// Whether it says that lengths of a step, and so of the steps after it, are not known.
    #[must_use]
    pub const fn loses_lengths(&self) -> bool {
        matches!(self, Self::Unknown(Unknown::Step { .. }))
    }
}

macro_rules! topics {
    ($($topic:ident),*) => {$(
        impl From<$topic> for Reason {
            fn from(reason: $topic) -> Self {
                Self::$topic(reason)
            }
        }
    )*};
}

topics!(
    Reach,
    Fit,
    Vessel,
    Lesion,
    Exchange,
    Precondition,
    RailNeed,
    PartNeed,
    PayloadNeed,
    RetrieverNeed,
    Access,
    Stenting,
    Ballooning,
    Retrieving,
    StentEdge,
    Force,
    Unknown,
    Lumen,
    Image
);

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
    },
}

/// A device in or beside another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Fit {
    /// It passes with little room.
    Tight {
        /// What lies inside, side by side.
        inside: Vec<String>,
        /// What lies around it.
        around: String,
        /// The room there is, in words.
        room: String,
    },
    /// It does not pass.
    DoesNotFit {
        /// What lies inside, side by side.
        inside: Vec<String>,
        /// What lies around it.
        around: String,
        /// The room there is, in words.
        room: String,
    },
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

/// A device against the lesion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Lesion {
    /// A rigid ring that is narrower than the device.
    RigidRing {
        /// The device.
        device: String,
        /// Its outer diameter.
        outer_mm: f64,
        /// The lesion.
        lesion: String,
        /// The lumen it leaves.
        residual_mm: f64,
    },
    /// A wire wider than what the lesion leaves.
    WireFindsWay {
        /// The wire.
        device: String,
        /// Its outer diameter.
        outer_mm: f64,
        /// The lesion.
        lesion: String,
        /// The lumen it leaves.
        residual_mm: f64,
    },
    /// A device dilates the lesion as it passes.
    Dilates {
        /// The device.
        device: String,
        /// Its outer diameter.
        outer_mm: f64,
        /// The lesion.
        lesion: String,
        /// The lumen it leaves.
        residual_mm: f64,
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
    /// Nothing has shown the true lumen beyond a dissection.
    TrueLumenUnproven {
        /// The catheter across it.
        catheter: String,
        /// The lesion.
        lesion: String,
    },
}

/// An edge of a stent and what crosses it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum StentEdge {
    /// An open retriever passes inside a catheter.
    PassesInside {
        /// The retriever.
        device: String,
        /// The stent.
        stent: String,
        /// Which edge.
        edge: EdgeKind,
        /// The catheter.
        cover: String,
        /// How far its tip lies beyond the edge.
        beyond_mm: f64,
        /// The same under load.
        under_load_mm: f64,
        /// Share of samples that catch.
        share: f64,
        /// How likely it catches.
        likelihood: Likelihood,
        /// What would help, with the share of samples that catch then.
        helps: Vec<(String, f64)>,
    },
    /// An open retriever passes with nothing over it.
    DrawnBare {
        /// The retriever.
        device: String,
        /// The stent.
        stent: String,
        /// Which edge.
        edge: EdgeKind,
        /// The catheter that comes nearest and how far its tip lies beyond the edge (mm; negative: below it).
        nearest: Option<(String, f64)>,
        /// Share of samples that catch.
        share: f64,
        /// How likely it catches.
        likelihood: Likelihood,
        /// What would help, with the share of samples that catch then.
        helps: Vec<(String, f64)>,
    },
    /// The rim of a stent stands off the wall.
    RimStandsOff {
        /// The stent.
        stent: String,
        /// Which edge.
        edge: EdgeKind,
        /// Its largest gap.
        gap_mm: f64,
    },
    /// A step of another device, at its tip or behind it, passes.
    StepPasses {
        /// The device.
        device: String,
        /// What it rides on.
        over: Option<String>,
        /// The stent.
        stent: String,
        /// Which edge.
        edge: EdgeKind,
        /// Away from the access.
        forward: bool,
        /// Whether the edge looks towards what arrives.
        faces: bool,
        /// Height of the step.
        step_mm: f64,
        /// How far behind the tip it lies.
        behind_tip_mm: f64,
        /// Share of samples that catch.
        share: f64,
        /// How likely it catches.
        likelihood: Likelihood,
        /// What would help, with the share of samples that catch then.
        helps: Vec<(String, f64)>,
    },
}

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

/// What flows or does not through a lumen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Lumen {
    /// Suction that moves nothing.
    SuctionMovesNothing {
        /// The catheter.
        device: String,
        /// What lies in it.
        occupants: Vec<String>,
        /// Share of the free flow left.
        share: f64,
    },
    /// A poor run of contrast.
    PoorRun {
        /// The catheter.
        device: String,
        /// What lies in it.
        occupants: Vec<String>,
        /// Share of the free flow left.
        share: f64,
    },
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
    /// A shut lesion that lets no contrast through.
    ShutBelow {
        /// The lesion.
        lesion: String,
    },
}
