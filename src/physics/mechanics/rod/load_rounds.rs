//! Loads, and natural angles of pre-shaped tips, that rounds bring to agree with the shape.

use super::kinematics::Kinematics;
use super::nodes::RodNodes;
use super::scene::Rod;
use super::sections::Sections;
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::larger;

/// Loads on their way to those that follow from the shape.
#[derive(Debug, Clone, Default)]
pub(crate) struct Relaxation {
    pub(crate) used: Vec<f64>,
    gap: Vec<f64>,
    share: f64,
    pub(crate) unsettled_n: f64,
    /// How far stiffness and diameters that go by rounds slid along rods when they were last brought to the
    /// shape, mm.
    pub(crate) slid_mm: f64,
    /// Whether they are moved half way only: where they swing between two shapes, half way lies between.
    pub(crate) halved: bool,
    /// Whether `used` stays as it is; what the shape calls for is then told in `called`.
    pub(crate) frozen: bool,
    pub(crate) called: Vec<f64>,
}

impl Relaxation {
    /// Moves the loads used so far towards those that follow from the shape, which `load` holds by node and
    /// is given the ones to use.
    ///
    /// A pushed rod in a wide vessel answers a load that follows its shape so strongly that taking
    /// the new load as it is can swing between two states for ever. The share taken follows
    /// Aitken's rule in its vector form (Irons & Tuck, Int. J. Numer. Methods Eng. 1:275-277, 1969).
    pub(crate) fn relax(&mut self, load: &mut Vec<f64>) {
        /// Bounds of the share: below, rounds crawl; above, one bad extrapolation throws.
        const SHARE: (f64, f64) = (0.1, 1.0);
        if self.frozen {
            self.called.clone_from(load);
            load.clone_from(&self.used);
            return;
        }
        let n = load.len();
        if self.used.len() != n {
            self.used.clone_from(load);
            self.gap.clear();
            self.share = 1.0;
            self.unsettled_n = f64::INFINITY;
            return;
        }
        let (mut along, mut squared) = (0.0, 0.0);
        let had_gap = self.gap.len() == n;
        self.gap.resize(n, 0.0);
        self.unsettled_n = 0.0;
        for ((load, used), old) in load.iter().zip(&self.used).zip(&mut self.gap) {
            let gap = load - used;
            let change = gap - *old;
            along += *old * change;
            squared += change * change;
            *old = gap;
            self.unsettled_n = larger(self.unsettled_n, gap.abs());
        }
        if had_gap && squared > 0.0 {
            let share = -self.share * along / squared;
            self.share = share.clamp(SHARE.0, SHARE.1);
        }
        for (used, gap) in self.used.iter_mut().zip(&self.gap) {
            *used += self.share * gap;
        }
        load.clone_from(&self.used);
    }

    /// Forgets the loads used so far.
    pub(crate) fn restart(&mut self) {
        self.used.clear();
        self.frozen = false;
        self.halved = false;
    }

    /// How far loads held are from those called for, N.
    pub(crate) fn missed_n(&self) -> f64 {
        (self.used.iter().zip(&self.called))
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, larger)
    }
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

impl Turning {
    /// Puts the loads that are held, if any are, in the place of those that the shape calls for.
    pub(crate) fn hold_loads(&mut self, load: &mut Vec<f64>) {
        if !self.held_n.is_empty() {
            self.called_n.clone_from(load);
            load.clone_from(&self.held_n);
        }
    }

