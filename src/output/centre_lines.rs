//! Centre lines with radii for other programs: CSV, legacy VTK, XML polydata (VTP), SWC.
//!
//! Coordinates and radii are mm; x to the patient's left, y to the back, z to the head. Points lie half a millimetre
//! apart, and wherever a branch starts.

use crate::geometry::{Point, Track, Tree};
use std::fmt::Write as _;

/// Points lie so far apart, mm.
const STEP_MM: f64 = 0.5;

/// A format of centre lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum LineFormat {
    /// A table, a point a row.
    Csv,
    /// Legacy VTK polydata as text.
    Vtk,
    /// XML polydata as text.
    Vtp,
    /// A tree of points.
    Swc,
}

impl LineFormat {
    /// The format of a file's ending.
    #[must_use]
    pub fn of_ending(ending: &str) -> Option<Self> {
        match ending.to_ascii_lowercase().as_str() {
            "csv" => Some(Self::Csv),
            "vtk" => Some(Self::Vtk),
            "vtp" => Some(Self::Vtp),
            "swc" => Some(Self::Swc),
            _ => None,
        }
    }
}

/// A line: its name, its points with radii, and where it starts on which line before it.
#[derive(Debug, Clone, PartialEq)]
struct Line {
    name: String,
    points: Vec<(Point, f64)>,
    /// Line and point on it.
    starts_on: Option<(usize, usize)>,
}

/// Centre lines to be written.
#[derive(Debug, Clone, PartialEq)]
pub struct CentreLines {
    lines: Vec<Line>,
}

/// Evenly spaced places, no farther apart than the step, with some more among them.
fn places(length_mm: f64, more: impl Iterator<Item = f64>) -> Vec<f64> {
    let cells = (length_mm / STEP_MM).ceil().max(1.0);
    let mut at = Vec::new();
    let mut cell = 0.0;
    while cell < cells {
        at.push(length_mm * cell / cells);
        cell += 1.0;
    }
    at.push(length_mm);
    at.extend(more);
    at.sort_by(f64::total_cmp);
    at.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    at
}

impl CentreLines {
    /// Every branch of a vessel with its healthy lumen, parents first.
    #[must_use]
    pub fn of_tree(tree: &Tree) -> Self {
        let mut order: Vec<usize> = Vec::new();
        while order.len() < tree.branches.len() {
            let ready = (0..tree.branches.len()).find(|i| {
                !order.contains(i)
                    && tree.branches[*i]
                        .ostium
                        .is_none_or(|o| order.contains(&o.branch))
            });
            let Some(i) = ready else { break };
            order.push(i);
        }
        let stations = |i: usize| {
            let own = tree.branches.iter().filter_map(|b| b.ostium);
            let starts = own.filter(|o| o.branch == i).map(|o| o.at_mm);
            places(tree.branches[i].curve.length_mm(), starts)
        };
        let lines = order.iter().map(|&i| {
            let branch = &tree.branches[i];
            let points = stations(i)
                .into_iter()
                .map(|s| (branch.curve.point_at(s), 0.5 * branch.lumen.diameter_at(s)));
            let starts_on = branch.ostium.and_then(|o| {
                let line = order.iter().position(|k| *k == o.branch)?;
                let all = stations(o.branch);
                let near = |k: &usize| (all[*k] - o.at_mm).abs();
                let point = (0..all.len()).min_by(|a, b| near(a).total_cmp(&near(b)))?;
                Some((line, point))
            });
            Line {
                name: branch.name.clone(),
                points: points.collect(),
                starts_on,
            }
        });
        Self {
            lines: lines.collect(),
        }
    }

    /// The route alone, with the lumen that is open, lesions included.
    #[must_use]
    pub fn of_track(track: &Track) -> Self {
        let at = places(track.length_mm(), std::iter::empty());
        Self {
            lines: vec![Line {
                name: "route".into(),
                points: at
                    .into_iter()
                    .map(|s| (track.curve.point_at(s), track.radius_at(s)))
                    .collect(),
                starts_on: None,
            }],
        }
    }

    /// The text of a file.
    #[must_use]
    pub fn text(&self, format: LineFormat) -> String {
        match format {
            LineFormat::Csv => self.csv(),
            LineFormat::Vtk => self.vtk(),
            LineFormat::Vtp => self.vtp(),
            LineFormat::Swc => self.swc(),
        }
    }

    fn points(&self) -> impl Iterator<Item = &(Point, f64)> {
        self.lines.iter().flat_map(|line| &line.points)
    }

