//! The terms that the energy of bending and loads is made of: vertices, ends, pre-shaped nodes.

use super::dof::Dof;
use crate::geometry::Vector;

/// A vertex: the stencil of three neighbouring nodes that bending and axial load act on. Rods on one axis
/// share it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct VertexTerm {
    pub(crate) frame: [u32; 3],
    pub(crate) dof: [Dof; 3],
    /// Its edges among all; the first means nothing at a clamp.
    pub(crate) edge: [u32; 2],
    /// Its cell among all.
    pub(crate) cell: u32,
    pub(crate) clamp: bool,
}

/// A node's share in a vertex.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Member {
    pub(crate) rod: u32,
    pub(crate) vertex: u32,
    pub(crate) node: u32,
    pub(crate) nodes: [u32; 3],
    pub(crate) weight: f64,
}

/// Axial load on the half cell at an end.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EndTerm {
    pub(crate) rod: u32,
    pub(crate) node: u32,
    /// Its edge among all.
    pub(crate) edge: u32,
    pub(crate) frame: [u32; 2],
    pub(crate) dof: [Dof; 2],
    pub(crate) weight: f64,
}

/// Natural curvature at a node.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ShapedTerm {
    pub(crate) rod: usize,
    /// Index of the roll among the unknown ones.
    pub(crate) border: Option<usize>,
    pub(crate) member: Member,
    /// Whether it is held at an angle that rounds bring to agree with the shape.
    pub(crate) turns: bool,
}

/// The shortest rotation from one unit vector to another.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tilt {
    pub(crate) from: Vector,
    pub(crate) to: Vector,
}

impl Tilt {
    /// A vector normal to `from`, carried along.
    pub(crate) fn carry(&self, v: Vector) -> Vector {
        v - (self.from + self.to) * (v.dot(&self.to) / (1.0 + self.from.dot(&self.to)))
    }
}
