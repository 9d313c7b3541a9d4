//! Internal carotid from the skull base to its terminus, and the arteries beyond.

use super::super::{GeometryError, Vector};
use super::draft::{Draft, Origin, refuse};
use super::form::{M1Shape, Measurements, SiphonShape};
use super::means::{self, fixed, source};
use super::neck::Cervical;
use super::pen::{self, Pen, overlap, tilted};
use super::walls::Walls;
use crate::math;
use std::f64::consts::PI;

/// Least length of each limb of the siphon, mm: shorter ones leave no limb to speak of.
const LEAST_LIMB_MM: f64 = 1.0;

/// Assumed bends are no tighter than this many lumen radii: curvature times radius of 0.8, a tenth
/// below what is refused.
const TIGHTEST_ASSUMED_BEND: f64 = 1.25;

/// Branches of the head.
#[derive(Debug)]
pub(super) struct Head {
    pub(super) internal_carotid: usize,
    pub(super) m1: usize,
    pub(super) m2_superior: usize,
    pub(super) m2_inferior: usize,
}

pub(super) fn build(
    form: &Measurements,
    draft: &mut Draft,
    walls: &Walls,
    cervical: Cervical,
    origin: Origin,
    bulb_mm: f64,
) -> Result<Head, GeometryError> {
    let internal_carotid = internal_carotid(form, draft, walls, cervical, origin, bulb_mm)?;
    let x = form.side.sign();
    let anterior = draft.ledger.heading(
        "layout.anterior_cerebral_heading",
        Vector::new(-0.85 * x, -0.45, 0.25),
        source::MODEL,
    );
    let length_mm = draft.ledger.mm(
        "layout.anterior_cerebral_length",
        None,
        fixed(12.0, source::COW_NETWORK),
    );
    let diameter_mm = draft.ledger.mm(
        "layout.anterior_cerebral_diameter",
        None,
        fixed(2.34, source::COW_NETWORK),
    );
    let origin = draft.at_end(internal_carotid, anterior);
    let mut pen = Pen::new(origin.place_mm, anterior);
    pen.straight(length_mm, "layout.anterior_cerebral_length");
    draft.branch(
        "anterior-cerebral",
        Some(origin.ostium),
        pen,
        vec![(0.0, diameter_mm)],
        walls.brain_n_per_mm2,
    )?;
    super::context::small_branches(form, draft, walls, internal_carotid)?;
    let m1 = m1(form, draft, walls, internal_carotid)?;
    let (m2_superior, m2_inferior) = m2(form, draft, walls, m1)?;
    Ok(Head {
        internal_carotid,
        m1,
        m2_superior,
        m2_inferior,
    })
}

