//! What a step needs and does not find, in plain words.

use super::said::{Said, and_the, mm, note, per_cent, spoken, with};
use crate::procedure::reason::{
    Filled, LumenNeed, Narrow, PartNeed, PayloadNeed, Precondition, RailNeed, RetrieverNeed, Use,
};
use crate::procedure::state::Direction;

pub(super) fn precondition(reason: &Precondition) -> Said {
    use Precondition as P;
    match reason {
        P::UnknownName { asked } => with(
            format!("nothing in the stack is named {asked}"),
            "name it in the stack",
        ),
        P::NotInBody { device } => with(
            format!("the {device} is not in the body"),
            format!("insert the {device} first"),
        ),
        P::AlreadyInBody { device } => with(
            format!("the {device} is in the body already"),
            "advance it, or take it out first",
        ),
        P::Follows { step, say } => note(format!("not done, as step {step} was not: {say}")),
        P::HoldsUp { steps } => note(held_up(steps)),
        P::NowhereYet { place } => with(
            format!("{place} is nowhere yet"),
            "deploy the stent, open the retriever or insert the device before its ends are used as places",
        ),
        P::BeyondPlace { device, beyond_mm } => with(
            format!(
                "the {device} is already {} mm beyond that place",
                mm(*beyond_mm)
            ),
            format!("leave this step out, or draw the {device} back to that place"),
        ),
        P::ShortOfPlace {
            device,
            short_mm,
            unit,
        } => with(
            format!(
                "the {device} is {} mm short of that place already: nothing is left to draw back",
                mm(*short_mm)
            ),
            if *unit {
                "leave this step out, or name a place nearer to the access: a unit is only drawn back"
                    .to_owned()
            } else {
                format!("leave this step out, or bring the {device} up to that place first")
            },
        ),
        P::DraggedAlong { inside, around } => with(
            format!("the {inside} lies in the {around} and would be dragged along"),
            format!("name the {inside} as part of the unit, or take it out first"),
        ),
        P::NoShape { device } => with(
            format!("the {device} has a straight tip: it turns into no ostium"),
            "name a selector catheter",
        ),
        P::ShapeFilled { device, inside } => with(
            format!("the {inside} reaches beyond the {device}'s tip and holds it straight"),
            format!("draw the {inside} back to the {device}'s tip first"),
        ),
        P::NoOstium { place } => with(
            format!("{place} is no ostium: the route turns off into no vessel there"),
            "name the landmark where the vessel begins, as common-carotid-origin",
        ),
        P::NoRunToMap { plane } => with(
            format!(
                "no run was made on plane {} since it was pointed where it looks",
                plane.in_words()
            ),
            "inject first (Contrast), then lay the map",
        ),
        P::NoPlaneThere { region } => with(
            format!(
                "no plane looks at the {}: nothing is seen",
                region.in_words()
            ),
            "point plane A or B at it (Watch)",
        ),
        P::NoseElsewhere { device, nose } => with(
            format!("the {nose} does not lie in the {device}: it cannot be its nose"),
            "name a catheter or balloon inside it",
        ),
        P::NoseBehindTip { device, nose } => with(
            format!("the {nose} does not reach beyond the {device}'s tip"),
            format!("advance the {nose} first"),
        ),
        P::SkinTaken { device, by } => with(
            format!("the {device} cannot enter at the skin beside the {by}"),
            format!("say which hub it enters: through: \"{by}\""),
        ),
        P::HubBehind { inside, device } => with(
            format!("the {inside}'s hub sits behind the {device}: it cannot come off over it"),
            format!("take the {inside} out first, or withdraw both together"),
        ),
        P::StentedLesionNarrow(Narrow {
            device,
            outer_mm,
            lesion,
            residual_mm,
        }) => with(
            format!(
                "the stented {lesion} is {residual_mm:.1} mm wide, the {device} {outer_mm:.1} mm",
                lesion = spoken(lesion)
            ),
            "post-dilate it first, or lead with a balloon or an aspiration catheter (nose)",
        ),
    }
}

/// Later steps, by their numbers, that hang on one that was not done.
fn held_up(steps: &[usize]) -> String {
    match steps {
        [one] => format!("step {one} cannot be done after it"),
        steps => {
            let numbers: Vec<String> = steps.iter().map(ToString::to_string).collect();
            format!(
                "{} later steps cannot be done after it: {}",
                numbers.len(),
                numbers.join(", ")
            )
        }
    }
}

