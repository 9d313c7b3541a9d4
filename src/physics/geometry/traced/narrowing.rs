//! Narrowings proposed from the radii of a lumen: never imposed.

use super::super::Lumen;
use super::super::stenosis::nascet_percent;
use serde::Serialize;

/// Valleys up to twice this long are bridged, mm: lesions of the neck are shorter, necks longer.
const HALF_BRIDGE_MM: f64 = 15.0;
/// A narrowing below this is how vessels vary, percent.
const LEAST_PERCENT: f64 = 30.0;
/// A narrowing starts where the lumen is down to this share of the bridge.
const STARTS_AT: f64 = 0.95;
/// Steps in which the lumen is looked at, mm.
const STEP_MM: f64 = 0.5;

/// A stretch narrower than what lies on both sides of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Narrowing {
    /// Where it starts, mm along the branch.
    pub start_mm: f64,
    /// Its length, mm.
    pub length_mm: f64,
    /// Where it is narrowest, mm along the branch.
    pub narrowest_mm: f64,
    /// Diameter left there, mm.
    pub residual_mm: f64,
    /// Diameter of the lumen beyond it, mm.
    pub reference_mm: f64,
    /// `100 (1 - residual / reference)`.
    pub nascet_percent: f64,
    /// The lumen bridged over it: `(mm along the branch, diameter mm)`.
    pub bridge_mm: Vec<(f64, f64)>,
}

/// Narrowings of a lumen, in order. The healthy lumen is taken as the closing of the measured one (the largest within
/// 15 mm, then the least of these within 15 mm): tapers and bulbs stay, valleys are bridged.
#[must_use]
pub fn narrowings(lumen: &Lumen, length_mm: f64) -> Vec<Narrowing> {
    let mut at_mm = Vec::new();
    let mut s_mm = 0.0;
    while s_mm < length_mm {
        at_mm.push(s_mm);
        s_mm += STEP_MM;
    }
    at_mm.push(length_mm);
    let open: Vec<f64> = at_mm.iter().map(|s| lumen.diameter_at(*s)).collect();
    let widest = windowed(&at_mm, &open, f64::max);
    let healthy = windowed(&at_mm, &widest, f64::min);
    let mut found = Vec::new();
    let mut i = 0;
    while i < at_mm.len() {
        if open[i] >= STARTS_AT * healthy[i] {
            i += 1;
            continue;
        }
        let narrow = (i..at_mm.len())
            .take_while(|k| open[*k] < STARTS_AT * healthy[*k])
            .count();
        // ends of the branch are no valleys: nothing lies beyond them
        let last = (i + narrow).min(at_mm.len() - 1);
        let least = (i..=last)
            .min_by(|a, b| open[*a].total_cmp(&open[*b]))
            .unwrap_or(i);
        let percent = nascet_percent(open[least], healthy[last]);
        if percent >= LEAST_PERCENT && i > 0 && i + narrow < at_mm.len() {
            let from = i - 1;
            found.push(Narrowing {
                start_mm: at_mm[from],
                length_mm: at_mm[last] - at_mm[from],
                narrowest_mm: at_mm[least],
                residual_mm: open[least],
                reference_mm: healthy[last],
                nascet_percent: percent,
                bridge_mm: (from..=last).map(|k| (at_mm[k], healthy[k])).collect(),
            });
        }
        i += narrow;
    }
    found
}

fn windowed(at_mm: &[f64], values: &[f64], best: impl Fn(f64, f64) -> f64) -> Vec<f64> {
    (0..values.len())
        .map(|i| {
            let first = at_mm.partition_point(|s| *s < at_mm[i] - HALF_BRIDGE_MM);
            let after = at_mm.partition_point(|s| *s <= at_mm[i] + HALF_BRIDGE_MM);
            values[first..after].iter().copied().fold(values[i], &best)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_a_valley_is_proposed_and_tapers_and_bulbs_are_not() {
        let taper = Lumen {
            knots_mm: vec![
                (0.0, 7.0),
                (40.0, 6.5),
                (50.0, 8.0),
                (60.0, 5.0),
                (120.0, 3.0),
            ],
        };
        assert_eq!(narrowings(&taper, 120.0), [], "a bulb and a taper");
        let valley = Lumen {
            knots_mm: vec![
                (0.0, 5.0),
                (50.0, 5.0),
                (58.0, 1.0),
                (66.0, 5.0),
                (120.0, 5.0),
            ],
        };
        let found = narrowings(&valley, 120.0);
        assert_eq!(found.len(), 1, "{found:?}");
        let one = &found[0];
        assert!(
            (one.nascet_percent - 80.0).abs() < 1e-9 && (one.narrowest_mm - 58.0).abs() < 1e-9,
            "{one:?}"
        );
        assert!(
            (one.start_mm - 50.0).abs() <= 1.0 && (one.length_mm - 16.0).abs() <= 2.0,
            "{one:?}"
        );
        assert!(
            one.bridge_mm.iter().all(|(_, d)| (d - 5.0).abs() < 1e-9),
            "{one:?}"
        );
    }
}
