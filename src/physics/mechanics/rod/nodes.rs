//! The nodes of all rods: one on every station, and one on each tip.
//!
//! So that no cell is tiny and yet everything moves continuously with the tip, the last cell is 0.45 to
//! 1.65 stations long: while the last regular node is 0.45 to 0.65 stations behind the tip, its terms carry
//! a weight that grows smoothly from 0 to 1, and the terms of the rod without it carry the rest.

use super::dof::Dof;
use super::quadrature::{HAND_OVER, smooth_step};
use super::scene::{End, Rod, StartSupport, TubeStation};

/// Weight below which the last regular node is left out: its terms would be lost in rounding.
const LEAST_WEIGHT: f64 = 1e-9;

/// The nodes of one rod within the lists of all.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RodNodes {
    pub(crate) first: usize,
    /// Station of the last node on a station.
    pub(crate) last_regular: usize,
    /// Whether a tip node follows.
    pub(crate) tip: bool,
    /// Weight of the terms with the last regular node.
    pub(crate) blend: f64,
    /// Whether its first node is held in place and direction.
    pub(crate) clamped: bool,
}

impl RodNodes {
    pub(crate) fn of(rod: &Rod, tube: &[TubeStation], first: usize) -> Self {
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
    pub(crate) fn last_full(&self) -> usize {
        if self.blend < 1.0 {
            self.last_regular - 1
        } else {
            self.last_regular
        }
    }

    pub(crate) fn count(&self) -> usize {
        self.last_regular + 1 + usize::from(self.tip)
    }

    /// Its last node on a station.
    pub(crate) fn last(&self) -> usize {
        self.first + self.last_regular
    }

    pub(crate) fn tip_node(&self) -> usize {
        self.first + self.last_regular + 1
    }

    pub(crate) fn range(&self) -> std::ops::Range<usize> {
        self.first..self.first + self.count()
    }

    /// Whether some terms leave the last regular node out.
    pub(crate) fn skips(&self) -> bool {
        self.tip && self.blend < 1.0
    }
}

/// The nodes of all rods, one rod after the other.
#[derive(Debug, Clone, Default)]
pub(crate) struct Nodes {
    pub(crate) frame: Vec<u32>,
    /// Arc length of the centre line, mm.
    pub(crate) s_mm: Vec<f64>,
    pub(crate) dof: Vec<Dof>,
}

impl Nodes {
    pub(crate) fn clear(&mut self) {
        self.frame.clear();
        self.s_mm.clear();
        self.dof.clear();
    }

    pub(crate) fn push(&mut self, frame: u32, s_mm: f64) {
        self.frame.push(frame);
        self.s_mm.push(s_mm);
        self.dof.push(Dof::FIXED);
    }

    pub(crate) fn len(&self) -> usize {
        self.s_mm.len()
    }
}
