//! What is read off a model in balance.

use super::fit_check::check_fits;
use super::prolapse::largest_angle;
use super::solution::{Contact, Flag, RodState, Solution, Status};
use super::workspace::Workspace;
use crate::geometry::Vector;
use crate::math;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::contact_terms::ContactAxis;
use crate::mechanics::rod::model::Model;
use crate::mechanics::rod::scene::Scene;

/// Indentation of a vessel wall worth a flag, mm.
const DEEP_MM: f64 = 0.1;
/// Reads the state off a model in balance.
pub(crate) fn read(
    ws: &mut Workspace,
    scene: &Scene<'_>,
    passed_saddle: bool,
) -> Result<Solution, MechanicsError> {
    ws.model.store(&ws.newton.at.x);
    ws.model.coefficients.relaxation.halved = false;
    ws.model.update_sections(scene);
    // stiffness and natural curvature as they were solved for
    ws.model.measure_followed(&ws.newton.at.rolls);
    let smallest = if ws.settings.smallest_eigenvalue {
        ws.newton.lowest_mode(&mut ws.model)
    } else {
        None
    };
    let (model, at) = (&ws.model, &ws.newton.at);
    let rods: Vec<RodState> = (0..scene.rods.len())
        .map(|k| rod_state(model, scene, k, at.rolls[k]))
        .collect();
    let (contacts, contact_energy_n_mm) = contacts(model, &at.x);
    let too_wide = check_fits(model, scene)?;
    let flags = flags(ws, passed_saddle, too_wide, &contacts);
    let history = std::mem::take(&mut ws.newton.effort.history);
    let model = &ws.model;
    Ok(Solution {
        status: status(ws, scene),
        rods,
        contacts,
        contact_energy_n_mm,
        residual_n: history.residuals_n.last().copied().unwrap_or(f64::NAN),
        load_off_n: ws.agreement.off_n,
        length_off_mm: model.coefficients.relaxation.slid_mm,
        factorised_unknowns: ws.newton.effort.work.done,
        steps: history.steps,
        factorisations: history.factorisations,
        residuals_n: history.residuals_n,
        energies_n_mm: history.energies_n_mm,
        smallest_eigenvalue_n_per_mm: smallest,
        flags,
        factorisation_flops: model.at.matrix.flops(),
        compliance_mm_per_n: model.compliance_mm_per_n(),
        moved_mm: model.coefficients.proximal.moved_mm(&ws.newton.at.x),
    })
}

/// What to know about the state besides.
fn flags(
    ws: &Workspace,
    passed_saddle: bool,
    too_wide: Vec<Flag>,
    contacts: &[Contact],
) -> Vec<Flag> {
    let mut flags = Vec::new();
    if passed_saddle || ws.agreement.between {
        flags.push(Flag::SeveralEquilibria);
    }
    if ws.agreement.unsettled_n > 0.0 {
        flags.push(Flag::Unsettled {
            load_n: ws.agreement.unsettled_n,
        });
    }
    flags.extend(too_wide);
    let deepest = contacts
        .iter()
        .filter(|c| c.other.is_none())
        .max_by(|a, b| a.indentation_mm.total_cmp(&b.indentation_mm));
    if let Some(deepest) = deepest.filter(|c| c.indentation_mm > DEEP_MM) {
        flags.push(Flag::DeepIndentation {
            rod: deepest.rod,
            station_mm: deepest.station_mm,
            indentation_mm: deepest.indentation_mm,
        });
    }
    flags
}

fn rod_state(model: &Model, scene: &Scene<'_>, k: usize, roll_rad: f64) -> RodState {
    let (shape, sections) = (model.shape(), &model.coefficients.sections);
    let range = model.layout.rods[k].range();
    let count = range.len();
    let mut curvature_per_mm = vec![0.0; count];
    let mut moment_n_mm = vec![0.0; count];
    let (mut bending, mut path) = (0.0, 0.0);
    // elastic moments, about their axes; a node that is handed over has a part of its weight
    let mut moments = vec![(Vector::zeros(), 0.0); count];
    // members of a node follow one another
    let mut before: Option<(usize, [Vector; 2])> = None;
    for member in model.layout.members_of(k) {
        let node = member.node as usize;
        let vertex = shape.vertex(member.vertex);
        let (b, natural) = (sections.stiffness[node], sections.natural[node]);
        let mut bent = vertex.curvature_per_mm();
        let mut energy = b * vertex.cell.bending();
        if natural > 0.0 {
            let frame = model.layout.frame(node);
            let towards = frame.across(roll_rad);
            bent -= shape.tilt_at(member).carry(towards) * natural;
            energy = 0.5 * b * bent.norm_squared() * vertex.cell.arc_mm();
        }
        bending += member.weight * energy;
        path += member.weight * vertex.cell.arc_mm();
        let (moment, weight) = &mut moments[node - range.start];
        *moment += vertex.tangent().cross(&bent) * (member.weight * b);
        *weight += member.weight;
        let mut sums = [
            vertex.curvature_per_mm() * member.weight,
            bent * (member.weight * b),
        ];
        if let Some((_, [curvature, moment])) = before.filter(|(n, _)| *n == node) {
            sums[0] += curvature;
            sums[1] += moment;
        }
        curvature_per_mm[node - range.start] = sums[0].norm();
        moment_n_mm[node - range.start] = sums[1].norm();
        before = Some((node, sums));
    }
    for end in &model.layout.ends {
        if range.contains(&(end.node as usize)) {
            path += end.weight * model.at.edges.length_mm(end.edge as usize);
        }
    }
    let correction = averaging_n_mm(model, range.start, &moments);
    let last = range.end - 1;
    let (end, ..) = model.at.edges.edge(last - 1);
    let axis = model.layout.frame(last).tangent;
    RodState {
        station_mm: model.layout.nodes.s_mm[range.clone()].to_vec(),
        offset_mm: model.offset[range.clone()].to_vec(),
        position_mm: range.clone().map(|node| model.place(node)).collect(),
        from_tip_mm: sections.from_tip[range.clone()].to_vec(),
        curvature_per_mm,
        moment_n_mm,
        load_n: range.clone().map(|node| model.load_at(k, node)).collect(),
        bending_energy_n_mm: bending + correction,
        averaging_n_mm: correction,
        path_length_mm: path,
        centre_line_mm: model.layout.nodes.s_mm[last] - scene.tube[0].s_mm,
        roll_rad,
        end_angle_rad: math::acos(end.dot(&axis).clamp(-1.0, 1.0)),
        last_weight: model.layout.rods[k].blend,
    }
}

