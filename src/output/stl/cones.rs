//! The union of many cones along centre lines, asked for distances: a tree of boxes round their axes.

use crate::geometry::{Point, Vector};
use std::cell::Cell;

/// Growth of the size of facets per distance from the lumen. Below 0.31 neighbouring tetrahedra always agree
/// on their common edges (`tets.rs`).
pub(super) const GRADING: f64 = 0.25;

/// The hull of two balls (their centres joined by an axis), or a cone between two flat discs.
#[derive(Debug, Clone)]
pub(super) struct Cone {
    pub(super) a: Point,
    pub(super) b: Point,
    pub(super) radius_a_mm: f64,
    pub(super) radius_b_mm: f64,
    /// Between flat discs.
    pub(super) flat: bool,
    /// Largest edge of facets wished there, mm.
    pub(super) size_mm: f64,
    /// Index of the branch it belongs to, and where on it, mm.
    pub(super) branch: usize,
    pub(super) at_mm: f64,
    /// Open ends whose planes cut it: that of the branch's start, that of its end.
    pub(super) ends: [Option<usize>; 2],
}

impl Cone {
    /// Signed distance, negative inside, mm; nowhere changes faster than distance.
    pub(super) fn distance_mm(&self, p: &Point) -> f64 {
        let axis = self.b - self.a;
        let length_mm = axis.norm();
        let off = p - self.a;
        if length_mm < 1e-9 {
            return off.norm() - self.radius_a_mm.max(self.radius_b_mm);
        }
        let along_mm = off.dot(&axis) / length_mm;
        let across_mm = (off.norm_squared() - along_mm * along_mm).max(0.0).sqrt();
        if self.flat {
            self.to_flat_mm(along_mm, across_mm, length_mm)
        } else {
            self.to_round_mm(along_mm, across_mm, length_mm)
        }
    }

    /// The nearest of all balls between both: the distance to a ball is convex in its place.
    fn to_round_mm(&self, along_mm: f64, across_mm: f64, length_mm: f64) -> f64 {
        let taper = (self.radius_a_mm - self.radius_b_mm) / length_mm;
        let room = 1.0 - taper * taper;
        let s_mm = if room > 0.0 {
            (along_mm - across_mm * taper / room.sqrt()).clamp(0.0, length_mm)
        } else if taper > 0.0 {
            0.0
        } else {
            length_mm
        };
        norm(along_mm - s_mm, across_mm) - (self.radius_a_mm - taper * s_mm)
    }

    /// In the half plane through the axis: to the nearer disc or to the slope between them.
    fn to_flat_mm(&self, along_mm: f64, across_mm: f64, length_mm: f64) -> f64 {
        let (ra, rb) = (self.radius_a_mm, self.radius_b_mm);
        let disc_mm = if along_mm < 0.5 * length_mm { ra } else { rb };
        let beyond_mm = (along_mm - 0.5 * length_mm).abs() - 0.5 * length_mm;
        let to_disc = norm((across_mm - disc_mm).max(0.0), beyond_mm);
        let widens = rb - ra;
        let share = ((widens * (across_mm - ra) + along_mm * length_mm)
            / (widens * widens + length_mm * length_mm))
            .clamp(0.0, 1.0);
        let outside_mm = across_mm - ra - share * widens;
        let to_slope = norm(outside_mm, along_mm - share * length_mm);
        let inside = outside_mm < 0.0 && beyond_mm < 0.0;
        to_disc.min(to_slope) * if inside { -1.0 } else { 1.0 }
    }

    /// Largest edge of facets that it wishes at a place in a distance from it, mm.
    fn wish_mm(&self, distance_mm: f64) -> f64 {
        self.size_mm + GRADING * distance_mm.max(0.0)
    }

    fn widest_mm(&self) -> f64 {
        self.radius_a_mm.max(self.radius_b_mm)
    }
}

