//! What lesions ask of the devices of a stack: where they are, and at the worst place of a passage.

use crate::device::Device;
use crate::mechanics::{
    Bed, ForceAt, Level, MaterialValues, MechanicsError, Passage, Passed, PassingKnot, PlaqueLaw,
    Squeeze, Squeezed, Surface, Way,
};
use crate::procedure::script::Plan;
use crate::procedure::state::{Beds, State};

/// Thickness of the wall beside a lesion, mm: that of the common carotid (0.7 mm, from memory).
const WALL_MM: f64 = 0.7;
/// Radius that a lumen which is shut is taken to have, mm: soft fresh material a wire has gone through (assumed). Rods need
/// one too, and what is pushed through bears on the wall all round.
pub(super) const SHUT_MM: f64 = 0.05;
/// Spacing of the places at which a passage is looked at, mm.
const LOOK_MM: f64 = 1.0;
/// Spacing at which the lumen of a lesion is kept, mm.
const GRID_MM: f64 = 0.25;

/// What a passage through a lesion comes to.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::procedure) struct LesionPassage {
    /// Index of the lesion on the track.
    pub(in crate::procedure) lesion: usize,
    /// The most it asks for on the way, N.
    pub(in crate::procedure) needed_n: f64,
    /// Station of the tip there, mm.
    pub(in crate::procedure) tip_mm: f64,
    /// Highest step that meets plaque with nothing to lead it in, mm of radius.
    pub(in crate::procedure) ledge_mm: f64,
    at: Vec<ForceAt>,
}

/// The least and the most that a lesion asks of a device on its way between two tips (mm), N, plaque and friction
/// together at either end of what is known of them.
///
/// # Errors
/// As [`lesion_passages`].
pub(in crate::procedure) fn needed_range_n(
    plan: &Plan,
    state: &State,
    device: usize,
    lesion: usize,
    way_mm: [f64; 2],
) -> Result<[f64; 2], MechanicsError> {
    let at = |level: Level| {
        let values = plan.materials.at(level);
        let furthest_mm = way_mm[0].max(way_mm[1]);
        InLesion::new((plan, &values), state, device, lesion, furthest_mm)
            .map_or(Ok(0.0), |met| Ok(met.worst(way_mm)?.needed_n))
    };
    Ok([at(Level::Least)?, at(Level::Most)?])
}

impl LesionPassage {
    /// What it asks for by place, against the motion, `[n]`, N.
    pub(super) fn by_place(&self) -> &[ForceAt] {
        &self.at
    }
}

/// A device that lies bare in a lesion.
struct InLesion<'a> {
    /// Its index on the track.
    lesion: usize,
    law: PlaqueLaw,
    profile: Vec<PassingKnot>,
    /// The lumen by station, mm, from the lesion's start on, at [`GRID_MM`].
    beds: Vec<(f64, Bed)>,
    /// What the device rides on, with the stations of their tips, mm.
    rides_on: Vec<(f64, &'a Device)>,
    within_mm: [f64; 2],
    /// Radius that has stood in it before, mm.
    opened_mm: f64,
    friction: f64,
}

/// Where a device meets lesions that are narrower than it on its way between two tips (mm), each at its worst place; for a
/// way back, from where it lies.
///
/// Lesions that a stent covers are left to the stent, rigid rings and open retrievers to others.
///
/// # Errors
/// [`MechanicsError::OutOfRange`] for a device or lesion that no plan lets through.
pub(in crate::procedure) fn lesion_passages(
    plan: &Plan,
    state: &State,
    device: usize,
    [from_mm, to_mm]: [f64; 2],
) -> Result<Vec<LesionPassage>, MechanicsError> {
    let mut found = Vec::new();
    for lesion in 0..plan.track.lesions.len() {
        let Some(met) = InLesion::new(
            (plan, &plan.values),
            state,
            device,
            lesion,
            from_mm.max(to_mm),
        ) else {
            continue;
        };
        let worst = met.worst([from_mm, to_mm])?;
        if worst.needed_n > 0.0 || worst.ledge_mm > 0.0 {
            found.push(worst);
        }
    }
    Ok(found)
}

/// What lesions ask of a device with its tip at a place (mm) that it goes on from, by place, `[n]`.
///
/// # Errors
/// As [`lesion_passages`].
pub(super) fn lesion_forces(
    plan: &Plan,
    state: &State,
    device: usize,
    tip_mm: f64,
) -> Result<Vec<ForceAt>, MechanicsError> {
    let mut found = Vec::new();
    for lesion in 0..plan.track.lesions.len() {
        if let Some(met) = InLesion::new((plan, &plan.values), state, device, lesion, tip_mm) {
            let squeezed = met.at(tip_mm, tip_mm, Way::Forward)?;
            // what springs back helps the hand, and never feeds the device by itself
            if squeezed.force_n() > 0.0 {
                found.extend(squeezed.by_place);
            }
        }
    }
    Ok(found)
}

