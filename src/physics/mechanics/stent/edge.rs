//! A ledge that crosses the rim of a stent: signed clearance, and how often it catches.
//!
//! The probability compares plans with each other: what is drawn at random are assumed spreads, and
//! no rate of catching is published, so it is never a clinical rate.

use super::chance::{Chance, Drawn, NOMINAL, Sampling, Stream};
use crate::math;
use crate::threads::in_order;

use super::apposition::Rim;
use super::apposition::direction;
use crate::mechanics::error::MechanicsError;
use crate::units::Allowed;
use crate::units::text;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// What arrives at the rim.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Ledge {
    /// Outer radius of the device that crosses, mm.
    pub outer_radius_mm: f64,
    /// Outer radius of what it rides on, mm: the step between both is the ledge. Zero for the open
    /// struts of a retriever, which a crown may enter anywhere; the outer radius itself for a device
    /// without a step.
    pub inner_radius_mm: f64,
    /// Least and largest radius of its rounded edge, mm.
    pub rounding_mm: (f64, f64),
    /// Tolerance of its diameter, mm either way.
    pub tolerance_mm: f64,
    /// Friction on the stent's metal.
    pub friction_coefficient: f64,
}

impl Ledge {
    /// Height of the step, mm.
    #[must_use]
    pub fn height_mm(&self) -> f64 {
        (self.outer_radius_mm - self.inner_radius_mm).max(0.0)
    }
}

/// Where the ledge passes and how far the covering catheter falls back: from the centre line, from a
/// settled state, or entered.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Placement {
    /// Offset of its axis from the middle of the vessel on the first and second normal, mm.
    pub offset_mm: [f64; 2],
    /// Angle between its axis and the vessel's, rad, >= 0.
    pub approach_rad: f64,
    /// How far the covering tip comes back while the stack is pulled, mm, >= 0.
    pub fall_back_mm: f64,
}

/// One crossing of one edge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Crossing {
    /// The rim.
    pub rim: Rim,
    /// What arrives.
    pub ledge: Ledge,
    /// Where it passes.
    pub place: Placement,
    /// Whether the rim's end looks towards what arrives; one that looks away lets it slide off.
    pub faces: bool,
    /// Smallest distance of the covering catheter's tip beyond the edge during the crossing, mm,
    /// before any fall-back; none where nothing covers.
    pub cover_mm: Option<f64>,
}

/// What is not known, and how much. Every width is assumed (no source) unless it says otherwise;
/// zero switches it off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Spread {
    /// Standard deviation of the logarithm of the rim's shift and crowns' stand-off. Default 0.28:
    /// a stent's bending stiffness is known to a factor of 3 either way (95 %), and the shift goes
    /// with its root.
    #[serde(deserialize_with = "text::deviation")]
    pub bend_log: f64,
    /// Standard deviation of an irregular stand-off of each crown, mm, inwards only. Default 0.05:
    /// half a wire.
    #[serde(deserialize_with = "text::deviation")]
    pub irregular_mm: f64,
    /// Share of the spacing of the crowns by which the rim is turned. Default 1: any rotation.
    #[serde(deserialize_with = "text::share")]
    pub rotation: f64,
    /// Standard deviation of the strut's thickness over its nominal one. Default 0.05.
    #[serde(deserialize_with = "text::share")]
    pub thickness: f64,
    /// Largest share of its thickness that a strut without gap sinks into the wall. Default 0.5.
    #[serde(deserialize_with = "text::share")]
    pub sunk: f64,
    /// Standard deviation of the device's offset across the vessel, in each direction, over the room
    /// it has. Default 0.3: the wire may bias it to any side.
    #[serde(deserialize_with = "text::deviation")]
    pub offset: f64,
    /// Standard deviation of the logarithm of the fall-back. Default 0.56: a factor of 3 either way
    /// (95 %), as shaft stiffness is known.
    #[serde(deserialize_with = "text::deviation")]
    pub fall_back_log: f64,
    /// Share of the device's tolerance that is used. Default 1.
    #[serde(deserialize_with = "text::share")]
    pub tolerance: f64,
    /// Whether the rounding of the ledge varies over its range; else it is the middle of it.
    pub rounding: bool,
}

impl Default for Spread {
    fn default() -> Self {
        Self {
            bend_log: 0.28,
            irregular_mm: 0.05,
            rotation: 1.0,
            thickness: 0.05,
            sunk: 0.5,
            offset: 0.3,
            fall_back_log: 0.56,
            tolerance: 1.0,
            rounding: true,
        }
    }
}

impl Spread {
    /// Nothing varies.
    #[must_use]
    pub fn none() -> Self {
        Self {
            bend_log: 0.0,
            irregular_mm: 0.0,
            rotation: 0.0,
            thickness: 0.0,
            sunk: 0.0,
            offset: 0.0,
            fall_back_log: 0.0,
            tolerance: 0.0,
            rounding: false,
        }
    }
}

