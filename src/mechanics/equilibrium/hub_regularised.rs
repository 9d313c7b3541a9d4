//! Loads that follow the shape where the two swing: rods held at their hubs meanwhile.

use super::newton::Ended;
use super::settle::{LOADS_TO_FORCES, STEPS_BETWEEN_LOOKS, Settle, UNSETTLED_N};
use crate::math;
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::larger;
use crate::mechanics::rod::scene::{AxialLoad, Rod, Scene};

/// Stiffness of hands that hold rods while loads and shape are sought, N/mm: stiff against the
/// thousandths of a newton a millimetre by which bundles in wide vessels give. Where that
/// leads nowhere, a stiffer one moves in smaller steps, a softer one in larger.
pub(crate) const HANDS_N_PER_MM: [f64; 3] = [0.1, 1.0, 0.03];
/// Balance between rounds with hands: a share of what loads still miss, and at most, N. Soft modes
/// answer a rough balance with lengths that look like loads not settled.
const ROUGHLY: f64 = 1e-3;
const ROUGH_N: f64 = 3e-6;
/// Most rounds with hands, and without coming nearer.
const HOLD_ROUNDS: usize = 80;
const HOLD_PATIENCE: usize = 20;
/// Rounds without coming nearer after which it goes back to the nearest.
const HOLD_RETURN: usize = 8;
/// Share of the nearest miss so far that counts as nearer.
const HOLD_NEARER: f64 = 0.9;

/// A state on the way, and how far its loads are from those called for.
struct Kept {
    missed_n: f64,
    x: Vec<f64>,
    rolls: Vec<f64>,
    called: Vec<f64>,
    unknown: Vec<f64>,
    miss: Vec<f64>,
}

