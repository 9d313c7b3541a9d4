//! Bending and axial load at the vertices: energy and gradient, Hessian, arcs; neighbours along a rod taken
//! as many at once as a vector holds.

use super::batch::{LONGEST_ROW, Row};
use super::dof::{Dof, scatter_gradient, scatter_hessian};
use super::energy::Energy;
use super::kinematics::Kinematics;
use super::terms::Member;
use super::vertex_energy::gram;
use crate::mechanics::linear_algebra::banded::BlockBanded;
use crate::mechanics::linear_algebra::number::Several;
use crate::mechanics::linear_algebra::width::{WIDEST, in_lanes};
use pulp::{Simd, WithSimd};

/// Nodes to either side that a vertex reaches beyond its first.
const REACH: usize = 2;

/// Numbers of a row's lists: its nodes, taken by whole vectors, and what the first of them looks back to.
const ROOM: usize = (LONGEST_ROW + REACH).next_multiple_of(WIDEST) + REACH;

/// Arc of a member's cell.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Arc {
    pub(crate) rod: usize,
    /// The member's share in it.
    pub(crate) weight: f64,
    /// Unknowns of its nodes.
    pub(crate) dof: [Dof; 3],
    pub(crate) mm: f64,
    /// Gradient by node.
    pub(crate) slopes: [[f64; 2]; 3],
}

/// Numbers of a row, one list for each of what is found.
#[repr(align(64))]
struct RowLists<const N: usize>([[f64; ROOM]; N]);

impl<const N: usize> RowLists<N> {
    fn new() -> Self {
        Self([[0.0; ROOM]; N])
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

/// Coefficients by vertex: lists as long as vectors read.
#[derive(Debug, Clone, Copy)]
pub(crate) struct VertexCoefficients<'a> {
    /// Bending stiffness, N mm2.
    pub(crate) stiffness: &'a [f64],
    /// Axial load, N.
    pub(crate) load: &'a [f64],
    /// What hub springs and changes along the rod add to that where the shape is now, N.
    pub(crate) added_n: &'a [f64],
}

impl VertexCoefficients<'_> {
    #[inline(always)]
    fn of(&self, vertex: usize) -> (f64, f64) {
        let load = self.load[vertex] + self.added_n[vertex];
        (self.stiffness[vertex], load)
    }

    /// Of vertices from `at` on.
    #[inline(always)]
    fn several<S: Simd>(&self, simd: S, at: usize) -> (Several<S>, Several<S>) {
        let load = Several::load(simd, self.load, at);
        let added = Several::load(simd, self.added_n, at);
        (Several::load(simd, self.stiffness, at), load + added)
    }
}

/// Energy of bending and loads; adds its gradient. Returns as well how far below zero a buckling mode can
/// lie, N/mm, see [`super::vertex_energy::VoronoiCell::softness`].
pub(crate) fn evaluate(
    shape: Kinematics<'_>,
    coefficients: VertexCoefficients<'_>,
    gradient: &mut [f64],
) -> (Energy, f64) {
    struct Evaluate<'a>(Kinematics<'a>, VertexCoefficients<'a>, &'a mut [f64]);
    impl WithSimd for Evaluate<'_> {
        type Output = (Energy, f64);
        #[inline(always)]
        fn with_simd<S: Simd>(self, simd: S) -> Self::Output {
            evaluate_with(simd, self.0, self.1, self.2)
        }
    }
    in_lanes(Evaluate(shape, coefficients, gradient))
}

#[inline(always)]
fn evaluate_with<S: Simd>(
    simd: S,
    shape: Kinematics<'_>,
    coefficients: VertexCoefficients<'_>,
    gradient: &mut [f64],
) -> (Energy, f64) {
    let mut energy = Energy::default();
    let mut softest = 0.0_f64;
    let mut found = RowLists::<8>::new();
    for row in &shape.rows().vertices {
        let at = row.vertex as usize;
        if row.alone() {
            let term = &shape.layout.vertices[at];
            let vertex = shape.vertex(row.vertex);
            let (b, load) = coefficients.of(at);
            let (value, by_edge) = vertex.cell.slopes(b, load);
            energy.add(value);
            softest = softest.max(vertex.cell.softness(b, load));
            let slopes = shape.projected(term, &vertex).by_node(by_edge);
            scatter_gradient(gradient, term.dof, slopes);
            continue;
        }
        let (edge, frame) = (row.edge as usize, row.frame as usize);
        for lane in (0..row.count as usize).step_by(S::F64_LANES) {
            let cells = shape.edges.cells(simd, edge + lane);
            let (b, load) = coefficients.several(simd, at + lane);
            let (value, by_edge) = cells.slopes(b, load);
            let frames = &shape.layout.frame_batch;
            let on = shape.edges.on(simd, frames, (edge + lane, frame + lane));
            let [n0, n1, n2] = on.by_node(by_edge);
            let softness = cells.softness(b, load);
            let all = [value, softness, n0[0], n0[1], n1[0], n1[1], n2[0], n2[1]];
            found.keep(0, lane, &all);
        }
        let terms = &shape.layout.vertices[at..at + row.count as usize];
        for (one, term) in terms.iter().enumerate() {
            energy.add(found.0[0][one]);
            softest = softest.max(found.0[1][one]);
            scatter_gradient(gradient, term.dof, found.slopes(one, 2));
        }
    }
    (energy, softest)
}

