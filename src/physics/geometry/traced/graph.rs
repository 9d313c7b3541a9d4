//! Lines joined into one graph, and the tree of branches taken from it.

use super::super::Point;
use super::grid::{Foot, Grid};
use super::smooth::along;
use super::{Spot, Told, TraceFault, TraceSettings, TracedLine};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

/// A point this near to a line, in radii, runs along it.
const ALONG_RADII: f64 = 0.25;
/// And never farther than this, mm: wide vessels lie side by side as well.
const MOST_ALONG_MM: f64 = 1.0;
/// Ends nearer than this are joined whatever the lumen, mm: below what a centre line is known to.
const LEAST_JOIN_MM: f64 = 0.5;
/// A stretch of a line between two places where something joins it.
#[derive(Debug, Clone)]
struct Edge {
    ends: [usize; 2],
    points: Vec<(Point, f64, usize)>,
    length_mm: f64,
}

/// Lines joined at vertices.
#[derive(Debug)]
pub(super) struct Graph {
    edges: Vec<Edge>,
    /// Edges at each vertex.
    at: Vec<Vec<usize>>,
}

/// The points of a branch before smoothing.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Chain {
    /// Index of the chain it leaves.
    pub(super) parent: Option<usize>,
    pub(super) points_mm: Vec<Point>,
    pub(super) radii_mm: Vec<f64>,
    pub(super) rows: Vec<usize>,
}

/// A line taken into the tree, with places where others join it.
struct Taken {
    line: TracedLine,
    at: Vec<f64>,
    /// Vertices by arc length, mm.
    vertices: Vec<(f64, usize)>,
}

/// What is taken, the vertices in one set each where they are the same place.
struct Joining {
    taken: Vec<Taken>,
    same: Vec<usize>,
}

impl Joining {
    fn root_of(&self, vertex: usize) -> usize {
        let mut at = vertex;
        while self.same[at] != at {
            at = self.same[at];
        }
        at
    }

    fn unite(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root_of(a), self.root_of(b));
        self.same[a.max(b)] = a.min(b);
    }

    fn vertex(&mut self, line: usize, at_mm: f64) -> usize {
        let known = self.taken[line]
            .vertices
            .iter()
            .find(|(s, _)| (s - at_mm).abs() < 1e-6);
        if let Some((_, vertex)) = known {
            return *vertex;
        }
        let vertex = self.same.len();
        self.same.push(vertex);
        self.taken[line].vertices.push((at_mm, vertex));
        vertex
    }

    fn place(&self, foot: &Foot) -> f64 {
        let at = &self.taken[foot.line].at;
        at[foot.point] + foot.share * (at[foot.point + 1] - at[foot.point])
    }

    fn radius(&self, foot: &Foot) -> f64 {
        let radii = &self.taken[foot.line].line.radii_mm;
        radii[foot.point] + foot.share * (radii[foot.point + 1] - radii[foot.point])
    }

    fn take(&mut self, line: TracedLine, ends: [Option<(usize, f64)>; 2], grid: &mut Grid) {
        let index = self.taken.len();
        grid.add(index, &line.points_mm);
        let at = along(&line.points_mm);
        let length_mm = at.last().copied().unwrap_or(0.0);
        self.taken.push(Taken {
            line,
            at,
            vertices: Vec::new(),
        });
        for (end, place_mm) in ends.into_iter().zip([0.0, length_mm]) {
            let own = self.vertex(index, place_mm);
            if let Some((other, at_mm)) = end {
                let there = self.vertex(other, at_mm);
                self.unite(own, there);
            }
        }
    }
}

