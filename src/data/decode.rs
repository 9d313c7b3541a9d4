//! From RON text to typed values, with ron's complaints put in plain words.

use super::error::{DataError, Problem, listed, nearest, place_in_words};
use super::examples::example;
use super::map::{Node, RonMap, head};
use crate::units::Refusal;
use ron::error::SpannedError;
use ron::extensions::Extensions;
use serde::de::DeserializeOwned;
use std::ops::Range;
use std::sync::Arc;

/// Decodes a text; `Some(…)` may be left out around values that are not always there.
///
/// # Errors
/// [`Problem::Syntax`] or [`Problem::NotAccepted`], with the place ron stopped at.
pub(super) fn decode<T: DeserializeOwned>(name: &str, text: &Arc<str>) -> Result<T, DataError> {
    parse(text).map_err(|error| {
        let explainer = Explainer {
            text,
            map: RonMap::of(text),
            at: offset(text, error.span.end),
        };
        let told = match &error.code {
            ron::Error::MissingStructField { field, .. } => {
                let missing = explainer.all_missing::<T>(field);
                explainer.missing(&missing)
            }
            ron::Error::ExpectedIdentifier | ron::Error::SuggestRawIdentifier(_) => explainer
                .choices_here::<T>()
                .unwrap_or_else(|| explainer.explain(&error.code)),
            code => explainer.explain(code),
        };
        told.in_text(name, text)
    })
}

fn parse<T: DeserializeOwned>(text: &str) -> Result<T, SpannedError> {
    ron::Options::default()
        .with_default_extension(Extensions::IMPLICIT_SOME)
        .from_str(text)
}

/// A field that a file leaves out, and how a built-in file writes it.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Missing {
    field: String,
    example: Option<&'static str>,
}

/// Byte of a line and column, both counted in characters from 1.
fn offset(text: &str, place: ron::error::Position) -> usize {
    let line: usize = text
        .split_inclusive('\n')
        .take(place.line.saturating_sub(1))
        .map(str::len)
        .sum();
    let rest = text.get(line..).unwrap_or("");
    let column = rest
        .char_indices()
        .nth(place.col.saturating_sub(1))
        .map_or(rest.len(), |(i, _)| i);
    line + column
}

struct Explainer<'a> {
    text: &'a str,
    map: RonMap<'a>,
    /// Where ron's cursor stood.
    at: usize,
}

