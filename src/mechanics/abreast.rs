//! Edges and corners that follow one another along a rod, taken as many at once as a vector holds.
//!
//! Everything lies in lists of its own, by frame, edge or corner, so that neighbours are loaded
//! together. What stands alone, at clamps and tips, is worked out by the same formulas one by one.

use super::bend::{Cell, Corner, Projected, gram, measured};
use super::layout::{FIXED, short};
use super::model::{Energy, Model, edge};
use super::number::{Number, Several};
use super::terms::{CornerTerm, EdgeTerm, Member};
use crate::geometry::{Frame, Vector};
use pulp::{Arch, Simd, WithSimd};

/// Most corners taken at once; a multiple of what any vector holds.
const ABREAST: usize = 8;

/// Vectors, component by component.
type Vectors = [Vec<f64>; 3];

/// Neighbours in their lists: `count` terms from `term` on, their corners (of edges: the nodes they start
/// from), the first edge of each and the frame that edge starts from.
#[derive(Debug, Clone, Copy)]
struct Row {
    term: u32,
    corner: u32,
    edge: u32,
    frame: u32,
    count: u32,
}

impl Row {
    fn alone(&self) -> bool {
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
    /// By edge: unit tangent, inverse length, length.
    t: Vectors,
    a: Vec<f64>,
    l: Vec<f64>,
    /// By corner, see [`Cell`].
    q: Vec<f64>,
    m: Vec<f64>,
    edges: Vec<Row>,
    corners: Vec<Row>,
    /// The corners in the order of their unknowns, so that the matrix passes through the cache once, not
    /// once for every rod.
    along: Vec<Row>,
    members: Vec<Row>,
}

/// Numbers beyond a list's end that a last vector may read.
const BEYOND: usize = ABREAST + 2;

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

