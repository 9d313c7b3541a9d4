//! Reasons in plain words: one sentence each, without its capital and full stop, and what would help.
//! What a step needs and does not find is in `needs_words`, what stents, balloons and retrievers are told in `acts_words`.

use super::acts_words::{ballooning, retrieving, stenting};
use super::needs_words::{part_need, payload_need, precondition, rail_need, retriever_need};
use super::{
    Access, Exchange, Fit, Force, Image, Lesion, Lumen, Reach, Reason, StentEdge, Unknown, Vessel,
    Why,
};
use crate::procedure::edge_steps::LEAST_STEP_MM;
use crate::procedure::{Direction, Likelihood, Topic};
use crate::units::fixed;

/// A sentence, and what would help.
pub(super) type Said = (String, Option<String>);

pub(super) fn note(text: String) -> Said {
    (text, None)
}

pub(super) fn with(text: String, help: impl Into<String>) -> Said {
    (text, Some(help.into()))
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

    /// The sentence, and what would help where something would.
    pub(in crate::procedure) fn said(&self) -> Said {
        match self {
            Self::Reach(reason) => reach(reason),
            Self::Fit(reason) => fit(reason),
            Self::Vessel(reason) => vessel(reason),
            Self::Lesion(reason) => lesion(reason),
            Self::Exchange(reason) => exchange(reason),
            Self::Precondition(reason) => precondition(reason),
            Self::RailNeed(reason) => rail_need(reason),
            Self::PartNeed(reason) => part_need(reason),
            Self::PayloadNeed(reason) => payload_need(reason),
            Self::RetrieverNeed(reason) => retriever_need(reason),
            Self::Access(reason) => access(reason),
            Self::Stenting(reason) => stenting(reason),
            Self::Ballooning(reason) => ballooning(reason),
            Self::Retrieving(reason) => retrieving(reason),
            Self::StentEdge(reason) => stent_edge(reason),
            Self::Force(reason) => force(reason),
            Self::Unknown(reason) => unknown(reason),
            Self::Lumen(reason) => lumen(reason),
            Self::Image(reason) => image(reason),
        }
    }
}

/// A length to the millimetre.
pub(super) fn mm(value_mm: f64) -> String {
    fixed(value_mm, 0)
}

/// A share as per cent of the samples.
#[must_use]
pub fn samples(share: f64) -> String {
    let percent = 100.0 * share;
    if percent <= 0.0 {
        "in none of the samples".into()
    } else if percent < 0.1 {
        "in less than 0.1 % of samples".into()
    } else if percent < 10.0 {
        format!("in {percent:.1} % of samples")
    } else {
        format!("in {percent:.0} % of samples")
    }
}

fn reach(reason: &Reach) -> Said {
    match reason {
        Reach::RouteEnds { device, short_mm } => with(
            format!(
                "the route ends {} mm short of where the {device} should go",
                mm(*short_mm)
            ),
            "choose a target further out or a nearer place",
        ),
        Reach::ThereAlready { device, beyond_mm } => note(format!(
            "the {device} lies {} mm beyond that place already, carried on by what moved before: this step moves nothing",
            fixed(*beyond_mm, 1)
        )),
        Reach::TooShort {
            device,
            reaches,
            short_mm,
            usable_mm,
            grip_mm,
            around,
        } => {
            let end = grip_mm.map_or_else(
                || ", with its hub against the valve".to_owned(),
                |grip| format!(", with {} mm left to hold it by", mm(grip)),
            );
            let text = format!(
                "the {device} is too short: its tip comes to {}, {} mm short of where it should be{end}",
                reaches.at,
                mm(*short_mm)
            );
            let longer = format!(
                "a {device} of {} mm or more (it has {})",
                mm(longer_mm(*usable_mm, *short_mm)),
                mm(*usable_mm)
            );
            match around {
                None => with(text, longer),
                Some(outer) => with(
                    text,
                    format!("{longer}, a shorter {outer} or fewer valves on it"),
                ),
            }
        }
    }
}

/// Usable length that would do where a device of this length is short, mm: to the next centimetre, as
/// devices are sold.
#[must_use]
pub fn longer_mm(usable_mm: f64, short_mm: f64) -> f64 {
    10.0 * (0.1 * (usable_mm + short_mm)).ceil()
}

fn fit(reason: &Fit) -> Said {
    let help = "a thinner device inside or a wider one around it";
    match reason {
        Fit::Tight {
            inside,
            around,
            room,
        } => with(
            format!(
                "the {} runs tight in the {around}: {room}",
                inside.join(" beside the ")
            ),
            help,
        ),
        Fit::DoesNotFit {
            inside,
            around,
            room,
        } => with(
            format!(
                "the {} does not fit in the {around}: {room}",
                inside.join(" beside the ")
            ),
            help,
        ),
    }
}

