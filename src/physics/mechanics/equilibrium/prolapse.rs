//! Rods that leave the direction of the centre line by more than the model holds for.

use super::workspace::Workspace;
use crate::math;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::model::Model;
use crate::mechanics::rod::scene::Scene;

/// Cosine of the angle at which a pre-shaped tip is held to turn back: 85 degrees, short of where a rod
/// cannot be told by stations any more.
const TURNED_BACK: f64 = 0.087;

/// The largest angle between a rod and the centre line, where shapes were last measured: rod, place mm,
/// degrees.
///
/// A pre-shaped tip points aside by nature; it counts only from where it turns back.
pub(crate) fn largest_angle(model: &Model, scene: &Scene<'_>) -> (usize, f64, f64) {
    let layout = &model.layout;
    let mut worst = (1.0_f64, 0, 0.0);
    for (k, rod) in scene.rods.iter().enumerate() {
        let range = layout.rods[k].range();
        let shaped_mm = rod.natural.map_or(0.0, |n| n.length_mm);
        for a in range.start..range.end - 1 {
            let (t, ..) = model.at.edges.edge(a);
            let along = layout.frame(a).tangent + layout.frame(a + 1).tangent;
            let cosine = t.dot(&along) / along.norm();
            let shaped = model.coefficients.sections.from_tip[a + 1] < shaped_mm;
            if cosine < worst.0 && !(shaped && cosine > TURNED_BACK) {
                worst = (cosine, k, layout.nodes.s_mm[a]);
            }
        }
    }
    let angle = math::acos(worst.0.clamp(-1.0, 1.0));
    (worst.1, worst.2, angle.to_degrees())
}

/// Gives up on a rod that is running away.
pub(crate) fn look_for_prolapse(
    ws: &mut Workspace,
    scene: &Scene<'_>,
) -> Result<(), MechanicsError> {
    ws.model.store(&ws.newton.at.x);
    ws.model.measure_stored();
    let (rod, station_mm, angle_deg) = largest_angle(&ws.model, scene);
    if angle_deg > ws.settings.prolapse_deg {
        return Err(MechanicsError::Prolapsed {
            rod,
            station_mm,
            angle_deg,
        });
    }
    Ok(())
}
