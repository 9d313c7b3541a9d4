//! Loads that follow the shape where the two swing: rods are held at their hubs by springs meanwhile.
//!
//! Under its load a pushed rod snaps from one wall to the other, and what each shape calls for brings back
//! the other. Held at their hubs ([`crate::mechanics::rod::hub_spring`]) rods follow the states between;
//! loads and lengths held are moved together, by Anderson's method, until the springs carry nothing but the
//! loads called for.

use super::newton::Ended;
use super::workspace::{Stage, Workspace};
use crate::math;
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::larger;
use crate::mechanics::rod::nodes::RodNodes;
use crate::mechanics::rod::scene::{AxialLoad, Rod, Scene};

/// Stiffness of hub springs while loads and shape are sought, N/mm: stiff against the
/// thousandths of a newton a millimetre by which bundles in wide vessels give. Where that
/// leads nowhere, a stiffer one moves in smaller steps, a softer one in larger.
pub(crate) const HUB_SPRINGS_N_PER_MM: [f64; 3] = [0.1, 1.0, 0.03];
/// Where rounds run out with loads this near to the shape's own, N, that is reported with a flag, not
/// refused: well below friction, and a start for the loads with friction.
pub(crate) const UNSETTLED_N: f64 = 5e-3;
/// Newton steps between looks at a rod that may be running away: far more than a plain solve takes.
pub(crate) const STEPS_BETWEEN_LOOKS: usize = 80;
/// Balance between rounds: a share of what loads still miss, and at most, N. Soft modes
/// answer a rough balance with lengths that look like loads not settled.
const ROUGHLY: f64 = 1e-3;
const ROUGH_N: f64 = 3e-6;
/// Most rounds, and without coming nearer.
const MOST_ROUNDS: usize = 80;
const PATIENCE: usize = 20;
/// Rounds without coming nearer after which it goes back to the nearest.
const RETURN: usize = 8;
/// Share of the nearest miss so far that counts as nearer.
const NEARER: f64 = 0.9;

/// A state on the way, and how far its loads are from those called for.
struct BestIterate {
    residual_n: f64,
    x: Vec<f64>,
    rolls: Vec<f64>,
    called: Vec<f64>,
    unknown: Vec<f64>,
    residual: Vec<f64>,
}

/// Loads by node, N, then by rod the length held times the spring's stiffness, N.
struct Coupled {
    spring_n_per_mm: f64,
    /// The rods with springs.
    rods: Vec<Rod>,
    nodes: usize,
    unknown: Vec<f64>,
    /// What is called for less what is used.
    residual: Vec<f64>,
    /// Makes rods of many nodes and of few alike.
    weight: Vec<f64>,
    anderson: Anderson,
    best: Option<BestIterate>,
}

/// Shape and loads together where taking turns swings between two shapes.
///
/// None where that ends nowhere, or where springs hold the rods already.
pub(crate) fn settle_regularised(
    ws: &mut Workspace,
    stage: Stage<'_>,
    spring_n_per_mm: f64,
) -> Option<Ended> {
    ws.model.coefficients.restart_loads();
    ws.model.store(&ws.newton.at.x);
    ws.model.update_sections(stage.scene);
    ws.update(stage.scene, stage.stiffest);
    let mut coupled = Coupled::new(ws, stage.scene, spring_n_per_mm)?;
    let mut near_n = ROUGH_N;
    let mut best_n = f64::INFINITY;
    let mut waiting = 0;
    for _ in 0..MOST_ROUNDS {
        let Some(ended) = coupled.balance(ws, stage, near_n) else {
            break;
        };
        let worst_n = coupled.compare(ws);
        if worst_n < stage.loads_n() && ended.residual_n < stage.tolerance_n {
            return Some(let_go(ws, stage, ended, worst_n));
        }
        if worst_n < best_n {
            coupled.keep(ws, worst_n);
        }
        waiting = if worst_n < NEARER * best_n {
            0
        } else {
            waiting + 1
        };
        best_n = best_n.min(worst_n);
        if waiting > PATIENCE || worst_n.is_nan() {
            break;
        }
        near_n = (ROUGHLY * worst_n).min(ROUGH_N);
        if waiting == RETURN {
            coupled.go_back(ws);
        }
        coupled.advance();
    }
    let best = coupled.best.filter(|b| b.residual_n < UNSETTLED_N)?;
    settle_nearest(ws, stage, best)
}

/// Ends in agreement: the springs carry nothing that the loads do not.
fn let_go(ws: &mut Workspace, stage: Stage<'_>, ended: Ended, off_n: f64) -> Ended {
    ws.model.coefficients.restart_loads();
    let rolls = &ws.newton.at.rolls;
    ws.model
        .update(stage.scene, &ws.settings, rolls, stage.stiffest);
    ws.agreement.off_n = off_n;
    ws.agreement.between |= !ws.model.factorise(0.0);
    // a place that only springs hold is not left: it is told as one between others
    ws.newton.direction.definite = Some(true);
    ended
}