impl<'a> InLesion<'a> {
    /// None where the device, with its tip no further than a station (mm), does not touch the lesion.
    fn new(
        (plan, values): (&'a Plan, &MaterialValues),
        state: &'a State,
        device: usize,
        lesion: usize,
        furthest_mm: f64,
    ) -> Option<Self> {
        let told = &plan.track.lesions[lesion];
        if state.is_stented(told)
            || told.rigid
            || state.open[device]
            || furthest_mm <= told.start_mm
        {
            return None;
        }
        let within_mm = [state.bare_from_mm(device).max(told.start_mm), told.end_mm];
        let shape = &plan.devices[device].device;
        let widest_mm = shape.max_outer_between(0.0, furthest_mm - told.start_mm);
        let narrowest_mm = state.rest_mm[lesion].max(2.0 * SHUT_MM);
        if within_mm[0] >= within_mm[1] || widest_mm <= narrowest_mm {
            return None;
        }
        let now = Beds::now(plan, state);
        let mut beds = Vec::new();
        let mut s_mm = told.start_mm;
        while s_mm < told.end_mm + GRID_MM {
            let bed = now.at(s_mm);
            let rest_mm = bed.rest_mm.max(2.0 * SHUT_MM);
            beds.push((s_mm, Bed { rest_mm, ..bed }));
            s_mm += GRID_MM;
        }
        let rides = |k: &usize| {
            state.hubs_passed(*k).contains(&device) || state.rides.contains(&(device, *k))
        };
        let rides_on = (0..plan.devices.len())
            .filter(rides)
            .filter_map(|k| Some((state.tip_mm(k)?, &plan.devices[k].device)))
            .collect();
        Some(Self {
            lesion,
            law: values.plaque_law(),
            profile: profile(shape),
            beds,
            rides_on,
            within_mm,
            opened_mm: 0.5 * state.passed_mm[lesion],
            friction: values.friction.of(shape.outer_surface, Surface::Plaque),
        })
    }

    /// The lumen at a station, mm: linear between the places where it is kept.
    fn bed(&self, s_mm: f64) -> Bed {
        let beds = &self.beds;
        let i = beds
            .partition_point(|b| b.0 <= s_mm)
            .clamp(1, beds.len() - 1);
        let ((near_mm, near), (far_mm, far)) = (beds[i - 1], beds[i]);
        let share = ((s_mm - near_mm) / (far_mm - near_mm)).clamp(0.0, 1.0);
        let mix = |a: f64, b: f64| a + share * (b - a);
        Bed {
            rest_mm: mix(near.rest_mm, far.rest_mm),
            healthy_mm: mix(near.healthy_mm, far.healthy_mm),
            ..near
        }
    }

    /// Radius at a station of what the device rides on there, mm.
    fn carried_mm(&self, s_mm: f64) -> f64 {
        let there = self.rides_on.iter().filter(|(tip_mm, _)| *tip_mm >= s_mm);
        there
            .map(|(tip_mm, rail)| 0.5 * rail.section_at(tip_mm - s_mm).outer_mm)
            .fold(0.0, f64::max)
    }

    /// What it meets with its tip at a place, having been at another one.
    fn at(&self, tip_mm: f64, furthest_mm: f64, way: Way) -> Result<Squeezed, MechanicsError> {
        let squeeze = Squeeze {
            law: &self.law,
            friction: self.friction,
            wall_mm: WALL_MM,
        };
        let passage = Passage {
            profile: &self.profile,
            front_mm: tip_mm,
            furthest_mm,
            way,
        };
        let vessel = Passed {
            bed: &|s_mm| self.bed(s_mm),
            carried_mm: &|s_mm| self.carried_mm(s_mm),
            opened_mm: self.opened_mm,
            within_mm: self.within_mm,
        };
        squeeze.meet(&passage, &vessel)
    }

    /// The worst place between two tips; ledges of the whole way.
    fn worst(&self, [from_mm, to_mm]: [f64; 2]) -> Result<LesionPassage, MechanicsError> {
        let way = if to_mm >= from_mm {
            Way::Forward
        } else {
            Way::Back
        };
        let (low_mm, high_mm) = (
            from_mm.min(to_mm).max(self.within_mm[0]),
            from_mm.max(to_mm),
        );
        let cells = ((high_mm - low_mm) / LOOK_MM).ceil().max(1.0);
        let mut worst = LesionPassage {
            lesion: self.lesion,
            needed_n: 0.0,
            tip_mm: to_mm,
            ledge_mm: 0.0,
            at: Vec::new(),
        };
        let mut i = 0.0;
        while i <= cells {
            let tip_mm = low_mm + (high_mm - low_mm) * i / cells;
            let furthest_mm = match way {
                Way::Forward => tip_mm,
                Way::Back => from_mm.max(tip_mm),
            };
            let met = self.at(tip_mm, furthest_mm, way)?;
            let ledge_mm = worst.ledge_mm.max(met.ledge_mm);
            if met.force_n() > worst.needed_n {
                worst = LesionPassage {
                    needed_n: met.force_n(),
                    tip_mm,
                    at: met.by_place,
                    ..worst
                };
            }
            worst.ledge_mm = ledge_mm;
            i += 1.0;
        }
        Ok(worst)
    }
}

/// Outer radius by distance from the tip.
fn profile(shape: &Device) -> Vec<PassingKnot> {
    let knots = shape.profile.iter();
    knots
        .map(|knot| PassingKnot {
            from_front_mm: knot.from_tip_mm,
            radius_mm: 0.5 * knot.outer_mm,
        })
        .collect()
}
