//! Common carotids and the cervical internal carotid.
//!
//! The courses are made of arcs about an axis. The axis is tilted until the vessel ends where
//! necks end, and an S about it is widened until the length over the straight distance is the
//! one entered.

use super::super::{GeometryError, Point, Vector};
use super::draft::{Draft, Origin, refuse};
use super::form::{Measurements, NeckShape, Side};
use super::kept::Length;
use super::means::{self, Who, fixed, mean, source};
use super::pen::{Pen, crossing, tilted};
use super::walls::Walls;
use crate::math;
use std::f64::consts::{PI, TAU};

/// Widest half turn of an S, rad, 115 degrees: from about 130 its limbs cross.
const WIDEST_S_RAD: f64 = 2.0;
/// Rounds of tilting the axis: each leaves about a tenth of the distance, so 1e-3 mm remain.
const AIM_ROUNDS: usize = 6;
/// Steepest tilt of the axis, as a slope: a neck does not lie flat.
const STEEPEST_SLOPE: f64 = 0.45;
/// Pieces of a coil, 15 degrees each: the arcs leave a true helix by under 1 % of its radius.
const COIL_PIECES: u32 = 24;

/// Tilts the axis until the end lies over the aim, sideways and front to back.
fn aimed(aim_mm: Vector, mut draw: impl FnMut(Vector) -> Pen) -> Pen {
    let mut slope = Vector::zeros();
    let mut axis = Vector::z();
    let mut pen = draw(axis);
    for _ in 0..AIM_ROUNDS {
        let miss_mm = aim_mm - pen.place_mm().coords;
        slope += Vector::new(miss_mm.x, miss_mm.y, 0.0) / pen.length_mm();
        let steepness = slope.norm();
        if steepness > STEEPEST_SLOPE {
            slope *= STEEPEST_SLOPE / steepness;
        }
        axis = (Vector::z() + slope).normalize();
        pen = draw(axis);
    }
    pen
}

/// The way back from a heading at `angle_rad` from the axis, square to that heading.
fn back_from(axis: Vector, side: Vector, angle_rad: f64) -> Vector {
    tilted(axis, side, angle_rad - 0.5 * PI)
}

/// An even S: quarter, half and quarter of its length.
const EVEN: [f64; 3] = [0.25, 0.5, 0.25];

/// An S of three arcs about an axis, each a share of its length.
fn wave(
    pen: &mut Pen,
    axis: Vector,
    side: Vector,
    half_turn_rad: f64,
    length_mm: f64,
    [out, over, home]: [f64; 3],
    field: &'static str,
) {
    pen.bend_to(tilted(axis, side, half_turn_rad), out * length_mm, field);
    // by its turn, not its heading: above 90 degrees the shorter way would be the wrong one
    let back = back_from(axis, side, half_turn_rad);
    pen.bend(back, 2.0 * half_turn_rad, over * length_mm, field);
    pen.bend_to(axis, home * length_mm, field);
}

/// Half turn of an S that gives a length-to-chord ratio, sought first near `guess`; `Err` holds the ratios within reach.
fn half_turn(
    ratio: f64,
    guess: Option<f64>,
    ratio_of: impl Fn(f64) -> f64,
) -> Result<f64, (f64, f64)> {
    crossing(0.0, WIDEST_S_RAD, guess, |a| ratio_of(a) - ratio)
        .ok_or_else(|| (ratio_of(0.0), ratio_of(WIDEST_S_RAD)))
}

/// Names of the fields of one common carotid.
struct CarotidNames {
    length: &'static str,
    diameter: &'static str,
    ratio: &'static str,
}

const TREATED: CarotidNames = CarotidNames {
    length: "common_carotid.length",
    diameter: "common_carotid.diameter",
    ratio: "common_carotid.length_to_chord",
};
const OTHER: CarotidNames = CarotidNames {
    length: "layout.other_common_carotid_length",
    diameter: "layout.other_common_carotid_diameter",
    ratio: "layout.other_common_carotid_length_to_chord",
};

