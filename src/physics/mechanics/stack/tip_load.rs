//! What it costs to move a tip on: the answer of the walls it presses, and of rods inside it.
//!
//! A rod without friction that slides on by `dL` while its tip moves on by `ds` pays what its tip
//! presses further into walls: `tau_tip dL = -dU`. For a force `N` on the tip of a straight wall
//! at the angle `alpha` this is `-N sin alpha`. Walls that give carry a tip over the last few
//! millimetres; the sum of `N sin alpha` over that zone is the energy of the wall per length at the
//! tip, which is what moving on costs. (The slope of the discrete energy would be exact for the
//! nodes, but swings by a third within each cell, because a tip's force is carried by a wall as
//! long as the tip's share of its cell.)

use crate::geometry::Vector;
use crate::mechanics::equilibrium::solution::{Contact, RodState, Solution};
use crate::mechanics::rod::scene::{Container, Scene, TubeStation};

/// Nearer than this, mm, a place is at the tip.
const SAME_MM: f64 = 1e-6;

/// Contacts up to the first distance from the tip, mm, count fully, beyond the second not at all. A
/// wall of 10 N/mm2 carries the tip of a wire (20 N mm2) over 5 mm and that of a guide (100 N mm2) over
/// 8 mm; further away contacts are none of the tip's, and in exact sums add up to nothing. A sharp
/// border would make the load jump as contacts pass it.
const ZONE_MM: (f64, f64) = (6.0, 12.0);

/// Direction of a rod in space at an arc length of the centre line: that at the nodes, the mean of both sides, and
/// between them in proportion. It goes on as tips pass stations: where the node before the tip is being handed over,
/// it has its share, and what the rod would be without it the rest.
fn direction(rod: &RodState, s_mm: f64) -> Vector {
    let nodes = rod.station_mm.len();
    let whole = direction_by(rod, nodes, |i| i, s_mm);
    let share = rod.last_weight;
    if share >= 1.0 || nodes < 4 {
        return whole;
    }
    let tip = nodes - 1;
    let skipping = |i: usize| if i + 1 < tip { i } else { tip };
    whole * share + direction_by(rod, nodes - 1, skipping, s_mm) * (1.0 - share)
}

/// The same by so many of its nodes, at least two.
fn direction_by(rod: &RodState, nodes: usize, node: impl Fn(usize) -> usize, s_mm: f64) -> Vector {
    let edge = |b: usize| (rod.position_mm[node(b)] - rod.position_mm[node(b - 1)]).normalize();
    let at_node = |i: usize| match i {
        0 => edge(1),
        i if i + 1 == nodes => edge(i),
        i => (edge(i) + edge(i + 1)) * 0.5,
    };
    let station = |i: usize| rod.station_mm[node(i)];
    let mut b = nodes - 1;
    while b > 1 && station(b - 1) > s_mm {
        b -= 1;
    }
    let part = ((s_mm - station(b - 1)) / (station(b) - station(b - 1))).clamp(0.0, 1.0);
    at_node(b - 1) * (1.0 - part) + at_node(b) * part
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
fn energy_per_length_n<'a>(
    tube: &[TubeStation],
    solution: &Solution,
    contacts: impl Iterator<Item = &'a Contact>,
    end_mm: f64,
) -> f64 {
    let mut sum = 0.0;
    for contact in contacts {
        let s_mm = contact.station_mm;
        let away = ((s_mm - end_mm).abs() - ZONE_MM.0) / (ZONE_MM.1 - ZONE_MM.0);
        if away >= 1.0 {
            break;
        }
        let t = away.max(0.0);
        let weight = 1.0 - t * t * (3.0 - 2.0 * t);
        let force = contact.force_across_n;
        let mut along = force.dot(&direction(&solution.rods[contact.rod], s_mm));
        match contact.other {
            Some(j) => along -= force.dot(&direction(&solution.rods[j], s_mm)),
            None => along += flare(tube, s_mm) * force.norm(),
        }
        sum -= weight * along;
    }
    sum
}

/// Load at the tip of rod `k` without resistance from anything but walls, N; negative where they
/// press it back.
pub(crate) fn tip_load_n(scene: &Scene<'_>, solution: &Solution, k: usize) -> f64 {
    let tube = scene.tube;
    let Some(tip_mm) = solution.rods[k].station_mm.last().copied() else {
        return 0.0;
    };
    let contacts = &solution.contacts;
    let partner = |container: Container| match container {
        Container::Vessel => None,
        Container::Rod(j) => Some(j),
    };
    let behind = |rod: usize, other: Option<usize>| {
        contacts
            .iter()
            .rev()
            .filter(move |c| c.rod == rod && c.other == other && c.station_mm <= tip_mm + SAME_MM)
    };
    // its own tip in what holds it
    let around = scene.rods[k]
        .containers
        .last()
        .map(|c| partner(c.container));
    let mut energy = energy_per_length_n(tube, solution, behind(k, around.flatten()), tip_mm);
    // and beside what it lies next to
    for pair in scene.beside {
        if pair.rods.contains(&k) && pair.to_mm >= tip_mm - SAME_MM {
            let [a, b] = pair.rods;
            energy += energy_per_length_n(tube, solution, behind(b, Some(a)), tip_mm);
        }
    }
    // rods it holds give way at its edge, and lie in the next lumen for so much less
    for (j, rod) in scene.rods.iter().enumerate() {
        for (i, stretch) in rod.containers.iter().enumerate() {
            if stretch.container != Container::Rod(k) || stretch.to_mm < tip_mm - SAME_MM {
                continue;
            }
            energy += energy_per_length_n(tube, solution, behind(j, Some(k)), tip_mm);
            if let Some(next) = rod.containers.get(i + 1) {
                let other = partner(next.container);
                let beyond = contacts
                    .iter()
                    .filter(|c| c.rod == j && c.other == other && c.station_mm >= tip_mm - SAME_MM);
                energy += energy_per_length_n(tube, solution, beyond, tip_mm);
            }
        }
    }
    -energy
}
