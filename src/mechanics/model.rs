//! The energy of a scene: its terms, their coefficients, value, gradient and Hessian.

use super::banded::BlockBanded;
use super::bend::{Corner, Local};
use super::contact::{Keep, Law};
use super::layout::FIXED;
use super::profile::Mean;
use super::scene::{AxialLoad, Roll, Scene};
use super::settings::Settings;
use crate::geometry::{Frame, Vector};

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
}

impl RodNodes {
    pub(crate) fn count(&self) -> usize {
        self.last_regular + 1 + usize::from(self.tip)
    }

    pub(crate) fn tip_node(&self) -> usize {
        self.first + self.last_regular + 1
    }

    pub(crate) fn range(&self) -> std::ops::Range<usize> {
        self.first..self.first + self.count()
    }
}

/// What is known of every node, rod after rod.
#[derive(Debug, Clone, Default)]
pub(crate) struct Nodes {
    pub(crate) frame: Vec<u32>,
    pub(crate) s_mm: Vec<f64>,
    pub(crate) base: Vec<u32>,
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
        self.base.clear();
        self.base.resize(n, FIXED);
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
            mix.node[i] = super::layout::short(*node);
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
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Terms {
    pub(crate) count: usize,
    pub(crate) base: [u32; 6],
    pub(crate) weight: [f64; 6],
}

impl Terms {
    pub(crate) fn between(base: &[u32], inside: &Mix, around: Option<&Mix>) -> Self {
        let mut terms = Self::default();
        let signed = [(Some(inside), 1.0), (around, -1.0)];
        for (mix, sign) in signed {
            let Some(mix) = mix else { continue };
            for i in 0..3 {
                let b = base[mix.node[i] as usize];
                if mix.weight[i] <= 0.0 || b == FIXED {
                    continue;
                }
                let at = (0..terms.count)
                    .find(|j| terms.base[*j] == b)
                    .unwrap_or(terms.count);
                terms.base[at] = b;
                terms.weight[at] += sign * mix.weight[i];
                terms.count = terms.count.max(at + 1);
            }
        }
        // Axes shared by both cancel.
        let mut kept = Self::default();
        for i in 0..terms.count {
            if terms.weight[i].abs() > 1e-12 {
                kept.base[kept.count] = terms.base[i];
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
            let b = self.base[i] as usize;
            gradient[b] += self.weight[i] * by_offset[0];
            gradient[b + 1] += self.weight[i] * by_offset[1];
        }
    }

    #[inline]
    pub(crate) fn offset(&self, x: &[f64]) -> [f64; 2] {
        let mut sum = [0.0; 2];
        for i in 0..self.count {
            let b = self.base[i] as usize;
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
    pub(crate) base: [u32; 3],
    pub(crate) clamp: bool,
    pub(crate) stiffness: f64,
    pub(crate) load: f64,
}

/// A node's share in a corner.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Member {
    pub(crate) corner: u32,
    pub(crate) node: u32,
    pub(crate) nodes: [u32; 3],
    pub(crate) clamp: bool,
    pub(crate) weight: f64,
}

/// Axial load on the half cell at an end.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EndTerm {
    pub(crate) node: u32,
    pub(crate) nodes: [u32; 2],
    pub(crate) frame: [u32; 2],
    pub(crate) base: [u32; 2],
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
    pub(crate) curvature: f64,
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

/// A contact at one place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ContactTerm {
    pub(crate) rod: usize,
    pub(crate) other: Option<usize>,
    pub(crate) s_mm: f64,
    pub(crate) weight_mm: f64,
    pub(crate) stiffness_n_per_mm2: f64,
    pub(crate) radius_mm: f64,
    pub(crate) inside: Mix,
    pub(crate) around: Option<Mix>,
    pub(crate) terms: Terms,
    pub(crate) law: Law,
}

/// An energy and the size of the numbers it was summed from (for rounding).
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Energy {
    pub(crate) total: f64,
    pub(crate) size: f64,
}

impl Energy {
    #[inline]
    fn add(&mut self, energy: f64) {
        self.total += energy;
        self.size += energy.abs();
    }
}

/// The energy's terms and the memory to evaluate them.
#[derive(Debug, Clone, Default)]
pub(crate) struct Model {
    pub(crate) frames: Vec<Frame>,
    pub(crate) rods: Vec<RodNodes>,
    pub(crate) nodes: Nodes,
    pub(crate) corners: Vec<CornerTerm>,
    pub(crate) corner_of: Vec<u32>,
    pub(crate) members: Vec<Member>,
    pub(crate) ends: Vec<EndTerm>,
    pub(crate) shaped: Vec<ShapedTerm>,
    pub(crate) contacts: Vec<ContactTerm>,
    pub(crate) block_sizes: Vec<usize>,
    /// Rod and arc length of each pair of unknowns.
    pub(crate) owner: Vec<(u32, f64)>,
    pub(crate) linear: Vec<f64>,
    pub(crate) matrix: BlockBanded,
    /// Of the whole energy.
    pub(crate) gradient: Vec<f64>,
    /// Of all but the contacts.
    pub(crate) smooth: Vec<f64>,
    /// Rows of the Hessian of the unknown rolls, one after the other.
    pub(crate) border: Vec<f64>,
    pub(crate) roll_gradient: Vec<f64>,
    pub(crate) roll_hessian: Vec<f64>,
    softest: f64,
    relaxation: Relaxation,
    scratch: Vec<f64>,
}

/// Loads on their way to those that follow from the shape.
#[derive(Debug, Clone, Default)]
struct Relaxation {
    used: Vec<f64>,
    gap: Vec<f64>,
    share: f64,
    unsettled_n: f64,
}

/// Offset of a node.
#[inline(always)]
fn offset(x: &[f64], base: u32) -> [f64; 2] {
    if base == FIXED {
        [0.0; 2]
    } else {
        let b = base as usize;
        [x[b], x[b + 1]]
    }
}

/// From one node to the next. The centre line's part is taken first, so that offsets of
/// micrometres are not lost in coordinates of metres.
#[inline(always)]
fn edge(a: &Frame, at_a: [f64; 2], b: &Frame, at_b: [f64; 2]) -> Vector {
    (b.origin_mm - a.origin_mm) + (b.n1 * at_b[0] + b.n2 * at_b[1])
        - (a.n1 * at_a[0] + a.n2 * at_a[1])
}

impl Model {
    pub(crate) fn unknowns(&self) -> usize {
        self.matrix.unknowns()
    }