/// Puts the Hessian of bending and loads into a matrix, and nought where there is none.
pub(crate) fn assemble(
    shape: Kinematics<'_>,
    coefficients: VertexCoefficients<'_>,
    matrix: &mut BlockBanded,
) {
    struct Assemble<'a>(Kinematics<'a>, VertexCoefficients<'a>, &'a mut BlockBanded);
    impl WithSimd for Assemble<'_> {
        type Output = ();
        #[inline(always)]
        fn with_simd<S: Simd>(self, simd: S) {
            assemble_with(simd, self.0, self.1, self.2);
        }
    }
    in_lanes(Assemble(shape, coefficients, matrix));
}

#[inline(always)]
fn assemble_with<S: Simd>(
    simd: S,
    shape: Kinematics<'_>,
    coefficients: VertexCoefficients<'_>,
    matrix: &mut BlockBanded,
) {
    matrix.clear();
    let mut found = RowLists::<24>::new();
    let mut sums = RowLists::<8>::new();
    for row in &shape.rows().along {
        // unknowns rise along a row
        let last = row.vertex as usize + row.count as usize - 1;
        let reached = shape.layout.vertices[last].dof.into_iter();
        if let Some(last) = reached.filter(|dof| !dof.is_fixed()).max() {
            matrix.clear_columns(last.at());
        }
        if row.alone() {
            assemble_alone(shape, coefficients, row, matrix);
        } else {
            hessians(simd, shape, coefficients, row, &mut found);
            sum_by_node(simd, row, &mut found, &mut sums);
            add_row(shape, row, (&found, &sums), matrix);
        }
    }
    matrix.clear_rest();
}

/// The Hessian of a vertex that has no neighbours in its row.
#[inline(always)]
fn assemble_alone(
    shape: Kinematics<'_>,
    coefficients: VertexCoefficients<'_>,
    row: &Row,
    matrix: &mut BlockBanded,
) {
    let at = row.vertex as usize;
    let term = &shape.layout.vertices[at];
    let vertex = shape.vertex(row.vertex);
    let [a, b, c] = term.frame.map(|f| &shape.layout.frames[f as usize]);
    let grams = [gram(b, a), gram(c, a), gram(c, b)];
    let (stiffness, load) = coefficients.of(at);
    let on = shape.projected(term, &vertex);
    let local = vertex.cell.hessian(&on, grams, stiffness, load);
    scatter_hessian(matrix, term.dof, &local);
}

/// Hessians of all vertices of a row.
#[inline(always)]
fn hessians<S: Simd>(
    simd: S,
    shape: Kinematics<'_>,
    coefficients: VertexCoefficients<'_>,
    row: &Row,
    found: &mut RowLists<24>,
) {
    let (at, count) = (row.vertex as usize, row.count as usize);
    let (edge, frame) = (row.edge as usize, row.frame as usize);
    let frames = &shape.layout.frame_batch;
    for lane in (0..count).step_by(S::F64_LANES) {
        let cells = shape.edges.cells(simd, edge + lane);
        let on = shape.edges.on(simd, frames, (edge + lane, frame + lane));
        let grams = frames.grams(simd, frame + lane);
        let (b, load) = coefficients.several(simd, at + lane);
        let blocks = cells.hessian(&on, grams, b, load);
        for (i, block) in blocks.iter().enumerate() {
            found.keep(4 * i, REACH + lane, block);
        }
    }
    for list in &mut found.0 {
        list[REACH + count..].fill(0.0);
    }
}

