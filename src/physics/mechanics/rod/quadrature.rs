//! Contact integrals along a stretch of the tube: the trapezoidal rule over its stations and its two ends.

use super::scene::TubeStation;

/// Shortest last cell, in stations, and the one from which the last regular node counts fully.
/// Shorter ones stiffen the matrix, a narrower hand-over makes the path less smooth in the tip.
pub(crate) const HAND_OVER: (f64, f64) = (0.45, 0.65);

/// Smooth step with two continuous derivatives.
pub(crate) fn smooth_step(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * t * (10.0 + t * (6.0 * t - 15.0))
}

/// Nearer than this to a station, mm, an end of a span is on it.
pub(crate) const SAME_MM: f64 = 1e-9;

/// The rule on a stretch of the tube: its places are its two ends and the stations between them.
pub(crate) struct Quadrature<'a> {
    tube: &'a [TubeStation],
    ends_mm: (f64, f64),
    /// Its first station and the one after its last.
    begin: usize,
    finish: usize,
}

impl<'a> Quadrature<'a> {
    /// None where it begins before the tube.
    pub(crate) fn new(tube: &'a [TubeStation], ends_mm: (f64, f64)) -> Option<Self> {
        let begin = tube.partition_point(|t| t.s_mm <= ends_mm.0 + SAME_MM);
        let finish = tube.partition_point(|t| t.s_mm < ends_mm.1 - SAME_MM);
        (begin > 0).then_some(Self {
            tube,
            ends_mm,
            begin,
            finish,
        })
    }

    /// Its last place.
    #[inline(always)]
    pub(crate) fn last(&self) -> usize {
        self.finish.max(self.begin) - self.begin + 1
    }

    /// The station at a place.
    #[inline(always)]
    pub(crate) fn station(&self, n: usize) -> Option<usize> {
        (n > 0 && n < self.last()).then(|| self.begin + n - 1)
    }

    /// Where a place is, mm, and how much it counts.
    #[inline(always)]
    pub(crate) fn place(&self, n: usize) -> (f64, f64) {
        match self.station(n) {
            Some(at) => (self.tube[at].s_mm, self.presence(at)),
            None if n == 0 => (self.ends_mm.0, 1.0),
            None => (self.ends_mm.1, 1.0),
        }
    }

    /// A station next to an end counts the more the further the end is from it, so that ends pass
    /// stations smoothly: energies and forces then have slopes in the tips.
    fn presence(&self, at: usize) -> f64 {
        let s_mm = |i: usize| self.tube[i].s_mm;
        let part = |end_mm: f64, other: usize| {
            let away = (s_mm(at) - end_mm).abs() / (s_mm(other) - s_mm(at)).abs();
            smooth_step((away - HAND_OVER.0) / (HAND_OVER.1 - HAND_OVER.0))
        };
        let mut present = 1.0;
        if at == self.begin {
            present *= part(self.ends_mm.0, self.begin - 1);
        }
        if at + 1 == self.finish {
            present *= part(self.ends_mm.1, self.finish.min(self.tube.len() - 1));
        }
        present
    }

    /// Length a place stands for, mm.
    #[inline(always)]
    pub(crate) fn weight_mm(&self, n: usize) -> f64 {
        if n > 2 && n + 2 < self.last() {
            // both neighbours count fully
            let at = self.begin + n - 1;
            return 0.5 * (self.tube[at + 1].s_mm - self.tube[at - 1].s_mm);
        }
        let (s_mm, present) = self.place(n);
        // the next places before and after, those half present with and without
        let reach = |way: isize| -> f64 {
            let at = |by: isize| {
                let at = n.checked_add_signed(by).filter(|at| *at <= self.last());
                at.map(|at| self.place(at))
            };
            match (at(way), at(2 * way)) {
                (Some((near, there)), Some((far, _))) => {
                    there * (near - s_mm).abs() + (1.0 - there) * (far - s_mm).abs()
                }
                (Some((near, _)), None) => (near - s_mm).abs(),
                (None, _) => 0.0,
            }
        };
        0.5 * present * (reach(-1) + reach(1))
    }
}
