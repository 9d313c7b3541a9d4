//! Edges and corners that follow one another along a rod, taken as many at once as a vector holds.
//!
//! Everything lies in lists of its own, by frame, edge or corner, so that neighbours are loaded
//! together. What stands alone, at clamps and tips, is worked out by the same formulas one by one.

use super::dof::{edge, short};
use super::model::Model;
use super::terms::{CornerTerm, Member, RodNodes};
use super::vertex_energy::{Cell, Corner, Projected, gram, measured};
use crate::geometry::{Frame, Vector};
use crate::mechanics::linear_algebra::number::{Number, Several};
use crate::mechanics::linear_algebra::width::{WIDEST, in_lanes};
use pulp::{Simd, WithSimd};

/// Most corners taken at once; a multiple of what any vector holds.
pub(super) const ABREAST: usize = 16;

/// Vectors, component by component.
type Vectors = [Vec<f64>; 3];

/// Neighbours in their lists: `count` terms from `term` on, their corners, the first edge of each and the
/// frame that edge starts from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    pub(super) term: u32,
    pub(super) corner: u32,
    pub(super) edge: u32,
    pub(super) frame: u32,
    pub(super) count: u32,
}

impl Row {
    pub(super) fn alone(&self) -> bool {
        self.count == 1
    }

    /// Appends the next term to the last row where it follows it.
    fn push(rows: &mut Vec<Self>, next: Self, follows: bool) {
        match rows.last_mut() {
            Some(row) if follows && (row.count as usize) < ABREAST && row.before(&next) => {
                row.count += 1;
            }
            _ => rows.push(next),
        }
    }

    fn before(&self, next: &Self) -> bool {
        let n = self.count;
        self.term + n == next.term
            && self.corner + n == next.corner
            && self.edge + n == next.edge
            && self.frame + n == next.frame
    }
}

/// Frames, edges and corners by lists.
#[derive(Debug, Clone, Default)]
pub(crate) struct Abreast {
    /// By frame: from its origin to the next one's, its normals, and what products the normals of the
    /// next and the next but one have with them.
    step: Vectors,
    n1: Vectors,
    n2: Vectors,
    near: [Vec<f64>; 4],
    far: [Vec<f64>; 4],
    /// By node: the offset last looked at.
    offset: [Vec<f64>; 2],
    /// By edge: unit tangent, inverse length, length. An edge has the number of the node it starts from;
    /// those that leave a rod's last regular node out follow, rod by rod.
    t: Vectors,
    a: Vec<f64>,
    l: Vec<f64>,
    /// By cell, see [`Cell`]. A cell has the number of its middle node; those with an edge that leaves a
    /// node out have that edge's.
    q: Vec<f64>,
    m: Vec<f64>,
    /// Whether edges and cells are those of the offsets.
    measured: bool,
    pub(super) corners: Vec<Row>,
    /// The corners in the order of their unknowns, so that the matrix passes through the cache once, not
    /// once for every rod.
    pub(super) along: Vec<Row>,
    pub(super) members: Vec<Row>,
}

/// Numbers beyond a list's end that a last vector may read: its own, and two it looks ahead to.
const BEYOND: usize = WIDEST + 2;

const _: () = assert!(ABREAST.is_multiple_of(WIDEST), "rows end within a vector");

/// Fills a list, and what a last vector reads beyond it.
fn fill(list: &mut Vec<f64>, values: impl ExactSizeIterator<Item = f64>) {
    let count = values.len();
    list.clear();
    list.extend(values);
    list.resize(count + BEYOND, 0.0);
}

/// Sets a list to nought for as many terms, and what a last vector reads beyond them.
pub(crate) fn clear_for_vectors(list: &mut Vec<f64>, terms: usize) {
    list.clear();
    list.resize(terms + BEYOND, 0.0);
}

fn fill_vectors(lists: &mut Vectors, vectors: impl ExactSizeIterator<Item = Vector> + Clone) {
    for (i, list) in lists.iter_mut().enumerate() {
        fill(list, vectors.clone().map(|v| v[i]));
    }
}

#[inline(always)]
fn three<S: Simd>(simd: S, lists: &Vectors, at: usize) -> [Several<S>; 3] {
    [
        Several::load(simd, &lists[0], at),
        Several::load(simd, &lists[1], at),
        Several::load(simd, &lists[2], at),
    ]
}

