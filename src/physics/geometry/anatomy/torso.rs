//! Aorta and arch vessels.

use super::super::{ArchType, GeometryError, Place, Point, Vector};
use super::draft::{Draft, Origin, refuse};
use super::form::{Access, Measurements, SharedOrigin, Side};
use super::kept::Length;
use super::means::{self, Mean, Who, fixed, source};
use super::pen::{Pen, crossing};
use super::walls::Walls;
use crate::math;
use std::f64::consts::PI;

/// Top of the arch's centre line in the body's frame, mm: a little left of the midline.
const ARCH_TOP_MM: Vector = Vector::new(8.0, 5.0, 0.0);
/// Take-off angles outside make the wall's crossing so oblique that no ostium is left.
const TAKEOFF_RANGE_DEG: (f64, f64) = (20.0, 150.0);

/// Starts of the vessels that the neck is built from.
#[derive(Debug)]
pub(super) struct Torso {
    pub(super) left_carotid: Origin,
    pub(super) right_carotid: Origin,
    pub(super) access: Option<Place>,
}

#[derive(Debug)]
pub(super) struct Stretches {
    pub(super) puncture_side: Side,
    pub(super) puncture_to_bifurcation: Length,
    pub(super) bifurcation_to_renal: Length,
    pub(super) renal_to_coeliac: Length,
    pub(super) coeliac_to_left_subclavian: Length,
}

pub(super) fn build(
    form: &Measurements,
    who: Who,
    draft: &mut Draft,
    walls: &Walls,
    left_carotid_diameter_mm: f64,
) -> Result<Torso, GeometryError> {
    let stretches = stretches(form, who, draft)?;
    let (aorta, at) = aorta(
        form,
        who,
        draft,
        walls,
        &stretches,
        left_carotid_diameter_mm,
    )?;
    let mut access = super::limbs::iliacs(form, who, draft, walls, &stretches, aorta)?;
    let (innominate, left_carotid) = innominate(form, draft, walls, aorta, &at)?;

    let up = |x: f64, y: f64, z: f64| Vector::new(x, y, z);
    let right_heading = draft.ledger.heading(
        "layout.right_carotid_heading",
        up(-0.15, -0.05, 1.0),
        source::MODEL,
    );
    let right_carotid = draft.at_end(innominate, right_heading);
    let right_subclavian_heading = draft.ledger.heading(
        "layout.right_subclavian_heading",
        up(-0.9, 0.05, 0.42),
        source::MODEL,
    );
    let right_subclavian = draft.at_end(innominate, right_subclavian_heading);
    let takeoff_rad = takeoff(
        draft,
        "arch.left_subclavian_takeoff_deg",
        form.arch.left_subclavian_takeoff_deg,
        means::left_subclavian_takeoff_deg(at.kind),
    )?;
    let lean = draft.ledger.heading(
        "layout.left_subclavian_lean",
        up(0.45, -0.1, 0.9),
        source::MODEL,
    );
    let left_subclavian = draft.at_side(aorta, at.left_subclavian_mm, takeoff_rad, lean);
    for (side, origin) in [
        (Side::Right, right_subclavian),
        (Side::Left, left_subclavian),
    ] {
        access = super::limbs::arm(form, who, draft, walls, side, origin)?.or(access);
    }
    Ok(Torso {
        left_carotid,
        right_carotid,
        access,
    })
}

