//! How likely the least of several margins is below zero.
//!
//! Inputs are independent normal laws, a margin is a sum of them, so all margins hold in a region with flat sides. Along
//! the input that counts most the share of its law inside the region is known exactly; over all others it is averaged at
//! points that fill their space evenly, always the same ones.

use super::inputs::{Form, Input, RestsOn, spread_mm};
use crate::math::{normal_quantile, normal_share, power};
use serde::{Deserialize, Serialize};

/// Points: shares come out to a few thousandths, which no spread of a hundred people is known to.
const POINTS: u32 = 1024;
/// A range holds so many of its own errors on either side: 95 of 100.
const RANGE: f64 = 1.96;
/// Beyond so many spreads a margin never counts.
const FAR: f64 = 5.0;

/// Whether a margin counts beside others.
pub(super) fn is_near(margin_mm: f64, spread_mm: f64) -> bool {
    margin_mm <= FAR * spread_mm
}

/// A chance, and between which values it lies for what mean and spread of a few people are known to (95 of 100).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Chance {
    /// With means and spreads as published.
    pub usual: f64,
    /// Least.
    pub from: f64,
    /// Most.
    pub to: f64,
}

impl Chance {
    /// The chance that it does not happen.
    #[must_use]
    pub fn turned(self) -> Self {
        Self {
            usual: 1.0 - self.usual,
            from: 1.0 - self.to,
            to: 1.0 - self.from,
        }
    }
}

/// Inputs that count alike in every margin, and have one cause.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    pub(super) group: String,
    pub(super) rests_on: RestsOn,
    /// Indices of its inputs.
    pub(super) inputs: Vec<usize>,
    /// By margin.
    pub(super) by: Vec<f64>,
    pub(super) spread_mm: f64,
    people: f64,
    assumed: bool,
}

/// Margins and what moves them.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct Law {
    margins_mm: Vec<f64>,
    pub(super) columns: Vec<Column>,
    /// By point: one value of each column, in spreads.
    points: Vec<Vec<f64>>,
}

impl Law {
    /// Of margins (mm) with their forms.
    pub(super) fn new(inputs: &[Input], margins: &[(f64, &Form)]) -> Self {
        // one margin alone is told with all that moves it, however far it is from being short
        let counts = |(margin_mm, form): &&(f64, &Form)| {
            margins.len() == 1 || is_near(*margin_mm, spread_mm(inputs, form))
        };
        let mut kept: Vec<(f64, &Form)> = Vec::new();
        for (margin_mm, form) in margins.iter().filter(counts) {
            match kept.iter_mut().find(|(_, known)| known == form) {
                Some(known) => known.0 = known.0.min(*margin_mm),
                None => kept.push((*margin_mm, form)),
            }
        }
        let mut columns: Vec<Column> = Vec::new();
        for (i, input) in inputs.iter().enumerate() {
            let by: Vec<f64> = kept.iter().map(|(_, form)| form.0[i]).collect();
            if input.spread_mm <= 0.0 || by.iter().all(|by| *by == 0.0) {
                continue;
            }
            let same = |c: &&mut Column| c.group == input.group && c.by == by;
            match columns.iter_mut().find(same) {
                Some(column) => {
                    column.spread_mm = crate::math::hypot(column.spread_mm, input.spread_mm);
                    column.people = column.people.min(input.people());
                    column.inputs.push(i);
                }
                None => columns.push(Column {
                    group: input.group.clone(),
                    rests_on: input.rests_on.clone(),
                    inputs: vec![i],
                    by,
                    spread_mm: input.spread_mm,
                    people: input.people(),
                    assumed: input.is_assumed(),
                }),
            }
        }
        Self {
            margins_mm: kept.iter().map(|(mm, _)| *mm).collect(),
            // of one margin alone the share is known without them
            points: match kept.len() {
                0 | 1 => Vec::new(),
                _ => even_points(columns.len()),
            },
            columns,
        }
    }

    /// Chance that any margin is below zero, with means and spreads as published.
    pub(in super::super) fn usual(&self) -> f64 {
        self.below_zero(&|_| (0.0, 1.0))
    }

