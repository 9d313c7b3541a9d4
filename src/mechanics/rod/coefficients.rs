//! What follows from a shape: distances from the tips, stiffness and diameters there, loads.

use super::contact_law::Keep;
use super::edge_batch::clear_for_vectors;
use super::model::Model;
use super::natural::Natural;
use super::profile::{Mean, Profile};
use super::scene::{AxialLoad, Rod, Roll, Scene};
use super::settings::Settings;
use super::terms::{Gate, Member, Tilt};
use crate::geometry::Vector;
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::larger;

/// Loads on their way to those that follow from the shape.
#[derive(Debug, Clone, Default)]
pub(crate) struct Relaxation {
    pub(crate) used: Vec<f64>,
    pub(crate) gap: Vec<f64>,
    pub(crate) share: f64,
    pub(crate) unsettled_n: f64,
    /// How far stiffness and diameters that go by rounds slid along rods when they were last brought to the
    /// shape, mm.
    pub(crate) slid_mm: f64,
    /// Whether they are moved half way only: where they swing between two shapes, half way lies between.
    pub(crate) halved: bool,
    /// Whether `used` stays as it is; what the shape calls for is then told in `called`.
    pub(crate) held: bool,
    pub(crate) called: Vec<f64>,
}

/// Angles by which pre-shaped nodes are bent by nature and the loads that go with them, on their way to
/// those that follow from the shape: two numbers for a node, rad and N.
#[derive(Debug, Clone, Default)]
pub(crate) struct Turning {
    used: Vec<f64>,
    called: Vec<f64>,
    gap: Vec<f64>,
    weight: Vec<f64>,
    /// Whether loads follow yet.
    loaded: bool,
    /// Loads that are held meanwhile, N, by node; empty where they follow.
    pub(crate) held_n: Vec<f64>,
    /// What the shape calls for then.
    pub(crate) called_n: Vec<f64>,
    anderson: Anderson,
}

impl Model {
    /// Distances from the tips by the stored offsets, then stiffness, diameters and natural
    /// curvature there.
    pub(crate) fn update_sections(&mut self, scene: &Scene<'_>) {
        self.update_sections_of(scene, |_| true);
    }