    /// Finds which terms are neighbours.
    pub(crate) fn set_rows(
        &mut self,
        nodes: usize,
        edges: &[EdgeTerm],
        corners: &[CornerTerm],
        members: &[Member],
    ) {
        for list in &mut self.offset {
            clear_for_vectors(list, nodes);
        }
        for list in self.t.iter_mut().chain([&mut self.a, &mut self.l]) {
            clear_for_vectors(list, edges.len());
        }
        for list in [&mut self.q, &mut self.m] {
            clear_for_vectors(list, corners.len());
        }
        self.edges.clear();
        for (i, edge) in edges.iter().enumerate() {
            let row = Row {
                term: short(i),
                corner: edge.node[0],
                edge: short(i),
                frame: edge.frame[0],
                count: 1,
            };
            let regular = |e: &EdgeTerm| e.frame[1] == e.frame[0] + 1 && e.node[1] == e.node[0] + 1;
            let follows = regular(edge) && i > 0 && regular(&edges[i - 1]);
            Row::push(&mut self.edges, row, follows);
        }
        let regular = |c: &CornerTerm| {
            !c.clamp
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
            .sort_by_key(|row| corners[row.corner as usize].base[2]);
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
    fn edge(&self, at: u32) -> (Vector, f64, f64) {
        let at = at as usize;
        let t = Vector::new(self.t[0][at], self.t[1][at], self.t[2][at]);
        (t, self.a[at], self.l[at])
    }

    fn set_edge(&mut self, at: usize, e: Vector) {
        let (t, a, l) = measured(e);
        (self.a[at], self.l[at]) = (a, l);
        for (list, t) in self.t.iter_mut().zip(t.iter()) {
            list[at] = *t;
        }
    }

    /// Cells from `corner` on, the first edge of the first being `edge`.
    #[inline(always)]
    fn cells<S: Simd>(&self, simd: S, corner: usize, edge: usize) -> Cell<Several<S>> {
        Cell::inner(
            Several::load(simd, &self.a, edge),
            Several::load(simd, &self.a, edge + 1),
            Several::load(simd, &self.m, corner),
            Several::load(simd, &self.q, corner),
        )
    }

    /// Their edges on the normals of their frames.
    #[inline(always)]
    fn on<S: Simd>(&self, simd: S, edge: usize, frame: usize) -> Projected<Several<S>> {
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

    /// Unit tangents and lengths of a row of edges.
    #[inline(always)]
    fn look_at_row<S: Simd>(&mut self, simd: S, row: &Row) {
        let (first, frame, node) = (row.edge as usize, row.frame as usize, row.corner as usize);
        for lane in (0..row.count as usize).step_by(S::F64_LANES) {
            let (at, frame, node) = (first + lane, frame + lane, node + lane);
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

    /// `q` and `m` of a row of corners.
    #[inline(always)]
    fn measure_row<S: Simd>(&mut self, simd: S, row: &Row) {
        let (first, edge) = (row.corner as usize, row.edge as usize);
        for lane in (0..row.count as usize).step_by(S::F64_LANES) {
            let (at, edge) = (first + lane, edge + lane);
            let (t0, t1) = (three(simd, &self.t, edge), three(simd, &self.t, edge + 1));
            let turn = [t1[0] - t0[0], t1[1] - t0[1], t1[2] - t0[2]];
            dot(&turn, &turn).times(0.5).store(&mut self.q, at);
            let both = Several::load(simd, &self.l, edge) + Several::load(simd, &self.l, edge + 1);
            both.times(0.5).store(&mut self.m, at);
        }
    }
}

/// Arc of a member's cell.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Arc {
    pub(crate) rod: usize,
    /// The member's share in it.
    pub(crate) weight: f64,
    /// Unknowns of its nodes.
    pub(crate) base: [u32; 3],
    pub(crate) mm: f64,
    /// Gradient by node.
    pub(crate) slopes: [[f64; 2]; 3],
}

/// Numbers of a row, one list for each of what is found.
#[repr(align(64))]
struct Found<const N: usize>([[f64; ABREAST]; N]);

impl<const N: usize> Found<N> {
    fn new() -> Self {
        Self([[0.0; ABREAST]; N])
    }

    #[inline(always)]
    fn keep<S: Simd, const M: usize>(
        &mut self,
        from: usize,
        lane: usize,
        values: &[Several<S>; M],
    ) {
        for (list, values) in self.0[from..from + M].iter_mut().zip(values) {
            values.store(list, lane);
        }
    }

    /// Of one of them, from the `from`th on.
    #[inline(always)]
    fn of<const M: usize>(&self, one: usize, from: usize) -> [f64; M] {
        std::array::from_fn(|n| self.0[from + n][one])
    }

    /// Gradient of one of them, from the `from`th on.
    #[inline(always)]
    fn slopes(&self, one: usize, from: usize) -> [[f64; 2]; 3] {
        std::array::from_fn(|i| self.of(one, from + 2 * i))
    }
}

impl Model {
    /// Brings edges and corners to `x`.
    pub(crate) fn look(&mut self, x: &[f64]) {
        struct Op<'a>(&'a mut Model);
        impl WithSimd for Op<'_> {
            type Output = ();
            #[inline(always)]
            fn with_simd<S: Simd>(self, simd: S) {
                self.0.look_with(simd);
            }
        }
        let [us, vs] = &mut self.abreast.offset;
        for ((base, u), v) in self.nodes.base.iter().zip(us).zip(vs) {
            [*u, *v] = super::model::offset(x, *base);
        }
        Arch::new().dispatch(Op(self));
    }

    #[inline(always)]
    fn look_with<S: Simd>(&mut self, simd: S) {
        let Self {
            abreast,
            edges,
            corners,
            frames,
            ..
        } = self;
        // in rising order: a vector's end may spill over what follows
        let rows = std::mem::take(&mut abreast.edges);
        for row in &rows {
            if row.alone() {
                let term = &edges[row.edge as usize];
                let [a, b] = term.frame.map(|f| &frames[f as usize]);
                let [us, vs] = &abreast.offset;
                let [at_a, at_b] = term.node.map(|n| [us[n as usize], vs[n as usize]]);
                abreast.set_edge(row.edge as usize, edge(a, at_a, b, at_b));
            } else {
                abreast.look_at_row(simd, row);
            }
        }
        abreast.edges = rows;
        let rows = std::mem::take(&mut abreast.corners);
        for row in &rows {
            if row.alone() {
                let at = row.corner as usize;
                let corner = shape_of(&corners[at], frames, abreast);
                (abreast.q[at], abreast.m[at]) = (corner.cell.q, corner.cell.m);
            } else {
                abreast.measure_row(simd, row);
            }
        }
        abreast.corners = rows;
    }

    /// A corner where it was last looked at.
    pub(crate) fn corner_now(&self, corner: u32) -> Corner {
        shape_of(&self.corners[corner as usize], &self.frames, &self.abreast)
    }

    /// What its energy depends on.
    #[inline(always)]
    pub(crate) fn cell_now(&self, corner: u32) -> Cell<f64> {
        let at = corner as usize;
        let term = &self.corners[at];
        let a1 = self.abreast.a[term.edge[1] as usize];
        let (q, m) = (self.abreast.q[at], self.abreast.m[at]);
        if term.clamp {
            Cell::clamp(a1, m, q)
        } else {
            Cell::inner(self.abreast.a[term.edge[0] as usize], a1, m, q)
        }
    }

    /// Its edges on the normals.
    fn projected(&self, term: &CornerTerm, corner: &Corner) -> Projected<f64> {
        corner.on(term.frame.map(|f| &self.frames[f as usize]))
    }

    /// Stiffness of corners from `at` on, and their load with what hands add.
    #[inline(always)]
    fn stiffness_and_load<S: Simd>(&self, simd: S, at: usize) -> (Several<S>, Several<S>) {
        let load = Several::load(simd, &self.load, at);
        let by_hands = Several::load(simd, &self.grips.corner_n, at);
        (Several::load(simd, &self.stiffness, at), load + by_hands)
    }

    /// Energy of bending and loads where corners were last looked at; adds its gradient.
    pub(crate) fn feel_corners(&mut self) -> Energy {
        struct Op<'a>(&'a mut Model);
        impl WithSimd for Op<'_> {
            type Output = Energy;
            #[inline(always)]
            fn with_simd<S: Simd>(self, simd: S) -> Energy {
                self.0.feel_corners_with(simd)
            }
        }
        Arch::new().dispatch(Op(self))
    }