    /// Edge between two nodes by their stored offsets.
    pub(crate) fn edge_between(&self, a: usize, b: usize) -> Vector {
        edge(
            &self.frames[self.nodes.frame[a] as usize],
            self.nodes.offset[a],
            &self.frames[self.nodes.frame[b] as usize],
            self.nodes.offset[b],
        )
    }

    /// The corner of a member by the stored offsets.
    pub(crate) fn corner_at(&self, nodes: [u32; 3], clamp: bool) -> Corner {
        let [a, b, c] = nodes.map(|n| n as usize);
        if clamp {
            let tangent = self.frames[self.nodes.frame[b] as usize].tangent;
            Corner::clamped(tangent, self.edge_between(b, c))
        } else {
            Corner::inner(self.edge_between(a, b), self.edge_between(b, c))
        }
    }

    /// Copies unknowns to the nodes' offsets.
    pub(crate) fn store(&mut self, x: &[f64]) {
        for (at, base) in self.nodes.offset.iter_mut().zip(&self.nodes.base) {
            *at = offset(x, *base);
        }
    }

    /// Copies the nodes' offsets to the unknowns; rods on one axis take the mean.
    pub(crate) fn gather(&self, x: &mut Vec<f64>) {
        x.clear();
        x.resize(self.unknowns(), 0.0);
        let mut count = vec![0.0_f64; self.unknowns()];
        for (at, base) in self.nodes.offset.iter().zip(&self.nodes.base) {
            if *base != FIXED {
                let b = *base as usize;
                for p in 0..2 {
                    x[b + p] += at[p];
                    count[b + p] += 1.0;
                }
            }
        }
        for (x, n) in x.iter_mut().zip(&count) {
            *x /= n.max(1.0);
        }
    }

