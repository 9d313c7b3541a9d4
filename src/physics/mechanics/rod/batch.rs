//! Neighbours along a rod, for code that takes as many of them at once as a vector holds.
//!
//! Everything lies in lists of its own, by frame or by term, so that neighbours are loaded together.
//! What stands alone, at clamps and tips, is worked out by the same formulas one by one.

use super::dof::short;
use super::terms::{Member, VertexTerm};
use super::vertex_energy::gram;
use crate::geometry::{Frame, Vector};
use crate::mechanics::linear_algebra::number::Several;
use crate::mechanics::linear_algebra::width::WIDEST;
use pulp::Simd;

/// Most vertices taken at once; a multiple of what any vector holds.
pub(crate) const LONGEST_ROW: usize = 16;

/// Neighbours in their lists: `count` terms from `term` on, their vertices, the first edge of each and the
/// frame that edge starts from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Row {
    pub(crate) term: u32,
    pub(crate) vertex: u32,
    pub(crate) edge: u32,
    pub(crate) frame: u32,
    pub(crate) count: u32,
}

impl Row {
    pub(crate) fn alone(&self) -> bool {
        self.count == 1
    }

    /// Appends the next term to the last row where it follows it.
    fn push(rows: &mut Vec<Self>, next: Self, follows: bool) {
        match rows.last_mut() {
            Some(row) if follows && (row.count as usize) < LONGEST_ROW && row.before(&next) => {
                row.count += 1;
            }
            _ => rows.push(next),
        }
    }

    fn before(&self, next: &Self) -> bool {
        let n = self.count;
        self.term + n == next.term
            && self.vertex + n == next.vertex
            && self.edge + n == next.edge
            && self.frame + n == next.frame
    }
}

/// Vectors, component by component.
pub(crate) type Vectors = [Vec<f64>; 3];

/// Numbers beyond a list's end that a last vector may read: its own, and two it looks ahead to.
const BEYOND: usize = WIDEST + 2;

const _: () = assert!(
    LONGEST_ROW.is_multiple_of(WIDEST),
    "rows end within a vector"
);

/// Fills a list, and what a last vector reads beyond it.
fn fill(list: &mut Vec<f64>, values: impl ExactSizeIterator<Item = f64>) {
    let count = values.len();
    list.clear();
    list.extend(values);
    list.resize(count + BEYOND, 0.0);
}

/// Sets a list to nought for as many terms, and what a last vector reads beyond them.
pub(crate) fn clear_for_vectors(list: &mut Vec<f64>, terms: usize) {
    list.clear();
    list.resize(terms + BEYOND, 0.0);
}

fn fill_vectors(lists: &mut Vectors, vectors: impl ExactSizeIterator<Item = Vector> + Clone) {
    for (i, list) in lists.iter_mut().enumerate() {
        fill(list, vectors.clone().map(|v| v[i]));
    }
}

#[inline(always)]
pub(crate) fn three<S: Simd>(simd: S, lists: &Vectors, at: usize) -> [Several<S>; 3] {
    [
        Several::load(simd, &lists[0], at),
        Several::load(simd, &lists[1], at),
        Several::load(simd, &lists[2], at),
    ]
}

#[inline(always)]
fn four<S: Simd>(simd: S, lists: &[Vec<f64>; 4], at: usize) -> [Several<S>; 4] {
    [
        Several::load(simd, &lists[0], at),
        Several::load(simd, &lists[1], at),
        Several::load(simd, &lists[2], at),
        Several::load(simd, &lists[3], at),
    ]
}

/// Frames, component by component.
#[derive(Debug, Clone, Default)]
pub(crate) struct FrameBatch {
    /// By frame: from its origin to the next one's, its normals, and what products the normals of the
    /// next and the next but one have with them.
    step: Vectors,
    n1: Vectors,
    n2: Vectors,
    near: [Vec<f64>; 4],
    far: [Vec<f64>; 4],
}

impl FrameBatch {
    /// Takes the frames over.
    pub(crate) fn set_frames(&mut self, frames: &[Frame]) {
        let count = frames.len();
        let after = |i: usize, by: usize| frames.get(i + by).unwrap_or(&frames[i]);
        let steps = (0..count).map(|i| after(i, 1).origin_mm - frames[i].origin_mm);
        fill_vectors(&mut self.step, steps);
        fill_vectors(&mut self.n1, frames.iter().map(|f| f.n1));
        fill_vectors(&mut self.n2, frames.iter().map(|f| f.n2));
        for (by, lists) in [(1, &mut self.near), (2, &mut self.far)] {
            for list in lists.iter_mut() {
                clear_for_vectors(list, count);
            }
            for (i, frame) in frames.iter().enumerate() {
                for (list, product) in lists.iter_mut().zip(gram(after(i, by), frame)) {
                    list[i] = product;
                }
            }
        }
    }

    /// Products of the normals of the nodes (1,0), (2,0), (2,1) of vertices whose first nodes lie on
    /// `frame` and those after it.
    #[inline(always)]
    pub(crate) fn grams<S: Simd>(&self, simd: S, frame: usize) -> [[Several<S>; 4]; 3] {
        [
            four(simd, &self.near, frame),
            four(simd, &self.far, frame),
            four(simd, &self.near, frame + 1),
        ]
    }

    /// From these frames' origins to the next ones'.
    #[inline(always)]
    pub(crate) fn steps<S: Simd>(&self, simd: S, frame: usize) -> [Several<S>; 3] {
        three(simd, &self.step, frame)
    }

    /// Both normals of these frames.
    #[inline(always)]
    pub(crate) fn normals<S: Simd>(&self, simd: S, frame: usize) -> [[Several<S>; 3]; 2] {
        [three(simd, &self.n1, frame), three(simd, &self.n2, frame)]
    }
}

/// Rows of neighbours.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rows {
    pub(crate) vertices: Vec<Row>,
    /// The vertices in the order of their unknowns, so that the matrix passes through the cache once, not
    /// once for every rod.
    pub(crate) along: Vec<Row>,
    pub(crate) members: Vec<Row>,
}

impl Rows {
    /// Finds which terms are neighbours.
    pub(crate) fn set(&mut self, vertices: &[VertexTerm], members: &[Member]) {
        let regular = |c: &VertexTerm| {
            !c.clamp
                && !c.dof[0].is_fixed()
                && !c.dof[2].is_fixed()
                && c.frame[1] == c.frame[0] + 1
                && c.frame[2] == c.frame[0] + 2
                && c.edge[1] == c.edge[0] + 1
        };
        let row_of = |term: usize, vertex: usize| Row {
            term: short(term),
            vertex: short(vertex),
            edge: vertices[vertex].edge[0],
            frame: vertices[vertex].frame[0],
            count: 1,
        };
        self.vertices.clear();
        for (i, vertex) in vertices.iter().enumerate() {
            let follows = regular(vertex) && i > 0 && regular(&vertices[i - 1]);
            Row::push(&mut self.vertices, row_of(i, i), follows);
        }
        self.along.clone_from(&self.vertices);
        self.along
            .sort_by_key(|row| vertices[row.vertex as usize].dof[2]);
        self.members.clear();
        let whole = |m: &Member| m.weight >= 1.0 && regular(&vertices[m.vertex as usize]);
        for (i, member) in members.iter().enumerate() {
            let follows = i > 0
                && whole(member)
                && whole(&members[i - 1])
                && member.rod == members[i - 1].rod;
            let row = row_of(i, member.vertex as usize);
            Row::push(&mut self.members, row, follows);
        }
    }
}
