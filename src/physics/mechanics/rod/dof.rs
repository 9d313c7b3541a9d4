//! Degrees of freedom: the two offsets of every node that can move.

use crate::geometry::{Frame, Vector};
use crate::mechanics::linear_algebra::banded::BlockBanded;

/// A node's first unknown, the offset on its frame's first normal; that on the second follows it. A node
/// that cannot move has none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Dof(u32);

impl Dof {
    /// Of a node that cannot move.
    pub(crate) const FIXED: Self = Self(u32::MAX);

    pub(crate) const fn new(unknown: usize) -> Self {
        Self(short(unknown))
    }

    #[inline(always)]
    pub(crate) const fn is_fixed(self) -> bool {
        self.0 == Self::FIXED.0
    }

    /// Where its first unknown lies among all; nonsense where it is fixed.
    #[inline(always)]
    pub(crate) const fn at(self) -> usize {
        self.0 as usize
    }

    /// The node's offset, mm.
    #[inline(always)]
    pub(crate) fn offset(self, x: &[f64]) -> [f64; 2] {
        if self.is_fixed() {
            [0.0; 2]
        } else {
            [x[self.at()], x[self.at() + 1]]
        }
    }

    /// Adds to the node's two entries of a gradient, if it has them.
    #[inline(always)]
    pub(crate) fn add_to(self, gradient: &mut [f64], by_offset: [f64; 2]) {
        if !self.is_fixed() {
            gradient[self.at()] += by_offset[0];
            gradient[self.at() + 1] += by_offset[1];
        }
    }
}

/// An index as stored in the terms; scenes hold a few thousand nodes.
#[expect(
    clippy::cast_possible_truncation,
    reason = "at most 6 rods of a few thousand nodes"
)]
pub(crate) const fn short(i: usize) -> u32 {
    i as u32
}

/// From one node to the next. The centre line's part is taken first, so that offsets of
/// micrometres are not lost in coordinates of metres.
#[inline(always)]
pub(crate) fn edge(a: &Frame, at_a: [f64; 2], b: &Frame, at_b: [f64; 2]) -> Vector {
    (b.origin_mm - a.origin_mm) + (b.n1 * at_b[0] + b.n2 * at_b[1])
        - (a.n1 * at_a[0] + a.n2 * at_a[1])
}

/// Adds a vertex's gradient to the whole.
#[inline(always)]
pub(crate) fn scatter_gradient(gradient: &mut [f64], dof: [Dof; 3], by_node: [[f64; 2]; 3]) {
    for (dof, by_offset) in dof.iter().zip(by_node) {
        dof.add_to(gradient, by_offset);
    }
}

/// Adds a vertex's Hessian to the whole: blocks (0,0), (1,0), (1,1), (2,0), (2,1), (2,2), row-major.
#[inline(always)]
pub(crate) fn scatter_hessian(matrix: &mut BlockBanded, dof: [Dof; 3], hessian: &[[f64; 4]; 6]) {
    const LOWER: [(usize, usize); 6] = [(0, 0), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2)];
    for (block, (i, j)) in hessian.iter().zip(LOWER) {
        let (row, column) = (dof[i], dof[j]);
        if !row.is_fixed() && !column.is_fixed() {
            matrix.add(row.at(), column.at(), *block);
        }
    }
}
