//! What an equilibrium looks like.

use crate::geometry::{Point, Vector};
use crate::math;
use crate::mechanics::rod::scene::MOST_RODS;
use serde::{Deserialize, Serialize};

/// How a solve ended. One that did not converge is an error instead.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum Status {
    /// In balance, and all that was brought to agreement by rounds agrees.
    Converged,
    /// In balance under loads that are this far from those that the shape calls for
    /// ([`Flag::Unsettled`]): not converged.
    Unsettled {
        /// Largest mismatch of the configurational load, N.
        load_n: f64,
    },
    /// In balance, but a rod leaves the centre line's direction by more than the setting allows:
    /// loops and prolapse lie outside the model, so its numbers must not be used.
    OutsideModel {
        /// The rod.
        rod: usize,
        /// Where, arc length of the centre line, mm.
        station_mm: f64,
        /// Angle between rod and centre line there, degrees.
        angle_deg: f64,
    },
}

/// What to know about an equilibrium that is in balance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum Flag {
    /// The Hessian was not positive definite where the load path or the solve passed or ended:
    /// other equilibria exist, and a different start may reach them.
    SeveralEquilibria,
    /// A load that follows the shape ([`AxialLoad::Frictionless`](crate::mechanics::rod::scene::AxialLoad)) and the shape
    /// were still changing each other when the rounds ran out. The state is in balance under the
    /// loads reported, which are this far from those that its shape calls for.
    Unsettled {
        /// Largest mismatch of the configurational load, N.
        load_n: f64,
    },
    /// A rod is wider than the vessel here and is kept in the middle by the wall's stiffness.
    WiderThanLumen {
        /// The rod.
        rod: usize,
        /// Where it is tightest, arc length of the centre line, mm.
        station_mm: f64,
        /// By how much the diameter is larger, mm.
        excess_mm: f64,
    },
    /// The wall gives more than 0.1 mm: raise its stiffness if a vessel of this shape is meant.
    DeepIndentation {
        /// The rod.
        rod: usize,
        /// Where it is deepest, arc length of the centre line, mm.
        station_mm: f64,
        /// Indentation, mm.
        indentation_mm: f64,
    },
}

/// Force of one contact place on a rod.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Contact {
    /// The rod.
    pub rod: usize,
    /// The other rod; none is the vessel.
    pub other: Option<usize>,
    /// Arc length of the centre line, mm.
    pub station_mm: f64,
    /// Length of centre line the place stands for, mm.
    pub length_mm: f64,
    /// Force on `rod` on the first and second normal, N, shape `[2]`; the other rod feels the opposite.
    pub force_n: [f64; 2],
    /// The force in space, N: the one normal to the rod (between two rods, to their mean) whose
    /// part in the station's plane is `force_n`. Nodes cannot leave their planes, so a solve finds
    /// that part only; without friction the rest is the plane's, and with it forces and the axial
    /// load balance along the rod to second order in the spacing.
    pub force_in_space_n: Vector,
    /// `force_n` in space, N: what the wall answers to the rod's moving across the centre line.
    pub force_across_n: Vector,
    /// Indentation, mm; negative inside the onset.
    pub indentation_mm: f64,
}

/// One rod in equilibrium.
///
/// Lists run side by side over its nodes, shape `[nodes]`: the tube's stations as far as it reaches, from station 0 on,
/// then its tip. Where a rod runs through the exit plane the last node is the last station.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct RodState {
    /// Arc length of the centre line, mm, `[nodes]`, rising.
    pub station_mm: Vec<f64>,
    /// Offset from the centre line on the first and second normal, mm, `[nodes]` of `[2]`.
    pub offset_mm: Vec<[f64; 2]>,
    /// Position in space, mm, `[nodes]`: the path.
    pub position_mm: Vec<Point>,
    /// Distance from the tip (or the exit plane) along the rod, mm, `[nodes]`, falling to 0.
    pub from_tip_mm: Vec<f64>,
    /// Curvature, 1/mm, `[nodes]`, >= 0; zero at an end free to turn.
    pub curvature_per_mm: Vec<f64>,
    /// Bending moment, N mm, `[nodes]`.
    pub moment_n_mm: Vec<f64>,
    /// Configurational load, N, `[nodes]`, negative pushes: the axial force where the rod is straight, see
    /// [`AxialLoad`](crate::mechanics::AxialLoad).
    pub load_n: Vec<f64>,
    /// Bending energy, N mm: that of the polyline, which the solve minimises, and
    /// [`Self::averaging_n_mm`].
    pub bending_energy_n_mm: f64,
    /// Second-order correction for what the polyline averages away, N mm: `h²/12` times the integral of
    /// `B kappa'²`, `kappa` being the elastic curvature and `h` the length of an edge. Where dead loads do
    /// work the shape's own error, of the same order, stays: energies are stationary there only with it.
    pub averaging_n_mm: f64,
    /// Length of the rod from station 0 to its end, mm: what must have been fed.
    pub path_length_mm: f64,
    /// Length of the centre line it spans, mm.
    pub centre_line_mm: f64,
    /// Roll of the natural curvature, rad.
    pub roll_rad: f64,
    /// Angle between rod and centre line at its last cell, rad.
    pub end_angle_rad: f64,
    /// Weight of the node before the tip in all sums, 0 to 1; below 1 while a node is handed
    /// over.
    pub last_weight: f64,
}

impl RodState {
    /// The node behind an arc length of the centre line, and which part of the way to it from the node before lies there, 0
    /// to 1; clamped to the rod's ends.
    pub(crate) fn place(&self, s_mm: f64) -> (usize, f64) {
        let stations = &self.station_mm;
        let b = stations
            .partition_point(|t| *t <= s_mm)
            .clamp(1, stations.len() - 1);
        let (before, behind) = (stations[b - 1], stations[b]);
        (b, ((s_mm - before) / (behind - before)).clamp(0.0, 1.0))
    }
}

