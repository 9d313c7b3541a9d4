//! What a device meets on its way, in plain words.

use super::said::{Said, cm, mm, note, spoken, the, with};
use crate::procedure::reason::{Access, Exchange, Fit, Lesion, Narrow, Reach, Vessel};
use crate::procedure::state::Direction;
use crate::units::fixed;

pub(super) fn reach(reason: &Reach) -> Said {
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
            mm(*beyond_mm)
        )),
        Reach::TooShort {
            device,
            reaches,
            short_mm,
            usable_mm,
            grip_mm,
            around,
            sheath,
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
            with(
                text,
                longer + &shorter_around(around.as_deref(), sheath.as_deref()),
            )
        }
    }
}

/// What around a device that is too short could be shorter or left out.
fn shorter_around(around: Option<&str>, sheath: Option<&str>) -> String {
    match (around, sheath) {
        (Some(outer), _) => format!(", a shorter {outer} or fewer valves on it"),
        (None, Some(sheath)) => {
            format!(", or the {sheath} left out: it goes in over its own dilator")
        }
        (None, None) => String::new(),
    }
}

/// Usable length that would do where a device of this length is short, mm: to the next centimetre, as
/// devices are sold.
#[must_use]
pub fn longer_mm(usable_mm: f64, short_mm: f64) -> f64 {
    10.0 * (0.1 * (usable_mm + short_mm)).ceil()
}

pub(super) fn fit(reason: &Fit) -> Said {
    let (found, how) = match reason {
        Fit::Tight(found) => (found, "runs tight"),
        Fit::DoesNotFit(found) => (found, "does not fit"),
    };
    let inside = found.inside.join(" beside the ");
    let place = found.place.as_ref().map_or_else(String::new, |place| {
        format!("; coming from the hub, that begins {}", place.at)
    });
    with(
        format!(
            "the {inside} {how} in the {}: {}{place}",
            found.around, found.room
        ),
        "a thinner device inside or a wider one around it",
    )
}

