//! Axial loads by node as a scene gives them: by station, or following stiffness and natural curvature from
//! the tip backwards; and dead loads across.

use super::kinematics::Kinematics;
use super::layout::Layout;
use super::load_rounds::Turning;
use super::scene::{AxialLoad, Rod, TubeStation};
use super::sections::Sections;
use super::terms::Tilt;
use crate::geometry::Vector;

/// Puts the load of rod `k` at its nodes into `load`, N; whether it follows the shape by rounds.
pub(crate) fn set_load(
    shape: Kinematics<'_>,
    (tube, rod, k): (&[TubeStation], &Rod, usize),
    load: &mut [f64],
) -> bool {
    let range = shape.layout.rods[k].range();
    match &rod.load {
        AxialLoad::Uniform(tau) => load[range].fill(*tau),
        AxialLoad::ByStation(values) | AxialLoad::HubHeld { load_n: values, .. } => {
            load[range].fill(0.0);
            add_by_station(shape.layout, tube, k, values, load);
        }
        AxialLoad::Frictionless(tip) | AxialLoad::FrictionlessHubHeld { tip_n: tip, .. } => {
            load[range].fill(*tip);
            return true;
        }
    }
    false
}

/// Adds values given by station to the load of rod `k`.
fn add_by_station(
    layout: &Layout,
    tube: &[TubeStation],
    k: usize,
    values: &[f64],
    load: &mut [f64],
) {
    let rod = layout.rods[k];
    let regular = &mut load[rod.first..=rod.first + rod.last_regular];
    for (load, value) in regular.iter_mut().zip(values) {
        *load += value;
    }
    if rod.tip {
        let tip = rod.tip_node();
        let s = layout.nodes.s_mm[tip];
        let j = tube.partition_point(|t| t.s_mm <= s).max(1) - 1;
        let next = (j + 1).min(values.len() - 1);
        let cell = (tube[next].s_mm - tube[j].s_mm).max(1e-300);
        let part = ((s - tube[j].s_mm) / cell).clamp(0.0, 1.0);
        load[tip] += values[j] + (values[next] - values[j]) * part;
    }
}

/// Lets the load of rod `k` follow stiffness and natural curvature from the tip backwards:
/// `d tau = M²/2 d(1/B) + M d(kappa0)`.
pub(crate) fn follow_stiffness(
    shape: Kinematics<'_>,
    sections: &Sections,
    turning: &Turning,
    (k, roll): (usize, f64),
    loads: &mut [f64],
) {
    let range = shape.layout.rods[k].range();
    let turned = turned_moments(shape, sections, turning, (k, roll));
    let mut behind: Option<(Vector, f64, Vector)> = None;
    let mut load = loads[range.end - 1];
    for i in (range.start..range.end - 1).rev() {
        let inner = i > range.start;
        let curvature = if inner {
            shape.vertex_between(i).curvature_per_mm()
        } else {
            behind.map_or_else(Vector::zeros, |(m, b, natural)| m / b + natural)
        };
        let frame = shape.layout.frame(i);
        let towards = if inner {
            let tilt = Tilt {
                from: frame.tangent,
                to: shape.vertex_between(i).tangent(),
            };
            tilt.carry(frame.across(roll))
        } else {
            Vector::zeros()
        };
        let natural = towards * sections.natural[i];
        let b = sections.stiffness[i];
        let moment = match turned.get(i - range.start).copied().flatten() {
            Some(moment) if inner => moment,
            _ => (curvature - natural) * b,
        };
        if let Some((moment_behind, b_behind, natural_behind)) = behind {
            let squared = moment.dot(&moment_behind);
            let mean = (moment + moment_behind) * 0.5;
            load +=
                0.5 * squared * (1.0 / b - 1.0 / b_behind) + mean.dot(&(natural - natural_behind));
        }
        loads[i] = load;
        behind = Some((moment, b, natural));
    }
}

/// By node of rod `k`: the moment of pre-shaped nodes against the natural angles that were solved for
/// last, N mm, not those still to come; over all vertices of a node that is handed over, which are at
/// rest together, not one by one. Empty where none were held.
fn turned_moments(
    shape: Kinematics<'_>,
    sections: &Sections,
    turning: &Turning,
    (k, roll): (usize, f64),
) -> Vec<Option<Vector>> {
    let pairs = turning.used();
    if pairs.len() == 0 {
        return Vec::new();
    }
    let range = shape.layout.rods[k].range();
    let mut moments = vec![None; range.len()];
    for (shaped, pair) in shape.layout.shaped.iter().filter(|s| s.turns).zip(pairs) {
        let member = &shaped.member;
        let node = member.node as usize;
        if !range.contains(&node) {
            continue;
        }
        let vertex = shape.vertex(member.vertex);
        let towards = shape
            .tilt_at(member)
            .carry(shape.layout.frame(node).across(roll));
        let bent = vertex.curvature_per_mm() - towards * (pair[0] / vertex.cell.arc_mm());
        let moment = moments[node - range.start].get_or_insert_with(Vector::zeros);
        *moment += bent * (member.weight * sections.stiffness[node]);
    }
    moments
}

/// Adds the dead loads of rod `k` to the unknowns they work on, N.
pub(crate) fn add_dead_loads(shape: Kinematics<'_>, rod: &Rod, k: usize, dead_n: &mut [f64]) {
    let layout = shape.layout;
    let range = layout.rods[k].range();
    let line = rod.line_load_n_per_mm;
    if line.norm_squared() > 0.0 {
        for member in &layout.members {
            let node = member.node as usize;
            if range.contains(&node) {
                let vertex = shape.vertex(member.vertex);
                let force = line * (member.weight * vertex.cell.m);
                add_force(layout, node, normal_part(force, vertex.tangent()), dead_n);
            }
        }
        for end in &layout.ends {
            let node = end.node as usize;
            if range.contains(&node) {
                let (t, _, length) = shape.edges.edge(end.edge as usize);
                let force = line * (end.weight * length);
                add_force(layout, node, normal_part(force, t), dead_n);
            }
        }
    }
    add_force(layout, range.end - 1, rod.tip_force_n, dead_n);
}

/// Adds a dead force at a node.
fn add_force(layout: &Layout, node: usize, force: Vector, dead_n: &mut [f64]) {
    let frame = layout.frame(node);
    let on_normals = [force.dot(&frame.n1), force.dot(&frame.n2)];
    layout.nodes.dof[node].add_to(dead_n, on_normals);
}

fn normal_part(force: Vector, tangent: Vector) -> Vector {
    force - tangent * force.dot(&tangent)
}