/// What a node gets from the vertices it takes part in, at once.
#[inline(always)]
fn sum_by_node<S: Simd>(simd: S, row: &Row, found: &mut RowLists<24>, sums: &mut RowLists<8>) {
    for lane in (0..row.count as usize + REACH).step_by(S::F64_LANES) {
        for k in 0..4 {
            let of = |block: usize, before: usize| {
                Several::load(simd, &found.0[4 * block + k], REACH + lane - before)
            };
            let own = of(0, 0) + of(2, 1) + of(5, 2);
            let next = of(1, 0) + of(4, 1);
            own.store(&mut sums.0[k], lane);
            next.store(&mut sums.0[4 + k], lane);
        }
    }
}

/// Adds these sums, and the blocks of nodes two apart, to the matrix.
#[inline(always)]
fn add_row(
    shape: Kinematics<'_>,
    row: &Row,
    (found, sums): (&RowLists<24>, &RowLists<8>),
    matrix: &mut BlockBanded,
) {
    let (at, count) = (row.vertex as usize, row.count as usize);
    let terms = &shape.layout.vertices[at..at + count];
    for (node, term) in terms.iter().enumerate() {
        let blocks = [
            sums.of(node, 0),
            sums.of(node, 4),
            found.of(REACH + node, 12),
        ];
        matrix.add_columns(term.dof.map(Dof::at), &blocks);
    }
    let [_, b, c] = terms[count - 1].dof.map(Dof::at);
    matrix.add(b, b, sums.of(count, 0));
    matrix.add(c, b, sums.of(count, 4));
    matrix.add(c, c, sums.of(count + 1, 0));
}

/// Tells the arc of every member of the rods wanted.
pub(crate) fn arcs(shape: Kinematics<'_>, wanted: &[bool], into: impl FnMut(&Arc)) {
    struct Arcs<'a, F>(Kinematics<'a>, &'a [bool], F);
    impl<F: FnMut(&Arc)> WithSimd for Arcs<'_, F> {
        type Output = ();
        #[inline(always)]
        fn with_simd<S: Simd>(self, simd: S) {
            arcs_with(simd, self.0, self.1, self.2);
        }
    }
    in_lanes(Arcs(shape, wanted, into));
}

