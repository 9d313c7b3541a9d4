//! Stretch of the rod that slides: axial force, friction and how far surfaces have taken hold, at once.
//!
//! ```text
//! added(i) - added(i-1) = F(i)          friction at station i, against slip towards the tip
//! added + bare = T(before) + EA de/ds   e: by how much the rod has stretched up to a station since the increment began
//! F = mu q a / max(r, d),  a = z + du + e,  r = |(a, across)|
//! ```
//!
//! At given contact forces this is the gradient of a convex energy, so Newton's method with a step that goes downhill
//! finds its one solution; contact forces follow the load by their slopes, round by round.

use super::friction_sum::SlidingContact;

/// Stretch from one round of contact forces to the next that is none, as a force, N.
const STILL_N: f64 = 1e-8;
/// Most rounds of contact forces, and most Newton steps of each.
const MOST_ROUNDS: usize = 200;
const MOST_STEPS: usize = 200;
/// Distance over which surfaces take hold at first, mm, and by which share that falls.
const FIRST_STICK_MM: f64 = 0.1;
const STICK_LESS: f64 = 0.2;
/// Share of the energy by which its sum is lost in rounding.
const ROUNDING: f64 = 1e-13;
/// Largest slope that is left, N, as a share of the forces.
const LEVEL: f64 = 1e-8;

/// What stretches, by station from the hub; lists `[stations]`.
pub(crate) struct Stretch<'a> {
    /// Axial stiffness `EA`, N.
    pub(crate) stiffness_n: f64,
    /// Length of the rod from each station to the next, mm, one less.
    pub(crate) cells_mm: &'a [f64],
    /// Load without friction, and all of it before the increment, N.
    pub(crate) bare_n: &'a [f64],
    pub(crate) before_n: &'a [f64],
    /// Distance over which surfaces take hold, mm.
    pub(crate) stick_mm: f64,
}

/// A contact of the rod as it slips: memory and slip along but for the stretch, and across, mm.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Slipping {
    pub(crate) along_mm: f64,
    pub(crate) across_mm: f64,
}

impl Slipping {
    /// Of a contact that has not slipped.
    pub(crate) const AT_REST: Self = Self {
        along_mm: 0.0,
        across_mm: 0.0,
    };

    /// Friction for 1 N at most, and its slope, 1/mm, at a stretch.
    pub(crate) fn friction(&self, stretch_mm: f64, stick_mm: f64) -> (f64, f64) {
        let a = self.along_mm + stretch_mm;
        let squared = a * a + self.across_mm * self.across_mm;
        let r = squared.sqrt();
        if r <= stick_mm {
            (a / stick_mm, 1.0 / stick_mm)
        } else {
            (a / r, self.across_mm * self.across_mm / (squared * r))
        }
    }

    /// Energy of it, mm.
    fn energy(&self, stretch_mm: f64, stick_mm: f64) -> f64 {
        let a = self.along_mm + stretch_mm;
        let r = (a * a + self.across_mm * self.across_mm).sqrt();
        if r <= stick_mm {
            0.5 * r * r / stick_mm
        } else {
            r - 0.5 * stick_mm
        }
    }
}

