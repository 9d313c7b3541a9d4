//! A rod's own properties at its nodes: distance from the tip, and stiffness, diameters and natural
//! curvature there. All of them are written here and nowhere else.

use super::edge_batch::EdgeBatch;
use super::nodes::RodNodes;
use super::profile::{Mean, Profile, Walk};
use super::scene::{NaturalBend, Rod};
use crate::mechanics::linear_algebra::norms::larger;
use std::ops::Range;

/// By node, all rods one after the other.
#[derive(Debug, Clone, Default)]
pub(crate) struct Sections {
    /// Distance from the tip along the rod, mm.
    pub(crate) from_tip: Vec<f64>,
    /// Bending stiffness, mean over the node's cell, N mm2.
    pub(crate) stiffness: Vec<f64>,
    /// Outer diameter, mm.
    pub(crate) outer: Vec<f64>,
    /// Lumen, mm; nought where there is none.
    pub(crate) inner: Vec<f64>,
    /// Natural curvature, 1/mm.
    pub(crate) natural: Vec<f64>,
    scratch: Vec<f64>,
}

impl Sections {
    /// Makes the lists for so many nodes.
    pub(crate) fn fit(&mut self, nodes: usize) {
        for list in [
            &mut self.from_tip,
            &mut self.stiffness,
            &mut self.outer,
            &mut self.inner,
            &mut self.natural,
        ] {
            list.clear();
            list.resize(nodes, 0.0);
        }
    }

    /// Distances from the tip of one rod by its shape; `skipping` is the edge that leaves its last regular
    /// node out. Cells from the tip back; each node's arc is longer than its chords.
    pub(crate) fn measure_distances(
        &mut self,
        nodes: &RodNodes,
        edges: &EdgeBatch,
        skipping: usize,
    ) {
        let (first, range, blend) = (nodes.first, nodes.range(), nodes.blend);
        let mut along = 0.0;
        let mut at = range.end - 1;
        let from_tip = &mut self.from_tip;
        self.scratch.clear();
        self.scratch.extend_from_slice(&from_tip[range]);
        from_tip[at] = 0.0;
        if nodes.skips() {
            let last = nodes.last();
            let without = edges.length_mm(skipping);
            from_tip[last] = edges.length_mm(last);
            along = blend * (edges.length_mm(last) + edges.length_mm(last - 1))
                + (1.0 - blend) * without;
            at = last - 1;
            from_tip[at] = along;
        } else {
            at -= 1;
            along += edges.length_mm(at);
            from_tip[at] = along;
        }
        while at > first {
            let cell = edges.cell(at);
            let correction = cell.arc_mm() - cell.m;
            along += 0.5 * correction;
            from_tip[at] = along;
            at -= 1;
            along += edges.length_mm(at) + 0.5 * correction;
            from_tip[at] = along;
        }
    }

    /// How far nodes slid along their rod when its distances were just measured, mm, for the largest so far;
    /// `halved` moves them half of the way only.
    pub(crate) fn slide(&mut self, range: Range<usize>, halved: bool, mut slid_mm: f64) -> f64 {
        let arcs = &mut self.from_tip[range];
        for (old, new) in self.scratch.iter().zip(arcs) {
            slid_mm = larger(slid_mm, (old - *new).abs());
            if halved {
                *new = 0.5 * (old + *new);
            }
        }
        slid_mm
    }

    /// Stiffness, diameters and natural curvature of one rod at the distances from its tip.
    pub(crate) fn set_by_distance(&mut self, rod: &Rod, range: Range<usize>) {
        let arcs = &self.from_tip[range.clone()];
        for (profile, mean, into) in [
            (
                Some(&rod.stiffness_n_mm2),
                Mean::Harmonic,
                &mut self.stiffness,
            ),
            (Some(&rod.outer_mm), Mean::Plain, &mut self.outer),
            (rod.inner_mm.as_ref(), Mean::Plain, &mut self.inner),
        ] {
            let into = &mut into[range.clone()];
            match profile {
                None => into.fill(0.0),
                Some(profile) if profile.is_constant() => into.fill(profile.at(0.0)),
                Some(profile) => {
                    profile.cell_means(arcs, mean, &mut self.scratch);
                    into.copy_from_slice(&self.scratch);
                }
            }
        }
        let Some(bend) = &rod.natural else { return };
        for i in range.clone() {
            let here = self.from_tip[i];
            let low = if i + 1 < range.end {
                0.5 * (here + self.from_tip[i + 1])
            } else {
                here
            };
            let high = if i > range.start {
                0.5 * (here + self.from_tip[i - 1])
            } else {
                here
            };
            self.natural[i] = bend.curvature_per_mm * share_bent(bend.length_mm, low, high);
        }
    }

    /// Stiffness and natural curvature of one rod by the lengths of its nodes' cells; into `far` the
    /// stiffness at the end of each cell that is further from the tip.
    pub(crate) fn set_by_arcs(
        &mut self,
        (stiffness, natural): (&Profile, Option<&NaturalBend>),
        range: Range<usize>,
        arc_mm: &[f64],
        far: &mut [f64],
    ) {
        let mut low = 0.0;
        let mut walk = Walk::new(stiffness, Mean::Harmonic);
        for node in range.rev() {
            let high = low + arc_mm[node];
            self.stiffness[node] = walk.mean_to(high);
            far[node] = walk.value();
            if let Some(bend) = natural {
                self.natural[node] = bend.curvature_per_mm * share_bent(bend.length_mm, low, high);
            }
            low = high;
        }
    }
}

/// Share of the cell from `low` to `high`, mm from the tip, that is bent by nature.
fn share_bent(length_mm: f64, low: f64, high: f64) -> f64 {
    (length_mm.min(high) - low).max(0.0) / (high - low).max(1e-300)
}