    /// As [`Self::update_sections`], for some of the rods.
    fn update_sections_of(&mut self, scene: &Scene<'_>, wanted: impl Fn(&Rod) -> bool) {
        self.look_at_stored();
        let mut slid_mm = 0.0;
        for (k, rod) in scene.rods.iter().enumerate() {
            if !wanted(rod) {
                continue;
            }
            let nodes = self.rods[k];
            let (first, range, blend) = (nodes.first, nodes.range(), nodes.blend);
            // Cells from the tip back; each node's arc is longer than its chords.
            let skipping = self.skipping(k);
            let lists = &self.abreast;
            let mut along = 0.0;
            let mut at = range.end - 1;
            let from_tip = &mut self.nodes.from_tip;
            self.scratch.clear();
            self.scratch.extend_from_slice(&from_tip[range.clone()]);
            from_tip[at] = 0.0;
            if nodes.skips() {
                let last = nodes.last();
                let without = lists.length_mm(skipping);
                from_tip[last] = lists.length_mm(last);
                along = blend * (lists.length_mm(last) + lists.length_mm(last - 1))
                    + (1.0 - blend) * without;
                at = last - 1;
                from_tip[at] = along;
            } else {
                at -= 1;
                along += lists.length_mm(at);
                from_tip[at] = along;
            }
            while at > first {
                let cell = lists.cell(at);
                let correction = cell.arc_mm() - cell.m;
                along += 0.5 * correction;
                from_tip[at] = along;
                at -= 1;
                along += lists.length_mm(at) + 0.5 * correction;
                from_tip[at] = along;
            }
            let held = matches!(rod.load, AxialLoad::Held { .. });
            if !constant_diameters(rod) || !(held || rod.stiffness_n_mm2.is_constant()) {
                let arcs = &mut self.nodes.from_tip[range.clone()];
                for (old, new) in self.scratch.iter().zip(arcs) {
                    slid_mm = larger(slid_mm, (old - *new).abs());
                    if self.relaxation.halved {
                        *new = 0.5 * (old + *new);
                    }
                }
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
        self.relaxation.slid_mm = slid_mm;
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
        // (which looks at the shape) distances from the tip change nothing where all along a rod is the same
        self.update_sections_of(scene, |rod| rod.changes_along() || !constant_diameters(rod));
        self.update_loads(scene, rolls);
        self.update_forces(scene);
        self.update_grips(scene);
        self.update_material(scene);
        let corners = self.corners.len();
        clear_for_vectors(&mut self.stiffness, corners);
        clear_for_vectors(&mut self.load, corners);
        for member in &self.members {
            let node = member.node as usize;
            let corner = member.corner as usize;
            self.stiffness[corner] += member.weight * self.nodes.stiffness[node];
            self.load[corner] += member.weight * self.nodes.load[node];
        }
        for end in &mut self.ends {
            end.load = end.weight * self.nodes.load[end.node as usize];
        }
        let mut turns = self.turning.used.chunks_exact(2);
        for shaped in &mut self.shaped {
            let node = shaped.member.node as usize;
            let weight = shaped.member.weight;
            shaped.stiffness = weight * self.nodes.stiffness[node];
            shaped.natural = match shaped.turns.then(|| turns.next()).flatten() {
                Some(turn) => {
                    self.load[shaped.member.corner as usize] -= weight * turn[1];
                    Natural::Turn(turn[0])
                }
                None => Natural::Curvature(self.nodes.natural[node]),
            };
        }
        if self
            .laws_for
            .is_some_and(|s| s.total_cmp(&stiffest).is_eq())
        {
            return;
        }
        self.laws_for = scene
            .rods
            .iter()
            .all(constant_diameters)
            .then_some(stiffest);
        self.gates.clear();
        let mut spots = std::mem::take(&mut self.spots);
        for (contact, spot) in self.contacts.iter().zip(&mut spots) {
            let own = 0.5 * self.value(&contact.inside, &self.nodes.outer);
            let limit = match (spot.law.keep, &contact.around) {
                (Keep::Within, None) => contact.radius_mm - own,
                (Keep::Within, Some(around)) => 0.5 * self.value(around, &self.nodes.inner) - own,
                (Keep::Apart, Some(around)) => 0.5 * self.value(around, &self.nodes.outer) + own,
                (Keep::Apart, None) => 0.0,
            };
            let stiffness = contact.stiffness_n_per_mm2.min(stiffest);
            spot.law.limit_mm = limit;
            spot.law.onset_mm = settings.onset_for_mm(stiffness, limit);
            spot.law.stiffness_n_per_mm = stiffness * contact.weight_mm;
            self.gates.push(Gate::of(spot));
        }
        self.spots = spots;
    }

    /// Rotation from the centre line to the rod at a member's node.
    pub(crate) fn tilt_at(&self, member: &Member) -> Tilt {
        Tilt {
            from: self.frames[self.nodes.frame[member.node as usize] as usize].tangent,
            to: self.corner_now(member.corner).tangent(),
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
        if relaxation.held {
            relaxation.called.clone_from(&self.nodes.load);
            self.nodes.load.clone_from(&relaxation.used);
            return;
        }
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
            relaxation.unsettled_n = larger(relaxation.unsettled_n, gap.abs());
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
        self.turning.used.clear();
        self.turning.anderson.restart();
        self.relaxation.used.clear();
        self.relaxation.held = false;
        self.relaxation.halved = false;
    }

    /// How far loads held are from those called for, N.
    pub(crate) fn missed_n(&self) -> f64 {
        let relaxation = &self.relaxation;
        (relaxation.used.iter().zip(&relaxation.called))
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, larger)
    }

    /// How far the loads used are from those of the shape, N.
    pub(crate) fn unsettled_n(&self) -> f64 {
        self.relaxation.unsettled_n
    }

    /// Configurational loads by the stored offsets.
    fn update_loads(&mut self, scene: &Scene<'_>, rolls: &[f64]) {
        let mut follows = false;
        for (k, rod) in scene.rods.iter().enumerate() {
            let range = self.rods[k].range();
            match &rod.load {
                AxialLoad::Uniform(tau) => self.nodes.load[range.clone()].fill(*tau),
                AxialLoad::ByStation(values) | AxialLoad::Held { load_n: values, .. } => {
                    self.nodes.load[range.clone()].fill(0.0);
                    self.add_by_station(scene, k, values);
                }
                AxialLoad::Frictionless(tip) | AxialLoad::Gripped { tip_n: tip, .. } => {
                    follows = true;
                    self.nodes.load[range.clone()].fill(*tip);
                    if !rod.stiffness_n_mm2.is_constant() || rod.natural.is_some() {
                        self.follow_stiffness(k, rolls);
                    }
                }
            }
        }
        if self.shaped.iter().any(|s| s.turns) {
            self.call_turns(rolls);
            if !self.turning.held_n.is_empty() {
                self.turning.called_n.clone_from(&self.nodes.load);
                self.nodes.load.clone_from(&self.turning.held_n);
            }
            if !self.relaxation.held {
                self.relax_turns(scene);
                return;
            }
        }
        if follows || self.relaxation.held {
            self.relax_loads();
        } else {
            self.relaxation.unsettled_n = 0.0;
        }
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
                        let corner = self.corner_now(member.corner);
                        let force = line * (member.weight * corner.cell.m);
                        self.push_node(member.node as usize, normal_part(force, corner.tangent()));
                    }
                }
                for i in 0..self.ends.len() {
                    let end = self.ends[i];
                    if range.contains(&(end.node as usize)) {
                        let (t, _, length) = self.abreast.edge(end.edge as usize);
                        let force = line * (end.weight * length);
                        self.push_node(end.node as usize, normal_part(force, t));
                    }
                }
            }
            self.push_node(range.end - 1, rod.tip_force_n);
        }
    }

    /// Adds values given by station to the load of rod `k`.
    fn add_by_station(&mut self, scene: &Scene<'_>, k: usize, values: &[f64]) {
        let rod = self.rods[k];
        let regular = &mut self.nodes.load[rod.first..=rod.first + rod.last_regular];
        for (load, value) in regular.iter_mut().zip(values) {
            *load += value;
        }
        if rod.tip {
            let tip = rod.tip_node();
            let s = self.nodes.s_mm[tip];
            let j = scene.tube.partition_point(|t| t.s_mm <= s).max(1) - 1;
            let next = (j + 1).min(values.len() - 1);
            let cell = (scene.tube[next].s_mm - scene.tube[j].s_mm).max(1e-300);
            let part = ((s - scene.tube[j].s_mm) / cell).clamp(0.0, 1.0);
            self.nodes.load[tip] += values[j] + (values[next] - values[j]) * part;
        }
    }

    /// Adds a dead force at a node.
    fn push_node(&mut self, node: usize, force: Vector) {
        let dof = self.nodes.dof[node];
        if !dof.is_fixed() {
            let frame = &self.frames[self.nodes.frame[node] as usize];
            self.linear[dof.at()] += force.dot(&frame.n1);
            self.linear[dof.at() + 1] += force.dot(&frame.n2);
        }
    }

    /// Lets the load of rod `k` follow stiffness and natural curvature from the tip backwards.
    fn follow_stiffness(&mut self, k: usize, rolls: &[f64]) {
        let range = self.rods[k].range();
        let turned = self.turned_moments(k, rolls);
        let mut behind: Option<(Vector, f64, Vector)> = None;
        let mut load = self.nodes.load[range.end - 1];
        for i in (range.start..range.end - 1).rev() {
            let inner = i > range.start;
            let curvature = if inner {
                self.corner_between(i).curvature_per_mm()
            } else {
                behind.map_or_else(Vector::zeros, |(m, b, natural)| m / b + natural)
            };
            let frame = &self.frames[self.nodes.frame[i] as usize];
            let towards = if inner {
                let tilt = Tilt {
                    from: frame.tangent,
                    to: self.corner_between(i).tangent(),
                };
                tilt.carry(frame.across(rolls[k]))
            } else {
                Vector::zeros()
            };
            let natural = towards * self.nodes.natural[i];
            let b = self.nodes.stiffness[i];
            let moment = match turned.get(i - range.start).copied().flatten() {
                Some(moment) if inner => moment,
                _ => (curvature - natural) * b,
            };
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

    /// By node of rod `k`: the moment of pre-shaped nodes against the natural angles that were solved for
    /// last, N mm, not those still to come; over all corners of a node that is handed over, which are at
    /// rest together, not one by one. Empty where none were held.
    fn turned_moments(&self, k: usize, rolls: &[f64]) -> Vec<Option<Vector>> {
        let pairs = self.turning.used.chunks_exact(2);
        if pairs.len() == 0 {
            return Vec::new();
        }
        let range = self.rods[k].range();
        let mut moments = vec![None; range.len()];
        for (shaped, pair) in self.shaped.iter().filter(|s| s.turns).zip(pairs) {
            let member = &shaped.member;
            let node = member.node as usize;
            if !range.contains(&node) {
                continue;
            }
            let corner = self.corner_now(member.corner);
            let frame = &self.frames[self.nodes.frame[node] as usize];
            let towards = self.tilt_at(member).carry(frame.across(rolls[k]));
            let bent = corner.curvature_per_mm() - towards * (pair[0] / corner.cell.arc_mm());
            let moment = moments[node - range.start].get_or_insert_with(Vector::zeros);
            *moment += bent * (member.weight * self.nodes.stiffness[node]);
        }
        moments
    }

    /// The angles by which pre-shaped nodes are bent by nature at their distances from the tip, and the loads
    /// that go with them.
    ///
    /// Held at a natural *curvature*, nodes answer longer edges with more turn, which makes edges longer
    /// still: from 60 degrees on, where an edge is twice as long as its station, rounds ran away or went
    /// back and forth for ever. Held at a natural *angle*, the whole turns by what the bent length gives,
    /// however it is shared out. An angle held also answers the edges' lengths otherwise than a curvature
    /// held, by the load `M kappa`, which is taken off.
    fn call_turns(&mut self, rolls: &[f64]) {
        let mut turning = std::mem::take(&mut self.turning);
        turning.called.clear();
        turning.weight.clear();
        for shaped in self.shaped.iter().filter(|s| s.turns) {
            let node = shaped.member.node as usize;
            let corner = self.corner_now(shaped.member.corner);
            let (b, kappa) = (self.nodes.stiffness[node], self.nodes.natural[node]);
            let arc_mm = corner.cell.arc_mm();
            let along = self.towards_natural(shaped, &corner, rolls);
            // the moment that was solved for, not that of an angle still to come
            let used = turning.used.get(turning.called.len());
            let moment = b * (along - used.map_or(kappa, |turn| turn / arc_mm));
            turning.called.push(kappa * arc_mm);
            turning.called.push(moment * kappa);
            // an angle as the force that it makes on a straight rod
            let station_mm = corner.cell.m * (1.0 - 0.5 * corner.cell.q);
            turning.weight.extend([b / (station_mm * station_mm), 1.0]);
        }
        if self.relaxation.held {
            turning.used.clone_from(&turning.called);
        }
        self.turning = turning;
    }

    /// Moves those angles, and all loads, from the ones used so far towards those called for, by Anderson's
    /// method. Moments of a first guess would push the rod behind its tip out of shape: loads begin without
    /// them, and follow when angles nearly agree.
    fn relax_turns(&mut self, scene: &Scene<'_>) {
        /// Mismatch of angles, as forces, from which on loads follow, N: the moments left then push less
        /// than any load that matters.
        const TURNED_N: f64 = 1e-3;
        let mut turning = std::mem::take(&mut self.turning);
        let angles = turning.called.len();
        turning.called.extend_from_slice(&self.nodes.load);
        let n = turning.called.len();
        #[expect(clippy::cast_precision_loss, reason = "a few thousand nodes")]
        let share = 1.0 / ((n - angles) as f64).max(1.0).sqrt();
        turning.weight.resize(n, share);
        if turning.used.len() != n {
            turning.used.clone_from(&turning.called);
            for pair in turning.used[..angles].chunks_exact_mut(2) {
                pair[1] = 0.0;
            }
            let follow = turning.held_n.is_empty();
            for (k, rod) in scene.rods.iter().enumerate() {
                let turns = follow && rod.turns_by_rounds();
                if let (true, AxialLoad::Frictionless(tip_n)) = (turns, &rod.load) {
                    let range = self.rods[k].range();
                    turning.used[angles + range.start..angles + range.end].fill(*tip_n);
                }
            }
            turning.loaded = false;
            turning.anderson.restart();
            self.relaxation.unsettled_n = f64::INFINITY;
        } else {
            if !turning.loaded {
                let used = &turning.used;
                for (i, called) in turning.called.iter_mut().enumerate() {
                    if i >= angles || i % 2 == 1 {
                        *called = used[i];
                    }
                }
            }
            turning.gap.clear();
            let mut unsettled_n = 0.0;
            for (i, (called, used)) in turning.called.iter().zip(&turning.used).enumerate() {
                let gap = called - used;
                let weight = if i < angles { turning.weight[i] } else { 1.0 };
                unsettled_n = larger(unsettled_n, weight * gap.abs());
                turning.gap.push(gap);
            }
            (turning.anderson).step(&mut turning.used, &turning.gap, Some(&turning.weight));
            if !turning.loaded {
                turning.loaded = unsettled_n < TURNED_N;
                if turning.loaded {
                    turning.anderson.restart();
                }
                unsettled_n = f64::INFINITY;
            }
            self.relaxation.unsettled_n = unsettled_n;
        }
        self.nodes.load.copy_from_slice(&turning.used[angles..]);
        self.turning = turning;
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

fn constant_diameters(rod: &Rod) -> bool {
    rod.outer_mm.is_constant() && rod.inner_mm.as_ref().is_none_or(Profile::is_constant)
}

fn normal_part(force: Vector, tangent: Vector) -> Vector {
    force - tangent * force.dot(&tangent)
}
