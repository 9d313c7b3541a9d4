//! Where the nodes sit, which unknowns they share, and which terms the energy has.
//!
//! Nodes of a rod sit on the stations and one on its tip. So that no cell is tiny and yet
//! everything moves continuously with the tip, the last cell is 0.45 to 1.65 stations long: while
//! the last regular node is 0.45 to 0.65 stations behind the tip, its terms carry a weight that
//! grows smoothly from 0 to 1, and the terms of the rod without it carry the rest.

use super::contact_law::Keep;
use super::dof::{Dof, short};
use super::model::Model;
use super::natural::Natural;
use super::scene::{Container, End, Rod, Scene, StartSupport, Stretch, TubeStation};
use super::settings::Settings;
use super::terms::{
    Axis, ContactTerm, CornerTerm, EndTerm, Member, Mix, RodNodes, ShapedTerm, Spot, Terms,
};

/// Shortest last cell, in stations, and the one from which the last regular node counts fully.
/// Shorter ones stiffen the matrix, a narrower hand-over makes the path less smooth in the tip.
const HAND_OVER: (f64, f64) = (0.45, 0.65);

/// Weight below which the last regular node is left out: its terms would be lost in rounding.
const LEAST_WEIGHT: f64 = 1e-9;

/// Which rods share unknowns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sharing {
    /// All of them: the composite rod.
    All,
    /// Those whose gap is below the setting.
    TightFits,
}

/// Smooth step with two continuous derivatives.
fn smooth_step(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * t * (10.0 + t * (6.0 * t - 15.0))
}

impl RodNodes {
    fn of(rod: &Rod, tube: &[TubeStation], first: usize) -> Self {
        let clamped = rod.start == StartSupport::Clamped;
        let End::Tip(tip) = &rod.end else {
            return Self {
                first,
                last_regular: tube.len() - 1,
                tip: false,
                blend: 1.0,
                clamped,
            };
        };
        let cell = |i: usize| {
            if i + 1 < tube.len() {
                tube[i + 1].s_mm - tube[i].s_mm
            } else {
                tube[i].s_mm - tube[i - 1].s_mm
            }
        };
        let mut m = tube.partition_point(|t| t.s_mm < tip.s_mm).max(1) - 1;
        while m > 2 && tip.s_mm - tube[m].s_mm < HAND_OVER.0 * cell(m) {
            m -= 1;
        }
        let part = (tip.s_mm - tube[m].s_mm) / cell(m);
        let mut blend = smooth_step((part - HAND_OVER.0) / (HAND_OVER.1 - HAND_OVER.0));
        if blend < LEAST_WEIGHT {
            m -= 1;
            blend = 1.0;
        }
        Self {
            first,
            last_regular: m,
            tip: true,
            blend,
            clamped,
        }
    }

    /// The last regular node with full weight.
    fn last_full(&self) -> usize {
        if self.blend < 1.0 {
            self.last_regular - 1
        } else {
            self.last_regular
        }
    }
}

impl Model {
    /// Sets out the nodes; [`Model::lay_out_terms`] follows when their offsets are guessed.
    pub(crate) fn lay_out_nodes(&mut self, scene: &Scene<'_>) {
        self.frames.clear();
        self.frames.extend(scene.tube.iter().map(|t| t.frame));
        self.rods.clear();
        self.nodes.clear();
        for rod in scene.rods {
            let nodes = RodNodes::of(rod, scene.tube, self.nodes.s_mm.len());
            for i in 0..=nodes.last_regular {
                self.nodes.push(short(i), scene.tube[i].s_mm);
            }
            if let End::Tip(tip) = &rod.end {
                self.nodes.push(short(self.frames.len()), tip.s_mm);
                self.frames.push(tip.frame);
            }
            self.rods.push(nodes);
        }
        self.nodes.fit();
        self.abreast.set_frames(&self.frames);
        self.abreast.fit(self.nodes.s_mm.len(), self.rods.len());
    }

