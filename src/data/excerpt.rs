//! The lines of a file that a refusal shows: short ones, and nothing in them that a terminal would obey.

use miette::{LabeledSpan, MietteError, MietteSpanContents, SourceCode, SourceSpan, SpanContents};
use std::borrow::Cow;
use std::ops::Range;

/// Longest line that is shown whole, bytes: four lines of a wide terminal. The renderer gives up beyond
/// 65,535 columns.
const LONGEST: usize = 400;
/// What is shown of a longer one before and behind a label, bytes.
const AROUND: usize = 60;
/// Longest message that is shown whole, characters: the longest list of choices is half of that.
const LONGEST_MESSAGE: usize = 4000;

/// Whether a character steers a terminal or turns the direction of a text, and so is never shown: the control
/// characters (C0 but for line ends and tabs, delete, C1) and the overrides, embeddings and isolates of
/// bidirectional text (Unicode Standard Annex 9).
pub(super) fn steers(c: char) -> bool {
    (c.is_control() && !matches!(c, '\n' | '\t'))
        || matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

/// A text with every character that steers a terminal written out (`\u{1b}`), and cut where it is longer
/// than anybody reads.
///
/// # Example
/// ```
/// assert_eq!(nestline::data::plainly("a\u{1b}[31mb"), "a\\u{1b}[31mb");
/// ```
#[must_use]
pub fn plainly(text: &str) -> Cow<'_, str> {
    let cut = text.char_indices().nth(LONGEST_MESSAGE).map(|(at, _)| at);
    let shown = &text[..cut.unwrap_or(text.len())];
    let mut plain = if shown.contains(steers) {
        let written = shown.chars().map(|c| {
            if steers(c) {
                c.escape_unicode().to_string()
            } else {
                c.to_string()
            }
        });
        Cow::Owned(written.collect())
    } else {
        Cow::Borrowed(shown)
    };
    if cut.is_some() {
        plain.to_mut().push('…');
    }
    plain
}

/// A character as long as one that steers, to stand for it.
fn stand_in(c: char) -> char {
    match c.len_utf8() {
        1 => '?',
        2 => '¿',
        _ => char::REPLACEMENT_CHARACTER,
    }
}

/// Some lines of a text and labels in them.
#[derive(Debug)]
pub(super) struct Excerpt {
    name: String,
    text: String,
    pub(super) labels: Vec<LabeledSpan>,
    /// Lines of the whole text before it.
    lines_before: usize,
    /// By label: its start here, and its column in the whole text, both in bytes.
    columns: Vec<(usize, usize)>,
}

/// A stretch of the text that is shown, and where.
struct Piece {
    whole: Range<usize>,
    here: usize,
}

impl Excerpt {
    /// The lines around some labels; none where there is no label.
    pub(super) fn of(name: &str, text: &str, labels: &[LabeledSpan]) -> Option<Self> {
        let spans: Vec<Range<usize>> = labels
            .iter()
            .map(|l| l.offset().min(text.len())..(l.offset() + l.len()).min(text.len()))
            .collect();
        let first = spans.iter().map(|s| s.start).min()?;
        let last = spans.iter().map(|s| s.end).max()?;
        // one line before and behind is shown too
        let from = start_of_line(text, start_of_line(text, first).saturating_sub(1));
        let to = end_of_line(text, (end_of_line(text, last) + 1).min(text.len()));
        let mut shown = Self {
            name: name.to_owned(),
            text: String::new(),
            labels: Vec::new(),
            lines_before: text[..from].matches('\n').count(),
            columns: Vec::new(),
        };
        let mut pieces = Vec::new();
        let mut at = from;
        for line in text[from..to].split_inclusive('\n') {
            shown.take_line(text, at..at + line.len(), &spans, &mut pieces);
            at += line.len();
        }
        let here = |whole: usize| {
            let before = pieces
                .iter()
                .rev()
                .find(|p: &&Piece| p.whole.start <= whole);
            before.map_or(0, |p| p.here + whole.min(p.whole.end) - p.whole.start)
        };
        for (label, span) in labels.iter().zip(&spans) {
            let start = here(span.start);
            let words = label.label().map(str::to_owned);
            let place = SourceSpan::from((start, here(span.end).saturating_sub(start)));
            shown.labels.push(if label.primary() {
                LabeledSpan::new_primary_with_span(words, place)
            } else {
                LabeledSpan::new_with_span(words, place)
            });
            let column = span.start - start_of_line(text, span.start);
            shown.columns.push((start, column));
        }
        Some(shown)
    }

    fn take_line(
        &mut self,
        text: &str,
        line: Range<usize>,
        spans: &[Range<usize>],
        pieces: &mut Vec<Piece>,
    ) {
        let mut at = line.start;
        for part in parts_to_show(&line, spans) {
            let part = boundary(text, part.start)..boundary(text, part.end);
            if part.start > at {
                self.text.push('…');
            }
            let here = self.text.len();
            let mut shown = text[part.clone()].chars().peekable();
            while let Some(c) = shown.next() {
                let ends_line = c == '\r' && shown.peek() == Some(&'\n');
                let steers = steers(c) && !ends_line;
                self.text.push(if steers { stand_in(c) } else { c });
            }
            at = part.end;
            pieces.push(Piece { whole: part, here });
        }
        if at < line.end {
            self.text.push('…');
            if text[line].ends_with('\n') {
                self.text.push('\n');
            }
        }
    }
}