    fn csv(&self) -> String {
        let mut out = String::from("x_mm,y_mm,z_mm,radius_mm,line\n");
        for line in &self.lines {
            for (p, radius) in &line.points {
                let _ = writeln!(out, "{},{},{},{radius},{}", p.x, p.y, p.z, line.name);
            }
        }
        out
    }

    fn vtk(&self) -> String {
        let count = self.points().count();
        let mut out = format!(
            "# vtk DataFile Version 3.0\ncentre lines, mm, written by nestline\nASCII\nDATASET POLYDATA\nPOINTS {count} double\n"
        );
        for (p, _) in self.points() {
            let _ = writeln!(out, "{} {} {}", p.x, p.y, p.z);
        }
        let _ = writeln!(
            out,
            "LINES {} {}",
            self.lines.len(),
            count + self.lines.len()
        );
        for numbers in self.numbers() {
            let _ = writeln!(out, "{} {}", numbers.len(), joined(numbers));
        }
        let _ = writeln!(
            out,
            "POINT_DATA {count}\nSCALARS radius double 1\nLOOKUP_TABLE default"
        );
        for (_, radius) in self.points() {
            let _ = writeln!(out, "{radius}");
        }
        out
    }

    /// Numbers of each line's points, counted through.
    fn numbers(&self) -> Vec<std::ops::Range<usize>> {
        let mut next = 0;
        let ranges = self.lines.iter().map(|line| {
            let range = next..next + line.points.len();
            next = range.end;
            range
        });
        ranges.collect()
    }

    fn vtp(&self) -> String {
        let count = self.points().count();
        let mut out = String::from(
            "<?xml version=\"1.0\"?>\n<VTKFile type=\"PolyData\" version=\"1.0\" byte_order=\"LittleEndian\" header_type=\"UInt64\">\n<PolyData>\n",
        );
        let _ = writeln!(
            out,
            "<Piece NumberOfPoints=\"{count}\" NumberOfVerts=\"0\" NumberOfLines=\"{}\" NumberOfStrips=\"0\" NumberOfPolys=\"0\">",
            self.lines.len()
        );
        let array = |kind: &str, name: &str, components: usize| {
            format!(
                "<DataArray type=\"{kind}\" Name=\"{name}\" NumberOfComponents=\"{components}\" format=\"ascii\">\n"
            )
        };
        let _ = write!(
            out,
            "<PointData Scalars=\"radius\">\n{}",
            array("Float64", "radius", 1)
        );
        for (_, radius) in self.points() {
            let _ = writeln!(out, "{radius}");
        }
        let _ = write!(
            out,
            "</DataArray>\n</PointData>\n<Points>\n{}",
            array("Float64", "Points", 3)
        );
        for (p, _) in self.points() {
            let _ = writeln!(out, "{} {} {}", p.x, p.y, p.z);
        }
        let _ = write!(
            out,
            "</DataArray>\n</Points>\n<Lines>\n{}",
            array("Int64", "connectivity", 1)
        );
        let numbers = self.numbers();
        for range in numbers.clone() {
            let _ = writeln!(out, "{}", joined(range));
        }
        let _ = write!(out, "</DataArray>\n{}", array("Int64", "offsets", 1));
        for range in &numbers {
            let _ = writeln!(out, "{}", range.end);
        }
        out.push_str("</DataArray>\n</Lines>\n</Piece>\n</PolyData>\n</VTKFile>\n");
        out
    }

    fn swc(&self) -> String {
        let mut out = String::from(
            "# centre lines, mm, written by nestline: number kind x y z radius parent\n",
        );
        let mut number = 0_usize;
        // number of the first point written of each line, less what was left out before it
        let mut firsts: Vec<Vec<usize>> = Vec::new();
        for line in &self.lines {
            let shared = line.starts_on.map(|(on, point)| firsts[on][point]);
            let mut own = Vec::with_capacity(line.points.len());
            own.extend(shared);
            for (p, radius) in line.points.iter().skip(usize::from(shared.is_some())) {
                number += 1;
                let parent = own.last().map_or("-1".to_owned(), ToString::to_string);
                let _ = writeln!(out, "{number} 0 {} {} {} {radius} {parent}", p.x, p.y, p.z);
                own.push(number);
            }
            firsts.push(own);
        }
        out
    }
}

fn joined(numbers: std::ops::Range<usize>) -> String {
    numbers.map(|n| n.to_string()).collect::<Vec<_>>().join(" ")
}
