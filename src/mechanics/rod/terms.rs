//! The terms an energy is made of: nodes, corners, ends, pre-shaped nodes, contacts.

use super::contact_law::{Keep, Law};
use super::dof::{Dof, short};
use super::natural::Natural;
use crate::geometry::Vector;

/// The nodes of one rod within the lists of all.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RodNodes {
    pub(crate) first: usize,
    /// Station of the last node on a station.
    pub(crate) last_regular: usize,
    /// Whether a tip node follows.
    pub(crate) tip: bool,
    /// Weight of the terms with the last regular node.
    pub(crate) blend: f64,
    /// Whether its first node is held in place and direction.
    pub(crate) clamped: bool,
}

impl RodNodes {
    pub(crate) fn count(&self) -> usize {
        self.last_regular + 1 + usize::from(self.tip)
    }

    /// Its last node on a station.
    pub(crate) fn last(&self) -> usize {
        self.first + self.last_regular
    }

    pub(crate) fn tip_node(&self) -> usize {
        self.first + self.last_regular + 1
    }

    pub(crate) fn range(&self) -> std::ops::Range<usize> {
        self.first..self.first + self.count()
    }

    /// Whether some terms leave the last regular node out.
    pub(crate) fn skips(&self) -> bool {
        self.tip && self.blend < 1.0
    }
}

/// What is known of every node, rod after rod.
#[derive(Debug, Clone, Default)]
pub(crate) struct Nodes {
    pub(crate) frame: Vec<u32>,
    pub(crate) s_mm: Vec<f64>,
    pub(crate) dof: Vec<Dof>,
    /// Offset from the centre line, on the frame's normals.
    pub(crate) offset: Vec<[f64; 2]>,
    /// Distance from the tip along the rod.
    pub(crate) from_tip: Vec<f64>,
    pub(crate) stiffness: Vec<f64>,
    pub(crate) outer: Vec<f64>,
    pub(crate) inner: Vec<f64>,
    /// Natural curvature.
    pub(crate) natural: Vec<f64>,
    /// Configurational load.
    pub(crate) load: Vec<f64>,
}

impl Nodes {
    pub(crate) fn clear(&mut self) {
        self.frame.clear();
        self.s_mm.clear();
    }

    pub(crate) fn push(&mut self, frame: u32, s_mm: f64) {
        self.frame.push(frame);
        self.s_mm.push(s_mm);
    }

    /// Makes the other lists as long as the first.
    pub(crate) fn fit(&mut self) {
        let n = self.s_mm.len();
        self.dof.clear();
        self.dof.resize(n, Dof::FIXED);
        self.offset.clear();
        self.offset.resize(n, [0.0; 2]);
        for list in [
            &mut self.from_tip,
            &mut self.stiffness,
            &mut self.outer,
            &mut self.inner,
            &mut self.natural,
            &mut self.load,
        ] {
            list.clear();
            list.resize(n, 0.0);
        }
    }
}

/// The axis of a rod at a place.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Axis {
    /// At a node.
    Node(u32),
    /// Between nodes: the number of a [`Mix`].
    Between(u32),
}

/// Up to three nodes with weights.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Mix {
    pub(crate) node: [u32; 3],
    pub(crate) weight: [f64; 3],
}

impl Mix {
    pub(crate) fn of(parts: &[(usize, f64)]) -> Self {
        let mut mix = Self::default();
        for (i, (node, weight)) in parts.iter().enumerate().take(3) {
            mix.node[i] = short(*node);
            mix.weight[i] = *weight;
        }
        mix
    }

    pub(crate) fn value(&self, of: &[f64]) -> f64 {
        (0..3)
            .filter(|i| self.weight[*i] > 0.0)
            .map(|i| self.weight[i] * of[self.node[i] as usize])
            .sum()
    }
}

/// The unknowns whose weighted sum is the offset between two axes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Terms {
    pub(crate) count: usize,
    pub(crate) dof: [Dof; 6],
    pub(crate) weight: [f64; 6],
}

impl Terms {
    const NONE: Self = Self {
        count: 0,
        dof: [Dof::FIXED; 6],
        weight: [0.0; 6],
    };

