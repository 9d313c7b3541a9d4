//! What corners feel: energy and slopes, Hessian, arcs; neighbours along a rod taken as many at once as a
//! vector holds.

use super::dof::{Dof, scatter_gradient, scatter_hessian};
use super::edge_batch::{ABREAST, Abreast};
use super::energy::Energy;
use super::model::Model;
use super::terms::{CornerTerm, Member};
use super::vertex_energy::{Cell, Corner, Projected, gram};
use crate::geometry::Frame;
use crate::mechanics::linear_algebra::number::Several;
use crate::mechanics::linear_algebra::width::{WIDEST, in_lanes};
use pulp::{Simd, WithSimd};

/// Nodes to either side that a corner reaches beyond its first.
const REACH: usize = 2;

/// Numbers of a row's lists: its nodes, taken by whole vectors, and what the first of them looks back to.
const ROOM: usize = (ABREAST + REACH).next_multiple_of(WIDEST) + REACH;

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
struct Found<const N: usize>([[f64; ROOM]; N]);

impl<const N: usize> Found<N> {
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

impl Model {
    /// A corner where it was last looked at.
    #[inline]
    pub(crate) fn corner_now(&self, corner: u32) -> Corner {
        shape_of(&self.corners[corner as usize], &self.frames, &self.abreast)
    }

    /// What its energy depends on.
    #[inline(always)]
    pub(crate) fn cell_now(&self, corner: u32) -> Cell<f64> {
        self.abreast.cell_of(&self.corners[corner as usize])
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
        in_lanes(Op(self))
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
                scatter_gradient(&mut gradient, term.dof, slopes);
                continue;
            }
            let (edge, frame) = (row.edge as usize, row.frame as usize);
            for lane in (0..row.count as usize).step_by(S::F64_LANES) {
                let cells = self.abreast.cells(simd, edge + lane);
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
                scatter_gradient(&mut gradient, term.dof, found.slopes(one, 2));
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
        in_lanes(Op(self));
    }