    /// Distances from the tips by the stored offsets, then stiffness, diameters and natural
    /// curvature there.
    pub(crate) fn update_sections(&mut self, scene: &Scene<'_>) {
        for (k, rod) in scene.rods.iter().enumerate() {
            let RodNodes {
                first,
                last_regular: m,
                tip,
                blend,
            } = self.rods[k];
            let range = self.rods[k].range();
            // Cells from the tip back; each node's arc is longer than its chords.
            let mut edges = None;
            let mut along = 0.0;
            let mut at = range.end - 1;
            self.nodes.from_tip[at] = 0.0;
            if tip && blend < 1.0 {
                let short_edge = self.edge_between(first + m, at);
                let last = self.edge_between(first + m - 1, first + m);
                let without = self.edge_between(first + m - 1, at).norm();
                self.nodes.from_tip[first + m] = short_edge.norm();
                along = blend * (short_edge.norm() + last.norm()) + (1.0 - blend) * without;
                at = first + m - 1;
                self.nodes.from_tip[at] = along;
                edges = Some(last);
            }
            while at > first {
                let e = self.edge_between(at - 1, at);
                let mut correction = 0.0;
                if let Some(next) = edges {
                    let corner = Corner::inner(e, next);
                    correction = corner.arc_mm() - corner.m;
                }
                along += 0.5 * correction;
                self.nodes.from_tip[at] = along;
                along += e.norm() + 0.5 * correction;
                edges = Some(e);
                at -= 1;
                self.nodes.from_tip[at] = along;
            }
            let arcs = &self.nodes.from_tip[range.clone()];
            for (profile, mean, into) in [
                (
                    Some(&rod.stiffness_n_mm2),
                    Mean::Harmonic,
                    &mut self.nodes.stiffness,
                ),
                (Some(&rod.outer_mm), Mean::Plain, &mut self.nodes.outer),
                (rod.inner_mm.as_ref(), Mean::Plain, &mut self.nodes.inner),
            ] {
                let into = &mut into[range.clone()];
                match profile {
                    None => into.fill(0.0),
                    Some(profile) if profile.is_constant() => into.fill(profile.at(0.0)),
                    Some(profile) => {
                        profile.cell_means(arcs, mean, &mut self.scratch);
                        into.copy_from_slice(&self.scratch);
                    }
                }
            }
            if let Some(bend) = &rod.natural {
                for i in range.clone() {
                    let here = self.nodes.from_tip[i];
                    let low = if i + 1 < range.end {
                        0.5 * (here + self.nodes.from_tip[i + 1])
                    } else {
                        here
                    };
                    let high = if i > first {
                        0.5 * (here + self.nodes.from_tip[i - 1])
                    } else {
                        here
                    };
                    let part = (bend.length_mm.min(high) - low).max(0.0) / (high - low).max(1e-300);
                    self.nodes.natural[i] = bend.curvature_per_mm * part;
                }
            }
        }
    }

    /// Brings all coefficients up to date with the stored offsets. `stiffest` caps the contact
    /// stiffness (N/mm2) on the way to a stiff wall.
    pub(crate) fn update(
        &mut self,
        scene: &Scene<'_>,
        settings: &Settings,
        rolls: &[f64],
        stiffest: f64,
    ) {
        self.update_sections(scene);
        self.update_loads(scene, rolls);
        self.update_forces(scene);
        for corner in &mut self.corners {
            corner.stiffness = 0.0;
            corner.load = 0.0;
        }
        for member in &self.members {
            let node = member.node as usize;
            let corner = &mut self.corners[member.corner as usize];
            corner.stiffness += member.weight * self.nodes.stiffness[node];
            corner.load += member.weight * self.nodes.load[node];
        }
        for end in &mut self.ends {
            end.load = end.weight * self.nodes.load[end.node as usize];
        }
        for shaped in &mut self.shaped {
            let node = shaped.member.node as usize;
            shaped.stiffness = shaped.member.weight * self.nodes.stiffness[node];
            shaped.curvature = self.nodes.natural[node];
        }
        for contact in &mut self.contacts {
            let own = 0.5 * contact.inside.value(&self.nodes.outer);
            let limit = match (contact.law.keep, &contact.around) {
                (Keep::Within, None) => contact.radius_mm - own,
                (Keep::Within, Some(around)) => 0.5 * around.value(&self.nodes.inner) - own,
                (Keep::Apart, Some(around)) => 0.5 * around.value(&self.nodes.outer) + own,
                (Keep::Apart, None) => 0.0,
            };
            let stiffness = contact.stiffness_n_per_mm2.min(stiffest);
            contact.law.limit_mm = limit;
            contact.law.onset_mm = settings.onset_for_mm(stiffness, limit);
            contact.law.stiffness_n_per_mm = stiffness * contact.weight_mm;
        }
    }

