//! Friction along a rod that slides, and what it does to the rods it slides on.
//!
//! From the tip to the hub the configurational load changes by the friction met on the way. A
//! contact's force follows the load it helps to carry (in a bend by the angle turned there), so it
//! is taken as `q + (dq/d tau) (tau - tau0)` about the last shape and the sum is made implicitly,
//! by the trapezoidal rule from station to station: a limp rod on a rigid wall then meets the
//! capstan law in one pass, where the plain sum converges like `(mu theta)^n / n!`.

use super::arrangement::Resistance;
use crate::geometry::Vector;
use crate::mechanics::equilibrium::solution::Solution;
use crate::mechanics::rod::scene::TubeStation;

/// Least part of the implicit sum's denominator, `1 - mu theta / 2`: a wire would have to turn by
/// more than a right angle from one station to the next to come near it.
const LEAST_DENOMINATOR: f64 = 0.2;

/// One contact of the rod that slides.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SlidingContact {
    /// Station it is counted at.
    pub(crate) station: usize,
    /// Arc length of the centre line, mm.
    pub(crate) s_mm: f64,
    /// Share of it counted there.
    pub(crate) share: f64,
    /// Partner: none is the vessel.
    pub(crate) other: Option<usize>,
    pub(crate) friction: f64,
    /// Size of its force at the load `load_n`, N.
    pub(crate) force_n: f64,
    /// Its change with the load.
    pub(crate) slope: f64,
    pub(crate) load_n: f64,
    /// Friction found, N.
    pub(crate) friction_n: f64,
    /// What a lesion asks for: given, no contact; negative where it drives the rod on.
    pub(crate) given: bool,
}

/// Memory for the sums.
#[derive(Debug, Clone, Default)]
pub(crate) struct FrictionAccumulation {
    /// Contacts of the rod that slides, from the tip to the hub.
    pub(crate) list: Vec<SlidingContact>,
    bend: Vec<Vector>,
}

/// Curvature vectors at a rod's nodes; none at its ends.
fn bends(solution: &Solution, k: usize, out: &mut Vec<Vector>) {
    let at = &solution.rods[k].position_mm;
    out.clear();
    out.resize(at.len(), Vector::zeros());
    for i in 1..at.len().saturating_sub(1) {
        let (a, b) = (at[i] - at[i - 1], at[i + 1] - at[i]);
        let (la, lb) = (a.norm(), b.norm());
        out[i] = (b / lb - a / la) * (2.0 / (la + lb));
    }
}

impl FrictionAccumulation {
    /// Lists the contacts of rod `k` with their friction coefficients, and what else holds it back.
    pub(crate) fn gather(
        &mut self,
        tube: &[TubeStation],
        solution: &Solution,
        k: usize,
        friction: &dyn Fn(Option<usize>) -> f64,
        resistance: Resistance<'_>,
    ) {
        bends(solution, k, &mut self.bend);
        let rod = &solution.rods[k];
        let nodes = rod.station_mm.len();
        self.list.clear();
        for contact in &solution.contacts {
            let (other, sign) = if contact.rod == k {
                (contact.other, 1.0)
            } else if contact.other == Some(k) {
                (Some(contact.rod), -1.0)
            } else {
                continue;
            };
            let force = contact.force_in_space_n * sign;
            let size = force.norm();
            if size.is_nan() || size <= 0.0 {
                continue;
            }
            let s = contact.station_mm;
            let (b, part) = rod.place(s);
            let bend = self.bend[b - 1] * (1.0 - part) + self.bend[b] * part;
            let load_n = rod.load_n[b - 1] * (1.0 - part) + rod.load_n[b] * part;
            let rub = SlidingContact {
                station: 0,
                s_mm: s,
                share: 1.0,
                other,
                friction: friction(other),
                force_n: size,
                // the wall carries what the load presses on it: -tau times the turn
                slope: -bend.dot(&force) / size * contact.length_mm,
                load_n,
                friction_n: 0.0,
                given: false,
            };
            self.count(tube, rod.station_mm[nodes - 1], rub);
        }
        for place in resistance.at {
            let given = SlidingContact {
                station: 0,
                s_mm: place.s_mm,
                share: 1.0,
                other: None,
                friction: 1.0,
                force_n: resistance.share * place.force_n,
                slope: 0.0,
                load_n: 0.0,
                friction_n: 0.0,
                given: true,
            };
            self.count(tube, rod.station_mm[nodes - 1], given);
        }
        self.list.sort_by(|a, b| {
            b.station
                .cmp(&a.station)
                .then(b.force_n.total_cmp(&a.force_n))
        });
        // What the load presses on is one contact, the heaviest; the others keep their force.
        let mut last = usize::MAX;
        for rub in &mut self.list {
            if rub.given || rub.station == last || rub.share < 0.5 {
                rub.slope = 0.0;
            } else {
                last = rub.station;
            }
        }
    }

