//! Acceleration of a fixed point by its last few steps.
//!
//! `z <- z + r(z)` converges slowly, or not at all, where a few directions answer strongly (a long
//! wire in a wide vessel answers a hundredth of a newton with millimetres). From the last steps
//! the method of Anderson (J. ACM 12:547-560, 1965) learns those directions and solves for them.

use super::small_dense::{MOST_UNKNOWNS, small_solve};
use std::collections::VecDeque;

/// Steps remembered, and where loads, lengths and friction of several rods move together: a rod answers by its
/// few soft modes, four rods by a dozen.
const FEW: usize = MOST_UNKNOWNS;
const MANY: usize = 16;
/// Share of the largest squared change below which a direction is noise.
const NOISE: f64 = 1e-12;
/// Growth of the residual from one step to the next that makes what was learnt worthless.
const GROWTH: f64 = 5.0;
/// Share of a step taken after such a growth.
const CAUTIOUS: f64 = 0.3;

/// What is remembered.
#[derive(Debug, Clone, Default)]
pub(crate) struct Anderson {
    /// Changes of `z` and of `r` from step to step, newest last.
    steps: VecDeque<(Vec<f64>, Vec<f64>)>,
    last: Option<(Vec<f64>, Vec<f64>, f64)>,
    /// Whether it remembers many steps.
    many: bool,
}

impl Anderson {
    /// One that remembers many steps.
    pub(crate) fn of_many() -> Self {
        Self {
            many: true,
            ..Self::default()
        }
    }

    pub(crate) fn restart(&mut self) {
        self.steps.clear();
        self.last = None;
    }

    /// Moves `z` on by what its residual `r` and the steps before say; `weight` makes the entries
    /// of `r` comparable where they are not.
    pub(crate) fn step(&mut self, z: &mut [f64], r: &[f64], weight: Option<&[f64]>) {
        let dot = |a: &[f64], b: &[f64]| -> f64 {
            let products = a.iter().zip(b).map(|(a, b)| a * b);
            match weight {
                Some(weight) => products.zip(weight).map(|(p, w)| p * w * w).sum(),
                None => products.sum(),
            }
        };
        let size = dot(r, r).sqrt();
        let mut share = 1.0;
        if let Some((old_z, old_r, old_size)) = &mut self.last {
            if size > GROWTH * *old_size {
                self.steps.clear();
                share = CAUTIOUS;
            } else {
                let depth = if self.many { MANY } else { FEW };
                let (mut dz, mut dr) = if self.steps.len() == depth {
                    self.steps.pop_front().unwrap_or_default()
                } else {
                    (Vec::new(), Vec::new())
                };
                dz.clear();
                dr.clear();
                dz.extend(z.iter().zip(old_z.iter()).map(|(a, b)| a - b));
                dr.extend(r.iter().zip(old_r.iter()).map(|(a, b)| a - b));
                self.steps.push_back((dz, dr));
            }
            old_z.copy_from_slice(z);
            old_r.copy_from_slice(r);
            *old_size = size;
        } else {
            self.last = Some((z.to_vec(), r.to_vec(), size));
        }
        let mut learnt = [0.0; MANY];
        while !self.steps.is_empty() {
            let mut small = [[0.0; MANY]; MANY];
            let mut largest = 0.0_f64;
            for (i, (_, a)) in self.steps.iter().enumerate() {
                learnt[i] = dot(a, r);
                for (j, (_, b)) in self.steps.iter().enumerate() {
                    small[i][j] = dot(a, b);
                }
                largest = largest.max(small[i][i]);
            }
            for (i, row) in small.iter_mut().enumerate() {
                row[i] *= 1.0 + NOISE;
            }
            if small_solve(&mut small, &mut learnt, self.steps.len(), NOISE * largest) {
                break;
            }
            // the oldest step is the one least like the others now
            self.steps.pop_front();
        }
        for (z, r) in z.iter_mut().zip(r) {
            *z += share * r;
        }
        for ((dz, dr), learnt) in self.steps.iter().zip(learnt) {
            for ((z, a), b) in z.iter_mut().zip(dz).zip(dr) {
                *z -= learnt * (a + b);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_linear_map_in_as_many_steps_as_it_has_directions() {
        // r = b - A z with eigenvalues 0.01 (slow), 1 and -2 (runs away when iterated plainly)
        let a = [0.01, 1.0, -2.0, 1.0];
        let exact = [100.0, 2.0, 3.0, -1.0];
        let mut z = vec![0.0; 4];
        let mut found = Anderson::default();
        for _ in 0..5 {
            let r: Vec<f64> = (0..4).map(|i| a[i] * (exact[i] - z[i])).collect();
            found.step(&mut z, &r, None);
        }
        for (z, exact) in z.iter().zip(exact) {
            assert!((z - exact).abs() < 1e-6, "{z} against {exact}");
        }
    }
}