impl Settle {
    /// Shape and loads together where taking turns swings between two shapes: under its load a
    /// pushed rod snaps from one wall to the other, and what each shape calls for brings back the
    /// other. Held at their hubs ([`crate::mechanics::rod::hub_spring`]) rods follow the states between; loads and
    /// lengths held are moved until the hands feel nothing but the loads called for.
    ///
    /// None where that ends nowhere, or where hands hold the rods already.
    pub(crate) fn hold(
        &mut self,
        scene: &Scene<'_>,
        stiffest: f64,
        tolerance_n: f64,
        hand_n_per_mm: f64,
    ) -> Option<Ended> {
        let follows = |rod: &Rod| match &rod.load {
            AxialLoad::Frictionless(tip) => Some(*tip),
            _ => None,
        };
        let mut rods = scene.rods.to_vec();
        let mut held = Vec::new();
        self.model.coefficients.restart_loads();
        self.model.store(&self.newton.x);
        self.model.update_sections(scene);
        self.model
            .update(scene, &self.settings, &self.newton.rolls, stiffest);
        for (k, rod) in rods.iter_mut().enumerate() {
            if let Some(tip_n) = follows(rod) {
                rod.load = AxialLoad::Gripped {
                    tip_n,
                    grip_n_per_mm: hand_n_per_mm,
                    fed_mm: self.model.coefficients.sections.from_tip
                        [self.model.layout.rods[k].first],
                };
                held.push(k);
            }
        }
        if held.is_empty() || held.len() < scene.rods.len() {
            return None;
        }
        let nodes = self.model.coefficients.load.len();
        let mut weight = Vec::with_capacity(nodes + held.len());
        for rod in &self.model.layout.rods {
            #[expect(clippy::cast_precision_loss, reason = "a few thousand nodes")]
            weight.resize(
                weight.len() + rod.count(),
                math::pow(rod.count() as f64, -0.5),
            );
        }
        weight.resize(nodes + held.len(), 1.0);
        let mut unknown = self.model.coefficients.load.clone();
        for rod in &rods {
            if let AxialLoad::Gripped { fed_mm, .. } = rod.load {
                unknown.push(hand_n_per_mm * fed_mm);
            }
        }
        let mut miss = vec![0.0; unknown.len()];
        let mut anderson = Anderson::default();
        let loads_n = LOADS_TO_FORCES * tolerance_n;
        let mut near = ROUGH_N;
        let mut best = f64::INFINITY;
        let mut kept: Option<Kept> = None;
        let mut waiting = 0;
        for _ in 0..HOLD_ROUNDS {
            self.model.coefficients.relaxation.held = true;
            self.model.coefficients.relaxation.used.clear();
            self.model
                .coefficients
                .relaxation
                .used
                .extend_from_slice(&unknown[..nodes]);
            for (rod, wished) in rods.iter_mut().zip(&unknown[nodes..]) {
                if let AxialLoad::Gripped { fed_mm, .. } = &mut rod.load {
                    *fed_mm = wished / hand_n_per_mm;
                }
            }
            let posed = Scene {
                rods: &rods,
                ..*scene
            };
            self.model.store(&self.newton.x);
            self.model
                .update(&posed, &self.settings, &self.newton.rolls, stiffest);
            let until = (self.newton.history.steps + STEPS_BETWEEN_LOOKS)
                .min(self.settings.most_newton_steps);
            let ended = self
                .newton
                .run(&mut self.model, near.max(tolerance_n), until);
            if !ended.converged {
                break;
            }
            self.model.store(&self.newton.x);
            self.model
                .update(&posed, &self.settings, &self.newton.rolls, stiffest);
            let mut worst = 0.0_f64;
            for (k, rod) in self.model.layout.rods.iter().enumerate() {
                let length_mm = self.model.springs.length_mm(k);
                let at = nodes + k;
                miss[at] = hand_n_per_mm * length_mm - unknown[at];
                for i in rod.range() {
                    miss[i] = self.model.coefficients.relaxation.called[i] - unknown[i];
                    worst = larger(worst, (miss[i] - miss[at]).abs());
                }
            }
            if worst < loads_n && ended.residual_n < tolerance_n {
                self.model.coefficients.restart_loads();
                self.model
                    .update(scene, &self.settings, &self.newton.rolls, stiffest);
                self.off_n = worst;
                self.between |= !self.model.factorise(0.0);
                // a place that only hands hold is not left: it is told as one between others
                self.newton.definite = Some(true);
                return Some(ended);
            }
            if worst < best {
                kept = Some(Kept {
                    missed_n: worst,
                    x: self.newton.x.clone(),
                    rolls: self.newton.rolls.clone(),
                    called: self.model.coefficients.relaxation.called.clone(),
                    unknown: unknown.clone(),
                    miss: miss.clone(),
                });
            }
            waiting = if worst < HOLD_NEARER * best {
                0
            } else {
                waiting + 1
            };
            best = best.min(worst);
            if waiting > HOLD_PATIENCE || worst.is_nan() {
                break;
            }
            near = (ROUGHLY * worst).min(ROUGH_N);
            if waiting == HOLD_RETURN
                && let Some(kept) = &kept
            {
                // what was learnt led away: from the nearest state on, learn anew
                unknown.clone_from(&kept.unknown);
                miss.clone_from(&kept.miss);
                self.newton.x.clone_from(&kept.x);
                self.newton.rolls.clone_from(&kept.rolls);
                anderson.restart();
            }
            anderson.step(&mut unknown, &miss, Some(&weight));
        }
        // Several equilibria next to each other, or one that the hands do not reach: the state
        // nearest to agreeing, in balance under the loads that it calls for.
        let kept = kept.filter(|k| k.missed_n < UNSETTLED_N)?;
        self.newton.x = kept.x;
        self.newton.rolls = kept.rolls;
        self.model.coefficients.restart_loads();
        self.model.store(&self.newton.x);
        self.model
            .update(scene, &self.settings, &self.newton.rolls, stiffest);
        self.model.coefficients.relaxation.held = true;
        self.model.coefficients.relaxation.used = kept.called;
        self.model
            .update(scene, &self.settings, &self.newton.rolls, stiffest);
        let ended = self.newton.run(
            &mut self.model,
            tolerance_n,
            self.newton.history.steps + STEPS_BETWEEN_LOOKS,
        );
        self.model.store(&self.newton.x);
        self.model
            .update(scene, &self.settings, &self.newton.rolls, stiffest);
        let missed = self.model.coefficients.relaxation.missed_n();
        if !ended.converged || missed >= UNSETTLED_N {
            return None;
        }
        self.unsettled_n = missed;
        self.off_n = missed;
        Some(ended)
    }
}
