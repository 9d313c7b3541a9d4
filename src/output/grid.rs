//! Tables as text: whole words at any width.
//!
//! Where every column has room for a few words, and for its longest one, a row is a row. Where it has not, a row becomes a line of what
//! leads it and, below and further in, the rest of it with the names of its columns.

use super::table::wrapped;
use comfy_table::{CellAlignment, ColumnConstraint, ContentArrangement, Table, Width, presets};

/// Spaces between two columns.
const GAP: usize = 2;
/// Characters that a few words take.
const FEW_WORDS: usize = 16;
/// How far in the rest of a row stands.
const INDENT: &str = "        ";

/// A table, filled row by row.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
    right: Vec<usize>,
    leads: usize,
}

impl Grid {
    /// With these columns, none of them filled. The first `leads` of them lead a row where it takes several lines.
    pub(super) fn new(leads: usize, header: &[&str]) -> Self {
        Self {
            header: header.iter().map(ToString::to_string).collect(),
            rows: Vec::new(),
            right: Vec::new(),
            leads,
        }
    }

    /// Adds a row; cells that are left out are empty.
    pub(super) fn row<T: Into<String>>(&mut self, cells: impl IntoIterator<Item = T>) {
        let mut row: Vec<String> = cells.into_iter().map(Into::into).collect();
        row.resize(self.header.len(), String::new());
        self.rows.push(row);
    }

    /// Columns of figures, which stand to the right.
    pub(super) fn right(mut self, columns: impl IntoIterator<Item = usize>) -> Self {
        self.right.extend(columns);
        self
    }

    /// As text of at most so many characters a line, each line ended.
    pub(super) fn text(&self, columns: u16) -> String {
        let words: Vec<usize> = (0..self.header.len())
            .map(|i| self.least_width(i))
            .collect();
        let needed = words.iter().map(|word| word + GAP).sum::<usize>();
        match needed <= usize::from(columns) {
            true => self.side_by_side(&words, columns),
            false => self.one_below_the_other(usize::from(columns)),
        }
    }

    fn cells(&self, column: usize) -> impl Iterator<Item = &str> {
        let below = self.rows.iter().map(move |row| row[column].as_str());
        std::iter::once(self.header[column].as_str()).chain(below)
    }

    /// Width below which a column is not read with ease: its longest word, and what a cell says in a few words.
    fn least_width(&self, column: usize) -> usize {
        let words = self.cells(column).flat_map(str::split_whitespace);
        let word = words.map(|word| word.chars().count()).max().unwrap_or(0);
        let cells = self.rows.iter().map(|row| row[column].chars().count());
        word.max(cells.max().unwrap_or(0).min(FEW_WORDS))
    }

    fn side_by_side(&self, words: &[usize], columns: u16) -> String {
        let mut table = Table::new();
        table
            .load_style(presets::NOTHING)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(columns)
            .set_header(&self.header);
        for row in &self.rows {
            table.add_row(row);
        }
        for (i, word) in words.iter().enumerate() {
            let Some(column) = table.column_mut(i) else {
                continue;
            };
            let least = u16::try_from(word + GAP).unwrap_or(columns);
            column.set_constraint(ColumnConstraint::LowerBoundary(Width::Fixed(least)));
            if self.right.contains(&i) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        let text = table.to_string();
        text.lines()
            .map(|line| format!("{}\n", line.trim_end()))
            .collect()
    }

    fn one_below_the_other(&self, columns: usize) -> String {
        let mut out = String::new();
        for row in &self.rows {
            let lead: Vec<&str> = row[..self.leads]
                .iter()
                .map(|cell| cell.trim())
                .filter(|cell| !cell.is_empty())
                .collect();
            if !lead.is_empty() {
                wrapped(&mut out, " ", &lead.join("  "), columns);
            }
            let rest = self.header.iter().zip(row).skip(self.leads);
            let rest: Vec<String> = rest
                .filter(|(_, cell)| !cell.trim().is_empty())
                .map(|(name, cell)| format!("{name} {cell}").trim().to_owned())
                .collect();
            if !rest.is_empty() {
                wrapped(&mut out, INDENT, &rest.join("; "), columns);
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid() -> Grid {
        let mut grid =
            Grid::new(2, &["step", "what", "device", "to spare mm", "held by"]).right([0, 3]);
        grid.row([
            "1",
            "Guide over the wire",
            "guide",
            "34",
            "microcatheter, retriever",
        ]);
        grid.row(["2", "Wire out", "", "", ""]);
        grid
    }

    #[test]
    fn property_no_width_cuts_a_word_or_is_passed() {
        let grid = grid();
        let words: Vec<&str> = "Guide over the wire guide 34 microcatheter, retriever Wire out"
            .split(' ')
            .collect();
        for columns in 30..160 {
            let text = grid.text(columns);
            for line in text.lines() {
                assert!(
                    line.chars().count() <= usize::from(columns),
                    "{columns}: {line}"
                );
                assert_eq!(line, line.trim_end());
            }
            let shown: Vec<&str> = text.split_whitespace().collect();
            for word in &words {
                let whole = shown.iter().any(|s| s.trim_end_matches(';') == *word);
                assert!(whole, "{columns}: {word} in\n{text}");
            }
        }
    }

    #[test]
    fn look_a_narrow_row_takes_two_lines() {
        let expected = " 1  Guide over the wire
        device guide; to spare mm 34; held
        by microcatheter, retriever
 2  Wire out
";
        assert_eq!(grid().text(44), expected);
    }
}