    /// Rotation from the centre line to the rod at a member's node.
    pub(crate) fn tilt_at(&self, member: &Member) -> Tilt {
        Tilt {
            from: self.frames[self.nodes.frame[member.node as usize] as usize].tangent,
            to: self.corner_at(member.nodes, member.clamp).tangent(),
        }
    }

    /// Moves the loads used so far towards those that follow from the shape.
    ///
    /// A pushed rod in a wide vessel answers a load that follows its shape so strongly that taking
    /// the new load as it is can swing between two states for ever. The share taken follows
    /// Aitken's rule in its vector form (Irons & Tuck, Int. J. Numer. Methods Eng. 1:275-277, 1969).
    fn relax_loads(&mut self) {
        /// Bounds of the share: below, rounds crawl; above, one bad extrapolation throws.
        const SHARE: (f64, f64) = (0.1, 1.0);
        let relaxation = &mut self.relaxation;
        let n = self.nodes.load.len();
        if relaxation.used.len() != n {
            relaxation.used.clone_from(&self.nodes.load);
            relaxation.gap.clear();
            relaxation.share = 1.0;
            relaxation.unsettled_n = f64::INFINITY;
            return;
        }
        let (mut along, mut squared) = (0.0, 0.0);
        let had_gap = relaxation.gap.len() == n;
        relaxation.gap.resize(n, 0.0);
        relaxation.unsettled_n = 0.0;
        for i in 0..n {
            let gap = self.nodes.load[i] - relaxation.used[i];
            let change = gap - relaxation.gap[i];
            along += relaxation.gap[i] * change;
            squared += change * change;
            relaxation.gap[i] = gap;
            relaxation.unsettled_n = relaxation.unsettled_n.max(gap.abs());
        }
        if had_gap && squared > 0.0 {
            let share = -relaxation.share * along / squared;
            relaxation.share = share.clamp(SHARE.0, SHARE.1);
        }
        for i in 0..n {
            relaxation.used[i] += relaxation.share * relaxation.gap[i];
        }
        self.nodes.load.clone_from(&relaxation.used);
    }

    /// Forgets the loads used so far.
    pub(crate) fn restart_loads(&mut self) {
        self.relaxation.used.clear();
    }

    /// How far the loads used are from those of the shape, N.
    pub(crate) fn unsettled_n(&self) -> f64 {
        self.relaxation.unsettled_n
    }

    /// Configurational loads by the stored offsets.
    fn update_loads(&mut self, scene: &Scene<'_>, rolls: &[f64]) {
        for (k, rod) in scene.rods.iter().enumerate() {
            let range = self.rods[k].range();
            match &rod.load {
                AxialLoad::Uniform(tau) => self.nodes.load[range.clone()].fill(*tau),
                AxialLoad::ByStation(values) => {
                    self.nodes.load[range.clone()].fill(0.0);
                    self.add_by_station(scene, k, values);
                }
                AxialLoad::Frictionless(tip) | AxialLoad::Rubbed { tip_n: tip, .. } => {
                    self.nodes.load[range.clone()].fill(*tip);
                    if !rod.stiffness_n_mm2.is_constant() || rod.natural.is_some() {
                        self.follow_stiffness(k, rolls);
                    }
                    if let AxialLoad::Rubbed { added_n, .. } = &rod.load {
                        self.add_by_station(scene, k, added_n);
                    }
                }
            }
        }
        self.relax_loads();
    }