#[inline(always)]
fn arcs_with<S: Simd>(simd: S, shape: Kinematics<'_>, wanted: &[bool], mut into: impl FnMut(&Arc)) {
    let mut found = RowLists::<7>::new();
    let layout = shape.layout;
    for row in &shape.rows().members {
        let members = &layout.members[row.term as usize..(row.term + row.count) as usize];
        let rod = members[0].rod as usize;
        if !wanted[rod] {
            continue;
        }
        let dof = |member: &Member| member.nodes.map(|n| layout.nodes.dof[n as usize]);
        if let [member] = members {
            let vertex = shape.vertex(row.vertex);
            let on = shape.projected(&layout.vertices[row.vertex as usize], &vertex);
            into(&Arc {
                rod,
                weight: member.weight,
                dof: dof(member),
                mm: vertex.cell.arc_mm(),
                slopes: on.by_node(vertex.cell.arc_gradient()),
            });
            continue;
        }
        let (edge, frame) = (row.edge as usize, row.frame as usize);
        for lane in (0..members.len()).step_by(S::F64_LANES) {
            let cells = shape.edges.cells(simd, edge + lane);
            let at = (edge + lane, frame + lane);
            let on = shape.edges.on(simd, &layout.frame_batch, at);
            let [n0, n1, n2] = on.by_node(cells.arc_gradient());
            let all = [cells.arc_mm(), n0[0], n0[1], n1[0], n1[1], n2[0], n2[1]];
            found.keep(0, lane, &all);
        }
        for (one, member) in members.iter().enumerate() {
            into(&Arc {
                rod,
                weight: 1.0,
                dof: dof(member),
                mm: found.0[0][one],
                slopes: found.slopes(one, 1),
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Frame, Point, Vector};
    use crate::math;
    use crate::mechanics::Lanes;
    use crate::mechanics::rod::batch::Rows;
    use crate::mechanics::rod::model::Model;
    use crate::mechanics::{
        AxialLoad, Container, ContainerStretch, End, Profile, Rod, Scene, StartSupport, TubeStation,
    };
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// A stiff sheath, a catheter in it that leaves it, and a wire with a spring at its hub that fits it
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
            frame = frame.along_arc(1.0, 0.03 + 0.02 * math::sin(0.9 * s_mm), 0.4 * s_mm);
        }
        let tip = |s: f64| End::Tip(TubeStation::at(&tube, s).unwrap());
        let within = |rod: usize, to_mm: f64| ContainerStretch {
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
                ContainerStretch {
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
                ContainerStretch {
                    from_mm: 50.55,
                    to_mm: f64::INFINITY,
                    container: Container::Vessel,
                },
            ],
            load: AxialLoad::HubHeld {
                load_n: (0..=70).map(|i| -0.01 * f64::from(i)).collect(),
                spring_n_per_mm: 0.3,
                rest_mm: 70.0,
            },
            ..Rod::uniform(2.0, 0.36)
        };
        (tube.clone(), vec![sheath, catheter, wire])
    }

    /// What kernels find where rods lie in waves.
    #[derive(Debug, PartialEq)]
    struct Evaluated {
        energy: f64,
        gradient: Vec<f64>,
        product: Vec<f64>,
        softest: f64,
        length_mm: f64,
    }

    fn evaluated(model: &mut Model, x: &[f64]) -> Evaluated {
        let energy = model.evaluate(x, &[0.0; 3]).total;
        model.factorise(0.0);
        let along: Vec<f64> = x.iter().map(|x| math::sin(37.0 * x)).collect();
        let mut product = vec![0.0; x.len()];
        model.multiply(&along, &mut product);
        Evaluated {
            energy,
            gradient: model.at.gradient.clone(),
            product,
            softest: model.at.softest,
            length_mm: model.springs.length_mm(2),
        }
    }

    /// Cuts rows into pieces of the lengths that `next` gives.
    fn cut(rows: &mut Vec<Row>, mut next: impl FnMut() -> u32) {
        let whole = std::mem::take(rows);
        for row in whole {
            let mut from = 0;
            while from < row.count {
                let count = next().min(row.count - from);
                rows.push(Row {
                    term: row.term + from,
                    vertex: row.vertex + from,
                    edge: row.edge + from,
                    frame: row.frame + from,
                    count,
                });
                from += count;
            }
        }
    }

    fn cut_all(rows: &mut Rows, mut next: impl FnMut() -> u32) {
        cut(&mut rows.vertices, &mut next);
        cut(&mut rows.along, &mut next);
        cut(&mut rows.members, &mut next);
    }

    #[test]
    fn property_taken_together_or_one_by_one_they_are_the_same() {
        let (tube, rods) = posed();
        let scene = Scene {
            tube: &tube,
            rods: &rods,
            beside: &[],
        };
        let (mut model, x) = Model::in_waves(&scene, &[0.0; 3]);
        let together = evaluated(&mut model, &x);
        let longest = |rows: &[Row]| rows.iter().map(|r| r.count).max();
        assert_eq!(
            longest(&model.layout.rows.vertices),
            Some(16),
            "vertices alone"
        );
        assert_eq!(
            longest(&model.layout.rows.members),
            Some(16),
            "members alone"
        );
        cut_all(&mut model.layout.rows, || 1);
        let alone = evaluated(&mut model, &x);
        // vectors fuse what is projected on normals, and the matrix adds vertices in another order
        let same = |a: f64, b: f64, size: f64| (a - b).abs() <= 1e-12 * size;
        let (a, b) = (&together, &alone);
        assert!(same(a.energy, b.energy, b.energy.abs()), "energy");
        assert!(same(a.softest, b.softest, b.softest), "softest");
        assert!(same(a.length_mm, b.length_mm, b.length_mm), "length");
        for (what, a, b) in [
            ("gradient", &a.gradient, &b.gradient),
            ("Hessian", &a.product, &b.product),
        ] {
            let size = b.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            for (i, (a, b)) in a.iter().zip(b).enumerate() {
                assert!(same(*a, *b, size), "{what} {i}: {a} together, {b} alone");
            }
        }
    }

    #[test]
    fn property_rows_of_every_length_are_the_same_at_every_width() {
        let (tube, rods) = posed();
        let scene = Scene {
            tube: &tube,
            rods: &rods,
            beside: &[],
        };
        let (whole, x) = Model::in_waves(&scene, &[0.0; 3]);
        let mut random = ChaCha8Rng::seed_from_u64(16);
        // every length by itself, then random ones; 1 to 16 are all there are
        for round in 0..=40 {
            let mut model = whole.clone();
            cut_all(&mut model.layout.rows, || match round {
                0..16 => round + 1,
                _ => random.random_range(1..=16),
            });
            Lanes::Native.choose();
            let native = evaluated(&mut model, &x);
            for lanes in [Lanes::Two, Lanes::Four, Lanes::Eight] {
                lanes.choose();
                let seen = evaluated(&mut model, &x);
                Lanes::Native.choose();
                assert_eq!(seen, native, "{lanes:?}, round {round}");
            }
        }
    }
}