impl Graph {
    /// Joins lines: the longest first, of the others what does not run along those taken already.
    pub(super) fn of(
        lines: &[TracedLine],
        settings: &TraceSettings,
        told: &mut Vec<Told>,
    ) -> Result<Self, TraceFault> {
        let mut order: Vec<(usize, f64)> = lines
            .iter()
            .enumerate()
            .map(|(i, line)| (i, along(&line.points_mm).last().copied().unwrap_or(0.0)))
            .collect();
        order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let mut joining = Joining {
            taken: Vec::new(),
            same: Vec::new(),
        };
        let mut grid = Grid::default();
        for (i, _) in order {
            take_new(&lines[i], &mut joining, &mut grid, told);
        }
        join_ends(&mut joining, &grid, settings, told);
        Ok(Self::from_joined(&joining))
    }

    fn from_joined(joining: &Joining) -> Self {
        let mut edges = Vec::new();
        let mut number: BTreeMap<usize, usize> = BTreeMap::new();
        for taken in &joining.taken {
            let mut vertices = taken.vertices.clone();
            vertices.sort_by(|a, b| a.0.total_cmp(&b.0));
            for pair in vertices.windows(2) {
                let ends = [pair[0].1, pair[1].1].map(|vertex| {
                    let next = number.len();
                    *number.entry(joining.root_of(vertex)).or_insert(next)
                });
                if pair[1].0 - pair[0].0 > 1e-6 {
                    edges.push(Edge {
                        ends,
                        points: stretch(taken, pair[0].0, pair[1].0),
                        length_mm: pair[1].0 - pair[0].0,
                    });
                }
            }
        }
        let mut at = vec![Vec::new(); number.len()];
        for (i, edge) in edges.iter().enumerate() {
            at[edge.ends[0]].push(i);
            if edge.ends[1] != edge.ends[0] {
                at[edge.ends[1]].push(i);
            }
        }
        Self { edges, at }
    }

    /// Number of the part that each vertex belongs to.
    fn parts(&self) -> Vec<usize> {
        let mut part = vec![usize::MAX; self.at.len()];
        let mut count = 0;
        for start in 0..self.at.len() {
            if part[start] != usize::MAX {
                continue;
            }
            let mut open = vec![start];
            part[start] = count;
            while let Some(vertex) = open.pop() {
                for &edge in &self.at[vertex] {
                    for &next in &self.edges[edge].ends {
                        if part[next] == usize::MAX {
                            part[next] = count;
                            open.push(next);
                        }
                    }
                }
            }
            count += 1;
        }
        part
    }

    /// The point of an edge at a vertex.
    fn end(&self, edge: usize, vertex: usize) -> Option<&(Point, f64, usize)> {
        let edge = &self.edges[edge];
        if edge.ends[0] == vertex {
            edge.points.first()
        } else {
            edge.points.last()
        }
    }

    fn row(&self, vertex: usize) -> usize {
        let edge = self.at[vertex].first();
        edge.and_then(|&e| self.end(e, vertex)).map_or(0, |p| p.2)
    }

    /// Radius at the end of an edge: the middle one of the first few, so that one wrong value decides nothing.
    fn width(&self, vertex: usize) -> f64 {
        let Some(&edge) = self.at[vertex].first() else {
            return 0.0;
        };
        let points = &self.edges[edge].points;
        let few = points.len().min(5);
        let from = if self.edges[edge].ends[0] == vertex {
            0
        } else {
            points.len() - few
        };
        let mut radii: Vec<f64> = points[from..from + few].iter().map(|p| p.1).collect();
        radii.sort_by(f64::total_cmp);
        radii[few / 2]
    }

    /// The vertex nearest to a spot, among those wanted.
    fn vertex_at(&self, spot: Spot, wanted: impl Fn(usize) -> bool) -> Option<usize> {
        let mut best: Option<(usize, f64)> = None;
        for vertex in (0..self.at.len()).filter(|v| wanted(*v)) {
            for &edge in &self.at[vertex] {
                let Some(point) = self.end(edge, vertex) else {
                    continue;
                };
                let off = distance(spot, point);
                if best.is_none_or(|b| off < b.1) {
                    best = Some((vertex, off));
                }
            }
        }
        best.map(|b| b.0)
    }