    /// Gives nodes their unknowns and lists the terms of the energy. Needs distances from the tip
    /// and diameters ([`Model::update_sections`]) to find the tight fits.
    pub(crate) fn lay_out_terms(
        &mut self,
        scene: &Scene<'_>,
        settings: &Settings,
        sharing: Sharing,
    ) {
        self.number_unknowns(scene, settings, sharing);
        self.corners.clear();
        self.members.clear();
        self.ends.clear();
        self.shaped.clear();
        self.found.clear();
        self.mixes.clear();
        self.many.clear();
        for k in 0..scene.rods.len() {
            self.add_bending(scene, k);
            self.add_shape(scene, k);
        }
        for (k, rod) in scene.rods.iter().enumerate() {
            let whole = [Stretch {
                from_mm: scene.tube[0].s_mm,
                to_mm: f64::INFINITY,
                container: Container::Vessel,
            }];
            let stretches = if rod.containers.is_empty() {
                &whole[..]
            } else {
                &rod.containers[..]
            };
            for stretch in stretches {
                let to_mm = stretch.to_mm.min(rod.end_mm(scene.tube));
                let other = match stretch.container {
                    Container::Vessel => None,
                    Container::Rod(j) => Some(j),
                };
                self.add_contacts(
                    scene,
                    settings,
                    (k, other),
                    Keep::Within,
                    (stretch.from_mm, to_mm),
                );
            }
        }
        for pair in scene.beside {
            let [a, b] = pair.rods;
            let end = scene.rods[a]
                .end_mm(scene.tube)
                .min(scene.rods[b].end_mm(scene.tube));
            let span = (pair.from_mm.max(scene.tube[0].s_mm), pair.to_mm.min(end));
            if span.0 < span.1 {
                self.add_contacts(scene, settings, (b, Some(a)), Keep::Apart, span);
            }
        }
        // in the order of their unknowns
        self.order.clear();
        let keys = self.found.iter().enumerate();
        (self.order).extend(keys.map(|(i, (_, spot))| (spot.first(), short(i))));
        self.order.sort();
        self.contacts.clear();
        self.spots.clear();
        for (_, i) in &self.order {
            let (contact, spot) = self.found[*i as usize];
            self.contacts.push(contact);
            self.spots.push(spot);
        }
        self.abreast.set_rows(&self.corners, &self.members);
        self.laws_for = None;
    }