pub(super) fn vessel(reason: &Vessel) -> Said {
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
        Vessel::Unengaged {
            device,
            beyond_mm,
            place,
        } => with(
            format!(
                "the {device} runs {} mm beyond the ostium {} that no catheter sits in: it slips out when anything follows it",
                mm(*beyond_mm),
                place.at
            ),
            "bring a shaped catheter into the ostium first (Engage), then the wire through it",
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

pub(super) fn lesion(reason: &Lesion) -> Said {
    let against = |found: &Narrow| {
        format!(
            "the {} is {:.2} mm wide, {} leaves {:.2} mm",
            found.device,
            found.outer_mm,
            the(&found.lesion),
            found.residual_mm
        )
    };
    match reason {
        Lesion::RigidRing(found) => with(
            format!("{} in a rigid ring: it does not pass", against(found)),
            "a thinner device, or treat the ring first",
        ),
        Lesion::WireFindsWay(found) => note(format!(
            "{}: crossing with a wire is assumed, it finds its way or does not",
            against(found)
        )),
        Lesion::Dilates {
            narrow,
            needed_n,
            needed_range_n: [_, most_n],
            leaves_mm,
        } => with(
            format!(
                "{}: it dilates the lesion as it passes, which takes {} there (at most {}), and leaves {leaves_mm:.1} mm",
                against(narrow),
                newtons(*needed_n),
                newtons(*most_n).trim_start_matches("about ")
            ),
            "pre-dilate with a small balloon",
        ),
        Lesion::Ledge(found) => with(
            format!(
                "{}: its open rim stands {:.2} mm above what leads it and may stop there; nobody can tell",
                against(&found.narrow),
                found.step_mm
            ),
            opened_first(found.balloon_mm, found.dilated_later),
        ),
        Lesion::OnlyAWire(found) => with(
            format!(
                "{}: all but shut, it lets a wire through at most",
                against(&found.narrow)
            ),
            opened_first(found.balloon_mm, found.dilated_later),
        ),
        Lesion::NotThrough {
            narrow,
            needed_n,
            arrives_n,
            limit_n,
            balloon_mm,
            dilated_later,
        } => with(
            format!(
                "{}: going through takes {} there, and {} arrives for {limit_n:.0} N at the hub",
                against(narrow),
                newtons(*needed_n),
                newtons(*arrives_n)
            ),
            opened_first(*balloon_mm, *dilated_later),
        ),
        Lesion::RidesUp {
            device,
            outer_mm,
            nose,
            lesion,
            residual_mm,
        } => with(
            format!(
                "the {device} ({outer_mm:.1} mm) goes up over the {nose} through the stented {lesion} ({residual_mm:.1} mm)",
                lesion = spoken(lesion)
            ),
            "post-dilate first where time allows",
        ),
    }
}

/// A force to two digits after the point, or as less than that.
fn newtons(force_n: f64) -> String {
    if force_n < 0.01 {
        "less than 0.01 N".to_owned()
    } else {
        format!("about {} N", fixed(force_n, 2))
    }
}

/// What would open a lesion enough.
fn opened_first(balloon_mm: Option<f64>, dilated_later: bool) -> String {
    let how = match balloon_mm {
        Some(balloon_mm) => format!(
            "pre-dilate with a balloon of {balloon_mm:.1} mm, or lead it with something that tapers"
        ),
        None => "a thinner device, or a stent first".to_owned(),
    };
    if dilated_later {
        format!("{how}; the script dilates only afterwards")
    } else {
        how
    }
}

pub(super) fn exchange(reason: &Exchange) -> Said {
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
                "nobody holds the {rail} for {} cm of the {device}'s way {}: {} cm of it lie outside, {} cm would be needed; {}",
                cm(*blind_mm),
                match direction {
                    Direction::Loading => "in",
                    Direction::Removal => "out",
                },
                cm(*outside_mm),
                cm(*needed_mm),
                if *held_by_retriever {
                    "only the open retriever and friction hold it"
                } else {
                    "only friction holds it"
                }
            ),
            format!(
                "a rail longer by {} cm or an extension on it, saline pressed through while the {device} comes off (Flush), a rapid-exchange device, an intermediate catheter from the start, or an assistant who watches the tip",
                cm(*blind_mm)
            ),
        ),
        Exchange::RailDragged {
            rail,
            device,
            drag_n,
            holds_n,
            flush_n,
        } => {
            let flushed = if *flush_n > 0.0 {
                format!(", saline pushes it forward with {} N", fixed(*flush_n, 2))
            } else {
                String::new()
            };
            let text = format!(
                "with nobody holding it, the {device} drags on the {rail} with {} N{flushed}; the open retriever holds on with {} N",
                fixed(*drag_n, 2),
                fixed(*holds_n, 2)
            );
            let help = "a longer rail or an extension, saline pressed through (Flush), a rapid-exchange device, or less friction";
            if drag_n - flush_n >= *holds_n {
                with(format!("{text}: the rail is lost"), help)
            } else {
                with(text, help)
            }
        }
    }
}

pub(super) fn access(reason: &Access) -> Said {
    match reason {
        Access::GivenUp { lesion } => note(format!(
            "access across {lesion} is given up: nothing lies beyond it any more",
            lesion = the(lesion)
        )),
        Access::CrossedAgain { lesion } => with(
            format!(
                "{lesion} has to be crossed again: access was given up before",
                lesion = the(lesion)
            ),
            "leave a wire, a pusher or a catheter across until the neck is finished",
        ),
        Access::CurveTooSimple {
            device,
            curve_deg,
            turn_deg,
            ostium,
        } => with(
            format!(
                "the {device}'s curve turns by {} degrees, the way into {} by {}: it slides past",
                fixed(*curve_deg, 0),
                the(ostium),
                fixed(*turn_deg, 0)
            ),
            "a selector with a reverse curve",
        ),
        Access::TrueLumenUnproven { catheter, lesion } => with(
            format!(
                "nothing has shown yet that the {catheter} lies in the true lumen beyond {lesion}",
                lesion = the(lesion)
            ),
            format!("inject a little contrast through the {catheter} beyond the lesion"),
        ),
    }
}