    fn is_end(&self, vertex: usize) -> bool {
        self.at[vertex].len() == 1
    }

    fn part_length(&self, part: &[usize], of: usize) -> f64 {
        let own = self.edges.iter().filter(|e| part[e.ends[0]] == of);
        own.map(|e| e.length_mm).sum()
    }

    fn root(
        &self,
        settings: &TraceSettings,
        told: &mut Vec<Told>,
    ) -> Result<(usize, Vec<usize>), TraceFault> {
        let part = self.parts();
        let parts = part.iter().max().map_or(0, |p| p + 1);
        if let Some(spot) = settings.root {
            let root = self.vertex_at(spot, |v| self.is_end(v));
            let root = root.ok_or_else(|| no_end(self.row(0)))?;
            for other in (0..parts).filter(|p| *p != part[root]) {
                let vertex = part.iter().position(|p| *p == other).unwrap_or(0);
                told.push(Told::LeftOut {
                    row: self.row(vertex),
                    length_mm: self.part_length(&part, other),
                });
            }
            return Ok((root, part));
        }
        if parts > 1 {
            return Err(self.disconnected(&part, parts));
        }
        let ends = (0..self.at.len()).filter(|v| self.is_end(*v));
        let widest = ends.max_by(|a, b| self.width(*a).total_cmp(&self.width(*b)).then(b.cmp(a)));
        Ok((widest.ok_or_else(|| no_end(self.row(0)))?, part))
    }

    fn disconnected(&self, part: &[usize], parts: usize) -> TraceFault {
        /// So many parts are described; more fill the screen.
        const SHOWN: usize = 4;
        let mut all: Vec<(f64, usize)> = (0..parts)
            .map(|p| {
                let ends = (0..self.at.len()).filter(|v| part[*v] == p && self.is_end(*v));
                let widest =
                    ends.max_by(|a, b| self.width(*a).total_cmp(&self.width(*b)).then(b.cmp(a)));
                let any = part.iter().position(|q| *q == p).unwrap_or(0);
                (self.part_length(part, p), self.row(widest.unwrap_or(any)))
            })
            .collect();
        all.sort_by(|a, b| b.0.total_cmp(&a.0));
        let described: Vec<String> = all
            .iter()
            .take(SHOWN)
            .map(|(length_mm, row)| format!("{length_mm:.0} mm with its widest end in row {row}"))
            .collect();
        let more = if parts > SHOWN {
            format!(", and {} more", parts - SHOWN)
        } else {
            String::new()
        };
        let root = all[0].1;
        TraceFault::at(
            all.get(1).map(|p| p.1),
            format!(
                "the lines fall into {parts} parts that do not touch: {}{more}",
                described.join("; ")
            ),
            format!(
                "take one of them by the row of its root (--root row:{root}; the others are left out), or join what should touch (--join 3mm)"
            ),
        )
    }

    /// Chains of the tree: the first from the root to the target, then side branches, longest first.
    pub(super) fn chains(
        &self,
        settings: &TraceSettings,
        told: &mut Vec<Told>,
    ) -> Result<Vec<Chain>, TraceFault> {
        let (root, part) = self.root(settings, told)?;
        let tree = self.shortest_paths(root);
        for (i, edge) in self.edges.iter().enumerate() {
            let ours = part[edge.ends[0]] == part[root];
            let used = edge.ends.iter().any(|v| tree.by[*v] == Some(i));
            if ours && !used && edge.length_mm > 1e-6 {
                let row = edge.points.get(edge.points.len() / 2).map_or(0, |p| p.2);
                told.push(Told::RingOpened {
                    row,
                    length_mm: edge.length_mm,
                });
            }
        }
        let beyond = self.beyond(&tree);
        // vertices that the first chain has to pass
        let mut wanted = vec![false; self.at.len()];
        let mut at = settings
            .target
            .and_then(|spot| self.behind(spot, &tree))
            .unwrap_or(root);
        while let Some(edge) = tree.by[at] {
            wanted[at] = true;
            at = self.other(edge, at);
        }
        let mut chains: Vec<Chain> = Vec::new();
        let mut open = vec![(root, None::<usize>, None::<usize>)];
        while let Some((vertex, first, parent)) = open.pop() {
            let way = Way {
                tree: &tree,
                beyond: &beyond,
                wanted: &wanted,
            };
            let (chain, sides) = self.follow((vertex, first, parent), &way, chains.len());
            chains.push(chain);
            open.extend(sides.into_iter().rev());
        }
        Ok(chains)
    }

