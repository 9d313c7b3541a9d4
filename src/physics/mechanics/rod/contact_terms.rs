//! Contacts as a layout lists them: where they are, between which axes, and the degrees of freedom that
//! the offset between these depends on.

use super::contact_law::{Keep, Law};
use super::dof::{Dof, short};

/// The axis of a rod at a place.
#[derive(Debug, Clone, Copy)]
pub(crate) enum ContactAxis {
    /// At a node.
    Node(u32),
    /// Between nodes: the number of a [`Interpolation`].
    Between(u32),
}

/// Interpolation stencil: up to three nodes with weights.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Interpolation {
    pub(crate) node: [u32; 3],
    pub(crate) weight: [f64; 3],
}

impl Interpolation {
    pub(crate) fn of(weights: &[(usize, f64)]) -> Self {
        let mut interpolation = Self::default();
        for (i, (node, weight)) in weights.iter().enumerate().take(3) {
            interpolation.node[i] = short(*node);
            interpolation.weight[i] = *weight;
        }
        interpolation
    }

    /// A quantity known by node.
    pub(crate) fn value(&self, of: &[f64]) -> f64 {
        (0..3)
            .filter(|i| self.weight[*i] > 0.0)
            .map(|i| self.weight[i] * of[self.node[i] as usize])
            .sum()
    }
}

/// The degrees of freedom whose weighted sum is the offset between two axes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct WeightedDofs {
    count: usize,
    dof: [Dof; 6],
    weight: [f64; 6],
}

impl WeightedDofs {
    const NONE: Self = Self {
        count: 0,
        dof: [Dof::FIXED; 6],
        weight: [0.0; 6],
    };

    /// Of the axis inside less that around it, if that is one; `dof` by node.
    pub(crate) fn between(
        dof: &[Dof],
        inside: &Interpolation,
        around: Option<&Interpolation>,
    ) -> Self {
        let mut all = Self::NONE;
        let signed = [(Some(inside), 1.0), (around, -1.0)];
        for (interpolation, sign) in signed {
            let Some(interpolation) = interpolation else {
                continue;
            };
            for i in 0..3 {
                let dof = dof[interpolation.node[i] as usize];
                if interpolation.weight[i] <= 0.0 || dof.is_fixed() {
                    continue;
                }
                let at = (0..all.count)
                    .find(|j| all.dof[*j] == dof)
                    .unwrap_or(all.count);
                all.dof[at] = dof;
                all.weight[at] += sign * interpolation.weight[i];
                all.count = all.count.max(at + 1);
            }
        }
        // Axes shared by both cancel.
        let mut kept = Self::NONE;
        for i in 0..all.count {
            if all.weight[i].abs() > 1e-12 {
                kept.dof[kept.count] = all.dof[i];
                kept.weight[kept.count] = all.weight[i];
                kept.count += 1;
            }
        }
        kept
    }

    /// Adds the gradient in the offset to that in the unknowns.
    #[inline]
    fn scatter(&self, gradient: &mut [f64], by_offset: [f64; 2]) {
        for i in 0..self.count {
            let b = self.dof[i].at();
            gradient[b] += self.weight[i] * by_offset[0];
            gradient[b + 1] += self.weight[i] * by_offset[1];
        }
    }

    #[inline]
    fn offset(&self, x: &[f64]) -> [f64; 2] {
        let mut sum = [0.0; 2];
        for i in 0..self.count {
            let b = self.dof[i].at();
            sum[0] += self.weight[i] * x[b];
            sum[1] += self.weight[i] * x[b + 1];
        }
        sum
    }
}

/// A place where two axes, or one and the vessel, may touch, as the solver sees it; most have one or two
/// degrees of freedom.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ContactCandidate {
    /// The same twice where one axis takes part.
    dof: [Dof; 2],
    weight: [f64; 2],
    /// Its number among those in which more degrees of freedom take part, if it is one.
    wide: Option<u32>,
}

impl ContactCandidate {
    /// Of the axes of two nodes, the second held against the first; none where neither moves or both
    /// are the same.
    #[inline(always)]
    pub(crate) fn at_nodes(inside: Dof, around: Option<Dof>) -> Option<Self> {
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
            wide: None,
        })
    }

    /// Of these degrees of freedom; none where there are none. More than two are put among the `wide`.
    pub(crate) fn of(dofs: &WeightedDofs, wide: &mut Vec<WeightedDofs>) -> Option<Self> {
        if dofs.count == 0 {
            return None;
        }
        let two = dofs.count > 1;
        let mut candidate = Self {
            dof: [dofs.dof[0], dofs.dof[usize::from(two)]],
            weight: [dofs.weight[0], if two { dofs.weight[1] } else { 0.0 }],
            wide: None,
        };
        if dofs.count > 2 {
            candidate.wide = Some(short(wide.len()));
            wide.push(*dofs);
        }
        Some(candidate)
    }

    /// Its first degree of freedom.
    pub(crate) fn first(&self) -> Dof {
        self.dof[0]
    }

    /// Offset between the axes, mm.
    #[inline(always)]
    pub(crate) fn offset(&self, wide: &[WeightedDofs], x: &[f64]) -> [f64; 2] {
        if let Some(at) = self.wide {
            return wide[at as usize].offset(x);
        }
        let [a, b] = self.dof.map(Dof::at);
        let [u, v] = self.weight;
        [u * x[a] + v * x[b], u * x[a + 1] + v * x[b + 1]]
    }

    /// Adds the gradient in that offset to that in the unknowns.
    #[inline(always)]
    pub(crate) fn scatter(&self, wide: &[WeightedDofs], gradient: &mut [f64], by_offset: [f64; 2]) {
        if let Some(at) = self.wide {
            wide[at as usize].scatter(gradient, by_offset);
            return;
        }
        for (b, w) in self.dof.into_iter().zip(self.weight) {
            let b = b.at();
            gradient[b] += w * by_offset[0];
            gradient[b + 1] += w * by_offset[1];
        }
    }

    /// Tells every pair of degrees of freedom that takes part, and the product of their weights.
    #[inline(always)]
    pub(crate) fn pairs(&self, wide: &[WeightedDofs], mut tell: impl FnMut(Dof, Dof, f64)) {
        let two = 1 + usize::from(self.dof[0] != self.dof[1]);
        let (dof, weight) = match self.wide {
            None => (&self.dof[..two], &self.weight[..two]),
            Some(at) => {
                let dofs = &wide[at as usize];
                (&dofs.dof[..dofs.count], &dofs.weight[..dofs.count])
            }
        };
        for (i, (row, w)) in dof.iter().zip(weight).enumerate() {
            for (column, v) in dof[..=i].iter().zip(weight) {
                tell(*row, *column, w * v);
            }
        }
    }
}

