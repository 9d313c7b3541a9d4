//! What stents, balloons and retrievers are told, in plain words.

use super::said::{Said, beside, mm, note, the, with};
use crate::procedure::reason::{Ballooning, Narrowing, OpenedBy, Retrieving, Stenting};
use crate::units::fixed;

pub(super) fn retrieving(reason: &Retrieving) -> Said {
    use Retrieving as T;
    match reason {
        T::RetrieverSize {
            device,
            from_mm,
            to_mm,
            vessel_mm,
        } => with(
            format!(
                "the {device} is meant for vessels of {from_mm:.1} to {to_mm:.1} mm, it opens in {vessel_mm:.1} mm"
            ),
            "another size of retriever",
        ),
        T::NoWayBack { device, sheath } => note(format!(
            "from here on the {device} cannot be folded again: the {sheath} is off it"
        )),
        T::Markers { device, moved_mm } => {
            let moved = moved_mm.abs();
            let text = if moved < 0.5 {
                format!("the {device}'s markers lie where they lay")
            } else {
                format!(
                    "the {device}'s markers lie {} from where they lay",
                    beside(*moved_mm, "further on", "further back")
                )
            };
            with(
                text,
                "see whether it still lies across the clot before going on",
            )
        }
        T::ClotRunsOn {
            clot,
            from,
            into,
            beyond_mm,
        } => note(format!(
            "the {clot} is longer than the {from}: it runs on into the {into} by {} mm",
            mm(*beyond_mm)
        )),
        T::MissesClot {
            device,
            beyond_mm,
            before_mm,
        } => with(
            format!(
                "the open {device} misses part of the clot: it ends {} the clot's far end and begins {} its near end",
                beside(*beyond_mm, "beyond", "short of"),
                beside(*before_mm, "before", "beyond")
            ),
            "a longer retriever, or load it further out or in",
        ),
        T::OpenOverClot {
            device,
            beyond_mm,
            before_mm,
            length_mm,
            vessel_mm: (narrowest_mm, widest_mm),
        } => note(format!(
            "the {device} stands open over the clot with {} mm beyond it and {} mm before it: {} mm long in a vessel of {narrowest_mm:.1} to {widest_mm:.1} mm",
            mm(*beyond_mm),
            mm(*before_mm),
            mm(*length_mm)
        )),
        T::ClotThroughNarrow {
            device,
            through,
            lumen_mm,
            cord_mm,
            drag_n,
            stripped,
        } => {
            let place = match through {
                Narrowing::Lesion(lesion) => the(lesion),
                Narrowing::Mouth(catheter) => format!("the mouth of the {catheter}"),
                Narrowing::Vessel => "the vessel below".to_owned(),
            };
            with(
                format!(
                    "the {device} draws clot and struts, a cord of {cord_mm:.1} mm, through {place} ({lumen_mm:.1} mm): that clot is stripped off is {}; its struts alone drag with {drag_n:.2} N there",
                    stripped.in_words()
                ),
                match through {
                    Narrowing::Mouth(catheter) => {
                        format!("suction on the {catheter}, and a slow pull")
                    }
                    _ => "open the lesion first, or bring a catheter beyond it that swallows clot and retriever".to_owned(),
                },
            )
        }
        T::RetrieverSlides {
            device,
            on_wall_n,
            on_clot_n,
            at_hub_n,
            by_rods,
        } => note(format!(
            "the open {device} starts to slide at {} N on the wall and {} N on clot, {} N in all; at the hub that takes {} N{}, before suction and clot that sticks (bench models from simple to most tortuous: 0.24 to 1.6 N, Front. Neurol. 15, 1486738, 2024)",
            fixed(*on_wall_n, 2),
            fixed(*on_clot_n, 2),
            fixed(on_wall_n + on_clot_n, 2),
            fixed(*at_hub_n, 2),
            if *by_rods {
                ""
            } else {
                " for a limp string in the bends below"
            }
        )),
    }
}

