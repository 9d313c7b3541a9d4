//! Pre-shaped nodes: their energy, and how it answers the roll of their rod.

use super::dof::{Dof, scatter_gradient, scatter_hessian};
use super::energy::Energy;
use super::kinematics::Kinematics;
use super::natural::Natural;
use super::sections::Sections;
use super::terms::ShapedTerm;
use crate::mechanics::linear_algebra::banded::BlockBanded;

/// Coefficients of one.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ShapedNode {
    /// Bending stiffness times the node's share in its vertex, N mm2.
    pub(crate) stiffness: f64,
    pub(crate) natural: Natural,
}

impl ShapedNode {
    /// Of a term, bent by nature so.
    pub(crate) fn new(term: &ShapedTerm, sections: &Sections, natural: Natural) -> Self {
        let member = &term.member;
        Self {
            stiffness: member.weight * sections.stiffness[member.node as usize],
            natural,
        }
    }
}

/// What the unknown rolls add to a system.
#[derive(Debug, Clone, Default)]
pub(crate) struct RollTerms {
    /// Rows of the Hessian between rolls and offsets, one after the other.
    pub(crate) border: Vec<f64>,
    /// Torques out of balance, N mm.
    pub(crate) gradient: Vec<f64>,
    pub(crate) hessian: Vec<f64>,
}

impl RollTerms {
    /// Sets all to nought for so many rolls and offsets.
    pub(crate) fn clear(&mut self, rolls: usize, unknowns: usize) {
        for (list, count) in [
            (&mut self.border, rolls * unknowns),
            (&mut self.gradient, rolls),
            (&mut self.hessian, rolls),
        ] {
            list.clear();
            list.resize(count, 0.0);
        }
    }
}

/// Hessians of all of them at the last evaluation.
#[derive(Debug, Clone, Default)]
pub(crate) struct ShapedHessians {
    list: Vec<([Dof; 3], [[f64; 4]; 6])>,
}

impl ShapedHessians {
    /// Adds energy, gradient and what is the rolls', and keeps the Hessians.
    pub(crate) fn evaluate(
        &mut self,
        shape: Kinematics<'_>,
        (shaped, rolls): (&[ShapedNode], &[f64]),
        energy: &mut Energy,
        gradient: &mut [f64],
        by_roll: &mut RollTerms,
    ) {
        let layout = shape.layout;
        self.list.clear();
        for (term, node) in layout.shaped.iter().zip(shaped) {
            if node.natural.is_none() {
                continue;
            }
            let nodes = term.member.nodes.map(|n| n as usize);
            let frames = nodes.map(|n| layout.frame(n));
            let dof = nodes.map(|n| layout.nodes.dof[n]);
            let vertex = shape.vertex(term.member.vertex);
            let roll = rolls[term.rod];
            let found = vertex.pre_shaped(
                frames,
                node.stiffness,
                node.natural,
                [
                    frames[1].tangent,
                    frames[1].across(roll),
                    frames[1].across(roll + std::f64::consts::FRAC_PI_2),
                ],
            );
            energy.add(found.local.energy);
            scatter_gradient(gradient, dof, found.local.gradient);
            self.list.push((dof, found.local.hessian));
            if let Some(i) = term.border {
                by_roll.gradient[i] += found.roll_gradient;
                by_roll.hessian[i] += found.roll_hessian;
                let unknowns = gradient.len();
                let row = &mut by_roll.border[i * unknowns..(i + 1) * unknowns];
                scatter_gradient(row, dof, found.roll_cross);
            }
        }
    }

    /// Adds the Hessians to a matrix.
    pub(crate) fn assemble(&self, matrix: &mut BlockBanded) {
        for (dof, hessian) in &self.list {
            scatter_hessian(matrix, *dof, hessian);
        }
    }
}

/// Energy of one alone, for a stiffness of its node, N mm.
pub(crate) fn energy_of(
    shape: Kinematics<'_>,
    term: &ShapedTerm,
    (stiffness, natural): (f64, Natural),
    rolls: &[f64],
) -> f64 {
    if natural.is_none() {
        return 0.0;
    }
    let vertex = shape.vertex(term.member.vertex);
    let along = shape.towards_natural(term, &vertex, rolls);
    term.member.weight * stiffness * natural.energy(vertex.cell.arc_mm(), along)
}
