//! Legacy VTK polydata, as text or binary.

use super::lines::File;
use super::number::Number;
use super::polydata::{Array, MOST_POINTS, PolyData, count_of};
use crate::data::error::DataError;

/// A place in the bytes.
struct Cursor<'a> {
    bytes: &'a [u8],
    at: usize,
    binary: bool,
    file: &'a File<'a>,
}

/// Reads a file that starts with `# vtk DataFile`.
pub(super) fn read(bytes: &[u8], file: &File<'_>) -> Result<PolyData, DataError> {
    let mut cursor = Cursor {
        bytes,
        at: 0,
        binary: false,
        file,
    };
    cursor.line();
    cursor.line();
    cursor.binary = match cursor.word().to_ascii_uppercase().as_str() {
        "ASCII" => false,
        "BINARY" => true,
        other => {
            let what = format!("its third line is `{other}`, must be ASCII or BINARY");
            return Err(file.refuse(what, "is it a legacy VTK file, and whole?"));
        }
    };
    let mut data = PolyData::default();
    // how many values the arrays have that follow, and whether they are at points
    let mut values = (0, false);
    loop {
        let word = cursor.word().to_ascii_uppercase();
        match word.as_str() {
            "" => return Ok(data),
            "DATASET" => {
                let kind = cursor.word().to_ascii_uppercase();
                if kind != "POLYDATA" {
                    let what = format!("it holds a data set of the kind {kind}");
                    return Err(file.refuse(what, "export centre lines as polydata"));
                }
            }
            "POINTS" => {
                let count = cursor.count(MOST_POINTS)?;
                let kind = cursor.word();
                data.points = cursor.values(3 * count, &kind)?;
            }
            "LINES" => data.lines = cursor.cells()?,
            "VERTICES" | "POLYGONS" | "TRIANGLE_STRIPS" => {
                cursor.cells()?;
            }
            "POINT_DATA" | "CELL_DATA" => {
                values = (cursor.count(MOST_POINTS)?, word == "POINT_DATA")
            }
            "METADATA" => cursor.skip_metadata(),
            _ => {
                let arrays = cursor.attribute(&word, values.0)?;
                if values.1 {
                    data.arrays.extend(arrays);
                }
            }
        }
    }
}

