//! Any reason, of whatever topic.

use super::acts::{Ballooning, Retrieving, Stenting};
use super::edges::StentEdge;
use super::forces::{Force, Unknown};
use super::lumens::{Image, Lumen};
use super::needs::{LumenNeed, PartNeed, PayloadNeed, Precondition, RailNeed, RetrieverNeed};
use super::topic::Topic;
use super::way::{Access, Exchange, Fit, Lesion, Reach, Vessel};
use serde::{Deserialize, Serialize};

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
    /// What a step needs and does not find: devices and places.
    Precondition(Precondition),
    /// The same of a lumen for suction or contrast.
    LumenNeed(LumenNeed),
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
    /// The topic it belongs to.
    #[must_use]
    pub const fn topic(&self) -> Topic {
        match self {
            Self::Reach(_) => Topic::Reach,
            Self::Fit(_) => Topic::Fit,
            Self::Vessel(_) => Topic::Vessel,
            Self::Lesion(_) => Topic::Lesion,
            Self::Exchange(_) => Topic::Exchange,
            Self::Precondition(_)
            | Self::LumenNeed(_)
            | Self::RailNeed(_)
            | Self::PartNeed(_)
            | Self::PayloadNeed(_)
            | Self::RetrieverNeed(_) => Topic::Precondition,
            Self::Access(_) => Topic::Access,
            Self::Stenting(_) | Self::Ballooning(_) | Self::Retrieving(_) => Topic::Treatment,
            Self::StentEdge(_) => Topic::StentEdge,
            Self::Force(_) => Topic::Force,
            Self::Unknown(_) => Topic::Unknown,
            Self::Lumen(_) => Topic::Lumen,
            Self::Image(_) => Topic::Image,
        }
    }

    /// Whether it hangs on where devices lie or on what moves them, so that it may be otherwise where that
    /// is not known.
    #[must_use]
    pub const fn rests_on_lengths(&self) -> bool {
        match self {
            Self::Reach(_)
            | Self::Vessel(_)
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
            // what is wider than a rigid or a shut lesion is so wherever else the stack lies
            Self::Lesion(reason) => !matches!(reason, Lesion::RigidRing(_) | Lesion::OnlyAWire(_)),
            Self::Stenting(reason) => !matches!(reason, Stenting::StentTooNarrow { .. }),
            Self::PayloadNeed(reason) => matches!(reason, PayloadNeed::OpensInCatheter { .. }),
            Self::LumenNeed(reason) => matches!(reason, LumenNeed::LumenBlocked(_)),
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
                    | Precondition::ShapeFilled { .. }
                    | Precondition::NoseBehindTip { .. }
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
    LumenNeed,
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
