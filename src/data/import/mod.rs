//! Centre lines from other programs: CSV, legacy VTK and XML polydata, SWC.
//!
//! A reader makes lines of a file, in its own unit and with the row of every point; here the unit and the axes are
//! applied, the lines made into a tree ([`trace`]), and landmarks, lesions and clots placed on it. What comes out is
//! plain data that [`output`](crate::output) writes as a vessel file.

mod csv_lines;
mod lines;
mod number;
mod places;
mod polydata;
mod swc;
mod vtk;
mod vtp;

pub use csv_lines::Columns;

use super::error::{DataError, Problem};
use super::source::Source;
use super::text::{decode_utf8, read_limited};
use crate::geometry::Point;
use crate::geometry::traced::{
    Strength, TraceFault, TraceSettings, TracedLine, TracedVessel, trace,
};
use crate::units::parse_length_mm;
use lines::{File, RawLines};
use std::path::Path;
use std::sync::Arc;

/// Largest file that is read, bytes: a million points as text.
const MOST_BYTES: u64 = 128 * 1024 * 1024;

/// The wall of an imported vessel where nothing is said, N/mm²: that of the internal carotid as measured forms assume it
/// (order of magnitude only).
const WALL_N_PER_MM2: f64 = 3.6;

/// How a file of centre lines is taken.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct ImportOptions {
    /// Unit of coordinates and radii: `mm`, `cm`, `m`, `in`, or a length for one of the file, `0.35mm`.
    pub unit: String,
    /// Where the file's three axes point: a letter each of L or R, A or P, S or I (`RAS`, `LPS`); as ours, LPS, where left out.
    pub axes: Option<String>,
    /// Array or column of radii.
    pub radius: Option<String>,
    /// Columns of a table.
    pub columns: Columns,
    /// The end that flow comes in by: `X,Y,Z` in the file's unit or `row:N`.
    pub root: Option<String>,
    /// Where the route leads, likewise; a name may stand before it (`m1-end=row:35`).
    pub target: Option<String>,
    /// How near ends are joined to other lines, with unit.
    pub join: Option<String>,
    /// How strongly lines are smoothed, with unit; by cross-validation where left out.
    pub smooth: Option<String>,
    /// Landmarks: `NAME=X,Y,Z`, `NAME=row:N` or `NAME=BRANCH@35mm`.
    pub landmarks: Vec<String>,
    /// Lesions: `NAME=WHERE,LENGTH,PERCENT`.
    pub lesions: Vec<String>,
    /// Whether narrowings found in the radii become lesions.
    pub take_narrowings: bool,
    /// Clots: `NAME=WHERE,LENGTH`.
    pub clots: Vec<String>,
    /// What the vessel is called; by its file where left out.
    pub name: Option<String>,
    /// A measured vessel that it is grafted into.
    pub onto: Option<String>,
    /// The landmark of that vessel at which the piece begins.
    pub from: Option<String>,
    /// The landmark from which that vessel goes on behind the piece.
    pub go_on_at: Option<String>,
    /// By what the piece is turned about the vessel's direction, degrees.
    pub roll_deg: f64,
}

impl ImportOptions {
    /// Options with the unit, and some more values set.
    pub fn with(unit: impl Into<String>, change: impl FnOnce(&mut Self)) -> Self {
        let mut options = Self {
            unit: unit.into(),
            ..Self::default()
        };
        change(&mut options);
        options
    }
}

/// Reads centre lines and makes a vessel of them.
///
/// # Errors
/// A [`DataError`] naming the file and the row: what is no number, no lumen or no tree, and options that do not fit.
pub fn import(path: &Path, options: &ImportOptions) -> Result<TracedVessel, DataError> {
    let shown = Source::from(path).to_string();
    let bytes = read_limited(path, &shown, MOST_BYTES)?;
    import_bytes(&bytes, &shown, path, options)
}