/// Builds a common carotid; returns its index.
pub(super) fn common_carotid(
    form: &Measurements,
    who: Who,
    draft: &mut Draft,
    walls: &Walls,
    side: Side,
    origin: Origin,
    bulb_mm: f64,
) -> Result<usize, GeometryError> {
    let treated = side == form.side;
    let names = if treated { TREATED } else { OTHER };
    let measured = |value: Option<f64>| value.filter(|_| treated);
    let x = side.sign();
    let length = draft.length(
        names.length,
        measured(form.common_carotid.length),
        who.common_carotid_length(side),
    );
    let length_mm = length.drawn_mm;
    let ledger = &mut draft.ledger;
    let diameter_mm = if treated {
        // noted already: the arch's type is counted in it
        form.common_carotid
            .diameter
            .unwrap_or(who.common_carotid_diameter().value)
    } else {
        ledger.mm(names.diameter, None, who.common_carotid_diameter())
    };
    // the left one bends backwards low in the chest, the right one sideways above the innominate
    let (aim_name, plane_name, plane, shares) = match side {
        Side::Left => (
            "layout.left_carotid_bifurcation",
            "layout.left_carotid_plane",
            Vector::new(-0.4, 0.9, 0.0),
            [0.22, 0.50, 0.28],
        ),
        Side::Right => (
            "layout.right_carotid_bifurcation",
            "layout.right_carotid_plane",
            Vector::new(-0.8, 0.5, 0.0),
            [0.30, 0.46, 0.24],
        ),
    };
    let aim_mm = ledger.place_mm(aim_name, Vector::new(28.0 * x, -5.0, 0.0), source::MODEL);
    let plane = ledger.heading(plane_name, plane, source::MODEL);

    let (share_name, flare_name) = if treated {
        (
            "layout.common_carotid_takeoff_bend",
            "layout.common_carotid_widens_over",
        )
    } else {
        ("layout.other_common_carotid_takeoff_bend", "")
    };
    let takeoff_share = ledger.share(share_name, 0.25);
    let takeoff = |axis: Vector| {
        let mut pen = Pen::new(origin.place_mm, origin.heading);
        pen.straight(origin.inside_mm, names.length);
        pen.bend_to(axis, takeoff_share * length_mm, names.length);
        pen
    };
    let rest_mm = (1.0 - takeoff_share) * length_mm;
    let s_from = |mut pen: Pen, axis: Vector, half_turn_rad: f64| {
        let field = names.ratio;
        wave(&mut pen, axis, plane, half_turn_rad, rest_mm, shares, field);
        pen
    };
    let draw = |axis, half_turn_rad| s_from(takeoff(axis), axis, half_turn_rad);
    let ostium_mm: Point = origin.place_mm + origin.heading * origin.inside_mm;
    let ratio_of = |pen: &Pen| length_mm / (pen.place_mm() - ostium_mm).norm();
    let entered = measured(form.common_carotid.length_to_chord);
    check_ratio(names.ratio, entered)?;
    let ratio = entered.unwrap_or(who.common_carotid_ratio().value);
    let solve = |axis, guess| {
        let trunk = takeoff(axis).sketching();
        half_turn(ratio, guess, |a| {
            ratio_of(&s_from(trunk.sketching(), axis, a))
        })
    };
    // what the last axis takes is what is drawn
    let mut solved = Err((0.0, 0.0));
    let pen = aimed(aim_mm, |axis| {
        solved = solve(axis, solved.ok());
        draw(axis, solved.unwrap_or(0.0))
    });
    let otherwise = match (solved, entered) {
        (Ok(_), _) => who.common_carotid_ratio(),
        (Err((least, _)), None) => {
            fixed(least, "derived: the least that the take-off angle permits")
        }
        (Err((least, most)), Some(ratio)) => {
            return Err(refuse(
                names.ratio,
                format!("{ratio:.3}"),
                format!("from {least:.3} (which the take-off alone takes) to {most:.3}"),
                "correct it, the length or the take-off angle",
            ));
        }
    };
    draft.ledger.number(names.ratio, "", entered, otherwise);
    let end_mm = pen.length_mm();
    let knots = if treated {
        let flare_mm = draft
            .ledger
            .mm(flare_name, None, fixed(12.0, source::MEMORY));
        vec![(end_mm - flare_mm, diameter_mm), (end_mm, bulb_mm)]
    } else {
        vec![(0.0, diameter_mm)]
    };
    let name = format!("{}-common-carotid", side.word());
    let branch = draft.branch(name, Some(origin.ostium), pen, knots, walls.neck_n_per_mm2)?;
    if treated {
        draft.mark("common-carotid-origin", branch, origin.inside_mm);
        draft.mark("carotid-bifurcation", branch, end_mm);
        draft.stretch(
            names.length,
            (branch, origin.inside_mm),
            (branch, end_mm),
            length.entered_mm,
        );
    }
    Ok(branch)
}

fn check_ratio(field: &str, entered: Option<f64>) -> Result<(), GeometryError> {
    match entered {
        Some(ratio) if ratio < 1.0 => Err(refuse(
            field,
            format!("{ratio:.3}"),
            "at least 1",
            "enter the length along the vessel over the straight distance between its ends",
        )),
        _ => Ok(()),
    }
}

