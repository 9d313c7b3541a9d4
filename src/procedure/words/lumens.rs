//! Flow through lumens and image planes, in plain words.

use super::said::{Said, and_the, note, per_cent, the, with};
use crate::procedure::reason::{Filled, Image, Lumen};

pub(super) fn lumen(reason: &Lumen) -> Said {
    match reason {
        Lumen::SuctionMovesNothing(Filled {
            device,
            occupants,
            share,
        }) => {
            let occupants = and_the(occupants);
            with(
                format!(
                    "suction on the {device} moves nothing while the {occupants} fills its lumen ({} of the free flow is left)",
                    per_cent(*share)
                ),
                format!("it works once the {occupants} is drawn back"),
            )
        }
        Lumen::NeckUnprotected => with(
            "the neck is worked on with the blood flowing and no suction: what comes loose goes to the brain".to_owned(),
            "a guide with a balloon that stops the flow, or suction on the guide meanwhile",
        ),
        Lumen::PoorRun(Filled {
            device,
            occupants,
            share,
        }) => note(format!(
            "the {} leaves {:.0} % of the {device}'s flow: a poor run",
            and_the(occupants),
            100.0 * share
        )),
        Lumen::SuctionOff { device, in_body } => with(
            format!(
                "the retriever is pulled and the {device}, which the script puts on suction, {}",
                if *in_body {
                    "is off"
                } else {
                    "is not in the body"
                }
            ),
            format!("suction on the {device} before the pull"),
        ),
    }
}

pub(super) fn image(reason: &Image) -> Said {
    match reason {
        Image::Unwatched { device, region } => with(
            format!(
                "the {device} moves in the {} and no image plane looks there",
                region.in_words()
            ),
            "point plane A or B at it (Watch)",
        ),
        Image::OpenUnwatched { device } => with(
            format!("nobody watches the open {device} while the neck is worked on"),
            "keep one plane on the head",
        ),
        Image::InjectsBehind {
            device,
            lies_in,
            shows,
        } => with(
            format!(
                "the {device}'s tip lies in the {} already: the {} is behind it",
                lies_in.in_words(),
                shows.in_words()
            ),
            "inject from further back",
        ),
        Image::SeatUnseen { device, wire } => with(
            format!(
                "nothing has shown that the {device} sits in the ostium before the {wire} leaves it"
            ),
            format!("a puff of contrast through the {device} first"),
        ),
        Image::NoRoadmap { device, across } => note(format!(
            "the {device} finds its way across {across} with no map of it on the screen",
            across = the(across)
        )),
        Image::ShutBelow { lesion } => with(
            format!(
                "{lesion} is shut: contrast from below does not show the head",
                lesion = the(lesion)
            ),
            "inject through a catheter beyond it",
        ),
    }
}
