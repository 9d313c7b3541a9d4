//! Whether a pushed rod lies in waves: where its thrust exceeds what keeps it straight in its container.

use serde::{Deserialize, Serialize};
use std::f64::consts::PI;

/// Where a pushed device bears more than its container keeps straight.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Buckling {
    /// Where the thrust exceeds the onset most, arc length of the centre line, mm.
    pub station_mm: f64,
    /// Thrust there, N.
    pub thrust_n: f64,
    /// Onset there, N: the largest of `4 B / (r R)` in a bend of radius `R` with the clearance `r`,
    /// `2 sqrt(B w / r)` under a transverse load `w`, and Euler's load of the run between two places
    /// that hold the rod.
    pub onset_n: f64,
    /// Length of centre line of the runs that buckle, mm.
    pub length_mm: f64,
}

/// One cell of a pushed rod in its container.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PushedCell {
    /// Its middle, arc length of the centre line, mm.
    pub(crate) s_mm: f64,
    /// Length, mm.
    pub(crate) length_mm: f64,
    /// Thrust, N; not above zero where it is not pushed.
    pub(crate) thrust_n: f64,
    /// Bending stiffness, N mm².
    pub(crate) stiffness_n_mm2: f64,
    /// Curvature of the centre line, 1/mm.
    pub(crate) bend_per_mm: f64,
    /// Room to either side, mm of radius.
    pub(crate) room_mm: f64,
    /// Load across, N/mm.
    pub(crate) across_n_per_mm: f64,
}

impl PushedCell {
    /// Thrust that a rod of any length bears here before it leaves its side of the wall, N: nothing on a
    /// straight run without load across. Infinite where it has no room.
    ///
    /// # References
    /// `2 sqrt(B w / r)`: Dawson & Paslay (1984), *J. Pet. Technol.*; `4 B / (r R)` in a bend, from memory
    /// (authors differ by a factor of two, the lower one is taken).
    fn onset_n(&self) -> f64 {
        if self.room_mm.is_nan() || self.room_mm <= 0.0 {
            return f64::INFINITY;
        }
        let in_bend = 4.0 * self.stiffness_n_mm2 * self.bend_per_mm / self.room_mm;
        let under_load = (self.stiffness_n_mm2 * self.across_n_per_mm / self.room_mm).sqrt();
        in_bend.max(2.0 * under_load)
    }

    /// Half-waves of a rod under its thrust that fit in the cell: `sqrt(F / B) / pi` each mm.
    fn half_waves(&self) -> f64 {
        (self.thrust_n / self.stiffness_n_mm2).sqrt() * self.length_mm / PI
    }
}