    pub(crate) fn between(dof: &[Dof], inside: &Mix, around: Option<&Mix>) -> Self {
        let mut terms = Self::NONE;
        let signed = [(Some(inside), 1.0), (around, -1.0)];
        for (mix, sign) in signed {
            let Some(mix) = mix else { continue };
            for i in 0..3 {
                let b = dof[mix.node[i] as usize];
                if mix.weight[i] <= 0.0 || b.is_fixed() {
                    continue;
                }
                let at = (0..terms.count)
                    .find(|j| terms.dof[*j] == b)
                    .unwrap_or(terms.count);
                terms.dof[at] = b;
                terms.weight[at] += sign * mix.weight[i];
                terms.count = terms.count.max(at + 1);
            }
        }
        // Axes shared by both cancel.
        let mut kept = Self::NONE;
        for i in 0..terms.count {
            if terms.weight[i].abs() > 1e-12 {
                kept.dof[kept.count] = terms.dof[i];
                kept.weight[kept.count] = terms.weight[i];
                kept.count += 1;
            }
        }
        kept
    }

    /// Adds the gradient in the offset to the unknowns'.
    #[inline]
    pub(crate) fn push(&self, gradient: &mut [f64], by_offset: [f64; 2]) {
        for i in 0..self.count {
            let b = self.dof[i].at();
            gradient[b] += self.weight[i] * by_offset[0];
            gradient[b + 1] += self.weight[i] * by_offset[1];
        }
    }

    #[inline]
    pub(crate) fn offset(&self, x: &[f64]) -> [f64; 2] {
        let mut sum = [0.0; 2];
        for i in 0..self.count {
            let b = self.dof[i].at();
            sum[0] += self.weight[i] * x[b];
            sum[1] += self.weight[i] * x[b + 1];
        }
        sum
    }
}

/// Bending and axial load at a node; rods on one axis are summed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CornerTerm {
    pub(crate) frame: [u32; 3],
    pub(crate) dof: [Dof; 3],
    /// Its edges among all; the first means nothing at a clamp.
    pub(crate) edge: [u32; 2],
    /// Its cell among all.
    pub(crate) cell: u32,
    pub(crate) clamp: bool,
}

/// A node's share in a corner.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Member {
    pub(crate) rod: u32,
    pub(crate) corner: u32,
    pub(crate) node: u32,
    pub(crate) nodes: [u32; 3],
    pub(crate) weight: f64,
}

/// Axial load on the half cell at an end.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EndTerm {
    pub(crate) rod: u32,
    pub(crate) node: u32,
    /// Its edge among all.
    pub(crate) edge: u32,
    pub(crate) frame: [u32; 2],
    pub(crate) dof: [Dof; 2],
    pub(crate) weight: f64,
    pub(crate) load: f64,
}

/// Natural curvature at a node.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ShapedTerm {
    pub(crate) rod: usize,
    /// Index of the roll among the unknown ones.
    pub(crate) border: Option<usize>,
    pub(crate) member: Member,
    pub(crate) stiffness: f64,
    /// Whether it is held at an angle that rounds bring to agree with the shape.
    pub(crate) turns: bool,
    pub(crate) natural: Natural,
}

/// The shortest rotation from one unit vector to another.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tilt {
    pub(crate) from: Vector,
    pub(crate) to: Vector,
}

impl Tilt {
    /// A vector normal to `from`, carried along.
    pub(crate) fn carry(&self, v: Vector) -> Vector {
        v - (self.from + self.to) * (v.dot(&self.to) / (1.0 + self.from.dot(&self.to)))
    }
}

/// What tells most contacts clear without looking at the rest of them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Gate {
    dof: Dof,
    /// The second axis; [`Dof::FIXED`] where there is none.
    other: Dof,
    /// Squared distance up to which it is clear; negative where that needs a closer look.
    clear_mm2: f64,
}

impl Gate {
    pub(crate) fn of(spot: &Spot) -> Self {
        let (Spot { dof, weight, .. }, law) = (spot, &spot.law);
        let two = dof[0] != dof[1];
        let plain = spot.many.is_none()
            && (weight[0].abs() - 1.0).abs() <= 0.0
            && (!two || (weight[0] + weight[1]).abs() <= 0.0);
        let clear = law.limit_mm - law.onset_mm;
        Self {
            dof: dof[0],
            other: if two { dof[1] } else { Dof::FIXED },
            clear_mm2: if plain && law.keep == Keep::Within && clear > 0.0 {
                clear * clear
            } else {
                -1.0
            },
        }
    }

    #[inline(always)]
    fn between(&self, x: &[f64]) -> [f64; 2] {
        let a = self.dof.at();
        let [mut u, mut v] = [x[a], x[a + 1]];
        if !self.other.is_fixed() {
            let b = self.other.at();
            u -= x[b];
            v -= x[b + 1];
        }
        [u, v]
    }