    /// The vertex behind a spot, seen from the root.
    fn behind(&self, spot: Spot, tree: &Paths) -> Option<usize> {
        let mut best: Option<(usize, f64)> = None;
        for (i, edge) in self.edges.iter().enumerate() {
            let Some(&far) = edge.ends.iter().find(|v| tree.by[**v] == Some(i)) else {
                continue;
            };
            for point in &edge.points {
                let off = distance(spot, point);
                if best.is_none_or(|b| off < b.1) {
                    best = Some((far, off));
                }
            }
        }
        best.map(|b| b.0)
    }

    fn other(&self, edge: usize, vertex: usize) -> usize {
        let [a, b] = self.edges[edge].ends;
        if a == vertex { b } else { a }
    }

    /// One chain from a vertex on, and the side branches met on the way.
    fn follow(&self, start: Start, way: &Way<'_>, own: usize) -> (Chain, Vec<Start>) {
        let (mut vertex, mut next, parent) = start;
        let mut chain = Chain {
            parent,
            ..Chain::default()
        };
        let mut sides = Vec::new();
        loop {
            let mut out: Vec<usize> = match next.take() {
                Some(edge) => vec![edge],
                None => self.on_from(vertex, way),
            };
            if out.is_empty() {
                return (chain, sides);
            }
            let edge = out.remove(0);
            sides.extend(out.into_iter().map(|e| (vertex, Some(e), Some(own))));
            self.append(edge, vertex, &mut chain);
            vertex = self.other(edge, vertex);
        }
    }

    /// Edges that lead on from a vertex, the one to follow first.
    fn on_from(&self, vertex: usize, way: &Way<'_>) -> Vec<usize> {
        let leads_on = |e: &usize| {
            way.tree.by[self.other(*e, vertex)] == Some(*e) && way.tree.by[vertex] != Some(*e)
        };
        let mut out: Vec<usize> = self.at[vertex].iter().copied().filter(leads_on).collect();
        let reach = |e: &usize| self.edges[*e].length_mm + way.beyond[self.other(*e, vertex)];
        out.sort_by(|a, b| reach(b).total_cmp(&reach(a)).then(a.cmp(b)));
        if let Some(k) = out.iter().position(|e| way.wanted[self.other(*e, vertex)]) {
            let towards = out.remove(k);
            out.insert(0, towards);
        }
        out
    }

    fn append(&self, edge: usize, from: usize, chain: &mut Chain) {
        let edge = &self.edges[edge];
        let mut points = edge.points.clone();
        if edge.ends[0] != from {
            points.reverse();
        }
        for (point, radius_mm, row) in points {
            let near = |last: &Point| (point - last).norm() < 1e-4;
            if chain.points_mm.last().is_some_and(near) {
                continue;
            }
            chain.points_mm.push(point);
            chain.radii_mm.push(radius_mm);
            chain.rows.push(row);
        }
    }