fn stretches(form: &Measurements, who: Who, draft: &mut Draft) -> Result<Stretches, GeometryError> {
    let puncture_side = match form.access {
        Access::FemoralLeft => Side::Left,
        _ => Side::Right,
    };
    let route = &form.femoral;
    let mut parts = [
        (
            "femoral.puncture_to_bifurcation",
            route.puncture_to_bifurcation,
            who.puncture_to_bifurcation(puncture_side),
        ),
        (
            "femoral.bifurcation_to_renal",
            route.bifurcation_to_renal,
            who.bifurcation_to_renal(),
        ),
        (
            "femoral.renal_to_coeliac",
            route.renal_to_coeliac,
            who.renal_to_coeliac(),
        ),
        (
            "femoral.coeliac_to_left_subclavian",
            route.coeliac_to_left_subclavian,
            who.coeliac_to_left_subclavian(),
        ),
    ];
    if let Some(total_mm) = route.puncture_to_left_subclavian {
        let given_mm: f64 = parts.iter().filter_map(|p| p.1).sum();
        let open_mm: f64 = parts
            .iter()
            .filter(|p| p.1.is_none())
            .map(|p| p.2.value)
            .sum();
        let rest_mm = total_mm - given_mm;
        // 1 mm: lengths are read off to the millimetre, and four of them are summed
        if open_mm > 0.0 && rest_mm > 0.0 {
            for part in &mut parts {
                part.2 = fixed(
                    part.2.value * rest_mm / open_mm,
                    "derived from femoral.puncture_to_left_subclavian, shared out as the means are",
                );
            }
        } else if rest_mm.abs() > 1.0 {
            return Err(refuse(
                "femoral.puncture_to_left_subclavian",
                format!("{total_mm:.0} mm"),
                format!("the sum of its stretches, {given_mm:.0} mm"),
                "correct one of them or leave one out",
            ));
        }
        draft.ledger.mm(
            "femoral.puncture_to_left_subclavian",
            route.puncture_to_left_subclavian,
            fixed(total_mm, source::MODEL),
        );
    }
    let lengths = parts.map(|(name, measured, otherwise)| draft.length(name, measured, otherwise));
    Ok(Stretches {
        puncture_side,
        puncture_to_bifurcation: lengths[0],
        bifurcation_to_renal: lengths[1],
        renal_to_coeliac: lengths[2],
        coeliac_to_left_subclavian: lengths[3],
    })
}

/// Arch type and height over the innominate origin; a type and a height must agree.
fn arch_height(
    form: &Measurements,
    draft: &mut Draft,
    left_carotid_diameter_mm: f64,
) -> Result<(ArchType, f64), GeometryError> {
    let word = |kind| match kind {
        ArchType::I => "I",
        ArchType::II => "II",
        ArchType::III => "III",
    };
    let by_rule = |height_mm: f64| ArchType::of(height_mm / left_carotid_diameter_mm);
    let assumed = match form.arch.height {
        Some(height_mm) => (by_rule(height_mm), "derived from arch.height"),
        None => means::ARCH_TYPE,
    };
    let kind = draft
        .ledger
        .word("arch.type", form.arch.kind, assumed, word);
    if let Some(height_mm) = form.arch.height
        && by_rule(height_mm) != kind
    {
        return Err(refuse(
            "arch.height",
            format!(
                "{height_mm:.1} mm, {:.1} left common carotid diameters",
                height_mm / left_carotid_diameter_mm
            ),
            format!("that of a type {} arch", word(kind)),
            "leave out arch.type or arch.height, or correct one",
        ));
    }
    let otherwise = fixed(
        means::arch_height_in_diameters(kind) * left_carotid_diameter_mm,
        source::ARCH_RULE,
    );
    let height_mm = draft.ledger.mm("arch.height", form.arch.height, otherwise);
    Ok((kind, height_mm))
}

/// Places on the aorta, mm.
struct Origins {
    kind: ArchType,
    innominate_mm: f64,
    left_carotid_mm: Option<f64>,
    left_subclavian_mm: f64,
    shared: SharedOrigin,
}

