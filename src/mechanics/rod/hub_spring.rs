//! Hands on hubs: rods whose length from station 0 is held elastically.
//!
//! Under a load alone a bundle in a wide vessel snaps from one wall to the other; held at their
//! hubs, devices cannot, because each would need the length. A grip of the stiffness `K` adds
//! `K (L - fed)² / 2`, with the gradient `K (L - fed) dL/dx` and, besides the Hessian of a load of
//! that size, the matrix `K dL/dx dL/dx'` of rank one, which the banded factorisation takes in by
//! the formula of Sherman, Morrison and Woodbury.

use super::dof::scatter_gradient;
use super::edge_batch::clear_for_vectors;
use super::energy::Energy;
use super::model::{Model, end_of};
use super::scene::{AxialLoad, MOST_RODS, Scene};
use crate::math;
use crate::mechanics::linear_algebra::rhs_block::{MOST_SIDES, Sides};
use crate::mechanics::linear_algebra::small_dense::small_solve;
use nalgebra::{Const, LU, SMatrix, SVector};

/// What couples the hands.
type Small = SMatrix<f64, MOST_RODS, MOST_RODS>;

/// One hand.
#[derive(Debug, Clone, Default)]
pub(crate) struct Grip {
    rod: usize,
    stiffness_n_per_mm: f64,
    fed_mm: f64,
    /// Length at the last evaluation, mm.
    length_mm: f64,
    /// Its gradient.
    along: Vec<f64>,
}

/// All hands.
#[derive(Debug, Clone, Default)]
pub(crate) struct Grips {
    pub(crate) list: Vec<Grip>,
    /// The gradient of every hand, and what else is solved with them, half way through the solve.
    sides: Sides,
    /// Products of each with the solution for each.
    products: [[f64; MOST_SIDES]; MOST_SIDES],
    /// What couples the hands when solving; ones where there are fewer of them.
    small: Option<LU<f64, Const<MOST_RODS>, Const<MOST_RODS>>>,
    /// By rod: its hand.
    of_rod: [Option<usize>; MOST_RODS],
    /// Load that hands add to every corner, N.
    pub(crate) corner_n: Vec<f64>,
    /// The same for every end.
    pub(crate) end_n: Vec<f64>,
}

impl Grip {
    /// Load it adds, N.
    fn load_n(&self) -> f64 {
        self.stiffness_n_per_mm * (self.length_mm - self.fed_mm)
    }
}

impl Grips {
    /// Length of a rod held, at the last evaluation, mm.
    pub(crate) fn length_mm(&self, rod: usize) -> f64 {
        self.of_rod[rod].map_or(f64::NAN, |i| self.list[i].length_mm)
    }
}

