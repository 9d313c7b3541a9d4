//! The surface of a solid through a graded mesh of tetrahedra.
//!
//! A tetrahedron is bisected at one of its edges while that edge is longer than wished there; as the wish
//! depends on the edge only and changes slowly, neighbours always agree. In every small tetrahedron the
//! surface is one triangle or two, and the whole is closed and two-manifold by construction.
//!
//! # References
//! Bisection: Maubach (1995), *SIAM J. Sci. Comput.* 16(1), 210-227. Surface: Doi & Koide (1991), *IEICE
//! Trans. Inf. Syst.* E74-D, 214-224 (both from memory).

use super::solid::Solid;
use crate::geometry::{Point, Vector};
use std::collections::HashMap;

/// Edge of the cubes at first, mm.
const CUBE_MM: f64 = 16.0;
/// Steps of the lattice in a cube: twelve halvings.
const LATTICE: i32 = 1 << 12;
/// A corner of a facet stays this share of an edge away from its ends, so that facets never collapse.
const CLEAR: f64 = 0.04;
/// How much faster than distance the solid's function may change: walls taper.
const STEEPER: f64 = 1.4;

type Corner = [i32; 3];

/// A closed surface.
#[derive(Debug, Default)]
pub(super) struct Shell {
    pub(super) corners: Vec<Point>,
    pub(super) facets: Vec<[u32; 3]>,
}

pub(super) struct Tiling<'a> {
    solid: &'a Solid<'a>,
    origin: Point,
    known: HashMap<Corner, f64>,
    /// By the middle of an edge: the largest edge wished there.
    sizes: HashMap<Corner, f64>,
    on_edge: HashMap<(Corner, Corner), u32>,
    shell: Shell,
}

impl<'a> Tiling<'a> {
    pub(super) fn surface(solid: &'a Solid<'a>) -> Shell {
        let (low, high) = solid.bounds();
        let mut tiling = Self {
            solid,
            origin: low,
            known: HashMap::new(),
            sizes: HashMap::new(),
            on_edge: HashMap::new(),
            shell: Shell::default(),
        };
        #[expect(
            clippy::cast_possible_truncation,
            reason = "vessels are shorter than a kilometre"
        )]
        let cells = (high - low).map(|x| (x / CUBE_MM).ceil() as i32 + 1);
        for x in 0..cells.x {
            for y in 0..cells.y {
                for z in 0..cells.z {
                    tiling.cube([x, y, z]);
                }
            }
        }
        tiling.shell.without_crumbs()
    }

    /// Six tetrahedra round the same diagonal in every cube (Kuhn 1960).
    fn cube(&mut self, cell: Corner) {
        let middle = self.origin + Vector::from(cell.map(|c| (f64::from(c) + 0.5) * CUBE_MM));
        if self.solid.distance_mm(&middle).abs() > STEEPER * 0.9 * CUBE_MM {
            return;
        }
        for order in [
            [0, 1, 2],
            [0, 2, 1],
            [1, 0, 2],
            [1, 2, 0],
            [2, 0, 1],
            [2, 1, 0],
        ] {
            let mut corner = cell.map(|c| c * LATTICE);
            let mut tet = [corner; 4];
            for (i, axis) in order.into_iter().enumerate() {
                corner[axis] += LATTICE;
                tet[i + 1] = corner;
            }
            self.divide(tet, 3);
        }
    }

    fn place(&self, corner: Corner) -> Point {
        self.origin + Vector::from(corner.map(|c| f64::from(c) * (CUBE_MM / f64::from(LATTICE))))
    }

    fn divide(&mut self, tet: [Corner; 4], edge_to: usize) {
        let places = tet.map(|c| self.place(c));
        let middle = Point::from(places.iter().map(|p| p.coords).sum::<Vector>() / 4.0);
        let reach = places
            .iter()
            .map(|p| (p - middle).norm())
            .fold(0.0, f64::max);
        if self.solid.distance_mm(&middle).abs() > STEEPER * reach {
            return;
        }
        let (a, b) = (places[0], places[edge_to]);
        let even = (0..3).all(|i| (tet[0][i] + tet[edge_to][i]) % 2 == 0);
        let new = [0, 1, 2].map(|i| (tet[0][i] + tet[edge_to][i]) / 2);
        if even && (b - a).norm() > self.size_mm(new) {
            let (mut first, mut second) = (tet, tet);
            first[edge_to] = new;
            second[..edge_to].copy_from_slice(&tet[1..=edge_to]);
            second[edge_to] = new;
            let next = if edge_to > 1 { edge_to - 1 } else { 3 };
            self.divide(first, next);
            self.divide(second, next);
        } else {
            self.cut(tet);
        }
    }

    fn size_mm(&mut self, middle: Corner) -> f64 {
        if let Some(size_mm) = self.sizes.get(&middle) {
            return *size_mm;
        }
        let size_mm = self.solid.size_mm(&self.place(middle));
        self.sizes.insert(middle, size_mm);
        size_mm
    }

    fn value(&mut self, corner: Corner) -> f64 {
        if let Some(value) = self.known.get(&corner) {
            return *value;
        }
        let value = self.solid.distance_mm(&self.place(corner));
        // no corner lies on the surface
        let value = if value.abs() < 1e-9 { 1e-9 } else { value };
        self.known.insert(corner, value);
        value
    }

    fn crossing(&mut self, a: Corner, b: Corner) -> u32 {
        let key = if a < b { (a, b) } else { (b, a) };
        if let Some(index) = self.on_edge.get(&key) {
            return *index;
        }
        let (va, vb) = (self.value(key.0), self.value(key.1));
        let share = (va / (va - vb)).clamp(CLEAR, 1.0 - CLEAR);
        let (pa, pb) = (self.place(key.0), self.place(key.1));
        let index = u32::try_from(self.shell.corners.len()).unwrap_or(u32::MAX);
        self.shell.corners.push(pa + (pb - pa) * share);
        self.on_edge.insert(key, index);
        index
    }

    fn cut(&mut self, tet: [Corner; 4]) {
        let (mut inside, mut outside) = (Vec::with_capacity(4), Vec::with_capacity(4));
        for corner in tet {
            if self.value(corner) < 0.0 {
                inside.push(corner);
            } else {
                outside.push(corner);
            }
        }
        let facets: Vec<[(Corner, Corner); 3]> = match (inside.as_slice(), outside.as_slice()) {
            ([a], [b, c, d]) => vec![[(*a, *b), (*a, *c), (*a, *d)]],
            ([b, c, d], [a]) => vec![[(*a, *b), (*a, *c), (*a, *d)]],
            ([a, b], [c, d]) => vec![
                [(*a, *c), (*a, *d), (*b, *d)],
                [(*a, *c), (*b, *d), (*b, *c)],
            ],
            _ => return,
        };
        let middle = |corners: &[Corner]| {
            let sum: Vector = corners.iter().map(|c| self.place(*c).coords).sum();
            #[expect(clippy::cast_precision_loss, reason = "at most three")]
            let count = corners.len() as f64;
            sum / count
        };
        let outwards = middle(&outside) - middle(&inside);
        for facet in facets {
            let [i, j, k] = facet.map(|(a, b)| self.crossing(a, b));
            let at = |n: u32| self.shell.corners[n as usize];
            let faces_out = (at(j) - at(i)).cross(&(at(k) - at(i))).dot(&outwards) > 0.0;
            self.shell
                .facets
                .push(if faces_out { [i, j, k] } else { [i, k, j] });
        }
    }
}

