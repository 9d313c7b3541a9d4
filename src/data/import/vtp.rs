//! XML polydata (VTP): arrays as text, base64 or raw bytes, in place or appended, compressed or not.

use super::lines::File;
use super::number::Number;
use super::polydata::{Array, MOST_POINTS, PolyData, count_of};
use crate::data::error::DataError;
use flate2::read::ZlibDecoder;
use roxmltree::{Document, Node, ParsingOptions};
use std::io::Read as _;

/// Most bytes that an array may unpack to.
const MOST_BYTES: usize = 256 * 1024 * 1024;
/// Most elements of the XML; every piece has some twenty.
const MOST_NODES: u32 = 1_000_000;

/// How arrays are written.
struct Coding<'a> {
    file: &'a File<'a>,
    big_endian: bool,
    wide_headers: bool,
    compressed: bool,
    /// What is appended, behind its `_`, and whether as base64.
    appended: Option<(&'a [u8], bool)>,
}

/// Reads a file whose root is `VTKFile`.
pub(super) fn read(bytes: &[u8], file: &File<'_>) -> Result<PolyData, DataError> {
    let (xml, appended) = parted(bytes, file)?;
    let options = ParsingOptions {
        nodes_limit: MOST_NODES,
        ..ParsingOptions::default()
    };
    let document = Document::parse_with_options(&xml, options)
        .map_err(|error| file.refuse(format!("it is no XML: {error}"), "is the file whole?"))?;
    let root = document.root_element();
    let kind = root.attribute("type").unwrap_or_default();
    if !root.has_tag_name("VTKFile") || kind != "PolyData" {
        let what = format!("it holds `{}` of the type `{kind}`", root.tag_name().name());
        return Err(file.refuse(what, "export centre lines as polydata (VTP)"));
    }
    let compressor = root.attribute("compressor").unwrap_or_default();
    if !matches!(compressor, "" | "vtkZLibDataCompressor") {
        let what = format!("it is compressed by `{compressor}`");
        return Err(file.refuse(what, "save it with zlib or without compression"));
    }
    let coding = Coding {
        file,
        big_endian: root.attribute("byte_order") == Some("BigEndian"),
        wide_headers: root.attribute("header_type") == Some("UInt64"),
        compressed: !compressor.is_empty(),
        appended,
    };
    let mut data = PolyData::default();
    let pieces = root.descendants().filter(|n| n.has_tag_name("Piece"));
    for piece in pieces {
        coding.add(piece, &mut data)?;
    }
    Ok(data)
}

/// The XML without what is appended, and that.
type Parted<'a> = (String, Option<(&'a [u8], bool)>);

fn parted<'a>(bytes: &'a [u8], file: &File<'_>) -> Result<Parted<'a>, DataError> {
    let tag = b"<AppendedData";
    let start = bytes.windows(tag.len()).position(|w| w == tag);
    let (xml, appended) = match start {
        None => (bytes.to_vec(), None),
        Some(start) => {
            let broken = || {
                file.refuse(
                    "what is appended does not begin with `_`",
                    "is the file whole?",
                )
            };
            let rest = &bytes[start..];
            let end = rest.iter().position(|b| *b == b'>').ok_or_else(broken)?;
            let base64 = String::from_utf8_lossy(&rest[..end]).contains("base64");
            let behind = &rest[end + 1..];
            let mark = behind
                .iter()
                .position(|b| !b.is_ascii_whitespace())
                .filter(|i| behind[*i] == b'_');
            let data = &behind[mark.ok_or_else(broken)? + 1..];
            let mut xml = bytes[..start].to_vec();
            xml.extend_from_slice(b"</VTKFile>");
            (xml, Some((data, base64)))
        }
    };
    let xml = String::from_utf8(xml)
        .map_err(|_| file.refuse("its XML is not UTF-8", "is the file whole?"))?;
    Ok((xml, appended))
}

