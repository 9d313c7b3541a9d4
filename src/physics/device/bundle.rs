//! The smallest round lumen that several shafts fit into side by side.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a negated comparison also refuses NaN, which is meant"
)]

use crate::math;
/// Inner diameter of the smallest round lumen that holds round shafts of the given diameters side
/// by side, mm; 0 for none.
///
/// Exact for up to three shafts: the sum for two; for three, Descartes' circle theorem (outer
/// Soddy circle), or the sum of the two widest where the third finds room beside them. For four
/// and more it is the diameter of the best arrangement found by setting each shaft into a corner
/// between two others or one and the wall: an arrangement that exists, so a lumen of this size
/// does hold them, while a slightly smaller one might too.
///
/// Diameters are in mm and must be finite and above zero; otherwise the result is NaN.
///
/// # References
/// Soddy, *Nature* 137, 1021 (1936), for the circle theorem. Best known packings of equal circles:
/// Graham, Lubachevsky, Nurmela & Östergård, *Discrete Math.* 181, 139-154 (1998).
///
/// # Example
/// ```
/// use nestline_physics::device::bundle_diameter_mm;
/// let three = bundle_diameter_mm(&[1.0, 1.0, 1.0]);
/// assert!((three - (1.0 + 2.0 / 3.0_f64.sqrt())).abs() < 1e-12);
/// ```
#[must_use]
pub fn bundle_diameter_mm(diameters_mm: &[f64]) -> f64 {
    if diameters_mm.iter().any(|d| !(d.is_finite() && *d > 0.0)) {
        return f64::NAN;
    }
    let mut radii: Vec<f64> = diameters_mm.iter().map(|d| d / 2.0).collect();
    radii.sort_by(|a, b| b.total_cmp(a));
    2.0 * match *radii.as_slice() {
        [] => 0.0,
        [a] => a,
        [a, b] => a + b,
        [a, b, c] => around_three(a, b, c),
        _ => around_many(&radii),
    }
}

/// Radius around three discs, `a >= b >= c`.
fn around_three(a: f64, b: f64, c: f64) -> f64 {
    let (ka, kb, kc) = (1.0 / a, 1.0 / b, 1.0 / c);
    // Largest disc beside two that span the lumen: Descartes' theorem, where the root vanishes.
    let room = 1.0 / (ka + kb - 1.0 / (a + b));
    if c <= room {
        a + b
    } else {
        1.0 / (2.0 * (ka * kb + kb * kc + kc * ka).sqrt() - (ka + kb + kc))
    }
}

/// Radius around four or more discs, widest first: bisection on the radius of the lumen.
fn around_many(radii: &[f64]) -> f64 {
    // Any three of them and their summed area are lower bounds, side by side in a row is an upper.
    let area = radii.iter().map(|r| r * r).sum::<f64>().sqrt();
    let mut too_small = match *radii {
        [a, b, c, ..] => around_three(a, b, c).max(area),
        _ => area,
    };
    let mut large_enough: f64 = radii.iter().sum();
    // 40 halvings of a few millimetres end far below a nanometre.
    for _ in 0..40 {
        let middle = f64::midpoint(too_small, large_enough);
        if (Corners::new(radii, middle)).hold_all() {
            large_enough = middle;
        } else {
            too_small = middle;
        }
    }
    large_enough
}

/// A disc set into the lumen.
#[derive(Debug, Clone, Copy)]
struct Disc {
    x: f64,
    y: f64,
    r: f64,
}

/// Depth-first search for an arrangement in a lumen of given radius.
struct Corners<'a> {
    radii: &'a [f64],
    lumen: f64,
    used: Vec<bool>,
    placed: Vec<Disc>,
    /// Placements still allowed. Four discs need at most about 3800, so that search is complete
    /// over corner arrangements; beyond, the bound keeps a call to milliseconds.
    budget: u32,
}

impl<'a> Corners<'a> {
    fn new(radii: &'a [f64], lumen: f64) -> Self {
        Self {
            radii,
            lumen,
            used: vec![false; radii.len()],
            placed: Vec::with_capacity(radii.len()),
            budget: 20_000,
        }
    }

    fn hold_all(&mut self) -> bool {
        if self.placed.len() == self.radii.len() {
            return true;
        }
        let mut tried = None;
        for i in 0..self.radii.len() {
            // Equal discs are exchangeable; radii are sorted, so the last one tried is enough.
            if self.used[i] || tried == Some(self.radii[i].to_bits()) {
                continue;
            }
            tried = Some(self.radii[i].to_bits());
            let r = self.radii[i];
            self.used[i] = true;
            for disc in self.corners_for(r) {
                if self.budget == 0 {
                    return false;
                }
                self.budget -= 1;
                if self.is_free(disc) {
                    self.placed.push(disc);
                    if self.hold_all() {
                        return true;
                    }
                    self.placed.pop();
                }
            }
            self.used[i] = false;
        }
        false
    }

    /// Places where a disc of radius `r` touches two of: the wall, the discs set so far.
    fn corners_for(&self, r: f64) -> Vec<Disc> {
        let on_wall = self.lumen - r;
        if self.placed.is_empty() {
            return vec![Disc {
                x: on_wall,
                y: 0.0,
                r,
            }];
        }
        let mut rings: Vec<Disc> = vec![Disc {
            x: 0.0,
            y: 0.0,
            r: on_wall,
        }];
        rings.extend(self.placed.iter().map(|disc| Disc {
            r: disc.r + r,
            ..*disc
        }));
        let mut corners = Vec::new();
        for (i, a) in rings.iter().enumerate() {
            for b in &rings[i + 1..] {
                corners.extend(crossings(a, b).into_iter().flatten().map(|(x, y)| Disc {
                    x,
                    y,
                    r,
                }));
            }
        }
        corners
    }

    fn is_free(&self, disc: Disc) -> bool {
        // Touching discs overlap by rounding; this share of the lumen is below any tolerance.
        let slack = 1e-10 * self.lumen;
        math::hypot(disc.x, disc.y) + disc.r <= self.lumen + slack
            && self.placed.iter().all(|other| {
                math::hypot(disc.x - other.x, disc.y - other.y) + slack >= disc.r + other.r
            })
    }
}

/// Where two circles cross.
fn crossings(a: &Disc, b: &Disc) -> [Option<(f64, f64)>; 2] {
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let apart = math::hypot(dx, dy);
    if !(apart > 0.0) {
        return [None, None];
    }
    let along = (apart * apart + a.r * a.r - b.r * b.r) / (2.0 * apart);
    let height2 = a.r * a.r - along * along;
    if height2 < 0.0 {
        return [None, None];
    }
    let height = height2.sqrt();
    let (ux, uy) = (dx / apart, dy / apart);
    let foot = (a.x + along * ux, a.y + along * uy);
    [
        Some((foot.0 - height * uy, foot.1 + height * ux)),
        Some((foot.0 + height * uy, foot.1 - height * ux)),
    ]
}