    fn number_unknowns(&mut self, scene: &Scene<'_>, settings: &Settings, sharing: Sharing) {
        let count = scene.rods.len();
        let container_at = |k: usize, s: f64| {
            let at = scene.rods[k].containers.iter().find(|c| s <= c.to_mm);
            at.map_or(Container::Vessel, |c| c.container)
        };
        let held = |k: usize| scene.rods[k].start != StartSupport::Free;
        self.block_sizes.clear();
        self.block_sizes.resize(scene.tube.len(), 0);
        self.owner.clear();
        self.shared = sharing == Sharing::All;
        let mut next = 0;
        for (i, station) in scene.tube.iter().enumerate() {
            // Regular nodes first. `lead[k]` is the rod whose unknowns k uses.
            let present = |rods: &[RodNodes], k: usize| i <= rods[k].last_regular;
            let mut lead: [usize; super::scene::MOST_RODS] = std::array::from_fn(|k| k);
            for k in 0..count {
                if !present(&self.rods, k) {
                    continue;
                }
                let holder = match sharing {
                    Sharing::All => (0..k).find(|j| present(&self.rods, *j)),
                    Sharing::TightFits => match container_at(k, station.s_mm) {
                        Container::Rod(j) if present(&self.rods, j) => {
                            let (inside, around) = (self.rods[k].first + i, self.rods[j].first + i);
                            let gap = 0.5 * (self.nodes.inner[around] - self.nodes.outer[inside]);
                            (gap < settings.shared_axis_gap_mm).then_some(j)
                        }
                        _ => None,
                    },
                };
                if let Some(j) = holder {
                    self.shared = true;
                    let (from, to) = (lead[k].max(lead[j]), lead[k].min(lead[j]));
                    for l in &mut lead[..count] {
                        if *l == from {
                            *l = to;
                        }
                    }
                }
            }
            for k in 0..count {
                if !present(&self.rods, k) {
                    continue;
                }
                let node = self.rods[k].first + i;
                self.nodes.dof[node] = if lead[k] != k {
                    self.nodes.dof[self.rods[lead[k]].first + i]
                } else if i == 0
                    && (0..count).any(|j| lead[j] == k && present(&self.rods, j) && held(j))
                {
                    Dof::FIXED
                } else {
                    self.owner.push((short(k), station.s_mm));
                    next += 2;
                    Dof::new(next - 2)
                };
            }
            // Tips whose last regular node is here.
            for k in 0..count {
                if !(self.rods[k].tip && self.rods[k].last_regular == i) {
                    continue;
                }
                let tip = self.rods[k].tip_node();
                let s = self.nodes.s_mm[tip];
                let twin = (0..k).find(|j| {
                    let rod = &self.rods[*j];
                    rod.tip
                        && (self.nodes.s_mm[rod.tip_node()] - s).abs() < 1e-9
                        && (sharing == Sharing::All
                            || (container_at(k, s) == Container::Rod(*j)
                                && 0.5
                                    * (self.nodes.inner[rod.tip_node()] - self.nodes.outer[tip])
                                    < settings.shared_axis_gap_mm))
                });
                self.nodes.dof[tip] = if let Some(j) = twin {
                    self.nodes.dof[self.rods[j].tip_node()]
                } else {
                    self.owner.push((short(k), s));
                    next += 2;
                    Dof::new(next - 2)
                };
            }
            self.block_sizes[i] = next;
        }
        for i in (1..self.block_sizes.len()).rev() {
            self.block_sizes[i] -= self.block_sizes[i - 1];
        }
        self.matrix.lay_out(&self.block_sizes);
        self.gradient.clear();
        self.gradient.resize(next, 0.0);
        self.linear.clear();
        self.linear.resize(next, 0.0);
        let free = scene
            .rods
            .iter()
            .filter(|r| matches!(r.natural.map(|n| n.roll), Some(super::scene::Roll::Free(_))))
            .count();
        self.border.clear();
        self.border.resize(free * next, 0.0);
    }

    /// Number of the edge, and of a cell it is the second edge of, from node to node of rod `k`.
    fn edge(&self, k: usize, from: usize, to: usize) -> u32 {
        short(if to == from + 1 {
            from
        } else {
            self.skipping(k)
        })
    }

    /// Adds the corner of three nodes of rod `k`, or lets it share an equal one of an earlier rod.
    fn add_corner(&mut self, k: usize, nodes: [usize; 3], clamp: bool, weight: f64) {
        let frame = nodes.map(|n| self.nodes.frame[n]);
        let dof = nodes.map(|n| self.nodes.dof[n]);
        let middle = nodes[1];
        let earlier = if self.shared { k } else { 0 };
        let equal = (0..earlier).find_map(|j| {
            let i = middle - self.rods[k].first;
            let twin = self.rods[j].first + i;
            if i > self.rods[j].last_regular {
                return None;
            }
            let at = self.corner_of[twin]?;
            let corner = self.corners.get(at as usize)?;
            (corner.dof == dof && corner.frame == frame && corner.clamp == clamp).then_some(at)
        });
        let corner = equal.unwrap_or_else(|| {
            let cell = self.edge(k, nodes[1], nodes[2]);
            let first = if clamp {
                cell
            } else {
                self.edge(k, nodes[0], nodes[1])
            };
            self.corners.push(CornerTerm {
                frame,
                dof,
                edge: [first, cell],
                cell,
                clamp,
            });
            short(self.corners.len() - 1)
        });
        if weight >= 1.0 {
            self.corner_of[middle] = Some(corner);
        }
        self.members.push(Member {
            rod: short(k),
            corner,
            node: short(middle),
            nodes: nodes.map(short),
            weight,
        });
    }

