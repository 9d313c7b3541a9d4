//! How many bends a curve has.

use super::Vector;

/// Curvature is looked at as the mean over so much to either side, mm: noise shorter than that is no bend, and where a
/// plane turns within it the mean falls as between two bends. Twice as far, bends of a siphon become one.
const MEAN_MM: f64 = 1.0;
/// Turns are compared in whole numbers of this, rad: far above rounding, far below any bend.
const GRAIN_RAD: f64 = 1e-9;

/// A cell between samples of a curve: its turn and the normal of its plane, as long as the sine of the turn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    pub(super) turn_rad: f64,
    pub(super) normal: Vector,
}

/// What parts bends.
#[derive(Debug, Clone, Copy)]
pub(super) struct Parting {
    /// Length of a cell, mm.
    pub(super) step_mm: f64,
    /// Share of the lower of two peaks that curvature falls below between them.
    pub(super) valley_share: f64,
    /// Bends that turn by less are not counted, rad.
    pub(super) least_rad: f64,
}

/// Bends of a curve cut into equal cells, the same whichever way it is run along.
///
/// A bend is a peak of the mean turn, a vector, over two millimetres: between two of them it falls below a share of the
/// lower one, because the curve runs straighter there or because it turns in another plane.
///
/// # Validity
/// How many bends an artery has depends on how finely it was traced: on one internal carotid detectors found 3 to
/// 33 (`BioMed Eng OnLine` 2021, doi 10.1186/s12938-021-00957-6); 6 to 7 are what anatomy names.
pub(super) fn count(cells: &[Cell], parting: &Parting) -> u32 {
    let means = means(cells, parting.step_mm);
    let peaks: Vec<usize> = (0..means.len())
        .filter(|i| is_peak(&means, *i, parting.valley_share))
        .collect();
    let mut turned_rad = vec![0.0];
    for cell in cells {
        turned_rad.push(turned_rad[turned_rad.len() - 1] + cell.turn_rad);
    }
    let mut ends = vec![0.0];
    ends.extend(
        peaks
            .windows(2)
            .map(|w| valley(&means, w[0], w[1], &turned_rad)),
    );
    ends.push(turned_rad[cells.len()]);
    let bends = ends.windows(2).filter(|w| w[1] - w[0] >= parting.least_rad);
    u32::try_from(bends.count()).unwrap_or(u32::MAX)
}

/// Length of the mean normal around every cell, in grains.
fn means(cells: &[Cell], step_mm: f64) -> Vec<f64> {
    let mut reach = 0;
    let mut reach_mm = step_mm;
    while reach_mm <= MEAN_MM {
        reach += 1;
        reach_mm += step_mm;
    }
    let mut sums = vec![Vector::zeros()];
    for cell in cells {
        sums.push(sums[sums.len() - 1] + cell.normal);
    }
    let mean = |i: usize| {
        // as many to either side: an end has fewer
        let reach = reach.min(i).min(cells.len() - 1 - i);
        let mut count = 1.0;
        for _ in 0..reach {
            count += 2.0;
        }
        ((sums[i + reach + 1] - sums[i - reach]).norm() / count / GRAIN_RAD).round()
    };
    (0..cells.len()).map(mean).collect()
}

/// Whether no cell is higher, or as high and before it, without a valley in between.
fn is_peak(means: &[f64], at: usize, valley_share: f64) -> bool {
    let own = means[at];
    // whether one that takes its place comes before a valley does
    let joined = |others: &mut dyn Iterator<Item = &f64>, takes: &dyn Fn(f64) -> bool| {
        let mut ends = others.filter(|m| **m < valley_share * own || takes(**m));
        ends.next().is_some_and(|m| takes(*m))
    };
    !joined(&mut means[..at].iter().rev(), &|m| m >= own)
        && !joined(&mut means[at + 1..].iter(), &|m| m > own)
}

/// What was turned up to the middle of the lowest stretch between two peaks, rad.
fn valley(means: &[f64], from: usize, to: usize, turned_rad: &[f64]) -> f64 {
    let between = &means[from..=to];
    let least = between.iter().copied().fold(f64::INFINITY, f64::min);
    let low = |mean: &f64| *mean <= least + 1.0;
    let first = from + between.iter().position(low).unwrap_or(0);
    let last = from + between.iter().rposition(low).unwrap_or(0);
    0.5 * (turned_rad[first] + turned_rad[last + 1])
}
