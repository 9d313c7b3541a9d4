//! One pass to an equilibrium: from scratch, by levels and stages of stiffness, or from a state near it.

use super::balance::{balance, settle_stage};
use super::fit_check::check_room;
use super::guess::{FormerAxis, guess, guess_along, separate_siblings};
use super::levels::coarsened;
use super::readout::read;
use super::solution::{RodState, Solution};
use super::start_shapes::{StartShape, StartShapes};
use super::workspace::{Stage, Workspace};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::drag::DragAt;
use crate::mechanics::rod::numbering::Sharing;
use crate::mechanics::rod::scene::Scene;

/// Balance of shapes that only prepare the next stage, N: a thousandth of a newton moves soft rods by less
/// than the next stage does.
const PREPARED_N: f64 = 1e-3;
/// The same from one stiffness of the walls to the next, where ends of contact stretches are to stay.
const STIFFENED_N: f64 = 1e-4;
/// How stiffly a shape that was lost is first kept near its start, N/mm, by which share that falls
/// from stage to stage, and what counts as nothing.
const KEPT_NEAR_N_PER_MM: f64 = 1e-2;
const KEPT_LESS: f64 = 0.1;
const LEAST_NEAR_N_PER_MM: f64 = 1e-7;

/// What axes are kept near, and how.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Nearness<'a> {
    /// Shapes, by rod; none: where axes start.
    pub(crate) centre: Option<&'a [Option<&'a RodState>]>,
    /// Weight of the proximal term, N/mm.
    pub(crate) proximal_n_per_mm: f64,
    /// Drag at contacts, told from the same centre.
    pub(crate) drags: &'a [DragAt],
}

/// Memory of passes.
#[derive(Debug, Clone, Default)]
pub(crate) struct Passes {
    pub(crate) ws: Workspace,
    pub(crate) axes: Vec<FormerAxis>,
}

impl Passes {
    /// Equilibrium from scratch.
    ///
    /// # Errors
    /// As [`super::settle::Settle::settle`].
    pub(crate) fn start_from_scratch(
        &mut self,
        scene: &Scene<'_>,
    ) -> Result<Solution, MechanicsError> {
        self.begin(scene)?;
        self.ws.model.lay_out_nodes(scene);
        self.ws.model.update_sections(scene);
        check_room(&self.ws.model, scene)?;
        let stiffest = self.ws.stiffest(scene);
        let soft = self.ws.settings.first_stiffness_n_per_mm2.min(stiffest);
        let mut passed_saddle = false;
        self.approach(scene, soft)?;
        let mut stage = self.last_stage(scene);
        stage.stiffest = soft;
        loop {
            stage.prepares = stage.stiffest < stiffest;
            stage.tolerance_n = if stage.prepares {
                self.tolerance_of(STIFFENED_N)
            } else {
                self.ws.settings.gradient_tolerance_n
            };
            passed_saddle |= settle_stage(&mut self.ws, stage)?;
            if !stage.prepares {
                return read(&mut self.ws, scene, passed_saddle);
            }
            stage.stiffest = (stage.stiffest * self.ws.settings.stiffening).min(stiffest);
        }
    }

    /// Balance of a stage that prepares another, N.
    fn tolerance_of(&self, least_n: f64) -> f64 {
        self.ws.settings.gradient_tolerance_n.max(least_n)
    }

    /// The stage that a solve ends with.
    fn last_stage<'a>(&self, scene: &'a Scene<'a>) -> Stage<'a> {
        Stage {
            scene,
            stiffest: self.ws.stiffest(scene),
            tolerance_n: self.ws.settings.gradient_tolerance_n,
            prepares: false,
        }
    }

    /// Lays `scene` out with a first guess: from every second station where there are
    /// enough of them, else from the composite rod.
    fn approach(&mut self, scene: &Scene<'_>, soft: f64) -> Result<(), MechanicsError> {
        let coarse = coarsened(scene, self.ws.settings.coarsest_cells);
        if let Some((tube, rods)) = &coarse {
            let coarse = Scene {
                tube,
                rods,
                beside: scene.beside,
            };
            self.approach(&coarse, soft)?;
            self.prepare(&coarse, soft)?;
            self.keep_axes();
        }
        self.ws.model.lay_out_nodes(scene);
        if coarse.is_some() {
            self.guess(scene);
        } else if scene.rods.len() > 1 {
            self.ws.model.update_sections(scene);
            self.ws.lay_out_terms(scene, Sharing::All);
            self.prepare(scene, soft)?;
            separate_siblings(&mut self.ws.model, scene);
        }
        self.lay_out(scene);
        Ok(())
    }

    /// Balance that only prepares a finer layout.
    fn prepare(&mut self, scene: &Scene<'_>, stiffest: f64) -> Result<(), MechanicsError> {
        let stage = Stage {
            scene,
            stiffest,
            tolerance_n: self.tolerance_of(PREPARED_N),
            prepares: true,
        };
        balance(&mut self.ws, stage).map(|_| ())
    }

    /// Keeps the axes where they are for a layout to come.
    fn keep_axes(&mut self) {
        self.ws.model.store(&self.ws.newton.at.x);
        let model = &self.ws.model;
        self.axes.clear();
        let rods = model.layout.rods.iter();
        self.axes
            .extend(rods.map(|rod| FormerAxis::in_model(model, rod)));
    }

    fn guess(&mut self, scene: &Scene<'_>) {
        let in_space = self.ws.newton.direction.strategy.predicts;
        guess(&mut self.ws.model, scene, &self.axes, in_space);
    }

