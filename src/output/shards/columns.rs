//! Cases as columns.

use super::seal;
use crate::rehearsal::vary::{Breaks, Case, Ends};
use bytes::Bytes;
use parquet::basic::{Compression, Encoding};
use parquet::column::reader::get_typed_column_reader;
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::{ParquetError, Result};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::reader::{FileReader, RowGroupReader, SerializedFileReader};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::parser::parse_message_type;
use parquet::schema::types::ColumnPath;
use std::sync::Arc;

/// Columns of a shard in their order, each with what it holds.
pub const SHARD_COLUMNS: [(&str, &str); 13] = [
    ("case_number", "number of the case, from 0"),
    (
        "stands_for",
        "`patient` (with usual materials: shares are of these), `least` or `most` (a patient once more with the ends of the materials), or the group of which it tells how much that matters",
    ),
    (
        "ends",
        "`passes`, `fails`, `undecided`, or `no-such-patient` where nobody can be built of the numbers drawn",
    ),
    ("short", "it fails because a device is too short"),
    (
        "does_not_fit",
        "… does not fit in another, or in the vessel",
    ),
    ("locks_up", "… a push takes more than a hand has"),
    ("rail_lost", "… a rail is lost"),
    ("catches", "… a device catches at the edge of a stent"),
    (
        "not_done",
        "… a step cannot be done for another reason, or after one of these",
    ),
    (
        "spare_mm",
        "what the device that has least of it has to spare, negative where it is short; empty where nobody can be built",
    ),
    ("hub_force_n", "largest force at any hub; empty by ruler"),
    (
        "catch_share",
        "largest share of samples in which anything catches at the edge of a stent",
    ),
    (
        "reperfusion_s",
        "puncture to reperfusion in one course drawn for it; empty where it is never reached",
    ),
];

/// The same for the format.
const SCHEMA: &str = "message cases {
    required int64 case_number (INTEGER(64, false));
    required binary stands_for (STRING);
    required binary ends (STRING);
    required boolean short;
    required boolean does_not_fit;
    required boolean locks_up;
    required boolean rail_lost;
    required boolean catches;
    required boolean not_done;
    optional double spare_mm;
    optional double hub_force_n;
    optional double catch_share;
    optional double reperfusion_s;
}";
/// The first column of what breaks a plan; the others follow in their order.
const BREAKS_FROM: usize = 3;
/// The first column of numbers.
const NUMBERS_FROM: usize = BREAKS_FROM + Breaks::ALL.len();

/// Cases of one group of rows.
const TOGETHER: usize = 1 << 20;
/// What a file says of itself.
const HEAD: &str = "nestline.shard";
const SEAL: &str = "nestline.seal";

const ENDS: [(&str, Ends); 4] = [
    ("passes", Ends::Passes),
    ("fails", Ends::Fails),
    ("undecided", Ends::Undecided),
    ("no-such-patient", Ends::NoSuchPatient),
];

/// A number of a case.
const NUMBERS: [fn(&Case) -> Option<f64>; 4] = [
    |case| case.spare_mm,
    |case| case.hub_force_n,
    |case| case.catch_share,
    |case| case.reperfusion_s,
];

fn properties(head: &str) -> WriterProperties {
    let said = [(HEAD, head), (SEAL, seal::OPEN)];
    let said = said.map(|(key, value)| KeyValue::new(key.to_owned(), value.to_owned()));
    WriterProperties::builder()
        .set_created_by("nestline".into())
        .set_compression(Compression::UNCOMPRESSED)
        // few values come twice but for shares of samples and ends
        .set_dictionary_enabled(false)
        .set_column_dictionary_enabled(ColumnPath::from("stands_for"), true)
        .set_column_dictionary_enabled(ColumnPath::from("ends"), true)
        .set_column_dictionary_enabled(ColumnPath::from("catch_share"), true)
        .set_column_encoding(
            ColumnPath::from("case_number"),
            Encoding::DELTA_BINARY_PACKED,
        )
        .set_statistics_enabled(EnabledStatistics::Chunk)
        .set_key_value_metadata(Some(said.to_vec()))
        .build()
}