    /// Chance that any margin is below zero, with what it is known to.
    pub(in super::super) fn chance(&self) -> Chance {
        let usual = self.usual();
        let z = normal_quantile(usual);
        let mut variance = 0.0;
        for (c, column) in self.columns.iter().enumerate() {
            let error = 1.0 / (2.0 * (column.people - 1.0)).sqrt();
            let wider = self.below_zero(&|i| (0.0, if i == c { 1.0 + error } else { 1.0 }));
            variance += power(normal_quantile(wider) - z, 2);
            if column.assumed {
                let off = 1.0 / column.people.sqrt();
                let moved = self.below_zero(&|i| (if i == c { off } else { 0.0 }, 1.0));
                variance += power(normal_quantile(moved) - z, 2);
            }
        }
        let error = RANGE * variance.sqrt();
        Chance {
            usual,
            from: normal_share(z - error).min(usual),
            to: normal_share(z + error).max(usual),
        }
    }

    /// The same, had all columns of a cause been measured to `known_mm`, and come out as reckoned with.
    pub(super) fn chance_if_measured(&self, group: &str, known_mm: f64) -> f64 {
        self.below_zero(&|i| {
            let column = &self.columns[i];
            let known = (known_mm / column.spread_mm).min(1.0);
            (0.0, if column.group == group { known } else { 1.0 })
        })
    }

    /// The column that counts most in the margin that is likeliest to be short.
    fn leading(&self) -> Option<usize> {
        let variance = |k: usize| {
            let parts = self.columns.iter();
            parts.map(|c| power(c.by[k] * c.spread_mm, 2)).sum::<f64>()
        };
        let weakest = (0..self.margins_mm.len()).min_by(|a, b| {
            let sure = |k: usize| self.margins_mm[k] / variance(k).sqrt();
            sure(*a).total_cmp(&sure(*b))
        })?;
        let counts = |i: usize| (self.columns[i].by[weakest] * self.columns[i].spread_mm).abs();
        (0..self.columns.len()).max_by(|a, b| counts(*a).total_cmp(&counts(*b)))
    }

    /// Share in which any margin is below zero, the laws of the columns being shifted by so many spreads and widened
    /// by a factor.
    fn below_zero(&self, changed: &dyn Fn(usize) -> (f64, f64)) -> f64 {
        let Some(lead) = self.leading() else {
            return match self.margins_mm.iter().any(|mm| *mm < 0.0) {
                true => 1.0,
                false => 0.0,
            };
        };
        let laws: Vec<(f64, f64)> = (0..self.columns.len()).map(changed).collect();
        if let [margin_mm] = self.margins_mm[..] {
            return self.one_below_zero(margin_mm, &laws);
        }
        let scaled: Vec<f64> = self
            .columns
            .iter()
            .zip(&laws)
            .map(|(c, (_, wider))| c.spread_mm * wider)
            .collect();
        let mut held = 0.0;
        let mut values = vec![0.0; self.columns.len()];
        for point in &self.points {
            for (value, ((z, (shift, _)), (column, scale))) in values.iter_mut().zip(
                point
                    .iter()
                    .zip(&laws)
                    .zip(self.columns.iter().zip(&scaled)),
            ) {
                *value = shift * column.spread_mm + scale * z;
            }
            values[lead] = laws[lead].0 * self.columns[lead].spread_mm;
            held += self.held(&values, lead, scaled[lead]);
        }
        let mean = held / f64::from(POINTS);
        (1.0 - mean).clamp(0.0, 1.0)
    }

    /// The same of one margin alone: a normal law.
    fn one_below_zero(&self, margin_mm: f64, laws: &[(f64, f64)]) -> f64 {
        let (mut mean_mm, mut variance) = (margin_mm, 0.0);
        for (column, (shift, wider)) in self.columns.iter().zip(laws) {
            mean_mm += column.by[0] * shift * column.spread_mm;
            variance += power(column.by[0] * wider * column.spread_mm, 2);
        }
        normal_share(-mean_mm / variance.sqrt())
    }