    fn add_bending(&mut self, scene: &Scene<'_>, k: usize) {
        self.corner_of.resize(self.nodes.s_mm.len(), None);
        let RodNodes {
            first,
            last_regular: m,
            tip,
            blend,
            ..
        } = self.rods[k];
        for n in first..first + self.rods[k].count() {
            self.corner_of[n] = None;
        }
        if scene.rods[k].start == StartSupport::Clamped {
            self.add_corner(k, [first, first, first + 1], true, 1.0);
        } else {
            self.add_end(k, first, [first, first + 1], 0.5);
        }
        let full = if tip && blend < 1.0 { m - 2 } else { m - 1 };
        for i in 1..=full {
            self.add_corner(k, [first + i - 1, first + i, first + i + 1], false, 1.0);
        }
        if !tip {
            self.add_end(k, first + m, [first + m - 1, first + m], 0.5);
            return;
        }
        let t = first + m + 1;
        if blend < 1.0 {
            self.add_corner(k, [t - 3, t - 2, t - 1], false, blend);
            self.add_corner(k, [t - 3, t - 2, t], false, 1.0 - blend);
            self.add_end(k, t, [t - 2, t], 0.5 * (1.0 - blend));
        }
        self.add_corner(k, [t - 2, t - 1, t], false, blend);
        self.add_end(k, t, [t - 1, t], 0.5 * blend);
    }

    fn add_end(&mut self, k: usize, node: usize, nodes: [usize; 2], weight: f64) {
        self.ends.push(EndTerm {
            rod: short(k),
            node: short(node),
            edge: self.edge(k, nodes[0], nodes[1]),
            frame: nodes.map(|n| self.nodes.frame[n]),
            dof: nodes.map(|n| self.nodes.dof[n]),
            weight,
            load: 0.0,
        });
    }

    fn add_shape(&mut self, scene: &Scene<'_>, k: usize) {
        let Some(bend) = &scene.rods[k].natural else {
            return;
        };
        let free = (0..k)
            .filter(|j| {
                matches!(
                    scene.rods[*j].natural.map(|n| n.roll),
                    Some(super::scene::Roll::Free(_))
                )
            })
            .count();
        let border = matches!(bend.roll, super::scene::Roll::Free(_)).then_some(free);
        // Distances from the tip move while the shape settles: take a few cells more.
        let reach = bend.length_mm * 1.2 + 5.0 * (scene.tube[1].s_mm - scene.tube[0].s_mm);
        let members: Vec<Member> = self
            .members
            .iter()
            .filter(|m| {
                let node = m.node as usize;
                let rod = &self.rods[k];
                (rod.first..rod.first + rod.count()).contains(&node)
                    && self.nodes.from_tip[node] <= reach
            })
            .copied()
            .collect();
        for member in members {
            self.shaped.push(ShapedTerm {
                rod: k,
                border,
                member,
                stiffness: 0.0,
                turns: scene.rods[k].turns_by_rounds(),
                natural: Natural::Curvature(0.0),
            });
        }
    }