/// A file of these cases, in their order; `stands_for` says what a case is there for.
pub(super) fn write(
    head: &str,
    cases: &[Case],
    stands_for: &dyn Fn(u64) -> &'static str,
) -> Result<Vec<u8>> {
    let schema = Arc::new(parse_message_type(SCHEMA)?);
    let mut writer = SerializedFileWriter::new(Vec::new(), schema, Arc::new(properties(head)))?;
    for together in cases.chunks(TOGETHER) {
        let mut group = writer.next_row_group()?;
        write_group(&mut group, together, stands_for)?;
        group.close()?;
    }
    writer.into_inner()
}

fn write_group(
    group: &mut SerializedRowGroupWriter<'_, Vec<u8>>,
    cases: &[Case],
    stands_for: &dyn Fn(u64) -> &'static str,
) -> Result<()> {
    let numbers: Result<Vec<i64>> = cases
        .iter()
        .map(|case| i64::try_from(case.number).map_err(|e| ParquetError::External(e.into())))
        .collect();
    put::<Int64Type>(group, &numbers?, None)?;
    let stands_for = cases.iter().map(|case| stands_for(case.number).into());
    put::<ByteArrayType>(group, &stands_for.collect::<Vec<ByteArray>>(), None)?;
    let ends: Vec<ByteArray> = cases
        .iter()
        .filter_map(|case| ENDS.iter().find(|(_, ends)| *ends == case.ends))
        .map(|(name, _)| ByteArray::from(*name))
        .collect();
    put::<ByteArrayType>(group, &ends, None)?;
    for what in Breaks::ALL {
        let breaks: Vec<bool> = cases.iter().map(|c| c.breaks.contains(&what)).collect();
        put::<BoolType>(group, &breaks, None)?;
    }
    for number in NUMBERS {
        let there: Vec<f64> = cases.iter().filter_map(number).collect();
        let levels: Vec<i16> = cases
            .iter()
            .map(|c| i16::from(number(c).is_some()))
            .collect();
        put::<DoubleType>(group, &there, Some(&levels))?;
    }
    Ok(())
}

/// The next column; `levels` say of each case whether it has a value, where some have none.
fn put<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, Vec<u8>>,
    values: &[T::T],
    levels: Option<&[i16]>,
) -> Result<()> {
    let mut column = group
        .next_column()?
        .ok_or_else(|| ParquetError::General("more columns than the schema has".into()))?;
    column.typed::<T>().write_batch(values, levels, None)?;
    column.close()
}

/// What a file says of itself, and its cases.
pub(super) fn read(bytes: Bytes) -> Result<(String, Vec<Case>)> {
    let file = SerializedFileReader::new(bytes)?;
    let about = file.metadata().file_metadata();
    if *about.schema() != parse_message_type(SCHEMA)? {
        return Err(ParquetError::General("names or types differ".into()));
    }
    let said = about.key_value_metadata().into_iter().flatten();
    let head = said
        .filter(|said| said.key == HEAD)
        .find_map(|s| s.value.clone());
    let mut cases = Vec::new();
    for group in 0..file.num_row_groups() {
        read_group(file.get_row_group(group)?.as_ref(), &mut cases)?;
    }
    Ok((head.unwrap_or_default(), cases))
}

fn read_group(group: &dyn RowGroupReader, cases: &mut Vec<Case>) -> Result<()> {
    let rows = usize::try_from(group.metadata().num_rows())
        .map_err(|error| ParquetError::External(error.into()))?;
    let (numbers, _) = take::<Int64Type>(group, 0, rows)?;
    let (ends, _) = take::<ByteArrayType>(group, BREAKS_FROM - 1, rows)?;
    let mut breaks = Vec::new();
    for column in (BREAKS_FROM..).take(Breaks::ALL.len()) {
        breaks.push(take::<BoolType>(group, column, rows)?.0);
    }
    let mut values = Vec::new();
    for column in (NUMBERS_FROM..).take(NUMBERS.len()) {
        let (there, levels) = take::<DoubleType>(group, column, rows)?;
        let mut there = there.into_iter();
        let all: Vec<Option<f64>> = levels
            .iter()
            .map(|level| if *level == 1 { there.next() } else { None })
            .collect();
        values.push(all);
    }
    for row in 0..rows {
        let of_name = |(name, _): &&(&str, Ends)| name.as_bytes() == ends[row].data();
        let (_, ends) = ENDS.iter().find(of_name).ok_or_else(|| {
            ParquetError::General(format!("`ends` of row {row} is none of a case"))
        })?;
        let all = Breaks::ALL.into_iter().zip(&breaks);
        cases.push(Case {
            number: u64::try_from(numbers[row]).map_err(|e| ParquetError::External(e.into()))?,
            ends: *ends,
            breaks: all
                .filter(|(_, broken)| broken[row])
                .map(|(what, _)| what)
                .collect(),
            spare_mm: values[0][row],
            hub_force_n: values[1][row],
            catch_share: values[2][row],
            reperfusion_s: values[3][row],
        });
    }
    Ok(())
}

