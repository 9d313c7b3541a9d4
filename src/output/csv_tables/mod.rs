//! Every table of a rehearsal as comma-separated values: one row a line, full precision, units in the
//! names of the columns.

mod procedure;
mod stenting;
mod times;

pub use times::comparison_tables;

use super::report::{Report, everything_rests};
use std::io;

/// One table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CsvTable {
    /// Name without ending.
    pub name: &'static str,
    header: Vec<&'static str>,
    rows: Vec<Vec<String>>,
}

impl CsvTable {
    fn new(name: &'static str, header: &[&'static str]) -> Self {
        Self {
            name,
            header: header.to_vec(),
            rows: Vec::new(),
        }
    }

    fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(cells.into_iter().collect());
    }

    /// Number of rows below the header.
    #[must_use]
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there is nothing below the header.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The file: RFC 4180, UTF-8. Words that a spreadsheet would take for a formula get an apostrophe in
    /// front.
    ///
    /// # Errors
    /// [`io::Error`] where a row has not as many cells as the header.
    pub fn text(&self) -> io::Result<String> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(&self.header)?;
        for row in &self.rows {
            writer.write_record(row.iter().map(|cell| guarded(cell)))?;
        }
        let bytes = writer.into_inner().map_err(|e| e.into_error())?;
        String::from_utf8(bytes).map_err(io::Error::other)
    }
}

/// A cell that no spreadsheet runs: numbers stay, other words with a leading sign are quoted.
fn guarded(cell: &str) -> String {
    let risky = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
    if risky && cell.parse::<f64>().is_err() {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

/// A number with every digit it has.
fn number(value: f64) -> String {
    // minus nought is nought
    format!("{}", value + 0.0)
}

fn optional(value: Option<f64>) -> String {
    value.map_or_else(String::new, number)
}

/// The word under which a value of a closed list stands in JSON too.
fn word(value: &impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(text)) => text,
        _ => String::new(),
    }
}

fn yes(value: bool) -> String {
    if value { "yes" } else { "no" }.to_owned()
}

impl Report<'_> {
    /// Every table of the report.
    #[must_use]
    pub fn tables(&self) -> Vec<CsvTable> {
        let outcome = &self.rehearsed.outcome;
        let mut out = vec![
            procedure::verdict(outcome),
            procedure::stack(outcome),
            procedure::steps(outcome),
            procedure::findings(outcome),
        ];
        out.extend(procedure::devices(outcome));
        out.push(procedure::losses(outcome));
        out.extend(procedure::fits(outcome));
        out.extend(stenting::stents(outcome));
        out.extend(stenting::edges(outcome));
        out.extend(stenting::pulls(outcome));
        out.extend(times::clock(self.rehearsed));
        out.push(procedure::access(self.rehearsed));
        out.extend(vessel(self));
        out.push(basis(self));
        out
    }
}

fn vessel(report: &Report<'_>) -> [CsvTable; 2] {
    let track = &report.plan.track;
    let mut route = CsvTable::new(
        "route",
        &[
            "station_mm",
            "x_mm",
            "y_mm",
            "z_mm",
            "curvature_per_mm",
            "turning_rad",
            "lumen_mm",
            "healthy_mm",
        ],
    );
    for s in &track.stations {
        let at = s.frame.origin_mm;
        route.row(
            [
                s.s_mm,
                at.x,
                at.y,
                at.z,
                s.curvature_per_mm,
                s.turning_rad,
                2.0 * s.radius_mm,
                track.healthy_diameter_at(s.s_mm),
            ]
            .map(number),
        );
    }
    let mut landmarks = CsvTable::new("landmarks", &["landmark", "station_mm"]);
    for l in &track.landmarks {
        landmarks.row([l.name.clone(), number(l.s_mm)]);
    }
    [route, landmarks]
}

fn basis(report: &Report<'_>) -> CsvTable {
    let mut table = CsvTable::new("basis", &["group", "what", "value", "rests_on"]);
    for r in everything_rests(report.plan, report.durations) {
        table.row([r.group.to_owned(), r.what, r.value, r.source]);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cell_runs_in_a_spreadsheet() {
        let mut table = CsvTable::new("t", &["a", "b"]);
        table.row(["=1+1".to_owned(), "-0.25".to_owned()]);
        table.row(["say \"so\", please".to_owned(), "@x".to_owned()]);
        let text = table.text().unwrap();
        assert!(
            text == "a,b\n'=1+1,-0.25\n\"say \"\"so\"\", please\",'@x\n",
            "{text}"
        );
    }
}