/// Several equilibria next to each other, or one that the springs do not reach: the state
/// nearest to agreeing, in balance under the loads that it calls for.
fn settle_nearest(ws: &mut Workspace, stage: Stage<'_>, best: BestIterate) -> Option<Ended> {
    ws.newton.at.x = best.x;
    ws.newton.at.rolls = best.rolls;
    ws.model.coefficients.restart_loads();
    ws.update(stage.scene, stage.stiffest);
    let relaxation = &mut ws.model.coefficients.relaxation;
    relaxation.frozen = true;
    relaxation.used = best.called;
    let rolls = &ws.newton.at.rolls;
    ws.model
        .update(stage.scene, &ws.settings, rolls, stage.stiffest);
    let until = ws.newton.effort.history.steps + STEPS_BETWEEN_LOOKS;
    let ended = ws.newton.run(&mut ws.model, stage.tolerance_n, until);
    ws.update(stage.scene, stage.stiffest);
    let missed_n = ws.model.coefficients.relaxation.missed_n();
    if !ended.converged || missed_n >= UNSETTLED_N {
        return None;
    }
    ws.agreement.unsettled_n = missed_n;
    ws.agreement.off_n = missed_n;
    Some(ended)
}

impl Coupled {
    /// None where a rod's load does not follow the shape, or is held already.
    fn new(ws: &Workspace, scene: &Scene<'_>, spring_n_per_mm: f64) -> Option<Self> {
        let model = &ws.model;
        let mut rods = scene.rods.to_vec();
        for (rod, nodes) in rods.iter_mut().zip(&model.layout.rods) {
            let tip_n = rod.frictionless_n()?;
            rod.load = AxialLoad::FrictionlessHubHeld {
                tip_n,
                spring_n_per_mm,
                rest_mm: model.coefficients.sections.from_tip[nodes.first],
            };
        }
        let mut unknown = model.coefficients.load.clone();
        let nodes = unknown.len();
        for rod in &rods {
            if let AxialLoad::FrictionlessHubHeld { rest_mm, .. } = rod.load {
                unknown.push(spring_n_per_mm * rest_mm);
            }
        }
        Some(Self {
            spring_n_per_mm,
            nodes,
            residual: vec![0.0; unknown.len()],
            weight: weights(&model.layout.rods, nodes + rods.len()),
            rods,
            unknown,
            anderson: Anderson::default(),
            best: None,
        })
    }

    /// Balance under the unknown loads and lengths; none where there is none.
    fn balance(&mut self, ws: &mut Workspace, stage: Stage<'_>, near_n: f64) -> Option<Ended> {
        let (load_n, lengths) = self.unknown.split_at(self.nodes);
        let relaxation = &mut ws.model.coefficients.relaxation;
        relaxation.frozen = true;
        relaxation.used.clear();
        relaxation.used.extend_from_slice(load_n);
        for (rod, wished) in self.rods.iter_mut().zip(lengths) {
            if let AxialLoad::FrictionlessHubHeld { rest_mm, .. } = &mut rod.load {
                *rest_mm = wished / self.spring_n_per_mm;
            }
        }
        let held = Scene {
            rods: &self.rods,
            ..*stage.scene
        };
        ws.update(&held, stage.stiffest);
        let until = (ws.newton.effort.history.steps + STEPS_BETWEEN_LOOKS)
            .min(ws.settings.most_newton_steps);
        let ended = (ws.newton).run(&mut ws.model, near_n.max(stage.tolerance_n), until);
        if !ended.converged {
            return None;
        }
        ws.update(&held, stage.stiffest);
        Some(ended)
    }

    /// Finds what is called for less what was used; how far loads alone are off, N.
    fn compare(&mut self, ws: &Workspace) -> f64 {
        let model = &ws.model;
        let mut worst_n = 0.0_f64;
        for (k, rod) in model.layout.rods.iter().enumerate() {
            let length_mm = model.springs.length_mm(k);
            let at = self.nodes + k;
            self.residual[at] = self.spring_n_per_mm * length_mm - self.unknown[at];
            for i in rod.range() {
                self.residual[i] = model.coefficients.relaxation.called[i] - self.unknown[i];
                worst_n = larger(worst_n, (self.residual[i] - self.residual[at]).abs());
            }
        }
        worst_n
    }

    fn keep(&mut self, ws: &Workspace, residual_n: f64) {
        self.best = Some(BestIterate {
            residual_n,
            x: ws.newton.at.x.clone(),
            rolls: ws.newton.at.rolls.clone(),
            called: ws.model.coefficients.relaxation.called.clone(),
            unknown: self.unknown.clone(),
            residual: self.residual.clone(),
        });
    }

    /// What was learnt led away: from the nearest state on, learn anew.
    fn go_back(&mut self, ws: &mut Workspace) {
        if let Some(best) = &self.best {
            self.unknown.clone_from(&best.unknown);
            self.residual.clone_from(&best.residual);
            ws.newton.at.x.clone_from(&best.x);
            ws.newton.at.rolls.clone_from(&best.rolls);
            self.anderson.restart();
        }
    }

    fn advance(&mut self) {
        self.anderson
            .step(&mut self.unknown, &self.residual, Some(&self.weight));
    }
}

/// By node the inverse root of how many its rod has, then 1 for each rod.
fn weights(rods: &[RodNodes], count: usize) -> Vec<f64> {
    let mut weight = Vec::with_capacity(count);
    for rod in rods {
        #[expect(clippy::cast_precision_loss, reason = "a few thousand nodes")]
        let share = math::pow(rod.count() as f64, -0.5);
        weight.resize(weight.len() + rod.count(), share);
    }
    weight.resize(count, 1.0);
    weight
}
