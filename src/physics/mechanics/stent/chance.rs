//! Random draws that do not depend on their order, and shares of samples.

use crate::math;
use crate::units::text;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// How samples are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Sampling {
    /// Samples. Default 10,000: the 95 % interval is at most 0.01 either way.
    #[serde(deserialize_with = "text::samples")]
    pub samples: u32,
    /// Seed; the same one draws the same samples on any number of threads.
    pub seed: u64,
    /// Threads. Default 1: a crossing takes milliseconds.
    #[serde(deserialize_with = "text::threads")]
    pub threads: u32,
}

impl Default for Sampling {
    fn default() -> Self {
        Self {
            samples: 10_000,
            seed: 1,
            threads: 1,
        }
    }
}

/// How often a crossing catches among the samples.
#[derive(Debug, Clone, PartialEq)]
pub struct Chance {
    /// Samples drawn.
    pub samples: u32,
    /// Samples that would catch with nothing covering the crossing.
    pub catches_bare: u32,
    /// Fall-back in each of these, mm, in rising order.
    fall_backs_mm: Vec<f64>,
}

/// A share of samples with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// The share, 0 to 1.
    pub probability: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Share {
    /// Share of `hits` in `samples` with Wilson's interval.
    ///
    /// # References
    /// Wilson (1927), *J. Am. Stat. Assoc.* 22:209-212.
    #[must_use]
    pub fn of(hits: u32, samples: u32) -> Self {
        // the 97.5 % point of the normal distribution
        const Z: f64 = 1.959_963_985;
        let n = f64::from(samples.max(1));
        let p = f64::from(hits) / n;
        let middle = p + Z * Z / (2.0 * n);
        let half = Z * (p * (1.0 - p) / n + Z * Z / (4.0 * n * n)).sqrt();
        let whole = 1.0 + Z * Z / n;
        Self {
            probability: p,
            low: ((middle - half) / whole).max(0.0),
            high: ((middle + half) / whole).min(1.0),
        }
    }
}

impl Chance {
    /// From the fall-backs (mm) of the samples that catch.
    pub(super) fn new(samples: u32, mut fall_backs_mm: Vec<f64>) -> Self {
        fall_backs_mm.sort_by(f64::total_cmp);
        Self {
            samples,
            catches_bare: u32::try_from(fall_backs_mm.len()).unwrap_or(u32::MAX),
            fall_backs_mm,
        }
    }

    /// Share of samples that catch with the covering tip `cover_mm` beyond the edge (negative:
    /// short of it; none: nothing covers).
    #[must_use]
    pub fn with_cover(&self, cover_mm: Option<f64>) -> Share {
        let hits = cover_mm.map_or(self.catches_bare, |cover_mm| {
            let shielded = self.fall_backs_mm.partition_point(|f| *f <= cover_mm);
            u32::try_from(self.fall_backs_mm.len() - shielded).unwrap_or(u32::MAX)
        });
        Share::of(hits, self.samples)
    }

    /// Distance of the covering tip beyond the edge at which at most `level` (0 to 1) of the samples
    /// catch, mm; 0 where even a bare crossing does no worse.
    #[must_use]
    pub fn cover_for_mm(&self, level: f64) -> f64 {
        let allowed = level * f64::from(self.samples);
        let mut beyond = 0.0;
        for fall_back_mm in self.fall_backs_mm.iter().rev() {
            beyond += 1.0;
            if beyond > allowed {
                return *fall_back_mm;
            }
        }
        0.0
    }
}

/// One draw of what is not known, as plain numbers: normal ones with mean 0 and deviation 1, even
/// ones from 0 to 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Drawn {
    pub(super) bend: f64,
    pub(super) thickness: f64,
    pub(super) offset: [f64; 2],
    pub(super) fall_back: f64,
    pub(super) rotation: f64,
    pub(super) sunk: f64,
    pub(super) tolerance: f64,
    pub(super) rounding: f64,
}

/// Everything in the middle.
pub(super) const NOMINAL: Drawn = Drawn {
    bend: 0.0,
    thickness: 0.0,
    offset: [0.0; 2],
    fall_back: 0.0,
    rotation: 0.0,
    sunk: 0.0,
    tolerance: 0.5,
    rounding: 0.5,
};

/// Numbers for one sample; each sample has a stream of its own, so that no sample depends on how
/// many are drawn before it or where.
pub(super) struct Stream(ChaCha8Rng);

impl Stream {
    pub(super) fn new(seed: u64, sample: u32) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        random.set_stream(u64::from(sample));
        Self(random)
    }

    /// Even in (0, 1): the middle of one of 2^32 cells.
    fn even(&mut self) -> f64 {
        (f64::from(self.0.next_u32()) + 0.5) / (f64::from(u32::MAX) + 1.0)
    }

    /// Two independent normal numbers (Box and Muller).
    pub(super) fn normal(&mut self) -> [f64; 2] {
        let radius = (-2.0 * math::ln(self.even())).sqrt();
        let (sin, cos) = math::sin_cos(TAU * self.even());
        [radius * cos, radius * sin]
    }

    pub(super) fn draw(&mut self) -> Drawn {
        let [bend, thickness] = self.normal();
        let offset = self.normal();
        let [fall_back, _] = self.normal();
        Drawn {
            bend,
            thickness,
            offset,
            fall_back,
            rotation: self.even(),
            sunk: self.even(),
            tolerance: self.even(),
            rounding: self.even(),
        }
    }
}