    fn shortest_paths(&self, root: usize) -> Paths {
        let mut by = vec![None; self.at.len()];
        let mut far = vec![f64::INFINITY; self.at.len()];
        let mut order = Vec::new();
        let mut done = vec![false; self.at.len()];
        far[root] = 0.0;
        // lengths are not negative, so their bits are ordered as they are
        let mut open = BinaryHeap::from([Reverse((0_u64, root))]);
        while let Some(Reverse((_, vertex))) = open.pop() {
            if std::mem::replace(&mut done[vertex], true) {
                continue;
            }
            order.push(vertex);
            for &edge in &self.at[vertex] {
                let next = self.other(edge, vertex);
                let length = far[vertex] + self.edges[edge].length_mm;
                if length < far[next] {
                    far[next] = length;
                    by[next] = Some(edge);
                    open.push(Reverse((length.to_bits(), next)));
                }
            }
        }
        Paths { by, order }
    }

    /// Length of the longest way on from each vertex, mm.
    fn beyond(&self, tree: &Paths) -> Vec<f64> {
        let mut beyond = vec![0.0_f64; self.at.len()];
        for &vertex in tree.order.iter().rev() {
            if let Some(edge) = tree.by[vertex] {
                let before = self.other(edge, vertex);
                beyond[before] = beyond[before].max(beyond[vertex] + self.edges[edge].length_mm);
            }
        }
        beyond
    }
}

/// Vertex a chain starts from, its first edge where that is set, and the chain it leaves.
type Start = (usize, Option<usize>, Option<usize>);

/// By what a chain finds its way.
struct Way<'a> {
    tree: &'a Paths,
    beyond: &'a [f64],
    wanted: &'a [bool],
}

/// How far a point is from a spot: mm, or rows.
fn distance(spot: Spot, point: &(Point, f64, usize)) -> f64 {
    match spot {
        Spot::Point(there) => (point.0 - there).norm(),
        Spot::Row(there) => f64::from(u32::try_from(point.2.abs_diff(there)).unwrap_or(u32::MAX)),
    }
}

/// The tree of shortest ways from the root.
struct Paths {
    /// Edge by which each vertex is reached.
    by: Vec<Option<usize>>,
    /// Vertices, nearest first.
    order: Vec<usize>,
}

fn no_end(row: usize) -> TraceFault {
    TraceFault::at(
        Some(row),
        "the lines close a ring without an end",
        "a vessel is a tree: cut the ring open",
    )
}

/// Points of a line from one place to another, those at the ends among them.
fn stretch(taken: &Taken, from_mm: f64, to_mm: f64) -> Vec<(Point, f64, usize)> {
    let first = taken.at.partition_point(|s| *s <= from_mm + 1e-6);
    let last = taken.at.partition_point(|s| *s < to_mm - 1e-6).max(first);
    let line = &taken.line;
    let mut all = vec![interpolated(taken, from_mm)];
    all.extend((first..last).map(|i| (line.points_mm[i], line.radii_mm[i], line.rows[i])));
    all.push(interpolated(taken, to_mm));
    all
}

fn interpolated(taken: &Taken, at_mm: f64) -> (Point, f64, usize) {
    let line = &taken.line;
    let i = taken
        .at
        .partition_point(|s| *s <= at_mm)
        .clamp(1, taken.at.len() - 1)
        - 1;
    let span_mm = taken.at[i + 1] - taken.at[i];
    let share = ((at_mm - taken.at[i]) / span_mm).clamp(0.0, 1.0);
    (
        line.points_mm[i] + (line.points_mm[i + 1] - line.points_mm[i]) * share,
        line.radii_mm[i] + (line.radii_mm[i + 1] - line.radii_mm[i]) * share,
        line.rows[if share < 0.5 { i } else { i + 1 }],
    )
}

