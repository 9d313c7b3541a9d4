//! Edges and Voronoi cells where they were last measured, in lists for code that takes many at once.

use super::batch::{FrameBatch, Vectors, clear_for_vectors, three};
use super::terms::VertexTerm;
use super::vertex_energy::{Projected, VoronoiCell, measured};
use crate::geometry::Vector;
use crate::mechanics::linear_algebra::number::{Number, Several};
use pulp::Simd;

/// Edges and cells by lists.
#[derive(Debug, Clone, Default)]
pub(crate) struct EdgeBatch {
    /// By node: the offset last measured at.
    offset: [Vec<f64>; 2],
    /// By edge: unit tangent, inverse length, length. An edge has the number of the node it starts from;
    /// those that leave a rod's last regular node out follow, rod by rod.
    t: Vectors,
    a: Vec<f64>,
    l: Vec<f64>,
    /// By cell, see [`VoronoiCell`]. A cell has the number of its middle node; those with an edge that leaves a
    /// node out have that edge's.
    q: Vec<f64>,
    m: Vec<f64>,
    /// Whether edges and cells are those of the offsets.
    pub(crate) measured: bool,
}

#[inline(always)]
fn dot<T: Number>(a: &[T; 3], b: &[T; 3]) -> T {
    a[2].fused(b[2], a[1].fused(b[1], a[0] * b[0]))
}

/// A vector on the normals of three frames.
#[inline(always)]
fn onto<T: Number>(normals: &[[[T; 3]; 2]; 3], t: &[T; 3]) -> [[T; 2]; 3] {
    [
        [dot(&normals[0][0], t), dot(&normals[0][1], t)],
        [dot(&normals[1][0], t), dot(&normals[1][1], t)],
        [dot(&normals[2][0], t), dot(&normals[2][1], t)],
    ]
}

impl EdgeBatch {
    /// Makes lists for so many nodes of so many rods.
    pub(crate) fn fit(&mut self, nodes: usize, rods: usize) {
        for list in &mut self.offset {
            clear_for_vectors(list, nodes);
        }
        for list in (self.t.iter_mut()).chain([&mut self.a, &mut self.l, &mut self.q, &mut self.m])
        {
            clear_for_vectors(list, nodes + rods);
        }
        self.measured = false;
    }

    /// Takes the nodes' offsets over; what was measured stands where they are the same.
    #[inline]
    pub(crate) fn take(&mut self, offsets: impl Iterator<Item = [f64; 2]>) {
        let [us, vs] = &mut self.offset;
        let mut same = true;
        for ((u, v), [to_u, to_v]) in us.iter_mut().zip(vs).zip(offsets) {
            same &= to_u.to_bits() == u.to_bits() && to_v.to_bits() == v.to_bits();
            (*u, *v) = (to_u, to_v);
        }
        self.measured &= same;
    }

    /// An edge where it was last measured: unit tangent, inverse length, length.
    #[inline(always)]
    pub(crate) fn edge(&self, at: usize) -> (Vector, f64, f64) {
        let t = Vector::new(self.t[0][at], self.t[1][at], self.t[2][at]);
        (t, self.a[at], self.l[at])
    }

    /// A node's offset where it was last measured, mm.
    pub(crate) fn offset(&self, node: usize) -> [f64; 2] {
        [self.offset[0][node], self.offset[1][node]]
    }

    /// Length of an edge, mm.
    pub(crate) fn length_mm(&self, edge: usize) -> f64 {
        self.l[edge]
    }

    /// The cell of a node between two edges, where it was last measured.
    #[inline(always)]
    pub(crate) fn cell(&self, node: usize) -> VoronoiCell<f64> {
        VoronoiCell::inner(self.a[node - 1], self.a[node], self.m[node], self.q[node])
    }

