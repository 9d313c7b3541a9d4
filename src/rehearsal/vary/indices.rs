//! Which input matters most: shares of a result's variance.
//!
//! Two independent samples A and B of n rows each, and for every input (or group of inputs that belong together) the
//! sample A with that input's columns from B. Of the pairs in which it alone differs follows the total share, of those
//! in which it alone is the same the first-order one (Jansen, Comput. Phys. Commun. 117:35, 1999; Saltelli et al.,
//! Comput. Phys. Commun. 181:259, 2010). Intervals are those of rows drawn again with replacement.

use super::draws::below;
use crate::math::power;
use serde::{Deserialize, Serialize};

/// Rows drawn again so often for an interval: its ends are then known to a twentieth of its width.
const RESAMPLED: u64 = 400;
/// A share whose interval is wider is not told as a number.
pub const RESOLVED: f64 = 0.1;
/// Of fewer rows nothing is resolved: rows drawn again cannot tell what none of them has seen (assumed).
const LEAST_ROWS: usize = 50;

/// A share of a variance with its interval (95 of 100).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Index {
    /// The share.
    pub value: f64,
    /// Lower end.
    pub from: f64,
    /// Upper end.
    pub to: f64,
    /// Whether the share can be told: the interval is no wider than 0.1, and fifty rows or more stand behind it.
    pub resolved: bool,
}

/// What one input does to a result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Importance {
    /// The input, or the group.
    pub input: String,
    /// Share of the variance that it causes by itself.
    pub first: Index,
    /// The same with all it causes together with others.
    pub total: Index,
}

/// One row: results of A, of B, and of A with each input in turn from B.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Result with the row of A.
    pub a: f64,
    /// Result with the row of B.
    pub b: f64,
    /// By input: result with the row of A, that input from B.
    pub mixed: Vec<f64>,
}

/// The shares of every input, in their order; none where there are fewer than two rows or the result never varies.
#[must_use]
pub fn importances(names: &[String], rows: &[Row], seed: u64) -> Option<Vec<Importance>> {
    let table = Table::of(rows, names.len());
    let usual = table.estimates(0..rows.len())?;
    let mut again: Vec<Vec<(f64, f64)>> = vec![Vec::new(); names.len()];
    for round in 0..RESAMPLED {
        // drawn once, passed over three times
        let drawn: Vec<usize> = (0..rows.len())
            .zip(0_u64..)
            .map(|(_, i)| below(rows.len(), seed, round, STREAM, i))
            .collect();
        if let Some(found) = table.estimates(drawn.iter().copied()) {
            for (kept, pair) in again.iter_mut().zip(found) {
                kept.push(pair);
            }
        }
    }
    let all = names.iter().zip(usual).zip(&again);
    let found = all.map(|((name, (first, total)), again)| Importance {
        input: name.clone(),
        first: index(first, again.iter().map(|pair| pair.0), rows.len()),
        total: index(total, again.iter().map(|pair| pair.1), rows.len()),
    });
    Some(found.collect())
}

/// Stream of the rows that are drawn again.
const STREAM: u64 = 0xB007;

fn index(value: f64, again: impl Iterator<Item = f64>, rows: usize) -> Index {
    let mut sorted: Vec<f64> = again.collect();
    sorted.sort_by(f64::total_cmp);
    let at = |permille: usize| {
        let last = sorted.len().saturating_sub(1);
        sorted.get(last * permille / 1000).copied()
    };
    let (from, to) = (at(25).unwrap_or(value), at(975).unwrap_or(value));
    Index {
        value,
        from: from.min(value),
        to: to.max(value),
        resolved: rows >= LEAST_ROWS && to - from <= RESOLVED,
    }
}

/// Rows with what their sums are of, worked out once: rows are drawn again hundreds of times.
struct Table {
    inputs: usize,
    /// Results with the rows of A and of B.
    ends: Vec<(f64, f64)>,
    /// By row and input: squares of how far the mixed result is from B's and from A's.
    squares: Vec<(f64, f64)>,
}

impl Table {
    fn of(rows: &[Row], inputs: usize) -> Self {
        let squares = rows.iter().flat_map(|r| {
            let mixed = r.mixed.iter().take(inputs);
            mixed.map(|mixed| (power(r.b - mixed, 2), power(r.a - mixed, 2)))
        });
        Self {
            inputs,
            ends: rows.iter().map(|r| (r.a, r.b)).collect(),
            squares: squares.collect(),
        }
    }