pub(super) fn lumen_need(reason: &LumenNeed) -> Said {
    use LumenNeed as P;
    match reason {
        P::SuctionOnAlready { device } => with(
            format!("suction on the {device} is on already"),
            "leave this step out",
        ),
        P::SuctionNotOn { device } => with(
            format!("suction on the {device} is not on"),
            "leave this step out",
        ),
        P::InjectsUnderSuction { device } => with(
            format!("suction on the {device} is on"),
            "turn it off before injecting",
        ),
        P::LumenBlocked(Filled {
            device,
            occupants,
            share,
        }) => {
            let occupants = and_the(occupants);
            with(
                format!(
                    "the {device}'s lumen is blocked by the {occupants}: {} of the free flow is left",
                    per_cent(*share)
                ),
                format!("draw the {occupants} back, or inject through another lumen"),
            )
        }
    }
}

pub(super) fn rail_need(reason: &RailNeed) -> Said {
    use RailNeed as P;
    match reason {
        P::RailVanishes {
            rail,
            around,
            outside_mm,
            back_mm,
        } => with(
            format!(
                "the {rail} would vanish in the {around}: it has {} mm outside, the {around} comes back {} mm",
                mm(*outside_mm),
                mm(*back_mm)
            ),
            format!("withdraw the {rail} first, or both together"),
        ),
        P::ValveMeetsHub {
            inside,
            around,
            between_mm,
            back_mm,
        } => with(
            format!(
                "the {around}'s valve would run into the hub of the {inside}: {} mm lie between them, the {around} comes back {} mm",
                mm(*between_mm),
                mm(*back_mm)
            ),
            format!("withdraw the {inside} first, or both together"),
        ),
        P::HubOnRail { rail } => with(
            format!("the {rail} has a hub: nothing can be loaded over it from behind"),
            "load over a wire or a pusher",
        ),
        P::NoLumenForRail { device, rail } => with(
            format!("the {device} has no lumen for the {rail}"),
            "insert it beside the rail",
        ),
        P::RailElsewhere { device, rail } => with(
            format!("the {rail} leaves the body through another hub than the {device} enters"),
            "load it over the rail where the rail comes out",
        ),
        P::RapidRailShort {
            rail,
            device,
            outside_mm,
            port_mm,
            grip_mm,
        } => with(
            format!(
                "the {rail} has {} mm outside, too short to hold: the {device}'s port lies {} mm from its tip and a hand needs {} mm",
                mm(*outside_mm),
                mm(*port_mm),
                mm(*grip_mm)
            ),
            format!(
                "a rail longer by {} mm, or a shorter catheter around it",
                mm(port_mm + grip_mm - outside_mm)
            ),
        ),
    }
}

pub(super) fn part_need(reason: &PartNeed) -> Said {
    use PartNeed as P;
    match reason {
        P::ValveNarrow {
            device,
            outer_mm,
            on,
            passes_mm,
        } => with(
            format!(
                "the valve on the {on} passes {passes_mm:.2} mm, the {device} is {outer_mm:.2} mm wide"
            ),
            "put a wider valve on that hub",
        ),
        P::NoThroughLumen { device, wanted_for } => {
            let text = format!("the {device} has no lumen from hub to tip");
            match wanted_for {
                Use::Device(inside) => with(
                    format!("{text} for the {inside}"),
                    "name the catheter whose hub it enters",
                ),
                Use::Suction => with(text, "aspirate through a catheter"),
                Use::Contrast => with(text, "inject through a catheter"),
                Use::Flush => with(text, "flush a catheter"),
            }
        }
        P::PartOnRail {
            device,
            direction,
            part,
            rail,
        } => with(
            format!(
                "the {device} cannot {}: the {part} still sits on the {rail}",
                match direction {
                    Direction::Loading => "be loaded",
                    Direction::Removal => "come off",
                }
            ),
            format!("take the {part} off first (Detach)"),
        ),
        P::PartTaken { part, on } => with(
            format!("the {part} sits on the {on} already"),
            "take it off first",
        ),
        P::ClipDoesNotGrip {
            part,
            from_mm,
            to_mm,
            rail,
            outer_mm,
        } => with(
            format!(
                "the {part} grips {from_mm:.2} to {to_mm:.2} mm, the {rail} is {outer_mm:.2} mm"
            ),
            "use a clip made for that rail",
        ),
        P::ExtensionDoesNotJoin {
            part,
            from_mm,
            to_mm,
            rail,
            outer_mm,
        } => with(
            format!(
                "the {part} joins rails of {from_mm:.2} to {to_mm:.2} mm, the {rail} is {outer_mm:.2} mm"
            ),
            "use an extension made for that rail",
        ),
        P::ExtensionWide {
            device,
            part,
            outer_mm,
            lumen_mm,
        } => with(
            format!(
                "the {part} is {outer_mm:.2} mm wide at its joint, the {device}'s lumen {lumen_mm:.2} mm"
            ),
            "take it off first (Detach), or use a thinner one",
        ),
        P::ToolNarrow {
            part,
            inner_mm,
            rail,
            outer_mm,
        } => with(
            format!(
                "the {part}'s lumen is {inner_mm:.2} mm, the {rail} is {outer_mm:.2} mm where it is loaded"
            ),
            "use a wider insertion tool",
        ),
        P::ValveIsNoClip { part } => with(
            format!("the {part} is a valve"),
            "list valves with the catheter in the stack",
        ),
        P::PartOnNothing { part } => {
            with(format!("the {part} sits on nothing"), "leave this step out")
        }
    }
}