impl Coding<'_> {
    fn add(&self, piece: Node<'_, '_>, data: &mut PolyData) -> Result<(), DataError> {
        let child = |name: &str| piece.children().find(|n| n.has_tag_name(name));
        let arrays = |node: Option<Node<'_, '_>>| -> Result<Vec<Array>, DataError> {
            let all = node
                .into_iter()
                .flat_map(|n| n.children())
                .filter(|n| n.has_tag_name("DataArray"));
            all.map(|n| self.array(n)).collect()
        };
        let before = data.points.len() / 3;
        let points = arrays(child("Points"))?
            .into_iter()
            .next()
            .unwrap_or_default();
        if points.values.len() % 3 != 0
            || data.points.len() / 3 + points.values.len() / 3 > MOST_POINTS
        {
            let what = format!("its points have {} coordinates", points.values.len());
            return Err(self.file.refuse(
                what,
                format!("three a point, and at most {MOST_POINTS} points"),
            ));
        }
        let count = points.values.len() / 3;
        data.points.extend(points.values);
        let mut cells = arrays(child("Lines"))?;
        let mut take = |name: &str| {
            let i = cells.iter().position(|a| a.name == name)?;
            Some(cells.swap_remove(i).values)
        };
        if let (Some(connectivity), Some(offsets)) = (take("connectivity"), take("offsets")) {
            self.add_lines(&connectivity, &offsets, before, data)?;
        }
        let named = arrays(child("PointData"))?;
        for array in named {
            let known = data
                .arrays
                .iter_mut()
                .find(|a| a.name == array.name && a.components == array.components);
            match known {
                Some(known) => known.values.extend(array.values),
                None if before == 0 => data.arrays.push(array),
                // not at the points of the pieces before: of no use
                None => {}
            }
        }
        // an array that this piece lacks is whole no longer
        let whole = before + count;
        data.arrays
            .retain(|a| a.values.len() == a.components * whole || before == 0);
        Ok(())
    }

    fn add_lines(
        &self,
        connectivity: &[f64],
        offsets: &[f64],
        before: usize,
        data: &mut PolyData,
    ) -> Result<(), DataError> {
        let broken = || {
            self.file.refuse(
                "offsets of lines lie outside their points",
                "is the file whole?",
            )
        };
        let mut start = 0;
        for offset in offsets {
            let end = count_of(*offset).ok_or_else(broken)?;
            let line = connectivity.get(start..end).ok_or_else(broken)?;
            let line = line
                .iter()
                .map(|i| Some(before + count_of(*i)?))
                .collect::<Option<Vec<usize>>>();
            data.lines.push(line.ok_or_else(broken)?);
            start = end;
        }
        Ok(())
    }

    fn array(&self, node: Node<'_, '_>) -> Result<Array, DataError> {
        let name = node.attribute("Name").unwrap_or_default().to_owned();
        let kind = node.attribute("type").unwrap_or_default();
        let components = node
            .attribute("NumberOfComponents")
            .map_or(Some(1), |n| n.parse().ok());
        let components = components.filter(|n| *n > 0).unwrap_or(1);
        let refuse = |what: &str| {
            self.file
                .refuse(format!("array `{name}`: {what}"), "is the file whole?")
        };
        let text = node.text().unwrap_or_default();
        let values = match node.attribute("format").unwrap_or("ascii") {
            _ if kind == "String" => Vec::new(),
            "ascii" => numbers(text).ok_or_else(|| refuse("what stands there is no number"))?,
            "binary" => {
                let mut source = Base64::new(text.as_bytes());
                self.decoded(&mut source, kind)
                    .map_err(|why| refuse(&why))?
            }
            "appended" => {
                let offset = node
                    .attribute("offset")
                    .and_then(|o| o.parse::<usize>().ok());
                let (Some((all, base64)), Some(offset)) = (self.appended, offset) else {
                    return Err(refuse("nothing is appended for it"));
                };
                let from = all
                    .get(offset..)
                    .ok_or_else(|| refuse("it lies behind the end of the file"))?;
                if base64 {
                    self.decoded(&mut Base64::new(from), kind)
                        .map_err(|why| refuse(&why))?
                } else {
                    self.decoded(&mut Raw(from), kind)
                        .map_err(|why| refuse(&why))?
                }
            }
            other => return Err(refuse(&format!("its format `{other}` is not known"))),
        };
        Ok(Array {
            name,
            components,
            values,
        })
    }

    fn decoded(&self, source: &mut impl Bytes, kind: &str) -> Result<Vec<f64>, String> {
        let Some(number) = number_kind(kind) else {
            return Err(format!("values of the type `{kind}` are not read"));
        };
        let bytes = if self.compressed {
            self.unpacked(source)?
        } else {
            let length = self.header(source)?;
            source.take(length)?
        };
        Ok(number.all_in(&bytes, self.big_endian))
    }

    fn header(&self, source: &mut impl Bytes) -> Result<usize, String> {
        let size = if self.wide_headers { 8 } else { 4 };
        let mut bytes = source.take(size)?;
        if self.big_endian {
            bytes.reverse();
        }
        bytes.resize(8, 0);
        let value = bytes.try_into().map(u64::from_le_bytes).unwrap_or(u64::MAX);
        let count = usize::try_from(value)
            .ok()
            .filter(|count| *count <= MOST_BYTES);
        count.ok_or_else(|| format!("{value} bytes should follow, more than are read"))
    }

    fn unpacked(&self, source: &mut impl Bytes) -> Result<Vec<u8>, String> {
        let blocks = self.header(source)?;
        let size = self.header(source)?;
        let last = self.header(source)?;
        if blocks > 1_000_000 || blocks.saturating_mul(size) > MOST_BYTES {
            return Err("it unpacks to more than is read".into());
        }
        let packed = (0..blocks)
            .map(|_| self.header(source))
            .collect::<Result<Vec<usize>, String>>()?;
        let mut all = Vec::new();
        for (i, packed) in packed.into_iter().enumerate() {
            let whole = if i + 1 == blocks && last > 0 {
                last
            } else {
                size
            };
            let bytes = source.take(packed)?;
            let before = all.len();
            let limit = u64::try_from(whole).unwrap_or(u64::MAX);
            let read = ZlibDecoder::new(bytes.as_slice())
                .take(limit)
                .read_to_end(&mut all);
            if read.is_err() || all.len() - before != whole {
                return Err("what is compressed cannot be unpacked".into());
            }
        }
        Ok(all)
    }
}