    /// Whether the contact is certainly clear at `x`.
    #[inline(always)]
    pub(crate) fn clear(&self, x: &[f64]) -> bool {
        let [u, v] = self.between(x);
        u * u + v * v <= self.clear_mm2
    }

    /// Whether the contact is certainly clear at `x` and at `x + v`, and so between.
    #[inline(always)]
    pub(crate) fn clear_along(&self, x: &[f64], v: &[f64]) -> bool {
        let ([a, b], [p, q]) = (self.between(x), self.between(v));
        let (u, v) = (a + p, b + q);
        (a * a + b * b).max(u * u + v * v) <= self.clear_mm2
    }
}

/// A contact as the solver sees it, most of them with one or two axes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spot {
    /// The same twice where one axis takes part.
    dof: [Dof; 2],
    weight: [f64; 2],
    /// Its number among those in which more unknowns take part, if it is one.
    many: Option<u32>,
    pub(crate) law: Law,
}

impl Spot {
    /// Of the axes of two unknowns, the second held against the first; none where neither moves or both
    /// are the same.
    #[inline(always)]
    pub(crate) fn plain(keep: Keep, inside: Dof, around: Option<Dof>) -> Option<Self> {
        let around = around.unwrap_or(Dof::FIXED);
        let (dof, weight) = match (inside, around) {
            (Dof::FIXED, Dof::FIXED) => return None,
            (a, Dof::FIXED) => ([a; 2], [1.0, 0.0]),
            (Dof::FIXED, b) => ([b; 2], [-1.0, 0.0]),
            (a, b) if a == b => return None,
            (a, b) => ([a, b], [1.0, -1.0]),
        };
        Some(Self {
            dof,
            weight,
            many: None,
            law: Law::unset(keep),
        })
    }

    /// Of these unknowns; none where there are none. More than two are put among the `many`.
    pub(crate) fn of(keep: Keep, terms: &Terms, many: &mut Vec<Terms>) -> Option<Self> {
        if terms.count == 0 {
            return None;
        }
        let two = terms.count > 1;
        let mut spot = Self {
            dof: [terms.dof[0], terms.dof[usize::from(two)]],
            weight: [terms.weight[0], if two { terms.weight[1] } else { 0.0 }],
            many: None,
            law: Law::unset(keep),
        };
        if terms.count > 2 {
            spot.many = Some(short(many.len()));
            many.push(*terms);
        }
        Some(spot)
    }

    /// Its first unknown.
    pub(crate) fn first(&self) -> Dof {
        self.dof[0]
    }

    #[inline(always)]
    pub(crate) fn offset(&self, many: &[Terms], x: &[f64]) -> [f64; 2] {
        if let Some(at) = self.many {
            return many[at as usize].offset(x);
        }
        let [a, b] = self.dof.map(Dof::at);
        let [u, v] = self.weight;
        [u * x[a] + v * x[b], u * x[a + 1] + v * x[b + 1]]
    }

    #[inline(always)]
    pub(crate) fn push(&self, many: &[Terms], gradient: &mut [f64], by_offset: [f64; 2]) {
        if let Some(at) = self.many {
            many[at as usize].push(gradient, by_offset);
            return;
        }
        for (b, w) in self.dof.into_iter().zip(self.weight) {
            let b = b.at();
            gradient[b] += w * by_offset[0];
            gradient[b + 1] += w * by_offset[1];
        }
    }

    /// Tells every pair of unknowns that takes part, and the product of their weights.
    #[inline(always)]
    pub(crate) fn pairs(&self, many: &[Terms], mut tell: impl FnMut(Dof, Dof, f64)) {
        let two = 1 + usize::from(self.dof[0] != self.dof[1]);
        let (dof, weight) = match self.many {
            None => (&self.dof[..two], &self.weight[..two]),
            Some(at) => {
                let terms = &many[at as usize];
                (&terms.dof[..terms.count], &terms.weight[..terms.count])
            }
        };
        for (i, (row, w)) in dof.iter().zip(weight).enumerate() {
            for (column, v) in dof[..=i].iter().zip(weight) {
                tell(*row, *column, w * v);
            }
        }
    }
}

/// A contact at one place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ContactTerm {
    pub(crate) rod: u32,
    pub(crate) other: Option<u32>,
    pub(crate) s_mm: f64,
    pub(crate) weight_mm: f64,
    pub(crate) stiffness_n_per_mm2: f64,
    pub(crate) radius_mm: f64,
    pub(crate) inside: Axis,
    pub(crate) around: Option<Axis>,
}