/// What of a line is shown: all of a short one, what lies around the labels of a long one, else its start.
fn parts_to_show(line: &Range<usize>, spans: &[Range<usize>]) -> Vec<Range<usize>> {
    if line.len() <= LONGEST {
        return vec![line.clone()];
    }
    let mut around: Vec<Range<usize>> = spans
        .iter()
        .filter(|span| line.contains(&span.start))
        .map(|span| {
            let end = span.end.min(span.start + AROUND);
            let from = span.start.saturating_sub(AROUND).max(line.start);
            from..(end + AROUND).min(line.end)
        })
        .collect();
    if around.is_empty() {
        let start = line.start..line.start + AROUND;
        return vec![start];
    }
    around.sort_by_key(|part| part.start);
    let mut parts: Vec<Range<usize>> = Vec::new();
    for part in around {
        match parts.last_mut() {
            Some(last) if part.start <= last.end => last.end = last.end.max(part.end),
            _ => parts.push(part),
        }
    }
    parts
}

/// The next place at or behind `at` where a character begins.
fn boundary(text: &str, at: usize) -> usize {
    (at..text.len())
        .find(|i| text.is_char_boundary(*i))
        .unwrap_or(text.len())
}

fn start_of_line(text: &str, at: usize) -> usize {
    let before = text.as_bytes().get(..at).unwrap_or_default();
    before
        .iter()
        .rposition(|b| *b == b'\n')
        .map_or(0, |i| i + 1)
}

fn end_of_line(text: &str, at: usize) -> usize {
    let behind = text.as_bytes().get(at..).unwrap_or_default();
    let line = behind.iter().position(|b| *b == b'\n');
    line.map_or(text.len(), |i| at + i + 1)
}

/// The line of a byte and its column, both counted from 1, the column in characters.
pub(super) fn line_and_column(text: &str, at: usize) -> (usize, usize) {
    let at = boundary(text, at);
    let before = &text[..at];
    let line = before.matches('\n').count() + 1;
    let column = before[start_of_line(text, at)..].chars().count() + 1;
    (line, column)
}

impl SourceCode for Excerpt {
    fn read_span<'a>(
        &'a self,
        span: &SourceSpan,
        before: usize,
        behind: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        let found = self.text.read_span(span, before, behind)?;
        // asked without lines around it, a label's place in the whole text is wanted
        let known = self.columns.iter().find(|(here, _)| *here == span.offset());
        let column = match known {
            Some((_, column)) if before == 0 => *column,
            _ => found.column(),
        };
        Ok(Box::new(MietteSpanContents::new_named(
            self.name.clone(),
            found.data(),
            *found.span(),
            self.lines_before + found.line(),
            column,
            // the renderer joins labels by it, and takes it from the start of the text
            self.lines_before + found.line_count(),
        )))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str, span: Range<usize>) -> Excerpt {
        let label = LabeledSpan::new_primary_with_span(Some("here".into()), span);
        Excerpt::of("file", text, &[label]).unwrap()
    }

    #[test]
    fn exact_short_lines_are_shown_whole_with_one_around() {
        let text = "a\nbb\nccc\ndd\ne";
        let excerpt = shown(text, 5..8);
        assert_eq!(excerpt.text, "bb\nccc\ndd\n");
        assert_eq!(excerpt.lines_before, 1);
        assert_eq!(excerpt.labels[0].offset(), 3);
    }

    #[test]
    fn property_long_lines_are_cut_around_the_label() {
        for unit in ["x", "é", "€"] {
            let long = unit.repeat(70_000);
            let text = format!("first {long}\n{long} wrong {long}\n{long}");
            let at = text.find("wrong").unwrap();
            let excerpt = shown(&text, at..at + 5);
            assert!(excerpt.text.len() < 600, "{} bytes", excerpt.text.len());
            let here = excerpt.labels[0].offset();
            assert_eq!(&excerpt.text[here..here + 5], "wrong");
            assert_eq!(excerpt.text.lines().count(), 3);
            let (_, column) = excerpt.columns[0];
            assert_eq!(column, long.len() + 1, "column in the whole line");
        }
        // a label longer than what is shown ends with it
        let text = "y".repeat(100_000);
        let excerpt = shown(&text, 10..90_000);
        assert!(excerpt.text.len() < 300, "{} bytes", excerpt.text.len());
        let label = &excerpt.labels[0];
        assert!(
            label.offset() + label.len() <= excerpt.text.len(),
            "beyond the end"
        );
    }

    #[test]
    fn exact_nothing_that_steers_a_terminal_is_shown() {
        let text = "name: \"a\u{1b}[31m\u{9b}\u{202e}\u{7}b\", wrong";
        let at = text.find("wrong").unwrap();
        let excerpt = shown(text, at..at + 5);
        assert!(!excerpt.text.contains(steers), "{:?}", excerpt.text);
        assert_eq!(excerpt.text.len(), text.len(), "labels stay in place");
        assert_eq!(plainly("a\u{9b}\r\nb\tc"), "a\\u{9b}\\u{d}\nb\tc");
        assert_eq!(
            plainly(&"x".repeat(9000)).chars().count(),
            LONGEST_MESSAGE + 1
        );
    }

    #[test]
    fn exact_places_are_counted_from_one_in_characters() {
        assert_eq!(line_and_column("é(\n  ü: x\n)", 0), (1, 1));
        let text = "é(\n  ü: x\n)";
        assert_eq!(line_and_column(text, text.find('x').unwrap()), (2, 6));
        assert_eq!(line_and_column(text, 999), (3, 2));
    }
}
