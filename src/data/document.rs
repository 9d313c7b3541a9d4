//! A file that has been read: its name for messages, its text, its kind.

use super::decode::decode;
use super::error::{Complaint, DataError, Problem, listed, nearest, point_out, point_to};
use super::excerpt::steers;
use super::map::{RonMap, Shape};
use super::source::Source;
use serde::de::DeserializeOwned;
use std::ops::Range;
use std::sync::Arc;

/// What a file describes, told by the word it starts with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum FileKind {
    /// `Vessel(…)`
    Vessel,
    /// `Device(…)`
    Device,
    /// `Valve(…)`, `Clip(…)`, `InsertionTool(…)` or `Extension(…)`
    Accessory,
    /// `Scene(…)`
    Scene,
    /// `Durations(…)`
    Durations,
    /// `Materials(…)`
    Materials,
    /// `Problem(…)`
    Problem,
}

/// The words a file may start with, and what they mean.
const KINDS: [(&str, FileKind); 10] = [
    ("Vessel", FileKind::Vessel),
    ("Device", FileKind::Device),
    ("Valve", FileKind::Accessory),
    ("Clip", FileKind::Accessory),
    ("InsertionTool", FileKind::Accessory),
    ("Extension", FileKind::Accessory),
    ("Scene", FileKind::Scene),
    ("Durations", FileKind::Durations),
    ("Materials", FileKind::Materials),
    ("Problem", FileKind::Problem),
];

impl FileKind {
    /// `a vessel`, `a scene`…
    #[must_use]
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Vessel => "a vessel",
            Self::Device => "a device",
            Self::Accessory => "a part that sits on a hub or a rail",
            Self::Scene => "a scene",
            Self::Durations => "a table of step times",
            Self::Materials => "a table of materials",
            Self::Problem => "a bare rod-in-tube problem",
        }
    }
}

/// A text and the name it goes by in messages.
#[derive(Debug, Clone)]
pub(super) struct Document {
    pub(super) name: String,
    pub(super) text: Arc<str>,
}

impl Document {
    pub(super) fn open(source: &Source) -> Result<Self, DataError> {
        Ok(Self {
            name: source.to_string(),
            text: source.read()?,
        })
    }

    /// The same with another text, its name saying what was changed.
    pub(super) fn with_text(&self, text: String, change: &str) -> Self {
        let name = match self.name.split_once(" with ") {
            Some(_) => format!("{}, {change}", self.name),
            None => format!("{} with {change}", self.name),
        };
        Self {
            name,
            text: Arc::from(text),
        }
    }

    /// What the file describes.
    pub(super) fn kind(&self) -> Result<FileKind, DataError> {
        let map = RonMap::of(&self.text);
        let found = map.root_name();
        if let Some((_, kind)) = KINDS.iter().find(|(word, _)| Some(*word) == found) {
            return Ok(*kind);
        }
        let words = KINDS.map(|(word, _)| word);
        let span = map.root.as_ref().map_or(0..0, |root| {
            root.name
                .clone()
                .unwrap_or(root.span.start..(root.span.start + 1).min(root.span.end))
        });
        let message = match found {
            Some(found) => format!("`{found}` is no kind of file"),
            None => "the file does not say what it describes".to_owned(),
        };
        let help = match found.and_then(|found| nearest(found, words)) {
            Some(near) => format!("write `{near}(…)`"),
            None => "start it with `Vessel(`, `Device(`, `Scene(`, `Durations(`, `Materials(`, `Problem(` or, for parts, `Valve(`, `Clip(`, `InsertionTool(` or `Extension(`".to_owned(),
        };
        Err(DataError::new(Problem::OtherKind, message)
            .in_text(&self.name, &self.text)
            .with_label(span, "here")
            .with_help(help))
    }

    /// Refuses a file of another kind.
    pub(super) fn must_be(&self, wanted: &[FileKind]) -> Result<FileKind, DataError> {
        let kind = self.kind()?;
        if wanted.contains(&kind) {
            return Ok(kind);
        }
        let map = RonMap::of(&self.text);
        let span = map.root.and_then(|root| root.name).unwrap_or(0..0);
        let words = KINDS
            .iter()
            .filter(|(_, kind)| wanted.contains(kind))
            .map(|(word, _)| *word);
        let needed: Vec<&str> = wanted.iter().map(|kind| kind.in_words()).collect();
        Err(DataError::new(
            Problem::OtherKind,
            format!(
                "`{}` describes {}; needed here is {}",
                self.name,
                kind.in_words(),
                needed.join(" or ")
            ),
        )
        .in_text(&self.name, &self.text)
        .with_label(span, "says so here")
        .with_help(format!("name a file that starts with {}", listed(words))))
    }

