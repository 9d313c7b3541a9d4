//! Iliac arteries and arms, with the access at the groin or the wrist.

use super::super::{GeometryError, Place, Vector};
use super::draft::{Draft, Origin, refuse};
use super::form::{Access, Measurements, Side};
use super::means::{self, Who, fixed, source};
use super::pen::Pen;
use super::torso::Stretches;
use super::walls::Walls;

/// Rest of the femoral artery beyond the puncture, mm: room for a sheath's entry.
const BEYOND_PUNCTURE_MM: f64 = 30.0;
/// Subclavian stub where no device passes, mm.
const SUBCLAVIAN_STUB_MM: f64 = 60.0;

pub(super) fn iliacs(
    form: &Measurements,
    who: Who,
    draft: &mut Draft,
    walls: &Walls,
    stretches: &Stretches,
    aorta: usize,
) -> Result<Option<Place>, GeometryError> {
    let ledger = &mut draft.ledger;
    let common_mm = ledger.mm(
        "femoral.common_iliac_diameter",
        form.femoral.common_iliac_diameter,
        who.common_iliac_diameter(),
    );
    let external_mm = ledger.mm(
        "femoral.external_iliac_diameter",
        form.femoral.external_iliac_diameter,
        means::EXTERNAL_ILIAC_DIAMETER,
    );
    let femoral_mm = ledger.mm(
        "femoral.common_femoral_diameter",
        form.femoral.common_femoral_diameter,
        means::COMMON_FEMORAL_DIAMETER,
    );
    let beyond_mm = ledger.mm(
        "layout.femoral_beyond_puncture",
        None,
        fixed(BEYOND_PUNCTURE_MM, source::MODEL),
    );
    let ligament_mm = ledger.mm(
        "layout.puncture_below_ligament",
        None,
        fixed(50.0, source::MEMORY),
    );
    let external_bend = ledger.share("layout.external_iliac_bend", 0.25);
    let external_straight = ledger.share("layout.external_iliac_straight", 0.25);
    let groin_bend = ledger.share("layout.groin_bend", 0.30);
    let mut access = None;
    for side in [Side::Right, Side::Left] {
        let x = side.sign();
        let ledger = &mut draft.ledger;
        let (common_name, other_name, heading_names) = match side {
            Side::Right => (
                "layout.right_common_iliac_length",
                "layout.right_iliofemoral_length",
                [
                    "layout.right_common_iliac_heading",
                    "layout.right_external_iliac_heading",
                    "layout.right_femoral_heading",
                ],
            ),
            Side::Left => (
                "layout.left_common_iliac_length",
                "layout.left_iliofemoral_length",
                [
                    "layout.left_common_iliac_heading",
                    "layout.left_external_iliac_heading",
                    "layout.left_femoral_heading",
                ],
            ),
        };
        let common_length_mm = ledger.mm(common_name, None, means::common_iliac_length(side));
        let length_mm = if side == stretches.puncture_side {
            stretches.puncture_to_bifurcation.drawn_mm
        } else {
            let longer_mm = if side == Side::Right { 7.0 } else { -7.0 };
            ledger.mm(
                other_name,
                None,
                fixed(
                    stretches.puncture_to_bifurcation.entered_mm + longer_mm,
                    "derived from femoral.puncture_to_bifurcation; right longer by 7 mm, World J Emerg Surg 2024;19:29, doi 10.1186/s13017-024-00557-4",
                ),
            )
        };
        if length_mm < common_length_mm + 1.5 * ligament_mm {
            return Err(refuse(
                "femoral.puncture_to_bifurcation",
                format!("{length_mm:.0} mm"),
                format!(
                    "at least {:.0} mm for common, external and femoral artery",
                    common_length_mm + 1.5 * ligament_mm
                ),
                "enter the length along the vessel from the groin to the aortic bifurcation",
            ));
        }
        let headings = [
            Vector::new(0.37 * x, 0.20, -0.90),
            Vector::new(0.42 * x, -0.45, -0.79),
            Vector::new(0.12 * x, 0.05, -1.0),
        ];
        let [start, external, femoral] =
            std::array::from_fn(|i| ledger.heading(heading_names[i], headings[i], source::MODEL));
        let origin = draft.at_end(aorta, start);
        let mut pen = Pen::new(origin.place_mm, start);
        // the external iliac turns forward past the common's end and down at the groin
        let rest_mm = length_mm - common_length_mm;
        pen.straight(common_length_mm, "femoral.puncture_to_bifurcation");
        pen.bend_to(
            external,
            external_bend * rest_mm,
            "femoral.puncture_to_bifurcation",
        );
        pen.straight(
            external_straight * rest_mm,
            "femoral.puncture_to_bifurcation",
        );
        pen.bend_to(
            femoral,
            groin_bend * rest_mm,
            "femoral.puncture_to_bifurcation",
        );
        let below = 1.0 - external_bend - external_straight - groin_bend;
        pen.straight(
            below * rest_mm + beyond_mm,
            "femoral.puncture_to_bifurcation",
        );
        // 10 mm: tapers where one artery gives way to the next
        let knots = vec![
            (0.0, common_mm),
            (common_length_mm, common_mm),
            (common_length_mm + 10.0, external_mm),
            (length_mm - ligament_mm, external_mm),
            (length_mm - ligament_mm + 10.0, femoral_mm),
        ];
        let name = format!("{}-iliac", side.word());
        let iliac = draft.branch(name, Some(origin.ostium), pen, knots, walls.limbs_n_per_mm2)?;
        draft.mark(
            format!("{}-common-iliac-end", side.word()),
            iliac,
            common_length_mm,
        );
        let here = match form.access {
            Access::FemoralRight => side == Side::Right,
            Access::FemoralLeft => side == Side::Left,
            _ => false,
        };
        if here {
            draft.mark("arteriotomy", iliac, length_mm);
            draft.stretch(
                "femoral.puncture_to_bifurcation",
                (iliac, length_mm),
                (iliac, 0.0),
                stretches.puncture_to_bifurcation.entered_mm,
            );
            access = Some(Place {
                branch: iliac,
                at_mm: length_mm,
            });
        }
    }
    Ok(access)
}