    /// Transverse loads by the stored offsets.
    fn update_forces(&mut self, scene: &Scene<'_>) {
        self.linear.fill(0.0);
        for (k, rod) in scene.rods.iter().enumerate() {
            let range = self.rods[k].range();
            let line = rod.line_load_n_per_mm;
            if line.norm_squared() > 0.0 {
                for i in 0..self.members.len() {
                    let member = self.members[i];
                    if range.contains(&(member.node as usize)) {
                        let corner = self.corner_at(member.nodes, member.clamp);
                        let force = line * (member.weight * corner.m);
                        self.push_node(member.node as usize, normal_part(force, corner.tangent()));
                    }
                }
                for i in 0..self.ends.len() {
                    let end = self.ends[i];
                    if range.contains(&(end.node as usize)) {
                        let e = self.edge_between(end.nodes[0] as usize, end.nodes[1] as usize);
                        let force = line * (end.weight * e.norm());
                        self.push_node(end.node as usize, normal_part(force, e.normalize()));
                    }
                }
            }
            self.push_node(range.end - 1, rod.tip_force_n);
        }
    }

    /// Adds values given by station to the load of rod `k`.
    fn add_by_station(&mut self, scene: &Scene<'_>, k: usize, values: &[f64]) {
        for i in self.rods[k].range() {
            let s = self.nodes.s_mm[i];
            let j = scene.tube.partition_point(|t| t.s_mm <= s).max(1) - 1;
            let next = (j + 1).min(values.len() - 1);
            let cell = (scene.tube[next].s_mm - scene.tube[j].s_mm).max(1e-300);
            let part = ((s - scene.tube[j].s_mm) / cell).clamp(0.0, 1.0);
            self.nodes.load[i] += values[j] + (values[next] - values[j]) * part;
        }
    }

    /// Adds a dead force at a node.
    fn push_node(&mut self, node: usize, force: Vector) {
        let base = self.nodes.base[node];
        if base != FIXED {
            let frame = &self.frames[self.nodes.frame[node] as usize];
            self.linear[base as usize] += force.dot(&frame.n1);
            self.linear[base as usize + 1] += force.dot(&frame.n2);
        }
    }

    /// Lets the load of rod `k` follow stiffness and natural curvature from the tip backwards.
    fn follow_stiffness(&mut self, k: usize, rolls: &[f64]) {
        let range = self.rods[k].range();
        let mut behind: Option<(Vector, f64, Vector)> = None;
        let mut load = self.nodes.load[range.end - 1];
        for i in (range.start..range.end - 1).rev() {
            let inner = i > range.start;
            let nodes = [i.max(range.start + 1) - 1, i, i + 1].map(super::layout::short);
            let curvature = if inner {
                self.corner_at(nodes, false).curvature_per_mm()
            } else {
                behind.map_or_else(Vector::zeros, |(m, b, natural)| m / b + natural)
            };
            let frame = &self.frames[self.nodes.frame[i] as usize];
            let natural = if self.nodes.natural[i] > 0.0 && inner {
                let tilt = Tilt {
                    from: frame.tangent,
                    to: self.corner_at(nodes, false).tangent(),
                };
                tilt.carry(frame.across(rolls[k])) * self.nodes.natural[i]
            } else {
                Vector::zeros()
            };
            let b = self.nodes.stiffness[i];
            let moment = (curvature - natural) * b;
            if let Some((moment_behind, b_behind, natural_behind)) = behind {
                let squared = moment.dot(&moment_behind);
                let mean = (moment + moment_behind) * 0.5;
                load += 0.5 * squared * (1.0 / b - 1.0 / b_behind)
                    + mean.dot(&(natural - natural_behind));
            }
            self.nodes.load[i] = load;
            behind = Some((moment, b, natural));
        }
    }