/// The same of bytes that have been read.
pub(super) fn import_bytes(
    bytes: &[u8],
    shown: &str,
    path: &Path,
    options: &ImportOptions,
) -> Result<TracedVessel, DataError> {
    let unit_mm = unit_mm(&options.unit)?;
    let axes = Axes::parse(options.axes.as_deref())?;
    let (file, raw) = read_lines(bytes, shown, path, options, unit_mm)?;
    let count: usize = raw.lines.iter().map(Vec::len).sum();
    if count > polydata::MOST_POINTS {
        let what = format!(
            "it has {count} points, more than the {} that are read",
            polydata::MOST_POINTS
        );
        return Err(file.refuse(what, "export the vessels that are rehearsed, with points a tenth of a millimetre apart or more"));
    }
    let to_mm = |at: [f64; 3]| axes.turned(at.map(|x| x * unit_mm));
    let lines: Vec<TracedLine> = raw
        .lines
        .iter()
        .map(|line| TracedLine {
            points_mm: line.iter().map(|p| to_mm(p.at)).collect(),
            radii_mm: line.iter().map(|p| p.radius * unit_mm).collect(),
            rows: line.iter().map(|p| p.row).collect(),
        })
        .collect();
    let spot = |text: &str| places::spot(text, &to_mm);
    let mut settings = TraceSettings::default();
    settings.root = options.root.as_deref().map(spot).transpose()?;
    let target = options.target.as_deref().map(places::named);
    settings.target = target.map(|(_, text)| spot(text)).transpose()?;
    settings.join_mm = options
        .join
        .as_deref()
        .map(|text| length("--join", text))
        .transpose()?;
    if let Some(text) = &options.smooth {
        settings.strength = Strength::GivenMm(length("--smooth", text)?);
    }
    let traced = trace(&lines, &settings).map_err(|fault| refused(&file, &fault))?;
    let name = options.name.clone().unwrap_or_else(|| {
        let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned());
        super::plainly(&stem.unwrap_or_else(|| shown.to_owned())).into_owned()
    });
    // not the whole path: names of folders may be names of patients
    let from = path.file_name().map(|s| s.to_string_lossy().into_owned());
    let from = super::plainly(&from.unwrap_or_default()).into_owned();
    let source =
        format!("centre lines imported from {from}, one unit of the file being {unit_mm} mm");
    let mut vessel = TracedVessel::new(name, source, traced);
    vessel.wall_stiffness_n_per_mm2 = WALL_N_PER_MM2;
    vessel.coordinates = axes.in_words();
    places::place_all(&mut vessel, options, &file, &to_mm)?;
    Ok(vessel)
}

fn refused(file: &File<'_>, fault: &TraceFault) -> DataError {
    let help = fault.refusal.help.as_deref().unwrap_or("mend the file");
    match fault.row {
        Some(row) => file.refuse_row(row, &fault.refusal.what, help),
        None => file.refuse(&fault.refusal.what, help),
    }
}

/// Whatever a file is, by what it begins with or else by its name.
fn read_lines<'a>(
    bytes: &[u8],
    shown: &'a str,
    path: &Path,
    options: &ImportOptions,
    unit_mm: f64,
) -> Result<(File<'a>, RawLines), DataError> {
    let mut file = File {
        shown,
        text: None,
        row_word: "point",
    };
    let start = bytes
        .iter()
        .position(|b| !b.is_ascii_whitespace())
        .unwrap_or(0);
    let head = bytes[start..]
        .strip_prefix(b"\xEF\xBB\xBF")
        .unwrap_or(&bytes[start..]);
    let radius = options.radius.as_deref();
    if head.starts_with(b"# vtk DataFile") {
        let lines = vtk::read(head, &file)?.into_lines(&file, radius)?;
        return Ok((file, lines));
    }
    if head.starts_with(b"<") {
        let lines = vtp::read(head, &file)?.into_lines(&file, radius)?;
        return Ok((file, lines));
    }
    let text: Arc<str> = Arc::from(decode_utf8(shown, bytes.to_vec())?);
    file.text = Some(Arc::clone(&text));
    file.row_word = "row";
    if is_swc(&text, path) {
        let lines = swc::read(&text, &file)?;
        return Ok((file, lines));
    }
    let mut columns = options.columns.clone();
    if radius.is_some() {
        columns.names[3] = options.radius.clone();
    }
    if let Some((name, unit)) = csv_lines::unit_of_names(&text)
        && let Ok(told_mm) = unit_mm_of(unit)
        && (told_mm - unit_mm).abs() > 1e-9 * told_mm
    {
        let what = format!(
            "the column `{name}` says {unit}, `--unit` says {unit_mm} mm for one of the file"
        );
        return Err(file.refuse_row(
            1,
            what,
            "one of the two is wrong: give the unit the file has, or mend its column names",
        ));
    }
    let lines = csv_lines::read(&text, &file, &columns)?;
    Ok((file, lines))
}