impl Explainer<'_> {
    fn explain(&self, code: &ron::Error) -> DataError {
        use ron::Error as E;
        match code {
            E::NoSuchStructField {
                expected, found, ..
            } => self
                .unknown("field", &format!(" in {}", self.holder()), expected, found)
                .of_no_such_field(),
            E::NoSuchEnumVariant {
                expected, found, ..
            } => self.unknown("choice", &self.for_field(self.at), expected, found),
            E::DuplicateStructField { field, .. } => self
                .refuse(format!("`{field}` is written twice"))
                .with_label(self.just_read(), "the second one")
                .with_help("keep one of the two"),
            E::InvalidValueForType { expected, found } => {
                let read = self.text.get(self.just_read()).unwrap_or("");
                let found = match found.as_str() {
                    // a word that ron takes for a name without fields
                    "a unit value" if !read.is_empty() && !read.starts_with('(') => {
                        format!("`{read}`")
                    }
                    found => plain_found(found),
                };
                let error = self
                    .refuse(format!(
                        "expected {}{}, found {found}",
                        plain_expected(expected),
                        self.for_field(self.just_read().start)
                    ))
                    .with_label(self.just_read(), "here");
                error.with_help(
                    if self
                        .text
                        .get(self.just_read())
                        .is_some_and(|t| t.starts_with('"'))
                    {
                        "numbers and words stand without quotes, lengths with them"
                    } else {
                        "write the kind of value that is expected here"
                    },
                )
            }
            E::ExpectedDifferentLength { expected, found } => self
                .refuse(format!(
                    "expected {}, found {found} {}",
                    plain_expected(expected),
                    if *found == 1 { "value" } else { "values" }
                ))
                .with_label(self.just_read(), "here")
                .with_help("count what stands between the parentheses"),
            E::Message(message) => self.own_words(message),
            E::ExpectedDifferentStructName { expected, found } => self.other_name(expected, found),
            _ => self.type_or_syntax(code),
        }
    }

    fn refuse(&self, message: impl std::fmt::Display) -> DataError {
        DataError::new(Problem::NotAccepted, message)
    }

    /// The field whose value stands at a place, in words.
    fn field(&self, at: usize) -> Option<String> {
        match self.map.around(at, false) {
            Some((path, _)) if !path.is_empty() && !path.starts_with('[') => {
                Some(place_in_words(&path))
            }
            _ => None,
        }
    }

    /// The same behind what it wants.
    fn for_field(&self, at: usize) -> String {
        self.field(at)
            .map_or_else(String::new, |field| format!(" for {field}"))
    }

    /// The key or value that ron had just read.
    fn just_read(&self) -> Range<usize> {
        let span = self.map.ending_at(self.at).unwrap_or(self.at..self.at);
        head(self.text, &span)
    }

    /// The character or word ron stood in front of.
    fn ahead(&self) -> Range<usize> {
        let rest = self.text.get(self.at..).unwrap_or("");
        let word = rest
            .find(|c: char| !(c.is_alphanumeric() || c == '_'))
            .unwrap_or(rest.len());
        let length = word.max(rest.chars().next().map_or(0, char::len_utf8));
        if self.starts_value() {
            let value = RonMap::of(rest).root.map_or(0..length, |node| node.span);
            return head(self.text, &(self.at..self.at + value.end));
        }
        self.at..self.at + length
    }

    fn starts_value(&self) -> bool {
        let rest = self.text.get(self.at..).unwrap_or("");
        rest.starts_with(['"', '(', '[', '{'])
    }

    /// What holds the fields at the cursor, in words: its path, or the name the file starts with.
    fn holder(&self) -> String {
        match self.map.around(self.at, true) {
            Some((path, _)) if !path.is_empty() => place_in_words(&path),
            _ => format!("`{}`", self.map.root_name().unwrap_or("the file")),
        }
    }

    fn unknown(&self, kind: &str, place: &str, expected: &[&str], found: &str) -> DataError {
        let error = self
            .refuse(format!("unknown {kind} `{found}`{place}"))
            .with_label(self.just_read(), "here");
        let choices = listed(expected.iter().copied());
        match (expected, nearest(found, expected.iter().copied())) {
            ([], _) => error.with_help(format!("no {kind} can stand here: remove it")),
            ([only], _) => error.with_help(format!("there is only `{only}`")),
            (_, Some(near)) => error.with_help(format!("write `{near}`; there are {choices}")),
            (_, None) => error.with_help(format!("there are {choices}")),
        }
    }

    /// What can stand where a word was expected and something else was found, if it is one of a few
    /// words: told by the words that are offered where a word stands there that is none of them.
    fn choices_here<T: DeserializeOwned>(&self) -> Option<DataError> {
        const NO_CHOICE: &str = "NoSuchChoice";
        let span = self.map.value_at(self.at)?;
        let with = |word: &str| {
            let text = self.text.to_owned();
            let (before, behind) = (text.get(..span.start)?, text.get(span.end..)?);
            Some(format!("{before}{word}{behind}"))
        };
        let expected = match parse::<T>(&with(NO_CHOICE)?).err()?.code {
            ron::Error::NoSuchEnumVariant {
                expected, found, ..
            } if found == NO_CHOICE => expected,
            _ => return None,
        };
        // a word that takes more is refused right behind itself
        let written: Vec<String> = expected
            .iter()
            .filter_map(|word| {
                let text = with(word)?;
                let end = span.start + word.len();
                let alone = match parse::<T>(&text) {
                    Ok(_) => true,
                    Err(error) => offset(&text, error.span.end) > end,
                };
                Some(if alone {
                    format!("`{word}`")
                } else {
                    format!("`{word}(…)`")
                })
            })
            .collect();
        let found = self.map.words(&span);
        let bare = found.trim_matches('"').trim();
        let place = self.for_field(span.start);
        let at = Self {
            at: span.start,
            map: self.map.clone(),
            text: self.text,
        };
        let help = match expected.iter().find(|word| **word == bare) {
            Some(word) => format!("write `{word}` without quotes"),
            None if found.starts_with('"') => {
                format!("write one of {}, without quotes", written.join(", "))
            }
            None => format!("write one of {}", written.join(", ")),
        };
        Some(
            self.refuse(format!("expected a word{place}, found {}", at.seen()))
                .with_label(head(self.text, &span), "here")
                .with_help(help),
        )
    }

    /// Fields missing where ron misses `first`. It stops at the first one, so the text is tried again
    /// with what a built-in file has there, until nothing more is missing or no file knows better.
    fn all_missing<T: DeserializeOwned>(&self, first: &str) -> Vec<Missing> {
        let mut missing: Vec<Missing> = Vec::new();
        let mut next = Some(first.to_owned());
        let (Some((path, _)), Some(holder)) =
            (self.map.around(self.at, true), self.map.closing_at(self.at))
        else {
            return vec![Missing {
                field: first.to_owned(),
                example: None,
            }];
        };
        let mut added = if self.ends_with_comma(&holder) {
            ""
        } else {
            ","
        }
        .to_owned();
        while let Some(field) = next.take() {
            let example = example(&self.map, &path, &holder, &field);
            missing.push(Missing {
                field: field.clone(),
                example,
            });
            let Some(value) = example else { break };
            added.push_str(&format!(" {field}: {value},"));
            let (before, behind) = self.text.split_at(self.at);
            let tried = format!("{before}{added}{behind}");
            let Err(error) = parse::<T>(&tried) else {
                break;
            };
            let closes = offset(&tried, error.span.end) == self.at + added.len();
            match error.code {
                ron::Error::MissingStructField { field, .. }
                    if closes && missing.iter().all(|m| m.field != field) =>
                {
                    next = Some(field.to_string());
                }
                _ => {}
            }
        }
        missing
    }

    /// Whether a comma, or nothing at all, stands before a closing bracket.
    fn ends_with_comma(&self, holder: &Node) -> bool {
        let Some(last) = holder.entries.last() else {
            return true;
        };
        let behind = self.text.get(last.value.span.end..self.at).unwrap_or("");
        behind.lines().any(|line| {
            line.split("//")
                .next()
                .is_some_and(|code| code.contains(','))
        })
    }

    fn missing(&self, missing: &[Missing]) -> DataError {
        let closes = self.map.closing_at(self.at);
        if let (Some(node), Some(root)) = (&closes, &self.map.root)
            && node.span == root.span
            && let Some(error) = self.closed_too_early(root.span.end)
        {
            return error;
        }
        let names = listed(missing.iter().map(|m| m.field.as_str()));
        let (fields, are) = match missing {
            [_] => ("field", "is"),
            _ => ("fields", "are"),
        };
        let error = self.refuse(format!(
            "the {fields} {names} {are} missing in {}",
            self.holder()
        ));
        let error = match closes {
            Some(node) if !self.map.words(&node.span).contains('\n') => {
                error.with_label(node.span, format!("has no {names}"))
            }
            Some(node) => {
                let opening = head(self.text, &node.span);
                error
                    .with_label(self.at..self.at + 1, format!("closes without {names}"))
                    .with_label(opening, "opened here")
            }
            None => error.with_label(self.ahead(), "here"),
        };
        // an example longer than that fills the help; the cabinet has it
        const SHORT_ENOUGH: usize = 40;
        let short = |m: &Missing| {
            m.example
                .filter(|value| value.len() <= SHORT_ENOUGH && !value.contains('\n'))
        };
        let written: Vec<String> = missing
            .iter()
            .map(|m| format!("`{}: {},`", m.field, short(m).unwrap_or("…")))
            .collect();
        let example = if missing.iter().any(|m| short(m).is_some()) {
            ", with values of your own"
        } else {
            ""
        };
        error.with_help(format!(
            "add {} before the closing parenthesis{example}",
            written.join(" ")
        ))
    }

    /// The outermost value ends, and the file goes on.
    fn closed_too_early(&self, end: usize) -> Option<DataError> {
        let behind = self.text.get(end..)?;
        let more = behind.len()
            - behind
                .trim_start_matches([',', ' ', '\t', '\r', '\n'])
                .len();
        let rest = behind.get(more..)?;
        if rest.is_empty() || rest.starts_with("//") || rest.starts_with("/*") {
            return None;
        }
        let name = self.map.root_name().unwrap_or("the file");
        Some(
            DataError::new(
                Problem::Syntax,
                format!("`{name}` is closed, but the file goes on"),
            )
            .with_label(end - 1..end, "closed here")
            .with_label(head(self.text, &(end + more..self.text.len())), "more here")
            .with_help(
                "a closing bracket too many stands before this, or an opening one is missing",
            ),
        )
    }

    /// A message of one of our own value types: units, ranges, names.
    fn own_words(&self, message: &str) -> DataError {
        let Refusal { what, help } = Refusal::from_text(message);
        let what = match self.field(self.just_read().start) {
            Some(field) if !what.contains(&field) => format!("{field}: {what}"),
            _ => what,
        };
        let error = self.refuse(what).with_label(self.just_read(), "here");
        match help {
            Some(help) => error.with_help(help),
            None => error,
        }
    }

    fn other_name(&self, expected: &str, found: &str) -> DataError {
        let behind = self.text.get(self.at..).unwrap_or("").trim_start();
        let start = match self.text.get(..self.at) {
            Some(before) if before.ends_with(found) => self.at - found.len(),
            _ => self.at,
        };
        if behind.starts_with(':')
            && let Some((_, node)) = self.map.around(start + 1, true)
            && let Some(name) = &node.name
        {
            let opening = head(self.text, &node.span);
            let name = self.map.words(name);
            return DataError::new(
                Problem::Syntax,
                format!("`{name}` holds something in parentheses of its own"),
            )
            .with_label(opening, "one pair here")
            .with_help(format!("write two pairs: `{name}(({found}: …))`"));
        }
        self.refuse(format!("expected `{expected}`, found `{found}`"))
            .with_label(start..start + found.len(), "here")
            .with_help(format!(
                "write `{expected}(…)`, or leave the name out: `(…)`"
            ))
    }

    /// Either a value of the wrong type or brackets, commas and quotes that do not match.
    fn type_or_syntax(&self, code: &ron::Error) -> DataError {
        use ron::Error as E;
        let wrong_type = |wanted: &str, help: &str| {
            let place = self.for_field(self.at);
            self.refuse(format!("expected {wanted}{place}, found {}", self.seen()))
                .with_label(self.ahead(), "here")
                .with_help(help)
        };
        match code {
            E::ExpectedString => wrong_type("a text", "put it in double quotes: \"like this\""),
            E::ExpectedInteger => wrong_type("a whole number", "write it without quotes or point"),
            E::IntegerOutOfBounds | E::InvalidIntegerDigit { .. } => {
                let span = self.map.value_at(self.at).unwrap_or_else(|| self.ahead());
                self.refuse(format!(
                    "expected a whole number{}, found {}",
                    self.for_field(span.start),
                    self.map.words(&span)
                ))
                .with_label(span, "here")
                .with_help("give a whole number, 0 or more, without sign, point or exponent")
            }
            E::ExpectedFloat => wrong_type("a number", "write it without quotes and unit"),
            E::ExpectedBoolean => wrong_type("true or false", "write `true` or `false`"),
            E::ExpectedArray => wrong_type("a list", "put its entries in square brackets: [a, b]"),
            E::ExpectedMap => wrong_type("a map", "put its entries in braces: {\"a\": 1}"),
            E::ExpectedStructLike => wrong_type("parentheses", "write (field: value, …)"),
            E::ExpectedNamedStructLike(name) => wrong_type(
                &format!("`{name}`"),
                &format!("write `{name}(field: value, …)` or just `(field: value, …)`"),
            ),
            E::ExpectedIdentifier if self.map.unclosed.is_empty() && self.map.stray.is_empty() => {
                wrong_type(
                    "a field's name",
                    "write `field: value`; names stand without quotes",
                )
            }
            _ => self.syntax(code),
        }
    }

    /// What stands at the cursor, in plain words.
    fn seen(&self) -> String {
        let rest = self.text.get(self.at..).unwrap_or("");
        match rest.chars().next() {
            None => "the end of the file".to_owned(),
            Some('"') => format!("the text {}", self.map_words_short()),
            Some(c) if c.is_ascii_digit() || matches!(c, '-' | '+' | '.') => {
                let end = rest
                    .find(|c: char| !(c.is_alphanumeric() || matches!(c, '-' | '+' | '.' | '_')))
                    .unwrap_or(rest.len());
                format!("the number {}", &rest[..end])
            }
            Some('(') => "parentheses".to_owned(),
            Some('[') => "a list".to_owned(),
            Some('{') => "a map".to_owned(),
            Some(_) => format!("`{}`", self.map_words_short()),
        }
    }

    fn map_words_short(&self) -> &str {
        self.text.get(self.ahead()).unwrap_or("")
    }

    fn syntax(&self, code: &ron::Error) -> DataError {
        use ron::Error as E;
        let stands = |message: &str| {
            DataError::new(Problem::Syntax, message).with_label(self.ahead(), "here")
        };
        if let Some(error) = self.brackets(code) {
            return error;
        }
        match code {
            E::ExpectedComma
            | E::ExpectedStructLikeEnd
            | E::ExpectedOptionEnd
            | E::ExpectedArrayEnd
            | E::ExpectedMapEnd => {
                let before = self.text.get(..self.at).unwrap_or("").trim_end().len();
                DataError::new(
                    Problem::Syntax,
                    format!("a comma is missing before {}", self.seen()),
                )
                .with_label(before..before, "a comma belongs here")
                .with_help("part entries by commas")
            }
            E::ExpectedMapColon => stands(&format!("a colon is missing before {}", self.seen()))
                .with_help("write `field: value`"),
            E::ExpectedStringEnd => {
                stands("a text is opened but not closed").with_help("close it with a double quote")
            }
            E::UnclosedBlockComment => {
                stands("a comment is opened with /* but not closed").with_help("close it with */")
            }
            E::TrailingCharacters => {
                let end = self.map.root.as_ref().map_or(0, |root| root.span.end);
                self.closed_too_early(end).unwrap_or_else(|| {
                    stands("the file goes on behind its end").with_help(
                        "a file holds one thing: remove what follows the last parenthesis",
                    )
                })
            }
            E::Eof => stands("the file ends too early"),
            E::InvalidEscape(why) => stands(&format!("a backslash in a text is misused: {why}"))
                .with_help("write two backslashes for one, or r\"raw text\""),
            E::ExceededRecursionLimit => stands("parentheses are nested too deeply")
                .with_help("no file of ours is nested more than 20 deep: is it one of ours?"),
            E::UnexpectedChar(c) => stands(&format!("unexpected `{c}`")),
            other => stands(&other.to_string()),
        }
    }

    /// Brackets that do not match, where they explain why ron stopped.
    fn brackets(&self, code: &ron::Error) -> Option<DataError> {
        use ron::Error as E;
        let about_brackets = matches!(
            code,
            E::ExpectedComma
                | E::ExpectedStructLikeEnd
                | E::ExpectedOptionEnd
                | E::ExpectedArrayEnd
                | E::ExpectedMapEnd
                | E::ExpectedMapColon
                | E::ExpectedIdentifier
                | E::ExpectedStringEnd
                | E::TrailingCharacters
                | E::Eof
        );
        if !about_brackets {
            return None;
        }
        if let Some(span) = self.map.broken_text(self.at) {
            return Some(
                DataError::new(Problem::Syntax, "a text is not closed on its line")
                    .with_label(head(self.text, &span), "opened here")
                    .with_help("close it with a double quote"),
            );
        }
        if let Some(&open) = self.map.unclosed.first() {
            let c = self.text.get(open..)?.chars().next()?;
            let start = self.text[..open].rfind('\n').map_or(0, |i| i + 1);
            let indent = self.text[start..open].len() - self.text[start..open].trim_start().len();
            let label = if self.text[start + indent..open]
                .chars()
                .all(|c| c.is_alphanumeric() || c == '_' || c == ':' || c == ' ')
            {
                start + indent..open + 1
            } else {
                open..open + 1
            };
            let close = closing(c);
            return Some(
                DataError::new(Problem::Syntax, format!("`{c}` is opened but not closed"))
                    .with_label(label, "opened here")
                    .with_label(self.ahead(), format!("`{close}` expected before this"))
                    .with_help(format!("add `{close}`")),
            );
        }
        let &stray = self.map.stray.first()?;
        let c = self.text.get(stray..)?.chars().next()?;
        Some(
            DataError::new(Problem::Syntax, format!("`{c}` closes nothing"))
                .with_label(stray..stray + 1, "no bracket is open here")
                .with_help(format!("remove it, or open one with `{}`", opening(c))),
        )
    }
}

