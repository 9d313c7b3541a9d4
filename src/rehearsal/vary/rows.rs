//! What a case's number stands for.

use crate::mechanics::Level;

/// What a case is drawn from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Draw {
    A,
    B,
    /// A, but the group of this index from B.
    Mixed(usize),
    /// A, with other materials.
    At(Level),
}

/// How numbers run through rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Rows {
    /// Groups that differ.
    pub(super) groups: usize,
    /// Ruled lengths know no materials.
    pub(super) by_ruler: bool,
}

impl Rows {
    /// Cases of one row.
    pub(super) fn cases(self) -> u64 {
        let groups = u64::try_from(self.groups).unwrap_or(0);
        2 + groups + if self.by_ruler { 0 } else { 2 }
    }

    /// The row of a case, and what it is drawn from.
    pub(super) fn draw(self, number: u64) -> (u64, Draw) {
        let (row, place) = (number / self.cases(), number % self.cases());
        let draw = match usize::try_from(place).unwrap_or(0) {
            0 => Draw::A,
            1 => Draw::B,
            place if place < self.groups + 2 => Draw::Mixed(place - 2),
            place if place == self.groups + 2 => Draw::At(Level::Least),
            _ => Draw::At(Level::Most),
        };
        (row, draw)
    }
}
