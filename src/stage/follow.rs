//! Rods that follow a hand.

use crate::mechanics::{LoadSettings, MechanicsError, Settings};
use crate::procedure::{Plan, Rods, Shape, State};
use std::sync::Arc;

/// Every so many of the route's stations are kept, about 4 mm apart: nearer ones cost more than a moving hand
/// waits for, wider ones leave the siphon's bends out.
const EVERY: usize = 4;
/// Force out of balance, N: the shape then lies within some tenths of a millimetre of the settled one (the bench
/// `stage` prints how far).
const ROUGH_N: f64 = 0.03;
/// Newton steps after which a shape is given up.
const STEPS: usize = 60;

/// Settles a stack roughly while it is dragged: on every fourth station, to three hundredths of a newton, one
/// round between tip loads and shape. What rests is to be settled again by
/// [`PictureRods`](super::PictureRods).
#[derive(Debug, Clone)]
pub struct FollowingRods {
    plan: Plan,
    rods: Rods,
}

impl FollowingRods {
    /// For a plan.
    #[must_use]
    pub fn new(plan: &Plan) -> Self {
        let mut plan = plan.clone();
        let last = plan.track.stations.len().saturating_sub(1);
        let mut index = 0..=last;
        plan.track
            .stations
            .retain(|_| index.next().is_some_and(|i| i % EVERY == 0 || i == last));
        let mut settings = Settings::default();
        settings.gradient_tolerance_n = ROUGH_N;
        settings.most_newton_steps = STEPS;
        let mut loads = LoadSettings::default();
        loads.gradient_tolerance_n = ROUGH_N;
        loads.most_rounds = 1;
        loads.most_unsettled_n = f64::INFINITY;
        let rods = Rods::new(settings, loads);
        Self { plan, rods }
    }

    /// How the stack lies in a state, roughly; none where no device is in far enough to bend.
    ///
    /// # Errors
    /// [`MechanicsError`] where no equilibrium was found.
    pub fn settle(&mut self, state: &State) -> Result<Option<Arc<Shape>>, MechanicsError> {
        self.rods.at_rest(&self.plan, state)
    }
}
