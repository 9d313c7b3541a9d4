//! The vessel a stent or balloon meets, as it is now.

use super::between_steps::State;
use crate::geometry::{LesionKind, Track};
use crate::mechanics::Bed;
use crate::procedure::script::Plan;

/// Stiffness of a dissection's flap over that of plaque: the soft end of the threefold range in
/// which plaque is varied (assumed).
const FLAP_SHARE: f64 = 1.0 / 3.0;

/// The route with every lesion at the lumen it has at rest now.
#[derive(Debug)]
pub(in crate::procedure) struct Beds(Track);

impl Beds {
    pub(in crate::procedure) fn now(plan: &Plan, state: &State) -> Self {
        let mut track = plan.track.clone();
        for (lesion, rest_mm) in state.rest_mm.iter().enumerate() {
            // widths of lesions are sound when a plan is made; one that is not keeps the vessel's
            let _ = track.set_residual(lesion, *rest_mm);
        }
        Self(track)
    }

    /// The vessel at a station, mm.
    pub(in crate::procedure) fn at(&self, s_mm: f64) -> Bed {
        let healthy_mm = self.0.healthy_diameter_at(s_mm);
        let lesion = self
            .0
            .lesions
            .iter()
            .find(|l| s_mm > l.start_mm && s_mm < l.end_mm);
        Bed {
            rest_mm: 2.0 * self.0.radius_at(s_mm),
            healthy_mm,
            plaque_share: match lesion.map(|l| l.kind) {
                Some(LesionKind::Dissection) => FLAP_SHARE,
                _ => 1.0,
            },
            rigid: lesion.is_some_and(|l| l.rigid),
        }
    }
}
