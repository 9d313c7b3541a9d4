//! Loads that follow from pre-shaped tips where shape, angles and loads brought to agree all at once find no
//! rest: angles under loads that are held, then the loads.

use super::newton::Ended;
use super::rounds::settle_by_rounds;
use super::workspace::{Stage, Workspace};
use crate::mechanics::linear_algebra::anderson::Anderson;
use crate::mechanics::linear_algebra::norms::larger;

/// Most rounds: the loads of a tip at rest are nothing, and one or two do; a stressed one takes as many as loads
/// take elsewhere.
const MOST_ROUNDS: usize = 20;
/// Share of the balance asked for to which shape and angles are brought under loads that are held: loads are
/// moments times curvatures, so that what angles still miss comes back in them.
const SHARPER: f64 = 1e-2;

/// Shape and angles in agreement under loads that are held, then loads as that shape calls for, and so on.
///
/// Beside a node that is handed over, cells are a tenth of a station long, and a bend of 50 degrees and
/// more leaves them aslant: angles still on their way make loads there that move the shape further than
/// the angles do. Once these agree, loads move next to nothing.
///
/// None where that ends nowhere.
pub(crate) fn settle_angles_first(ws: &mut Workspace, stage: Stage<'_>) -> Option<Ended> {
    let mut held_n = vec![0.0; ws.model.coefficients.load.len()];
    for (rod, nodes) in stage.scene.rods.iter().zip(&ws.model.layout.rods) {
        held_n[nodes.range()].fill(rod.frictionless_n()?);
    }
    let from = ws.newton.at.clone();
    let steps = ws.newton.effort.history.steps;
    let found = settle_loads(ws, stage, &mut held_n);
    ws.model.coefficients.turning.held_n.clear();
    if found.is_none() {
        // as if nothing had been tried, but for the work
        ws.newton.at = from;
        ws.newton.effort.history.steps = steps;
        ws.newton.direction.definite = None;
        ws.agreement.unsettled_n = 0.0;
    }
    found
}

/// The same, from these loads.
fn settle_loads(ws: &mut Workspace, stage: Stage<'_>, held_n: &mut [f64]) -> Option<Ended> {
    let sharper = Stage {
        tolerance_n: SHARPER * stage.tolerance_n,
        prepares: false,
        ..stage
    };
    let mut anderson = Anderson::default();
    let mut residual_n = vec![0.0; held_n.len()];
    for _ in 0..MOST_ROUNDS {
        let turning = &mut ws.model.coefficients.turning;
        turning.held_n.clear();
        turning.held_n.extend_from_slice(held_n);
        // loads that are held stay as they are: nothing else is tried
        let ended = settle_by_rounds(ws, sharper, None).ok()?;
        let called_n = &ws.model.coefficients.turning.called_n;
        let mut off_n = 0.0_f64;
        for ((residual, called), held) in residual_n.iter_mut().zip(called_n).zip(&*held_n) {
            *residual = called - held;
            off_n = larger(off_n, residual.abs());
        }
        // by how much loads, and angles as forces, miss
        let missed_n = larger(off_n, ws.agreement.off_n);
        if missed_n < stage.loads_n() {
            ws.agreement.unsettled_n = 0.0;
            ws.agreement.off_n = missed_n;
            return Some(ended);
        }
        anderson.step(held_n, &residual_n, None);
    }
    None
}
