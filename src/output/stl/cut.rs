//! A tetrahedron cut by the surfaces of a solid's functions, one after the other.
//!
//! Each function is linear within a tetrahedron. Where one of them changes its sign the surface is one triangle
//! or two; where several do, the tetrahedron is cut into smaller ones by the first, these by the second, and so
//! on, and facets lie between those inside and those outside the solid. All choices on a common face rest on
//! what lies on that face alone, so that neighbours make them alike.
//!
//! # References
//! One surface: Doi & Koide (1991), *IEICE Trans. Inf. Syst.* E74-D, 214-224. Prisms in tetrahedra by the least
//! vertex: Dompierre et al. (1999), *Proc. 8th International Meshing Roundtable*, 195-204 (both from memory).

use super::solid::FUNCTIONS;
use super::tets::{Cube, Vertex};
use std::cmp::Ordering;

/// A crossing stays this share of an edge away from its ends, so that facets never collapse.
const CLEAR: f64 = 0.01;

/// Signs that a function takes in a tetrahedron.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Signs {
    Negative,
    Positive,
    Both,
}

/// A small tetrahedron and whether it lies inside the solid as far as functions have been looked at.
type Piece = ([u32; 4], bool);

/// Whether the solid lies where a function is negative: outside the lumen, inside the outer side, not cut off.
const INSIDE_NEGATIVE: [bool; FUNCTIONS] = [false, true, false];

