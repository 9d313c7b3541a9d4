//! Loads that follow from pre-shaped tips where shape, angles and loads brought to agree all at once find no
//! rest.

use super::newton::Ended;
use super::settle::{LOADS_TO_FORCES, Settle};
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::larger;
use crate::mechanics::rod::scene::{AxialLoad, Scene};

/// Most rounds: the loads of a tip at rest are nothing, and one or two do; a stressed one takes as many as loads
/// take elsewhere.
const MOST_ROUNDS: usize = 20;
/// Share of the balance asked for to which shape and angles are brought under loads that are held: loads are
/// moments times curvatures, so that what angles still miss comes back in them.
const SHARPER: f64 = 1e-2;

impl Settle {
    /// Shape and angles in agreement under loads that are held, then loads as that shape calls for, and so on.
    ///
    /// Beside a node that is handed over, cells are a tenth of a station long, and a bend of 50 degrees and
    /// more leaves them aslant: angles still on their way make loads there that move the shape further than
    /// the angles do. Once these agree, loads move next to nothing.
    ///
    /// None where that ends nowhere.
    pub(super) fn take_turns(
        &mut self,
        scene: &Scene<'_>,
        stiffest: f64,
        tolerance_n: f64,
    ) -> Option<Ended> {
        let mut held_n = vec![0.0; self.model.coefficients.load.len()];
        for (rod, nodes) in scene.rods.iter().zip(&self.model.layout.rods) {
            match &rod.load {
                AxialLoad::Frictionless(end_n) => held_n[nodes.range()].fill(*end_n),
                _ => return None,
            }
        }
        let (from, rolls) = (self.newton.x.clone(), self.newton.rolls.clone());
        let steps = self.newton.history.steps;
        let found = self.settle_loads(scene, &mut held_n, (stiffest, tolerance_n));
        self.model.coefficients.turning.held_n.clear();
        if found.is_none() {
            // as if nothing had been tried, but for the work
            self.newton.x = from;
            self.newton.rolls = rolls;
            self.newton.history.steps = steps;
            self.newton.definite = None;
            self.unsettled_n = 0.0;
        }
        found
    }

    /// The same, from these loads.
    fn settle_loads(
        &mut self,
        scene: &Scene<'_>,
        held_n: &mut [f64],
        (stiffest, tolerance_n): (f64, f64),
    ) -> Option<Ended> {
        let mut anderson = Anderson::default();
        let mut miss_n = vec![0.0; held_n.len()];
        for _ in 0..MOST_ROUNDS {
            self.model.coefficients.turning.held_n.clear();
            self.model
                .coefficients
                .turning
                .held_n
                .extend_from_slice(held_n);
            let sharp_n = SHARPER * tolerance_n;
            let ended = self.balance(scene, stiffest, sharp_n, false).ok()?;
            let called_n = &self.model.coefficients.turning.called_n;
            let mut off_n = 0.0_f64;
            for ((miss, called), held) in miss_n.iter_mut().zip(called_n).zip(&*held_n) {
                *miss = called - held;
                off_n = larger(off_n, miss.abs());
            }
            // by how much loads, and angles as forces, miss
            let missed_n = larger(off_n, self.off_n);
            if missed_n < LOADS_TO_FORCES * tolerance_n {
                self.unsettled_n = 0.0;
                self.off_n = missed_n;
                return Some(ended);
            }
            anderson.step(held_n, &miss_n, None);
        }
        None
    }
}