/// A subclavian stub, or the whole arm where devices enter at the wrist.
pub(super) fn arm(
    form: &Measurements,
    who: Who,
    draft: &mut Draft,
    walls: &Walls,
    side: Side,
    origin: Origin,
) -> Result<Option<Place>, GeometryError> {
    let whole = form.access.radial_side() == Some(side);
    let x = side.sign();
    let route = &form.radial;
    let ledger = &mut draft.ledger;
    let names = match side {
        Side::Right => [
            "layout.right_subclavian_diameter",
            "layout.right_subclavian_stub_length",
            "layout.right_first_rib_heading",
            "layout.right_shoulder_heading",
        ],
        Side::Left => [
            "layout.left_subclavian_diameter",
            "layout.left_subclavian_stub_length",
            "layout.left_first_rib_heading",
            "layout.left_shoulder_heading",
        ],
    };
    let subclavian_diameter = ledger.mm(names[0], None, means::LEFT_SUBCLAVIAN_DIAMETER);
    let over_rib = ledger.heading(names[2], Vector::new(0.93 * x, 0.10, 0.30), source::MODEL);
    let shoulder = ledger.heading(names[3], Vector::new(0.75 * x, 0.05, -0.66), source::MODEL);
    let mut pen = Pen::new(origin.place_mm, origin.heading);
    pen.straight(origin.inside_mm, "radial.subclavian_length");
    let name = format!("{}-subclavian", side.word());
    let knots = |end_mm: f64, end_diameter_mm: f64| {
        vec![
            (0.0, subclavian_diameter),
            (origin.inside_mm + 10.0, subclavian_diameter),
            (end_mm, end_diameter_mm),
        ]
    };
    if !whole {
        let stub_mm = ledger.mm(names[1], None, fixed(SUBCLAVIAN_STUB_MM, source::MODEL));
        pen.bend_to(over_rib, stub_mm, "radial.subclavian_length");
        let end_mm = pen.length_mm();
        draft.branch(
            name,
            Some(origin.ostium),
            pen,
            knots(end_mm, subclavian_diameter),
            walls.limbs_n_per_mm2,
        )?;
        return Ok(None);
    }
    let mut length = |name, measured, otherwise| draft.length(name, measured, otherwise);
    let subclavian = length(
        "radial.subclavian_length",
        route.subclavian_length,
        means::SUBCLAVIAN_LENGTH_MM,
    );
    let axillary = length(
        "radial.axillary_length",
        route.axillary_length,
        means::AXILLARY_LENGTH_MM,
    );
    let brachial = length(
        "radial.brachial_length",
        route.brachial_length,
        means::BRACHIAL_LENGTH_MM,
    );
    let radial = length(
        "radial.radial_length",
        route.radial_length,
        means::RADIAL_LENGTH_MM,
    );
    let (subclavian_mm, axillary_mm) = (subclavian.drawn_mm, axillary.drawn_mm);
    let (brachial_mm, radial_mm) = (brachial.drawn_mm, radial.drawn_mm);
    let ledger = &mut draft.ledger;
    let mut length = |name, measured, otherwise| ledger.mm(name, measured, otherwise);
    let axillary_diameter = length("layout.axillary_diameter", None, fixed(6.0, source::MEMORY));
    let brachial_diameter = length(
        "radial.brachial_diameter",
        route.brachial_diameter,
        means::BRACHIAL_DIAMETER,
    );
    let radial_diameter = length(
        "radial.radial_diameter",
        route.radial_diameter,
        who.radial_diameter(),
    );
    let beyond_mm = length(
        "layout.radial_beyond_puncture",
        None,
        fixed(BEYOND_PUNCTURE_MM, source::MODEL),
    );
    let narrows_mm = ledger.mm(
        "layout.radial_narrows_within",
        None,
        fixed(20.0, source::MODEL),
    );
    let rib_share = ledger.share("layout.subclavian_before_rib", 0.5);
    let armpit = ledger.share("layout.axillary_straight", 0.4);
    let elbow = ledger.share("layout.elbow_bend", 0.2);
    let upper_arm = ledger.heading(
        "layout.upper_arm_heading",
        Vector::new(0.35 * x, -0.10, -0.93),
        source::MODEL,
    );
    let forearm = ledger.heading(
        "layout.forearm_heading",
        Vector::new(0.30 * x, -0.35, -0.89),
        source::MODEL,
    );
    pen.bend_to(
        over_rib,
        rib_share * subclavian_mm,
        "radial.subclavian_length",
    );
    pen.bend_to(
        shoulder,
        (1.0 - rib_share) * subclavian_mm,
        "radial.subclavian_length",
    );
    pen.straight(armpit * axillary_mm, "radial.axillary_length");
    pen.bend_to(
        upper_arm,
        (1.0 - armpit) * axillary_mm,
        "radial.axillary_length",
    );
    pen.straight(brachial_mm, "radial.brachial_length");
    pen.bend_to(forearm, elbow * radial_mm, "radial.radial_length");
    pen.straight(
        (1.0 - elbow) * radial_mm + beyond_mm,
        "radial.radial_length",
    );
    let axillary_at = origin.inside_mm + subclavian_mm;
    let brachial_at = axillary_at + axillary_mm;
    let radial_at = brachial_at + brachial_mm;
    let wrist_mm = radial_at + radial_mm;
    let mut knots = knots(axillary_at, axillary_diameter);
    knots.extend([
        (brachial_at, brachial_diameter),
        (radial_at, brachial_diameter),
        (radial_at + narrows_mm, radial_diameter),
    ]);
    let branch = draft.branch(name, Some(origin.ostium), pen, knots, walls.limbs_n_per_mm2)?;
    draft.mark("axillary-start", branch, axillary_at);
    draft.mark("brachial-start", branch, brachial_at);
    draft.mark("elbow", branch, radial_at);
    draft.mark("arteriotomy", branch, wrist_mm);
    for (field, from_mm, to_mm, length) in [
        ("radial.radial_length", wrist_mm, radial_at, radial),
        ("radial.brachial_length", radial_at, brachial_at, brachial),
        ("radial.axillary_length", brachial_at, axillary_at, axillary),
        (
            "radial.subclavian_length",
            axillary_at,
            origin.inside_mm,
            subclavian,
        ),
    ] {
        draft.stretch(field, (branch, from_mm), (branch, to_mm), length.entered_mm);
    }
    Ok(Some(Place {
        branch,
        at_mm: wrist_mm,
    }))
}