    /// The cell of any vertex.
    #[inline(always)]
    pub(crate) fn cell_of(&self, term: &VertexTerm) -> VoronoiCell<f64> {
        let [a0, a1] = term.edge.map(|e| self.a[e as usize]);
        let (q, m) = (self.q[term.cell as usize], self.m[term.cell as usize]);
        if term.clamp {
            VoronoiCell::clamp(a1, m, q)
        } else {
            VoronoiCell::inner(a0, a1, m, q)
        }
    }

    pub(crate) fn set_edge(&mut self, at: usize, e: Vector) {
        let (t, a, l) = measured(e);
        (self.a[at], self.l[at]) = (a, l);
        for (list, t) in self.t.iter_mut().zip(t.iter()) {
            list[at] = *t;
        }
    }

    pub(crate) fn set_cell(&mut self, at: usize, cell: &VoronoiCell<f64>) {
        (self.q[at], self.m[at]) = (cell.q, cell.m);
    }

    /// Cells whose first edges are `edge` and those after it.
    #[inline(always)]
    pub(crate) fn cells<S: Simd>(&self, simd: S, edge: usize) -> VoronoiCell<Several<S>> {
        VoronoiCell::inner(
            Several::load(simd, &self.a, edge),
            Several::load(simd, &self.a, edge + 1),
            Several::load(simd, &self.m, edge + 1),
            Several::load(simd, &self.q, edge + 1),
        )
    }

    /// Their edges on the normals of their frames.
    #[inline(always)]
    pub(crate) fn on<S: Simd>(
        &self,
        simd: S,
        frames: &FrameBatch,
        (edge, frame): (usize, usize),
    ) -> Projected<Several<S>> {
        let (t0, t1) = (three(simd, &self.t, edge), three(simd, &self.t, edge + 1));
        let normals = [
            frames.normals(simd, frame),
            frames.normals(simd, frame + 1),
            frames.normals(simd, frame + 2),
        ];
        Projected {
            t0: onto(&normals, &t0),
            t1: onto(&normals, &t1),
        }
    }

    /// Unit tangents and lengths of edges between regular nodes; the first node lies on the first frame. A vector's
    /// end may spill over what follows.
    #[inline(always)]
    pub(crate) fn measure_edges<S: Simd>(
        &mut self,
        simd: S,
        frames: &FrameBatch,
        edges: std::ops::Range<usize>,
    ) {
        for at in edges.clone().step_by(S::F64_LANES) {
            let (frame, node) = (at - edges.start, at);
            let [us, vs] = &self.offset;
            let (u0, v0) = (
                -Several::load(simd, us, node),
                -Several::load(simd, vs, node),
            );
            let (u1, v1) = (
                Several::load(simd, us, node + 1),
                Several::load(simd, vs, node + 1),
            );
            let mut e = frames.steps(simd, frame);
            let from = frames.normals(simd, frame);
            let to = frames.normals(simd, frame + 1);
            for i in 0..3 {
                let back = from[1][i].fused(v0, from[0][i] * u0);
                e[i] = e[i] + to[1][i].fused(v1, to[0][i].fused(u1, back));
            }
            let l = dot(&e, &e).root();
            let a = l.inverse();
            (e[0] * a).store(&mut self.t[0], at);
            (e[1] * a).store(&mut self.t[1], at);
            (e[2] * a).store(&mut self.t[2], at);
            a.store(&mut self.a, at);
            l.store(&mut self.l, at);
        }
    }

    /// `q` and `m` of these cells.
    #[inline(always)]
    pub(crate) fn measure_cells<S: Simd>(&mut self, simd: S, cells: std::ops::Range<usize>) {
        for at in cells.step_by(S::F64_LANES) {
            let edge = at - 1;
            let (t0, t1) = (three(simd, &self.t, edge), three(simd, &self.t, edge + 1));
            let turn = [t1[0] - t0[0], t1[1] - t0[1], t1[2] - t0[2]];
            dot(&turn, &turn).times(0.5).store(&mut self.q, at);
            let both = Several::load(simd, &self.l, edge) + Several::load(simd, &self.l, edge + 1);
            both.times(0.5).store(&mut self.m, at);
        }
    }
}