fn norm(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// A box round axes.
#[derive(Debug)]
struct Node {
    low: Vector,
    high: Vector,
    widest_mm: f64,
    finest_mm: f64,
    /// Cones from the first to behind the last.
    cones: (usize, usize),
    /// The second of its halves; the first one follows it. None in leaves.
    second: Option<usize>,
}

impl Node {
    /// Distance below which none of its cones lies, mm.
    fn at_least_mm(&self, p: &Point) -> f64 {
        let off = (self.low - p.coords)
            .sup(&(p.coords - self.high))
            .sup(&Vector::zeros());
        off.norm() - self.widest_mm
    }
}

/// Many cones.
#[derive(Debug)]
pub(super) struct Cones {
    cones: Vec<Cone>,
    nodes: Vec<Node>,
}

impl Cones {
    pub(super) fn new(mut cones: Vec<Cone>) -> Self {
        let mut nodes = Vec::with_capacity(cones.len());
        let count = cones.len();
        if count > 0 {
            grow(&mut cones, (0, count), &mut nodes);
        }
        Self { cones, nodes }
    }

    pub(super) fn all(&self) -> &[Cone] {
        &self.cones
    }

    /// The least value of any cone below a given one, where `bound` of a distance tells what no cone beyond it
    /// goes below; the given one where there is none.
    fn least(
        &self,
        p: &Point,
        below: f64,
        value: impl Fn(&Cone) -> f64,
        bound: impl Fn(f64, &Node) -> f64,
    ) -> (f64, usize) {
        let mut best = (below, 0);
        let mut waiting = [(0_usize, f64::NEG_INFINITY); DEEPEST];
        let mut count = 0;
        if let Some(root) = self.nodes.first() {
            waiting[0].1 = bound(root.at_least_mm(p), root);
            count = 1;
        }
        while count > 0 {
            count -= 1;
            let (at, least) = waiting[count];
            if least >= best.0 {
                continue;
            }
            let node = &self.nodes[at];
            let Some(second) = node.second else {
                for i in node.cones.0..node.cones.1 {
                    let found = value(&self.cones[i]);
                    if found < best.0 {
                        best = (found, i);
                    }
                }
                continue;
            };
            let seen = |child: usize| {
                let node = &self.nodes[child];
                (child, bound(node.at_least_mm(p), node))
            };
            let (mut near, mut far) = (seen(at + 1), seen(second));
            if far.1 < near.1 {
                std::mem::swap(&mut near, &mut far);
            }
            for next in [far, near] {
                if next.1 < best.0 {
                    waiting[count] = next;
                    count += 1;
                }
            }
        }
        best
    }

    /// Signed distance to the union, mm.
    #[cfg(test)]
    fn distance_mm(&self, p: &Point) -> f64 {
        self.distance_below_mm(p, f64::INFINITY)
    }

    /// The same, or a given distance where all lie beyond it, mm.
    pub(super) fn distance_below_mm(&self, p: &Point, below_mm: f64) -> f64 {
        self.least(p, below_mm, |cone| cone.distance_mm(p), |mm, _| mm)
            .0
    }

    /// The same with what else is known of each cone that is near: `value` of it and its distance, never
    /// below the distance.
    pub(super) fn least_of_below(
        &self,
        p: &Point,
        below: f64,
        value: impl Fn(&Cone, f64) -> f64,
    ) -> f64 {
        let value = |cone: &Cone| value(cone, cone.distance_mm(p));
        self.least(p, below, value, |mm, _| mm).0
    }

    /// Those of which one may be the nearest to any place within a distance of this one.
    pub(super) fn nearest_within(&self, p: &Point, within_mm: f64) -> Self {
        // the nearest one there and here differ by no more than the way there and back
        let most_mm = self.distance_below_mm(p, f64::INFINITY) + 2.0 * within_mm + ROUNDING_MM;
        self.chosen(
            |node| node.at_least_mm(p) <= most_mm,
            |cone| cone.distance_mm(p) <= most_mm,
        )
    }

    /// Those of which one may wish the finest facets at any place within a distance of this one.
    pub(super) fn finest_within(&self, p: &Point, within_mm: f64) -> Self {
        let way_mm = 2.0 * GRADING * within_mm;
        let most_mm = self.size_below_mm(p, f64::INFINITY) + way_mm + ROUNDING_MM;
        self.chosen(
            |node| node.finest_mm + GRADING * node.at_least_mm(p).max(0.0) <= most_mm,
            |cone| cone.wish_mm(cone.distance_mm(p)) <= most_mm,
        )
    }

    fn chosen(&self, of: impl Fn(&Node) -> bool, which: impl Fn(&Cone) -> bool) -> Self {
        let mut found = Vec::new();
        let mut waiting: Vec<usize> = self.nodes.first().map(|_| 0).into_iter().collect();
        while let Some(at) = waiting.pop() {
            let node = &self.nodes[at];
            if !of(node) {
                continue;
            }
            match node.second {
                Some(second) => waiting.extend([second, at + 1]),
                None => {
                    let own = &self.cones[node.cones.0..node.cones.1];
                    found.extend(own.iter().filter(|cone| which(cone)).cloned());
                }
            }
        }
        Self::new(found)
    }

    pub(super) fn nearest(&self, p: &Point) -> Option<&Cone> {
        let distance_mm = |cone: &Cone| cone.distance_mm(p);
        let at = self.least(p, f64::INFINITY, distance_mm, |mm, _| mm).1;
        self.cones.get(at)
    }

    /// Largest edge of facets wished at a place, mm; changes by no more than 0.25 of a way. No more than a bound.
    pub(super) fn size_below_mm(&self, p: &Point, below_mm: f64) -> f64 {
        self.least(
            p,
            below_mm,
            |cone| cone.wish_mm(cone.distance_mm(p)),
            |mm, node| node.finest_mm + GRADING * mm.max(0.0),
        )
        .0
    }
}

/// More than rounding, mm.
const ROUNDING_MM: f64 = 1e-6;
/// Cones in a leaf.
const LEAF: usize = 4;
/// Boxes that wait at once: one for each halving and each parting of wide from narrow; twenty of these take 60 mm
/// to 0.02, and 2^40 cones are more than there are.
const DEEPEST: usize = 64;

/// Radii of cones that may share a box, the largest over the least: a box is as far off as its widest cone lets it
/// be, and thin branches beside a wide one would all be asked.
const ALIKE: f64 = 1.5;

/// Sorts cones into wide and narrow ones, and those alike into halves across the longest side of their box, over
/// and over.
fn grow(all: &mut [Cone], cones: (usize, usize), nodes: &mut Vec<Node>) {
    let own = &mut all[cones.0..cones.1];
    let mut low = Vector::repeat(f64::INFINITY);
    let mut high = -low;
    let (mut widest_mm, mut finest_mm) = (0.0_f64, f64::INFINITY);
    let mut narrowest_mm = f64::INFINITY;
    for cone in own.iter() {
        low = low.inf(&cone.a.coords).inf(&cone.b.coords);
        high = high.sup(&cone.a.coords).sup(&cone.b.coords);
        widest_mm = widest_mm.max(cone.widest_mm());
        narrowest_mm = narrowest_mm.min(cone.widest_mm());
        finest_mm = finest_mm.min(cone.size_mm);
    }
    let at = nodes.len();
    nodes.push(Node {
        low,
        high,
        widest_mm,
        finest_mm,
        cones,
        second: None,
    });
    if own.len() <= LEAF {
        return;
    }
    let half = if widest_mm > ALIKE * narrowest_mm {
        own.sort_by(|a, b| b.widest_mm().total_cmp(&a.widest_mm()));
        own.partition_point(|cone| cone.widest_mm() * ALIKE >= widest_mm)
    } else {
        let axis = (high - low).imax();
        let half = own.len() / 2;
        let middle = |cone: &Cone| cone.a[axis] + cone.b[axis];
        own.select_nth_unstable_by(half, |a, b| middle(a).total_cmp(&middle(b)));
        half
    };
    grow(all, (cones.0, cones.0 + half), nodes);
    let second = nodes.len();
    grow(all, (cones.0 + half, cones.1), nodes);
    nodes[at].second = Some(second);
}

/// What was asked for last, which bounds what is asked for beside it.
#[derive(Debug, Clone)]
pub(super) struct LastAsked(Cell<Option<(Point, f64)>>);

impl LastAsked {
    pub(super) const fn nothing() -> Self {
        Self(Cell::new(None))
    }

    /// A value at a place that changes by no more than `steepest` of a way; `below` of a bound gives no more than
    /// the bound.
    pub(super) fn value(&self, p: &Point, steepest: f64, below: impl Fn(f64) -> f64) -> f64 {
        let bound = self.0.get().map_or(f64::INFINITY, |(at, value)| {
            value + steepest * (p - at).norm() + ROUNDING_MM
        });
        let mut value = below(bound);
        if value >= bound {
            value = below(f64::INFINITY);
        }
        self.0.set(Some((*p, value)));
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math;

    fn cone(radius_a_mm: f64, radius_b_mm: f64, flat: bool) -> Cone {
        Cone {
            a: Point::origin(),
            b: Point::new(0.0, 0.0, 4.0),
            radius_a_mm,
            radius_b_mm,
            flat,
            size_mm: 0.5,
            branch: 0,
            at_mm: 0.0,
            ends: [None; 2],
        }
    }

    /// Places round a cone, none on a lattice.
    fn places() -> Vec<Point> {
        (0..300)
            .map(|i| {
                let t = f64::from(i);
                Point::new(
                    3.1 * math::sin(0.7 * t),
                    2.3 * math::cos(1.3 * t),
                    2.0 + 5.0 * math::sin(0.31 * t),
                )
            })
            .collect()
    }

    #[test]
    fn property_distance_to_the_hull_of_two_balls() {
        for (ra, rb) in [(2.0, 2.0), (1.5, 0.2), (0.3, 1.1), (5.0, 0.5)] {
            let cone = cone(ra, rb, false);
            for p in places() {
                let least = (0..=40_000)
                    .map(|i| {
                        let share = f64::from(i) / 40_000.0;
                        let at = Point::new(0.0, 0.0, 4.0 * share);
                        (p - at).norm() - (ra + (rb - ra) * share)
                    })
                    .fold(f64::INFINITY, f64::min);
                let found = cone.distance_mm(&p);
                assert!((found - least).abs() < 1e-6, "{p}: {found}, {least}");
            }
        }
    }

    #[test]
    fn exact_distance_to_a_cone_between_discs() {
        // a cylinder: inside, beside, above, and off its rim
        let cylinder = cone(1.0, 1.0, true);
        for (x, z, exact) in [
            (0.5, 2.0, -0.5),
            (3.0, 1.0, 2.0),
            (0.2, 5.0, 1.0),
            (4.0, 8.0, 5.0),
            (0.1, 0.3, -0.3),
        ] {
            let found = cylinder.distance_mm(&Point::new(0.0, x, z));
            assert!((found - exact).abs() < 1e-12, "{x}, {z}: {found}");
        }
        // a slope of 45 degrees
        let found = cone(4.0, 0.0, true).distance_mm(&Point::new(4.0, 0.0, 4.0));
        assert!((found - 8.0_f64.sqrt()).abs() < 1e-12, "{found}");
    }

    #[test]
    fn property_nothing_changes_faster_than_distance() {
        let places = places();
        for (ra, rb, flat) in [
            (1.5, 0.2, false),
            (1.5, 0.2, true),
            (0.1, 6.0, false),
            (0.1, 6.0, true),
        ] {
            let cone = cone(ra, rb, flat);
            for pair in places.windows(2) {
                let by_mm = cone.distance_mm(&pair[1]) - cone.distance_mm(&pair[0]);
                let way_mm = (pair[1] - pair[0]).norm();
                assert!(by_mm.abs() <= way_mm + 1e-12, "{pair:?}: {by_mm}");
            }
        }
    }

    #[test]
    fn property_the_tree_of_boxes_finds_what_a_look_at_each_finds() {
        let cones: Vec<Cone> = (0..137)
            .map(|i| {
                let t = f64::from(i);
                let a = Point::new(
                    40.0 * math::sin(0.3 * t),
                    30.0 * math::cos(0.17 * t),
                    20.0 * math::cos(0.5 * t),
                );
                Cone {
                    a,
                    b: a + Vector::new(1.0, math::sin(2.0 * t), 0.4),
                    radius_a_mm: 0.4 + 0.02 * t,
                    radius_b_mm: 0.3,
                    size_mm: 0.2 + 0.5 * math::sin(t * 0.9).abs(),
                    ..cone(1.0, 1.0, i % 3 == 0)
                }
            })
            .collect();
        let tree = Cones::new(cones.clone());
        for p in places() {
            let p = p * 12.0;
            let all = cones.iter().map(|c| c.distance_mm(&p));
            let exact = all.clone().fold(f64::INFINITY, f64::min);
            assert!((tree.distance_mm(&p) - exact).abs() < 1e-12, "{p}");
            for below_mm in [exact - 0.5, exact + 0.5] {
                let found = tree.distance_below_mm(&p, below_mm);
                assert!((found - exact.min(below_mm)).abs() < 1e-12, "{p}");
            }
            let exact = cones
                .iter()
                .zip(all)
                .map(|(c, mm)| c.wish_mm(mm))
                .fold(f64::INFINITY, f64::min);
            assert!(
                (tree.size_below_mm(&p, f64::INFINITY) - exact).abs() < 1e-12,
                "{p}"
            );
        }
    }

    /// A wide trunk with thin branches all along it.
    fn trunk_with_branches() -> Vec<Cone> {
        let trunk = (0..200).map(|i| Cone {
            a: Point::new(0.0, 0.0, 2.0 * f64::from(i)),
            b: Point::new(0.0, 0.0, 2.0 * f64::from(i + 1)),
            ..cone(4.0, 4.0, false)
        });
        let branches = (0..60).flat_map(|k| {
            let (turn, height) = (2.4 * f64::from(k), 6.0 * f64::from(k + 1));
            let out = Vector::new(math::cos(turn), math::sin(turn), 0.6);
            (0..20).map(move |i| Cone {
                a: Point::new(0.0, 0.0, height) + out * f64::from(i),
                b: Point::new(0.0, 0.0, height) + out * f64::from(i + 1),
                ..cone(1.4, 1.4, false)
            })
        });
        trunk.chain(branches).collect()
    }

    /// Places one after the other, as tetrahedra are gone through.
    fn way_along_the_trunk() -> Vec<Point> {
        (0..4000)
            .map(|i| {
                let t = f64::from(i);
                let out_mm = 4.0 + 2.0 * math::sin(0.21 * t);
                Point::new(
                    out_mm * math::cos(0.05 * t),
                    out_mm * math::sin(0.05 * t),
                    0.1 * t,
                )
            })
            .collect()
    }

    #[test]
    fn property_thin_branches_beside_a_wide_trunk_are_not_all_asked() {
        let tree = Cones::new(trunk_with_branches());
        let asked = Cell::new(0_u32);
        let last = LastAsked::nothing();
        let way = way_along_the_trunk();
        for p in &way {
            let found = last.value(p, 1.0, |below_mm| {
                let value = |cone: &Cone| {
                    asked.set(asked.get() + 1);
                    cone.distance_mm(p)
                };
                tree.least(p, below_mm, value, |mm, _| mm).0
            });
            let all = tree.all().iter().map(|cone| cone.distance_mm(p));
            let exact = all.fold(f64::INFINITY, f64::min);
            assert!((found - exact).abs() < 1e-12, "{p}: {found}, {exact}");
        }
        // 7.7 where wide and thin cones share boxes and nothing is known of what was found last
        let each = f64::from(asked.get()) / 4000.0;
        assert!(each < 5.5, "{each} cones for each place");
    }

    #[test]
    fn property_what_matters_in_a_part_of_space_is_enough_there() {
        let tree = Cones::new(trunk_with_branches());
        let (middle, within_mm) = (Point::new(8.0, 8.0, 184.0), 13.9);
        let nearest = tree.nearest_within(&middle, within_mm);
        let finest = tree.finest_within(&middle, within_mm);
        // 222 of 1400: what lies near, and what shares its boxes
        assert!(
            nearest.all().len() < tree.all().len() / 6,
            "{} of {}",
            nearest.all().len(),
            tree.all().len()
        );
        for p in places() {
            let off = p.coords - Vector::new(0.0, 0.0, 2.0);
            let at = middle + off * (within_mm / 8.0);
            if (at - middle).norm() > within_mm {
                continue;
            }
            let by_mm = nearest.distance_mm(&at) - tree.distance_mm(&at);
            assert!(by_mm.abs() < 1e-12, "{at}: {by_mm}");
            let by_mm =
                finest.size_below_mm(&at, f64::INFINITY) - tree.size_below_mm(&at, f64::INFINITY);
            assert!(by_mm.abs() < 1e-12, "{at}: {by_mm}");
        }
    }
}
