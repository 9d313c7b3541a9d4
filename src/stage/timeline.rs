//! When each step is on the film.

use crate::procedure::{Action, Passed, Plan};
use serde::{Deserialize, Serialize};

/// How fast the film runs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Pace {
    /// Speed of tips on the film, mm/s. Default 300: the whole route in about three seconds.
    pub tip_mm_per_s: f64,
    /// Shortest motion, s. Default 0.8: shorter ones jump.
    pub least_motion_s: f64,
    /// Time for something that opens, closes, is released or inflated, s. Default 2.
    pub event_s: f64,
    /// Stillness after each step, s, in which its caption is read. Default 0.8.
    pub hold_s: f64,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            tip_mm_per_s: 300.0,
            least_motion_s: 0.8,
            event_s: 2.0,
            hold_s: 0.8,
        }
    }
}

/// One step on the film.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Span {
    /// Start, s.
    pub start_s: f64,
    /// End of its motion, s.
    pub moved_s: f64,
    /// End, s; the next step's start.
    pub end_s: f64,
}

/// All steps on the film, in order and without gaps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Timeline {
    /// One span for each step of the script.
    pub steps: Vec<Span>,
}

impl Timeline {
    /// Every step as long as its longest motion takes, and the stillness after it.
    #[must_use]
    pub fn new(plan: &Plan, passed: &[Passed], pace: &Pace) -> Self {
        let mut start_s = 0.0;
        let steps = plan.script.iter().zip(passed).map(|(step, done)| {
            let moves = done.effect.moves.iter();
            let travel_mm = moves
                .map(|m| (m.to_mm - m.from_mm).abs())
                .fold(0.0, f64::max);
            let shown = matches!(
                step.act,
                Action::Unsheathe { .. }
                    | Action::DeployStent { .. }
                    | Action::Inflate { .. }
                    | Action::Deflate { .. }
            );
            let motion_s = match (done.effect.performed, shown, travel_mm > 0.0) {
                (false, ..) | (true, false, false) => 0.0,
                (true, true, _) => pace.event_s,
                // the eased motion is half as fast again in its middle
                (true, false, true) => {
                    (1.5 * travel_mm / pace.tip_mm_per_s).max(pace.least_motion_s)
                }
            };
            let span = Span {
                start_s,
                moved_s: start_s + motion_s,
                end_s: start_s + motion_s + pace.hold_s,
            };
            start_s = span.end_s;
            span
        });
        Self {
            steps: steps.collect(),
        }
    }

    /// Length of the film, s.
    #[must_use]
    pub fn total_s(&self) -> f64 {
        self.steps.last().map_or(0.0, |s| s.end_s)
    }

    /// Stretched or compressed to another length, s.
    #[must_use]
    pub fn scaled_to(&self, total_s: f64) -> Self {
        let factor = if self.total_s() > 0.0 {
            total_s / self.total_s()
        } else {
            1.0
        };
        Self {
            steps: self
                .steps
                .iter()
                .map(|s| Span {
                    start_s: s.start_s * factor,
                    moved_s: s.moved_s * factor,
                    end_s: s.end_s * factor,
                })
                .collect(),
        }
    }

    /// The step on screen at a time, and the eased share of its motion that is done. Times before the
    /// beginning show the beginning, times after the end the end.
    #[must_use]
    pub fn at(&self, time_s: f64) -> (usize, f64) {
        let after = self.steps.partition_point(|s| s.end_s <= time_s);
        let step = after.min(self.steps.len().saturating_sub(1));
        let Some(span) = self.steps.get(step) else {
            return (0, 1.0);
        };
        let length_s = span.moved_s - span.start_s;
        if length_s <= 0.0 {
            return (step, 1.0);
        }
        (
            step,
            ease(((time_s - span.start_s) / length_s).clamp(0.0, 1.0)),
        )
    }
}

/// Starts and ends at rest: the smooth step.
pub(super) fn ease(t: f64) -> f64 {
    t * t * (3.0 - 2.0 * t)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn timeline() -> Timeline {
        Timeline {
            steps: vec![
                Span {
                    start_s: 0.0,
                    moved_s: 2.0,
                    end_s: 3.0,
                },
                Span {
                    start_s: 3.0,
                    moved_s: 3.0,
                    end_s: 4.0,
                },
            ],
        }
    }

    #[test]
    fn exact_places_on_the_film() {
        let film = timeline();
        assert_eq!(film.at(-1.0), (0, 0.0), "before it");
        assert_eq!(film.at(1.0), (0, 0.5), "middle of a motion");
        assert_eq!(film.at(2.5), (0, 1.0), "still");
        assert_eq!(film.at(3.0), (1, 1.0), "a step without motion");
        assert_eq!(film.at(9.0), (1, 1.0), "after it");
        let short = film.scaled_to(2.0);
        assert!((short.steps[0].moved_s - 1.0).abs() < 1e-12, "halved");
    }
}