impl Stretch<'_> {
    /// Friction of every contact, in its `friction_n` (positive: against slip towards the tip), and by station the
    /// load that it adds, N; returns by station how far the rod has stretched since the increment began, mm. None where it
    /// comes to no rest.
    pub(crate) fn solve(
        &self,
        contacts: &mut [SlidingContact],
        slipping: &[Slipping],
        added_n: &mut [f64],
    ) -> Option<Vec<f64>> {
        let mut stretch_mm = vec![0.0; self.bare_n.len()];
        let mut most_n: Vec<f64> = Vec::new();
        for _ in 0..MOST_ROUNDS {
            let before_n = added_n.to_vec();
            most_n.clear();
            most_n.extend(contacts.iter().map(|c| {
                let load_n = self.bare_n[c.station] + added_n[c.station];
                let force_n = c.force_n + c.slope * (load_n - c.load_n);
                c.friction * c.share * force_n.max(0.0)
            }));
            // from surfaces that take hold over a long way to those that do at once: a step knows one kink at a time
            let mut stick_mm = FIRST_STICK_MM.max(self.stick_mm);
            loop {
                self.rest((contacts, slipping, &most_n), stick_mm, &mut stretch_mm)?;
                if stick_mm <= self.stick_mm {
                    break;
                }
                stick_mm = (STICK_LESS * stick_mm).max(self.stick_mm);
            }
            self.add(contacts, slipping, (&most_n, &stretch_mm), added_n);
            let changes = added_n.iter().zip(&before_n);
            let changed_n = changes.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            if changed_n.is_nan() {
                return None;
            }
            if changed_n < STILL_N {
                return Some(stretch_mm);
            }
        }
        None
    }

    /// Friction and loads at a stretch.
    fn add(
        &self,
        contacts: &mut [SlidingContact],
        slipping: &[Slipping],
        (most_n, stretch_mm): (&[f64], &[f64]),
        added_n: &mut [f64],
    ) {
        let mut here_n = vec![0.0; added_n.len()];
        for ((contact, slip), most_n) in contacts.iter_mut().zip(slipping).zip(most_n) {
            let (share, _) = slip.friction(stretch_mm[contact.station], self.stick_mm);
            contact.friction_n = most_n * share;
            here_n[contact.station] += contact.friction_n;
        }
        let mut sum_n = 0.0;
        for (added_n, here_n) in added_n.iter_mut().zip(&here_n).rev() {
            // at a station, half of what acts there
            *added_n = sum_n - 0.5 * here_n;
            sum_n -= here_n;
        }
    }

    /// The stretch at rest under these contact forces.
    fn rest(
        &self,
        (contacts, slipping, most_n): (&[SlidingContact], &[Slipping], &[f64]),
        stick_mm: f64,
        stretch_mm: &mut [f64],
    ) -> Option<()> {
        let last = stretch_mm.len() - 1;
        let springs: Vec<f64> = (self.cells_mm.iter())
            .map(|h| self.stiffness_n / h)
            .collect();
        // what a cell carries at no stretch, less the load without friction
        let at_rest_n: Vec<f64> = (0..last)
            .map(|i| {
                0.5 * (self.before_n[i] + self.before_n[i + 1]
                    - self.bare_n[i]
                    - self.bare_n[i + 1])
            })
            .collect();
        let energy = |e: &[f64]| {
            let cells = springs.iter().zip(&at_rest_n).enumerate();
            let held: f64 = cells
                .map(|(i, (k, at_rest_n))| {
                    let longer = e[i + 1] - e[i];
                    longer * (at_rest_n + 0.5 * k * longer)
                })
                .sum();
            let rubbed = contacts.iter().zip(slipping).zip(most_n);
            held + rubbed
                .map(|((c, s), most_n)| most_n * s.energy(e[c.station], stick_mm))
                .sum::<f64>()
        };
        let size_n =
            most_n.iter().sum::<f64>() + at_rest_n.iter().map(|t| t.abs()).fold(0.0, f64::max);
        for _ in 0..MOST_STEPS {
            // slope and curvature, the hub held
            let mut slope_n = vec![0.0; last + 1];
            let mut stiff = vec![0.0; last + 1];
            for i in 0..last {
                let load_n = at_rest_n[i] + springs[i] * (stretch_mm[i + 1] - stretch_mm[i]);
                slope_n[i] -= load_n;
                slope_n[i + 1] += load_n;
                stiff[i] += springs[i];
                stiff[i + 1] += springs[i];
            }
            for ((contact, slip), most_n) in contacts.iter().zip(slipping).zip(most_n) {
                let i = contact.station;
                let (share, slope) = slip.friction(stretch_mm[i], stick_mm);
                slope_n[i] += most_n * share;
                stiff[i] += most_n * slope;
            }
            let steepest_n = slope_n[1..].iter().map(|s| s.abs()).fold(0.0, f64::max);
            if steepest_n.is_nan() {
                return None;
            }
            if steepest_n <= LEVEL * size_n {
                return Some(());
            }
            let step = tridiagonal(&springs[1..], &stiff[1..], &slope_n[1..]);
            let along: f64 = step.iter().zip(&slope_n[1..]).map(|(d, s)| d * s).sum();
            let from = energy(stretch_mm);
            let mut share = 1.0;
            let mut next = stretch_mm.to_vec();
            loop {
                for (i, d) in step.iter().enumerate() {
                    next[i + 1] = stretch_mm[i + 1] - share * d;
                }
                let fell = from - energy(&next);
                if fell >= 1e-4 * share * along || fell.abs() <= ROUNDING * from.abs() {
                    break;
                }
                share *= 0.5;
                if share < 1e-9 {
                    return Some(());
                }
            }
            stretch_mm.copy_from_slice(&next);
        }
        None
    }
}

/// Solves a symmetric matrix with `-springs` beside its diagonal `stiff`.
fn tridiagonal(springs: &[f64], stiff: &[f64], right: &[f64]) -> Vec<f64> {
    let n = stiff.len();
    let mut pivot = stiff.to_vec();
    let mut x = right.to_vec();
    for i in 1..n {
        let share = springs[i - 1] / pivot[i - 1];
        pivot[i] -= share * springs[i - 1];
        x[i] += share * x[i - 1];
    }
    for i in (0..n).rev() {
        if i + 1 < n {
            x[i] += springs[i] * x[i + 1];
        }
        x[i] /= pivot[i];
    }
    x
}