    /// Nodes and weights whose offsets give the axis of rod `k` at an arc length.
    pub(crate) fn locate(&self, tube: &[TubeStation], k: usize, s_mm: f64) -> Mix {
        let rod = &self.rods[k];
        let along = |a: usize, b: usize| {
            let (sa, sb) = (self.nodes.s_mm[a], self.nodes.s_mm[b]);
            ((s_mm - sa) / (sb - sa)).clamp(0.0, 1.0)
        };
        let full = rod.first + rod.last_full();
        if s_mm <= self.nodes.s_mm[full] {
            let i = tube.partition_point(|t| t.s_mm <= s_mm).max(1) - 1;
            let a = rod.first + i;
            if a >= full {
                return Mix::of(&[(full, 1.0)]);
            }
            let t = along(a, a + 1);
            return Mix::of(&[(a, 1.0 - t), (a + 1, t)]);
        }
        if !rod.tip {
            return Mix::of(&[(full, 1.0)]);
        }
        let tip = rod.tip_node();
        let t = along(full, tip);
        if rod.blend >= 1.0 {
            return Mix::of(&[(full, 1.0 - t), (tip, t)]);
        }
        let w = rod.blend;
        let last = full + 1;
        let without = [(full, (1.0 - w) * (1.0 - t)), (tip, (1.0 - w) * t)];
        if s_mm <= self.nodes.s_mm[last] {
            let u = along(full, last);
            Mix::of(&[
                (full, without[0].1 + w * (1.0 - u)),
                (last, w * u),
                (tip, without[1].1),
            ])
        } else {
            let u = along(last, tip);
            Mix::of(&[
                (full, without[0].1),
                (last, w * (1.0 - u)),
                (tip, without[1].1 + w * u),
            ])
        }
    }

    /// The axis of a rod at an arc length, which is that of `station` where there is one.
    #[inline(always)]
    fn axis(
        &mut self,
        tube: &[TubeStation],
        rod: usize,
        station: Option<usize>,
        s_mm: f64,
    ) -> Axis {
        match station {
            Some(at) if at <= self.rods[rod].last_full() => {
                Axis::Node(short(self.rods[rod].first + at))
            }
            _ => {
                self.mixes.push(self.locate(tube, rod, s_mm));
                Axis::Between(short(self.mixes.len() - 1))
            }
        }
    }

    /// A contact of two axes, or of one with the vessel, as the solver sees it; none where neither moves
    /// or both are the same.
    #[inline(always)]
    fn spot(&mut self, keep: Keep, inside: Axis, around: Option<Axis>) -> Option<Spot> {
        let dof = |node: u32| self.nodes.dof[node as usize];
        match (inside, around) {
            (Axis::Node(a), None) => Spot::plain(keep, dof(a), None),
            (Axis::Node(a), Some(Axis::Node(b))) => Spot::plain(keep, dof(a), Some(dof(b))),
            _ => {
                let (inside, around) = (self.mix(&inside), around.map(|axis| self.mix(&axis)));
                let terms = Terms::between(&self.nodes.dof, &inside, around.as_ref());
                Spot::of(keep, &terms, &mut self.many)
            }
        }
    }

    /// Contacts of a pair over a span by the trapezoidal rule over the stations in it and its ends.
    fn add_contacts(
        &mut self,
        scene: &Scene<'_>,
        settings: &Settings,
        (k, other): (usize, Option<usize>),
        keep: Keep,
        ends_mm: (f64, f64),
    ) {
        let tube = scene.tube;
        let Some(span) = Span::new(tube, ends_mm) else {
            return;
        };
        for n in 0..=span.last() {
            let (s_mm, weight_mm, station) = (span.place(n).0, span.weight_mm(n), span.station(n));
            if weight_mm <= 0.0 {
                continue;
            }
            let inside = self.axis(tube, k, station, s_mm);
            let around = other.map(|j| self.axis(tube, j, station, s_mm));
            let Some(spot) = self.spot(keep, inside, around) else {
                continue;
            };
            let between;
            let (radius_mm, stiffness_n_per_mm2) = if other.is_some() {
                (0.0, settings.device_stiffness_n_per_mm2)
            } else {
                let own_tip = match &scene.rods[k].end {
                    End::Tip(tip) if (tip.s_mm - s_mm).abs() < SAME_MM => Some(tip),
                    _ => None,
                };
                let at = match (own_tip, station) {
                    (Some(tip), _) => Some(tip),
                    (None, Some(at)) => Some(&tube[at]),
                    (None, None) => {
                        between = TubeStation::at(tube, s_mm);
                        between.as_ref()
                    }
                };
                at.map_or((0.0, 0.0), |t| (t.radius_mm, t.wall_stiffness_n_per_mm2))
            };
            let contact = ContactTerm {
                rod: short(k),
                other: other.map(short),
                s_mm,
                weight_mm,
                stiffness_n_per_mm2,
                radius_mm,
                inside,
                around,
            };
            self.found.push((contact, spot));
        }
    }
}