/// How near the ledge comes to the rim, everything as nominal and the rim solid all round.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Clearance {
    /// Signed distance, mm: negative is how deep the ledge and the rim, with the gap behind it,
    /// overlap.
    pub clearance_mm: f64,
    /// Direction in which it is least, rad from the first normal.
    pub angle_rad: f64,
    /// Gap of the rim there, mm.
    pub gap_mm: f64,
    /// Depth that the ledge's rounded edge rides over without catching, mm.
    pub rides_over_mm: f64,
}

/// The crossing with one draw put in.
struct Case<'a> {
    crossing: &'a Crossing,
    /// Parts along the normals of the direction to the bend's inside.
    inside: [f64; 2],
    bend_factor: f64,
    thickness_mm: f64,
    sunk: f64,
    outer_mm: f64,
    offset_mm: [f64; 2],
    rides_over_mm: f64,
    fall_back_mm: f64,
}

impl<'a> Case<'a> {
    fn new(crossing: &'a Crossing, spread: &Spread, drawn: &Drawn) -> Self {
        let (rim, ledge, place) = (&crossing.rim, &crossing.ledge, &crossing.place);
        let outer_mm = ledge.outer_radius_mm
            + 0.5 * ledge.tolerance_mm * spread.tolerance * (2.0 * drawn.tolerance - 1.0);
        let room_mm = (rim.wall_radius_mm - outer_mm).max(0.0);
        let mut offset_mm =
            [0, 1].map(|i| place.offset_mm[i] + spread.offset * room_mm * drawn.offset[i]);
        let size_mm = math::hypot(offset_mm[0], offset_mm[1]);
        if size_mm > room_mm {
            offset_mm = offset_mm.map(|x| x * room_mm / size_mm);
        }
        let (least, most) = ledge.rounding_mm;
        let part = if spread.rounding { drawn.rounding } else { 0.5 };
        let rounding_mm = least + (most - least) * part;
        // A corner of height h meets the round edge where its normal leans arccos(1 - h/r) from the
        // radius; it is ridden over while that stays below a right angle less friction and approach.
        let lean = math::atan(ledge.friction_coefficient) + place.approach_rad;
        let rides_over_mm = rounding_mm * (1.0 - math::sin(lean.min(0.25 * TAU)));
        Self {
            crossing,
            inside: direction(rim.inside_rad),
            bend_factor: math::exp(spread.bend_log * drawn.bend),
            thickness_mm: rim.thickness_mm * (1.0 + spread.thickness * drawn.thickness).max(0.0),
            sunk: spread.sunk * drawn.sunk,
            outer_mm,
            offset_mm,
            rides_over_mm,
            fall_back_mm: place.fall_back_mm * math::exp(spread.fall_back_log * drawn.fall_back),
        }
    }

    /// Gap of the rim and signed clearance of the ledge in one direction, mm; infinite where the
    /// ledge does not reach.
    fn at(&self, towards: [f64; 2], irregular_mm: f64) -> (f64, f64) {
        let rim = &self.crossing.rim;
        let gap_mm = rim.gap_towards_mm(towards, self.inside, self.bend_factor) + irregular_mm;
        // a strut on the wall sinks into it, one that stands off does not
        let sunk_mm = (self.sunk * self.thickness_mm - gap_mm).max(0.0);
        let rim_inner_mm = rim.wall_radius_mm - gap_mm - self.thickness_mm + sunk_mm;
        let [cos, sin] = towards;
        let along_mm = self.offset_mm[0] * cos + self.offset_mm[1] * sin;
        let across_mm = self.offset_mm[1] * cos - self.offset_mm[0] * sin;
        let reach = |radius_mm: f64| {
            let square = radius_mm * radius_mm - across_mm * across_mm;
            (square >= 0.0).then(|| along_mm + square.sqrt())
        };
        let Some(outer_mm) = reach(self.outer_mm).filter(|r| *r > 0.0) else {
            return (gap_mm, f64::INFINITY);
        };
        if outer_mm <= rim_inner_mm {
            return (gap_mm, rim_inner_mm - outer_mm);
        }
        let step_mm = self.crossing.ledge.height_mm();
        let carried_mm = reach((self.outer_mm - step_mm).max(0.0)).unwrap_or(0.0);
        let overlap_mm = outer_mm - carried_mm.max(rim_inner_mm);
        (gap_mm, -overlap_mm.max(0.0))
    }

