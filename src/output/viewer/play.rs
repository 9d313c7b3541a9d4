//! The clock of the window: playing, stopping, going from step to step.

use crate::stage::Timeline;

/// Speeds one can choose.
const SPEEDS: [f64; 7] = [0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0];
/// Place of the ordinary speed among them.
const ORDINARY: usize = 3;
/// A frame that took longer than this was no frame but a stop of the machine, s.
const LONGEST_FRAME_S: f64 = 0.5;

/// Where the film is and how it runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Play {
    /// Time on the film clock, s.
    pub at_s: f64,
    /// Whether it runs.
    pub running: bool,
    speed: usize,
}

impl Default for Play {
    fn default() -> Self {
        Self {
            at_s: 0.0,
            running: false,
            speed: ORDINARY,
        }
    }
}

impl Play {
    /// Speed, film seconds per second.
    #[must_use]
    pub fn speed(&self) -> f64 {
        SPEEDS[self.speed]
    }

    /// The next faster speed, if there is one.
    pub fn faster(&mut self) {
        self.speed = (self.speed + 1).min(SPEEDS.len() - 1);
    }

    /// The next slower speed, if there is one.
    pub fn slower(&mut self) {
        self.speed = self.speed.saturating_sub(1);
    }

    /// Lets `real_s` seconds pass; stops at the end.
    pub fn tick(&mut self, timeline: &Timeline, real_s: f64) {
        if !self.running {
            return;
        }
        self.at_s += self.speed() * real_s.clamp(0.0, LONGEST_FRAME_S);
        if self.at_s >= timeline.total_s() {
            self.at_s = timeline.total_s();
            self.running = false;
        }
    }

    /// Starts or stops; at the end it starts from the beginning.
    pub fn toggle(&mut self, timeline: &Timeline) {
        if !self.running && self.at_s >= timeline.total_s() {
            self.at_s = 0.0;
        }
        self.running = !self.running;
    }

    /// Index of the step on screen.
    #[must_use]
    pub fn step(&self, timeline: &Timeline) -> usize {
        timeline.at(self.at_s).0
    }

    /// To the end of a step, where its picture stands still; stops.
    pub fn to_step(&mut self, timeline: &Timeline, step: usize) {
        self.running = false;
        if let Some(span) = timeline
            .steps
            .get(step.min(timeline.steps.len().saturating_sub(1)))
        {
            // just before its end, which belongs to the next step
            self.at_s = span.moved_s.max(span.end_s - 1e-6);
        }
    }

    /// To the end of the next step, or of this one while it moves.
    pub fn forward(&mut self, timeline: &Timeline) {
        let (step, share) = timeline.at(self.at_s);
        self.to_step(timeline, if share < 1.0 { step } else { step + 1 });
    }

    /// To the end of the step before; from the first one to the beginning.
    pub fn back(&mut self, timeline: &Timeline) {
        match timeline.at(self.at_s).0.checked_sub(1) {
            Some(before) => self.to_step(timeline, before),
            None => {
                self.running = false;
                self.at_s = 0.0;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stage::Span;

    fn timeline() -> Timeline {
        let span = |start_s: f64| Span {
            start_s,
            moved_s: start_s + 1.0,
            end_s: start_s + 2.0,
        };
        Timeline {
            steps: vec![span(0.0), span(2.0), span(4.0)],
        }
    }

    #[test]
    fn exact_steps_go_to_their_ends_and_back() {
        let film = timeline();
        let mut play = Play::default();
        play.forward(&film);
        assert_eq!(film.at(play.at_s), (0, 1.0), "the first step's end");
        play.forward(&film);
        assert_eq!(film.at(play.at_s), (1, 1.0), "the second step's end");
        play.back(&film);
        assert_eq!(film.at(play.at_s), (0, 1.0), "back again");
        play.back(&film);
        assert!(play.at_s.abs() < 1e-12, "the beginning");
        for _ in 0..9 {
            play.forward(&film);
        }
        assert_eq!(play.step(&film), 2, "no step beyond the last");
    }

    #[test]
    fn exact_it_runs_at_its_speed_and_stops_at_the_end() {
        let film = timeline();
        let mut play = Play::default();
        play.tick(&film, 0.3);
        assert!(play.at_s.abs() < 1e-12, "stands still");
        play.toggle(&film);
        play.faster();
        play.tick(&film, 0.3);
        assert!((play.at_s - 0.6).abs() < 1e-12, "{}", play.at_s);
        for _ in 0..40 {
            play.tick(&film, 0.3);
        }
        assert!(!play.running, "stops");
        assert!((play.at_s - 6.0).abs() < 1e-12, "{}", play.at_s);
        play.toggle(&film);
        assert!(play.running && play.at_s < 1e-12, "begins anew");
    }
}