/// The cervical course, its lumen at the skull base and where that is.
#[derive(Debug)]
pub(super) struct Cervical {
    pub(super) pen: Pen,
    pub(super) length: Length,
    pub(super) diameter_mm: f64,
}

/// Draws the internal carotid up to the skull base.
pub(super) fn cervical_ica(
    form: &Measurements,
    who: Who,
    draft: &mut Draft,
    common_carotid: usize,
) -> Result<(Cervical, Origin), GeometryError> {
    let x = form.side.sign();
    let neck = &form.cervical_ica;
    let ledger = &mut draft.ledger;
    let shape = ledger.word(
        "cervical_ica.shape",
        neck.shape,
        who.neck_shape(),
        |s| match s {
            NeckShape::Straight => "straight",
            NeckShape::Tortuous { .. } => "tortuous",
            NeckShape::Kink { .. } => "kink",
            NeckShape::Coil { .. } => "coil",
            NeckShape::Loop { .. } => "loop",
        },
    );
    let diameter_mm = ledger.mm(
        "cervical_ica.diameter",
        neck.diameter,
        who.cervical_ica_diameter(),
    );
    let turn_diameter_mm = if let NeckShape::Coil { turn_diameter } = shape {
        Some(ledger.mm(
            "cervical_ica.shape.turn_diameter",
            turn_diameter,
            fixed(
                3.2 * diameter_mm,
                "derived: 3.2 lumen diameters, from memory of angiograms",
            ),
        ))
    } else {
        None
    };
    let mut length_mean = who.cervical_ica_length(form.side);
    if let Some(turn_mm) = turn_diameter_mm {
        length_mean = mean(
            length_mean.value + PI * turn_mm,
            length_mean.sd,
            source::COIL_LENGTH,
        );
    }
    let length = draft.length("cervical_ica.length", neck.length, length_mean);
    let length_mm = length.drawn_mm;
    let ledger = &mut draft.ledger;
    let takeoff_rad = ledger.rad(
        "bifurcation.internal_takeoff_deg",
        form.bifurcation.internal_takeoff_deg,
        means::internal_takeoff_deg(shape),
    );
    let side = ledger.heading(
        "layout.internal_carotid_plane",
        Vector::new(0.8 * x, 0.6, 0.0),
        source::MODEL,
    );
    let aim_mm = ledger.place_mm(
        "layout.skull_base",
        Vector::new(26.0 * x, 5.0, 0.0),
        source::MODEL,
    );
    let at_mm = draft.length_mm(common_carotid);
    let flow = draft.frame(common_carotid, at_mm).tangent;
    let origin = draft.at_end(common_carotid, tilted(flow, side, takeoff_rad));
    let pen = course(
        form,
        who,
        draft,
        shape,
        length_mm,
        diameter_mm,
        turn_diameter_mm,
        origin,
        side,
        aim_mm,
    )?;
    Ok((
        Cervical {
            pen,
            length,
            diameter_mm,
        },
        origin,
    ))
}