fn numbers(text: &str) -> Option<Vec<f64>> {
    text.split_ascii_whitespace()
        .map(|word| word.parse().ok())
        .collect()
}

/// Bytes one after the other.
trait Bytes {
    /// The next so many.
    fn take(&mut self, count: usize) -> Result<Vec<u8>, String>;
}

struct Raw<'a>(&'a [u8]);

impl Bytes for Raw<'_> {
    fn take(&mut self, count: usize) -> Result<Vec<u8>, String> {
        let (taken, rest) = self.0.split_at_checked(count).ok_or(ENDS)?;
        self.0 = rest;
        Ok(taken.to_vec())
    }
}

const ENDS: &str = "it ends before all bytes of it";

/// Base64 in stretches, each filled up at its end: headers and values are coded apart by some writers.
struct Base64<'a> {
    text: &'a [u8],
    /// Decoded and not taken yet.
    left: Vec<u8>,
}

impl<'a> Base64<'a> {
    fn new(text: &'a [u8]) -> Self {
        Self {
            text,
            left: Vec::new(),
        }
    }

    /// The next four signs decoded.
    fn group(&mut self) -> Result<Vec<u8>, String> {
        let mut bits = 0_u32;
        let mut signs = 0;
        let mut filled = 0;
        while signs < 4 {
            let (&sign, rest) = self.text.split_first().ok_or(ENDS)?;
            self.text = rest;
            let value = match sign {
                b'A'..=b'Z' => sign - b'A',
                b'a'..=b'z' => sign - b'a' + 26,
                b'0'..=b'9' => sign - b'0' + 52,
                b'+' => 62,
                b'/' => 63,
                b'=' => {
                    filled += 1;
                    0
                }
                space if space.is_ascii_whitespace() => continue,
                _ => return Err("what stands there is no base64".into()),
            };
            bits = bits << 6 | u32::from(value);
            signs += 1;
        }
        let [_, a, b, c] = bits.to_be_bytes();
        let mut bytes = vec![a, b, c];
        bytes.truncate(3_usize.saturating_sub(filled));
        Ok(bytes)
    }
}

impl Bytes for Base64<'_> {
    fn take(&mut self, count: usize) -> Result<Vec<u8>, String> {
        let mut taken = std::mem::take(&mut self.left);
        while taken.len() < count {
            taken.extend(self.group()?);
        }
        self.left = taken.split_off(count);
        Ok(taken)
    }
}

fn number_kind(kind: &str) -> Option<Number> {
    Some(match kind {
        "Float32" => Number::F32,
        "Float64" => Number::F64,
        "Int8" => Number::I8,
        "UInt8" => Number::U8,
        "Int16" => Number::I16,
        "UInt16" => Number::U16,
        "Int32" => Number::I32,
        "UInt32" => Number::U32,
        "Int64" | "UInt64" => Number::I64,
        _ => return None,
    })
}
