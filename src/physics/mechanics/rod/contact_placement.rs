//! Which contacts a scene has, and where: every rod in what it lies in, and rods side by side.

use super::contact_law::Keep;
use super::contact_terms::{ContactAxis, ContactTerm, ContactTerms, Interpolation};
use super::dof::short;
use super::nodes::{Nodes, RodNodes};
use super::quadrature::{Quadrature, SAME_MM};
use super::scene::{Container, ContainerStretch, End, Scene, TubeStation};

/// What contacts are placed on.
pub(crate) struct ContactPlacer<'a> {
    pub(crate) scene: &'a Scene<'a>,
    pub(crate) rods: &'a [RodNodes],
    pub(crate) nodes: &'a Nodes,
    /// Stiffness of contacts between two devices, N/mm2.
    pub(crate) device_stiffness_n_per_mm2: f64,
}

/// Two that may touch, and how they keep each other: a rod, and another one or the vessel.
#[derive(Clone, Copy)]
struct Pair {
    rod: usize,
    other: Option<usize>,
    keep: Keep,
}

impl ContactPlacer<'_> {
    /// Lists all of them, in the order of their unknowns.
    pub(crate) fn place(&self, out: &mut ContactTerms) {
        out.clear();
        let scene = self.scene;
        for (k, rod) in scene.rods.iter().enumerate() {
            let whole = [ContainerStretch {
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
                let pair = Pair {
                    rod: k,
                    other: match stretch.container {
                        Container::Vessel => None,
                        Container::Rod(j) => Some(j),
                    },
                    keep: Keep::Within,
                };
                self.add(pair, (stretch.from_mm, to_mm), out);
            }
        }
        for beside in scene.beside {
            let [a, b] = beside.rods;
            let end = scene.rods[a]
                .end_mm(scene.tube)
                .min(scene.rods[b].end_mm(scene.tube));
            let ends_mm = (
                beside.from_mm.max(scene.tube[0].s_mm),
                beside.to_mm.min(end),
            );
            if ends_mm.0 < ends_mm.1 {
                let pair = Pair {
                    rod: b,
                    other: Some(a),
                    keep: Keep::Apart,
                };
                self.add(pair, ends_mm, out);
            }
        }
        out.sort();
    }

    /// Contacts of a pair over a stretch.
    fn add(&self, pair: Pair, ends_mm: (f64, f64), out: &mut ContactTerms) {
        let Some(rule) = Quadrature::new(self.scene.tube, ends_mm) else {
            return;
        };
        for n in 0..=rule.last() {
            let (s_mm, weight_mm, station) = (rule.place(n).0, rule.weight_mm(n), rule.station(n));
            if weight_mm <= 0.0 {
                continue;
            }
            let inside = self.axis(pair.rod, station, s_mm, out);
            let around = pair.other.map(|j| self.axis(j, station, s_mm, out));
            let (radius_mm, stiffness_n_per_mm2) = match pair.other {
                Some(_) => (0.0, self.device_stiffness_n_per_mm2),
                None => self.wall(pair.rod, station, s_mm),
            };
            let term = ContactTerm {
                rod: short(pair.rod),
                other: pair.other.map(short),
                keep: pair.keep,
                s_mm,
                weight_mm,
                stiffness_n_per_mm2,
                radius_mm,
                inside,
                around,
            };
            out.add(&self.nodes.dof, term);
        }
    }

    /// Radius of the vessel, mm, and stiffness of its wall, N/mm2, where rod `k` may touch it.
    fn wall(&self, k: usize, station: Option<usize>, s_mm: f64) -> (f64, f64) {
        let tube = self.scene.tube;
        let own_tip = match &self.scene.rods[k].end {
            End::Tip(tip) if (tip.s_mm - s_mm).abs() < SAME_MM => Some(tip),
            _ => None,
        };
        let between;
        let at = match (own_tip, station) {
            (Some(tip), _) => Some(tip),
            (None, Some(at)) => Some(&tube[at]),
            (None, None) => {
                between = TubeStation::at(tube, s_mm);
                between.as_ref()
            }
        };
        at.map_or((0.0, 0.0), |t| (t.radius_mm, t.wall_stiffness_n_per_mm2))
    }

    /// The axis of a rod at an arc length, which is that of `station` where there is one.
    #[inline(always)]
    fn axis(
        &self,
        k: usize,
        station: Option<usize>,
        s_mm: f64,
        out: &mut ContactTerms,
    ) -> ContactAxis {
        match station {
            Some(at) if at <= self.rods[k].last_full() => {
                ContactAxis::Node(short(self.rods[k].first + at))
            }
            _ => out.between(self.interpolation(k, s_mm)),
        }
    }

    /// Nodes and weights whose offsets give the axis of rod `k` at an arc length.
    fn interpolation(&self, k: usize, s_mm: f64) -> Interpolation {
        let rod = &self.rods[k];
        let along = |a: usize, b: usize| {
            let (sa, sb) = (self.nodes.s_mm[a], self.nodes.s_mm[b]);
            ((s_mm - sa) / (sb - sa)).clamp(0.0, 1.0)
        };
        let full = rod.first + rod.last_full();
        if s_mm <= self.nodes.s_mm[full] {
            let i = self.scene.tube.partition_point(|t| t.s_mm <= s_mm).max(1) - 1;
            let a = rod.first + i;
            if a >= full {
                return Interpolation::of(&[(full, 1.0)]);
            }
            let t = along(a, a + 1);
            return Interpolation::of(&[(a, 1.0 - t), (a + 1, t)]);
        }
        if !rod.tip {
            return Interpolation::of(&[(full, 1.0)]);
        }
        let tip = rod.tip_node();
        let t = along(full, tip);
        if rod.blend >= 1.0 {
            return Interpolation::of(&[(full, 1.0 - t), (tip, t)]);
        }
        let w = rod.blend;
        let last = full + 1;
        let without = [(full, (1.0 - w) * (1.0 - t)), (tip, (1.0 - w) * t)];
        if s_mm <= self.nodes.s_mm[last] {
            let u = along(full, last);
            Interpolation::of(&[
                (full, without[0].1 + w * (1.0 - u)),
                (last, w * u),
                (tip, without[1].1),
            ])
        } else {
            let u = along(last, tip);
            Interpolation::of(&[
                (full, without[0].1),
                (last, w * (1.0 - u)),
                (tip, without[1].1 + w * u),
            ])
        }
    }
}
