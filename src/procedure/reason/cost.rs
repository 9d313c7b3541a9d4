//! What a reason would cost in the room: by that, and not by where in the script it stands, findings are ordered.
//!
//! The order is a judgement of the trade (common practice, no source).

use super::acts::{Ballooning, Retrieving, Stenting};
use super::any::Reason;
use super::edges::StentEdge;
use super::forces::Force;
use super::lumens::{Image, Lumen};
use super::way::{Exchange, Fit, LedgeMet, Lesion, Vessel};
use serde::{Deserialize, Serialize};
use std::mem::discriminant;

/// What it would cost in the room, the least first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cost {
    /// Nothing but attention.
    Attention,
    /// Minutes, or another device.
    Time,
    /// Clot that is missed, lost or sent on.
    Clot,
    /// The way across the lesion, or what keeps it.
    Way,
    /// An artery, or a stent that is dragged along.
    Vessel,
}

impl Reason {
    /// What it would cost in the room.
    #[must_use]
    pub const fn cost(&self) -> Cost {
        match self {
            Self::StentEdge(StentEdge::PassesInside { .. }) => Cost::Attention,
            Self::StentEdge(_) | Self::Vessel(Vessel::WiderThanVessel { .. }) => Cost::Vessel,
            Self::Lesion(Lesion::RidesUp { .. }) | Self::Force(Force::TipPresses { .. }) => {
                Cost::Vessel
            }
            Self::Ballooning(
                Ballooning::BalloonWide { .. } | Ballooning::DilatesDissection { .. },
            ) => Cost::Vessel,
            Self::Exchange(_) | Self::Access(_) | Self::Image(Image::OpenUnwatched { .. }) => {
                Cost::Way
            }
            Self::Lesion(_)
            | Self::Retrieving(
                Retrieving::MissesClot { .. } | Retrieving::ClotThroughNarrow { .. },
            ) => Cost::Clot,
            Self::Lumen(Lumen::SuctionMovesNothing(_) | Lumen::SuctionOff { .. }) => Cost::Clot,
            Self::Stenting(Stenting::StentOversize { .. } | Stenting::StentLies { .. })
            | Self::Ballooning(Ballooning::Opened { .. } | Ballooning::BalloonOpens { .. })
            | Self::Force(
                Force::MovesByItself { .. }
                | Force::Buckles { .. }
                | Force::Slack { .. }
                | Force::JumpsForward { .. },
            ) => Cost::Attention,
            _ => Cost::Time,
        }
    }

    /// How much of it, for reasons of one kind: what is larger is told.
    #[must_use]
    pub const fn amount(&self) -> f64 {
        match self {
            Self::StentEdge(
                StentEdge::DrawnBare { catching, .. }
                | StentEdge::StepPasses { catching, .. }
                | StentEdge::PassesInside { catching, .. },
            ) => catching.share,
            Self::Exchange(Exchange::RailOutOfHand { blind_mm, .. }) => *blind_mm,
            Self::Force(Force::FallsBack { back_mm, .. }) => *back_mm,
            Self::Retrieving(Retrieving::ClotThroughNarrow {
                cord_mm, lumen_mm, ..
            }) => *cord_mm - *lumen_mm,
            Self::Force(Force::Buckles { length_mm, .. }) => *length_mm,
            Self::Lesion(
                Lesion::Dilates { narrow: found, .. }
                | Lesion::NotThrough { narrow: found, .. }
                | Lesion::Ledge(LedgeMet { narrow: found, .. })
                | Lesion::OnlyAWire(LedgeMet { narrow: found, .. })
                | Lesion::RigidRing(found)
                | Lesion::WireFindsWay(found),
            ) => found.outer_mm - found.residual_mm,
            _ => 0.0,
        }
    }

    /// Whether both say the same kind of thing, so that one of them stands for both.
    #[must_use]
    pub fn same_kind(&self, other: &Self) -> bool {
        match (self, other) {
            // a rail that nobody holds, and what drags on it meanwhile
            (Self::Exchange(_), Self::Exchange(_)) => true,
            (Self::Fit(Fit::Tight(_)), Self::Fit(Fit::Tight(_))) => true,
            (Self::Fit(a), Self::Fit(b)) => a == b,
            (Self::StentEdge(a), Self::StentEdge(b)) => discriminant(a) == discriminant(b),
            (Self::Vessel(a), Self::Vessel(b)) => discriminant(a) == discriminant(b),
            (Self::Lesion(a), Self::Lesion(b)) => discriminant(a) == discriminant(b),
            (Self::Reach(a), Self::Reach(b)) => discriminant(a) == discriminant(b),
            (Self::Access(a), Self::Access(b)) => discriminant(a) == discriminant(b),
            (Self::Force(a), Self::Force(b)) => discriminant(a) == discriminant(b),
            (Self::Unknown(a), Self::Unknown(b)) => discriminant(a) == discriminant(b),
            (Self::Lumen(a), Self::Lumen(b)) => discriminant(a) == discriminant(b),
            (Self::Image(a), Self::Image(b)) => discriminant(a) == discriminant(b),
            (a, b) => a == b,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::reason::{Access, Narrow};

    fn dilates(outer_mm: f64) -> Reason {
        Lesion::Dilates {
            narrow: Narrow {
                device: "stent".into(),
                outer_mm,
                lesion: "neck-lesion".into(),
                residual_mm: 1.0,
            },
            needed_n: 0.1,
            needed_range_n: [0.03, 0.4],
            leaves_mm: 1.2,
        }
        .into()
    }

    #[test]
    fn exact_a_lost_way_costs_more_than_a_tight_lesion_and_a_wave_costs_nothing() {
        let lost: Reason = Access::CrossedAgain {
            lesion: "neck-lesion".into(),
        }
        .into();
        let slack: Reason = Force::Slack {
            device: "wire".into(),
            slack_mm: 3.0,
        }
        .into();
        assert!(lost.cost() > dilates(2.0).cost());
        assert!(dilates(2.0).cost() > slack.cost());
        assert_eq!(slack.cost(), Cost::Attention);
    }

    #[test]
    fn exact_reasons_of_one_kind_differ_by_their_amount() {
        let (thin, thick) = (dilates(1.2), dilates(1.7));
        assert!(thin.same_kind(&thick) && thick.amount() > thin.amount());
        let other: Reason = Access::GivenUp {
            lesion: "neck-lesion".into(),
        }
        .into();
        assert!(!thin.same_kind(&other));
    }
}