    /// Energy at `x` with its gradient, the Hessian of all but the contacts and the rows of the
    /// unknown rolls.
    pub(crate) fn evaluate(&mut self, x: &[f64], rolls: &[f64]) -> Energy {
        let mut energy = Energy::default();
        self.matrix.clear();
        self.gradient.fill(0.0);
        self.border.fill(0.0);
        let free = if self.unknowns() == 0 {
            0
        } else {
            self.border.len() / self.unknowns()
        };
        self.roll_gradient.clear();
        self.roll_gradient.resize(free, 0.0);
        self.roll_hessian.clear();
        self.roll_hessian.resize(free, 0.0);

        let mut softest = 0.0_f64;
        for corner in &self.corners {
            let frames = corner.frame.map(|f| &self.frames[f as usize]);
            let at = corner.base.map(|b| offset(x, b));
            let e1 = edge(frames[1], at[1], frames[2], at[2]);
            let shape = if corner.clamp {
                Corner::clamped(frames[1].tangent, e1)
            } else {
                Corner::inner(edge(frames[0], at[0], frames[1], at[1]), e1)
            };
            let local = shape.evaluate(frames, corner.stiffness, corner.load);
            energy.add(local.energy);
            let thrust = (corner.stiffness * shape.q / (shape.m * shape.m) - corner.load).max(0.0);
            softest = softest.max(thrust * thrust / (4.0 * corner.stiffness) * shape.m);
            scatter(&mut self.matrix, &mut self.gradient, corner.base, &local);
        }
        self.softest = softest;
        for end in &self.ends {
            if end.load.abs() > 0.0 {
                let frames = end.frame.map(|f| &self.frames[f as usize]);
                let at = end.base.map(|b| offset(x, b));
                let e = edge(frames[0], at[0], frames[1], at[1]);
                energy.add(stretch(
                    &mut self.matrix,
                    &mut self.gradient,
                    end,
                    frames,
                    e,
                ));
            }
        }
        for shaped in &self.shaped {
            if shaped.curvature <= 0.0 {
                continue;
            }
            let nodes = shaped.member.nodes.map(|n| n as usize);
            let frames = nodes.map(|n| &self.frames[self.nodes.frame[n] as usize]);
            let base = nodes.map(|n| self.nodes.base[n]);
            let at = base.map(|b| offset(x, b));
            let e1 = edge(frames[1], at[1], frames[2], at[2]);
            let corner = if shaped.member.clamp {
                Corner::clamped(frames[1].tangent, e1)
            } else {
                Corner::inner(edge(frames[0], at[0], frames[1], at[1]), e1)
            };
            let roll = rolls[shaped.rod];
            let found = corner.pre_shaped(
                frames,
                shaped.stiffness,
                shaped.curvature,
                [
                    frames[1].tangent,
                    frames[1].across(roll),
                    frames[1].across(roll + std::f64::consts::FRAC_PI_2),
                ],
            );
            energy.add(found.local.energy);
            scatter(&mut self.matrix, &mut self.gradient, base, &found.local);
            if let Some(i) = shaped.border {
                self.roll_gradient[i] += found.roll_gradient;
                self.roll_hessian[i] += found.roll_hessian;
                let row = &mut self.border[i * x.len()..(i + 1) * x.len()];
                for (b, cross) in base.iter().zip(found.roll_cross) {
                    if *b != FIXED {
                        row[*b as usize] += cross[0];
                        row[*b as usize + 1] += cross[1];
                    }
                }
            }
        }
        for ((g, f), x) in self.gradient.iter_mut().zip(&self.linear).zip(x) {
            *g -= f;
            energy.total -= f * x;
            energy.size += (f * x).abs();
        }
        self.smooth.clone_from(&self.gradient);
        for contact in &self.contacts {
            if let Some(pressed) = contact.law.press(contact.terms.offset(x)) {
                energy.add(pressed.energy);
                contact.terms.push(&mut self.gradient, pressed.gradient);
            }
        }
        energy
    }

    /// Adds the contacts' gradient at `x` to `gradient`; returns their energy.
    pub(crate) fn add_contact_gradient(&self, x: &[f64], gradient: &mut [f64]) -> f64 {
        let mut energy = 0.0;
        for contact in &self.contacts {
            if let Some(pressed) = contact.law.press(contact.terms.offset(x)) {
                energy += pressed.energy;
                contact.terms.push(gradient, pressed.gradient);
            }
        }
        energy
    }

    /// Slope of the contacts' energy along `v` at `x + t v`.
    pub(crate) fn contact_slope(&self, x: &[f64], v: &[f64], t: f64) -> f64 {
        let mut slope = 0.0;
        for contact in &self.contacts {
            let (at, along) = (contact.terms.offset(x), contact.terms.offset(v));
            if let Some(pressed) = contact.law.press([at[0] + t * along[0], at[1] + t * along[1]]) {
                slope += pressed.gradient[0] * along[0] + pressed.gradient[1] * along[1];
            }
        }
        slope
    }

    /// Energy of the contacts at `x`.
    pub(crate) fn contact_energy(&self, x: &[f64]) -> f64 {
        self.contacts
            .iter()
            .filter_map(|c| c.law.press(c.terms.offset(x)))
            .map(|p| p.energy)
            .sum()
    }