#[inline(always)]
fn four<S: Simd>(simd: S, lists: &[Vec<f64>; 4], at: usize) -> [Several<S>; 4] {
    [
        Several::load(simd, &lists[0], at),
        Several::load(simd, &lists[1], at),
        Several::load(simd, &lists[2], at),
        Several::load(simd, &lists[3], at),
    ]
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

impl Abreast {
    /// Takes the frames over.
    pub(crate) fn set_frames(&mut self, frames: &[Frame]) {
        let count = frames.len();
        let after = |i: usize, by: usize| frames.get(i + by).unwrap_or(&frames[i]);
        let steps = (0..count).map(|i| after(i, 1).origin_mm - frames[i].origin_mm);
        fill_vectors(&mut self.step, steps);
        fill_vectors(&mut self.n1, frames.iter().map(|f| f.n1));
        fill_vectors(&mut self.n2, frames.iter().map(|f| f.n2));
        for (by, lists) in [(1, &mut self.near), (2, &mut self.far)] {
            for list in lists.iter_mut() {
                clear_for_vectors(list, count);
            }
            for (i, frame) in frames.iter().enumerate() {
                for (list, product) in lists.iter_mut().zip(gram(after(i, by), frame)) {
                    list[i] = product;
                }
            }
        }
    }

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
    fn take(&mut self, offsets: impl Iterator<Item = [f64; 2]>) {
        let [us, vs] = &mut self.offset;
        let mut same = true;
        for ((u, v), [to_u, to_v]) in us.iter_mut().zip(vs).zip(offsets) {
            same &= to_u.to_bits() == u.to_bits() && to_v.to_bits() == v.to_bits();
            (*u, *v) = (to_u, to_v);
        }
        self.measured &= same;
    }

    /// Finds which terms are neighbours.
    pub(crate) fn set_rows(&mut self, corners: &[CornerTerm], members: &[Member]) {
        let regular = |c: &CornerTerm| {
            !c.clamp
                && !c.dof[0].is_fixed()
                && c.frame[1] == c.frame[0] + 1
                && c.frame[2] == c.frame[0] + 2
                && c.edge[1] == c.edge[0] + 1
        };
        let row_of = |term: usize, corner: usize| Row {
            term: short(term),
            corner: short(corner),
            edge: corners[corner].edge[0],
            frame: corners[corner].frame[0],
            count: 1,
        };
        self.corners.clear();
        for (i, corner) in corners.iter().enumerate() {
            let follows = regular(corner) && i > 0 && regular(&corners[i - 1]);
            Row::push(&mut self.corners, row_of(i, i), follows);
        }
        self.along.clone_from(&self.corners);
        self.along
            .sort_by_key(|row| corners[row.corner as usize].dof[2]);
        self.members.clear();
        let whole = |m: &Member| m.weight >= 1.0 && regular(&corners[m.corner as usize]);
        for (i, member) in members.iter().enumerate() {
            let follows = i > 0
                && whole(member)
                && whole(&members[i - 1])
                && member.rod == members[i - 1].rod;
            let row = row_of(i, member.corner as usize);
            Row::push(&mut self.members, row, follows);
        }
    }

    /// An edge where it was last looked at: unit tangent, inverse length, length.
    #[inline(always)]
    pub(crate) fn edge(&self, at: usize) -> (Vector, f64, f64) {
        let t = Vector::new(self.t[0][at], self.t[1][at], self.t[2][at]);
        (t, self.a[at], self.l[at])
    }

    /// Its length, mm.
    pub(crate) fn length_mm(&self, edge: usize) -> f64 {
        self.l[edge]
    }

    /// The cell of a node between two edges, where it was last looked at.
    #[inline(always)]
    pub(crate) fn cell(&self, node: usize) -> Cell<f64> {
        Cell::inner(self.a[node - 1], self.a[node], self.m[node], self.q[node])
    }

    /// The cell of any corner.
    #[inline(always)]
    pub(super) fn cell_of(&self, term: &CornerTerm) -> Cell<f64> {
        let [a0, a1] = term.edge.map(|e| self.a[e as usize]);
        let (q, m) = (self.q[term.cell as usize], self.m[term.cell as usize]);
        if term.clamp {
            Cell::clamp(a1, m, q)
        } else {
            Cell::inner(a0, a1, m, q)
        }
    }

    /// Products of the normals of the nodes (1,0), (2,0), (2,1) of corners whose first nodes lie on
    /// `frame` and those after it.
    #[inline(always)]
    pub(super) fn grams<S: Simd>(&self, simd: S, frame: usize) -> [[Several<S>; 4]; 3] {
        [
            four(simd, &self.near, frame),
            four(simd, &self.far, frame),
            four(simd, &self.near, frame + 1),
        ]
    }

    fn set_edge(&mut self, at: usize, e: Vector) {
        let (t, a, l) = measured(e);
        (self.a[at], self.l[at]) = (a, l);
        for (list, t) in self.t.iter_mut().zip(t.iter()) {
            list[at] = *t;
        }
    }

    fn set_cell(&mut self, at: usize, cell: &Cell<f64>) {
        (self.q[at], self.m[at]) = (cell.q, cell.m);
    }

    /// Cells whose first edges are `edge` and those after it.
    #[inline(always)]
    pub(super) fn cells<S: Simd>(&self, simd: S, edge: usize) -> Cell<Several<S>> {
        Cell::inner(
            Several::load(simd, &self.a, edge),
            Several::load(simd, &self.a, edge + 1),
            Several::load(simd, &self.m, edge + 1),
            Several::load(simd, &self.q, edge + 1),
        )
    }

    /// Their edges on the normals of their frames.
    #[inline(always)]
    pub(super) fn on<S: Simd>(&self, simd: S, edge: usize, frame: usize) -> Projected<Several<S>> {
        let (t0, t1) = (three(simd, &self.t, edge), three(simd, &self.t, edge + 1));
        let (n1, n2) = (&self.n1, &self.n2);
        let normals = [
            [three(simd, n1, frame), three(simd, n2, frame)],
            [three(simd, n1, frame + 1), three(simd, n2, frame + 1)],
            [three(simd, n1, frame + 2), three(simd, n2, frame + 2)],
        ];
        Projected {
            t0: onto(&normals, &t0),
            t1: onto(&normals, &t1),
        }
    }

    /// Unit tangents and lengths of edges between regular nodes; the first node lies on the first frame. A vector's
    /// end may spill over what follows.
    #[inline(always)]
    fn look_at_edges<S: Simd>(&mut self, simd: S, edges: std::ops::Range<usize>) {
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
            let mut e = three(simd, &self.step, frame);
            let from = [three(simd, &self.n1, frame), three(simd, &self.n2, frame)];
            let to = [
                three(simd, &self.n1, frame + 1),
                three(simd, &self.n2, frame + 1),
            ];
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
    fn measure_cells<S: Simd>(&mut self, simd: S, cells: std::ops::Range<usize>) {
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

impl Model {
    /// Number of the edge and the cell of a rod that leave its last regular node out.
    pub(crate) fn skipping(&self, rod: usize) -> usize {
        self.nodes.s_mm.len() + rod
    }

    /// Brings edges and cells to `x`.
    pub(crate) fn look(&mut self, x: &[f64]) {
        let offsets = self.nodes.dof.iter().map(|dof| dof.offset(x));
        self.abreast.take(offsets);
        self.measure();
    }

    /// The same to the stored offsets.
    pub(crate) fn look_at_stored(&mut self) {
        self.abreast.take(self.nodes.offset.iter().copied());
        self.measure();
    }

    fn measure(&mut self) {
        struct Op<'a>(&'a mut Model);
        impl WithSimd for Op<'_> {
            type Output = ();
            #[inline(always)]
            fn with_simd<S: Simd>(self, simd: S) {
                self.0.measure_with(simd);
            }
        }
        if !self.abreast.measured {
            in_lanes(Op(self));
            self.abreast.measured = true;
        }
    }

    #[inline(always)]
    fn measure_with<S: Simd>(&mut self, simd: S) {
        // vectors first: their ends may spill over what stands alone
        for rod in &self.rods {
            self.abreast.look_at_edges(simd, rod.first..rod.last());
        }
        for (k, rod) in self.rods.iter().enumerate() {
            if rod.tip {
                let (last, tip) = (rod.last(), rod.tip_node());
                let e = self.edge_between(last, tip);
                self.abreast.set_edge(last, e);
                if rod.skips() {
                    let e = self.edge_between(last - 1, tip);
                    let at = self.skipping(k);
                    self.abreast.set_edge(at, e);
                }
            }
        }
        for rod in &self.rods {
            self.abreast
                .measure_cells(simd, rod.first + 1..rod.range().end - 1);
        }
        for (k, rod) in self.rods.iter().enumerate() {
            let RodNodes {
                first,
                last_regular,
                ..
            } = *rod;
            if rod.clamped {
                let held = Corner::held(self.frames[0].tangent, self.abreast.edge(first));
                self.abreast.set_cell(first, &held.cell);
            }
            if rod.skips() {
                let at = self.skipping(k);
                let before = self.abreast.edge(first + last_regular - 2);
                let corner = Corner::between(before, self.abreast.edge(at));
                self.abreast.set_cell(at, &corner.cell);
            }
        }
    }

    /// From one node to another where they were last looked at.
    fn edge_between(&self, a: usize, b: usize) -> Vector {
        let [us, vs] = &self.abreast.offset;
        let [(frame_a, at_a), (frame_b, at_b)] =
            [a, b].map(|n| (&self.frames[self.nodes.frame[n] as usize], [us[n], vs[n]]));
        edge(frame_a, at_a, frame_b, at_b)
    }

    /// The corner of a node between two others, where it was last looked at.
    pub(crate) fn corner_between(&self, node: usize) -> Corner {
        Corner::between(self.abreast.edge(node - 1), self.abreast.edge(node))
    }
}
