//! Centre lines as tables: a point a row, columns by name.

use super::lines::{File, RawLines, RawPoint, number};
use crate::data::error::{DataError, listed};

/// Names of columns; where none is given they are known by what they begin with.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Columns {
    /// Columns of x, y, z and the radius.
    pub(super) names: [Option<String>; 4],
    /// Column that is the same for all points of a line.
    pub(super) line: Option<String>,
}

const KEYS: [&str; 4] = ["x", "y", "z", "radius"];
/// What columns are called that tell lines apart.
const LINE_NAMES: [&str; 5] = ["line", "branch", "segment", "polyline", "vessel"];

impl Columns {
    /// Reads `x=NAME,y=NAME,z=NAME,radius=NAME,line=NAME`, any of them.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn parse(text: &str) -> Result<Self, String> {
        let mut columns = Self::default();
        for part in text.split(',').filter(|part| !part.trim().is_empty()) {
            let (key, name) = part.split_once('=').ok_or_else(|| {
                format!("`{part}` names no column: write for example x=PX,y=PY,z=PZ,radius=R")
            })?;
            let name = Some(name.trim().to_owned());
            match (key.trim(), KEYS.iter().position(|k| *k == key.trim())) {
                (_, Some(i)) => columns.names[i] = name,
                ("line", _) => columns.line = name,
                (other, _) => {
                    return Err(format!("`{other}` is none of x, y, z, radius and line"));
                }
            }
        }
        Ok(columns)
    }
}

/// Which field of a record is which.
struct Layout {
    at: [usize; 4],
    /// 0.5 where the file has diameters.
    radius_factor: f64,
    line: Option<usize>,
}

/// Reads a table.
pub(super) fn read(text: &str, file: &File<'_>, columns: &Columns) -> Result<RawLines, DataError> {
    let delimiter = delimiter(text);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(text.as_bytes());
    let headers = reader
        .headers()
        .map_err(|error| unreadable(file, &error))?
        .clone();
    let names: Vec<&str> = headers.iter().collect();
    let layout = layout(&names, file, columns)?;
    let mut found = RawLines::default();
    let mut last: Option<String> = None;
    for record in reader.records() {
        let record = record.map_err(|error| unreadable(file, &error))?;
        let row = record
            .position()
            .map_or(0, |p| usize::try_from(p.line()).unwrap_or(usize::MAX));
        let mut values = [0.0; 4];
        for (i, value) in values.iter_mut().enumerate() {
            *value = field(&record, layout.at[i], names[layout.at[i]], row, file)?;
        }
        let line = layout.line.and_then(|i| record.get(i)).map(str::to_owned);
        if found.lines.is_empty() || line != last {
            found.lines.push(Vec::new());
            last = line;
        }
        if let Some(points) = found.lines.last_mut() {
            points.push(RawPoint {
                at: [values[0], values[1], values[2]],
                radius: layout.radius_factor * values[3],
                row,
            });
        }
    }
    Ok(found)
}

fn field(
    record: &csv::StringRecord,
    i: usize,
    name: &str,
    row: usize,
    file: &File<'_>,
) -> Result<f64, DataError> {
    let Some(text) = record.get(i) else {
        return Err(file.refuse_row(
            row,
            format!(
                "the row has {} fields, column `{name}` is missing",
                record.len()
            ),
            "give every row as many fields as there are column names",
        ));
    };
    number(text).ok_or_else(|| {
        let help = if text.contains(',') {
            "write numbers with a decimal point"
        } else {
            "write a number, such as 12.5"
        };
        file.refuse_row(
            row,
            format!("column `{name}` holds `{text}`, which is no number"),
            help,
        )
    })
}

fn unreadable(file: &File<'_>, error: &csv::Error) -> DataError {
    let row = error
        .position()
        .map_or(1, |p| usize::try_from(p.line()).unwrap_or(usize::MAX));
    file.refuse_row(
        row,
        format!("it cannot be read as a table: {error}"),
        "save it as comma-separated values, UTF-8, with a line of column names first",
    )
}

/// The sign between fields: the one that the line of names has most of.
fn delimiter(text: &str) -> u8 {
    let names = text
        .lines()
        .find(|line| !line.starts_with('#') && !line.trim().is_empty())
        .unwrap_or_default();
    let count = |sign: u8| names.bytes().filter(|b| *b == sign).count();
    [b',', b';', b'\t']
        .into_iter()
        .max_by_key(|sign| (count(*sign), *sign == b','))
        .unwrap_or(b',')
}

fn layout(names: &[&str], file: &File<'_>, columns: &Columns) -> Result<Layout, DataError> {
    let all = || listed(names.iter().copied());
    let named = |name: &str| names.iter().position(|n| n.eq_ignore_ascii_case(name));
    // `x`, `x_mm`, `X (mm)`
    let begins = |key: &str| {
        names.iter().position(|n| {
            let n = n.to_ascii_lowercase();
            n == key
                || n.strip_prefix(key)
                    .is_some_and(|rest| rest.starts_with(['_', ' ', '(', '[']))
        })
    };
    let mut at = [0; 4];
    let mut radius_factor = 1.0;
    for (i, key) in KEYS.into_iter().enumerate() {
        let found = match &columns.names[i] {
            Some(name) => Some(named(name).ok_or_else(|| {
                file.refuse_row(
                    1,
                    format!("there is no column `{name}`"),
                    format!("the columns are {}", all()),
                )
            })?),
            None if key == "radius" => begins("radius").or_else(|| begins("r")),
            None => begins(key),
        };
        let diameter = || begins("diameter").or_else(|| begins("d"));
        at[i] = match (found, key) {
            (Some(i), _) => i,
            (None, "radius") if diameter().is_some() => {
                radius_factor = 0.5;
                diameter().unwrap_or_default()
            }
            _ => {
                return Err(file.refuse_row(
                    1,
                    format!("no column is named `{key}`"),
                    format!(
                        "the columns are {}; say which is which: --columns x=…,y=…,z=…,radius=…",
                        all()
                    ),
                ));
            }
        };
    }
    let line = match &columns.line {
        Some(name) => Some(named(name).ok_or_else(|| {
            file.refuse_row(
                1,
                format!("there is no column `{name}`"),
                format!("the columns are {}", all()),
            )
        })?),
        None => LINE_NAMES.iter().find_map(|key| begins(key)),
    };
    Ok(Layout {
        at,
        radius_factor,
        line,
    })
}

/// Units that column names tell, such as `x_mm`, `radius (cm)`.
pub(super) fn unit_of_names(text: &str) -> Option<(String, &'static str)> {
    let names = text
        .lines()
        .find(|line| !line.starts_with('#') && !line.trim().is_empty())?;
    let parts = names
        .split([',', ';', '\t'])
        .map(|n| n.trim().to_ascii_lowercase());
    for name in parts {
        let key = name.split(['_', ' ', '(', '[']).next().unwrap_or_default();
        if !["x", "y", "z", "r", "radius", "d", "diameter"].contains(&key) {
            continue;
        }
        let unit = name[key.len()..]
            .trim_matches(['_', ' ', '(', ')', '[', ']'])
            .to_owned();
        let known = ["mm", "cm", "in", "m"]
            .into_iter()
            .find(|known| *known == unit);
        if let Some(unit) = known {
            return Some((name, unit));
        }
    }
    None
}