    /// # Errors
    /// Those of [`decode`], and for a character that would steer a terminal, as it is or by an escape.
    pub(super) fn decode<T: DeserializeOwned>(&self) -> Result<T, DataError> {
        if let Some(found) = steering(&self.text) {
            return Err(self.refuse_character(&found));
        }
        decode(&self.name, &self.text)
    }

    fn refuse_character(&self, (span, character): &(Range<usize>, char)) -> DataError {
        let map = RonMap::of(&self.text);
        let field = match map.around(span.start, false) {
            Some((path, node)) if node.shape == Shape::Scalar && !path.starts_with('[') => {
                format!("`{path}`")
            }
            _ => format!("`{}`", self.name),
        };
        DataError::new(
            Problem::NotAccepted,
            format!(
                "{field} holds U+{:04X}, a character that is not shown and steers terminals or turns the direction of a text",
                u32::from(*character)
            ),
        )
        .in_text(&self.name, &self.text)
        .with_label(span.clone(), "here")
        .with_help("remove it: names and words hold letters, digits, signs and blanks")
    }

    /// An error about a file that this one names at `path`.
    pub(super) fn named(&self, error: DataError, path: &str) -> DataError {
        error.named_in(&self.name, &self.text, path)
    }

    /// Path of the entry that bears a name.
    pub(super) fn path_of_name(&self, name: &str) -> Option<String> {
        let map = RonMap::of(&self.text);
        let span = map.named(name)?;
        Some(map.around(span.end, false)?.0)
    }

    /// One complaint at its place.
    pub(super) fn refuse_at(&self, complaint: Complaint) -> DataError {
        point_to(&self.name, &self.text, &RonMap::of(&self.text), complaint)
    }

    /// The value, unless there are complaints: then all of them, each at its place.
    pub(super) fn all_or_refuse<T>(
        &self,
        value: Option<T>,
        complaints: Vec<Complaint>,
    ) -> Result<T, DataError> {
        point_out(&self.name, &self.text, complaints)?;
        value.ok_or_else(|| {
            DataError::new(
                Problem::NotAccepted,
                format!("`{}` cannot be used", self.name),
            )
        })
    }
}

/// The first character that would steer a terminal, as it is or by an escape in a text, and where it is.
fn steering(text: &str) -> Option<(Range<usize>, char)> {
    let mut all = text.char_indices().peekable();
    while let Some((at, c)) = all.next() {
        // a line may end in both
        let ends_line = c == '\r' && all.peek().is_some_and(|(_, next)| *next == '\n');
        if steers(c) && !ends_line {
            return Some((at..at + c.len_utf8(), c));
        }
    }
    if !text.contains('\\') {
        return None;
    }
    let map = RonMap::of(text);
    let mut at = 0;
    while let Some(next) = text[at..].find('\\') {
        let start = at + next;
        let (length, means) = escape(&text[start..]);
        at = start + length;
        let Some(c) = means.filter(|c| steers(*c)) else {
            continue;
        };
        // a backslash in a raw text or a comment is one
        let in_text = map.around(start, true).is_some_and(|(_, around)| {
            let mut values = around.entries.iter().map(|entry| &entry.value);
            values.any(|v| v.span.contains(&start) && map.words(&v.span).starts_with('"'))
        });
        if in_text {
            return Some((start..at, c));
        }
    }
    None
}

/// Length of an escape, and what it means where it is one of a control character or written by number.
fn escape(text: &str) -> (usize, Option<char>) {
    let behind = &text[1..];
    let by_number = |digits: &str| {
        u32::from_str_radix(digits, 16)
            .ok()
            .and_then(char::from_u32)
    };
    match behind.chars().next() {
        Some('x') => match behind.get(1..3) {
            Some(digits) => (4, by_number(digits)),
            None => (2, None),
        },
        Some('u') => match behind.find('}') {
            Some(end) if behind[1..].starts_with('{') => (end + 2, by_number(&behind[2..end])),
            _ => (2, None),
        },
        Some('b') => (2, Some('\u{8}')),
        Some('f') => (2, Some('\u{c}')),
        Some('r') => (2, Some('\r')),
        Some('0') => (2, Some('\0')),
        Some(other) => (1 + other.len_utf8(), None),
        None => (1, None),
    }
}

/// What the file at `source` describes.
///
/// # Errors
/// A [`DataError`] where it cannot be read or does not start with a word of ours.
pub fn file_kind(source: &Source) -> Result<FileKind, DataError> {
    Document::open(source)?.kind()
}
