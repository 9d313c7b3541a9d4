//! Space round a solid in a graded mesh of tetrahedra, cube by cube.
//!
//! A tetrahedron is bisected at its longest edge while that is longer than wished at its middle. Neighbours
//! always agree: an edge of a tetrahedron is at least 1.155 times shorter than the one bisected before it, and
//! their middles lie no farther apart than half of that one, so that a wish which changes by less than 0.31 of
//! a way never asks for the shorter one alone. Nor does a tetrahedron that is passed over hide a surface: the
//! solid's functions change little faster than distance. What is left is cut (`cut.rs`), and the whole is closed
//! and two-manifold by construction.
//!
//! # References
//! Bisection: Maubach (1995), *SIAM J. Sci. Comput.* 16(1), 210-227; six tetrahedra in a cube: Kuhn (1960)
//! (both from memory).

use super::cones::{Cones, GRADING, LastAsked};
use super::shell::Part;
use super::solid::{FUNCTIONS, Near, STEEPEST, Solid};
use crate::geometry::{Point, Vector};
use crate::threads;
use std::collections::{BTreeSet, HashMap};
use std::hash::{BuildHasherDefault, Hasher};

/// Edge of the cubes, mm.
const CUBE_MM: f64 = 16.0;
/// Steps of the lattice in a cube: twelve halvings.
const LATTICE: i32 = 1 << 12;

/// A place of the lattice within a cube.
type Corner = [i32; 3];

/// Mixes keys that are numbers already: the standard hash is made against attacks and takes most of the time.
#[derive(Debug, Default)]
pub(super) struct Mix(u64);

impl Hasher for Mix {
    fn finish(&self) -> u64 {
        self.0 ^ (self.0 >> 32)
    }

    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.write_u64(u64::from(*byte));
        }
    }

    fn write_u64(&mut self, key: u64) {
        /// 2^64 over the golden ratio (Knuth's multiplicative hash, from memory).
        const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;
        self.0 = (self.0.rotate_left(29) ^ key).wrapping_mul(GOLDEN);
    }
}

pub(super) type Known<T> = HashMap<u64, T, BuildHasherDefault<Mix>>;

/// A corner of a tetrahedron or of a facet.
#[derive(Debug, Clone, Copy)]
pub(super) struct Vertex {
    pub(super) at: Point,
    /// The solid's functions there.
    pub(super) values: [f64; FUNCTIONS],
    /// Sides of the cube it lies on, a bit each.
    pub(super) sides: u8,
}

/// A cube being worked at.
pub(super) struct Cube<'a> {
    pub(super) solid: &'a Solid<'a>,
    pub(super) near: Near<'a>,
    low: Point,
    known: Known<u32>,
    /// By the middle of an edge: the largest edge wished there.
    sizes: Known<f64>,
    /// Cones of which one may wish the finest facets.
    finest: Cones,
    last_size: LastAsked,
    pub(super) vertices: Vec<Vertex>,
    /// By an edge's vertices: where a function's surface crosses it.
    pub(super) crossings: Known<u32>,
    /// Facets between vertices.
    pub(super) facets: Vec<[u32; 3]>,
}

/// The parts of a solid's surface, in an order that does not depend on the number of threads.
pub(super) fn parts(solid: &Solid) -> Vec<Part> {
    let cubes = cubes(solid);
    threads::in_order(&cubes, threads::all_of_them(), |cell| {
        Cube::new(solid, *cell).part()
    })
}

/// Cubes that anything of a solid reaches into.
fn cubes(solid: &Solid) -> Vec<[i32; 3]> {
    let mut found = BTreeSet::new();
    for cone in solid.cones().all() {
        let beyond_mm = cone.radius_a_mm.max(cone.radius_b_mm) + solid.most_beyond_mm();
        let margin = Vector::repeat(beyond_mm);
        let low = cell(&(cone.a.coords.inf(&cone.b.coords) - margin));
        let high = cell(&(cone.a.coords.sup(&cone.b.coords) + margin));
        for x in low[0]..=high[0] {
            for y in low[1]..=high[1] {
                for z in low[2]..=high[2] {
                    found.insert([x, y, z]);
                }
            }
        }
    }
    found.into_iter().collect()
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "vessels are shorter than thousands of kilometres"
)]
fn cell(at: &Vector) -> [i32; 3] {
    [0, 1, 2].map(|i| (at[i] / CUBE_MM).floor() as i32)
}

/// A number for a place of the lattice in a cube.
fn key(corner: Corner) -> u64 {
    let [x, y, z] = corner.map(|c| u64::from(c.unsigned_abs()));
    x | y << 16 | z << 32
}

impl<'a> Cube<'a> {
    fn new(solid: &'a Solid<'a>, cell: [i32; 3]) -> Self {
        let low = Point::from(cell.map(|c| f64::from(c) * CUBE_MM));
        let middle = low + Vector::repeat(0.5 * CUBE_MM);
        let within_mm = 0.5 * 3.0_f64.sqrt() * CUBE_MM;
        Self {
            solid,
            near: solid.near(&middle, within_mm),
            low,
            known: Known::default(),
            sizes: Known::default(),
            finest: solid.cones().finest_within(&middle, within_mm),
            last_size: LastAsked::nothing(),
            vertices: Vec::new(),
            crossings: Known::default(),
            facets: Vec::new(),
        }
    }

