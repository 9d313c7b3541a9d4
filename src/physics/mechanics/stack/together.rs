//! Tips, hub loads and friction of all rods moved on together, by Anderson's method: friction follows the
//! shape, and what one rod's shape calls for moves the others.

use crate::mechanics::linear_algebra::anderson::Anderson;

/// Unknowns with what they miss by.
#[derive(Debug, Clone)]
pub(crate) struct Together {
    unknown: Vec<f64>,
    residual: Vec<f64>,
    /// Makes residuals of different kinds comparable.
    weight: Vec<f64>,
    anderson: Anderson,
}

impl Default for Together {
    fn default() -> Self {
        Self {
            unknown: Vec::new(),
            residual: Vec::new(),
            weight: Vec::new(),
            anderson: Anderson::of_many(),
        }
    }
}

impl Together {
    /// Forgets what it learnt.
    pub(crate) fn restart(&mut self) {
        self.anderson.restart();
    }

    /// Begins a new list of the same unknowns.
    pub(crate) fn clear(&mut self) {
        self.unknown.clear();
        self.residual.clear();
        self.weight.clear();
    }

    /// Adds an unknown that is to change by `residual`.
    pub(crate) fn add(&mut self, unknown: f64, residual: f64, weight: f64) {
        self.unknown.push(unknown);
        self.residual.push(residual);
        self.weight.push(weight);
    }

    /// Adds a list that together counts as one.
    pub(crate) fn add_list(&mut self, unknown: &[f64], called: &[f64]) {
        #[expect(clippy::cast_precision_loss, reason = "a few thousand stations")]
        let weight = (unknown.len().max(1) as f64).sqrt().recip();
        for (unknown, called) in unknown.iter().zip(called) {
            self.add(*unknown, called - unknown, weight);
        }
    }

    /// Moves them on; false where that leads to no number.
    pub(crate) fn step(&mut self) -> bool {
        let weight = Some(&self.weight[..]);
        (self.anderson).step(&mut self.unknown, &self.residual, weight);
        self.unknown.iter().all(|x| x.is_finite())
    }

    /// The unknowns, in the order in which they were added.
    pub(crate) fn unknown(&self) -> &[f64] {
        &self.unknown
    }
}