fn internal_carotid(
    form: &Measurements,
    draft: &mut Draft,
    walls: &Walls,
    cervical: Cervical,
    origin: Origin,
    bulb_mm: f64,
) -> Result<usize, GeometryError> {
    let x = form.side.sign();
    let ledger = &mut draft.ledger;
    let bulb_length_mm = ledger.mm(
        "bifurcation.bulb_length",
        form.bifurcation.bulb_length,
        means::BULB_LENGTH,
    );
    let skull_base_mm = cervical.length.drawn_mm;
    if bulb_length_mm >= skull_base_mm {
        return Err(refuse(
            "bifurcation.bulb_length",
            format!("{bulb_length_mm:.0} mm"),
            format!("less than cervical_ica.length, {skull_base_mm:.0} mm"),
            "shorten the bulb",
        ));
    }
    let mut pen = cervical.pen;

    // petrous: up into the canal, then forwards and to the midline
    let vertical_mm = ledger.mm(
        "petrous.vertical_length",
        form.petrous.vertical_length,
        means::PETROUS_VERTICAL,
    );
    let horizontal_mm = ledger.mm(
        "petrous.horizontal_length",
        form.petrous.horizontal_length,
        means::PETROUS_HORIZONTAL,
    );
    let turn_rad = PI
        - ledger.rad(
            "petrous.interior_angle_deg",
            form.petrous.interior_angle_deg,
            means::PETROUS_ANGLE_DEG,
        );
    let radius_mm = ledger.mm(
        "layout.petrous_bend_radius",
        None,
        fixed(5.0, source::MEMORY),
    );
    let to_midline = ledger.heading(
        "layout.petrous_direction",
        Vector::new(-0.64 * x, -0.77, 0.0),
        source::MODEL,
    );
    let half_bend_mm = 0.5 * radius_mm * turn_rad;
    for (field, length_mm) in [
        ("petrous.vertical_length", vertical_mm),
        ("petrous.horizontal_length", horizontal_mm),
    ] {
        if length_mm < half_bend_mm + 1.0 {
            return Err(refuse(
                field,
                format!("{length_mm:.1} mm"),
                format!(
                    "at least {:.1} mm, half the bend between both",
                    half_bend_mm + 1.0
                ),
                "enter the length to the middle of the bend",
            ));
        }
    }
    pen.bend_to(
        Vector::z(),
        vertical_mm - half_bend_mm,
        "petrous.vertical_length",
    );
    pen.bend_to(
        tilted(Vector::z(), to_midline, turn_rad),
        2.0 * half_bend_mm,
        "petrous.interior_angle_deg",
    );
    let petrous_bend_mm = pen.length_mm() - half_bend_mm;
    pen.straight(horizontal_mm - half_bend_mm, "petrous.horizontal_length");
    let lacerum_start_mm = pen.length_mm();
    let lacerum_mm = ledger.mm("layout.lacerum_length", None, means::LACERUM_LENGTH);
    pen.bend_to(Vector::z(), lacerum_mm, "layout.lacerum_length");
    let cavernous_mm = pen.length_mm();

    let proximal = ledger.mm(
        "siphon.proximal_diameter",
        form.siphon.proximal_diameter,
        means::SIPHON_PROXIMAL_DIAMETER,
    );
    let siphon_length = draft.length("siphon.length", form.siphon.length, means::SIPHON_LENGTH);
    let bends = siphon(form, draft, &mut pen, proximal, siphon_length.drawn_mm)?;
    let ledger = &mut draft.ledger;
    let terminus = ledger.mm(
        "siphon.terminus_diameter",
        form.siphon.terminus_diameter,
        means::TERMINUS_DIAMETER,
    );
    let end_mm = pen.length_mm();
    let bulb_share = ledger.share("layout.bulb_full_width", 0.4);
    let knots = vec![
        (0.0, bulb_mm),
        (bulb_share * bulb_length_mm, bulb_mm),
        (bulb_length_mm, cervical.diameter_mm),
        (skull_base_mm, cervical.diameter_mm),
        (cavernous_mm, proximal),
        (end_mm, terminus),
    ];
    let branch = draft.branch(
        "internal-carotid",
        Some(origin.ostium),
        pen,
        knots,
        walls.internal_carotid_n_per_mm2,
    )?;
    if let Some((at_mm, overlap_mm)) = overlap(&draft.tree.branches[branch]) {
        let field = if at_mm > cavernous_mm {
            "siphon.limb_angle_deg"
        } else {
            "cervical_ica.shape"
        };
        return Err(refuse(
            field,
            format!("a course whose limbs overlap by {overlap_mm:.1} mm"),
            "limbs that clear each other",
            "open the angle, widen the bends or narrow the lumen",
        ));
    }
    for (name, at_mm) in [
        ("bulb-end", bulb_length_mm),
        ("skull-base", skull_base_mm),
        ("petrous-bend", petrous_bend_mm),
        ("lacerum-bend", lacerum_start_mm + 0.5 * lacerum_mm),
        ("cavernous-start", cavernous_mm),
        ("posterior-genu", bends.posterior_mm),
        ("anterior-genu", bends.anterior_mm),
        ("ophthalmic", bends.ophthalmic_mm),
        ("ica-terminus", end_mm),
    ] {
        draft.mark(name, branch, at_mm);
    }
    for (field, from_mm, to_mm, length) in [
        ("cervical_ica.length", 0.0, skull_base_mm, cervical.length),
        ("siphon.length", cavernous_mm, end_mm, siphon_length),
    ] {
        draft.stretch(field, (branch, from_mm), (branch, to_mm), length.entered_mm);
    }
    Ok(branch)
}

struct Bends {
    posterior_mm: f64,
    anterior_mm: f64,
    ophthalmic_mm: f64,
}

/// Shape class by the angle between the limbs; V and U differ by roundness, not by angle.
fn fits(shape: SiphonShape, limbs_deg: f64) -> bool {
    match shape {
        SiphonShape::C => limbs_deg >= 20.0,
        SiphonShape::V => limbs_deg < 20.0,
        SiphonShape::U => (-20.0..20.0).contains(&limbs_deg),
        SiphonShape::S => limbs_deg < -20.0,
    }
}

