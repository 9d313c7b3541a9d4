//! How far published bench forces lie from those found here.

use crate::math;

/// Ratio of published forces to those found, over several benches.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct BenchRatio {
    /// Mean of the ratio's natural logarithm; above zero: benches find more.
    pub mean_ln: f64,
    /// Standard deviation of that logarithm from bench to bench.
    pub sd_ln: f64,
    /// How many benches.
    pub benches: u32,
}

/// Published forces of pushes and pulls over those found for stacks posed with the usual values of the table of friction
/// and of the cabinet's devices: benches find twice as much, within a factor of two and a half either way. Forces told
/// are to be widened by it.
///
/// | bench | published | found | ratio | source |
/// | --- | --- | --- | --- | --- |
/// | microcatheter over a 0.014 in wire, 560 degrees, N | 0.09 to 0.14 | 0.051 | 2.19 | AJNR 1998;19:1571 |
/// | retriever out of the most tortuous of several models, N | 1.2 to 1.6 | 0.74 | 1.87 | Front Neurol 2024;15:1486738 |
/// | retriever begins to move, N | 0.09 to 0.33 | 0.32 | 0.54 | Front Neurol 2022;13:964354 |
/// | retriever, most on its way, N | 0.36 to 0.80 | 0.48 | 1.12 | the same |
/// | coronary delivery system, mean track force, N | 0.55 to 1.14 | 0.077 | 10.3 | Catheter Cardiovasc Interv 2009;73:350 |
/// | hub over tip force of it at 4 N | 2.6 to 5.4 | 1.72 | 2.18 | the same |
/// | folded stent in a microcatheter, most of four, N | 0.54 | 0.34 | 1.61 | Neurointervention 2017;12:31 |
///
/// Shapes and devices of most benches are not published; three shapes each stand in `tests/benches_of_others.rs`, which finds
/// these figures again. Lengths, suction, limits that are kept, and the simple model by which the outward force of retrievers was
/// set are left out.
pub const BENCH_RATIO: BenchRatio = BenchRatio {
    mean_ln: 0.64,
    sd_ln: 0.89,
    benches: 7,
};

impl BenchRatio {
    /// Factors by which a force found is multiplied for what two benches in three would find: least and most.
    ///
    /// # Validity
    /// One standard deviation either way of the mean, as if logarithms of ratios were normal: with so few benches an
    /// order of magnitude of the doubt, no probability.
    #[must_use]
    pub fn factors(self) -> [f64; 2] {
        [-1.0, 1.0].map(|side| math::exp(self.mean_ln + side * self.sd_ln))
    }
}