    /// Factorises the smooth part's Hessian plus `shift` plus the contacts' Hessian at `x`.
    pub(crate) fn factorise(&mut self, shift: f64, x: &[f64]) -> bool {
        self.matrix.load(shift);
        for contact in &self.contacts {
            let terms = &contact.terms;
            let Some(pressed) = contact.law.press(terms.offset(x)) else {
                continue;
            };
            let [xx, xy, yy] = pressed.hessian;
            for i in 0..terms.count {
                for j in 0..=i {
                    let w = terms.weight[i] * terms.weight[j];
                    self.matrix.add_loaded(
                        terms.base[i] as usize,
                        terms.base[j] as usize,
                        [w * xx, w * xy, w * xy, w * yy],
                    );
                }
            }
        }
        self.matrix.factorise_loaded()
    }

    /// `out = H v` with the whole Hessian at `x`.
    pub(crate) fn multiply(&self, x: &[f64], v: &[f64], out: &mut [f64]) {
        self.matrix.multiply(v, out);
        for contact in &self.contacts {
            if let Some(pressed) = contact.law.press(contact.terms.offset(x)) {
                let [a, b] = contact.terms.offset(v);
                let [xx, xy, yy] = pressed.hessian;
                contact
                    .terms
                    .push(out, [xx * a + xy * b, xy * a + yy * b]);
            }
        }
    }

    /// A bound for how far below zero a buckling mode can lie, N/mm: a rod under the thrust `P`
    /// resists a wave of number `w` with `B w⁴ - P w²`, at least `-P²/(4B)` a unit of length. A
    /// bend thrusts with `B kappa²/2` by itself.
    pub(crate) fn softest(&self) -> f64 {
        self.softest
    }

    /// Rolls of the rods and where in the border each lies.
    pub(crate) fn first_rolls(scene: &Scene<'_>) -> Vec<f64> {
        scene
            .rods
            .iter()
            .map(|r| match r.natural.map(|n| n.roll) {
                Some(Roll::Held(roll) | Roll::Free(roll)) => roll,
                None => 0.0,
            })
            .collect()
    }
}

fn normal_part(force: Vector, tangent: Vector) -> Vector {
    force - tangent * force.dot(&tangent)
}

/// Adds a corner's gradient and Hessian to the whole.
#[inline(always)]
fn scatter(matrix: &mut BlockBanded, gradient: &mut [f64], base: [u32; 3], local: &Local) {
    const LOWER: [(usize, usize); 6] = [(0, 0), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2)];
    for (b, g) in base.iter().zip(local.gradient) {
        if *b != FIXED {
            gradient[*b as usize] += g[0];
            gradient[*b as usize + 1] += g[1];
        }
    }
    for (block, (i, j)) in local.hessian.iter().zip(LOWER) {
        let (r, c) = (base[i], base[j]);
        if r != FIXED && c != FIXED {
            matrix.add(r as usize, c as usize, *block);
        }
    }
}

/// Adds `load * length` of one edge.
fn stretch(
    matrix: &mut BlockBanded,
    gradient: &mut [f64],
    end: &EndTerm,
    frames: [&Frame; 2],
    e: Vector,
) -> f64 {
    let length = e.norm();
    let t = e / length;
    let sign = [-1.0, 1.0];
    for (i, fi) in frames.iter().enumerate() {
        if end.base[i] == FIXED {
            continue;
        }
        let row = end.base[i] as usize;
        gradient[row] += end.load * sign[i] * fi.n1.dot(&t);
        gradient[row + 1] += end.load * sign[i] * fi.n2.dot(&t);
        for (j, fj) in frames.iter().enumerate().take(i + 1) {
            if end.base[j] == FIXED {
                continue;
            }
            let scale = end.load * sign[i] * sign[j] / length;
            let entry = |a: &Vector, b: &Vector| scale * (a.dot(b) - a.dot(&t) * b.dot(&t));
            matrix.add(
                row,
                end.base[j] as usize,
                [
                    entry(&fi.n1, &fj.n1),
                    entry(&fi.n1, &fj.n2),
                    entry(&fi.n2, &fj.n1),
                    entry(&fi.n2, &fj.n2),
                ],
            );
        }
    }
    end.load * length
}
