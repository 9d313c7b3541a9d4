//! Polylines with arrays of values at their points, as both forms of polydata files have them.

use super::lines::{File, RawLines, RawPoint};
use crate::data::error::{DataError, choices};
use std::collections::BTreeMap;

/// Most points that are read; a finely traced body has some ten thousand.
pub(super) const MOST_POINTS: usize = 2_000_000;

/// An array of values at points.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Array {
    pub(super) name: String,
    pub(super) components: usize,
    pub(super) values: Vec<f64>,
}

/// What is read of a polydata file.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct PolyData {
    /// Coordinates, three a point.
    pub(super) points: Vec<f64>,
    /// Points of each line, by number.
    pub(super) lines: Vec<Vec<usize>>,
    pub(super) arrays: Vec<Array>,
}

/// A number of something as a count, if it is one.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "whole, not negative and far below what either type holds"
)]
pub(super) fn count_of(value: f64) -> Option<usize> {
    (value >= 0.0 && value.fract() == 0.0 && value < 4e9).then_some(value as usize)
}

impl PolyData {
    /// Lines with the radii of an array.
    pub(super) fn into_lines(
        self,
        file: &File<'_>,
        radius: Option<&str>,
    ) -> Result<RawLines, DataError> {
        let count = self.points.len() / 3;
        let radii = self.radii(file, radius, count)?;
        if self.lines.is_empty() {
            return Err(file.refuse(
                "it holds no lines",
                "export centre lines as polylines: points alone and surfaces have no course",
            ));
        }
        let mut found = RawLines::default();
        for (k, line) in self.joined_segments().into_iter().enumerate() {
            let mut points = Vec::with_capacity(line.len());
            for i in line {
                if i >= count {
                    return Err(file.refuse(
                        format!("line {k} names point {i}, but there are {count} points"),
                        "points are counted from 0; is the file whole?",
                    ));
                }
                points.push(RawPoint {
                    at: [
                        self.points[3 * i],
                        self.points[3 * i + 1],
                        self.points[3 * i + 2],
                    ],
                    radius: radii[i],
                    row: i,
                });
            }
            found.lines.push(points);
        }
        Ok(found)
    }

    fn radii(
        &self,
        file: &File<'_>,
        wanted: Option<&str>,
        count: usize,
    ) -> Result<Vec<f64>, DataError> {
        let names = || self.arrays.iter().map(|a| a.name.as_str());
        let found = match wanted {
            Some(name) => self.arrays.iter().find(|a| a.name == name).ok_or_else(|| {
                file.refuse(
                    format!("no array at its points is named `{name}`"),
                    choices(name, names()),
                )
            })?,
            None => self.array_of_radii().ok_or_else(|| {
                let help = if self.arrays.is_empty() {
                    "export the radius of the lumen as an array of values at points".to_owned()
                } else {
                    format!(
                        "say which array holds it: --radius NAME; there are {}",
                        names().collect::<Vec<_>>().join(", ")
                    )
                };
                file.refuse("no array at its points is called radius", help)
            })?,
        };
        if found.components != 1 || found.values.len() != count {
            return Err(file.refuse(
                format!(
                    "the array `{}` has {} values of {} components for {count} points",
                    found.name,
                    found.values.len() / found.components.max(1),
                    found.components
                ),
                "name an array with one value a point",
            ));
        }
        Ok(found.values.clone())
    }

    /// The array called `radius`, or the only one whose name has the word in it.
    fn array_of_radii(&self) -> Option<&Array> {
        let lower = |a: &Array| a.name.to_lowercase();
        let exact = self.arrays.iter().find(|a| lower(a) == "radius");
        exact.or_else(|| {
            let mut with = self.arrays.iter().filter(|a| lower(a).contains("radius"));
            let first = with.next()?;
            with.next().is_none().then_some(first)
        })
    }

    /// Lines, those written as segments of two points strung together where just two meet. Points are the same
    /// where their coordinates are.
    fn joined_segments(&self) -> Vec<Vec<usize>> {
        let count = self.points.len() / 3;
        let (segments, mut lines): (Vec<Vec<usize>>, Vec<Vec<usize>>) = self
            .lines
            .iter()
            .cloned()
            .partition(|line| line.len() == 2 && line.iter().all(|i| *i < count));
        let mut ids: BTreeMap<[u64; 3], usize> = BTreeMap::new();
        let mut id = |i: usize| {
            let key = [0, 1, 2].map(|axis| self.points[3 * i + axis].to_bits());
            *ids.entry(key).or_insert(i)
        };
        let mut neighbours: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for segment in &segments {
            let (a, b) = (id(segment[0]), id(segment[1]));
            let known = neighbours.get(&a).is_some_and(|all| all.contains(&b));
            if a != b && !known {
                neighbours.entry(a).or_default().push(b);
                neighbours.entry(b).or_default().push(a);
            }
        }
        let mut used: BTreeMap<(usize, usize), ()> = BTreeMap::new();
        let mut walk = |start: usize, lines: &mut Vec<Vec<usize>>| {
            for &first in &neighbours[&start] {
                let key = |a: usize, b: usize| (a.min(b), a.max(b));
                if used.insert(key(start, first), ()).is_some() {
                    continue;
                }
                let mut line = vec![start, first];
                let mut last = start;
                let mut at = first;
                while let [a, b] = neighbours[&at][..] {
                    let next = if a == last { b } else { a };
                    if used.insert(key(at, next), ()).is_some() {
                        break;
                    }
                    line.push(next);
                    (last, at) = (at, next);
                }
                lines.push(line);
            }
        };
        // from ends and divisions first; what is left are rings
        for ends in [true, false] {
            for (&start, all) in &neighbours {
                if (all.len() != 2) == ends {
                    walk(start, &mut lines);
                }
            }
        }
        lines
    }
}