/// Takes those stretches of a line that do not run along what is taken already.
fn take_new(line: &TracedLine, joining: &mut Joining, grid: &mut Grid, told: &mut Vec<Told>) {
    let feet: Vec<Option<Foot>> = {
        let known: Vec<&[Point]> = joining
            .taken
            .iter()
            .map(|t| t.line.points_mm.as_slice())
            .collect();
        let near = line
            .points_mm
            .iter()
            .zip(&line.radii_mm)
            .map(|(point, radius_mm)| {
                let within_mm = (ALONG_RADII * radius_mm).min(MOST_ALONG_MM);
                grid.nearest(&known, point, within_mm, |_, _| true)
            });
        near.collect()
    };
    let at = along(&line.points_mm);
    let count = feet.len();
    let mut i = 0;
    while i < count {
        let alike = (i..count)
            .take_while(|k| feet[*k].is_some() == feet[i].is_some())
            .count();
        let end = i + alike;
        if feet[i].is_some() {
            let length_mm = at[end - 1] - at[i];
            if length_mm > line.radii_mm[i] {
                told.push(Told::RunsAlong {
                    row: line.rows[i],
                    length_mm,
                });
            }
            i = end;
            continue;
        }
        // with the points on either side that lie on what is taken
        let from = i.saturating_sub(1);
        let to = (end + 1).min(count);
        let attached = |k: usize| feet[k].map(|foot| (foot.line, joining.place(&foot)));
        let ends = [attached(from), attached(to - 1)];
        let bulge_mm = at[to - 1] - at[from];
        let returns = ends[0].zip(ends[1]).is_some_and(|(a, b)| a.0 == b.0)
            && bulge_mm < 4.0 * line.radii_mm[i];
        if returns {
            told.push(Told::RunsAlong {
                row: line.rows[i],
                length_mm: bulge_mm,
            });
        } else if to - from >= 2 {
            let part = TracedLine {
                points_mm: line.points_mm[from..to].to_vec(),
                radii_mm: line.radii_mm[from..to].to_vec(),
                rows: line.rows[from..to].to_vec(),
            };
            joining.take(part, ends, grid);
        }
        i = end;
    }
}

/// Joins free ends to the lines in whose lumen they lie.
fn join_ends(joining: &mut Joining, grid: &Grid, settings: &TraceSettings, told: &mut Vec<Told>) {
    let radii = joining.taken.iter().flat_map(|t| &t.line.radii_mm);
    let widest_mm = radii.copied().fold(LEAST_JOIN_MM, f64::max);
    for own in 0..joining.taken.len() {
        for at_end in [false, true] {
            let taken = &joining.taken[own];
            let i = if at_end {
                taken.line.points_mm.len() - 1
            } else {
                0
            };
            let place_mm = taken.at[i];
            let (point, row) = (taken.line.points_mm[i], taken.line.rows[i]);
            let vertex = joining.vertex(own, place_mm);
            let shared = |j: &Joining| {
                let root = j.root_of(vertex);
                let others = j.taken.iter().enumerate().filter(|(k, _)| *k != own);
                others
                    .flat_map(|(_, t)| &t.vertices)
                    .any(|(_, v)| j.root_of(*v) == root)
            };
            if shared(joining) {
                continue;
            }
            let within_mm = settings.join_mm.unwrap_or(widest_mm);
            let known: Vec<&[Point]> = joining
                .taken
                .iter()
                .map(|t| t.line.points_mm.as_slice())
                .collect();
            let found = grid.nearest(&known, &point, within_mm, |line, segment| {
                line != own && {
                    let radii = &joining.taken[line].line.radii_mm;
                    let lumen_mm = radii[segment].max(radii[segment + 1]).max(LEAST_JOIN_MM);
                    let off_mm =
                        super::grid::foot(&known[line][segment], &known[line][segment + 1], &point)
                            .1;
                    settings.join_mm.is_some() || off_mm <= lumen_mm
                }
            });
            let Some(foot) = found else { continue };
            debug_assert!(joining.radius(&foot) > 0.0, "lumens were checked");
            let there = joining.vertex(foot.line, joining.place(&foot));
            joining.unite(vertex, there);
            told.push(Told::Joined {
                row,
                gap_mm: foot.distance_mm,
            });
        }
    }
}