#[expect(
    clippy::too_many_arguments,
    reason = "one course drawn from everything already noted; a struct for one call would say less"
)]
fn course(
    form: &Measurements,
    who: Who,
    draft: &mut Draft,
    shape: NeckShape,
    length_mm: f64,
    diameter_mm: f64,
    turn_diameter_mm: Option<f64>,
    origin: Origin,
    side: Vector,
    aim_mm: Vector,
) -> Result<Pen, GeometryError> {
    const SHAPE: &str = "cervical_ica.shape";
    const RATIO: &str = "cervical_ica.length_to_chord";
    let entered = form.cervical_ica.length_to_chord;
    check_ratio(RATIO, entered)?;
    let start = || Pen::new(origin.place_mm, origin.heading);
    let ratio_of = |pen: &Pen| length_mm / (pen.place_mm() - origin.place_mm).norm();
    let from_length = matches!(shape, NeckShape::Tortuous { turn_deg: None });
    if let (Some(ratio), false) = (entered, from_length) {
        return Err(refuse(
            RATIO,
            format!("{ratio:.2}"),
            "left out: the shape decides it",
            "enter it only for a tortuous neck without turn_deg",
        ));
    }
    let s_of = |axis: Vector, half_turn_rad: f64| {
        let mut pen = start();
        wave(&mut pen, axis, side, half_turn_rad, length_mm, EVEN, SHAPE);
        pen
    };
    let pen = match shape {
        NeckShape::Straight => {
            // the class ends at 15 degrees between limbs; a third of that half turn is its middle
            let half_turn_rad = draft.ledger.rad(
                "layout.straight_neck_half_turn",
                None,
                fixed(5.0, source::NECK_ANGLE),
            );
            aimed(aim_mm, |axis| s_of(axis, half_turn_rad))
        }
        NeckShape::Tortuous {
            turn_deg: Some(turn_deg),
        } => {
            let turn_rad = draft.ledger.rad(
                "cervical_ica.shape.turn_deg",
                Some(turn_deg),
                fixed(0.0, source::NECK_ANGLE),
            );
            if 0.5 * turn_rad > WIDEST_S_RAD {
                return Err(refuse(
                    "cervical_ica.shape.turn_deg",
                    format!("{turn_deg:.0} degrees"),
                    format!("at most {:.0} degrees", 2.0 * WIDEST_S_RAD.to_degrees()),
                    "describe it as a Loop or a Coil",
                ));
            }
            aimed(aim_mm, |axis| s_of(axis, 0.5 * turn_rad))
        }
        NeckShape::Tortuous { turn_deg: None } => {
            let ratio = draft
                .ledger
                .number(RATIO, "", entered, who.cervical_ica_ratio());
            let solve = |axis, guess| {
                half_turn(ratio, guess, |a| {
                    let mut pen = start().sketching();
                    wave(&mut pen, axis, side, a, length_mm, EVEN, SHAPE);
                    ratio_of(&pen)
                })
            };
            let mut solved = Err((0.0, 0.0));
            let pen = aimed(aim_mm, |axis| {
                solved = solve(axis, solved.ok());
                s_of(axis, solved.unwrap_or(0.0))
            });
            solved.map_err(|(least, most)| {
                refuse(
                    RATIO,
                    format!("{ratio:.3}"),
                    format!("from {least:.3} to {most:.3}"),
                    "correct it, or describe the neck as a Loop or a Coil",
                )
            })?;
            pen
        }
        NeckShape::Kink {
            interior_angle_deg,
            at,
            bend_radius,
        } => {
            let interior_rad = draft.ledger.rad(
                "cervical_ica.shape.interior_angle_deg",
                Some(interior_angle_deg),
                fixed(0.0, source::MODEL),
            );
            if !(1.0..=120.0).contains(&interior_angle_deg) {
                return Err(refuse(
                    "cervical_ica.shape.interior_angle_deg",
                    format!("{interior_angle_deg:.0} degrees"),
                    "from 1 to 120 degrees, 180 being straight",
                    "describe a wider bend as Tortuous",
                ));
            }
            let at_mm = draft.ledger.mm(
                "cervical_ica.shape.at",
                at,
                fixed(0.5 * length_mm, "derived: half way up, from memory"),
            );
            let radius_mm = kink_radius(draft, bend_radius, diameter_mm);
            let turn_rad = PI - interior_rad;
            let bend_mm = radius_mm * turn_rad;
            let before_mm = at_mm - 0.5 * bend_mm;
            let after_mm = length_mm - at_mm - 0.5 * bend_mm;
            // each limb bends back to the axis, and gently: 10 mm is twice a lumen
            if before_mm < 10.0 || after_mm < 10.0 {
                return Err(refuse(
                    "cervical_ica.shape.at",
                    format!("{at_mm:.0} mm"),
                    format!(
                        "from {:.0} to {:.0} mm",
                        10.0 + 0.5 * bend_mm,
                        length_mm - 10.0 - 0.5 * bend_mm
                    ),
                    "move the kink or lengthen cervical_ica.length",
                ));
            }
            aimed(aim_mm, |axis| {
                let mut pen = start();
                pen.bend_to(tilted(axis, side, 0.5 * turn_rad), before_mm, SHAPE);
                pen.bend(
                    back_from(axis, side, 0.5 * turn_rad),
                    turn_rad,
                    bend_mm,
                    "cervical_ica.shape.bend_radius",
                );
                pen.bend_to(axis, after_mm, SHAPE);
                pen
            })
        }
        NeckShape::Coil { .. } => {
            let turn_mm = turn_diameter_mm.unwrap_or(3.2 * diameter_mm);
            // two lumens apart: the turns of a coil touch in life, their walls between them
            let pitch_mm = draft.ledger.mm(
                "layout.coil_pitch",
                None,
                fixed(
                    2.0 * diameter_mm,
                    "derived: two lumen diameters, so that the turn clears itself",
                ),
            );
            let circle_mm = PI * turn_mm;
            let slant_rad = math::atan(pitch_mm / circle_mm);
            let helix_mm = math::hypot(circle_mm, pitch_mm);
            let rest_mm = length_mm - helix_mm;
            if rest_mm < 20.0 {
                return Err(refuse(
                    "cervical_ica.length",
                    format!("{length_mm:.0} mm"),
                    format!(
                        "at least {:.0} mm with a coil of {turn_mm:.0} mm",
                        helix_mm + 20.0
                    ),
                    "lengthen it or narrow shape.turn_diameter",
                ));
            }
            let before = draft.ledger.share("layout.neck_before_coil", 0.45);
            aimed(aim_mm, |axis| {
                let across = (side - axis * axis.dot(&side)).normalize();
                let hub = across.cross(&axis);
                // the tangent leans along the hub, the axis the vessel winds about
                let heading = |turned_rad: f64| {
                    (axis * math::cos(turned_rad) + across * math::sin(turned_rad))
                        * math::cos(slant_rad)
                        + hub * math::sin(slant_rad)
                };
                let mut pen = start();
                pen.bend_to(heading(0.0), before * rest_mm, SHAPE);
                for i in 1..=COIL_PIECES {
                    let turned_rad = TAU * f64::from(i) / f64::from(COIL_PIECES);
                    let piece_mm = helix_mm / f64::from(COIL_PIECES);
                    pen.bend_to(
                        heading(turned_rad),
                        piece_mm,
                        "cervical_ica.shape.turn_diameter",
                    );
                }
                pen.bend_to(axis, (1.0 - before) * rest_mm, SHAPE);
                pen
            })
        }
        NeckShape::Loop {
            interior_angle_deg,
            bend_radius,
        } => {
            let interior_rad = draft.ledger.rad(
                "cervical_ica.shape.interior_angle_deg",
                interior_angle_deg,
                fixed(70.0, source::LOOP_CLASS),
            );
            let interior_deg = interior_rad.to_degrees();
            if !(20.0..90.0).contains(&interior_deg) {
                return Err(refuse(
                    "cervical_ica.shape.interior_angle_deg",
                    format!("{interior_deg:.0} degrees"),
                    "from 20 to below 90 degrees",
                    "describe wider bends as Tortuous",
                ));
            }
            let radius_mm = kink_radius(draft, bend_radius, diameter_mm);
            let turn_rad = PI - interior_rad;
            let bend_mm = radius_mm * turn_rad;
            let rest_mm = length_mm - 2.0 * bend_mm;
            if rest_mm < 40.0 {
                return Err(refuse(
                    "cervical_ica.length",
                    format!("{length_mm:.0} mm"),
                    format!(
                        "at least {:.0} mm with two such bends",
                        2.0 * bend_mm + 40.0
                    ),
                    "lengthen it or tighten shape.bend_radius",
                ));
            }
            let link = draft.ledger.share("layout.neck_between_loop_bends", 0.2);
            let limb = 0.5 * (1.0 - link);
            // the limbs lean the other way, so that the S stays on its axis
            let lean_rad = -turn_rad * draft.ledger.share("layout.loop_lean_of_turn", 1.0 / 3.0);
            aimed(aim_mm, |axis| {
                let mut pen = start();
                pen.bend_to(tilted(axis, side, lean_rad), limb * rest_mm, SHAPE);
                pen.bend(side, turn_rad, bend_mm, "cervical_ica.shape.bend_radius");
                pen.straight(link * rest_mm, SHAPE);
                pen.bend(
                    back_from(axis, side, lean_rad + turn_rad),
                    turn_rad,
                    bend_mm,
                    "cervical_ica.shape.bend_radius",
                );
                pen.bend_to(axis, limb * rest_mm, SHAPE);
                pen
            })
        }
    };
    if !from_length {
        draft.ledger.number(
            RATIO,
            "",
            None,
            fixed(ratio_of(&pen), "derived from cervical_ica.shape"),
        );
    }
    Ok(pen)
}

/// Radius of an acute bend's centre line: 1.25 lumen radii unless measured. Tighter ones fold the
/// wall inwards, which narrows the lumen by an amount that no angle tells.
fn kink_radius(draft: &mut Draft, measured_mm: Option<f64>, diameter_mm: f64) -> f64 {
    draft.ledger.mm(
        "cervical_ica.shape.bend_radius",
        measured_mm,
        fixed(
            0.625 * diameter_mm,
            "derived: 1.25 lumen radii, the tightest bend that leaves the lumen open, no source",
        ),
    )
}