fn vessel(reason: &Vessel) -> Said {
    match reason {
        Vessel::WiderThanVessel {
            device,
            outer_mm,
            lumen_mm,
            place,
        } => with(
            format!(
                "the {device} is {outer_mm:.2} mm wide, the vessel {lumen_mm:.2} mm, {}",
                place.at
            ),
            "a thinner device or another access",
        ),
        Vessel::Unled { device, place } => with(
            format!(
                "the {device} is pushed up to {} with nothing inside that leads it beyond the arch",
                place.at
            ),
            "bring it over a wire and a catheter that tapers",
        ),
        Vessel::FillsAccess {
            device,
            outer_mm,
            lumen_mm,
        } => with(
            format!(
                "the {device} fills {:.0} % of the access artery ({outer_mm:.2} of {lumen_mm:.2} mm)",
                100.0 * outer_mm / lumen_mm
            ),
            "a thinner guide, or femoral access",
        ),
    }
}

fn lesion(reason: &Lesion) -> Said {
    let against = |device: &str, outer_mm: f64, lesion: &str, residual_mm: f64| {
        format!("the {device} is {outer_mm:.2} mm wide, {lesion} leaves {residual_mm:.2} mm")
    };
    match reason {
        Lesion::RigidRing {
            device,
            outer_mm,
            lesion,
            residual_mm,
        } => with(
            format!(
                "{} in a rigid ring: it does not pass",
                against(device, *outer_mm, lesion, *residual_mm)
            ),
            "a thinner device, or treat the ring first",
        ),
        Lesion::WireFindsWay {
            device,
            outer_mm,
            lesion,
            residual_mm,
        } => note(format!(
            "{}: the wire finds its way or does not",
            against(device, *outer_mm, lesion, *residual_mm)
        )),
        Lesion::Dilates {
            device,
            outer_mm,
            lesion,
            residual_mm,
        } => with(
            format!(
                "{}: it dilates the lesion as it passes, needs pre-dilation",
                against(device, *outer_mm, lesion, *residual_mm)
            ),
            "pre-dilate with a small balloon",
        ),
        Lesion::RidesUp {
            device,
            outer_mm,
            nose,
            lesion,
            residual_mm,
        } => with(
            format!(
                "the {device} ({outer_mm:.1} mm) rides up over the {nose} through the stented {lesion} ({residual_mm:.1} mm)"
            ),
            "post-dilate first where time allows",
        ),
    }
}

fn exchange(reason: &Exchange) -> Said {
    match reason {
        Exchange::RailTooShortToHold {
            rail,
            device,
            outside_mm,
        } => with(
            format!(
                "the {rail} has {} mm outside the {device}: too short to hold while that moves",
                mm(*outside_mm)
            ),
            "a longer rail or a shorter catheter",
        ),
        Exchange::RailOutOfHand {
            rail,
            device,
            direction,
            blind_mm,
            outside_mm,
            needed_mm,
            held_by_retriever,
        } => with(
            format!(
                "the {rail} is out of hand for {} mm of the {device}'s way {}: {} mm of it lie outside, {} mm would be needed; {}",
                mm(*blind_mm),
                match direction {
                    Direction::Loading => "in",
                    Direction::Removal => "out",
                },
                mm(*outside_mm),
                mm(*needed_mm),
                if *held_by_retriever {
                    "only the open retriever and friction hold it"
                } else {
                    "only friction holds it"
                }
            ),
            format!(
                "a rail longer by {} mm, a rapid-exchange device, or an assistant who watches the tip",
                mm(*blind_mm)
            ),
        ),
        Exchange::RailDragged {
            rail,
            device,
            drag_n,
            holds_n,
        } => {
            let text = format!(
                "with nobody holding it, the {device} drags on the {rail} with {} N; the open retriever holds on with {} N",
                fixed(*drag_n, 2),
                fixed(*holds_n, 2)
            );
            let help = "a longer rail, a rapid-exchange device, or less friction";
            if drag_n >= holds_n {
                with(format!("{text}: the rail is lost"), help)
            } else {
                with(text, help)
            }
        }
    }
}

fn access(reason: &Access) -> Said {
    match reason {
        Access::GivenUp { lesion } => note(format!(
            "access across {lesion} is given up: nothing lies beyond it any more"
        )),
        Access::CrossedAgain { lesion } => with(
            format!("{lesion} has to be crossed again: access was given up before"),
            "leave a wire, a pusher or a catheter across until the neck is finished",
        ),
        Access::TrueLumenUnproven { catheter, lesion } => with(
            format!(
                "nothing has shown yet that the {catheter} lies in the true lumen beyond {lesion}"
            ),
            format!("inject a little contrast through the {catheter} beyond the lesion"),
        ),
    }
}