/// By how much nodes' energies fall short because each takes the mean of the curvature over the two
/// edges at it, N mm, for the elastic moments at the nodes from `first` on and their weights.
///
/// The mean is `kappa + h² kappa''/12`; summed by parts this takes `h²/12` times the integral of
/// `B kappa'²` off the energy, and where a moment steps in slope, at contacts on nodes, and at clamped
/// and free ends nothing else of that order is left. Of second order itself, so that what is left
/// after it is of fourth where contacts lie on nodes. With `M = B kappa`, which goes on where
/// stiffness or natural curvature steps.
fn averaging_n_mm(model: &Model, first: usize, moments: &[(Vector, f64)]) -> f64 {
    let whole = |(moment, weight): &(Vector, f64)| {
        if *weight > 0.0 {
            moment / *weight
        } else {
            *moment
        }
    };
    let mut sum = 0.0;
    for (i, pair) in moments.windows(2).enumerate() {
        let change = whole(&pair[1]) - whole(&pair[0]);
        let b = &model.coefficients.sections.stiffness[first + i..first + i + 2];
        let compliance = 0.5 * (1.0 / b[0] + 1.0 / b[1]);
        let length_mm = model.at.edges.length_mm(first + i);
        sum += length_mm * change.norm_squared() * compliance / 12.0;
    }
    sum
}

/// Direction of a rod at a place, not of unit length. A node that is being handed over has its share in the
/// directions next to it, so that they go on as tips pass stations.
fn tangent(model: &Model, rod: usize, place: &ContactAxis) -> Vector {
    let nodes = &model.layout.rods[rod];
    let (range, last) = (nodes.range(), nodes.last());
    let edge = |e: usize| model.at.edges.edge(e).0;
    let blended = |e: usize| {
        let (with, without) = (nodes.blend, 1.0 - nodes.blend);
        edge(e) * with + edge(model.layout.skipping(rod)) * without
    };
    let at_node = |node: usize| {
        let before = node.checked_sub(1).filter(|b| *b >= range.start);
        let after = Some(node).filter(|a| a + 1 < range.end);
        if nodes.skips() && node == last + 1 {
            blended(last)
        } else if nodes.skips() && node + 1 == last {
            before.map(edge).unwrap_or_default() + blended(node)
        } else {
            before.into_iter().chain(after).map(edge).sum::<Vector>()
        }
    };
    let parts = model.layout.contacts.weights(place);
    parts.map(|(node, weight)| at_node(node) * weight).sum()
}

fn contacts(model: &Model, x: &[f64]) -> (Vec<Contact>, f64) {
    let mut contacts = Vec::with_capacity(model.active_contacts());
    let mut energy = 0.0;
    let terms = &model.layout.contacts;
    for (i, law, offset, pressed) in model.contacts().active_at(x) {
        let term = &terms.list[i];
        energy += pressed.energy;
        let force = pressed.gradient.map(|g| -g);
        // The directions at the place: those of its node, or of the two around it.
        let mut across = Vector::zeros();
        let mut axis = Vector::zeros();
        for (node, weight) in model.layout.contacts.weights(&term.inside) {
            let frame = model.layout.frame(node);
            across += (frame.n1 * force[0] + frame.n2 * force[1]) * weight;
            axis += frame.tangent * weight;
        }
        let (rod, other) = (term.rod as usize, term.other.map(|j| j as usize));
        let along = tangent(model, rod, &term.inside)
            + match (other, &term.around) {
                (Some(other), Some(around)) => tangent(model, other, around),
                _ => Vector::zeros(),
            };
        let space = across - axis * (across.dot(&along) / axis.dot(&along));
        contacts.push(Contact {
            rod,
            other,
            station_mm: term.s_mm,
            length_mm: term.weight_mm,
            force_n: force,
            force_in_space_n: space,
            force_across_n: across,
            indentation_mm: law.indentation_mm(offset),
        });
    }
    contacts.sort_by(|a, b| {
        (a.station_mm.total_cmp(&b.station_mm)).then((a.rod, a.other).cmp(&(b.rod, b.other)))
    });
    (contacts, energy)
}

/// How the solve ended.
fn status(ws: &Workspace, scene: &Scene<'_>) -> Status {
    let (rod, station_mm, angle_deg) = largest_angle(&ws.model, scene);
    if angle_deg > ws.settings.prolapse_deg {
        Status::OutsideModel {
            rod,
            station_mm,
            angle_deg,
        }
    } else if ws.agreement.unsettled_n > 0.0 {
        Status::Unsettled {
            load_n: ws.agreement.unsettled_n,
        }
    } else {
        Status::Converged
    }
}
