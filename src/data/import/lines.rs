//! Lines as a file has them, whatever its format.

use crate::data::error::{DataError, Problem};
use std::ops::Range;
use std::sync::Arc;

/// A point of a line, in the file's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RawPoint {
    pub(super) at: [f64; 3],
    pub(super) radius: f64,
    /// Row of the file, or number of the point.
    pub(super) row: usize,
}

/// What a file holds.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct RawLines {
    pub(super) lines: Vec<Vec<RawPoint>>,
}

/// The file that is read, for messages.
#[derive(Debug, Clone)]
pub(super) struct File<'a> {
    pub(super) shown: &'a str,
    /// Its text, where it is one and rows can be shown.
    pub(super) text: Option<Arc<str>>,
    /// What a row is called.
    pub(super) row_word: &'static str,
}

impl File<'_> {
    /// Something wrong with the file as a whole.
    pub(super) fn refuse(
        &self,
        what: impl std::fmt::Display,
        help: impl std::fmt::Display,
    ) -> DataError {
        DataError::new(Problem::NotAccepted, format!("`{}`: {what}", self.shown)).with_help(help)
    }

    /// Something wrong in a row.
    pub(super) fn refuse_row(
        &self,
        row: usize,
        what: impl std::fmt::Display,
        help: impl std::fmt::Display,
    ) -> DataError {
        let message = format!("`{}`, {} {row}: {what}", self.shown, self.row_word);
        let error = DataError::new(Problem::NotAccepted, message).with_help(help);
        match self
            .text
            .as_ref()
            .and_then(|text| Some((text, line_span(text, row)?)))
        {
            Some((text, span)) => error.in_text(self.shown, text).with_label(span, "here"),
            None => error,
        }
    }
}

/// Bytes of a line of a text, counted from 1.
fn line_span(text: &str, row: usize) -> Option<Range<usize>> {
    /// So much of a line is shown: files of one long line are no reading.
    const SHOWN: usize = 200;
    let mut start = 0;
    for (i, line) in text.split('\n').enumerate() {
        if i + 1 == row {
            let mut end = line.trim_end().len().min(SHOWN);
            while !line.is_char_boundary(end) {
                end -= 1;
            }
            return Some(start..start + end.max(1).min(text.len() - start));
        }
        start += line.len() + 1;
    }
    None
}

/// A number as files write it.
pub(super) fn number(text: &str) -> Option<f64> {
    text.parse().ok()
}