fn siphon(
    form: &Measurements,
    draft: &mut Draft,
    pen: &mut Pen,
    proximal_mm: f64,
    length_mm: f64,
) -> Result<Bends, GeometryError> {
    let x = form.side.sign();
    let entered = &form.siphon;
    let ledger = &mut draft.ledger;
    let word = |s| match s {
        SiphonShape::C => "C",
        SiphonShape::V => "V",
        SiphonShape::U => "U",
        SiphonShape::S => "S",
    };
    let assumed = match entered.limb_angle_deg {
        Some(deg) if deg >= 20.0 => (SiphonShape::C, "derived from siphon.limb_angle_deg"),
        Some(deg) if deg >= -20.0 => (SiphonShape::U, "derived from siphon.limb_angle_deg"),
        Some(_) => (SiphonShape::S, "derived from siphon.limb_angle_deg"),
        None => means::SIPHON_SHAPE,
    };
    let shape = ledger.word("siphon.shape", entered.shape, assumed, word);
    let (limbs, mut anterior) = means::anterior_bend(shape);
    let limbs_rad = ledger.rad("siphon.limb_angle_deg", entered.limb_angle_deg, limbs);
    let limbs_deg = limbs_rad.to_degrees();
    if !fits(shape, limbs_deg) || !(-60.0..=120.0).contains(&limbs_deg) {
        return Err(refuse(
            "siphon.limb_angle_deg",
            format!("{limbs_deg:.0} degrees"),
            format!("that of a {} siphon, from -60 to 120 degrees", word(shape)),
            "leave out siphon.shape or siphon.limb_angle_deg, or correct one",
        ));
    }
    // a short siphon bends tighter: assumed radii follow its length as far as the lumen allows
    let scale = (length_mm / means::SIPHON_LENGTH.value).clamp(0.75, 1.25);
    let tightest_mm = TIGHTEST_ASSUMED_BEND * 0.5 * proximal_mm;
    let mut posterior = means::POSTERIOR_BEND_RADIUS;
    posterior.value = (posterior.value * scale).max(tightest_mm);
    anterior.value = (anterior.value * scale).max(tightest_mm);
    let posterior_turn_rad = ledger.rad(
        "siphon.posterior_turn_deg",
        entered.posterior_turn_deg,
        means::POSTERIOR_TURN_DEG,
    );
    let posterior_mm = ledger.mm(
        "siphon.posterior_bend_radius",
        entered.posterior_bend_radius,
        posterior,
    );
    let anterior_mm = ledger.mm(
        "siphon.anterior_bend_radius",
        entered.anterior_bend_radius,
        anterior,
    );
    let last_mm = ledger.mm(
        "layout.supraclinoid_bend_radius",
        None,
        fixed(4.0 * scale, source::MEMORY),
    );
    let forwards = ledger.heading(
        "layout.cavernous_direction",
        Vector::new(-0.15 * x, -1.0, 0.0),
        source::MODEL,
    );
    let out_of_plane = ledger.heading(
        "layout.siphon_plane",
        Vector::new(0.45 * x, 0.0, 1.0),
        source::MODEL,
    );
    let to_terminus = ledger.heading(
        "layout.terminus_heading",
        Vector::new(0.45 * x, 0.10, 0.90),
        source::MODEL,
    );
    let anterior_turn_rad = PI - limbs_rad;
    // both straight limbs share what the bends leave; the last bend's length shows on a trial
    let draw = |pen: &mut Pen, limb_mm: f64| {
        pen.bend(
            forwards,
            posterior_turn_rad,
            posterior_mm * posterior_turn_rad,
            "siphon.posterior_bend_radius",
        );
        pen.straight(limb_mm, "siphon.length");
        let genu_mm = anterior_mm * anterior_turn_rad;
        let start_mm = pen.length_mm();
        pen.bend(
            out_of_plane,
            anterior_turn_rad,
            genu_mm,
            "siphon.anterior_bend_radius",
        );
        let ophthalmic_mm = pen.length_mm();
        pen.straight(limb_mm, "siphon.length");
        pen.bend_to_by_radius(to_terminus, last_mm, "layout.supraclinoid_bend_radius");
        (start_mm + 0.5 * genu_mm, ophthalmic_mm)
    };
    let start_mm = pen.length_mm();
    let mut trial = pen.clone();
    draw(&mut trial, 0.0);
    let bends_mm = trial.length_mm() - start_mm;
    let limb_mm = 0.5 * (length_mm - bends_mm);
    if limb_mm < LEAST_LIMB_MM {
        return Err(refuse(
            "siphon.length",
            format!("{length_mm:.1} mm"),
            format!(
                "at least {:.1} mm, which its bends take",
                bends_mm + 2.0 * LEAST_LIMB_MM
            ),
            "lengthen it, tighten the bends or choose a more open shape",
        ));
    }
    let (anterior_at_mm, ophthalmic_mm) = draw(pen, limb_mm);
    Ok(Bends {
        posterior_mm: start_mm + 0.5 * posterior_mm * posterior_turn_rad,
        anterior_mm: anterior_at_mm,
        ophthalmic_mm,
    })
}