/// Values of a column that are there, and of each row whether it has one; all rows, or an error.
fn take<T: DataType>(
    group: &dyn RowGroupReader,
    column: usize,
    rows: usize,
) -> Result<(Vec<T::T>, Vec<i16>)> {
    let mut reader = get_typed_column_reader::<T>(group.get_column_reader(column)?);
    let (mut values, mut levels) = (Vec::new(), Vec::new());
    let (found, _, _) = reader.read_records(rows, Some(&mut levels), None, &mut values)?;
    match found == rows {
        true => Ok((values, levels)),
        false => Err(ParquetError::General(format!(
            "column {column} has {found} of {rows} rows"
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cases() -> Vec<Case> {
        let of = |number: u64| {
            let share = f64::from(u32::try_from(number).unwrap()) / 7.0;
            let there = |with: u64| (!number.is_multiple_of(with)).then_some(share - 3.0);
            Case {
                number,
                ends: ENDS[usize::try_from(number % 4).unwrap()].1,
                breaks: Breaks::ALL
                    .into_iter()
                    .zip(0..)
                    .filter(|(_, bit)| number >> bit & 1 == 1)
                    .map(|(what, _)| what)
                    .collect(),
                spare_mm: there(5),
                hub_force_n: None,
                catch_share: there(3),
                reperfusion_s: there(2),
            }
        };
        (0..300).map(of).collect()
    }

    #[test]
    fn exact_cases_come_back_as_they_were() {
        for count in [0, 1, 300] {
            let cases = &cases()[..count];
            let bytes = write("{\"of\": \"crc32:\"}", cases, &|_| "patient").unwrap();
            assert_eq!(
                bytes,
                write("{\"of\": \"crc32:\"}", cases, &|_| "patient").unwrap()
            );
            let sealed = seal::sealed(bytes).unwrap();
            assert!(seal::is_whole(&sealed));
            let (head, found) = read(Bytes::from(sealed)).unwrap();
            assert_eq!(head, "{\"of\": \"crc32:\"}");
            assert_eq!(found, cases);
        }
    }

    #[test]
    fn exact_columns_are_those_that_are_told() {
        let schema = parse_message_type(SCHEMA).unwrap();
        let names: Vec<&str> = schema
            .get_fields()
            .iter()
            .map(|field| field.name())
            .collect();
        assert_eq!(names, SHARD_COLUMNS.map(|(name, _)| name));
        let what = Breaks::ALL.map(|what| serde_json::to_string(&what).unwrap());
        let what = what.map(|name| name.trim_matches('"').replace('-', "_"));
        assert_eq!(names[BREAKS_FROM..NUMBERS_FROM], what);
        for (name, ends) in ENDS {
            assert_eq!(serde_json::to_string(&ends).unwrap(), format!("\"{name}\""));
        }
    }

    #[test]
    fn exact_other_columns_are_refused() {
        let other = SCHEMA.replace("spare_mm", "spare_cm");
        let schema = Arc::new(parse_message_type(&other).unwrap());
        let properties = Arc::new(properties("{}"));
        let writer = SerializedFileWriter::new(Vec::new(), schema, properties).unwrap();
        let bytes = writer.into_inner().unwrap();
        assert!(
            read(Bytes::from(bytes))
                .unwrap_err()
                .to_string()
                .contains("names or types")
        );
    }
}