/// Parts of the hands, the first of the sides.
fn sides_of(hands: &[f64; MOST_RODS], sign: f64) -> [f64; MOST_SIDES] {
    let mut parts = [0.0; MOST_SIDES];
    for (part, hand) in parts.iter_mut().zip(hands) {
        *part = sign * hand;
    }
    parts
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

impl Model {
    /// Takes the hands over from a scene.
    pub(crate) fn update_grips(&mut self, scene: &Scene<'_>) {
        let grips = &mut self.grips;
        grips.of_rod = [None; MOST_RODS];
        let mut count = 0;
        for (rod, given) in scene.rods.iter().enumerate() {
            let (AxialLoad::Held {
                grip_n_per_mm,
                fed_mm,
                ..
            }
            | AxialLoad::Gripped {
                grip_n_per_mm,
                fed_mm,
                ..
            }) = &given.load
            else {
                continue;
            };
            if *grip_n_per_mm <= 0.0 {
                continue;
            }
            if grips.list.len() == count {
                grips.list.push(Grip::default());
            }
            let grip = &mut grips.list[count];
            grip.rod = rod;
            grip.stiffness_n_per_mm = *grip_n_per_mm;
            grip.fed_mm = *fed_mm;
            grips.of_rod[rod] = Some(count);
            count += 1;
        }
        grips.list.truncate(count);
    }

    /// Lengths of held rods at `x`, and the loads that hands add for them. Returns what their
    /// energy differs by from that of loads of this size, with the sizes that it is summed from.
    pub(crate) fn feel_grips(&mut self, x: &[f64]) -> Energy {
        let mut grips = std::mem::take(&mut self.grips);
        clear_for_vectors(&mut grips.corner_n, self.corners.len());
        grips.end_n.clear();
        grips.end_n.resize(self.ends.len(), 0.0);
        for grip in &mut grips.list {
            grip.length_mm = 0.0;
            grip.along.clear();
            grip.along.resize(x.len(), 0.0);
        }
        let mut energy = Energy::default();
        if !grips.list.is_empty() {
            let Grips { list, of_rod, .. } = &mut grips;
            self.feel_arcs(&of_rod.map(|at| at.is_some()), |arc| {
                if let Some(at) = of_rod[arc.rod] {
                    let grip = &mut list[at];
                    grip.length_mm += arc.weight * arc.mm;
                    let slopes = arc.slopes.map(|s| s.map(|s| arc.weight * s));
                    scatter_gradient(&mut grip.along, arc.dof, slopes);
                }
            });
            for end in &self.ends {
                let Some(at) = grips.of_rod[end.rod as usize] else {
                    continue;
                };
                let grip = &mut grips.list[at];
                let (frames, e) = end_of(end, &self.frames, x);
                let length = e.norm();
                grip.length_mm += end.weight * length;
                for (i, sign) in [-1.0, 1.0].into_iter().enumerate() {
                    if !end.dof[i].is_fixed() {
                        let scale = sign * end.weight / length;
                        let b = end.dof[i].at();
                        grip.along[b] += scale * frames[i].n1.dot(&e);
                        grip.along[b + 1] += scale * frames[i].n2.dot(&e);
                    }
                }
            }
            for member in &self.members {
                if let Some(at) = grips.of_rod[member.rod as usize] {
                    grips.corner_n[member.corner as usize] +=
                        member.weight * grips.list[at].load_n();
                }
            }
            for (end, load_n) in self.ends.iter().zip(&mut grips.end_n) {
                if let Some(at) = grips.of_rod[end.rod as usize] {
                    *load_n = end.weight * grips.list[at].load_n();
                }
            }
            for grip in &grips.list {
                let over_mm = grip.length_mm - grip.fed_mm;
                energy.add(0.5 * grip.load_n() * over_mm);
                energy.add(-grip.load_n() * grip.length_mm);
            }
        }
        self.grips = grips;
        energy
    }

    /// Makes ready to solve with the matrix just factorised, which has this many negative
    /// eigenvalues, and solves for the rolls and the forces out of balance, if any are given;
    /// whether it is positive definite with the hands.
    ///
    /// `H + A K A'` has as many negative eigenvalues as `H` less those of the small matrix
    /// `1/K + A' H^-1 A`: both come from the two ways to eliminate from one bordered matrix.
    pub(crate) fn prepare_grips(&mut self, negative: usize, residual: Option<&[f64]>) -> bool {
        let rows = self.matrix.unknowns();
        let grips = &mut self.grips;
        let mut columns: [&[f64]; MOST_SIDES] = [&[]; MOST_SIDES];
        let hands = grips.list.iter().map(|grip| &grip.along[..]);
        let others = residual.iter().flat_map(|residual| {
            let borders = self.border.chunks_exact(rows.max(1));
            borders.chain([*residual])
        });
        let mut sides = 0;
        for (column, side) in columns.iter_mut().zip(hands.chain(others)) {
            *column = side;
            sides += 1;
        }
        grips.sides.set(rows, &columns[..sides]);
        grips.sides.forward(&self.matrix);
        grips.products = grips.sides.gram(&self.matrix);
        let count = grips.list.len();
        if count == 0 {
            return negative == 0;
        }
        let mut small = Small::identity();
        for i in 0..count {
            for j in 0..count {
                small[(i, j)] = grips.products[i][j];
            }
            small[(i, i)] += 1.0 / grips.list[i].stiffness_n_per_mm;
        }
        let values = small.symmetric_eigenvalues();
        grips.small = Some(small.lu());
        values.iter().filter(|v| **v < 0.0).count() == negative
    }

    /// What the hands take of a solution whose products with them are these.
    fn taken_by_hands(&self, products: impl Fn(usize) -> f64) -> [f64; MOST_RODS] {
        let mut parts = SVector::<f64, MOST_RODS>::zeros();
        let hands = self.grips.list.len();
        if let Some(small) = self.grips.small.as_ref().filter(|_| hands > 0) {
            for i in 0..hands {
                parts[i] = products(i);
            }
            if !small.solve_mut(&mut parts) {
                parts.fill(0.0);
            }
        }
        parts.into()
    }

    /// Solves with the factorised matrix, hands included.
    pub(crate) fn solve(&self, x: &mut [f64]) {
        if self.grips.list.is_empty() {
            self.matrix.solve(x);
            return;
        }
        self.matrix.forward_alone(x);
        for (x, inverse) in x.iter_mut().zip(self.matrix.inverses()) {
            *x *= inverse;
        }
        let products = self.grips.sides.products(x);
        let parts = sides_of(&self.taken_by_hands(|i| products[i]), -1.0);
        let mut taken = vec![0.0; x.len()];
        self.grips.sides.combine(&parts, &mut taken);
        for ((x, taken), inverse) in x.iter_mut().zip(taken).zip(self.matrix.inverses()) {
            *x += taken * inverse;
        }
        self.matrix.backward_alone(x);
    }

    /// The step against the forces out of balance that were given to [`Model::factorise_for`], then those of
    /// the rolls; false where the rolls make the whole indefinite.
    pub(crate) fn step(&self, roll_residual: &[f64], shift: f64, delta: &mut Vec<f64>) -> bool {
        let (hands, free) = (self.grips.list.len(), roll_residual.len());
        let sides = &self.grips.sides;
        let products = &self.grips.products;
        let last = hands + free;
        // what the hands take of every roll and of the forces
        let mut taken = [[0.0; MOST_RODS]; MOST_RODS + 1];
        for (taken, side) in taken.iter_mut().zip(hands..=last) {
            *taken = self.taken_by_hands(|i| products[i][side]);
        }
        let mut turn = [0.0; MOST_RODS];
        let mut schur = [[0.0; MOST_RODS]; MOST_RODS];
        for i in 0..free {
            let own = &products[hands + i];
            let left = |j: usize| {
                let by_hands: f64 = (0..hands).map(|h| taken[j][h] * own[h]).sum();
                own[hands + j] - by_hands
            };
            for (j, entry) in schur[i][..free].iter_mut().enumerate() {
                *entry = -left(j);
            }
            schur[i][i] += self.roll_hessian[i] + shift;
            turn[i] = left(free) - roll_residual[i];
        }
        if !small_solve(&mut schur, &mut turn, free, 1e-12) {
            return false;
        }
        let mut parts = sides_of(&taken[free], 1.0);
        parts[last] = -1.0;
        for (j, turn) in turn[..free].iter().enumerate() {
            parts[hands + j] = -turn;
            for h in 0..hands {
                parts[h] += turn * taken[j][h];
            }
        }
        delta.clear();
        delta.resize(self.matrix.unknowns(), 0.0);
        sides.combine(&parts, delta);
        self.matrix.finish(delta);
        delta.extend_from_slice(&turn[..free]);
        true
    }

    /// Adds the hands' part of the Hessian times `v` to `out`.
    pub(crate) fn multiply_grips(&self, v: &[f64], out: &mut [f64]) {
        for grip in &self.grips.list {
            let part = grip.stiffness_n_per_mm * dot(&grip.along, v);
            for (o, a) in out.iter_mut().zip(&grip.along) {
                *o += part * a;
            }
        }
    }

    /// By how much held rods lengthen for a push of 1 N on each, mm/N, by the last factorisation.
    pub(crate) fn compliance_mm_per_n(&self) -> [[f64; MOST_RODS]; MOST_RODS] {
        let mut compliance = [[0.0; MOST_RODS]; MOST_RODS];
        for (i, a) in self.grips.list.iter().enumerate() {
            for (j, b) in self.grips.list.iter().enumerate() {
                compliance[a.rod][b.rod] = self.grips.products[i][j];
            }
        }
        compliance
    }

    /// Load at a node of rod `k`, what its hand adds and what follows included, N.
    pub(crate) fn load_at(&self, k: usize, node: usize) -> f64 {
        let hand = self.grips.of_rod[k].and_then(|at| self.grips.list.get(at));
        let follows = self.material.load.get(node).copied().unwrap_or(0.0);
        self.nodes.load[node] + hand.map_or(0.0, Grip::load_n) + follows
    }

    /// Energy of the hands for cells of these lengths, by node.
    pub(crate) fn hold_energy(&self, arc_mm: &[f64]) -> f64 {
        let list = self.grips.list.iter();
        list.map(|grip| {
            let length_mm: f64 = arc_mm[self.rods[grip.rod].range()].iter().sum();
            0.5 * grip.stiffness_n_per_mm * math::power(length_mm - grip.fed_mm, 2)
        })
        .sum()
    }
}