/// What tells most contacts clear without a look at the rest of them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Gate {
    dof: Dof,
    /// The second axis; [`Dof::FIXED`] where there is none.
    other: Dof,
    /// Squared distance up to which it is clear; negative where that needs a closer look.
    clear_mm2: f64,
}

impl Gate {
    pub(crate) fn of(candidate: &ContactCandidate, law: &Law) -> Self {
        let ContactCandidate { dof, weight, wide } = candidate;
        let two = dof[0] != dof[1];
        let plain = wide.is_none()
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

/// A contact at one place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ContactTerm {
    pub(crate) rod: u32,
    pub(crate) other: Option<u32>,
    pub(crate) keep: Keep,
    pub(crate) s_mm: f64,
    pub(crate) weight_mm: f64,
    pub(crate) stiffness_n_per_mm2: f64,
    pub(crate) radius_mm: f64,
    pub(crate) inside: ContactAxis,
    pub(crate) around: Option<ContactAxis>,
}

/// All contacts of a layout, in the order of their degrees of freedom.
#[derive(Debug, Clone, Default)]
pub(crate) struct ContactTerms {
    pub(crate) list: Vec<ContactTerm>,
    /// By contact: as the solver sees it.
    pub(crate) candidates: Vec<ContactCandidate>,
    /// Degrees of freedom of candidates that have more than two.
    pub(crate) wide: Vec<WeightedDofs>,
    /// Axes between nodes.
    interpolations: Vec<Interpolation>,
    /// Contacts in the order in which they were found, and their keys in the order of their unknowns.
    found: Vec<(ContactTerm, ContactCandidate)>,
    order: Vec<(Dof, u32)>,
}

impl ContactTerms {
    pub(crate) fn clear(&mut self) {
        self.found.clear();
        self.interpolations.clear();
        self.wide.clear();
    }

    /// The axis with this interpolation.
    pub(crate) fn between(&mut self, interpolation: Interpolation) -> ContactAxis {
        self.interpolations.push(interpolation);
        ContactAxis::Between(short(self.interpolations.len() - 1))
    }

    /// Adds a contact, unless neither of its axes moves or both are the same; `dof` by node.
    #[inline(always)]
    pub(crate) fn add(&mut self, dof: &[Dof], term: ContactTerm) {
        let at = |node: u32| dof[node as usize];
        let candidate = match (term.inside, term.around) {
            (ContactAxis::Node(a), None) => ContactCandidate::at_nodes(at(a), None),
            (ContactAxis::Node(a), Some(ContactAxis::Node(b))) => {
                ContactCandidate::at_nodes(at(a), Some(at(b)))
            }
            (inside, around) => {
                let inside = self.interpolation(&inside);
                let around = around.map(|axis| self.interpolation(&axis));
                let dofs = WeightedDofs::between(dof, &inside, around.as_ref());
                ContactCandidate::of(&dofs, &mut self.wide)
            }
        };
        if let Some(candidate) = candidate {
            self.found.push((term, candidate));
        }
    }

    /// Puts what was added into the order of the unknowns.
    pub(crate) fn sort(&mut self) {
        self.order.clear();
        let keys = self.found.iter().enumerate();
        (self.order).extend(keys.map(|(i, (_, candidate))| (candidate.first(), short(i))));
        self.order.sort();
        self.list.clear();
        self.candidates.clear();
        for (_, i) in &self.order {
            let (contact, candidate) = self.found[*i as usize];
            self.list.push(contact);
            self.candidates.push(candidate);
        }
    }

    /// Nodes of an axis, with weights.
    fn interpolation(&self, axis: &ContactAxis) -> Interpolation {
        match *axis {
            ContactAxis::Node(node) => Interpolation::of(&[(node as usize, 1.0)]),
            ContactAxis::Between(at) => self.interpolations[at as usize],
        }
    }

    /// The same one by one.
    pub(crate) fn weights(&self, axis: &ContactAxis) -> impl Iterator<Item = (usize, f64)> {
        let interpolation = self.interpolation(axis);
        let weights = interpolation.node.into_iter().zip(interpolation.weight);
        weights
            .filter(|(_, w)| *w > 0.0)
            .map(|(n, w)| (n as usize, w))
    }

    /// A quantity known by node on an axis.
    pub(crate) fn value(&self, axis: &ContactAxis, of: &[f64]) -> f64 {
        match *axis {
            ContactAxis::Node(node) => of[node as usize],
            ContactAxis::Between(at) => self.interpolations[at as usize].value(of),
        }
    }
}