pub(super) fn payload_need(reason: &PayloadNeed) -> Said {
    use PayloadNeed as P;
    match reason {
        P::NoStent { device } => with(
            format!("the {device} carries no stent"),
            "name a stent system",
        ),
        P::StentOut { device } => with(
            format!("the {device} is released already"),
            "leave this step out",
        ),
        P::OpensInCatheter { device, inside_mm } => with(
            format!(
                "the {device} would open {} mm inside the catheter around it",
                mm(*inside_mm)
            ),
            "draw the guide back below the stent first",
        ),
        P::NoBalloon { device } => {
            with(format!("the {device} carries no balloon"), "name a balloon")
        }
        P::BalloonUp { device } => with(
            format!("the {device} is inflated: it is not moved like that"),
            "deflate it first",
        ),
        P::BalloonUpAlready { device } => with(
            format!("the {device} is inflated already"),
            "leave this step out",
        ),
        P::BalloonNotUp { device } => with(
            format!("the {device} is not inflated"),
            "leave this step out",
        ),
        P::FilledByVolume { device } => with(
            format!("the {device} is filled by volume, not to a pressure"),
            "leave pressure_atm out",
        ),
        P::AboveRated {
            device,
            pressure_atm,
            rated_atm,
        } => with(
            format!("{pressure_atm} atm is above the {device}'s rated {rated_atm} atm"),
            "inflate to the rated pressure at most, or take a wider balloon",
        ),
    }
}

pub(super) fn retriever_need(reason: &RetrieverNeed) -> Said {
    use RetrieverNeed as P;
    match reason {
        P::NotOpen { device } => with(
            format!("the {device} does not stand open"),
            "look at its markers once it is open",
        ),
        P::OpenPushedForward { device } => with(
            format!("the {device} stands open: an open retriever is not pushed forward"),
            "re-sheathe it by advancing the microcatheter over it first",
        ),
        P::BareRetriever { device } => with(
            format!("the {device} cannot enter bare: it opens wherever nothing folds it"),
            "bring it through a microcatheter (LoadRetriever)",
        ),
        P::OpenExchanged { device } => with(
            format!(
                "the {device} stands open: it is pulled under suction as a unit, not exchanged"
            ),
            "use WithdrawTogether, or re-sheathe it first",
        ),
        P::LumenTaken { by, catheter } => with(
            format!("the {by} is still in the {catheter}: one lumen takes one of them"),
            format!("remove the {by} first"),
        ),
        P::ShortOfClot { catheter, short_mm } => with(
            format!(
                "the {catheter}'s tip lies {} mm short of the far end of the clot",
                mm(*short_mm)
            ),
            format!("bring the {catheter} beyond the clot before the retriever is loaded"),
        ),
        P::OpenAlready { device } => with(
            format!("the {device} stands open already"),
            "leave this step out",
        ),
        P::NoRetriever { device } => with(
            format!("the {device} is no retriever"),
            "unsheathe a retriever",
        ),
        P::Uncovered { device } => with(
            format!("nothing covers the {device}"),
            "load it through a microcatheter first",
        ),
        P::SheathShort { sheath, device } => with(
            format!("the {sheath} does not cover the {device}"),
            "load it to the microcatheter's tip first",
        ),
        P::PusherVanishes {
            device,
            sheath,
            outside_mm,
        } => with(
            format!(
                "the {device} has {} mm outside the {sheath}: it would vanish in it",
                mm(*outside_mm)
            ),
            "a longer pusher or a shorter microcatheter",
        ),
    }
}
