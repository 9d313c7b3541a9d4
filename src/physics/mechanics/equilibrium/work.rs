//! Work done, and what happened on the way.

/// Work done and the most that may be: unknowns of all factorisations together, the same on every
/// machine.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Work {
    pub(crate) done: u64,
    pub(crate) most: u64,
}

impl Work {
    /// Counts a factorisation; false where that is one too many.
    fn factorise(&mut self, unknowns: usize) -> bool {
        self.done = self.done.saturating_add(unknowns as u64);
        !self.is_over()
    }

    pub(crate) const fn is_over(&self) -> bool {
        self.done > self.most
    }
}

/// What happened on the way.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct History {
    pub(crate) steps: usize,
    pub(crate) factorisations: usize,
    /// Largest force out of balance before every step, N.
    pub(crate) residuals_n: Vec<f64>,
    /// Energies of every run: the start, then after every step, N mm. A run ends where
    /// coefficients change.
    pub(crate) energies_n_mm: Vec<Vec<f64>>,
}

/// Both, kept together.
#[derive(Debug, Clone, Default)]
pub(crate) struct Effort {
    pub(crate) work: Work,
    pub(crate) history: History,
}

impl Effort {
    /// Counts a factorisation of so many unknowns; none where that is one too many.
    pub(crate) fn factorise(&mut self, unknowns: usize) -> Option<()> {
        self.history.factorisations += 1;
        self.work.factorise(unknowns).then_some(())
    }
}
