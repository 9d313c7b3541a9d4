//! A layout's shape where it was last measured: edges, cells and vertices, and what they say of a rod.

use super::batch::Rows;
use super::dof::edge;
use super::edge_batch::EdgeBatch;
use super::layout::Layout;
use super::nodes::RodNodes;
use super::terms::{Member, ShapedTerm, Tilt, VertexTerm};
use super::vertex_energy::{Projected, VertexStencil, VoronoiCell};
use crate::geometry::{Frame, Vector};
use crate::mechanics::linear_algebra::width::in_lanes;
use pulp::{Simd, WithSimd};

/// Layout and shape.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Kinematics<'a> {
    pub(crate) layout: &'a Layout,
    pub(crate) edges: &'a EdgeBatch,
}

/// Brings edges and cells to these offsets, one for every node; where they are the same as before, what
/// was measured stands.
pub(crate) fn update_kinematics(
    layout: &Layout,
    edges: &mut EdgeBatch,
    offsets: impl Iterator<Item = [f64; 2]>,
) {
    struct Measure<'a>(&'a Layout, &'a mut EdgeBatch);
    impl WithSimd for Measure<'_> {
        type Output = ();
        #[inline(always)]
        fn with_simd<S: Simd>(self, simd: S) {
            measure(simd, self.0, self.1);
        }
    }
    edges.take(offsets);
    if !edges.measured {
        in_lanes(Measure(layout, edges));
        edges.measured = true;
    }
}

#[inline(always)]
fn measure<S: Simd>(simd: S, layout: &Layout, edges: &mut EdgeBatch) {
    // vectors first: their ends may spill over what stands alone
    for rod in &layout.rods {
        edges.measure_edges(simd, &layout.frame_batch, rod.first..rod.last());
    }
    for (k, rod) in layout.rods.iter().enumerate() {
        if rod.tip {
            let (last, tip) = (rod.last(), rod.tip_node());
            let e = edge_between(layout, edges, last, tip);
            edges.set_edge(last, e);
            if rod.skips() {
                let e = edge_between(layout, edges, last - 1, tip);
                edges.set_edge(layout.skipping(k), e);
            }
        }
    }
    for rod in &layout.rods {
        edges.measure_cells(simd, rod.first + 1..rod.range().end - 1);
    }
    for (k, rod) in layout.rods.iter().enumerate() {
        let RodNodes {
            first,
            last_regular,
            ..
        } = *rod;
        if rod.clamped {
            let held = VertexStencil::clamped(layout.frames[0].tangent, edges.edge(first));
            edges.set_cell(first, &held.cell);
        }
        if rod.skips() {
            let at = layout.skipping(k);
            let before = edges.edge(first + last_regular - 2);
            let vertex = VertexStencil::between(before, edges.edge(at));
            edges.set_cell(at, &vertex.cell);
        }
    }
}

/// From one node to another where they were last measured.
fn edge_between(layout: &Layout, edges: &EdgeBatch, a: usize, b: usize) -> Vector {
    let [(frame_a, at_a), (frame_b, at_b)] = [a, b].map(|n| (layout.frame(n), edges.offset(n)));
    edge(frame_a, at_a, frame_b, at_b)
}

impl<'a> Kinematics<'a> {
    pub(crate) fn new(layout: &'a Layout, edges: &'a EdgeBatch) -> Self {
        Self { layout, edges }
    }

    /// Terms that follow one another, many at once.
    #[inline(always)]
    pub(crate) fn rows(&self) -> &'a Rows {
        &self.layout.rows
    }

    /// A vertex between its edges.
    #[inline]
    pub(crate) fn vertex(&self, vertex: u32) -> VertexStencil {
        stencil_of(
            &self.layout.vertices[vertex as usize],
            &self.layout.frames,
            self.edges,
        )
    }

    /// The vertex of a node between two others of its rod.
    pub(crate) fn vertex_between(&self, node: usize) -> VertexStencil {
        VertexStencil::between(self.edges.edge(node - 1), self.edges.edge(node))
    }

    /// What a vertex's energy depends on.
    #[inline(always)]
    pub(crate) fn cell(&self, vertex: u32) -> VoronoiCell<f64> {
        self.edges.cell_of(&self.layout.vertices[vertex as usize])
    }

    /// A vertex's edges on the normals of its nodes' frames.
    pub(crate) fn projected(&self, term: &VertexTerm, vertex: &VertexStencil) -> Projected<f64> {
        vertex.on(term.frame.map(|f| &self.layout.frames[f as usize]))
    }

    /// Rotation from the centre line to the rod at a member's node.
    pub(crate) fn tilt_at(&self, member: &Member) -> Tilt {
        Tilt {
            from: self.layout.frame(member.node as usize).tangent,
            to: self.vertex(member.vertex).tangent(),
        }
    }

    /// Curvature of a vertex towards where the rod is bent by nature, 1/mm.
    pub(crate) fn towards_natural(
        &self,
        shaped: &ShapedTerm,
        vertex: &VertexStencil,
        rolls: &[f64],
    ) -> f64 {
        let frame = self.layout.frame(shaped.member.node as usize);
        let tilt = Tilt {
            from: frame.tangent,
            to: vertex.tangent(),
        };
        tilt.carry(frame.across(rolls[shaped.rod]))
            .dot(&vertex.curvature_per_mm())
    }

    /// Adds the half cells at the ends to the lengths of their nodes' cells.
    pub(crate) fn add_end_lengths(&self, arc_mm: &mut [f64]) {
        for end in &self.layout.ends {
            let length_mm = self.edges.length_mm(end.edge as usize);
            arc_mm[end.node as usize] += end.weight * length_mm;
        }
    }
}

#[inline(always)]
fn stencil_of(term: &VertexTerm, frames: &[Frame], edges: &EdgeBatch) -> VertexStencil {
    let [e0, e1] = term.edge.map(|e| e as usize);
    let e1 = edges.edge(e1);
    if term.clamp {
        // the first node is the second, which a clamp holds
        VertexStencil::clamped(frames[term.frame[1] as usize].tangent, e1)
    } else {
        VertexStencil::between(edges.edge(e0), e1)
    }
}
