//! What it costs to move a tip on: the answer of the walls it presses, and of rods inside it.
//!
//! A rod without friction that slides on by `dL` while its tip moves on by `ds` pays what its tip
//! presses further into walls: `tau_tip dL = -dU`. For a force `N` on the tip of a straight wall
//! at the angle `alpha` this is `-N sin alpha`. Walls that give carry a tip over the last few
//! millimetres; the sum of `N sin alpha` over that zone is the energy of the wall per length at the
//! tip, which is what moving on costs. (The slope of the discrete energy would be exact for the
//! nodes, but swings by a third within each cell, because a tip's force is carried by a wall as
//! long as the tip's share of its cell.)

use super::scene::TubeStation;
use super::solution::{Contact, RodState, Solution};
use crate::geometry::Vector;

/// Contacts further apart than this, in cells, belong to different zones: neighbours are up to
/// 1.65 cells apart next to a tip.
const NEIGHBOUR_CELLS: f64 = 1.7;

/// Direction of a rod in space; the mean of both sides at a node.
fn direction(rod: &RodState, s_mm: f64) -> Vector {
    let n = rod.station_mm.len();
    let edge = |b: usize| (rod.position_mm[b] - rod.position_mm[b - 1]).normalize();
    let b = rod
        .station_mm
        .partition_point(|t| *t < s_mm - 1e-9)
        .clamp(1, n - 1);
    if (rod.station_mm[b] - s_mm).abs() < 1e-9 && b + 1 < n {
        (edge(b) + edge(b + 1)) * 0.5
    } else {
        edge(b)
    }
}

/// Change of the vessel's radius per length of centre line.
fn flare(tube: &[TubeStation], s_mm: f64) -> f64 {
    let b = tube
        .partition_point(|t| t.s_mm < s_mm)
        .clamp(1, tube.len() - 1);
    (tube[b].radius_mm - tube[b - 1].radius_mm) / (tube[b].s_mm - tube[b - 1].s_mm)
}

/// Energy per length that contacts hold at the end `end_mm` of their zone, N: the sum of force
/// times the slope at which the axes run into each other.
fn held_at<'a>(
    tube: &[TubeStation],
    solution: &Solution,
    contacts: impl Iterator<Item = &'a Contact>,
    end_mm: f64,
) -> f64 {
    let at = tube
        .partition_point(|t| t.s_mm <= end_mm)
        .clamp(1, tube.len() - 1);
    let reach = NEIGHBOUR_CELLS * (tube[at].s_mm - tube[at - 1].s_mm);
    let mut last = end_mm;
    let mut side = [0.0; 2];
    let mut sum = 0.0;
    for contact in contacts {
        let [fx, fy] = contact.force_n;
        let other_side = fx * side[0] + fy * side[1] < 0.0;
        if (contact.station_mm - last).abs() > reach || other_side {
            break;
        }
        (last, side) = (contact.station_mm, contact.force_n);
        let force = contact.force_in_space_n;
        sum -= force.dot(&direction(&solution.rods[contact.rod], last));
        match contact.other {
            Some(j) => sum += force.dot(&direction(&solution.rods[j], last)),
            None => sum -= flare(tube, last) * force.norm(),
        }
    }
    sum
}

/// Load at the tip of rod `k` without resistance from anything but walls, N; negative where they
/// press it back.
pub(crate) fn tip_load_n(tube: &[TubeStation], solution: &Solution, k: usize) -> f64 {
    let rod = &solution.rods[k];
    let nodes = rod.station_mm.len();
    let tip_mm = rod.station_mm[nodes - 1];
    let contacts = &solution.contacts;
    let behind = |rod: usize, other: Option<usize>| {
        contacts
            .iter()
            .rev()
            .filter(move |c| c.rod == rod && c.other == other && c.station_mm <= tip_mm + 1e-9)
    };
    // its own tip in whatever holds it there
    let nearest = contacts.iter().rev().find(|c| c.rod == k);
    let mut energy = nearest.map_or(0.0, |c| held_at(tube, solution, behind(k, c.other), tip_mm));
    // rods inside it or beside it give way at its edge
    for j in (0..solution.rods.len()).filter(|j| *j != k) {
        energy += held_at(tube, solution, behind(j, Some(k)), tip_mm);
        let beyond = contacts
            .iter()
            .filter(|c| c.rod == j && c.other.is_none() && c.station_mm >= tip_mm - 1e-9);
        if behind(j, Some(k)).next().is_some() {
            energy += held_at(tube, solution, beyond, tip_mm);
        }
    }
    -energy
}