    /// By pre-shaped node that turns: the angle used, rad, and the load, N; empty where none were held.
    pub(crate) fn used(&self) -> std::slice::ChunksExact<'_, f64> {
        self.used.chunks_exact(2)
    }

    /// Forgets the angles used so far.
    pub(crate) fn restart(&mut self) {
        self.used.clear();
        self.anderson.restart();
    }

    /// The angles by which pre-shaped nodes are bent by nature at their distances from the tip, and the loads
    /// that go with them; taken as they are where loads are `frozen`.
    ///
    /// Held at a natural *curvature*, nodes answer longer edges with more turn, which makes edges longer
    /// still: from 60 degrees on, where an edge is twice as long as its station, rounds ran away or went
    /// back and forth for ever. Held at a natural *angle*, the whole turns by what the bent length gives,
    /// however it is shared out. An angle held also answers the edges' lengths otherwise than a curvature
    /// held, by the load `M kappa`, which is taken off.
    pub(crate) fn call(
        &mut self,
        shape: Kinematics<'_>,
        sections: &Sections,
        rolls: &[f64],
        frozen: bool,
    ) {
        self.called.clear();
        self.weight.clear();
        for shaped in shape.layout.shaped.iter().filter(|s| s.turns) {
            let node = shaped.member.node as usize;
            let vertex = shape.vertex(shaped.member.vertex);
            let (b, kappa) = (sections.stiffness[node], sections.natural[node]);
            let arc_mm = vertex.cell.arc_mm();
            let along = shape.towards_natural(shaped, &vertex, rolls);
            // the moment that was solved for, not that of an angle still to come
            let used = self.used.get(self.called.len());
            let moment = b * (along - used.map_or(kappa, |turn| turn / arc_mm));
            self.called.push(kappa * arc_mm);
            self.called.push(moment * kappa);
            // an angle as the force that it makes on a straight rod
            let station_mm = vertex.cell.m * (1.0 - 0.5 * vertex.cell.q);
            self.weight.extend([b / (station_mm * station_mm), 1.0]);
        }
        if frozen {
            self.used.clone_from(&self.called);
        }
    }

    /// Moves those angles, and all loads, from the ones used so far towards those called for, by Anderson's
    /// method; by how much loads are off, N. `load`, by node, holds those called for and is given those to use.
    /// Moments of a first guess would push the rod behind its tip out of shape: loads begin without
    /// them, and follow when angles nearly agree.
    pub(crate) fn relax(&mut self, rods: &[Rod], nodes: &[RodNodes], load: &mut [f64]) -> f64 {
        let angles = self.called.len();
        self.called.extend_from_slice(load);
        let n = self.called.len();
        #[expect(clippy::cast_precision_loss, reason = "a few thousand nodes")]
        let share = 1.0 / ((n - angles) as f64).max(1.0).sqrt();
        self.weight.resize(n, share);
        let unsettled_n = if self.used.len() == n {
            self.advance(angles)
        } else {
            self.begin(angles, rods, nodes);
            f64::INFINITY
        };
        load.copy_from_slice(&self.used[angles..]);
        unsettled_n
    }

    /// Begins with the angles called for, and loads as if tips had no moments.
    fn begin(&mut self, angles: usize, rods: &[Rod], nodes: &[RodNodes]) {
        self.used.clone_from(&self.called);
        for pair in self.used[..angles].chunks_exact_mut(2) {
            pair[1] = 0.0;
        }
        let follow = self.held_n.is_empty();
        for (rod, nodes) in rods.iter().zip(nodes) {
            let turns = follow && rod.turns_by_rounds();
            if let (true, Some(tip_n)) = (turns, rod.frictionless_n()) {
                let range = nodes.range();
                self.used[angles + range.start..angles + range.end].fill(tip_n);
            }
        }
        self.loaded = false;
        self.anderson.restart();
    }

    fn advance(&mut self, angles: usize) -> f64 {
        /// Mismatch of angles, as forces, from which on loads follow, N: the moments left then push less
        /// than any load that matters.
        const TURNED_N: f64 = 1e-3;
        if !self.loaded {
            for (i, (called, used)) in self.called.iter_mut().zip(&self.used).enumerate() {
                if i >= angles || i % 2 == 1 {
                    *called = *used;
                }
            }
        }
        self.gap.clear();
        let mut unsettled_n = 0.0;
        for (i, (called, used)) in self.called.iter().zip(&self.used).enumerate() {
            let gap = called - used;
            let weight = if i < angles { self.weight[i] } else { 1.0 };
            unsettled_n = larger(unsettled_n, weight * gap.abs());
            self.gap.push(gap);
        }
        (self.anderson).step(&mut self.used, &self.gap, Some(&self.weight));
        if !self.loaded {
            self.loaded = unsettled_n < TURNED_N;
            if self.loaded {
                self.anderson.restart();
            }
            unsettled_n = f64::INFINITY;
        }
        unsettled_n
    }
}
