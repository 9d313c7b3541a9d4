//! Wires and struts of stents and retrievers, drawn on a sleeve along the route.
//!
//! The sleeve tells station, middle and radius by material: 0 at the far end, 1 at the near one. The
//! pattern of wires on it never changes, so that stretching, opening and closing only move points.

use super::WireMesh;
use crate::device::{Cells, RetrieverSpec, StentDesign, StentSpec};
use crate::geometry::{Frame, Point};
use crate::math;
use std::f64::consts::{PI, TAU};

/// A place on the sleeve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Hoop {
    pub(crate) frame: Frame,
    /// Middle, on the first and second normal, mm.
    pub(crate) offset_mm: [f64; 2],
    pub(crate) radius_mm: f64,
}

impl Hoop {
    fn at(&self, turn_rad: f64) -> Point {
        let u = self.offset_mm[0] + self.radius_mm * math::cos(turn_rad);
        let v = self.offset_mm[1] + self.radius_mm * math::sin(turn_rad);
        self.frame.place([u, v])
    }
}

/// `(material, angle)` along each wire.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pattern {
    wires: Vec<Vec<(f64, f64)>>,
    pub(super) wire_radius_mm: f64,
}

/// Points of a wire on one turn round the sleeve: chords leave it by 2 % of its radius.
const POINTS_A_TURN: f64 = 16.0;
/// Fewest stretches of a wire: long struts follow the bends of the vessel.
const FEWEST_POINTS: u32 = 40;
/// Axial length of a retriever's cell at rest, mm, crowns round it and radius of its struts, mm (assumed;
/// no product is meant).
const RETRIEVER: (f64, u32, f64) = (5.0, 4, 0.045);
/// Share of a retriever's length over which its struts run together into the pusher (assumed).
pub(super) const RUNS_TOGETHER: f64 = 0.22;

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "small positive counts, clamped"
)]
fn count(x: f64, least: u32, most: u32) -> u32 {
    x.round().clamp(f64::from(least), f64::from(most)) as u32
}

impl Pattern {
    /// As many wires as the stent has, or zigzag rings of its cells.
    pub(super) fn of_stent(spec: &StentSpec) -> Self {
        let wire_radius_mm = 0.5 * spec.rim_thickness_mm();
        match spec.design {
            StentDesign::Braided {
                wires,
                braid_angle_deg,
                ..
            } => {
                // a wire climbs by the tangent of its angle from the circumference
                let lead_mm = PI * spec.free_diameter_mm * math::tan(braid_angle_deg.to_radians());
                Self::braid(
                    wires.clamp(4, 64),
                    spec.free_length_mm / lead_mm,
                    wire_radius_mm,
                )
            }
            StentDesign::Cut {
                cells,
                cell_length_mm,
                ..
            } => {
                let rings = count(spec.free_length_mm / cell_length_mm, 2, 40);
                Self::rings(rings, spec.crowns().clamp(3, 16), cells, wire_radius_mm)
            }
        }
    }

    pub(super) fn of_retriever(spec: &RetrieverSpec) -> Self {
        let (cell_mm, crowns, radius_mm) = RETRIEVER;
        // wires of one way and the other cross so often that cells have that length
        let turns = spec.free_length_mm / (cell_mm * f64::from(crowns));
        Self::braid(2 * crowns, turns.max(0.5), radius_mm)
    }

    /// Half of the wires wound one way and half the other.
    fn braid(wires: u32, turns: f64, wire_radius_mm: f64) -> Self {
        let cells = count(turns * POINTS_A_TURN, FEWEST_POINTS, 200);
        let half = wires.div_ceil(2);
        let wire = |i: u32| {
            let (way, place) = if i < half { (1.0, i) } else { (-1.0, i - half) };
            let phase = TAU * f64::from(place) / f64::from(half);
            (0..=cells)
                .map(|c| {
                    let u = f64::from(c) / f64::from(cells);
                    (u, phase + way * TAU * turns * u)
                })
                .collect()
        };
        Self {
            wires: (0..wires).map(wire).collect(),
            wire_radius_mm,
        }
    }