fn m1(
    form: &Measurements,
    draft: &mut Draft,
    walls: &Walls,
    internal_carotid: usize,
) -> Result<usize, GeometryError> {
    let x = form.side.sign();
    let length = draft.length("m1.length", form.m1.length, means::M1_LENGTH);
    let length_mm = length.drawn_mm;
    let ledger = &mut draft.ledger;
    let diameter_mm = ledger.mm("m1.diameter", form.m1.diameter, means::M1_DIAMETER);
    let shape = ledger.word(
        "m1.shape",
        form.m1.shape,
        (M1Shape::Arch, source::M1_SHAPE),
        |s| match s {
            M1Shape::Arch => "arch",
            M1Shape::S => "S",
            M1Shape::Straight => "straight",
        },
    );
    let start = ledger.heading(
        "layout.m1_heading",
        Vector::new(0.93 * x, -0.20, 0.30),
        source::MODEL,
    );
    let down = ledger.heading(
        "layout.m1_down_heading",
        Vector::new(0.90 * x, 0.05, -0.42),
        source::MODEL,
    );
    let origin = draft.at_end(internal_carotid, start);
    let mut pen = Pen::new(origin.place_mm, start);
    match shape {
        M1Shape::Arch => pen.bend_to(down, length_mm, "m1.length"),
        M1Shape::S => {
            pen.bend_to(down, 0.5 * length_mm, "m1.length");
            pen.bend_to(start, 0.5 * length_mm, "m1.length");
        }
        M1Shape::Straight => pen.straight(length_mm, "m1.length"),
    }
    let end_width = draft.ledger.share("layout.m1_end_width", 0.9);
    let knots = vec![(0.0, diameter_mm), (length_mm, end_width * diameter_mm)];
    let m1 = draft.branch("m1", Some(origin.ostium), pen, knots, walls.brain_n_per_mm2)?;
    draft.mark("m1-end", m1, length_mm);
    draft.stretch("m1.length", (m1, 0.0), (m1, length_mm), length.entered_mm);
    Ok(m1)
}

/// Share of the angle between the trunks that the inferior one bends off by: the wider one goes on straighter.
fn inferior_share(form: &Measurements, draft: &mut Draft, m1: usize) -> f64 {
    let stem_mm = pen::diameter_mm(&draft.tree.branches[m1].lumen, draft.length_mm(m1));
    let superior_mm = form
        .m2
        .superior_diameter
        .unwrap_or(means::M2_SUPERIOR_DIAMETER.value);
    let inferior_mm = form
        .m2
        .inferior_diameter
        .unwrap_or(means::M2_INFERIOR_DIAMETER.value);
    let share = least_work_share(stem_mm, inferior_mm, superior_mm);
    draft.ledger.number(
        "layout.m2_inferior_share_of_angle",
        "",
        None,
        fixed(share, source::M2_SHARE),
    )
}

/// Share of the angle of a division that falls to one of two branches where both together take least work: the
/// cosine of each one's angle is `(stem^4 + own^4 - other^4) / (2 stem^2 own^2)`.
fn least_work_share(stem_mm: f64, own_mm: f64, other_mm: f64) -> f64 {
    let fourth = |d_mm: f64| math::power(d_mm, 4);
    let angle = |own_mm: f64, other_mm: f64| {
        let cosine = (fourth(stem_mm) + fourth(own_mm) - fourth(other_mm))
            / (2.0 * math::power(stem_mm * own_mm, 2));
        // a stem narrower than its branches allow has no such angle: straight on, or square to it
        math::acos(cosine.clamp(0.0, 0.999))
    };
    let (own, other) = (angle(own_mm, other_mm), angle(other_mm, own_mm));
    (own / (own + other)).clamp(0.2, 0.8)
}