    /// Share of the leading column's law for which all margins hold, everything else being given.
    fn held(&self, values: &[f64], lead: usize, scale_mm: f64) -> f64 {
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        for (k, margin_mm) in self.margins_mm.iter().enumerate() {
            let parts = self.columns.iter().zip(values);
            let rest_mm = margin_mm + parts.map(|(c, value)| c.by[k] * value).sum::<f64>();
            let slope = self.columns[lead].by[k] * scale_mm;
            if slope > 0.0 {
                low = low.max(-rest_mm / slope);
            } else if slope < 0.0 {
                high = high.min(-rest_mm / slope);
            } else if rest_mm < 0.0 {
                return 0.0;
            }
        }
        (normal_share(high) - normal_share(low)).max(0.0)
    }
}

/// Points that fill a space evenly, each value taken to that of a normal law: multiples of powers of the one number
/// whose next power is it and one more (Roberts' generalisation of the golden ratio, from memory).
fn even_points(columns: usize) -> Vec<Vec<f64>> {
    let exponent = f64::from(u32::try_from(columns).unwrap_or(u32::MAX)) + 1.0;
    let ratio = (0..80).fold(2.0_f64, |x, _| crate::math::pow(1.0 + x, 1.0 / exponent));
    let mut steps = Vec::with_capacity(columns);
    let mut step = 1.0;
    for _ in 0..columns {
        step /= ratio;
        steps.push(step);
    }
    let values = |n: u32| {
        let shares = steps.iter().map(move |step| {
            let at = 0.5 + f64::from(n) * step;
            at - at.floor()
        });
        shares.map(normal_quantile).collect()
    };
    (1..=POINTS).map(values).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn input(group: &str, spread_mm: f64, people: f64) -> Input {
        Input {
            field: group.into(),
            group: group.into(),
            value_mm: 0.0,
            spread_mm,
            rests_on: RestsOn::Assumed { people, whom: None },
        }
    }

    /// A published length of 603 ± 41 mm (100 elderly CTs, Sci Rep 2020, doi 10.1038/s41598-020-70364-9), 34 mm to
    /// spare, 18.5 mm of spread elsewhere: by the normal law 22 or 23 of 100, and 17 to 29 for what mean and spread
    /// of 100 people are known to.
    #[test]
    fn exact_one_margin_is_a_normal_law_and_its_error() {
        let inputs = [input("aorta", 41.0, 100.0), input("rest", 18.5, 1e9)];
        let form = Form(vec![-1.0, 1.0]);
        let law = Law::new(&inputs, &[(34.0, &form)]);
        let found = law.chance();
        let spread_mm = crate::math::hypot(41.0, 18.5);
        let exact = normal_share(-34.0 / spread_mm);
        assert!((found.usual - exact).abs() < 2e-3, "{found:?}, {exact}");
        assert!((found.from - 0.17).abs() < 0.012, "{found:?}");
        assert!((found.to - 0.29).abs() < 0.012, "{found:?}");
        let measured = law.chance_if_measured("aorta", 5.0);
        let exact = normal_share(-34.0 / crate::math::hypot(5.0, 18.5));
        assert!((measured - exact).abs() < 2e-3, "{measured}, {exact}");
    }

    /// Two margins of one spread each that share nothing: 1 - (1 - a)(1 - b). Opposite ones of one input: a + b.
    #[test]
    fn exact_joint_chance_of_two_margins() {
        let inputs = [input("a", 10.0, 50.0), input("b", 20.0, 50.0)];
        let (first, second) = (Form(vec![1.0, 0.0]), Form(vec![0.0, -1.0]));
        let law = Law::new(&inputs, &[(8.0, &first), (30.0, &second)]);
        let (a, b) = (normal_share(-0.8), normal_share(-1.5));
        let apart = law.chance().usual;
        assert!(
            (apart - (1.0 - (1.0 - a) * (1.0 - b))).abs() < 2e-3,
            "{apart}"
        );
        let back = Form(vec![-1.0, 0.0]);
        let law = Law::new(&inputs, &[(8.0, &first), (15.0, &back)]);
        let either = law.chance().usual;
        assert!((either - (a + b)).abs() < 2e-3, "{either}");
    }

    #[test]
    fn exact_without_spread_a_margin_is_short_or_not() {
        let inputs = [input("a", 0.0, 50.0)];
        let form = Form(vec![1.0]);
        for (margin_mm, short) in [(1.0, 0.0), (-1.0, 1.0)] {
            let law = Law::new(&inputs, &[(margin_mm, &form)]);
            assert!((law.chance().usual - short).abs() < 1e-12);
        }
    }
}
