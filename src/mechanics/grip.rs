//! Hands on hubs: rods whose length from station 0 is held elastically.
//!
//! Under a load alone a bundle in a wide vessel snaps from one wall to the other; held at their
//! hubs, devices cannot, because each would need the length. A grip of the stiffness `K` adds
//! `K (L - fed)² / 2`, with the gradient `K (L - fed) dL/dx` and, besides the Hessian of a load of
//! that size, the matrix `K dL/dx dL/dx'` of rank one, which the banded factorisation takes in by
//! the formula of Sherman, Morrison and Woodbury.

use super::banded::LANES;
use super::layout::FIXED;
use super::model::{Model, end_of};
use super::scene::{AxialLoad, MOST_RODS, Scene};
use nalgebra::{DMatrix, DVector, Dyn, LU};

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
    /// The matrix's inverse times the gradient.
    answer: Vec<f64>,
}

/// All hands.
#[derive(Debug, Clone, Default)]
pub(crate) struct Grips {
    pub(crate) list: Vec<Grip>,
    lanes: Vec<[f64; LANES]>,
    /// What couples the hands when solving.
    small: Option<LU<f64, Dyn, Dyn>>,
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
    /// energy differs by from that of loads of this size.
    pub(crate) fn feel_grips(&mut self, x: &[f64]) -> f64 {
        let mut grips = std::mem::take(&mut self.grips);
        grips.corner_n.clear();
        grips.corner_n.resize(self.corners.len(), 0.0);
        grips.end_n.clear();
        grips.end_n.resize(self.ends.len(), 0.0);
        for grip in &mut grips.list {
            grip.length_mm = 0.0;
            grip.along.clear();
            grip.along.resize(x.len(), 0.0);
        }
        let mut energy = 0.0;
        if !grips.list.is_empty() {
            let rod_of = |node: usize| self.rods.iter().rposition(|r| r.first <= node);
            for member in &self.members {
                let Some(at) = rod_of(member.node as usize).and_then(|rod| grips.of_rod[rod])
                else {
                    continue;
                };
                let grip = &mut grips.list[at];
                let nodes = member.nodes.map(|n| n as usize);
                let frames = nodes.map(|n| &self.frames[self.nodes.frame[n] as usize]);
                let base = nodes.map(|n| self.nodes.base[n]);
                let corner = self.corner_in(x, member);
                grip.length_mm += member.weight * corner.arc_mm();
                for (b, g) in base.iter().zip(corner.arc_gradient(frames)) {
                    if *b != FIXED {
                        grip.along[*b as usize] += member.weight * g[0];
                        grip.along[*b as usize + 1] += member.weight * g[1];
                    }
                }
            }
            for end in &self.ends {
                let Some(at) = rod_of(end.node as usize).and_then(|rod| grips.of_rod[rod]) else {
                    continue;
                };
                let grip = &mut grips.list[at];
                let (frames, e) = end_of(end, &self.frames, x);
                let length = e.norm();
                grip.length_mm += end.weight * length;
                for (i, sign) in [-1.0, 1.0].into_iter().enumerate() {
                    if end.base[i] != FIXED {
                        let scale = sign * end.weight / length;
                        let b = end.base[i] as usize;
                        grip.along[b] += scale * frames[i].n1.dot(&e);
                        grip.along[b + 1] += scale * frames[i].n2.dot(&e);
                    }
                }
            }
            for member in &self.members {
                if let Some(at) = rod_of(member.node as usize).and_then(|rod| grips.of_rod[rod]) {
                    grips.corner_n[member.corner as usize] +=
                        member.weight * grips.list[at].load_n();
                }
            }
            for (end, load_n) in self.ends.iter().zip(&mut grips.end_n) {
                if let Some(at) = rod_of(end.node as usize).and_then(|rod| grips.of_rod[rod]) {
                    *load_n = end.weight * grips.list[at].load_n();
                }
            }
            for grip in &grips.list {
                let over_mm = grip.length_mm - grip.fed_mm;
                energy += 0.5 * grip.load_n() * over_mm - grip.load_n() * grip.length_mm;
            }
        }
        self.grips = grips;
        energy
    }

    /// Makes ready to solve with the matrix just factorised, which has this many negative
    /// eigenvalues; whether it is positive definite with the hands.
    ///
    /// `H + A K A'` has as many negative eigenvalues as `H` less those of the small matrix
    /// `1/K + A' H^-1 A`: both come from the two ways to eliminate from one bordered matrix.
    pub(crate) fn prepare_grips(&mut self, negative: usize) -> bool {
        let count = self.grips.list.len();
        if count == 0 {
            return negative == 0;
        }
        let lanes = &mut self.grips.lanes;
        for hands in self.grips.list.chunks_mut(LANES) {
            if let [grip] = hands {
                grip.answer.clone_from(&grip.along);
                self.matrix.solve(&mut grip.answer);
                continue;
            }
            let n = hands.first().map_or(0, |g| g.along.len());
            lanes.clear();
            lanes.resize(n, [0.0; LANES]);
            for (lane, grip) in hands.iter().enumerate() {
                for (x, a) in lanes.iter_mut().zip(&grip.along) {
                    x[lane] = *a;
                }
            }
            self.matrix.solve_lanes(lanes);
            for (lane, grip) in hands.iter_mut().enumerate() {
                grip.answer.clear();
                grip.answer.extend(lanes.iter().map(|x| x[lane]));
            }
        }
        let list = &self.grips.list;
        let mut small = DMatrix::from_fn(count, count, |i, j| {
            let answer = dot(&list[i].along, &list[j].answer);
            if i == j {
                answer + 1.0 / list[i].stiffness_n_per_mm
            } else {
                answer
            }
        });
        // rounding
        small = (&small + small.transpose()) * 0.5;
        let values = small.clone().symmetric_eigenvalues();
        self.grips.small = Some(small.lu());
        values.iter().filter(|v| **v < 0.0).count() == negative
    }

    /// Solves with the factorised matrix, hands included.
    pub(crate) fn solve(&self, x: &mut [f64]) {
        self.matrix.solve(x);
        let list = &self.grips.list;
        if list.is_empty() {
            return;
        }
        let mut part = DVector::from_fn(list.len(), |i, _| dot(&list[i].along, x));
        let solved = self
            .grips
            .small
            .as_ref()
            .is_some_and(|s| s.solve_mut(&mut part));
        if solved {
            for (grip, part) in list.iter().zip(part.iter()) {
                for (x, a) in x.iter_mut().zip(&grip.answer) {
                    *x -= part * a;
                }
            }
        }
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
        for a in &self.grips.list {
            for b in &self.grips.list {
                if a.along.len() == b.answer.len() {
                    compliance[a.rod][b.rod] = dot(&a.along, &b.answer);
                }
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
            0.5 * grip.stiffness_n_per_mm * (length_mm - grip.fed_mm).powi(2)
        })
        .sum()
    }
}
