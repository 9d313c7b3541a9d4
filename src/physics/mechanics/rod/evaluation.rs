//! What an evaluation finds, and the matrix that is put together from it.

use super::contact_set::ContactSet;
use super::edge_batch::EdgeBatch;
use super::layout::Layout;
use super::loads::LoadLists;
use super::natural_bends::{RollTerms, ShapedHessians};
use crate::geometry::Vector;
use crate::mechanics::linear_algebra::banded::BlockBanded;

/// All of it; it changes with every evaluation.
#[derive(Debug, Clone, Default)]
pub(crate) struct Evaluation {
    /// Edges and cells where they were last measured.
    pub(crate) edges: EdgeBatch,
    /// What hub springs and changes along the rods add to the loads.
    pub(crate) added: LoadLists,
    /// Of the whole energy, N.
    pub(crate) gradient: Vec<f64>,
    /// Of all but the contacts, N.
    pub(crate) smooth: Vec<f64>,
    pub(crate) by_roll: RollTerms,
    pub(crate) shaped: ShapedHessians,
    /// Edges of the ends.
    pub(crate) ends: Vec<Vector>,
    pub(crate) contacts: ContactSet,
    /// How far below zero a buckling mode can lie, N/mm.
    pub(crate) softest: f64,
    pub(crate) matrix: BlockBanded,
    /// Whether the matrix is that of the last evaluation.
    pub(crate) assembled: bool,
}

impl Evaluation {
    /// Makes lists for the nodes of a new layout.
    pub(crate) fn fit_nodes(&mut self, layout: &Layout) {
        self.edges.fit(layout.nodes.len(), layout.rods.len());
    }

    /// Makes lists for its unknowns.
    pub(crate) fn fit_terms(&mut self, layout: &Layout) {
        self.matrix.lay_out(&layout.numbering.block_sizes);
        self.gradient.clear();
        self.gradient.resize(layout.unknowns(), 0.0);
        self.by_roll.clear(layout.free_rolls, layout.unknowns());
    }
}