pub(super) fn stenting(reason: &Stenting) -> Said {
    use Stenting as T;
    match reason {
        T::StentLies { from, to } => note(format!(
            "the stent lies from {} to {}, {} mm long",
            from.at,
            to.at,
            mm(to.station_mm - from.station_mm)
        )),
        T::StentTooNarrow {
            device,
            free_mm,
            vessel_mm,
        } => with(
            format!(
                "the {device} is {free_mm:.1} mm wide at rest, the vessel {vessel_mm:.1} mm where it lands: it does not reach the wall"
            ),
            "a wider stent",
        ),
        T::StentOversize {
            device,
            oversize_mm,
            usual_mm,
        } => with(
            format!(
                "the {device} is {oversize_mm:.1} mm wider at rest than the vessel where it lands; {} to {} mm are usual",
                usual_mm.0, usual_mm.1
            ),
            "another diameter",
        ),
        T::StentOffBulb {
            device,
            free_mm,
            widest_mm,
        } => with(
            format!(
                "the {device} ({free_mm:.1} mm at rest) does not reach the wall in the bulb ({widest_mm:.1} mm)"
            ),
            "a wider stent",
        ),
        T::LeavesBare {
            lesion,
            below_mm,
            above_mm,
        } => with(
            format!(
                "the stent leaves part of {} bare: it begins {} its lower end and ends {} its upper end",
                the(lesion),
                beside(*below_mm, "below", "above"),
                beside(*above_mm, "above", "below")
            ),
            "a longer stent, or release it elsewhere",
        ),
        T::LittleCover {
            lesion,
            below_mm,
            above_mm,
            wanted_mm,
        } => with(
            format!(
                "the stent covers {} mm of healthy wall below {} and {} mm above it; {} mm are wanted",
                mm(*below_mm),
                the(lesion),
                mm(*above_mm),
                mm(*wanted_mm)
            ),
            "a longer stent, or release it elsewhere",
        ),
        T::CoversNothing { device } => with(
            format!("the {device} covers no lesion where it is released"),
            "release it across the lesion",
        ),
    }
}

pub(super) fn ballooning(reason: &Ballooning) -> Said {
    use Ballooning as T;
    match reason {
        T::Opened {
            lesion,
            by,
            lumen_mm,
            nascet_percent,
            ecst_percent,
            nascet_range_percent,
        } => {
            let by = match by {
                OpenedBy::StentAlone => "the stent alone",
                OpenedBy::PreDilation => "pre-dilation",
                OpenedBy::PostDilation => "post-dilation",
            };
            let range = nascet_range_percent.map_or_else(String::new, |[stiff, soft]| {
                format!(
                    " (NASCET {} to {} % for plaque three times stiffer or softer than calibrated)",
                    fixed(stiff, 0),
                    fixed(soft, 0)
                )
            });
            note(format!(
                "estimate: {by} leaves {lumen_mm:.1} mm in {}, NASCET {} %, ECST {} %{range}",
                the(lesion),
                fixed(*nascet_percent, 0),
                fixed(*ecst_percent, 0)
            ))
        }
        T::DoesNotStopFlow {
            device,
            opens_mm,
            vessel_mm,
        } => with(
            format!(
                "the {device} opens to {opens_mm:.1} mm, the vessel is {vessel_mm:.1} mm: it does not stop the flow"
            ),
            "move it to a narrower stretch",
        ),
        T::BalloonWide {
            lesion,
            opens_mm,
            reference_mm,
            fitting_mm,
        } => with(
            format!(
                "the balloon opens to {opens_mm:.1} mm, wider than the normal artery beyond {lesion} ({reference_mm:.1} mm)",
                lesion = the(lesion)
            ),
            format!("a balloon no wider than the distal artery: {fitting_mm:.1} mm"),
        ),
        T::DilatesDissection { lesion } => with(
            format!(
                "{lesion} is dissected: a balloon there can extend the flap",
                lesion = the(lesion)
            ),
            "stent first, dilate gently if at all",
        ),
        T::BalloonOpens {
            device,
            pressure_atm,
            opens_mm,
            lesion,
            tension_n_per_mm,
        } => note(format!(
            "at {pressure_atm} atm the {device} opens to {opens_mm:.1} mm in {lesion}; its wall carries {tension_n_per_mm:.1} N per mm",
            lesion = the(lesion)
        )),
        T::BalloonBeyondStent { lesion } => with(
            format!(
                "the balloon reaches beyond the stent in {lesion}",
                lesion = the(lesion)
            ),
            "keep it inside the stent",
        ),
        T::BalloonMissesLesion { device } => with(
            format!("the {device} is not across the middle of any lesion"),
            "bring its markers across the lesion",
        ),
    }
}
