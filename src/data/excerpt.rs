//! The lines of a file that a refusal shows: short ones, and nothing in them that a terminal would obey.

use miette::{LabeledSpan, MietteError, MietteSpanContents, SourceCode, SourceSpan, SpanContents};
use std::borrow::Cow;
use std::ops::Range;

/// What is shown of a line that is too long before and behind a label, bytes: the most, and the least.
const AROUND: (usize, usize) = (60, 4);
/// A line is cut between words, if there is a gap within so many bytes.
const TO_A_GAP: usize = 24;
/// Words of a label get at least so many columns beside the place they belong to.
const LABEL: usize = 24;
/// Columns that the words of a label get: no word of them is cut.
fn columns_of(words: &str) -> usize {
    let longest = words.split(' ').map(|word| word.chars().count()).max();
    let whole = words.chars().count();
    whole.min(LABEL.max(longest.unwrap_or(0)))
}

/// What is drawn before the words of a label.
const BEFORE_LABEL: usize = 4;
/// What is drawn before lines that a label runs over.
const BESIDE_LINES: usize = 5;
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
    /// The lines around some labels, for a terminal of `columns` characters; none where there is no label.
    pub(super) fn of(
        name: &str,
        text: &str,
        labels: &[LabeledSpan],
        columns: usize,
    ) -> Option<Self> {
        let spans: Vec<Range<usize>> = labels
            .iter()
            .map(|l| l.offset().min(text.len())..(l.offset() + l.len()).min(text.len()))
            .collect();
        let first = spans.iter().map(|s| s.start).min()?;
        let last = spans.iter().map(|s| s.end).max()?;
        // one line before and behind is shown too
        let from = start_of_line(text, start_of_line(text, first).saturating_sub(1));
        let to = end_of_line(text, (end_of_line(text, last) + 1).min(text.len()));
        let lines_before = text[..from].matches('\n').count();
        let lines = lines_before + text[from..to].matches('\n').count() + 1;
        let digits = lines.to_string().len();
        // `  10 │ `
        let mut room = columns.saturating_sub(digits + 4);
        if spans.iter().any(|span| text[span.clone()].contains('\n')) {
            room = room.saturating_sub(BESIDE_LINES);
        }
        let words: Vec<Option<String>> = labels
            .iter()
            .map(|l| l.label().map(str::to_owned))
            .collect();
        let wanted: Vec<usize> = words
            .iter()
            .map(|words| words.as_deref().map_or(0, columns_of))
            .collect();
        let fits = Fits {
            text,
            spans: &spans,
            wanted: &wanted,
            room,
        };
        let (line, column) = line_and_column(text, first);
        let place = format!(":{line}:{column}").len();
        let mut shown = Self {
            // `   ╭─[` and `]`
            name: named_within(name, columns.saturating_sub(digits + 6 + place)),
            text: String::new(),
            labels: Vec::new(),
            lines_before,
            columns: Vec::new(),
        };
        let mut pieces = Vec::new();
        let mut at = from;
        for line in text[from..to].split_inclusive('\n') {
            shown.take_line(&fits, at..at + line.len(), &mut pieces);
            at += line.len();
        }
        let here = |whole: usize| {
            let before = pieces
                .iter()
                .rev()
                .find(|p: &&Piece| p.whole.start <= whole);
            before.map_or(0, |p| p.here + whole.min(p.whole.end) - p.whole.start)
        };
        for ((label, span), words) in labels.iter().zip(&spans).zip(words) {
            let (start, end) = (here(span.start), here(span.end));
            // words of a label over several lines stand at their left
            let at = match text[span.clone()].contains('\n') {
                true => 0,
                false => caret(&shown.text, start, end),
            };
            let left = room.saturating_sub(at + BEFORE_LABEL);
            let words = words.map(|words| words_within(&words, left.max(LABEL)));
            let place = SourceSpan::from((start, end.saturating_sub(start)));
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

    fn take_line(&mut self, fits: &Fits<'_>, line: Range<usize>, pieces: &mut Vec<Piece>) {
        let text = fits.text;
        let mut at = line.start;
        for part in fits.parts_to_show(&line) {
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

/// Where the words of a label begin under its line: in the middle of what it marks.
fn caret(text: &str, start: usize, end: usize) -> usize {
    let before = width(&text[start_of_line(text, start)..start]);
    before + width(&text[start..end.min(end_of_line(text, start))]) / 2
}

/// Columns that a text takes; the renderer draws a tab as four.
fn width(text: &str) -> usize {
    text.trim_end_matches(['\n', '\r'])
        .chars()
        .map(|c| if c == '\t' { 4 } else { 1 })
        .sum()
}

/// The words of a label on as many lines as they need.
fn words_within(words: &str, room: usize) -> String {
    let options = textwrap::Options::new(room)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .break_words(false);
    textwrap::wrap(words, options).join("\n")
}

/// A file's name, its first folders left out where there is no room for them.
fn named_within(name: &str, room: usize) -> String {
    let count = name.chars().count();
    if count <= room {
        return name.to_owned();
    }
    let tails = name.match_indices('/').map(|(at, _)| &name[at..]);
    let mut tails = tails.filter(|tail| tail.chars().count() < room);
    match tails.next() {
        Some(tail) => format!("…{tail}"),
        None => {
            let left_out = (count + 1).saturating_sub(room);
            format!("…{}", name.chars().skip(left_out).collect::<String>())
        }
    }
}

/// What of the lines of a text has room.
struct Fits<'a> {
    text: &'a str,
    spans: &'a [Range<usize>],
    /// Columns that the words of each span's label need at least.
    wanted: &'a [usize],
    /// Columns for a line.
    room: usize,
}

impl Fits<'_> {
    /// What of a line is shown: all of a short one, what lies around the labels of a long one, else its start.
    fn parts_to_show(&self, line: &Range<usize>) -> Vec<Range<usize>> {
        let labels: Vec<(&Range<usize>, usize)> = self
            .spans
            .iter()
            .zip(self.wanted.iter().copied())
            .filter(|(span, _)| line.contains(&span.start))
            .collect();
        let whole = vec![line.clone()];
        if self.has_room(line, &labels, &whole) {
            return whole;
        }
        if labels.is_empty() {
            // one column for the ellipsis
            let most = self.text[line.clone()]
                .char_indices()
                .nth(self.room.saturating_sub(1));
            let end = most.map_or(line.end, |(at, _)| line.start + at);
            let start = line.start..self.back_to_a_gap(line.start, end);
            return vec![start];
        }
        let (mut around, least) = AROUND;
        loop {
            let parts = self.around(line, &labels, around);
            if around <= least || self.has_room(line, &labels, &parts) {
                return parts;
            }
            around -= 1;
        }
    }

    /// Whether parts of a line, and the words of its labels under them, have room.
    fn has_room(
        &self,
        line: &Range<usize>,
        labels: &[(&Range<usize>, usize)],
        parts: &[Range<usize>],
    ) -> bool {
        let mut columns = 0;
        let mut at = line.start;
        for part in parts {
            columns += usize::from(part.start > at);
            for (label, wanted) in labels.iter().filter(|(l, _)| part.contains(&l.start)) {
                let end = label.end.min(part.end);
                let caret = columns
                    + width(&self.text[part.start..label.start])
                    + width(&self.text[label.start..end]) / 2;
                if caret + BEFORE_LABEL + wanted > self.room {
                    return false;
                }
            }
            columns += width(&self.text[part.clone()]);
            at = part.end;
        }
        columns + usize::from(at < line.end) <= self.room
    }

    fn around(
        &self,
        line: &Range<usize>,
        labels: &[(&Range<usize>, usize)],
        around: usize,
    ) -> Vec<Range<usize>> {
        let shown = labels.iter().map(|(label, _)| {
            let end = label.end.min(label.start + around.max(LABEL));
            let from = label.start.saturating_sub(around).max(line.start);
            let to = (end + around).min(line.end);
            let from = boundary(self.text, from);
            let to = boundary(self.text, to);
            let end = boundary(self.text, end.min(to));
            self.on_to_a_gap(line, from, label.start)..self.back_to_a_gap(end, to)
        });
        let mut shown: Vec<Range<usize>> = shown.collect();
        shown.sort_by_key(|part| part.start);
        let mut parts: Vec<Range<usize>> = Vec::new();
        for part in shown {
            match parts.last_mut() {
                Some(last) if part.start <= last.end => last.end = last.end.max(part.end),
                _ => parts.push(part),
            }
        }
        parts
    }

    /// The first gap between words at or behind `from`, before `end`; else `from` itself.
    fn on_to_a_gap(&self, line: &Range<usize>, from: usize, end: usize) -> usize {
        if from == line.start {
            return from;
        }
        let gap = self.text[from..end]
            .find(' ')
            .filter(|gap| *gap <= TO_A_GAP);
        gap.map_or(from, |gap| from + gap)
    }

    /// The last gap between words before `to`, at or behind `from`; `to` itself at a line's end or without a gap.
    fn back_to_a_gap(&self, from: usize, to: usize) -> usize {
        let end = end_of_line(self.text, from);
        if to >= end || self.text[to..end].trim_end().is_empty() {
            return end;
        }
        let gap = self.text[from..to].rfind(' ').map(|gap| from + gap + 1);
        gap.filter(|gap| to - gap <= TO_A_GAP).unwrap_or(to)
    }
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
        Excerpt::of("file", text, &[label], 100).unwrap()
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
            let count = excerpt.text.chars().count();
            assert!(count < 300, "{count} characters in three lines of 95");
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
    fn property_what_is_shown_fits_and_keeps_its_label() {
        let text = "    a: 1,\n    (from_tip: \"25 cm\", outer: \"1.3 mm\", inner: \"0.016 in\", stiffness_n_mm2: 60), // and more words behind\n    b: 2, // some words that go on and on beyond what a narrow terminal has\n";
        for wrong in ["25 cm", "0.016 in", "60", "behind"] {
            let at = text.find(wrong).unwrap();
            for columns in [60, 70, 80, 100, 200] {
                let label = LabeledSpan::new_primary_with_span(
                    Some("what is said of it goes on for some words as well".into()),
                    at..at + wrong.len(),
                );
                let name = "a/folder/whose/name/is/long/and/another/one/file.ron";
                let excerpt = Excerpt::of(name, text, &[label], columns).unwrap();
                let label = &excerpt.labels[0];
                let end = label.offset() + label.len();
                assert_eq!(&excerpt.text[label.offset()..end], wrong, "{columns}");
                for line in excerpt.text.lines() {
                    assert!(line.chars().count() + 5 <= columns, "{columns}: {line}");
                    // cut between words
                    let cut = line.trim_matches('…').split_whitespace();
                    let whole: Vec<&str> = text.split_whitespace().collect();
                    for word in cut {
                        assert!(whole.contains(&word), "{columns}: {word} of {line}");
                    }
                }
                let caret = caret(&excerpt.text, label.offset(), end);
                for line in label.label().unwrap().lines() {
                    assert!(
                        5 + caret + 4 + line.chars().count() <= columns,
                        "{columns}: {line}"
                    );
                }
                assert!(excerpt.name.ends_with("/file.ron"), "{}", excerpt.name);
                assert!(
                    excerpt.name.chars().count() + 12 <= columns,
                    "{}",
                    excerpt.name
                );
            }
        }
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