    /// Lays the terms out where the nodes were guessed, every rod with an axis of its own.
    fn lay_out(&mut self, scene: &Scene<'_>) {
        self.ws.model.update_sections(scene);
        self.ws.lay_out_terms(scene, self.ws.tight_fits());
    }

    /// Equilibrium from a neighbouring one alone.
    ///
    /// # Errors
    /// As [`super::settle::Settle::settle`].
    pub(crate) fn follow_from(
        &mut self,
        scene: &Scene<'_>,
        before: StartShapes,
    ) -> Result<Solution, MechanicsError> {
        self.begin(scene)?;
        self.begin_from(scene, before.rods.into_iter().map(Some));
        self.lay_out(scene);
        let stage = self.last_stage(scene);
        let passed_saddle = settle_stage(&mut self.ws, stage)?;
        read(&mut self.ws, scene, passed_saddle)
    }

    /// Sets out the nodes along the axes that rods had, with the rolls that they had.
    fn begin_from(&mut self, scene: &Scene<'_>, shapes: impl Iterator<Item = Option<StartShape>>) {
        self.ws.model.lay_out_nodes(scene);
        self.axes.clear();
        for (k, shape) in shapes.enumerate() {
            let at = &mut self.ws.newton.at;
            if let Some(shape) = &shape
                && at.free_rolls.contains(&k)
            {
                at.rolls[k] = shape.roll_rad;
            }
            self.axes.push(shape.map(|s| s.axis).unwrap_or_default());
        }
        self.guess(scene);
    }

    /// Equilibrium from shapes near it, kept near these or others; a rod without one starts along what it lies in.
    ///
    /// # Errors
    /// As [`super::settle::Settle::settle`].
    pub(crate) fn near(
        &mut self,
        scene: &Scene<'_>,
        shapes: &[Option<&RodState>],
        kept: Nearness<'_>,
    ) -> Result<Solution, MechanicsError> {
        self.begin(scene)?;
        self.begin_from(scene, shapes.iter().map(|s| s.map(StartShape::of)));
        for (k, shape) in shapes.iter().enumerate() {
            if shape.is_none() {
                guess_along(&mut self.ws.model, scene, k);
            }
        }
        self.ws.model.update_sections(scene);
        check_room(&self.ws.model, scene)?;
        self.ws.lay_out_terms(scene, self.ws.tight_fits());
        let start = self.ws.newton.at.clone();
        let stage = self.last_stage(scene);
        let weight_n_per_mm = kept.proximal_n_per_mm;
        match kept.centre {
            Some(centre) => self.keep_near_shapes(scene, centre, weight_n_per_mm),
            None => self.keep_near(weight_n_per_mm),
        }
        self.ws.model.place_drags(kept.drags);
        let lost = match settle_stage(&mut self.ws, stage) {
            Ok(passed_saddle) => return read(&mut self.ws, scene, passed_saddle),
            Err(lost) if lost.is_lost() && kept.centre.is_none() => lost,
            Err(other) => return Err(other),
        };
        self.ws.newton.at = start;
        self.settle_step_by_step(stage, weight_n_per_mm, lost)
    }

    /// Keeps unknowns near where they are.
    fn keep_near(&mut self, weight_n_per_mm: f64) {
        let proximal = &mut self.ws.model.coefficients.proximal;
        proximal.centre.clone_from(&self.ws.newton.at.x);
        proximal.weight_n_per_mm = weight_n_per_mm;
    }

    /// Keeps unknowns near where these shapes have them.
    fn keep_near_shapes(
        &mut self,
        scene: &Scene<'_>,
        shapes: &[Option<&RodState>],
        weight_n_per_mm: f64,
    ) {
        self.axes.clear();
        let former = shapes.iter();
        (self.axes).extend(former.map(|s| s.map(FormerAxis::of).unwrap_or_default()));
        self.guess(scene);
        let proximal = &mut self.ws.model.coefficients.proximal;
        let mut centre = std::mem::take(&mut proximal.centre);
        proximal.weight_n_per_mm = weight_n_per_mm;
        self.ws.model.gather(&mut centre);
        self.ws.model.coefficients.proximal.centre = centre;
        self.ws.model.store(&self.ws.newton.at.x);
    }

    /// In steps that keep the shape less and less near, where the direct way was `lost`.
    fn settle_step_by_step(
        &mut self,
        last_stage: Stage<'_>,
        proximal_n_per_mm: f64,
        lost: MechanicsError,
    ) -> Result<Solution, MechanicsError> {
        self.ws.newton.direction.restart();
        let mut weight = KEPT_NEAR_N_PER_MM;
        loop {
            let last = weight <= proximal_n_per_mm.max(LEAST_NEAR_N_PER_MM);
            self.ws.model.store(&self.ws.newton.at.x);
            self.keep_near(if last { proximal_n_per_mm } else { weight });
            self.ws.newton.effort.history.steps = 0;
            let stage = Stage {
                tolerance_n: if last {
                    last_stage.tolerance_n
                } else {
                    self.tolerance_of(PREPARED_N)
                },
                prepares: !last,
                ..last_stage
            };
            match settle_stage(&mut self.ws, stage) {
                Ok(passed_saddle) if last => {
                    return read(&mut self.ws, stage.scene, passed_saddle);
                }
                Ok(_) => {}
                Err(_) if last => return Err(lost),
                Err(other) => return Err(other),
            }
            weight *= KEPT_LESS;
        }
    }

    fn begin(&mut self, scene: &Scene<'_>) -> Result<(), MechanicsError> {
        self.ws.settings.check()?;
        scene.check()?;
        self.ws.begin(scene);
        Ok(())
    }
}
