//! Finding the nearest of many lines fast: samples of the lines by cells of space.

use super::super::Point;
use std::collections::HashMap;

/// Edge of a cell, mm: about the radius of a neck artery.
const CELL_MM: f64 = 2.0;

/// A place on a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Foot {
    pub(super) line: usize,
    /// The point before it.
    pub(super) point: usize,
    /// Share of the way to the next one.
    pub(super) share: f64,
    pub(super) distance_mm: f64,
}

/// Lines by the cells they pass.
#[derive(Debug, Default)]
pub(super) struct Grid {
    cells: HashMap<[i32; 3], Vec<(usize, usize)>>,
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "casts saturate, and lines are checked to lie within metres"
)]
fn cell(point: &Point) -> [i32; 3] {
    [0, 1, 2].map(|axis| (point[axis] / CELL_MM).floor() as i32)
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a radius of centimetres in cells of millimetres"
)]
fn reach(within_mm: f64) -> i32 {
    (within_mm / CELL_MM).ceil().min(50.0) as i32
}

impl Grid {
    /// Adds a line.
    pub(super) fn add(&mut self, line: usize, points: &[Point]) {
        for (i, pair) in points.windows(2).enumerate() {
            let way = pair[1] - pair[0];
            let steps = (way.norm() / (0.5 * CELL_MM)).ceil().max(1.0);
            let mut step = 0.0;
            let mut last = None;
            while step <= steps {
                let here = cell(&(pair[0] + way * (step / steps)));
                if last != Some(here) {
                    let all = self.cells.entry(here).or_default();
                    if all.last() != Some(&(line, i)) {
                        all.push((line, i));
                    }
                    last = Some(here);
                }
                step += 1.0;
            }
        }
    }

    /// The nearest place within a distance for which `wanted` holds (line, point before it).
    pub(super) fn nearest(
        &self,
        lines: &[&[Point]],
        point: &Point,
        within_mm: f64,
        wanted: impl Fn(usize, usize) -> bool,
    ) -> Option<Foot> {
        let centre = cell(point);
        // a segment is listed in cells of samples up to half a cell off it
        let reach = reach(within_mm + 0.5 * CELL_MM);
        let mut best: Option<Foot> = None;
        for x in -reach..=reach {
            for y in -reach..=reach {
                for z in -reach..=reach {
                    let key = [
                        centre[0].saturating_add(x),
                        centre[1].saturating_add(y),
                        centre[2].saturating_add(z),
                    ];
                    for &(line, i) in self.cells.get(&key).into_iter().flatten() {
                        if !wanted(line, i) {
                            continue;
                        }
                        let (share, distance_mm) =
                            foot(&lines[line][i], &lines[line][i + 1], point);
                        if distance_mm <= within_mm
                            && best.is_none_or(|b| distance_mm < b.distance_mm)
                        {
                            best = Some(Foot {
                                line,
                                point: i,
                                share,
                                distance_mm,
                            });
                        }
                    }
                }
            }
        }
        best
    }
}

/// Foot of a point on a segment: share of its way, and the distance.
pub(super) fn foot(a: &Point, b: &Point, point: &Point) -> (f64, f64) {
    let way = b - a;
    let share = ((point - a).dot(&way) / way.norm_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
    (share, (a + way * share - point).norm())
}
