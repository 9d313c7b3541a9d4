//! Reference tables: files of `tests/data`, their source in the first lines, commas between values.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and reads the project's own files"
)]

use super::root::root;

/// A table of `tests/data`.
#[derive(Debug)]
pub(crate) struct Table {
    name: String,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// One row of a table; values by the name of their column.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Row<'a> {
    table: &'a Table,
    values: &'a [String],
}

impl Table {
    /// Reads the table of this name.
    pub(crate) fn read(name: &str) -> Self {
        let path = root().join(format!("tests/data/{name}.csv"));
        let text =
            std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(text.as_bytes());
        let owned = |row: &csv::StringRecord| row.iter().map(str::to_owned).collect();
        Self {
            name: name.to_owned(),
            columns: owned(reader.headers().unwrap()),
            rows: reader.records().map(|row| owned(&row.unwrap())).collect(),
        }
    }

    /// Its rows; a table that has fewer than are asked for is not the one that was meant.
    pub(crate) fn rows(&self, at_least: usize) -> impl Iterator<Item = Row<'_>> {
        let found = self.rows.len();
        assert!(found >= at_least, "{}: only {found} rows", self.name);
        self.rows.iter().map(|values| Row {
            table: self,
            values,
        })
    }
}

impl<'a> Row<'a> {
    /// The text in a column.
    pub(crate) fn text(self, column: &str) -> &'a str {
        let at = self.table.columns.iter().position(|c| c == column);
        let at = at.unwrap_or_else(|| panic!("{} has no column {column}", self.table.name));
        &self.values[at]
    }

    /// The number in a column.
    pub(crate) fn number(self, column: &str) -> f64 {
        let text = self.text(column);
        let named = || format!("{}, {column}: `{text}`", self.table.name);
        text.parse().unwrap_or_else(|e| panic!("{}: {e}", named()))
    }
}

#[test]
fn layer_every_table_names_its_source_and_holds_no_gap() {
    let folder = root().join("tests/data");
    let mut looked = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "csv") {
            continue;
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let first = text.lines().next().unwrap_or_default();
        assert!(
            first.starts_with("# ") && first.len() > 20,
            "{}: begin with what it is and where it is from",
            path.display()
        );
        let table = Table::read(path.file_stem().unwrap().to_str().unwrap());
        for row in table.rows(2) {
            let gap = table.columns.iter().find(|c| row.text(c).trim().is_empty());
            assert_eq!(gap, None, "{}: nothing stands in a column", table.name);
        }
        looked += 1;
    }
    assert!(looked >= 8, "only {looked} tables");
}
