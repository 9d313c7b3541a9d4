//! A surface of facets: put together from parts, rid of crumbs, asked whether it closes.

use crate::geometry::Point;
use std::collections::HashMap;

/// A surface.
#[derive(Debug, Default)]
pub(super) struct Shell {
    pub(super) corners: Vec<Point>,
    /// Corners of each facet, anticlockwise as seen from outside.
    pub(super) facets: Vec<[u32; 3]>,
}

/// More corners than a facet can name.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct TooMany;

/// A part of a surface; neighbouring parts work out the corners on their common border alike to the last bit.
#[derive(Debug, Default)]
pub(super) struct Part {
    /// Corners, and whether they lie on the part's border.
    pub(super) corners: Vec<(Point, bool)>,
    pub(super) facets: Vec<[u32; 3]>,
}

/// Root of a corner's component in a forest of parents.
fn root(parent: &mut [u32], mut at: u32) -> u32 {
    while parent[at as usize] != at {
        parent[at as usize] = parent[parent[at as usize] as usize];
        at = parent[at as usize];
    }
    at
}

impl Shell {
    pub(super) fn of(parts: &[Part]) -> Result<Self, TooMany> {
        let mut shell = Self::default();
        let mut on_border: HashMap<[u64; 3], u32> = HashMap::new();
        for part in parts {
            let mut place = Vec::with_capacity(part.corners.len());
            for (corner, border) in &part.corners {
                let new = u32::try_from(shell.corners.len()).map_err(|_| TooMany)?;
                let at = if *border {
                    let bits = [0, 1, 2].map(|i| corner[i].to_bits());
                    *on_border.entry(bits).or_insert(new)
                } else {
                    new
                };
                if at == new {
                    shell.corners.push(*corner);
                }
                place.push(at);
            }
            let facets = part.facets.iter();
            shell
                .facets
                .extend(facets.map(|facet| facet.map(|c| place[c as usize])));
        }
        Ok(shell)
    }

    /// Without closed crumbs in the creases between branches, where one corner of the lattice alone lies
    /// outside. The largest piece always stays.
    pub(super) fn without_crumbs(mut self) -> Self {
        /// Facets of the largest crumb: those round a few corners of the lattice.
        const CRUMB: usize = 100;
        let mut parent: Vec<u32> = (0..).take(self.corners.len()).collect();
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
        let crumb = CRUMB.min(size.iter().copied().max().unwrap_or(0).saturating_sub(1));
        self.facets
            .retain(|facet| size[root(&mut parent, facet[0]) as usize] > crumb);
        self.without_loose()
    }

    /// Without corners that no facet has.
    fn without_loose(mut self) -> Self {
        let mut place = vec![None; self.corners.len()];
        let mut corners = Vec::with_capacity(self.corners.len());
        let mut next = 0;
        for corner in self.facets.iter_mut().flatten() {
            let old = *corner as usize;
            *corner = *place[old].get_or_insert_with(|| {
                corners.push(self.corners[old]);
                next += 1;
                next - 1
            });
        }
        self.corners = corners;
        self
    }

    /// As a reader of single precision finds it: corners that are one there are one, facets that vanish are
    /// gone.
    pub(super) fn in_single(mut self) -> Self {
        let mut known: HashMap<[u32; 3], u32> = HashMap::with_capacity(self.corners.len());
        let mut next = 0_u32;
        let same: Vec<u32> = self
            .corners
            .iter()
            .map(|corner| {
                // both zeros are one place
                let bits = [0, 1, 2].map(|i| (super::single(corner[i]) + 0.0).to_bits());
                next += 1;
                *known.entry(bits).or_insert(next - 1)
            })
            .collect();
        for corner in self.facets.iter_mut().flatten() {
            *corner = same[*corner as usize];
        }
        self.facets.retain(|[a, b, c]| a != b && b != c && c != a);
        self.without_loose()
    }

    /// A corner of an edge that does not lie between exactly two facets that agree on which side is outside;
    /// none where the surface closes.
    pub(super) fn opening(&self) -> Option<Point> {
        let mut edges: Vec<(u32, u32)> = self
            .facets
            .iter()
            .flat_map(|[a, b, c]| [(*a, *b), (*b, *c), (*c, *a)])
            .collect();
        let mut back: Vec<(u32, u32)> = edges.iter().map(|(a, b)| (*b, *a)).collect();
        edges.sort_unstable();
        back.sort_unstable();
        let twice = edges.windows(2).find(|e| e[0] == e[1]).map(|e| e[0].0);
        let lonely = edges.iter().zip(&back).find(|(a, b)| a != b);
        let at = twice.or(lonely.map(|(a, b)| a.min(b).0))?;
        self.corners.get(at as usize).copied()
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