    /// The surface in it.
    fn part(mut self) -> Part {
        for order in [
            [0, 1, 2],
            [0, 2, 1],
            [1, 0, 2],
            [1, 2, 0],
            [2, 0, 1],
            [2, 1, 0],
        ] {
            // six tetrahedra round the same diagonal in every cube
            let mut corner = [0; 3];
            let mut tet = [corner; 4];
            for (i, axis) in order.into_iter().enumerate() {
                corner[axis] += LATTICE;
                tet[i + 1] = corner;
            }
            self.divide(tet, 3);
        }
        self.finish()
    }

    /// Only the vertices that facets have.
    fn finish(self) -> Part {
        let mut place = vec![None; self.vertices.len()];
        let mut part = Part::default();
        let mut next = 0;
        for facet in self.facets {
            part.facets.push(facet.map(|v| {
                *place[v as usize].get_or_insert_with(|| {
                    let vertex = self.vertices[v as usize];
                    part.corners.push((vertex.at, vertex.sides != 0));
                    next += 1;
                    next - 1
                })
            }));
        }
        part
    }

    fn divide(&mut self, tet: [Corner; 4], edge_to: usize) {
        let [a, b, c, d] = tet;
        let vertices = [
            self.vertex(a),
            self.vertex(b),
            self.vertex(c),
            self.vertex(d),
        ];
        let lattice_mm = CUBE_MM / f64::from(LATTICE);
        let edge = [0, 1, 2].map(|i| tet[edge_to][i] - tet[0][i]);
        let edge_mm = Vector::from(edge.map(f64::from)).norm() * lattice_mm;
        if self.is_empty(vertices, edge_mm) {
            return;
        }
        let even = (0..3).all(|i| (tet[0][i] + tet[edge_to][i]) % 2 == 0);
        let new = [0, 1, 2].map(|i| (tet[0][i] + tet[edge_to][i]) / 2);
        if even && edge_mm > self.size_mm(new) {
            let (mut first, mut second) = (tet, tet);
            first[edge_to] = new;
            second[..edge_to].copy_from_slice(&tet[1..=edge_to]);
            second[edge_to] = new;
            let next = if edge_to > 1 { edge_to - 1 } else { 3 };
            self.divide(first, next);
            self.divide(second, next);
        } else {
            self.cut(vertices);
        }
    }

    /// Whether no surface of the solid passes through a tetrahedron of which this is the longest edge.
    ///
    /// With weights `w` of the corners, a place lies off them by a root mean square of `sum w_i w_j d_ij^2` over
    /// pairs, which is below `3/8` of the longest edge squared.
    fn is_empty(&self, tet: [u32; 4], edge_mm: f64) -> bool {
        let reach_mm = STEEPEST * 0.375_f64.sqrt() * edge_mm + 1e-9;
        let most_mm = STEEPEST * edge_mm + 1e-9;
        let values = tet.map(|v| self.vertices[v as usize].values);
        let span = |which: usize| {
            let of = values.map(|v| v[which]);
            let low = of.into_iter().fold(f64::INFINITY, f64::min);
            let high = of.into_iter().fold(f64::NEG_INFINITY, f64::max);
            (
                (low - reach_mm).max(high - most_mm),
                (high + reach_mm).min(low + most_mm),
            )
        };
        let [lumen, outer, uncut] = [span(0), span(1), span(2)];
        let passes = |(low, high): (f64, f64)| low < 0.0 && high >= 0.0;
        let nothing = lumen.1 < 0.0 || outer.0 >= 0.0 || uncut.1 < 0.0;
        nothing || !(passes(lumen) || passes(outer) || passes(uncut))
    }

    fn place(&self, corner: Corner) -> Point {
        // exact: halvings of 16 mm
        self.low + Vector::from(corner.map(|c| f64::from(c) * (CUBE_MM / f64::from(LATTICE))))
    }

    fn vertex(&mut self, corner: Corner) -> u32 {
        let key = key(corner);
        if let Some(vertex) = self.known.get(&key) {
            return *vertex;
        }
        let at = self.place(corner);
        let side =
            |axis: usize| u8::from(corner[axis] == 0) | u8::from(corner[axis] == LATTICE) << 1;
        let vertex = self.add(Vertex {
            at,
            values: self.solid.values(&at, &self.near),
            sides: side(0) | side(1) << 2 | side(2) << 4,
        });
        self.known.insert(key, vertex);
        vertex
    }

    pub(super) fn add(&mut self, vertex: Vertex) -> u32 {
        let next = u32::try_from(self.vertices.len()).unwrap_or(u32::MAX);
        self.vertices.push(vertex);
        next
    }

    fn size_mm(&mut self, middle: Corner) -> f64 {
        let key = key(middle);
        if let Some(size_mm) = self.sizes.get(&key) {
            return *size_mm;
        }
        let at = self.place(middle);
        let size_mm = self.last_size.value(&at, GRADING, |below_mm| {
            self.finest.size_below_mm(&at, below_mm)
        });
        self.sizes.insert(key, size_mm);
        size_mm
    }
}
