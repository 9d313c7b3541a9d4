//! What an evaluation of energies comes to.

/// An energy and the size of the numbers it was summed from (for rounding), N mm.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Energy {
    pub(crate) total: f64,
    pub(crate) size: f64,
}

impl Energy {
    #[inline]
    pub(crate) fn add(&mut self, energy: f64) {
        self.total += energy;
        self.size += energy.abs();
    }

    /// Adds what was summed elsewhere.
    pub(crate) fn include(&mut self, other: Self) {
        self.total += other.total;
        self.size += other.size;
    }
}