/// Whether a text is SWC: by its ending, or because its first line that says anything is numbers alone.
fn is_swc(text: &str, path: &Path) -> bool {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("swc") => true,
        Some("csv" | "tsv" | "txt") => false,
        _ => {
            let mut lines = text.lines().map(str::trim);
            let first = lines.find(|line| !line.is_empty() && !line.starts_with('#'));
            first.is_some_and(|line| {
                line.split_whitespace()
                    .all(|word| word.parse::<f64>().is_ok())
            })
        }
    }
}

fn unit_mm(text: &str) -> Result<f64, DataError> {
    unit_mm_of(text).map_err(|why| {
        DataError::new(Problem::NotAccepted, format!("--unit: {why}")).with_help(
            "write mm, cm, m or in, or the length of one unit of the file, such as 0.35mm for voxels",
        )
    })
}

fn unit_mm_of(text: &str) -> Result<f64, String> {
    let text = text.trim();
    if text.is_empty() {
        return Err("no unit is given".into());
    }
    if text == "m" {
        return Ok(1000.0);
    }
    let whole = if text.starts_with(|c: char| c.is_ascii_digit() || c == '.') {
        text.to_owned()
    } else {
        format!("1 {text}")
    };
    let mm = parse_length_mm(&whole).map_err(|error| error.to_string())?;
    if mm > 0.0 && mm.is_finite() {
        Ok(mm)
    } else {
        Err(format!("`{text}` is no length above 0"))
    }
}

fn length(option: &str, text: &str) -> Result<f64, DataError> {
    let refuse = |why: String| DataError::new(Problem::NotAccepted, format!("{option}: {why}"));
    let mm = parse_length_mm(text).map_err(|error| refuse(error.to_string()))?;
    if (0.0..=100.0).contains(&mm) {
        return Ok(mm);
    }
    Err(refuse(format!("{mm} mm is not from 0 to 100 mm")).with_help("a length such as 1.5mm"))
}

/// Where the axes of a file point.
#[derive(Debug, Clone, PartialEq)]
struct Axes {
    /// For each of our axes (left, back, head) the file's, and its sign.
    from: [(usize, f64); 3],
    given: Option<String>,
}

impl Axes {
    fn parse(text: Option<&str>) -> Result<Self, DataError> {
        let mut from = [(0, 1.0), (1, 1.0), (2, 1.0)];
        let Some(text) = text else {
            return Ok(Self { from, given: None });
        };
        let refuse = || {
            DataError::new(
                Problem::NotAccepted,
                format!("--axes: `{}` are no three axes", super::plainly(text)),
            )
            .with_help(
                "a letter for each axis of the file: L or R, A or P, S or I, such as LPS or RAS",
            )
        };
        let letters: Vec<char> = text.trim().to_ascii_uppercase().chars().collect();
        if letters.len() != 3 {
            return Err(refuse());
        }
        let mut seen = [false; 3];
        for (i, letter) in letters.iter().enumerate() {
            let (ours, sign) = match letter {
                'L' => (0, 1.0),
                'R' => (0, -1.0),
                'P' => (1, 1.0),
                'A' => (1, -1.0),
                'S' => (2, 1.0),
                'I' => (2, -1.0),
                _ => return Err(refuse()),
            };
            if std::mem::replace(&mut seen[ours], true) {
                return Err(refuse());
            }
            from[ours] = (i, sign);
        }
        Ok(Self {
            from,
            given: Some(letters.into_iter().collect()),
        })
    }

    fn turned(&self, at: [f64; 3]) -> Point {
        let [x, y, z] = self.from.map(|(axis, sign)| sign * at[axis]);
        Point::new(x, y, z)
    }

    fn in_words(&self) -> String {
        match &self.given {
            Some(given) => format!("axes of the file {given}, here: x to the patient's left, y to the back, z to the head"),
            None => "axes as in the file, taken as: x to the patient's left, y to the back, z to the head".into(),
        }
    }
}
