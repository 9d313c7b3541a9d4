//! What may go wrong and is then done again: chances, each with its source, and the time it costs.

use super::table::{Chances, Durations};
use super::times::SpreadOfTimes;
use crate::procedure::ledger::Events;
use crate::procedure::script::{Action, Plan};
use crate::procedure::steps::Passed;
use rand::{Rng, RngExt};
use serde::{Deserialize, Serialize};

/// Times of courses in which tries fail.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Disturbed {
    /// How every milestone varies.
    pub spread: SpreadOfTimes,
    /// Mean time to the open retriever, s; none without one.
    pub retriever_open_mean_s: Option<f64>,
    /// Mean time to reperfusion, s; none where it never comes.
    pub reperfusion_mean_s: Option<f64>,
    /// Mean number of passes.
    pub passes_mean: f64,
}

/// What of a script is done again when something fails, by activity of the clock.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Again {
    /// Share of passes that bring the clot, most passes, what a pass is made of, and what ends later for it.
    pass: Option<(f64, usize, Vec<usize>, usize)>,
    /// Share of stents that need a balloon first, what that takes, s, and what ends later for it.
    balloon: Option<(f64, f64, usize)>,
    /// The same for the way from the groin.
    access: Option<(f64, f64, usize)>,
}

impl Again {
    /// What a script does again, `of_step` giving the activity of each step and `dwell` the retriever's wait.
    pub(super) fn of(
        plan: &Plan,
        table: &Durations,
        passed: &[Passed],
        of_step: &[usize],
        dwell: Option<usize>,
    ) -> Self {
        let Some(chances) = &table.chances else {
            return Self::default();
        };
        let events = Events::of(plan, passed);
        Self {
            pass: pass(plan, chances, &events, passed, of_step, dwell),
            balloon: balloon(plan, table, chances, passed, of_step),
            access: access(plan, table, chances, &events, of_step),
        }
    }

    /// Adds to the durations of a course what is done again in it; returns the number of passes.
    pub(super) fn draw(&self, rng: &mut impl Rng, duration_s: &mut [f64], pace: f64) -> f64 {
        let mut passes = 1.0;
        if let Some((succeeds, most, steps, ends)) = &self.pass {
            let once_s: f64 = steps.iter().map(|i| duration_s[*i]).sum();
            let mut made = 1;
            while made < *most && rng.random::<f64>() >= *succeeds {
                made += 1;
                passes += 1.0;
                duration_s[*ends] += once_s;
            }
        }
        for (share, takes_s, ends) in [&self.balloon, &self.access].into_iter().flatten() {
            if rng.random::<f64>() < *share {
                duration_s[*ends] += pace * takes_s;
            }
        }
        passes
    }
}

/// The steps of a pass: all that moves above the skull base from the first crossing of the clot to its way out,
/// and the retriever's wait; one after the other, as nothing else runs beside a second pass.
fn pass(
    plan: &Plan,
    chances: &Chances,
    events: &Events,
    passed: &[Passed],
    of_step: &[usize],
    dwell: Option<usize>,
) -> Option<(f64, usize, Vec<usize>, usize)> {
    let out = events.clot_out?;
    let first = events.clot_crossed.unwrap_or(out).min(out);
    let near_mm = plan
        .track
        .clots
        .iter()
        .map(|c| c.start_mm)
        .fold(f64::INFINITY, f64::min);
    let skull_mm = plan.track.landmark("skull-base").unwrap_or(near_mm);
    let in_head = |p: &Passed| {
        let mut moves = p.effect.moves.iter();
        let changes = p.before.open != p.after.open;
        changes || moves.any(|m| m.from_mm.max(m.to_mm) > skull_mm)
    };
    let steps = (first..=out).filter(|i| in_head(&passed[*i]));
    let mut activities: Vec<usize> = steps.map(|i| of_step[i]).collect();
    activities.extend(dwell);
    let by = match events.retriever_opened {
        Some(_) => &chances.retriever_pass,
        None => &chances.suction_pass,
    };
    Some((by.share, chances.most_passes, activities, of_step[out]))
}

/// A stent system that does not go through: off again, a balloon in, up, down and off, and the stent in again.
fn balloon(
    plan: &Plan,
    table: &Durations,
    chances: &Chances,
    passed: &[Passed],
    of_step: &[usize],
) -> Option<(f64, f64, usize)> {
    let of = |wanted: &dyn Fn(&Action) -> bool| {
        let mut steps = plan.script.iter().zip(passed);
        steps.position(|(s, p)| p.effect.performed && wanted(&s.act))
    };
    let released = of(&|act| matches!(act, Action::DeployStent { .. }))?;
    let dilated = of(
        &|act| matches!(act, Action::Inflate { device, .. } if plan.device_index(device).is_some_and(|k| dilates(plan, k))),
    );
    if dilated.is_some_and(|i| i < released) {
        return None;
    }
    let h = &table.handling;
    let works = [
        &h.remove,
        &h.load_rapid,
        &h.inflate,
        &h.deflate,
        &h.remove,
        &h.load_rapid,
    ];
    let takes_s = works.iter().map(|w| w.takes_s.mean()).sum();
    Some((
        chances.stent_needs_balloon.share,
        takes_s,
        of_step[released],
    ))
}

fn dilates(plan: &Plan, device: usize) -> bool {
    use crate::device::Payload;
    let payload = plan.devices[device].device.payload.as_ref();
    matches!(payload, Some(Payload::Balloon(_)))
}

/// The way from the groin is given up: another puncture, and the carotid sought again.
fn access(
    plan: &Plan,
    table: &Durations,
    chances: &Chances,
    events: &Events,
    of_step: &[usize],
) -> Option<(f64, f64, usize)> {
    let in_neck = events.guide_in_neck?;
    plan.track.landmark("aortic-bifurcation").ok()?;
    let h = &table.handling;
    let takes_s = h.puncture.takes_s.mean() + h.find_carotid.takes_s.mean();
    Some((chances.groin_given_up.share, takes_s, of_step[in_neck]))
}

/// Mean of what every course has; none where one lacks it.
pub(super) fn mean(values: &[Option<f64>]) -> Option<f64> {
    let all: Option<Vec<f64>> = values.iter().copied().collect();
    let all = all.filter(|all| !all.is_empty())?;
    #[expect(
        clippy::cast_precision_loss,
        reason = "a hundred thousand courses at most"
    )]
    let count = all.len() as f64;
    Some(all.iter().sum::<f64>() / count)
}