impl Cube<'_> {
    /// Adds the facets in a tetrahedron.
    pub(super) fn cut(&mut self, tet: [u32; 4]) {
        let mut crossing = [0; FUNCTIONS];
        let mut count = 0;
        for (which, negative) in INSIDE_NEGATIVE.into_iter().enumerate() {
            match self.signs(tet, which) {
                Signs::Both => {
                    crossing[count] = which;
                    count += 1;
                }
                signs if (signs == Signs::Negative) == negative => {}
                // all of it lies outside
                _ => return,
            }
        }
        match crossing[..count] {
            [] => {}
            [only] => self.cut_once(tet, only),
            ref several => self.cut_often(tet, several),
        }
    }

    fn is_negative(&self, vertex: u32, which: usize) -> bool {
        self.vertices[vertex as usize].values[which] < 0.0
    }

    fn signs(&self, tet: [u32; 4], which: usize) -> Signs {
        match tet.iter().filter(|v| self.is_negative(**v, which)).count() {
            0 => Signs::Positive,
            4 => Signs::Negative,
            _ => Signs::Both,
        }
    }

    /// The same order of vertices for all cubes.
    fn order(&self, a: u32, b: u32) -> Ordering {
        let [a, b] = [a, b].map(|v| self.vertices[v as usize].at);
        a.x.total_cmp(&b.x)
            .then(a.y.total_cmp(&b.y))
            .then(a.z.total_cmp(&b.z))
    }

    /// Negative corners, then the others; how many are negative.
    fn sorted(&self, tet: [u32; 4], which: usize) -> ([u32; 4], usize) {
        let mut sorted = tet;
        sorted.sort_by_key(|v| !self.is_negative(*v, which));
        let negative = sorted
            .iter()
            .take_while(|v| self.is_negative(**v, which))
            .count();
        (sorted, negative)
    }

    fn cut_once(&mut self, tet: [u32; 4], which: usize) {
        let ([a, b, c, d], negative) = self.sorted(tet, which);
        let mut cross = |a, b| self.crossing(a, b, which);
        let inside = if INSIDE_NEGATIVE[which] { a } else { d };
        match negative {
            1 => {
                let facet = [cross(a, b), cross(a, c), cross(a, d)];
                self.facet(facet, inside);
            }
            3 => {
                let facet = [cross(d, a), cross(d, b), cross(d, c)];
                self.facet(facet, inside);
            }
            _ => {
                let round = [cross(a, c), cross(a, d), cross(b, d), cross(b, c)];
                for facet in self.halves(round) {
                    self.facet(facet, inside);
                }
            }
        }
    }

    /// Two triangles of a quadrilateral, on the diagonal from its least vertex.
    fn halves(&self, round: [u32; 4]) -> [[u32; 3]; 2] {
        let least = (0..4)
            .min_by(|i, j| self.order(round[*i], round[*j]))
            .unwrap_or(0);
        let [p, q, r, s] = [0, 1, 2, 3].map(|i| round[(least + i) % 4]);
        [[p, q, r], [p, r, s]]
    }

    /// Adds a facet that has a place inside on its back.
    fn facet(&mut self, [i, j, k]: [u32; 3], inside: u32) {
        self.facets.push(if self.turns([i, j, k, inside]) {
            [i, k, j]
        } else {
            [i, j, k]
        });
    }

    /// Whether the fourth vertex lies on the side from which the others go round anticlockwise.
    fn turns(&self, tet: [u32; 4]) -> bool {
        let [i, j, k, l] = tet.map(|v| self.vertices[v as usize].at);
        (j - i).cross(&(k - i)).dot(&(l - i)) > 0.0
    }

    /// Facets between pieces inside and pieces outside.
    fn cut_often(&mut self, tet: [u32; 4], several: &[usize]) {
        let mut pieces: Vec<Piece> = vec![(tet, true)];
        for which in several {
            let mut next = Vec::with_capacity(3 * pieces.len());
            for piece in pieces {
                self.split(piece, *which, &mut next);
            }
            pieces = next;
        }
        let mut faces: Vec<([u32; 3], u32, bool)> = Vec::with_capacity(4 * pieces.len());
        for ([a, b, c, d], inside) in pieces {
            for (face, opposite) in [
                ([b, c, d], a),
                ([a, c, d], b),
                ([a, b, d], c),
                ([a, b, c], d),
            ] {
                let mut face = face;
                face.sort_unstable();
                faces.push((face, opposite, inside));
            }
        }
        faces.sort_unstable();
        for pair in faces.windows(2) {
            let [(one, a, one_inside), (other, b, other_inside)] = [pair[0], pair[1]];
            if one == other && one_inside != other_inside {
                self.facet(one, if one_inside { a } else { b });
            }
        }
    }

    /// Cuts a piece at a function's surface.
    fn split(&mut self, (tet, inside): Piece, which: usize, into: &mut Vec<Piece>) {
        let lies_in = |negative: bool| inside && negative == INSIDE_NEGATIVE[which];
        let ([a, b, c, d], negative) = self.sorted(tet, which);
        let mut cross = |a, b| self.crossing(a, b, which);
        match negative {
            0 => into.push((tet, lies_in(false))),
            4 => into.push((tet, lies_in(true))),
            1 => {
                let top = [cross(a, b), cross(a, c), cross(a, d)];
                into.push(([a, top[0], top[1], top[2]], lies_in(true)));
                self.prism(top, [b, c, d], lies_in(false), into);
            }
            3 => {
                let top = [cross(d, a), cross(d, b), cross(d, c)];
                into.push(([d, top[0], top[1], top[2]], lies_in(false)));
                self.prism(top, [a, b, c], lies_in(true), into);
            }
            _ => {
                let [ac, ad] = [cross(a, c), cross(a, d)];
                let [bc, bd] = [cross(b, c), cross(b, d)];
                self.prism([a, ac, ad], [b, bc, bd], lies_in(true), into);
                self.prism([c, ac, bc], [d, ad, bd], lies_in(false), into);
            }
        }
    }

    /// A prism between two triangles as three tetrahedra: each side is halved from its least vertex.
    fn prism(&self, one: [u32; 3], other: [u32; 3], inside: bool, into: &mut Vec<Piece>) {
        let all = [one, other].concat();
        let least = (0..6)
            .min_by(|i, j| self.order(all[*i], all[*j]))
            .unwrap_or(0);
        let (near, far) = if least < 3 {
            (one, other)
        } else {
            (other, one)
        };
        let turned = |of: [u32; 3]| [0, 1, 2].map(|i| of[(least + i) % 3]);
        let ([p, q, r], [s, t, u]) = (turned(near), turned(far));
        into.push(([p, s, t, u], inside));
        // the side away from the least vertex
        for [i, j, k] in self.halves([q, r, u, t]) {
            into.push(([p, i, j, k], inside));
        }
    }

    /// Where a function's surface crosses an edge between vertices on either side of it.
    fn crossing(&mut self, a: u32, b: u32, which: usize) -> u32 {
        let (a, b) = match self.order(a, b) {
            Ordering::Greater => (b, a),
            _ => (a, b),
        };
        let key = u64::from(a) << 32 | u64::from(b);
        if let Some(vertex) = self.crossings.get(&key) {
            return *vertex;
        }
        let [from, to] = [a, b].map(|v| self.vertices[v as usize]);
        let (va, vb) = (from.values[which], to.values[which]);
        let way = to.at - from.at;
        let mut share = va / (va - vb);
        // where the function itself is on that place of the edge: a secant more
        let there = self
            .solid
            .value(which, &(from.at + way * share), &self.near);
        if (there < 0.0) == (va < 0.0) {
            share += (1.0 - share) * there / (there - vb);
        } else {
            share *= va / (va - there);
        }
        let share = share.clamp(CLEAR, 1.0 - CLEAR);
        let mut values = [0.0; FUNCTIONS];
        for (i, value) in values.iter_mut().enumerate() {
            *value = from.values[i] + (to.values[i] - from.values[i]) * share;
        }
        let vertex = self.add(Vertex {
            at: from.at + way * share,
            values,
            sides: from.sides & to.sides,
        });
        self.crossings.insert(key, vertex);
        vertex
    }
}
