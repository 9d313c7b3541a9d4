//! The proximal term: unknowns kept near where they were, `w |x - centre|² / 2`.

use super::energy::Energy;
use crate::mechanics::linear_algebra::banded::BlockBanded;
use crate::mechanics::linear_algebra::norms::larger;

/// Its centre and weight.
#[derive(Debug, Clone, Default)]
pub(crate) struct Proximal {
    /// Empty where nothing is kept.
    pub(crate) centre: Vec<f64>,
    pub(crate) weight_n_per_mm: f64,
}

impl Proximal {
    fn is_on(&self, unknowns: usize) -> bool {
        self.centre.len() == unknowns
    }

    /// Adds its energy and gradient.
    pub(crate) fn evaluate(&self, x: &[f64], energy: &mut Energy, gradient: &mut [f64]) {
        if self.is_on(x.len()) {
            let weight = self.weight_n_per_mm;
            for i in (0..x.len()).step_by(2) {
                let away = [x[i] - self.centre[i], x[i + 1] - self.centre[i + 1]];
                energy.add(0.5 * weight * (away[0] * away[0] + away[1] * away[1]));
                gradient[i] += weight * away[0];
                gradient[i + 1] += weight * away[1];
            }
        }
    }

    /// Energy alone, N mm.
    pub(crate) fn energy(&self, x: &[f64]) -> f64 {
        if !self.is_on(x.len()) {
            return 0.0;
        }
        let away = x.iter().zip(&self.centre).map(|(x, n)| (x - n) * (x - n));
        0.5 * self.weight_n_per_mm * away.sum::<f64>()
    }

    /// Adds its Hessian.
    pub(crate) fn assemble(&self, matrix: &mut BlockBanded) {
        if self.is_on(matrix.unknowns()) {
            let weight = self.weight_n_per_mm;
            for i in (0..self.centre.len()).step_by(2) {
                matrix.add(i, i, [weight, 0.0, 0.0, weight]);
            }
        }
    }

    /// How far the unknowns are from where they were kept, mm.
    pub(crate) fn moved_mm(&self, x: &[f64]) -> f64 {
        let away = self.centre.iter().zip(x).map(|(a, b)| (a - b).abs());
        away.fold(0.0, larger)
    }
}