    /// Zigzag rings, crown to crown where cells are closed; else with a gap and every third pair of crowns
    /// joined.
    fn rings(rings: u32, crowns: u32, cells: Cells, wire_radius_mm: f64) -> Self {
        let cell = 1.0 / f64::from(rings);
        let gap = match cells {
            Cells::Closed => 0.0,
            Cells::Open => 0.15 * cell,
        };
        let mut wires = Vec::new();
        for ring in 0..rings {
            let (far, near) = (f64::from(ring) * cell, f64::from(ring + 1) * cell - gap);
            let corner = |i: u32| {
                let odd = (i + ring) % 2 == 1;
                let turn = PI * f64::from(i) / f64::from(crowns);
                (if odd { far } else { near }, turn)
            };
            wires.push((0..=2 * crowns).map(corner).collect());
            if gap > 0.0 && ring + 1 < rings {
                for i in (0..2 * crowns).filter(|i| (i + ring) % 2 == 0).step_by(3) {
                    let (u, turn) = corner(i);
                    wires.push(vec![(u, turn), (u + gap, turn)]);
                }
            }
        }
        Self {
            wires,
            wire_radius_mm,
        }
    }

    /// The wires on a sleeve of two hoops or more, evenly spaced by material.
    pub(crate) fn on(&self, sleeve: &[Hoop]) -> WireMesh {
        let point = |&(u, turn): &(f64, f64)| {
            #[expect(clippy::cast_precision_loss, reason = "few hoops")]
            let place = u.clamp(0.0, 1.0) * (sleeve.len() - 1) as f64;
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "between 0 and the number of hoops"
            )]
            let i = (place as usize).min(sleeve.len() - 2);
            #[expect(clippy::cast_precision_loss, reason = "few hoops")]
            let share = place - i as f64;
            let (a, b) = (sleeve[i].at(turn), sleeve[i + 1].at(turn));
            a + (b - a) * share
        };
        WireMesh {
            wires: if sleeve.len() < 2 {
                Vec::new()
            } else {
                let wires = self.wires.iter();
                wires.map(|w| w.iter().map(point).collect()).collect()
            },
            radius_mm: self.wire_radius_mm,
            sleeve: sleeve.to_vec(),
        }
    }

    /// Material, 0 at the far end and 1 at the near one, of each point of each wire.
    pub(crate) fn material(&self) -> impl Iterator<Item = impl Iterator<Item = f64> + '_> + '_ {
        self.wires.iter().map(|wire| wire.iter().map(|p| p.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Vector;

    fn sleeve(length_mm: f64, radius_mm: f64) -> Vec<Hoop> {
        let hoop = |i: u32| Hoop {
            frame: Frame::new(
                Point::new(0.0, 0.0, -length_mm * f64::from(i) / 40.0),
                Vector::z(),
                Vector::x(),
            ),
            offset_mm: [0.0; 2],
            radius_mm,
        };
        (0..=40).map(hoop).collect()
    }

    #[test]
    fn exact_wires_of_a_braid_keep_their_length() {
        let spec = StentSpec {
            design: StentDesign::Braided {
                wires: 24,
                wire_diameter_mm: 0.1,
                braid_angle_deg: 30.0,
                youngs_modulus_gpa: 206.0,
                poisson_ratio: 0.3,
            },
            free_diameter_mm: 8.0,
            free_length_mm: 40.0,
            nose_length_mm: 15.0,
        };
        let pattern = Pattern::of_stent(&spec);
        let length = |diameter_mm: f64| {
            let mesh = pattern.on(&sleeve(
                spec.deployed_length_mm(diameter_mm),
                0.5 * diameter_mm,
            ));
            assert_eq!(mesh.wires.len(), 24, "every wire");
            let wire = &mesh.wires[0];
            wire.windows(2).map(|w| (w[1] - w[0]).norm()).sum::<f64>()
        };
        // a wire's length is L / sin(angle) at rest: 80 mm; chords are a little shorter
        for diameter_mm in [8.0, 6.0, 4.0] {
            let found = length(diameter_mm);
            assert!((found - 80.0).abs() < 0.8, "{diameter_mm}: {found}");
        }
    }

    #[test]
    fn exact_closed_cells_meet_crown_to_crown() {
        let pattern = Pattern::rings(3, 4, Cells::Closed, 0.05);
        let ends = |ring: usize, far: bool| -> Vec<i32> {
            let pick = if far { f64::min } else { f64::max };
            let edge = pattern.wires[ring]
                .iter()
                .map(|p| p.0)
                .fold(pattern.wires[ring][0].0, pick);
            let at_edge = pattern.wires[ring]
                .iter()
                .filter(|p| (p.0 - edge).abs() < 1e-9);
            #[expect(clippy::cast_possible_truncation, reason = "degrees")]
            let mut turns: Vec<i32> = at_edge
                .map(|p| p.1.to_degrees().round() as i32 % 360)
                .collect();
            turns.sort_unstable();
            turns.dedup();
            turns
        };
        assert_eq!(ends(0, false), ends(1, true), "crowns of two rings");
    }
}