impl Cursor<'_> {
    fn refuse(&self, what: impl std::fmt::Display) -> DataError {
        let what = format!("at byte {}: {what}", self.at);
        self.file
            .refuse(what, "is the file whole, and legacy VTK polydata?")
    }

    /// The rest of the line.
    fn line(&mut self) -> String {
        let rest = &self.bytes[self.at..];
        let end = rest.iter().position(|b| *b == b'\n').unwrap_or(rest.len());
        self.at += (end + 1).min(rest.len());
        String::from_utf8_lossy(&rest[..end.min(4096)]).into_owned()
    }

    /// Skips what is said about names and units of components: up to the next empty line.
    fn skip_metadata(&mut self) {
        self.line();
        while !self.line().trim().is_empty() {}
    }

    /// The next word; empty at the end.
    fn word(&mut self) -> String {
        String::from_utf8_lossy(self.token()).into_owned()
    }

    fn token(&mut self) -> &[u8] {
        /// No word of such a file is longer.
        const LONGEST: usize = 1024;
        let rest = &self.bytes[self.at..];
        let start = rest
            .iter()
            .position(|b| !b.is_ascii_whitespace())
            .unwrap_or(rest.len());
        let rest = &rest[start..];
        let end = rest
            .iter()
            .position(u8::is_ascii_whitespace)
            .unwrap_or(rest.len());
        self.at += start + end;
        &rest[..end.min(LONGEST)]
    }

    fn number(&mut self) -> Result<f64, DataError> {
        let word = self.token();
        let number = std::str::from_utf8(word)
            .ok()
            .and_then(|word| word.parse().ok());
        let shown = String::from_utf8_lossy(word).into_owned();
        number.ok_or_else(|| match shown.as_str() {
            "" => self.refuse("it ends where numbers should follow"),
            _ => self.refuse(format!("`{shown}` is no number")),
        })
    }

    fn count(&mut self, most: usize) -> Result<usize, DataError> {
        let number = self.number()?;
        match count_of(number) {
            Some(count) if count <= most => Ok(count),
            Some(count) => Err(self.refuse(format!(
                "{count} of something, more than the {most} that are read"
            ))),
            None => Err(self.refuse(format!("{number} is no count"))),
        }
    }

    /// So many values of a type.
    fn values(&mut self, count: usize, kind: &str) -> Result<Vec<f64>, DataError> {
        let kind = kind.to_ascii_lowercase();
        if !self.binary {
            // every number takes two bytes at least
            if count > self.bytes.len() - self.at {
                return Err(self.refuse(format!(
                    "{count} numbers should follow, and the file ends before"
                )));
            }
            return (0..count).map(|_| self.number()).collect();
        }
        let Some(number) = number_kind(&kind) else {
            return Err(self.refuse(format!("values of the type `{kind}` are not read")));
        };
        let size = number.size();
        // one line end stands between the words and the bytes
        let from = match &self.bytes[self.at..] {
            [b'\r', b'\n', ..] => self.at + 2,
            [_, ..] => self.at + 1,
            [] => self.at,
        };
        let bytes = count
            .checked_mul(size)
            .and_then(|size| self.bytes.get(from..from.checked_add(size)?));
        let Some(bytes) = bytes else {
            return Err(self.refuse(format!(
                "{count} values of {size} bytes should follow, and the file ends before"
            )));
        };
        self.at = from + bytes.len();
        Ok(number.all_in(bytes, true))
    }

    /// Cells in either form: each with its count of points before them, or offsets and points apart.
    fn cells(&mut self) -> Result<Vec<Vec<usize>>, DataError> {
        let count = self.count(4 * MOST_POINTS)?;
        let size = self.count(8 * MOST_POINTS)?;
        let before = self.at;
        if self.word().eq_ignore_ascii_case("OFFSETS") {
            let kind = self.word();
            let offsets = self.values(count, &kind)?;
            let word = self.word();
            if !word.eq_ignore_ascii_case("CONNECTIVITY") {
                return Err(self.refuse(format!("`{word}` stands where CONNECTIVITY should")));
            }
            let kind = self.word();
            let points = self.values(size, &kind)?;
            return self.cut(&offsets, &points);
        }
        self.at = before;
        let all = self.values(size, "int")?;
        let mut cells = Vec::new();
        let mut rest = all.as_slice();
        while let [length, behind @ ..] = rest {
            let length = count_of(*length).filter(|length| *length <= behind.len());
            let Some(length) = length else {
                return Err(self.refuse("a line has more points than numbers follow"));
            };
            cells.push(self.indices(&behind[..length])?);
            rest = &behind[length..];
        }
        Ok(cells)
    }

    fn indices(&self, values: &[f64]) -> Result<Vec<usize>, DataError> {
        let whole = values
            .iter()
            .map(|v| count_of(*v))
            .collect::<Option<Vec<usize>>>();
        whole.ok_or_else(|| self.refuse("a number of a point is no count"))
    }

    fn cut(&self, offsets: &[f64], points: &[f64]) -> Result<Vec<Vec<usize>>, DataError> {
        let offsets = self.indices(offsets)?;
        let mut cells = Vec::new();
        for pair in offsets.windows(2) {
            let Some(cell) = points.get(pair[0]..pair[1]) else {
                return Err(self.refuse("offsets of lines lie outside their points"));
            };
            cells.push(self.indices(cell)?);
        }
        Ok(cells)
    }

    /// Arrays under a word of their own, or several in a field.
    fn attribute(&mut self, word: &str, count: usize) -> Result<Vec<Array>, DataError> {
        if word == "FIELD" {
            self.word();
            let arrays = self.count(10_000)?;
            let mut all = Vec::new();
            while all.len() < arrays {
                let name = plain(&self.word());
                if name == "METADATA" {
                    self.skip_metadata();
                    continue;
                }
                let components = self.count(10_000)?;
                let tuples = self.count(MOST_POINTS)?;
                let kind = self.word();
                let values = if kind.eq_ignore_ascii_case("string") {
                    self.skip_strings(components.saturating_mul(tuples))?;
                    Vec::new()
                } else {
                    self.values(components.saturating_mul(tuples), &kind)?
                };
                all.push(Array {
                    name,
                    components,
                    values,
                });
            }
            return Ok(all);
        }
        let name = plain(&self.word());
        let (components, kind) = match word {
            "SCALARS" => {
                let line = self.line();
                let mut words = line.split_whitespace();
                let kind = words.next().unwrap_or_default().to_owned();
                let components = words.next().map_or(Some(1), |w| w.parse().ok());
                let before = self.at;
                if self.word().eq_ignore_ascii_case("LOOKUP_TABLE") {
                    self.word();
                } else {
                    self.at = before;
                }
                (components.unwrap_or(1), kind)
            }
            "VECTORS" | "NORMALS" => (3, self.word()),
            "TENSORS" => (9, self.word()),
            "TENSORS6" => (6, self.word()),
            "GLOBAL_IDS" | "PEDIGREE_IDS" | "EDGE_FLAGS" => (1, self.word()),
            "TEXTURE_COORDINATES" => (self.count(3)?, self.word()),
            "COLOR_SCALARS" => (self.count(100)?, self.colours()),
            "LOOKUP_TABLE" => {
                let size = self.count(MOST_POINTS)?;
                let kind = self.colours();
                self.values(4 * size, &kind)?;
                return Ok(Vec::new());
            }
            other => {
                return Err(self.refuse(format!(
                    "`{}` is no word of such a file",
                    crate::data::plainly(other)
                )));
            }
        };
        let values = self.values(count.saturating_mul(components), &kind)?;
        Ok(vec![Array {
            name,
            components,
            values,
        }])
    }

    /// Colours are bytes where the file is binary, numbers where it is text.
    fn colours(&self) -> String {
        if self.binary {
            "unsigned_char".into()
        } else {
            "float".into()
        }
    }

    fn skip_strings(&mut self, count: usize) -> Result<(), DataError> {
        if self.binary {
            return Err(self.refuse("arrays of words are not read from binary files"));
        }
        self.line();
        for _ in 0..count {
            if self.at >= self.bytes.len() {
                return Err(self.refuse("it ends where words should follow"));
            }
            self.line();
        }
        Ok(())
    }
}

/// A name without the escapes that stand for blanks and the like.
fn plain(name: &str) -> String {
    let mut out = String::new();
    let mut rest = name;
    while let Some(at) = rest.find('%') {
        out.push_str(&rest[..at]);
        let code = rest
            .get(at + 1..at + 3)
            .and_then(|hex| u8::from_str_radix(hex, 16).ok());
        match code.filter(u8::is_ascii) {
            Some(code) => {
                out.push(char::from(code));
                rest = &rest[at + 3..];
            }
            None => {
                out.push('%');
                rest = &rest[at + 1..];
            }
        }
    }
    out.push_str(rest);
    out
}

fn number_kind(kind: &str) -> Option<Number> {
    Some(match kind {
        "float" => Number::F32,
        "double" => Number::F64,
        "int" | "vtkidtype" | "vtktypeint32" => Number::I32,
        "unsigned_int" | "vtktypeuint32" => Number::U32,
        "long" | "unsigned_long" | "vtktypeint64" | "vtktypeuint64" => Number::I64,
        "short" => Number::I16,
        "unsigned_short" => Number::U16,
        "char" | "signed_char" => Number::I8,
        "unsigned_char" => Number::U8,
        _ => return None,
    })
}