fn aorta(
    form: &Measurements,
    who: Who,
    draft: &mut Draft,
    walls: &Walls,
    stretches: &Stretches,
    left_carotid_diameter_mm: f64,
) -> Result<(usize, Origins), GeometryError> {
    let (kind, height_mm) = arch_height(form, draft, left_carotid_diameter_mm)?;
    let arch = &form.arch;
    let ledger = &mut draft.ledger;
    let width_mm = ledger.mm("arch.width", arch.width, who.arch_width());
    let plane_rad = ledger.rad("arch.plane_deg", arch.plane_deg, means::ARCH_PLANE_DEG);
    let ascending_mm = ledger.mm(
        "aorta.ascending_length",
        form.aorta.ascending_length,
        means::ASCENDING_LENGTH,
    );
    let shared = ledger.word(
        "arch.shared_origin",
        arch.shared_origin,
        means::SHARED_ORIGIN,
        |s| match s {
            SharedOrigin::None => "none",
            SharedOrigin::CommonOrigin => "common origin",
            SharedOrigin::FromInnominate => "from the innominate",
        },
    );

    // Half a circle from the ascending to the descending aorta. Below it the aorta is upright, so
    // any height can be had; the innominate sits where the centre line is `height_mm` lower.
    let radius_mm = 0.5 * width_mm;
    let quarter_mm = 0.5 * PI * radius_mm;
    let drop_mm = |before_top_mm: f64| {
        if before_top_mm < quarter_mm {
            radius_mm * (1.0 - math::cos(before_top_mm / radius_mm))
        } else {
            radius_mm + before_top_mm - quarter_mm
        }
    };
    let before_top_mm = crossing(0.0, quarter_mm + height_mm, None, |t| {
        drop_mm(t) - height_mm
    })
    .unwrap_or(quarter_mm + height_mm);
    let upright_mm = ascending_mm - (quarter_mm - before_top_mm);
    if upright_mm <= 0.0 {
        return Err(refuse(
            "aorta.ascending_length",
            format!("{ascending_mm:.0} mm"),
            format!(
                "more than the {:.0} mm of the arch before the innominate",
                quarter_mm - before_top_mm
            ),
            "enter a longer ascending aorta or a narrower arch",
        ));
    }
    let innominate_mm = ascending_mm;
    let left_carotid_mm = (shared == SharedOrigin::None).then(|| {
        innominate_mm
            + ledger.mm(
                "arch.innominate_to_left_carotid",
                arch.innominate_to_left_carotid,
                who.innominate_to_left_carotid(),
            )
    });
    let gap_mm = ledger.mm(
        "arch.left_carotid_to_left_subclavian",
        arch.left_carotid_to_left_subclavian,
        who.left_carotid_to_left_subclavian(),
    );
    let left_subclavian_mm = left_carotid_mm.unwrap_or(innominate_mm) + gap_mm;
    let arch_end_mm = upright_mm + 2.0 * quarter_mm;
    if left_subclavian_mm >= arch_end_mm {
        return Err(refuse(
            "arch.left_carotid_to_left_subclavian",
            format!("{gap_mm:.0} mm"),
            format!(
                "at most {:.0} mm, where the arch ends",
                arch_end_mm - (left_subclavian_mm - gap_mm)
            ),
            "shorten the distances between the arch vessels or widen the arch",
        ));
    }
    let coeliac_mm = left_subclavian_mm + stretches.coeliac_to_left_subclavian.drawn_mm;
    let renal_mm = coeliac_mm + stretches.renal_to_coeliac.drawn_mm;
    let end_mm = renal_mm + stretches.bifurcation_to_renal.drawn_mm;
    let descending_mm = end_mm - arch_end_mm;
    if coeliac_mm <= arch_end_mm {
        return Err(refuse(
            "femoral.coeliac_to_left_subclavian",
            format!("{:.0} mm", stretches.coeliac_to_left_subclavian.entered_mm),
            format!(
                "more than {:.0} mm, where the arch ends",
                arch_end_mm - left_subclavian_mm
            ),
            "enter a longer descending aorta or a narrower arch",
        ));
    }

    let top = ledger.place_mm("layout.arch_top", ARCH_TOP_MM, source::MODEL);
    let across = Vector::new(math::cos(plane_rad), math::sin(plane_rad), 0.0);
    let root = Point::from(top - across * radius_mm - Vector::z() * (radius_mm + upright_mm));
    let mut pen = Pen::new(root, Vector::z());
    pen.straight(upright_mm, "aorta.ascending_length");
    pen.bend(across, PI, 2.0 * quarter_mm, "arch.width");
    let medial = ledger.heading(
        "layout.descending_heading",
        Vector::new(-0.08, -0.06, -1.0),
        source::MODEL,
    );
    let lordosis = ledger.heading(
        "layout.upper_lumbar_heading",
        Vector::new(-0.06, -0.16, -1.0),
        source::MODEL,
    );
    let lumbar = ledger.heading(
        "layout.lower_lumbar_heading",
        Vector::new(0.0, 0.14, -1.0),
        source::MODEL,
    );
    let below_arch = ledger.share("layout.descending_bend_below_arch", 0.18);
    let straight = ledger.share("layout.descending_straight", 0.37);
    let diaphragm = ledger.share("layout.descending_bend_at_diaphragm", 0.20);
    pen.bend_to(medial, below_arch * descending_mm, "femoral");
    pen.straight(straight * descending_mm, "femoral");
    pen.bend_to(lordosis, diaphragm * descending_mm, "femoral");
    let lumbar_share = 1.0 - below_arch - straight - diaphragm;
    pen.bend_to(lumbar, lumbar_share * descending_mm, "femoral");

    let sizes = &form.aorta;
    let ascending = ledger.mm(
        "aorta.ascending_diameter",
        sizes.ascending_diameter,
        who.ascending_diameter(),
    );
    let at_innominate = ledger.mm(
        "aorta.innominate_diameter",
        sizes.innominate_diameter,
        who.innominate_aorta_diameter(),
    );
    let at_carotid = ledger.mm(
        "aorta.left_carotid_diameter",
        sizes.left_carotid_diameter,
        who.left_carotid_aorta_diameter(),
    );
    let at_subclavian = ledger.mm(
        "aorta.left_subclavian_diameter",
        sizes.left_subclavian_diameter,
        who.left_subclavian_aorta_diameter(),
    );
    let descending = ledger.mm(
        "aorta.descending_diameter",
        sizes.descending_diameter,
        who.descending_diameter(),
    );
    let infrarenal = ledger.mm(
        "aorta.infrarenal_diameter",
        sizes.infrarenal_diameter,
        who.infrarenal_diameter(),
    );
    let carotid_mm = left_carotid_mm.unwrap_or(0.5 * (innominate_mm + left_subclavian_mm));
    // the descending diameter holds from past the isthmus to the diaphragm
    let thoracic =
        |share: f64| left_subclavian_mm + share * stretches.coeliac_to_left_subclavian.drawn_mm;
    let isthmus = ledger.share("layout.isthmus_end", 0.2);
    let diaphragm = ledger.share("layout.diaphragm", 0.9);
    let knots = vec![
        (0.5 * innominate_mm, ascending),
        (innominate_mm, at_innominate),
        (carotid_mm, at_carotid),
        (left_subclavian_mm, at_subclavian),
        (thoracic(isthmus), descending),
        (thoracic(diaphragm), descending),
        (renal_mm, infrarenal),
    ];
    let aorta = draft.branch("aorta", None, pen, knots, walls.aorta_n_per_mm2)?;
    draft.mark("innominate-origin", aorta, innominate_mm);
    if let Some(at_mm) = left_carotid_mm {
        draft.mark("left-carotid-ostium", aorta, at_mm);
    }
    draft.mark("arch-top", aorta, upright_mm + quarter_mm);
    draft.mark("left-subclavian-origin", aorta, left_subclavian_mm);
    draft.mark("coeliac", aorta, coeliac_mm);
    draft.mark("renal", aorta, renal_mm);
    draft.mark("aortic-bifurcation", aorta, end_mm);
    for (field, from_mm, to_mm, length) in [
        (
            "femoral.bifurcation_to_renal",
            end_mm,
            renal_mm,
            stretches.bifurcation_to_renal,
        ),
        (
            "femoral.renal_to_coeliac",
            renal_mm,
            coeliac_mm,
            stretches.renal_to_coeliac,
        ),
        (
            "femoral.coeliac_to_left_subclavian",
            coeliac_mm,
            left_subclavian_mm,
            stretches.coeliac_to_left_subclavian,
        ),
    ] {
        draft.stretch(field, (aorta, from_mm), (aorta, to_mm), length.entered_mm);
    }
    let origin = left_carotid_mm.unwrap_or(innominate_mm);
    draft.between_origins(
        "arch.left_carotid_to_left_subclavian",
        (aorta, left_subclavian_mm),
        (aorta, origin),
        gap_mm,
    );
    if let Some(at_mm) = left_carotid_mm {
        draft.between_origins(
            "arch.innominate_to_left_carotid",
            (aorta, at_mm),
            (aorta, innominate_mm),
            at_mm - innominate_mm,
        );
    }
    Ok((
        aorta,
        Origins {
            kind,
            innominate_mm,
            left_carotid_mm,
            left_subclavian_mm,
            shared,
        },
    ))
}