    #[inline(always)]
    fn feel_corners_with<S: Simd>(&mut self, simd: S) -> Energy {
        let mut energy = Energy::default();
        let mut softest = 0.0_f64;
        let mut gradient = std::mem::take(&mut self.gradient);
        let mut found = Found::<8>::new();
        for row in &self.abreast.corners {
            let at = row.corner as usize;
            if row.alone() {
                let term = &self.corners[at];
                let corner = self.corner_now(row.corner);
                let (b, load) = (self.stiffness[at], self.load[at] + self.grips.corner_n[at]);
                let (value, by_edge) = corner.cell.slopes(b, load);
                energy.add(value);
                softest = softest.max(corner.cell.softness(b, load));
                let slopes = self.projected(term, &corner).by_node(by_edge);
                pull(&mut gradient, term.base, slopes);
                continue;
            }
            let (edge, frame) = (row.edge as usize, row.frame as usize);
            for lane in (0..row.count as usize).step_by(S::F64_LANES) {
                let cells = self.abreast.cells(simd, at + lane, edge + lane);
                let (b, load) = self.stiffness_and_load(simd, at + lane);
                let (value, by_edge) = cells.slopes(b, load);
                let [n0, n1, n2] = self
                    .abreast
                    .on(simd, edge + lane, frame + lane)
                    .by_node(by_edge);
                let softness = cells.softness(b, load);
                let all = [value, softness, n0[0], n0[1], n1[0], n1[1], n2[0], n2[1]];
                found.keep(0, lane, &all);
            }
            let terms = &self.corners[at..at + row.count as usize];
            for (one, term) in terms.iter().enumerate() {
                energy.add(found.0[0][one]);
                softest = softest.max(found.0[1][one]);
                pull(&mut gradient, term.base, found.slopes(one, 2));
            }
        }
        self.gradient = gradient;
        self.softest = softest;
        energy
    }

