//! Whether lumens have room: for rods side by side, and for each rod in what it lies in.

use super::solution::Flag;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::contact_law::Keep;
use crate::mechanics::rod::model::Model;
use crate::mechanics::rod::scene::{Container, Scene};

/// Stretch over which two rods side by side must be too wide for the lumen around both before that is
/// refused unsolved, mm: further than tips and tapers lie from where a first guess has them.
const TOO_WIDE_MM: f64 = 20.0;
/// By how much too wide, mm: lumens give less, and diameters are known no better.
const TOO_WIDE_BY_MM: f64 = 0.05;
/// Rounding of two diameters read from profiles, mm.
const ROUNDING_MM: f64 = 1e-9;

/// Diameter of a rod at a node below which nothing makes it, mm: what yields is as thin as its thinnest part at
/// the least, wherever it is drawn together.
fn least_outer_mm(model: &Model, scene: &Scene<'_>, rod: usize, node: usize) -> f64 {
    let outer_mm = model.coefficients.sections.outer[node];
    if scene.rods[rod].yields {
        outer_mm.min(scene.rods[rod].outer_mm.least())
    } else {
        outer_mm
    }
}

/// Refuses rods side by side where a lumen has no room for both: whatever way is tried to such a state
/// is lost, after much work. Needs distances from the tips ([`Model::update_sections`]).
pub(crate) fn check_room(model: &Model, scene: &Scene<'_>) -> Result<(), MechanicsError> {
    let sections = &model.coefficients.sections;
    for pair in scene.beside {
        let [a, b] = pair.rods;
        let mut from_mm = None;
        let containers = &scene.rods[a].containers;
        let counts = [a, b].map(|k| model.layout.rods[k].last_regular + 1);
        for (i, station) in scene.tube.iter().enumerate().take(counts[0].min(counts[1])) {
            let s_mm = station.s_mm;
            let around = containers.iter().find(|c| s_mm <= c.to_mm);
            let outer = match around.map(|c| c.container) {
                Some(Container::Rod(j)) if i <= model.layout.rods[j].last_regular => j,
                _ => {
                    from_mm = None;
                    continue;
                }
            };
            let [na, nb, no] = [a, b, outer].map(|k| model.layout.rods[k].first + i);
            let together_mm =
                least_outer_mm(model, scene, a, na) + least_outer_mm(model, scene, b, nb);
            let lumen_mm = sections.inner[no];
            let too_wide = s_mm >= pair.from_mm
                && s_mm <= pair.to_mm
                && together_mm > lumen_mm + TOO_WIDE_BY_MM;
            if !too_wide {
                from_mm = None;
                continue;
            }
            let since_mm = *from_mm.get_or_insert(s_mm);
            if s_mm - since_mm >= TOO_WIDE_MM {
                return Err(MechanicsError::NoRoomBeside {
                    rods: pair.rods,
                    outer,
                    station_mm: since_mm,
                    together_mm,
                    lumen_mm,
                });
            }
        }
    }
    Ok(())
}

/// Refuses rods too wide for the rod around them; returns flags for those too wide for the vessel.
pub(crate) fn check_fits(model: &Model, scene: &Scene<'_>) -> Result<Vec<Flag>, MechanicsError> {
    let layout = &model.layout;
    let sections = &model.coefficients.sections;
    let laws = &model.coefficients.contact_laws.laws;
    let mut widest: Vec<Option<(f64, f64)>> = vec![None; scene.rods.len()];
    for (term, law) in layout.contacts.list.iter().zip(laws) {
        if law.keep == Keep::Apart || law.limit_mm >= -ROUNDING_MM {
            continue;
        }
        let rod = term.rod as usize;
        if let (Some(outer), Some(around)) = (term.other, &term.around) {
            if scene.rods[rod].yields {
                continue;
            }
            return Err(MechanicsError::DoesNotFit {
                inner: rod,
                outer: outer as usize,
                station_mm: term.s_mm,
                outer_diameter_mm: layout.contacts.value(&term.inside, &sections.outer),
                lumen_mm: layout.contacts.value(around, &sections.inner),
            });
        }
        let excess = -2.0 * law.limit_mm;
        if widest[rod].is_none_or(|(_, e)| e < excess) {
            widest[rod] = Some((term.s_mm, excess));
        }
    }
    check_shared_axes(model, scene)?;
    let found = widest.iter().enumerate();
    let flags = found.filter_map(|(rod, widest)| {
        widest.map(|(station_mm, excess_mm)| Flag::WiderThanLumen {
            rod,
            station_mm,
            excess_mm,
        })
    });
    Ok(flags.collect())
}

/// The same for rods on one axis, which have no contact term of their own.
fn check_shared_axes(model: &Model, scene: &Scene<'_>) -> Result<(), MechanicsError> {
    let (layout, sections) = (&model.layout, &model.coefficients.sections);
    for (k, rod) in scene.rods.iter().enumerate().filter(|(_, r)| !r.yields) {
        for stretch in &rod.containers {
            let Container::Rod(j) = stretch.container else {
                continue;
            };
            let (inside, around) = (&layout.rods[k], &layout.rods[j]);
            for i in 0..=inside.last_regular.min(around.last_regular) {
                let (a, b) = (inside.first + i, around.first + i);
                let s = layout.nodes.s_mm[a];
                if s >= stretch.from_mm
                    && s <= stretch.to_mm
                    && sections.outer[a] > sections.inner[b] + ROUNDING_MM
                {
                    return Err(MechanicsError::DoesNotFit {
                        inner: k,
                        outer: j,
                        station_mm: s,
                        outer_diameter_mm: sections.outer[a],
                        lumen_mm: sections.inner[b],
                    });
                }
            }
        }
    }
    Ok(())
}
