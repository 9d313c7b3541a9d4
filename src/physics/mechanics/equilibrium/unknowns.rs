//! The place that is sought: offsets and rolls.

/// Offsets of all nodes that can move, mm, and rolls of all rods, rad.
#[derive(Debug, Clone, Default)]
pub(crate) struct Unknowns {
    pub(crate) x: Vec<f64>,
    pub(crate) rolls: Vec<f64>,
    /// Which rod each unknown roll belongs to.
    pub(crate) free_rolls: Vec<usize>,
}

impl Unknowns {
    /// Takes over where another place is.
    pub(crate) fn copy(&mut self, other: &Self) {
        self.x.clone_from(&other.x);
        self.rolls.clone_from(&other.rolls);
    }

    /// Moves on by a step: offsets, then unknown rolls.
    pub(crate) fn advance(&mut self, step: &[f64]) {
        for (x, s) in self.x.iter_mut().zip(step) {
            *x += s;
        }
        let by_roll = &step[self.x.len()..];
        for (rod, s) in self.free_rolls.iter().zip(by_roll) {
            self.rolls[*rod] += s;
        }
    }

    /// Goes to a part of a step from another place.
    pub(crate) fn set_along(&mut self, from: &Self, part: f64, step: &[f64]) {
        for ((x, old), s) in self.x.iter_mut().zip(&from.x).zip(step) {
            *x = old + part * s;
        }
        let by_roll = &step[self.x.len()..];
        for (rod, s) in self.free_rolls.iter().zip(by_roll) {
            self.rolls[*rod] = from.rolls[*rod] + part * s;
        }
    }
}