impl Shell {
    /// Without closed crumbs in the creases between branches, where one corner of the lattice alone lies
    /// outside.
    fn without_crumbs(mut self) -> Self {
        /// Facets of the largest crumb: those round a few corners of the lattice.
        const CRUMB: usize = 100;
        let mut parent: Vec<u32> = (0..).take(self.corners.len()).collect();
        fn root(parent: &mut [u32], mut at: u32) -> u32 {
            while parent[at as usize] != at {
                parent[at as usize] = parent[parent[at as usize] as usize];
                at = parent[at as usize];
            }
            at
        }
        for [a, b, c] in &self.facets {
            for other in [b, c] {
                let (x, y) = (root(&mut parent, *a), root(&mut parent, *other));
                parent[y as usize] = x;
            }
        }
        let mut size = vec![0_usize; self.corners.len()];
        for facet in &self.facets {
            size[root(&mut parent, facet[0]) as usize] += 1;
        }
        self.facets
            .retain(|facet| size[root(&mut parent, facet[0]) as usize] > CRUMB);
        let mut place = vec![None; self.corners.len()];
        let mut corners = Vec::with_capacity(self.corners.len());
        for corner in self.facets.iter_mut().flatten() {
            let old = *corner as usize;
            *corner = *place[old].get_or_insert_with(|| {
                corners.push(self.corners[old]);
                u32::try_from(corners.len() - 1).unwrap_or(u32::MAX)
            });
        }
        self.corners = corners;
        self
    }

    /// Whether every edge lies between exactly two facets that agree on which side is outside.
    pub(super) fn is_closed(&self) -> bool {
        let mut edges: Vec<(u32, u32)> = self
            .facets
            .iter()
            .flat_map(|[a, b, c]| [(*a, *b), (*b, *c), (*c, *a)])
            .collect();
        let mut back: Vec<(u32, u32)> = edges.iter().map(|(a, b)| (*b, *a)).collect();
        edges.sort_unstable();
        back.sort_unstable();
        edges.windows(2).all(|e| e[0] != e[1]) && edges == back
    }

    /// Volume inside, mm3, by the divergence theorem.
    pub(super) fn volume_mm3(&self) -> f64 {
        let Some(origin) = self.corners.first() else {
            return 0.0;
        };
        let tets = self.facets.iter().map(|facet| {
            let [a, b, c] = facet.map(|n| self.corners[n as usize] - origin);
            a.dot(&b.cross(&c)) / 6.0
        });
        tets.sum()
    }
}
