//! Lines before anything is joined: refused where they are no centre lines, cut where they run along others.

use super::super::Point;
use super::grid::Grid;
use super::smooth::along;
use super::{Told, TraceFault, TracedLine};

/// Lines farther apart than this, mm, are no vessel of a person: the unit is wrong.
const MOST_EXTENT_MM: f64 = 3000.0;
/// All lines together, mm: a hundred thousand vessels of a metre would keep anybody busy.
const MOST_LENGTH_MM: f64 = 500_000.0;
/// Neighbours nearer than this are the same point, mm: below the last digit that is written.
const SAME_MM: f64 = 1e-4;
/// Radii a lumen has, mm: as in vessel files.
pub(super) const RADII_MM: std::ops::RangeInclusive<f64> = 0.1..=30.0;
/// A line passes through itself where it comes back to this share of its radius.
const CROSSING_SHARE: f64 = 0.15;
/// The widest it is looked for, mm.
const MOST_CROSSING_MM: f64 = 1.0;
/// Stretches of a line this many radii apart along it are not neighbours.
const APART_RADII: f64 = 4.0;

/// Refuses what is no centre line and drops points that coincide.
pub(super) fn cleaned(
    lines: &[TracedLine],
    told: &mut Vec<Told>,
) -> Result<Vec<TracedLine>, TraceFault> {
    if lines.is_empty() {
        return Err(TraceFault::at(
            None,
            "there is no line in it",
            "export the centre lines as polylines with a radius at every point",
        ));
    }
    let mut same = 0;
    let mut all = Vec::with_capacity(lines.len());
    for line in lines {
        all.push(without_same(line, &mut same)?);
    }
    if same > 0 {
        told.push(Told::SamePoints { count: same });
    }
    check_extent(&all)?;
    for line in &all {
        refuse_crossing(line)?;
    }
    Ok(all)
}

fn without_same(line: &TracedLine, same: &mut usize) -> Result<TracedLine, TraceFault> {
    let mut kept = TracedLine::default();
    for ((point, &radius_mm), &row) in line.points_mm.iter().zip(&line.radii_mm).zip(&line.rows) {
        if !point.iter().all(|x| x.is_finite()) {
            return Err(TraceFault::at(
                Some(row),
                "a coordinate is no finite number",
                "mend or remove the point",
            ));
        }
        if !(radius_mm > 0.0 && radius_mm.is_finite()) {
            return Err(TraceFault::at(
                Some(row),
                format!("the radius is {radius_mm}, must be above 0"),
                "mend or remove the point; a lumen that is shut is a lesion: draw the line through it with the radius it would have, and add the lesion",
            ));
        }
        if radius_mm > *RADII_MM.end() {
            return Err(TraceFault::at(
                Some(row),
                format!(
                    "the radius is {radius_mm:.3} mm, more than any artery's, {} mm",
                    RADII_MM.end()
                ),
                "is the unit right, and is it a radius and no diameter?",
            ));
        }
        if kept
            .points_mm
            .last()
            .is_some_and(|last: &Point| (point - last).norm() < SAME_MM)
        {
            *same += 1;
            continue;
        }
        kept.points_mm.push(*point);
        kept.radii_mm.push(radius_mm);
        kept.rows.push(row);
    }
    match kept.points_mm.len() {
        0 => Err(TraceFault::at(None, "a line has no points", "remove it")),
        1 => Err(TraceFault::at(
            kept.rows.first().copied(),
            "a line has one point only",
            "a line needs two points at least: remove it, or add the others",
        )),
        _ => Ok(kept),
    }
}

fn check_extent(lines: &[TracedLine]) -> Result<(), TraceFault> {
    let points = lines
        .iter()
        .flat_map(|line| line.points_mm.iter().zip(&line.rows));
    let mut low = [f64::INFINITY; 3];
    let mut high = [f64::NEG_INFINITY; 3];
    for (point, row) in points {
        for axis in 0..3 {
            low[axis] = low[axis].min(point[axis]);
            high[axis] = high[axis].max(point[axis]);
            if high[axis] - low[axis] > MOST_EXTENT_MM {
                return Err(TraceFault::at(
                    Some(*row),
                    format!("the lines reach over more than {MOST_EXTENT_MM:.0} mm"),
                    "is the unit right? A unit may be a length for one of the file, such as 0.35mm",
                ));
            }
        }
    }
    let length_mm: f64 = lines
        .iter()
        .filter_map(|line| along(&line.points_mm).last().copied())
        .sum();
    if length_mm > MOST_LENGTH_MM {
        return Err(TraceFault::at(
            None,
            format!("the lines are {:.0} m long in all", length_mm / 1000.0),
            "is the unit right, and are they centre lines?",
        ));
    }
    Ok(())
}

/// Refuses a line that passes through itself: no tree of round lumens does.
fn refuse_crossing(line: &TracedLine) -> Result<(), TraceFault> {
    let mut grid = Grid::default();
    grid.add(0, &line.points_mm);
    let at = along(&line.points_mm);
    let lines = [line.points_mm.as_slice()];
    for (i, pair) in line.points_mm.windows(2).enumerate() {
        let radius_mm = line.radii_mm[i].min(line.radii_mm[i + 1]);
        let within_mm = (CROSSING_SHARE * radius_mm).min(MOST_CROSSING_MM);
        let apart_mm = APART_RADII * line.radii_mm[i].max(line.radii_mm[i + 1]);
        // looked for at samples so near to each other that no crossing slips between them
        let steps = ((at[i + 1] - at[i]) / within_mm).ceil().clamp(1.0, 1000.0);
        let mut step = 0.0;
        while step < steps {
            let point = pair[0] + (pair[1] - pair[0]) * (step / steps);
            let found = grid.nearest(&lines, &point, within_mm, |_, j| {
                at[j] > at[i + 1] + apart_mm || at[j + 1] < at[i] - apart_mm
            });
            if let Some(foot) = found {
                return Err(TraceFault::at(
                    Some(line.rows[i]),
                    format!(
                        "the line passes through itself: it comes to {:.2} mm of what it was in row {}",
                        foot.distance_mm, line.rows[foot.point]
                    ),
                    "a line runs along one vessel once: cut it where it turns back, or mend the order of its points",
                ));
            }
            step += 1.0;
        }
    }
    Ok(())
}