fn stent_edge(reason: &StentEdge) -> Said {
    match reason {
        StentEdge::PassesInside {
            device,
            stent,
            edge,
            cover,
            beyond_mm,
            under_load_mm,
            share,
            likelihood,
            helps,
        } => crossed(
            format!(
                "the open {device} passes the {} of the {stent} inside the {cover}, whose tip lies {} mm beyond it, {} mm under load: {}",
                edge.in_words(),
                mm(*beyond_mm),
                mm(*under_load_mm),
                caught(*likelihood, *share)
            ),
            *likelihood,
            helps,
        ),
        StentEdge::DrawnBare {
            device,
            stent,
            edge,
            nearest,
            share,
            likelihood,
            helps,
        } => {
            let by = match nearest {
                None => "no catheter covers it".to_owned(),
                Some((cover, beyond_mm)) if *beyond_mm < 0.0 => {
                    format!("the {cover}'s tip lies {} mm below it", mm(-beyond_mm))
                }
                Some((cover, beyond_mm)) => format!(
                    "the {cover}'s tip, {} mm beyond it, falls back under the pull",
                    mm(*beyond_mm)
                ),
            };
            crossed(
                format!(
                    "the open {device} is drawn bare across the {} of the {stent}: {by}; {}",
                    edge.in_words(),
                    caught(*likelihood, *share)
                ),
                *likelihood,
                helps,
            )
        }
        StentEdge::RimStandsOff {
            stent,
            edge,
            gap_mm,
        } => with(
            format!(
                "the {} of the {stent} stands off the wall by up to {gap_mm:.2} mm: what passes may go behind it",
                edge.in_words()
            ),
            "a wider or a softer stent, post-dilation, or an end in a straighter stretch",
        ),
        StentEdge::StepPasses {
            device,
            over,
            stent,
            edge,
            forward,
            faces,
            step_mm,
            behind_tip_mm,
            share,
            likelihood,
            helps,
        } => {
            let over = over
                .as_ref()
                .map_or_else(String::new, |over| format!(" over the {over}"));
            let way = if *forward { "up" } else { "back" };
            let leaving = if *faces { "" } else { " as it leaves it" };
            let with = if *step_mm < LEAST_STEP_MM {
                "no step meets it".to_owned()
            } else {
                let behind = if *behind_tip_mm > 0.0 {
                    format!(", {} mm behind its tip", mm(*behind_tip_mm))
                } else {
                    String::new()
                };
                let caught = caught(*likelihood, *share);
                format!("a step of {step_mm:.2} mm{behind}, {caught}")
            };
            crossed(
                format!(
                    "the {device}{over} goes {way} past the {} of the {stent}{leaving}: {with}",
                    edge.in_words()
                ),
                *likelihood,
                helps,
            )
        }
    }
}

/// How likely it is to be caught, with the share of samples beside it.
fn caught(likelihood: Likelihood, share: f64) -> String {
    format!("catching is {}, {}", likelihood.in_words(), samples(share))
}

/// A crossing, with what would help where it may catch.
fn crossed(text: String, likelihood: Likelihood, helps: &[(String, f64)]) -> Said {
    if likelihood == Likelihood::Unlikely {
        return note(text);
    }
    if helps.is_empty() {
        return with(
            text,
            "cross it inside a catheter, or leave the stent until the clot is out",
        );
    }
    let helps = helps
        .iter()
        .map(|(what, share)| format!("{what} ({:.0} %)", 100.0 * share));
    with(text, helps.collect::<Vec<_>>().join("; or "))
}

fn force(reason: &Force) -> Said {
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
            format!("the {device}'s tip falls back by {back_mm:.1} mm while it is held"),
            "hold it forward, or give it more support",
        ),
        Force::JumpsForward { device, forward_mm } => note(format!(
            "the {device}'s tip jumps forward by {forward_mm:.1} mm while it is held"
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

fn unknown(reason: &Unknown) -> Said {
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

fn lumen(reason: &Lumen) -> Said {
    match reason {
        Lumen::SuctionMovesNothing {
            device,
            occupants,
            share,
        } => {
            let occupants = occupants.join(" and the ");
            with(
                format!(
                    "suction on the {device} moves nothing while the {occupants} fills its lumen ({:.2} % of the free flow)",
                    100.0 * share
                ),
                format!("it works once the {occupants} is drawn back"),
            )
        }
        Lumen::PoorRun {
            device,
            occupants,
            share,
        } => note(format!(
            "the {} leaves {:.0} % of the {device}'s flow: a poor run",
            occupants.join(" and the "),
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

fn image(reason: &Image) -> Said {
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
        Image::ShutBelow { lesion } => with(
            format!("{lesion} is shut: contrast from below does not show the head"),
            "inject through a catheter beyond it",
        ),
    }
}
