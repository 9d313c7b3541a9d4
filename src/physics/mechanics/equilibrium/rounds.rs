//! Rounds: shape, and the stiffness and loads that follow it, in turns until all agree.

use super::hub_regularised::{STEPS_BETWEEN_LOOKS, UNSETTLED_N};
use super::newton::Ended;
use super::prolapse::look_for_prolapse;
use super::workspace::{Stage, Workspace};
use crate::mechanics::error::MechanicsError;
use crate::units::Allowed;

/// Most rounds in which stiffness, loads and shape follow each other; each round shrinks the
/// mismatch by a factor of hundreds, so more than a handful means that something oscillates.
const MOST_ROUNDS: usize = 40;
/// The same where the shape only prepares the next stage.
const PREPARING_ROUNDS: usize = 3;
/// How far stiffness and diameters may still slide along a rod from one round to the next, mm: in
/// agreement, and where rounds run out; both far below what tapers are known to.
const SETTLED_MM: f64 = 1e-8;
const UNSETTLED_MM: f64 = 1e-3;
/// Rounds before loads and shape are held to swing, and by how much they must come nearer in so many
/// rounds.
const FEWEST_ROUNDS: usize = 6;
const STALLED_ROUNDS: usize = 4;
const STALLED: f64 = 0.25;
/// Balance of the first two rounds, N: loads and diameters still move after them, by more than that.
const FIRST_ROUNDS_N: [f64; 2] = [1e-3, 1e-5];

/// Another way to shapes and loads that agree; none where it ends nowhere.
pub(crate) type Rescue<'a> = &'a dyn Fn(&mut Workspace) -> Option<Ended>;

/// Shape, stiffness by own arc length and loads, until all agree; where they stall, `rescue` is tried once.
pub(crate) fn settle_by_rounds(
    ws: &mut Workspace,
    stage: Stage<'_>,
    mut rescue: Option<Rescue<'_>>,
) -> Result<Ended, MechanicsError> {
    ws.newton.direction.definite = None;
    ws.model.coefficients.restart_loads();
    ws.agreement.unsettled_n = 0.0;
    if let Some(ended) = follow(ws, stage) {
        ws.agreement.off_n = ws.model.coefficients.relaxation.unsettled_n;
        return Ok(ended);
    }
    ws.model.coefficients.restart_loads();
    let rounds = if stage.prepares {
        PREPARING_ROUNDS
    } else {
        MOST_ROUNDS
    };
    let mut last = None;
    let mut misses = Vec::new();
    for round in 0..rounds {
        let steps = ws.newton.effort.history.steps;
        let (ended, slid_mm) = run_round(ws, stage, round)?;
        if !ended.converged {
            return Ok(ended);
        }
        let unsettled_n = ws.model.coefficients.relaxation.unsettled_n;
        let agrees = slid_mm < SETTLED_MM;
        let rests = ws.newton.effort.history.steps == steps;
        let settled = if ws.follows {
            rests && (agrees || round < FEWEST_ROUNDS) && unsettled_n < stage.loads_n()
        } else {
            agrees || (rests && round < FEWEST_ROUNDS)
        };
        if settled && round > 0 && ended.residual_n < stage.tolerance_n {
            ws.agreement.off_n = unsettled_n;
            return Ok(ended);
        }
        last = Some(ended);
        misses.push(unsettled_n);
        let stalled = stalls(&misses, stage.loads_n()) && !stage.prepares;
        if stalled && ws.gives_up {
            return Err(not_converged(ws, &ended, stage.tolerance_n, true));
        }
        if stalled && let Some(rescue) = rescue.take() {
            if let Some(ended) = rescue(ws) {
                return Ok(ended);
            }
            ws.model.coefficients.restart_loads();
        }
    }
    rounds_ran_out(ws, stage, last)
}

/// Near a solution: coefficients follow at every step.
fn follow(ws: &mut Workspace, stage: Stage<'_>) -> Option<Ended> {
    let (settings, follows) = (&ws.settings, ws.follows);
    ws.newton
        .follow(&mut ws.model, stage.tolerance_n, |model, at| {
            model.store(&at.x);
            model.update(stage.scene, settings, &at.rolls, stage.stiffest);
            !follows || model.coefficients.relaxation.unsettled_n < stage.loads_n()
        })
}