    /// First-order and total share of every input, of the rows of these indices.
    fn estimates(&self, rows: impl Iterator<Item = usize> + Clone) -> Option<Vec<(f64, f64)>> {
        let n = f64::from(u32::try_from(rows.clone().count()).ok()?);
        if n < 2.0 {
            return None;
        }
        let ends = || rows.clone().map(|row| self.ends[row]);
        let mean = ends().map(|(a, b)| a + b).sum::<f64>() / (2.0 * n);
        let squares = ends().map(|(a, b)| power(a - mean, 2) + power(b - mean, 2));
        let variance = squares.sum::<f64>() / (2.0 * n - 1.0);
        if variance <= 0.0 {
            return None;
        }
        let mut sums = vec![(0.0, 0.0); self.inputs];
        for row in rows {
            let from = row * self.inputs;
            for (sum, squares) in sums.iter_mut().zip(&self.squares[from..from + self.inputs]) {
                sum.0 += squares.0;
                sum.1 += squares.1;
            }
        }
        let half_mean = |sum: f64| sum / (2.0 * n * variance);
        let found = sums
            .into_iter()
            .map(|(same, other)| (1.0 - half_mean(same), half_mean(other)));
        Some(found.collect())
    }
}

#[cfg(test)]
mod tests {
    use super::super::draws::share;
    use super::*;
    use crate::math::sin;
    use std::f64::consts::PI;

    fn rows(n: u32, inputs: usize, result: impl Fn(&[f64]) -> f64) -> Vec<Row> {
        let draw = |row: u32, stream: u64| -> Vec<f64> {
            (0..inputs as u64)
                .map(|i| share(3, u64::from(row), stream, i))
                .collect()
        };
        let row = |r: u32| {
            let (a, b) = (draw(r, 0), draw(r, 1));
            let mixed = (0..inputs).map(|i| {
                let mut point = a.clone();
                point[i] = b[i];
                result(&point)
            });
            Row {
                mixed: mixed.collect(),
                a: result(&a),
                b: result(&b),
            }
        };
        (0..n).map(row).collect()
    }

    fn names(inputs: usize) -> Vec<String> {
        (0..inputs).map(|i| format!("x{i}")).collect()
    }

    fn holds(found: &[Importance], exact: &[(f64, f64)]) {
        for (input, (first, total)) in found.iter().zip(exact) {
            for (index, exact) in [(input.first, first), (input.total, total)] {
                assert!(
                    (index.value - exact).abs() < 0.03,
                    "{input:?}, exactly {exact}"
                );
                let slack = 0.5 * (index.to - index.from);
                assert!(
                    index.from - slack <= *exact && *exact <= index.to + slack,
                    "{input:?}, {exact}"
                );
            }
        }
    }

    /// sin x + 7 sin² y + 0.1 z⁴ sin x on -π to π (Ishigami and Homma 1990, from memory): closed-form shares.
    #[test]
    fn exact_shares_of_the_ishigami_function() {
        let (a, b) = (7.0, 0.1);
        let rows = rows(8000, 3, |u| {
            let [x, y, z] = [u[0], u[1], u[2]].map(|u| PI * (2.0 * u - 1.0));
            sin(x) + a * power(sin(y), 2) + b * power(z, 4) * sin(x)
        });
        let (v1, v2) = (0.5 * power(1.0 + b * power(PI, 4) / 5.0, 2), a * a / 8.0);
        let v13 = b * b * power(PI, 8) * (1.0 / 18.0 - 1.0 / 50.0);
        let v = v1 + v2 + v13;
        let exact = [(v1 / v, (v1 + v13) / v), (v2 / v, v2 / v), (0.0, v13 / v)];
        holds(&importances(&names(3), &rows, 1).unwrap(), &exact);
    }

    /// The product of (|4 u - 2| + a) / (1 + a) (Sobol's g, from memory): closed-form shares.
    #[test]
    fn exact_shares_of_the_g_function() {
        let a = [0.0, 1.0, 4.5, 9.0];
        let rows = rows(8000, 4, |u| {
            let parts = u.iter().zip(a);
            parts
                .map(|(u, a)| ((4.0 * u - 2.0).abs() + a) / (1.0 + a))
                .product()
        });
        let parts = a.map(|a| 1.0 / 3.0 / power(1.0 + a, 2));
        let whole: f64 = parts.iter().map(|v| 1.0 + v).product::<f64>() - 1.0;
        let exact: Vec<(f64, f64)> = parts
            .iter()
            .map(|v| {
                let others = (1.0 + whole) / (1.0 + v);
                (v / whole, v * others / whole)
            })
            .collect();
        holds(&importances(&names(4), &rows, 1).unwrap(), &exact);
    }

    #[test]
    fn exact_what_never_varies_has_no_shares() {
        let same = rows(50, 2, |_| 3.0);
        assert!(importances(&names(2), &same, 1).is_none());
        let few = rows(1, 2, |u| u[0]);
        assert!(importances(&names(2), &few, 1).is_none());
    }
}