/// An equilibrium.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Solution {
    /// How the solve ended.
    pub status: Status,
    /// The rods, `[rods]`, in the scene's order.
    pub rods: Vec<RodState>,
    /// All contacts that carry force, along the tube.
    pub contacts: Vec<Contact>,
    /// Energy stored in walls and contacts, N mm.
    pub contact_energy_n_mm: f64,
    /// Largest force out of balance, N.
    pub residual_n: f64,
    /// Largest difference between the loads used and those that the shape calls for, N: rounds bring the
    /// two together. Zero where no load follows the shape.
    pub load_off_n: f64,
    /// How far stiffness and diameters lie from where the shape puts them along the rods, mm. Zero where they
    /// change on none. (Stiffness of a rod held at its hub follows the shape at every evaluation.)
    pub length_off_mm: f64,
    /// Work: unknowns of all factorisations since the solve began, those of tries that were lost included.
    pub factorised_unknowns: u64,
    /// Newton steps.
    pub steps: usize,
    /// Factorisations, those with a shift included.
    pub factorisations: usize,
    /// Largest force out of balance before every step, N, over all stages.
    pub residuals_n: Vec<f64>,
    /// Energy after every step, N mm, in runs: a new one wherever coefficients change (stiffness
    /// follows the rod's own arc length, walls stiffen in stages, devices part).
    pub energies_n_mm: Vec<Vec<f64>>,
    /// Smallest eigenvalue of the Hessian in the offsets, N/mm, where the settings ask for it.
    pub smallest_eigenvalue_n_per_mm: Option<f64>,
    /// What to know besides.
    pub flags: Vec<Flag>,
    /// Multiplications and additions of the last factorisation.
    pub factorisation_flops: f64,
    /// How far it moved from the shape it was kept near, mm.
    pub moved_mm: f64,
    /// By how much rods (rows) whose hubs are held lengthen for a push of 1 N on each (columns), mm/N; zero beyond
    /// the scene's rods.
    pub compliance_mm_per_n: [[f64; MOST_RODS]; MOST_RODS],
}

/// Neighbouring contacts of one rod with one partner.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Zone {
    /// The rod.
    pub rod: usize,
    /// The other rod; none is the vessel.
    pub other: Option<usize>,
    /// First contact, arc length of the centre line, mm.
    pub from_mm: f64,
    /// Last contact, mm.
    pub to_mm: f64,
    /// Centre of force, mm.
    pub station_mm: f64,
    /// Resultant in space, N, of the forces normal to the rod ([`Contact::force_in_space_n`]): what
    /// balances the rod. Where a rod leaves the exit plane at the angle `alpha` to the wall this is what
    /// the wall answers over `cos alpha`.
    pub force_in_space_n: Vector,
    /// Resultant in space of what the wall itself answers ([`Contact::force_across_n`]), N.
    pub force_across_n: Vector,
    /// Sum of the sizes of what the wall answers, N: larger than the size of that resultant where the zone
    /// wraps a bend.
    pub sum_of_sizes_n: f64,
}

impl Solution {
    /// Contacts grouped into zones: places of one pair at most `gap_mm` apart. Compare resultants,
    /// never single places: a point contact splits over two of them; 2 mm and 1e-4 N suit stations a millimetre
    /// apart. Places with less than
    /// `least_force_n` a millimetre of centre line (or in all, where they stand for more) are left out.
    #[must_use]
    pub fn zones(&self, gap_mm: f64, least_force_n: f64) -> Vec<Zone> {
        self.zones_by(|_| gap_mm, least_force_n)
    }

    /// The same with a gap of its own for every contact.
    pub(crate) fn zones_by(
        &self,
        gap_mm: impl Fn(&Contact) -> f64,
        least_force_n: f64,
    ) -> Vec<Zone> {
        let mut zones: Vec<Zone> = Vec::new();
        for contact in &self.contacts {
            let size = math::hypot(contact.force_n[0], contact.force_n[1]);
            if size < least_force_n * contact.length_mm.min(1.0) {
                continue;
            }
            let open = zones.iter_mut().rev().find(|z| {
                z.rod == contact.rod
                    && z.other == contact.other
                    && contact.station_mm - z.to_mm <= gap_mm(contact)
                    // the other side of the lumen is another zone
                    && z.force_in_space_n.dot(&contact.force_in_space_n) > 0.0
            });
            if let Some(zone) = open {
                let whole = zone.sum_of_sizes_n + size;
                zone.station_mm += (contact.station_mm - zone.station_mm) * size / whole;
                zone.to_mm = contact.station_mm;
                zone.force_in_space_n += contact.force_in_space_n;
                zone.force_across_n += contact.force_across_n;
                zone.sum_of_sizes_n = whole;
            } else {
                zones.push(Zone {
                    rod: contact.rod,
                    other: contact.other,
                    from_mm: contact.station_mm,
                    to_mm: contact.station_mm,
                    station_mm: contact.station_mm,
                    force_in_space_n: contact.force_in_space_n,
                    force_across_n: contact.force_across_n,
                    sum_of_sizes_n: size,
                });
            }
        }
        zones
    }

    /// Whether loads and shape did not come to agree.
    pub(crate) fn is_unsettled(&self) -> bool {
        matches!(self.status, Status::Unsettled { .. })
    }

    /// Sum of all bending energies, N mm.
    #[must_use]
    pub fn bending_energy_n_mm(&self) -> f64 {
        self.rods.iter().map(|r| r.bending_energy_n_mm).sum()
    }
}
