//! Contact energy in a station's plane: a rod in its container, two rods side by side.

/// How two axes keep each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Keep {
    /// Closer than the gap.
    Within,
    /// Further apart than the reach.
    Apart,
}

/// A contact law at one place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Law {
    pub(crate) keep: Keep,
    /// Gap or reach, mm; a gap below zero is a rod wider than its lumen, kept in the middle.
    pub(crate) limit_mm: f64,
    /// Half-width of the onset, mm.
    pub(crate) onset_mm: f64,
    /// Stiffness times the length it stands for, N/mm.
    pub(crate) stiffness_n_per_mm: f64,
}

/// Energy of a contact, gradient and Hessian (xx, xy, yy) in the offset between the axes.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct ContactResponse {
    pub(crate) energy: f64,
    pub(crate) gradient: [f64; 2],
    pub(crate) hessian: [f64; 3],
    /// Curvature across the line of force where it is below zero, N/mm: rods that keep each other
    /// apart roll off each other.
    pub(crate) rolling_n_per_mm: f64,
}

/// Unit penalty of an indentation: zero below `-onset`, `p²/2` (plus a constant) above `onset`,
/// a cubic between, so that two derivatives are continuous. Returns value and two derivatives.
#[inline]
fn penalty(p: f64, onset: f64) -> (f64, f64, f64) {
    if p >= onset {
        (0.5 * p * p + onset * onset / 6.0, p, 1.0)
    } else {
        let x = p + onset;
        let inverse = 0.5 / onset;
        (
            x * x * x * inverse / 6.0,
            x * x * 0.5 * inverse,
            x * inverse,
        )
    }
}

impl Law {
    /// How deep the axes press beyond the limit, mm (negative: clear).
    #[inline]
    pub(crate) fn indentation_mm(&self, offset: [f64; 2]) -> f64 {
        let [x, y] = offset;
        let r = (x * x + y * y).sqrt();
        match self.keep {
            Keep::Within => r - self.limit_mm.max(0.0),
            Keep::Apart => self.limit_mm - r,
        }
    }

    /// Where a force presses: mm beyond the begin of the onset, and the stiffness there, N/mm.
    #[inline]
    pub(crate) fn at_force(&self, force_n: f64) -> (f64, f64) {
        let (k, onset) = (self.stiffness_n_per_mm, self.onset_mm);
        if force_n >= k * onset {
            (force_n / k + onset, k)
        } else {
            let at = (4.0 * onset * force_n / k).sqrt();
            (at, 0.5 * k * at / onset)
        }
    }

