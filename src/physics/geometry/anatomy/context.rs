//! Small branches of the internal carotid that no device goes into, drawn so that a picture can be read.

use super::super::{GeometryError, Vector};
use super::draft::Draft;
use super::form::Measurements;
use super::means::{fixed, source};
use super::pen::Pen;
use super::walls::Walls;

/// How much of the way from the ophthalmic to the terminus lies below the posterior communicating, from memory.
const COMMUNICATING_SHARE: f64 = 0.5;

/// A small branch: its name, the names of its length, diameter and take-off, and where it runs.
struct Small {
    name: &'static str,
    fields: [&'static str; 3],
    length_mm: f64,
    diameter_mm: f64,
    source: &'static str,
    takeoff_deg: f64,
    heading_name: &'static str,
    heading: Vector,
}

/// Draws the ophthalmic forwards and the posterior communicating backwards.
pub(super) fn small_branches(
    form: &Measurements,
    draft: &mut Draft,
    walls: &Walls,
    internal_carotid: usize,
) -> Result<(), GeometryError> {
    let x = form.side.sign();
    let end_mm = draft.length_mm(internal_carotid);
    let marks = &draft.tree.landmarks;
    let Some(mark) = marks.iter().find(|l| l.name == "ophthalmic") else {
        return Ok(());
    };
    let ophthalmic_mm = mark.place.at_mm;
    let communicating_mm = ophthalmic_mm + COMMUNICATING_SHARE * (end_mm - ophthalmic_mm);
    let ophthalmic = Small {
        name: "ophthalmic",
        fields: [
            "layout.ophthalmic_length",
            "layout.ophthalmic_diameter",
            "layout.ophthalmic_takeoff_deg",
        ],
        length_mm: 11.0,
        diameter_mm: 1.4,
        source: source::MEMORY,
        takeoff_deg: 80.0,
        heading_name: "layout.ophthalmic_heading",
        heading: Vector::new(0.3 * x, -0.9, 0.3),
    };
    let communicating = Small {
        name: "posterior-communicating",
        fields: [
            "layout.posterior_communicating_length",
            "layout.posterior_communicating_diameter",
            "layout.posterior_communicating_takeoff_deg",
        ],
        length_mm: 15.0,
        diameter_mm: 1.46,
        source: source::COW_NETWORK,
        takeoff_deg: 70.0,
        heading_name: "layout.posterior_communicating_heading",
        heading: Vector::new(-0.25 * x, 0.95, -0.1),
    };
    draw(draft, walls, internal_carotid, ophthalmic_mm, &ophthalmic)?;
    draw(
        draft,
        walls,
        internal_carotid,
        communicating_mm,
        &communicating,
    )
}

fn draw(
    draft: &mut Draft,
    walls: &Walls,
    parent: usize,
    at_mm: f64,
    small: &Small,
) -> Result<(), GeometryError> {
    let [length_name, diameter_name, takeoff_name] = small.fields;
    let ledger = &mut draft.ledger;
    let length_mm = ledger.mm(length_name, None, fixed(small.length_mm, small.source));
    let diameter_mm = ledger.mm(diameter_name, None, fixed(small.diameter_mm, small.source));
    let takeoff_rad = ledger.rad(takeoff_name, None, fixed(small.takeoff_deg, source::MEMORY));
    let heading = ledger.heading(small.heading_name, small.heading, source::MODEL);
    let origin = draft.at_side(parent, at_mm, takeoff_rad, heading);
    let mut pen = Pen::new(origin.place_mm, origin.heading);
    // out of the wall square to the flow, then to where it runs whatever the siphon's shape
    pen.straight(origin.inside_mm, length_name);
    pen.bend_to(heading, length_mm, length_name);
    draft.branch(
        small.name,
        Some(origin.ostium),
        pen,
        vec![(0.0, diameter_mm)],
        walls.brain_n_per_mm2,
    )?;
    Ok(())
}