/// Nearer than this to a station, mm, an end of a span is on it.
const SAME_MM: f64 = 1e-9;

/// A stretch of the tube: its places are its two ends and the stations between them.
struct Span<'a> {
    tube: &'a [TubeStation],
    ends_mm: (f64, f64),
    /// Its first station and the one after its last.
    begin: usize,
    finish: usize,
}

impl<'a> Span<'a> {
    /// None where it begins before the tube.
    fn new(tube: &'a [TubeStation], ends_mm: (f64, f64)) -> Option<Self> {
        let begin = tube.partition_point(|t| t.s_mm <= ends_mm.0 + SAME_MM);
        let finish = tube.partition_point(|t| t.s_mm < ends_mm.1 - SAME_MM);
        (begin > 0).then_some(Self {
            tube,
            ends_mm,
            begin,
            finish,
        })
    }

    /// Its last place.
    #[inline(always)]
    fn last(&self) -> usize {
        self.finish.max(self.begin) - self.begin + 1
    }

    /// The station at a place.
    #[inline(always)]
    fn station(&self, n: usize) -> Option<usize> {
        (n > 0 && n < self.last()).then(|| self.begin + n - 1)
    }

    /// Where a place is, mm, and how much it counts.
    #[inline(always)]
    fn place(&self, n: usize) -> (f64, f64) {
        match self.station(n) {
            Some(at) => (self.tube[at].s_mm, self.presence(at)),
            None if n == 0 => (self.ends_mm.0, 1.0),
            None => (self.ends_mm.1, 1.0),
        }
    }

    /// A station next to an end counts the more the further the end is from it, so that ends pass
    /// stations smoothly: energies and forces then have slopes in the tips.
    fn presence(&self, at: usize) -> f64 {
        let s_mm = |i: usize| self.tube[i].s_mm;
        let part = |end_mm: f64, other: usize| {
            let away = (s_mm(at) - end_mm).abs() / (s_mm(other) - s_mm(at)).abs();
            smooth_step((away - HAND_OVER.0) / (HAND_OVER.1 - HAND_OVER.0))
        };
        let mut present = 1.0;
        if at == self.begin {
            present *= part(self.ends_mm.0, self.begin - 1);
        }
        if at + 1 == self.finish {
            present *= part(self.ends_mm.1, self.finish.min(self.tube.len() - 1));
        }
        present
    }

    /// Length a place stands for, mm.
    #[inline(always)]
    fn weight_mm(&self, n: usize) -> f64 {
        if n > 2 && n + 2 < self.last() {
            // both neighbours count fully
            let at = self.begin + n - 1;
            return 0.5 * (self.tube[at + 1].s_mm - self.tube[at - 1].s_mm);
        }
        let (s_mm, present) = self.place(n);
        // the next places before and after, those half present with and without
        let reach = |way: isize| -> f64 {
            let at = |by: isize| {
                let at = n.checked_add_signed(by).filter(|at| *at <= self.last());
                at.map(|at| self.place(at))
            };
            match (at(way), at(2 * way)) {
                (Some((near, there)), Some((far, _))) => {
                    there * (near - s_mm).abs() + (1.0 - there) * (far - s_mm).abs()
                }
                (Some((near, _)), None) => (near - s_mm).abs(),
                (None, _) => 0.0,
            }
        };
        0.5 * present * (reach(-1) + reach(1))
    }
}