fn closing(open: char) -> char {
    match open {
        '(' => ')',
        '[' => ']',
        _ => '}',
    }
}

fn opening(close: char) -> char {
    match close {
        ')' => '(',
        ']' => '[',
        _ => '{',
    }
}

/// serde's words for what it wanted, as a reader of the file would say them.
fn plain_expected(expected: &str) -> String {
    if let Some(name) = expected
        .strip_prefix("struct variant ")
        .or_else(|| expected.strip_prefix("struct "))
    {
        return format!("`{}` with fields in parentheses", short(name));
    }
    if let Some(name) = expected
        .strip_prefix("tuple variant ")
        .or_else(|| expected.strip_prefix("tuple struct "))
    {
        return format!("`{}`", short(name));
    }
    match expected {
        "a string" => "a text in double quotes".into(),
        "a boolean" => "true or false".into(),
        other if other.starts_with("a angle") => format!("an{}", &other[1..]),
        "a sequence" => "a list in square brackets".into(),
        "f64" | "f32" => "a number".into(),
        "u8" | "u16" | "u32" | "u64" | "usize" | "i32" | "i64" => "a whole number".into(),
        "a tuple of size 2" => "2 values in parentheses".into(),
        "a tuple of size 3" => "3 values in parentheses".into(),
        "a tuple of size 4" => "4 values in parentheses".into(),
        other => other.into(),
    }
}

/// The last part of a path such as `Where::Past with 2 elements`.
fn short(name: &str) -> String {
    name.replace("::", " › ").replace("elements", "values")
}

fn plain_found(found: &str) -> String {
    for (theirs, ours) in [
        ("the string ", "the text "),
        ("the floating point number ", "the number "),
        ("the unsigned integer ", "the number "),
        ("the signed integer ", "the number "),
        ("the boolean ", ""),
        ("a sequence", "a list"),
        ("a unit value", "nothing"),
        ("a map", "fields in parentheses"),
    ] {
        if let Some(rest) = found.strip_prefix(theirs) {
            return format!("{ours}{rest}");
        }
    }
    found.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_offsets_count_characters_not_bytes() {
        let text = "é(\n  ü: x\n)";
        let at = |line, col| offset(text, ron::error::Position { line, col });
        assert_eq!(&text[at(1, 2)..at(1, 3)], "(");
        assert_eq!(&text[at(2, 6)..at(2, 7)], "x");
        assert_eq!(at(9, 9), text.len(), "beyond the end is the end");
    }
}