/// The waves of a pushed rod, its cells in order; none where it stays straight.
///
/// A *run* is what lies between two places that hold the rod: there its thrust exceeds
/// [`PushedCell::onset_n`]. It buckles if a half-wave fits in it, which for even thrust and stiffness
/// is Euler's `F > pi² B / L²` of a run pinned at both ends. A shorter run stays straight whatever the
/// rest of the rod does.
///
/// # References
/// Euler's column; for a rod between walls Domokos, Holmes & Royce (1997), *J. Nonlinear Sci.* 7, 281.
pub(crate) fn waves(cells: &[PushedCell]) -> Option<Buckling> {
    let mut found: Option<(f64, Buckling)> = None;
    let mut length_mm = 0.0;
    for run in cells.split(|c| c.thrust_n.is_nan() || c.thrust_n <= c.onset_n().max(0.0)) {
        let half_waves: f64 = run.iter().map(PushedCell::half_waves).sum();
        if half_waves < 1.0 {
            continue;
        }
        length_mm += run.iter().map(|c| c.length_mm).sum::<f64>();
        for cell in run {
            let onset_n = cell
                .onset_n()
                .max(cell.thrust_n / (half_waves * half_waves));
            let excess = cell.thrust_n / onset_n;
            if found.as_ref().is_none_or(|(most, _)| excess > *most) {
                let worst = Buckling {
                    station_mm: cell.s_mm,
                    thrust_n: cell.thrust_n,
                    onset_n,
                    length_mm: 0.0,
                };
                found = Some((excess, worst));
            }
        }
    }
    found.map(|(_, worst)| Buckling { length_mm, ..worst })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn straight(stiffness_n_mm2: f64, run_mm: f64, thrust_n: f64) -> Vec<PushedCell> {
        let cells = 30_u32;
        let length_mm = run_mm / f64::from(cells);
        let cell = |i: u32| PushedCell {
            s_mm: (f64::from(i) + 0.5) * length_mm,
            length_mm,
            thrust_n,
            stiffness_n_mm2,
            bend_per_mm: 0.0,
            room_mm: 2.0,
            across_n_per_mm: 0.0,
        };
        (0..cells).map(cell).collect()
    }

    #[test]
    fn exact_a_straight_run_buckles_at_eulers_load() {
        // (B, L, pushed with, Euler's load): a sheath, a guide, a micro-wire
        for (stiffness, run_mm, pushed_n, euler_n) in [
            (350.0, 30.0, 0.024, 3.84),
            (800.0, 121.0, 0.069, 0.539),
            (38.0, 137.0, 0.002, 0.020),
        ] {
            assert_eq!(
                waves(&straight(stiffness, run_mm, pushed_n)),
                None,
                "{pushed_n} N on {run_mm} mm"
            );
            let exact_n = PI * PI * stiffness / (run_mm * run_mm);
            assert!((exact_n / euler_n - 1.0).abs() < 0.01, "{exact_n}");
            for (part, buckles) in [(0.999, false), (1.001, true)] {
                let found = waves(&straight(stiffness, run_mm, part * exact_n));
                assert_eq!(found.is_some(), buckles, "{part} of {exact_n} N");
                if let Some(found) = found {
                    assert!((found.onset_n / exact_n - 1.0).abs() < 1e-9, "{found:?}");
                    assert!((found.length_mm - run_mm).abs() < 1e-9, "{found:?}");
                }
            }
        }
    }

    #[test]
    fn exact_what_holds_a_rod_parts_its_runs() {
        // 60 mm bear 0.27 N; a bend of 4 B / (r R) = 2 N in the middle leaves two runs of 28 mm, 1.26 N each
        let pushed_n = 0.6;
        let mut cells = straight(100.0, 60.0, pushed_n);
        let whole = waves(&cells).map(|w| w.length_mm);
        assert_eq!(whole.map(f64::round), Some(60.0), "nothing holds it");
        for cell in &mut cells[14..16] {
            cell.bend_per_mm = 0.01;
        }
        assert_eq!(waves(&cells), None, "two short runs");
        for cell in &mut cells {
            cell.thrust_n = 1.5;
        }
        let both = waves(&cells).map(|w| w.length_mm);
        assert_eq!(both.map(f64::round), Some(56.0), "the bend holds 1.5 N");
        for cell in &mut cells {
            cell.thrust_n = 2.1;
        }
        let all = waves(&cells).map(|w| w.length_mm);
        assert_eq!(all.map(f64::round), Some(60.0), "the bend gives way at 2 N");
    }

    #[test]
    fn published_onset_under_a_load_across() {
        // Dawson & Paslay (1984): steel pipe of 5 in, 30e6 psi, 17 lb/ft, 2.9375 in of room: 28 737 lbf level
        let (inch, lbf) = (25.4, 4.448_222);
        let stiffness = 30e6 * lbf / (inch * inch) * 14.269 * (inch * inch) * (inch * inch);
        let mut cells = straight(stiffness, 1e6, 0.0);
        for (part, buckles) in [(0.999, false), (1.001, true)] {
            for cell in &mut cells {
                cell.room_mm = 2.9375 * inch;
                cell.across_n_per_mm = 17.0 * lbf / (12.0 * inch);
                cell.thrust_n = part * 28_737.0 * lbf;
            }
            assert_eq!(waves(&cells).is_some(), buckles, "{part} of the onset");
        }
    }

    #[test]
    fn exact_a_rod_without_room_or_thrust_stays_straight() {
        let mut cells = straight(1.0, 1000.0, 5.0);
        for cell in &mut cells {
            cell.room_mm = 0.0;
        }
        assert_eq!(waves(&cells), None, "no room");
        assert_eq!(waves(&straight(1.0, 1000.0, -5.0)), None, "pulled");
        assert_eq!(waves(&[]), None, "nothing");
    }
}