/// One round: coefficients by the shape, and balance with them. Returns as well how far these slid along the
/// rods, mm. Not converged only where the stage prepares another.
fn run_round(
    ws: &mut Workspace,
    stage: Stage<'_>,
    round: usize,
) -> Result<(Ended, f64), MechanicsError> {
    let most = ws.settings.most_newton_steps;
    ws.model.coefficients.relaxation.halved = round >= FEWEST_ROUNDS;
    ws.update(stage.scene, stage.stiffest);
    let slid_mm = ws.model.coefficients.relaxation.slid_mm;
    // Early rounds need not be exact: the coefficients still move.
    let rough_n = FIRST_ROUNDS_N.get(round).copied().unwrap_or(0.0);
    let near_n = stage.tolerance_n.max(rough_n);
    let mut ended;
    loop {
        let until = (ws.newton.effort.history.steps + STEPS_BETWEEN_LOOKS).min(most);
        ended = ws.newton.run(&mut ws.model, near_n, until);
        if ended.converged || ws.newton.effort.history.steps < until || until == most {
            break;
        }
        look_for_prolapse(ws, stage.scene)?;
    }
    if !ended.converged {
        if ws.newton.effort.work.is_over() {
            return Err(not_converged(ws, &ended, stage.tolerance_n, false));
        }
        if !(stage.prepares && ended.residual_n.is_finite()) {
            look_for_prolapse(ws, stage.scene)?;
            return Err(not_converged(ws, &ended, stage.tolerance_n, false));
        }
    }
    Ok((ended, slid_mm))
}

/// Whether loads and shape no longer come nearer to each other.
fn stalls(misses: &[f64], loads_n: f64) -> bool {
    let round = misses.len() - 1;
    round >= FEWEST_ROUNDS
        && misses[round] > STALLED * misses[round - STALLED_ROUNDS]
        && misses[round] > loads_n
}

/// In balance under the loads used; how far those are from the shape's own is told. Stiffness and
/// diameters that do not come to agree with the shape are not let pass.
fn rounds_ran_out(
    ws: &mut Workspace,
    stage: Stage<'_>,
    last: Option<Ended>,
) -> Result<Ended, MechanicsError> {
    let relaxation = &ws.model.coefficients.relaxation;
    let unsettled_n = relaxation.unsettled_n;
    let settled_mm = relaxation.slid_mm < UNSETTLED_MM;
    match last {
        Some(ended) if stage.prepares => Ok(ended),
        Some(ended) if settled_mm && unsettled_n < UNSETTLED_N => {
            let off = unsettled_n >= stage.loads_n();
            ws.agreement.unsettled_n = if off { unsettled_n } else { 0.0 };
            ws.agreement.off_n = unsettled_n;
            Ok(ended)
        }
        Some(mut ended) => {
            ended.residual_n = unsettled_n;
            Err(not_converged(ws, &ended, stage.tolerance_n, true))
        }
        None => Err(MechanicsError::OutOfRange {
            what: "rounds".into(),
            found: 0.0,
            needed: Allowed::in_words("at least 1").at_least(1.0),
        }),
    }
}

fn not_converged(ws: &Workspace, ended: &Ended, needed_n: f64, rounds: bool) -> MechanicsError {
    let effort = &ws.newton.effort;
    if effort.work.is_over() {
        return MechanicsError::OverBound {
            most: effort.work.most,
        };
    }
    if !ended.residual_n.is_finite() {
        return MechanicsError::NonFinite {
            what: "the force out of balance",
        };
    }
    let owner = &ws.model.layout.numbering.owner;
    let (rod, station_mm) = owner
        .get(ended.worst / 2)
        .map_or((0, f64::NAN), |(rod, s)| (*rod as usize, *s));
    MechanicsError::NotConverged {
        steps: effort.history.steps,
        residual_n: ended.residual_n,
        needed_n,
        rod,
        station_mm,
        hint: if rounds {
            "shape and the stiffness and load that follow the rod's own arc length keep changing each other: give the axial load by station, or come from a neighbouring state in smaller moves"
        } else if effort.history.steps >= ws.settings.most_newton_steps {
            "allow more Newton steps, or come from a neighbouring state in smaller moves"
        } else {
            "the energy falls no further: soften the wall or the load, or refine the stations"
        },
    }
}
