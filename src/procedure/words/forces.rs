//! Forces, and what no equilibrium is known of, in plain words.

use super::said::{Said, mm, note, with};
use crate::procedure::reason::{Force, Unknown, Why};
use crate::units::fixed;

pub(super) fn force(reason: &Force) -> Said {
    let support = "more support, a softer device, or another approach";
    match reason {
        Force::LocksUp {
            device,
            place,
            hub_force_n,
        } => with(
            format!(
                "the {device} locks up: {hub_force_n:.1} N at the hub and it still does not move; most is lost {}",
                place.at
            ),
            support,
        ),
        Force::AboveLimit {
            device,
            place,
            hub_force_n,
            limit_n,
        } => with(
            format!(
                "the {device} takes {hub_force_n:.1} N at the hub, the scene allows {limit_n:.1} N; most is lost {}",
                place.at
            ),
            support,
        ),
        Force::BreaksAtMost {
            device,
            place,
            hub_force_n,
            limit_n,
        } => with(
            match limit_n {
                None => format!(
                    "the {device} locks up if friction and stiffness are as large as they may be: {hub_force_n:.1} N at the hub and it does not move; most is lost {}",
                    place.at
                ),
                Some(limit_n) => format!(
                    "the {device} takes {hub_force_n:.1} N at the hub if friction and stiffness are as large as they may be, the scene allows {limit_n:.1} N; most is lost {}",
                    place.at
                ),
            },
            support,
        ),
        Force::TipPresses {
            device,
            tip_force_n,
            shown_n,
        } => with(
            format!(
                "the {device} presses with {tip_force_n:.2} N at its tip; from {shown_n} N on this is shown (from memory, no accepted limit is known)"
            ),
            "let a softer device lead",
        ),
        Force::MovesByItself {
            device,
            forward,
            held_n,
        } => note(format!(
            "the {device} {} by itself: its hub is held {} with {} N meanwhile",
            if *forward { "goes on" } else { "springs back" },
            if *forward { "back" } else { "forward" },
            fixed(*held_n, 2)
        )),
        Force::Buckles {
            device,
            length_mm,
            place,
        } => note(format!(
            "the {device} buckles along {} mm in all, most {}: it lies in waves on the wall there",
            mm(*length_mm),
            place.at
        )),
        Force::Slack { device, slack_mm } => note(format!(
            "{} mm of the {device} come out before its tip follows a pull",
            mm(*slack_mm)
        )),
        Force::FallsBack { device, back_mm } => with(
            format!(
                "the {device}'s tip falls back by {} mm while it is held",
                mm(*back_mm)
            ),
            "hold it forward, or give it more support",
        ),
        Force::JumpsForward { device, forward_mm } => note(format!(
            "the {device}'s tip jumps forward by {} mm while it is held",
            mm(*forward_mm)
        )),
    }
}

/// Why nothing is known, and what may help.
fn because(why: &Why) -> (String, &'static str) {
    let smaller = "the same way in smaller moves, one after the other";
    match why {
        Why::OutsideModel {
            device,
            place,
            angle_deg,
        } => (
            format!(
                "the {device} turns {angle_deg:.0} degrees away from the vessel {}, where it may loop or prolapse, which is not followed here",
                place.at
            ),
            "more support at that place, or a stiffer shaft there; on a table, a look at it before more is pushed",
        ),
        Why::NoRest { device, place, .. } => (
            format!(
                "no resting place was found for the devices, least of all for the {device} {}",
                place.at
            ),
            smaller,
        ),
        Why::LoadsUnsettled => (
            "the forces on the devices and the places they take came to no agreement".to_owned(),
            smaller,
        ),
        Why::Refused => (
            "the devices as they lie here cannot be laid as elastic rods".to_owned(),
            smaller,
        ),
        Why::NotANumber => (
            "a value came out that is no number".to_owned(),
            "look for an input far outside of what devices and vessels are",
        ),
        Why::TooMuchWork { .. } => (
            "the search for where the devices come to rest was given up".to_owned(),
            smaller,
        ),
    }
}

pub(super) fn unknown(reason: &Unknown) -> Said {
    match reason {
        Unknown::Step { why } => {
            let (because, help) = because(why);
            with(
                format!(
                    "whether this step can be done is not known: {because}; lengths told of it are estimates"
                ),
                help,
            )
        }
        Unknown::Pull { device, why } => {
            let (because, help) = because(why);
            with(
                format!(
                    "whether the {device} comes when it is pulled here, and what that takes, is not known: {because}; its lengths stand"
                ),
                help,
            )
        }
        Unknown::Slack { device, why } => note(format!(
            "how much of the {device} comes out before its tip follows a pull is not known: {}",
            because(why).0
        )),
        Unknown::Crossing { what } => with(
            format!("whether a device is caught at a stent's edge here is not known: {what}"),
            "check the sizes of stent and device",
        ),
        Unknown::Sliding { what } => with(
            format!("what it takes to make the open retriever slide is not known: {what}"),
            "check the sizes of the retriever",
        ),
    }
}