    /// Adds the Hessian of bending and loads where corners were last looked at.
    pub(crate) fn assemble_corners(&mut self) {
        struct Op<'a>(&'a mut Model);
        impl WithSimd for Op<'_> {
            type Output = ();
            #[inline(always)]
            fn with_simd<S: Simd>(self, simd: S) {
                self.0.assemble_corners_with(simd);
            }
        }
        Arch::new().dispatch(Op(self));
    }

    #[inline(always)]
    fn assemble_corners_with<S: Simd>(&mut self, simd: S) {
        let mut matrix = std::mem::take(&mut self.matrix);
        matrix.clear();
        let mut found = Found::<24>::new();
        for row in &self.abreast.along {
            let at = row.corner as usize;
            let terms = &self.corners[at..at + row.count as usize];
            // bases rise along a row
            let reached = terms[terms.len() - 1].base;
            if let Some(last) = reached.into_iter().filter(|b| *b != FIXED).max() {
                matrix.clear_columns(last as usize);
            }
            if row.alone() {
                let term = &self.corners[at];
                let corner = self.corner_now(row.corner);
                let [a, b, c] = term.frame.map(|f| &self.frames[f as usize]);
                let grams = [gram(b, a), gram(c, a), gram(c, b)];
                let load = self.load[at] + self.grips.corner_n[at];
                let on = self.projected(term, &corner);
                let local = corner.cell.hessian(&on, grams, self.stiffness[at], load);
                super::model::scatter(&mut matrix, term.base, &local);
                continue;
            }
            let (edge, frame) = (row.edge as usize, row.frame as usize);
            for lane in (0..row.count as usize).step_by(S::F64_LANES) {
                let cells = self.abreast.cells(simd, at + lane, edge + lane);
                let on = self.abreast.on(simd, edge + lane, frame + lane);
                let Abreast { near, far, .. } = &self.abreast;
                let grams = [
                    four(simd, near, frame + lane),
                    four(simd, far, frame + lane),
                    four(simd, near, frame + lane + 1),
                ];
                let (b, load) = self.stiffness_and_load(simd, at + lane);
                let blocks = cells.hessian(&on, grams, b, load);
                for (i, block) in blocks.iter().enumerate() {
                    found.keep(4 * i, lane, block);
                }
            }
            for (one, term) in terms.iter().enumerate() {
                let local = std::array::from_fn(|block| found.of(one, 4 * block));
                super::model::scatter(&mut matrix, term.base, &local);
            }
        }
        matrix.clear_rest();
        self.matrix = matrix;
    }

    /// Tells the arc of every member of the rods wanted, where corners were last looked at.
    pub(crate) fn feel_arcs(&self, wanted: &[bool], into: impl FnMut(&Arc)) {
        struct Op<'a, F>(&'a Model, &'a [bool], F);
        impl<F: FnMut(&Arc)> WithSimd for Op<'_, F> {
            type Output = ();
            #[inline(always)]
            fn with_simd<S: Simd>(self, simd: S) {
                self.0.feel_arcs_with(simd, self.1, self.2);
            }
        }
        Arch::new().dispatch(Op(self, wanted, into));
    }

    #[inline(always)]
    fn feel_arcs_with<S: Simd>(&self, simd: S, wanted: &[bool], mut into: impl FnMut(&Arc)) {
        let mut found = Found::<7>::new();
        for row in &self.abreast.members {
            let members = &self.members[row.term as usize..(row.term + row.count) as usize];
            let rod = members[0].rod as usize;
            if !wanted[rod] {
                continue;
            }
            let base = |member: &Member| member.nodes.map(|n| self.nodes.base[n as usize]);
            if let [member] = members {
                let corner = self.corner_now(row.corner);
                let on = self.projected(&self.corners[row.corner as usize], &corner);
                into(&Arc {
                    rod,
                    weight: member.weight,
                    base: base(member),
                    mm: corner.cell.arc_mm(),
                    slopes: on.by_node(corner.cell.arc_gradient()),
                });
                continue;
            }
            let (at, edge, frame) = (row.corner as usize, row.edge as usize, row.frame as usize);
            for lane in (0..members.len()).step_by(S::F64_LANES) {
                let cells = self.abreast.cells(simd, at + lane, edge + lane);
                let on = self.abreast.on(simd, edge + lane, frame + lane);
                let [n0, n1, n2] = on.by_node(cells.arc_gradient());
                let all = [cells.arc_mm(), n0[0], n0[1], n1[0], n1[1], n2[0], n2[1]];
                found.keep(0, lane, &all);
            }
            for (one, member) in members.iter().enumerate() {
                into(&Arc {
                    rod,
                    weight: 1.0,
                    base: base(member),
                    mm: found.0[0][one],
                    slopes: found.slopes(one, 1),
                });
            }
        }
    }
}

/// A corner between its edges where they were last looked at.
#[inline(always)]
fn shape_of(term: &CornerTerm, frames: &[Frame], abreast: &Abreast) -> Corner {
    let e1 = abreast.edge(term.edge[1]);
    if term.clamp {
        // the first node is the second, which a clamp holds
        Corner::held(frames[term.frame[1] as usize].tangent, e1)
    } else {
        Corner::between(abreast.edge(term.edge[0]), e1)
    }
}