    /// Counts a contact at the stations on both sides of it, as far as the rod reaches.
    fn count(&mut self, tube: &[TubeStation], end_mm: f64, rub: SlidingContact) {
        let s_mm = rub.s_mm;
        let i = tube.partition_point(|t| t.s_mm <= s_mm).max(1) - 1;
        let next = tube.get(i + 1).filter(|t| t.s_mm <= end_mm);
        let ahead = next.map_or(0.0, |t| (s_mm - tube[i].s_mm) / (t.s_mm - tube[i].s_mm));
        for (station, share) in [(i, 1.0 - ahead), (i + 1, ahead)] {
            if share > 1e-9 {
                self.list.push(SlidingContact {
                    station,
                    share,
                    ..rub
                });
            }
        }
    }

    /// Sums the friction from tip to hub into `added_n` (by station) for a rod whose load would
    /// be `bare_n` (by station) without; `sign` is -1 for a push, which grows more negative towards
    /// the hub, and 1 for a pull.
    pub(crate) fn sum(&mut self, bare_n: &[f64], sign: f64, added_n: &mut [f64]) {
        added_n.fill(0.0);
        let mut rubs = self.list.iter_mut().peekable();
        let mut added = 0.0;
        let mut before = 0.0;
        for i in (0..bare_n.len()).rev() {
            // friction here is `fixed + slope (added - what was)`, with contacts that let go left out
            let carried = added + sign * 0.5 * before;
            let mut here = 0.0;
            let mut follows = None;
            while let Some(rub) = rubs.next_if(|r| r.station == i) {
                let weight = rub.friction * rub.share;
                let force = rub.force_n + rub.slope * (bare_n[i] + carried - rub.load_n);
                rub.friction_n = weight * if rub.given { force } else { force.max(0.0) };
                here += rub.friction_n;
                if force > 0.0 && rub.slope.abs() > 0.0 {
                    follows = Some((weight * rub.slope, rub));
                }
            }
            if let Some((slope, rub)) = follows {
                // friction here moves the load here by half of itself
                let half = 0.5 * sign * slope;
                let more = here * half / (1.0 - half).max(LEAST_DENOMINATOR);
                let change = more.max(-rub.friction_n);
                rub.friction_n += change;
                here += change;
            }
            added = carried + sign * 0.5 * here;
            added_n[i] = added;
            before = here;
        }
    }

    /// Adds the reaction on rod `j`, from its tip to its hub, to `added_n`; `sign` as for the rod
    /// that slides.
    pub(crate) fn react(&self, j: usize, sign: f64, added_n: &mut [f64]) {
        let mut rubs = self.list.iter().filter(|r| r.other == Some(j)).peekable();
        let mut sum = 0.0;
        let mut before = 0.0;
        for i in (0..added_n.len()).rev() {
            let mut here = 0.0;
            while let Some(rub) = rubs.next_if(|r| r.station == i) {
                here += rub.friction_n;
            }
            sum -= sign * 0.5 * (before + here);
            before = here;
            added_n[i] += sum;
        }
    }
}