fn m2(
    form: &Measurements,
    draft: &mut Draft,
    walls: &Walls,
    m1: usize,
) -> Result<(usize, usize), GeometryError> {
    let x = form.side.sign();
    let ledger = &mut draft.ledger;
    let angle_rad = ledger.rad("m2.angle_deg", form.m2.angle_deg, means::M2_ANGLE_DEG);
    if !(10.0..=170.0).contains(&angle_rad.to_degrees()) {
        return Err(refuse(
            "m2.angle_deg",
            format!("{:.0} degrees", angle_rad.to_degrees()),
            "from 10 to 170 degrees",
            "enter the angle between both trunks at the division",
        ));
    }
    let tilt_rad = ledger.rad(
        "m2.out_of_plane_deg",
        form.m2.out_of_plane_deg,
        means::M2_OUT_OF_PLANE_DEG,
    );
    let superior_side = ledger.heading(
        "layout.m2_superior_side",
        Vector::new(0.0, -0.35, 0.94),
        source::MODEL,
    );
    let flow = draft.frame(m1, draft.length_mm(m1)).tangent;
    let up = (superior_side - flow * flow.dot(&superior_side)).normalize();
    let back = Vector::y() - flow * flow.y - up * up.y;
    let bisector = tilted(flow, back, tilt_rad);
    let inferior_share = inferior_share(form, draft, m1);
    let first_straight = draft.ledger.share("layout.m2_straight", 0.12);
    let insula_bend = draft.ledger.share("layout.m2_insula_bend", 0.38);
    let end_width = draft.ledger.share("layout.m2_end_width", 0.75);
    let mut made = [0; 2];
    for (slot, superior) in made.iter_mut().zip([true, false]) {
        let (name, length_field, entered_mm, diameter_field, entered_diameter, mean, sign) =
            if superior {
                (
                    "m2-superior",
                    "m2.superior_length",
                    form.m2.superior_length,
                    "m2.superior_diameter",
                    form.m2.superior_diameter,
                    means::M2_SUPERIOR_DIAMETER,
                    1.0,
                )
            } else {
                (
                    "m2-inferior",
                    "m2.inferior_length",
                    form.m2.inferior_length,
                    "m2.inferior_diameter",
                    form.m2.inferior_diameter,
                    means::M2_INFERIOR_DIAMETER,
                    -1.0,
                )
            };
        let (length_mean, share) = if superior {
            (means::M2_SUPERIOR_LENGTH, 1.0 - inferior_share)
        } else {
            (means::M2_INFERIOR_LENGTH, inferior_share)
        };
        let length = draft.length(length_field, entered_mm, length_mean);
        let length_mm = length.drawn_mm;
        let ledger = &mut draft.ledger;
        let diameter_mm = ledger.mm(diameter_field, entered_diameter, mean);
        // both turn up over the insula, the inferior trunk backwards
        let (first_name, first, last_name, last) = if superior {
            (
                "layout.m2_superior_insula_heading",
                Vector::new(-0.05 * x, 0.25, 0.97),
                "layout.m2_superior_end_heading",
                Vector::new(-0.30 * x, 0.70, 0.65),
            )
        } else {
            (
                "layout.m2_inferior_insula_heading",
                Vector::new(0.10 * x, 0.75, 0.65),
                "layout.m2_inferior_end_heading",
                Vector::new(-0.20 * x, 0.90, 0.40),
            )
        };
        let first = ledger.heading(first_name, first, source::MODEL);
        let last = ledger.heading(last_name, last, source::MODEL);
        let origin = draft.at_end(m1, tilted(bisector, up * sign, share * angle_rad));
        let mut pen = Pen::new(origin.place_mm, origin.heading);
        pen.straight(first_straight * length_mm, length_field);
        pen.bend_to(first, insula_bend * length_mm, length_field);
        pen.bend_to(
            last,
            (1.0 - first_straight - insula_bend) * length_mm,
            length_field,
        );
        let knots = vec![(0.0, diameter_mm), (length_mm, end_width * diameter_mm)];
        *slot = draft.branch(name, Some(origin.ostium), pen, knots, walls.brain_n_per_mm2)?;
        // 10 and 20 mm past the division: usual stops of a microcatheter and a wire
        for at_mm in [10.0, 20.0] {
            if length_mm > at_mm {
                draft.mark(format!("{name}-{at_mm:.0}mm"), *slot, at_mm);
            }
        }
        draft.mark(format!("{name}-end"), *slot, length_mm);
        draft.stretch(
            length_field,
            (*slot, 0.0),
            (*slot, length_mm),
            length.entered_mm,
        );
    }
    Ok((made[0], made[1]))
}