    #[inline(always)]
    fn assemble_corners_with<S: Simd>(&mut self, simd: S) {
        let mut matrix = std::mem::take(&mut self.matrix);
        matrix.clear();
        let mut found = Found::<24>::new();
        let mut sums = Found::<8>::new();
        for row in &self.abreast.along {
            let at = row.corner as usize;
            let count = row.count as usize;
            let terms = &self.corners[at..at + count];
            // bases rise along a row
            let reached = terms[count - 1].dof;
            if let Some(last) = reached.into_iter().filter(|dof| !dof.is_fixed()).max() {
                matrix.clear_columns(last.at());
            }
            if row.alone() {
                let term = &self.corners[at];
                let corner = self.corner_now(row.corner);
                let [a, b, c] = term.frame.map(|f| &self.frames[f as usize]);
                let grams = [gram(b, a), gram(c, a), gram(c, b)];
                let load = self.load[at] + self.grips.corner_n[at];
                let on = self.projected(term, &corner);
                let local = corner.cell.hessian(&on, grams, self.stiffness[at], load);
                scatter_hessian(&mut matrix, term.dof, &local);
                continue;
            }
            let (edge, frame) = (row.edge as usize, row.frame as usize);
            for lane in (0..count).step_by(S::F64_LANES) {
                let cells = self.abreast.cells(simd, edge + lane);
                let on = self.abreast.on(simd, edge + lane, frame + lane);
                let grams = self.abreast.grams(simd, frame + lane);
                let (b, load) = self.stiffness_and_load(simd, at + lane);
                let blocks = cells.hessian(&on, grams, b, load);
                for (i, block) in blocks.iter().enumerate() {
                    found.keep(4 * i, REACH + lane, block);
                }
            }
            // what a node gets from the corners it takes part in, at once
            for list in &mut found.0 {
                list[REACH + count..].fill(0.0);
            }
            for lane in (0..count + REACH).step_by(S::F64_LANES) {
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
            for (node, term) in terms.iter().enumerate() {
                let at = term.dof.map(Dof::at);
                let blocks = [
                    sums.of(node, 0),
                    sums.of(node, 4),
                    found.of(REACH + node, 12),
                ];
                matrix.add_columns(at, &blocks);
            }
            let [_, b, c] = terms[count - 1].dof.map(Dof::at);
            matrix.add(b, b, sums.of(count, 0));
            matrix.add(c, b, sums.of(count, 4));
            matrix.add(c, c, sums.of(count + 1, 0));
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
        in_lanes(Op(self, wanted, into));
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
            let dof = |member: &Member| member.nodes.map(|n| self.nodes.dof[n as usize]);
            if let [member] = members {
                let corner = self.corner_now(row.corner);
                let on = self.projected(&self.corners[row.corner as usize], &corner);
                into(&Arc {
                    rod,
                    weight: member.weight,
                    dof: dof(member),
                    mm: corner.cell.arc_mm(),
                    slopes: on.by_node(corner.cell.arc_gradient()),
                });
                continue;
            }
            let (edge, frame) = (row.edge as usize, row.frame as usize);
            for lane in (0..members.len()).step_by(S::F64_LANES) {
                let cells = self.abreast.cells(simd, edge + lane);
                let on = self.abreast.on(simd, edge + lane, frame + lane);
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
}

/// A corner between its edges where they were last looked at.
#[inline(always)]
fn shape_of(term: &CornerTerm, frames: &[Frame], abreast: &Abreast) -> Corner {
    let [e0, e1] = term.edge.map(|e| e as usize);
    let e1 = abreast.edge(e1);
    if term.clamp {
        // the first node is the second, which a clamp holds
        Corner::held(frames[term.frame[1] as usize].tangent, e1)
    } else {
        Corner::between(abreast.edge(e0), e1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Point, Vector};
    use crate::math;
    use crate::mechanics::Lanes;
    use crate::mechanics::rod::edge_batch::Row;
    use crate::mechanics::{
        AxialLoad, Container, End, Profile, Rod, Scene, StartSupport, Stretch, TubeStation,
    };
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

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
            frame = frame.along_arc(1.0, 0.03 + 0.02 * math::sin(0.9 * s_mm), 0.4 * s_mm);
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

    /// What kernels find where rods lie in waves.
    #[derive(Debug, PartialEq)]
    struct Seen {
        energy: f64,
        gradient: Vec<f64>,
        product: Vec<f64>,
        softest: f64,
        length_mm: f64,
    }

    fn look(model: &mut Model, x: &[f64]) -> Seen {
        let energy = model.evaluate(x, &[0.0; 3]).total;
        model.factorise(0.0);
        let along: Vec<f64> = x.iter().map(|x| math::sin(37.0 * x)).collect();
        let mut product = vec![0.0; x.len()];
        model.multiply(&along, &mut product);
        Seen {
            energy,
            gradient: model.gradient.clone(),
            product,
            softest: model.softest,
            length_mm: model.grips.length_mm(2),
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
                    corner: row.corner + from,
                    edge: row.edge + from,
                    frame: row.frame + from,
                    count,
                });
                from += count;
            }
        }
    }

    fn cut_all(abreast: &mut Abreast, mut next: impl FnMut() -> u32) {
        cut(&mut abreast.corners, &mut next);
        cut(&mut abreast.along, &mut next);
        cut(&mut abreast.members, &mut next);
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
        let together = look(&mut model, &x);
        let longest = |rows: &[Row]| rows.iter().map(|r| r.count).max();
        assert_eq!(longest(&model.abreast.corners), Some(16), "corners alone");
        assert_eq!(longest(&model.abreast.members), Some(16), "members alone");
        cut_all(&mut model.abreast, || 1);
        let alone = look(&mut model, &x);
        // vectors fuse what is projected on normals, and the matrix adds corners in another order
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
    fn rows_of_every_length_are_the_same_at_every_width() {
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
            cut_all(&mut model.abreast, || match round {
                0..16 => round + 1,
                _ => random.random_range(1..=16),
            });
            Lanes::Native.choose();
            let native = look(&mut model, &x);
            for lanes in [Lanes::Two, Lanes::Four, Lanes::Eight] {
                lanes.choose();
                let seen = look(&mut model, &x);
                Lanes::Native.choose();
                assert_eq!(seen, native, "{lanes:?}, round {round}");
            }
        }
    }
}
