//! What fits in what: coaxial, side by side and through a wire lumen.
//!
//! Every function takes devices at given places: a *station* is a place along the route in mm,
//! growing away from the access site, and a device whose tip stands at `tip_mm` covers
//! `tip_mm - usable length` to `tip_mm`. Who holds whom is the caller's knowledge; nothing here
//! guesses it. Profiles and lumens are linear between their lines and every line, every step and
//! both ends of the stretch are looked at, so the tightest spot is exact (for three and more
//! shafts side by side see [`side_by_side`]).
//!
//! The answer holds for round, undeformed cross sections. It says nothing about force or
//! friction, nor about hubs, which never enter another device.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a negated comparison also refuses NaN, which is meant"
)]

use super::fit::ROUNDING_MM;
use super::profile::cells_between;
use super::{Device, Fit, FitRules, LumenKind, Relation, Spot, bundle_diameter_mm};

/// Longest cell in which three or more tapering shafts are compared at its ends only, mm. The
/// smallest lumen around them is not linear in their diameters; over 2 mm of a 0.1 mm/mm taper it
/// departs from a straight line by a few micrometres.
const BUNDLE_CELL_MM: f64 = 2.0;

/// One spot looked at.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    clearance_mm: f64,
    outer_mm: f64,
    inner_mm: f64,
    at: Spot,
}

/// Whether `next` is tighter than the best so far; NaN counts as tightest.
fn is_tighter(best: Option<Candidate>, next: Candidate) -> bool {
    best.is_none_or(|b| {
        !b.clearance_mm.is_nan() && !(next.clearance_mm >= b.clearance_mm - ROUNDING_MM)
    })
}

fn keep_tighter(best: &mut Option<Candidate>, next: Candidate) {
    if is_tighter(*best, next) {
        *best = Some(next);
    }
}

/// How `inner` runs in the lumen of `outer`, wherever both lie: in a full lumen up to the hub, in
/// rapid exchange from the tip to the port.
///
/// Tips are stations, mm. None when they do not overlap, or `outer` is solid.
///
/// Used for a wire in a catheter, a pusher in a wire lumen, a retriever folded in its
/// microcatheter (its profile near the tip is the folded one), a catheter in a guide.
#[must_use]
pub fn coaxial(
    inner: &Device,
    inner_tip_mm: f64,
    outer: &Device,
    outer_tip_mm: f64,
    rules: &FitRules,
) -> Option<Fit> {
    let lumen_mm = outer.lumen_length_mm()?;
    let from = (outer_tip_mm - lumen_mm).max(inner_tip_mm - inner.usable_length_mm);
    let to = outer_tip_mm.min(inner_tip_mm);
    let mut best = None;
    let breaks = lines_of(inner, inner_tip_mm).chain(lines_of(outer, outer_tip_mm));
    for (near, far) in cells_between(from, to, breaks) {
        let inside = f64::midpoint(near, far);
        for station in [near, far] {
            let (a, b) = (inner_tip_mm - station, outer_tip_mm - station);
            keep_tighter(
                &mut best,
                pair(
                    inner.section_in_cell(a, inner_tip_mm - inside).outer_mm,
                    outer.section_in_cell(b, outer_tip_mm - inside).inner_mm,
                    Spot {
                        station_mm: Some(station),
                        from_tip_mm: a,
                        container_from_tip_mm: Some(b),
                    },
                ),
            );
        }
    }
    best.map(|tightest| coaxial_fit(inner, outer, tightest, rules))
}

/// How devices lie beside each other in the lumen of `container` between two stations, mm.
///
/// Each device is given with the station of its tip and counts where it lies; the first one's
/// distance from its tip is reported. Give each stretch only the devices that do *not* hold each
/// other there: a rapid-exchange shaft lies beside its rail up to its port only.
///
/// Two devices need the sum of their diameters, three the circle around three touching circles,
/// more the best arrangement found, all by [`bundle_diameter_mm`]. With three and more, tapers are
/// compared every 2 mm.
///
/// None when nowhere two of them lie in the lumen together.
#[must_use]
pub fn side_by_side(
    devices: &[(&Device, f64)],
    container: &Device,
    container_tip_mm: f64,
    from_mm: f64,
    to_mm: f64,
    rules: &FitRules,
) -> Option<Fit> {
    let lumen_mm = container.lumen_length_mm()?;
    let from = from_mm.max(container_tip_mm - lumen_mm);
    let to = to_mm.min(container_tip_mm);
    let mut breaks: Vec<f64> = lines_of(container, container_tip_mm).collect();
    for (device, tip_mm) in devices {
        breaks.extend(lines_of(device, *tip_mm));
        breaks.extend([*tip_mm, *tip_mm - device.usable_length_mm]);
    }
    let mut best: Option<(Candidate, Vec<Member>)> = None;
    for (near, far) in cells_between(from, to, breaks.into_iter()) {
        let inside = f64::midpoint(near, far);
        let there: Vec<&(&Device, f64)> = devices
            .iter()
            .filter(|(device, tip_mm)| {
                inside < *tip_mm && inside > tip_mm - device.usable_length_mm
            })
            .collect();
        let [(_, first_tip_mm), _, ..] = there.as_slice() else {
            continue;
        };
        for station in stations_of_cell(near, far, &there) {
            let members: Vec<Member> = there
                .iter()
                .map(|(device, tip_mm)| Member {
                    device,
                    outer_mm: device
                        .section_in_cell(tip_mm - station, tip_mm - inside)
                        .outer_mm,
                })
                .collect();
            let b = container_tip_mm - station;
            let next = pair(
                bundle(&members, 0.0),
                container
                    .section_in_cell(b, container_tip_mm - inside)
                    .inner_mm,
                Spot {
                    station_mm: Some(station),
                    from_tip_mm: first_tip_mm - station,
                    container_from_tip_mm: Some(b),
                },
            );
            if is_tighter(best.as_ref().map(|(b, _)| *b), next) {
                best = Some((next, members));
            }
        }
    }
    best.map(|(tightest, members)| bundle_fit(&members, container, tightest, rules))
}