/// Adds a corner's gradient to the whole.
#[inline(always)]
pub(crate) fn pull(gradient: &mut [f64], base: [u32; 3], slopes: [[f64; 2]; 3]) {
    for (b, g) in base.iter().zip(slopes) {
        if *b != FIXED {
            gradient[*b as usize] += g[0];
            gradient[*b as usize + 1] += g[1];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Point;
    use crate::mechanics::{
        AxialLoad, Container, End, Profile, Rod, Scene, StartSupport, Stretch, TubeStation,
    };

    /// A stiff sheath, a catheter in it that leaves it, and a wire with a hand on its hub that fits it
    /// so tightly that they share an axis.
    fn posed() -> (Vec<TubeStation>, Vec<Rod>) {
        // no two cells alike
        let mut frame = Frame::new(Point::origin(), Vector::x(), Vector::y());
        let mut tube = Vec::new();
        for i in 0..=70 {
            let s_mm = f64::from(i);
            tube.push(TubeStation {
                s_mm,
                frame,
                radius_mm: 2.0,
                wall_stiffness_n_per_mm2: 10.0,
            });
            frame = frame.along_arc(1.0, 0.03 + 0.02 * (0.9 * s_mm).sin(), 0.4 * s_mm);
        }
        let tip = |s: f64| End::Tip(TubeStation::at(&tube, s).unwrap());
        let within = |rod: usize, to_mm: f64| Stretch {
            from_mm: 0.0,
            to_mm,
            container: Container::Rod(rod),
        };
        let knots = [(0.0, 1.0), (10.0, 4.0), (40.0, 30.0)];
        let sheath = Rod {
            inner_mm: Some(Profile::constant(2.2)),
            end: tip(23.4),
            ..Rod::uniform(300.0, 2.6)
        };
        let catheter = Rod {
            inner_mm: Some(Profile::constant(0.38)),
            end: tip(50.55),
            containers: vec![
                within(0, 23.4),
                Stretch {
                    from_mm: 23.4,
                    to_mm: 50.55,
                    container: Container::Vessel,
                },
            ],
            stiffness_n_mm2: Profile::new("b", &knots).unwrap(),
            start: StartSupport::Pinned,
            ..Rod::uniform(1.0, 1.2)
        };
        let wire = Rod {
            containers: vec![
                within(1, 50.55),
                Stretch {
                    from_mm: 50.55,
                    to_mm: f64::INFINITY,
                    container: Container::Vessel,
                },
            ],
            load: AxialLoad::Held {
                load_n: (0..=70).map(|i| -0.01 * f64::from(i)).collect(),
                grip_n_per_mm: 0.3,
                fed_mm: 70.0,
            },
            ..Rod::uniform(2.0, 0.36)
        };
        (tube.clone(), vec![sheath, catheter, wire])
    }

    #[test]
    fn taken_together_or_one_by_one_they_are_the_same() {
        let (tube, rods) = posed();
        let scene = Scene {
            tube: &tube,
            rods: &rods,
            beside: &[],
        };
        let (mut model, x) = Model::in_waves(&scene, &[0.0; 3]);
        let look = |model: &mut Model| {
            let energy = model.evaluate(&x, &[0.0; 3]).total;
            model.factorise(0.0);
            let along: Vec<f64> = x.iter().map(|x| (37.0 * x).sin()).collect();
            let mut product = vec![0.0; x.len()];
            model.multiply(&along, &mut product);
            let length = model.grips.length_mm(2);
            (
                energy,
                model.gradient.clone(),
                product,
                model.softest,
                length,
            )
        };
        let together = look(&mut model);
        let abreast = &mut model.abreast;
        let longest = |rows: &[Row]| rows.iter().map(|r| r.count).max();
        assert_eq!(longest(&abreast.corners), Some(8), "corners stand alone");
        assert_eq!(longest(&abreast.members), Some(8), "members stand alone");
        for rows in [
            &mut abreast.edges,
            &mut abreast.corners,
            &mut abreast.along,
            &mut abreast.members,
        ] {
            let one_by_one = |row: &Row| {
                let row = *row;
                (0..row.count).map(move |i| Row {
                    term: row.term + i,
                    corner: row.corner + i,
                    edge: row.edge + i,
                    frame: row.frame + i,
                    count: 1,
                })
            };
            *rows = rows.iter().flat_map(one_by_one).collect();
        }
        let alone = look(&mut model);
        let same = |a: f64, b: f64, size: f64| (a - b).abs() <= 1e-12 * size;
        assert!(same(together.0, alone.0, alone.0.abs()), "energy");
        assert!(same(together.3, alone.3, alone.3), "softest");
        assert!(same(together.4, alone.4, alone.4), "length");
        for (what, a, b) in [
            ("gradient", &together.1, &alone.1),
            ("Hessian", &together.2, &alone.2),
        ] {
            let size = b.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            for (i, (a, b)) in a.iter().zip(b).enumerate() {
                assert!(same(*a, *b, size), "{what} {i}: {a} together, {b} alone");
            }
        }
    }
}