    /// Energy and derivatives at an offset; none where the axes are clear of contact.
    #[inline]
    pub(crate) fn evaluate(&self, offset: [f64; 2]) -> Option<ContactResponse> {
        let [x, y] = offset;
        let limit = self.limit_mm.max(0.0);
        let r2 = x * x + y * y;
        let sign = match self.keep {
            Keep::Within => {
                let clear = limit - self.onset_mm;
                if clear > 0.0 && r2 <= clear * clear {
                    return None;
                }
                1.0
            }
            Keep::Apart => {
                let clear = limit + self.onset_mm;
                if r2 >= clear * clear {
                    return None;
                }
                -1.0
            }
        };
        let r = r2.sqrt();
        let k = self.stiffness_n_per_mm;
        if self.keep == Keep::Within && limit <= 0.0 {
            // a centring spring: smooth in the middle, where a direction is missing
            return Some(ContactResponse {
                energy: 0.5 * k * r2,
                gradient: [k * x, k * y],
                hessian: [k, 0.0, k],
                rolling_n_per_mm: 0.0,
            });
        }
        let (value, first, second) = penalty(sign * (r - limit), self.onset_mm);
        // Axes on top of each other part along the first normal: any direction would do.
        let (nx, ny, inverse) = if r > 1e-12 {
            let inverse = 1.0 / r;
            (x * inverse, y * inverse, inverse)
        } else {
            (1.0, 0.0, 0.0)
        };
        let radial = k * second;
        let around = sign * k * first * inverse;
        Some(ContactResponse {
            energy: k * value,
            gradient: [sign * k * first * nx, sign * k * first * ny],
            hessian: [
                radial * nx * nx + around * ny * ny,
                (radial - around) * nx * ny,
                radial * ny * ny + around * nx * nx,
            ],
            rolling_n_per_mm: around.min(0.0),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math;

    #[test]
    fn property_derivatives_match_finite_differences() {
        for keep in [Keep::Within, Keep::Apart] {
            let law = Law {
                keep,
                limit_mm: 1.0,
                onset_mm: 0.03,
                stiffness_n_per_mm: 7.0,
            };
            for r in [0.9, 0.98, 1.0, 1.02, 1.1] {
                let offset = [r * 0.6, r * 0.8];
                let Some(here) = law.evaluate(offset) else {
                    let p = law.indentation_mm(offset);
                    assert!(p < -0.03, "clear at indentation {p}");
                    continue;
                };
                let step = 1e-6;
                for j in 0..2 {
                    let at = |d: f64| {
                        let mut o = offset;
                        o[j] += d;
                        law.evaluate(o).unwrap_or_default()
                    };
                    let (up, down) = (at(step), at(-step));
                    let slope = (up.energy - down.energy) / (2.0 * step);
                    assert!(
                        (slope - here.gradient[j]).abs() < 1e-8,
                        "{keep:?} {r} {j}: {slope}"
                    );
                    for i in 0..2 {
                        let slope = (up.gradient[i] - down.gradient[i]) / (2.0 * step);
                        let found = here.hessian[i + j];
                        assert!(
                            (slope - found).abs() < 1e-4,
                            "{keep:?} {r} {i} {j}: {slope} against {found}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn exact_force_presses_where_that_force_is() {
        let law = Law {
            keep: Keep::Within,
            limit_mm: 1.0,
            onset_mm: 0.03,
            stiffness_n_per_mm: 7.0,
        };
        for r in [0.971, 0.99, 1.0, 1.029, 1.031, 1.2] {
            let found = law.evaluate([r, 0.0]).unwrap();
            let (beyond, stiffness) = law.at_force(found.gradient[0]);
            assert!((beyond - (r - 0.97)).abs() < 1e-12, "{r}: {beyond}");
            assert!(
                (stiffness - found.hessian[0]).abs() < 1e-9,
                "{r}: {stiffness}"
            );
        }
    }

    #[test]
    fn exact_rolling_is_the_curvature_below_zero() {
        let law = |keep| Law {
            keep,
            limit_mm: 1.0,
            onset_mm: 0.03,
            stiffness_n_per_mm: 7.0,
        };
        for (keep, r) in [(Keep::Apart, 0.9), (Keep::Apart, 1.01), (Keep::Within, 1.1)] {
            let found = law(keep).evaluate([r * 0.6, r * 0.8]).unwrap();
            let [xx, xy, yy] = found.hessian;
            let lowest = 0.5 * (xx + yy) - (0.25 * math::power(xx - yy, 2) + xy * xy).sqrt();
            assert!(
                (found.rolling_n_per_mm - lowest.min(0.0)).abs() < 1e-12,
                "{keep:?} {r}: {} against {lowest}",
                found.rolling_n_per_mm
            );
        }
    }

    #[test]
    fn exact_penalty_joins_with_two_derivatives() {
        let onset = 0.02;
        let (below, above) = (penalty(onset - 1e-12, onset), penalty(onset, onset));
        assert!(
            (below.0 - above.0).abs() < 1e-12,
            "value {below:?} {above:?}"
        );
        assert!(
            (below.1 - above.1).abs() < 1e-11,
            "slope {below:?} {above:?}"
        );
        assert!(
            (below.2 - above.2).abs() < 1e-9,
            "second {below:?} {above:?}"
        );
        let start = penalty(-onset, onset);
        assert!(
            start.0.abs() + start.1.abs() + start.2.abs() < 1e-15,
            "start {start:?}"
        );
    }

    #[test]
    fn exact_spring_where_the_lumen_is_too_narrow() {
        let law = Law {
            keep: Keep::Within,
            limit_mm: -0.4,
            onset_mm: 0.0,
            stiffness_n_per_mm: 2.0,
        };
        let found = law.evaluate([0.3, 0.0]).unwrap();
        assert!((found.energy - 0.09).abs() < 1e-15, "{found:?}");
        assert!((found.gradient[0] - 0.6).abs() < 1e-15, "{found:?}");
    }
}