fn takeoff(
    draft: &mut Draft,
    field: &'static str,
    measured_deg: Option<f64>,
    otherwise: Mean,
) -> Result<f64, GeometryError> {
    let angle_rad = draft.ledger.rad(field, measured_deg, otherwise);
    let (least_deg, most_deg) = TAKEOFF_RANGE_DEG;
    let angle_deg = angle_rad.to_degrees();
    if angle_deg < least_deg || angle_deg > most_deg {
        return Err(refuse(
            field,
            format!("{angle_deg:.0} degrees"),
            format!("from {least_deg:.0} to {most_deg:.0} degrees"),
            "enter the angle between the vessel and the flow of the one it leaves",
        ));
    }
    Ok(angle_rad)
}

fn innominate(
    form: &Measurements,
    draft: &mut Draft,
    walls: &Walls,
    aorta: usize,
    at: &Origins,
) -> Result<(usize, Origin), GeometryError> {
    let takeoff_rad = takeoff(
        draft,
        "arch.innominate_takeoff_deg",
        form.arch.innominate_takeoff_deg,
        means::innominate_takeoff_deg(at.kind),
    )?;
    let ledger = &mut draft.ledger;
    let lean = ledger.heading(
        "layout.innominate_lean",
        Vector::new(-0.75, -0.1, 0.66),
        source::MODEL,
    );
    let end = ledger.heading(
        "layout.innominate_end_heading",
        Vector::new(-0.5, 0.0, 0.87),
        source::MODEL,
    );
    let length = draft.length(
        "innominate.length",
        form.innominate.length,
        means::INNOMINATE_LENGTH,
    );
    let length_mm = length.drawn_mm;
    let diameter = draft.ledger.mm(
        "innominate.diameter",
        form.innominate.diameter,
        means::INNOMINATE_DIAMETER,
    );
    let origin = draft.at_side(aorta, at.innominate_mm, takeoff_rad, lean);
    let mut pen = Pen::new(origin.place_mm, origin.heading);
    pen.straight(origin.inside_mm, "innominate.length");
    pen.bend_to(end, length_mm, "innominate.length");
    let innominate = draft.branch(
        "innominate",
        Some(origin.ostium),
        pen,
        vec![(0.0, diameter)],
        walls.neck_n_per_mm2,
    )?;
    draft.mark("innominate-ostium", innominate, origin.inside_mm);
    draft.mark("innominate-end", innominate, origin.inside_mm + length_mm);
    draft.stretch(
        "innominate.length",
        (innominate, origin.inside_mm),
        (innominate, origin.inside_mm + length_mm),
        length.entered_mm,
    );

    let takeoff_rad = takeoff(
        draft,
        "arch.left_carotid_takeoff_deg",
        form.arch.left_carotid_takeoff_deg,
        means::left_carotid_takeoff_deg(at.kind),
    )?;
    let lean = draft.ledger.heading(
        "layout.left_carotid_lean",
        Vector::new(0.35, -0.1, 0.93),
        source::MODEL,
    );
    let left_carotid = if let Some(at_mm) = at.left_carotid_mm {
        draft.at_side(aorta, at_mm, takeoff_rad, lean)
    } else {
        let distance_mm = draft.ledger.mm(
            "arch.innominate_to_left_carotid",
            form.arch.innominate_to_left_carotid,
            means::shared_origin_distance(at.shared),
        );
        if distance_mm >= length_mm {
            return Err(refuse(
                "arch.innominate_to_left_carotid",
                format!("{distance_mm:.0} mm"),
                format!("less than innominate.length, {length_mm:.0} mm"),
                "with a shared origin this is the distance along the innominate from its ostium",
            ));
        }
        draft.between_origins(
            "arch.innominate_to_left_carotid",
            (innominate, origin.inside_mm),
            (innominate, origin.inside_mm + distance_mm),
            distance_mm,
        );
        draft.at_side(
            innominate,
            origin.inside_mm + distance_mm,
            takeoff_rad,
            lean,
        )
    };
    Ok((innominate, left_carotid))
}
