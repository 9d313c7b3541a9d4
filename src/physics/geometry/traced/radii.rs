//! Radii of a traced lumen, filtered.

/// A lumen is looked at over so many of its radii to either side: a spike is shorter, a narrowing longer.
const WINDOW_RADII: f64 = 0.75;
/// And over at least so many points to either side.
const LEAST_POINTS: usize = 1;
/// And over at most so many.
const MOST_POINTS: usize = 200;

/// Running medians over a stretch as long as the lumen is wide, then means over half of it; places rise along the
/// line, mm.
pub(super) fn filtered(at_mm: &[f64], radii_mm: &[f64]) -> Vec<f64> {
    let medians: Vec<f64> = (0..radii_mm.len())
        .map(|i| {
            let mut near = around(at_mm, radii_mm, i, WINDOW_RADII).to_vec();
            near.sort_by(f64::total_cmp);
            let middle = near.len() / 2;
            if near.len() % 2 == 1 {
                near[middle]
            } else {
                0.5 * (near[middle - 1] + near[middle])
            }
        })
        .collect();
    (0..radii_mm.len())
        .map(|i| {
            let near = around(at_mm, &medians, i, 0.5 * WINDOW_RADII);
            near.iter().sum::<f64>() / super::smooth::to_f64(near.len())
        })
        .collect()
}

/// Values around a place, as many before it as behind it: slopes stay slopes.
fn around<'a>(at_mm: &[f64], radii_mm: &'a [f64], i: usize, window_radii: f64) -> &'a [f64] {
    let within_mm = window_radii * radii_mm[i];
    let room = i.min(radii_mm.len() - 1 - i).min(MOST_POINTS);
    let near = (0..=room).take_while(|k| {
        *k <= LEAST_POINTS
            || at_mm[i + k] - at_mm[i] <= within_mm && at_mm[i] - at_mm[i - k] <= within_mm
    });
    let half = near.last().unwrap_or(0);
    &radii_mm[i - half..=i + half]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_spikes_go_and_slopes_stay() {
        let at: Vec<f64> = (0..40).map(f64::from).collect();
        let slope: Vec<f64> = at.iter().map(|s| 3.0 - 0.03 * s).collect();
        for (found, radius) in filtered(&at, &slope).iter().zip(&slope) {
            assert!((found - radius).abs() < 1e-12, "{found} of {radius}");
        }
        let mut spiked = slope.clone();
        spiked[20] = 9.0;
        for (found, radius) in filtered(&at, &spiked).iter().zip(&slope) {
            assert!((found - radius).abs() < 0.05, "{found} of {radius}");
        }
    }
}