    /// Whether any crown of the rim is caught by more than the rounded edge rides over.
    fn catches(&self, spread: &Spread, drawn: &Drawn, mut irregular: impl FnMut() -> f64) -> bool {
        let crowns = self.crossing.rim.crowns.max(1);
        let spacing_rad = TAU / f64::from(crowns);
        let next = direction(spacing_rad);
        let mut towards = direction(spacing_rad * spread.rotation * drawn.rotation);
        (0..crowns).any(|_| {
            let (_, clearance_mm) = self.at(towards, spread.irregular_mm * irregular());
            let [cos, sin] = towards;
            towards = [cos * next[0] - sin * next[1], cos * next[1] + sin * next[0]];
            clearance_mm < -self.rides_over_mm
        })
    }
}

impl Crossing {
    /// Refuses what cannot be crossed.
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] with the quantity.
    pub fn check(&self) -> Result<(), MechanicsError> {
        let above_zero: [(&str, f64); 2] = [
            ("rim.wall_radius_mm", self.rim.wall_radius_mm),
            ("ledge.outer_radius_mm", self.ledge.outer_radius_mm),
        ];
        let not_below: [(&str, f64); 6] = [
            ("rim.thickness_mm", self.rim.thickness_mm),
            ("ledge.inner_radius_mm", self.ledge.inner_radius_mm),
            ("ledge.rounding_mm", self.ledge.rounding_mm.0),
            (
                "ledge.friction_coefficient",
                self.ledge.friction_coefficient,
            ),
            ("place.approach_rad", self.place.approach_rad),
            ("place.fall_back_mm", self.place.fall_back_mm),
        ];
        let refuse = |what: &str, found: f64, needed| {
            Err(MechanicsError::OutOfRange {
                what: what.into(),
                found,
                needed,
            })
        };
        for (what, found) in above_zero {
            if !(found > 0.0 && found.is_finite()) {
                return refuse(what, found, Allowed::POSITIVE);
            }
        }
        for (what, found) in not_below {
            if !(found >= 0.0 && found.is_finite()) {
                return refuse(what, found, Allowed::NOT_NEGATIVE);
            }
        }
        if let Some(bad) = self.place.offset_mm.iter().find(|x| !x.is_finite()) {
            return refuse("place.offset_mm", *bad, Allowed::FINITE);
        }
        Ok(())
    }

    /// Signed clearance with everything as nominal and the rim solid all round: exact geometry of
    /// circles, to a degree of direction.
    ///
    /// # Errors
    /// As [`Self::check`].
    pub fn clearance(&self) -> Result<Clearance, MechanicsError> {
        self.check()?;
        let case = Case::new(self, &Spread::none(), &NOMINAL);
        let mut worst = Clearance {
            clearance_mm: f64::INFINITY,
            angle_rad: 0.0,
            gap_mm: 0.0,
            rides_over_mm: case.rides_over_mm,
        };
        for degree in 0..360 {
            let angle_rad = f64::from(degree).to_radians();
            let (gap_mm, clearance_mm) = case.at(direction(angle_rad), 0.0);
            if clearance_mm < worst.clearance_mm {
                worst = Clearance {
                    clearance_mm,
                    angle_rad,
                    gap_mm,
                    ..worst
                };
            }
        }
        Ok(worst)
    }

    /// Samples what is not known. An edge that looks away, or a device without a step, catches in no
    /// sample.
    ///
    /// # Errors
    /// As [`Self::check`]; [`MechanicsError::OutOfRange`] for no samples or no thread.
    pub fn chance(&self, spread: &Spread, sampling: &Sampling) -> Result<Chance, MechanicsError> {
        self.check()?;
        for (what, found) in [
            ("sampling.samples", sampling.samples),
            ("sampling.threads", sampling.threads),
        ] {
            if found == 0 {
                return Err(MechanicsError::OutOfRange {
                    what: what.into(),
                    found: 0.0,
                    needed: Allowed::in_words("at least 1").at_least(1.0),
                });
            }
        }
        let mut fall_backs_mm = Vec::new();
        if self.faces {
            let share = sampling.samples.div_ceil(sampling.threads);
            let parts: Vec<(u32, u32)> = (0..sampling.threads)
                .map(|t| {
                    let from = t.saturating_mul(share).min(sampling.samples);
                    (from, from.saturating_add(share).min(sampling.samples))
                })
                .collect();
            let found = in_order(&parts, parts.len(), |(from, to)| {
                self.sample(spread, sampling.seed, *from, *to)
            });
            fall_backs_mm = found.concat();
        }
        Ok(Chance::new(sampling.samples, fall_backs_mm))
    }

    /// Fall-backs of the samples that catch, mm.
    fn sample(&self, spread: &Spread, seed: u64, from: u32, to: u32) -> Vec<f64> {
        (from..to)
            .filter_map(|i| {
                let mut stream = Stream::new(seed, i);
                let drawn = stream.draw();
                let case = Case::new(self, spread, &drawn);
                let irregular = || stream.normal()[0].abs();
                case.catches(spread, &drawn, irregular)
                    .then_some(case.fall_back_mm)
            })
            .collect()
    }
}