/// Stations of a device's profile lines.
fn lines_of(device: &Device, tip_mm: f64) -> impl Iterator<Item = f64> {
    device
        .profile
        .iter()
        .map(move |knot| tip_mm - knot.from_tip_mm)
}

/// Where to compare a bundle within a cell: its ends, and more for three and more tapering shafts.
fn stations_of_cell(near: f64, far: f64, there: &[&(&Device, f64)]) -> Vec<f64> {
    let inside = f64::midpoint(near, far);
    let tapers = there.iter().any(|(device, tip_mm)| {
        let outer = |s: f64| device.section_in_cell(tip_mm - s, tip_mm - inside).outer_mm;
        (outer(near) - outer(far)).abs() > ROUNDING_MM
    });
    let mut stations = vec![near];
    if there.len() >= 3 && tapers {
        let mut next = near + BUNDLE_CELL_MM;
        while next < far {
            stations.push(next);
            next += BUNDLE_CELL_MM;
        }
    }
    stations.push(far);
    stations
}

/// One of several devices side by side.
#[derive(Debug, Clone, Copy)]
struct Member<'a> {
    device: &'a Device,
    outer_mm: f64,
}

/// Lumen the members need, each wider by `share` of its tolerance.
fn bundle(members: &[Member<'_>], share: f64) -> f64 {
    let diameters: Vec<f64> = members
        .iter()
        .map(|m| m.outer_mm + share * m.device.diameter_tolerance_mm)
        .collect();
    bundle_diameter_mm(&diameters)
}

fn pair(outer_mm: f64, inner_mm: Option<f64>, at: Spot) -> Candidate {
    let inner_mm = inner_mm.unwrap_or(f64::NAN);
    Candidate {
        clearance_mm: inner_mm - outer_mm,
        outer_mm,
        inner_mm,
        at,
    }
}

fn coaxial_fit(inner: &Device, outer: &Device, tightest: Candidate, rules: &FitRules) -> Fit {
    let tolerance_mm = inner.diameter_tolerance_mm + outer.diameter_tolerance_mm;
    let worst_mm = tightest.clearance_mm - tolerance_mm;
    let comfortable_mm = rules.comfortable_for(inner);
    let (verdict, text) = rules.conclude(tightest.clearance_mm, worst_mm, comfortable_mm);
    let wire_lumen = match outer.lumen {
        LumenKind::RapidExchange { .. } => "the wire lumen of ",
        LumenKind::Solid | LumenKind::Full => "",
    };
    Fit {
        verdict,
        clearance_mm: tightest.clearance_mm,
        worst_clearance_mm: worst_mm,
        at: tightest.at,
        reason: format!(
            "{} ({:.3} mm) in {wire_lumen}{} ({:.3} mm): {text}",
            inner.name, tightest.outer_mm, outer.name, tightest.inner_mm,
        ),
        relation: Relation::Coaxial {
            inner: inner.name.clone(),
            outer: outer.name.clone(),
        },
    }
}

fn bundle_fit(
    members: &[Member<'_>],
    container: &Device,
    tightest: Candidate,
    rules: &FitRules,
) -> Fit {
    let names: Vec<String> = members.iter().map(|m| m.device.name.clone()).collect();
    let worst_mm = tightest.inner_mm - container.diameter_tolerance_mm - bundle(members, 1.0);
    let (verdict, text) = rules.conclude(tightest.clearance_mm, worst_mm, rules.comfortable_mm);
    Fit {
        verdict,
        clearance_mm: tightest.clearance_mm,
        worst_clearance_mm: worst_mm,
        at: tightest.at,
        reason: format!(
            "{} side by side ({:.3} mm) in {} ({:.3} mm): {text}",
            names.join(" and "),
            tightest.outer_mm,
            container.name,
            tightest.inner_mm,
        ),
        relation: Relation::SideBySide {
            devices: names,
            container: container.name.clone(),
        },
    }
}
