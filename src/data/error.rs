//! Why a file is refused, in words and with the place in the file.

use super::excerpt::{Excerpt, line_and_column, plainly};
use super::map::RonMap;
use crate::units::Refusal;
use miette::{
    Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, NamedSource, SourceCode,
    SourceSpan,
};
use std::fmt::Display;
use std::ops::Range;
use std::sync::Arc;
use thiserror::Error;

/// What kind of trouble a [`DataError`] is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Problem {
    /// Nothing of that name.
    NotFound,
    /// A directory, a pipe or the like.
    NotAFile,
    /// The system does not let us read it.
    NoPermission,
    /// Larger than any file of ours.
    TooLarge,
    /// Not UTF-8.
    NotText,
    /// No text but white space.
    Empty,
    /// The system failed in another way.
    Unreadable,
    /// A file of another kind than the one asked for.
    OtherKind,
    /// Brackets, commas or quotes are wrong: nothing can be read from it.
    Syntax,
    /// Readable, but a value, a field or a name in it is wrong.
    NotAccepted,
    /// Several of these; see the related ones.
    Several,
}

impl Problem {
    /// A name of it for machines.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::NotFound => "nestline::data::not_found",
            Self::NotAFile => "nestline::data::not_a_file",
            Self::NoPermission => "nestline::data::no_permission",
            Self::TooLarge => "nestline::data::too_large",
            Self::NotText => "nestline::data::not_text",
            Self::Empty => "nestline::data::empty",
            Self::Unreadable => "nestline::data::unreadable",
            Self::OtherKind => "nestline::data::other_kind",
            Self::Syntax => "nestline::data::syntax",
            Self::NotAccepted => "nestline::data::not_accepted",
            Self::Several => "nestline::data::several",
        }
    }
}

/// Why a file cannot be used: what was found, where, and how to mend it.
///
/// [`DataError::render`] gives the text for a terminal; [`Display`] only the first line of it.
#[derive(Debug, Clone, Error)]
#[error("{}", .0.message)]
pub struct DataError(Box<Inner>);

#[derive(Debug, Clone)]
struct Inner {
    problem: Problem,
    message: String,
    help: Option<String>,
    text: Option<NamedSource<Arc<str>>>,
    labels: Vec<LabeledSpan>,
    related: Vec<DataError>,
    /// Whether it is about a field that what holds it does not have.
    no_such_field: bool,
}

/// How [`DataError::render`] draws.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rendering {
    /// Colour by terminal codes; off for pipes, files and tests.
    pub colour: bool,
    /// Columns to wrap at.
    pub columns: usize,
}

impl Default for Rendering {
    /// No colour, 100 columns: as wide as most terminals, and messages seldom need a second line.
    fn default() -> Self {
        Self {
            colour: false,
            columns: 100,
        }
    }
}

impl DataError {
    /// An error without a place in a text.
    pub(super) fn new(problem: Problem, message: impl Display) -> Self {
        Self(Box::new(Inner {
            problem,
            message: plainly(&message.to_string()).into_owned(),
            help: None,
            text: None,
            labels: Vec::new(),
            related: Vec::new(),
            no_such_field: false,
        }))
    }

    /// Adds how to mend it.
    #[must_use]
    pub(super) fn with_help(mut self, help: impl Display) -> Self {
        self.0.help = Some(plainly(&help.to_string()).into_owned());
        self
    }

    /// Marks it as being about a field that what holds it does not have.
    #[must_use]
    pub(super) fn of_no_such_field(mut self) -> Self {
        self.0.no_such_field = true;
        self
    }

    /// Whether it is about a field that what holds it does not have.
    pub(super) fn names_no_field(&self) -> bool {
        self.0.no_such_field
    }

    /// Adds the text that the labels refer to, and the name it is known by.
    #[must_use]
    pub(super) fn in_text(mut self, name: &str, text: &Arc<str>) -> Self {
        self.0.text = Some(NamedSource::new(name, Arc::clone(text)));
        self
    }

    /// Adds a label; the first one is where the eye is led to.
    #[must_use]
    pub(super) fn with_label(mut self, at: Range<usize>, words: impl Display) -> Self {
        let span = SourceSpan::from((at.start, at.len()));
        let words = Some(plainly(&words.to_string()).into_owned());
        self.0.labels.push(if self.0.labels.is_empty() {
            LabeledSpan::new_primary_with_span(words, span)
        } else {
            LabeledSpan::new_with_span(words, span)
        });
        self
    }

    /// One error of several about `name`; a single one stays itself, none is `Ok`. The same one met
    /// twice, as with a file that is named twice, is told once.
    pub(super) fn collect(name: &str, found: Vec<Self>) -> Result<(), Self> {
        let mut errors: Vec<Self> = Vec::new();
        for error in found {
            let parts = match error.parts() {
                [] => std::slice::from_ref(&error),
                parts => parts,
            };
            for part in parts {
                if !errors.iter().any(|known| known.is_about_the_same(part)) {
                    errors.push(part.clone());
                }
            }
        }
        match errors.len() {
            0 => Ok(()),
            1 => Err(errors.swap_remove(0)),
            count => {
                let mut all = Self::new(
                    Problem::Several,
                    format!("{count} things to mend in {name}"),
                );
                all.0.related = errors;
                Err(all)
            }
        }
    }

    fn is_about_the_same(&self, other: &Self) -> bool {
        let name = |e: &Self| e.0.text.as_ref().map(|text| text.name().to_owned());
        self.0.message == other.0.message
            && self.span() == other.span()
            && name(self) == name(other)
    }

    /// What kind of trouble it is.
    #[must_use]
    pub fn problem(&self) -> Problem {
        self.0.problem
    }

    /// The advice, where there is any.
    #[must_use]
    pub fn help_text(&self) -> Option<&str> {
        self.0.help.as_deref()
    }

    /// The errors it is made of; empty unless the problem is [`Problem::Several`].
    #[must_use]
    pub fn parts(&self) -> &[Self] {
        &self.0.related
    }

    /// Bytes of the file that the first label points at.
    #[must_use]
    pub fn span(&self) -> Option<Range<usize>> {
        let label = self.0.labels.first()?;
        Some(label.offset()..label.offset() + label.len())
    }

    /// The file that the first label points into, with line and column there, both counted from 1.
    #[must_use]
    pub fn place(&self) -> Option<(&str, usize, usize)> {
        let text = self.0.text.as_ref()?;
        let (line, column) = line_and_column(text.inner(), self.span()?.start);
        Some((text.name(), line, column))
    }

    /// Points an error about a file as a whole (missing, of another kind) at the value that names
    /// it; one with a place inside that file stays there.
    #[must_use]
    pub(super) fn named_in(mut self, name: &str, text: &Arc<str>, path: &str) -> Self {
        if self.0.problem == Problem::OtherKind {
            self.0.labels.clear();
        } else if self.0.text.is_some() || !self.0.related.is_empty() {
            return self;
        }
        let place = RonMap::of(text).locate(path);
        self.in_text(name, text)
            .with_label(place.label(text), "named here")
    }

    /// The message with the lines of the file it is about, for a terminal or a log.
    #[must_use]
    pub fn render(&self, rendering: Rendering) -> String {
        let theme = if rendering.colour {
            GraphicalTheme::unicode()
        } else {
            GraphicalTheme::unicode_nocolor()
        };
        let handler = GraphicalReportHandler::new_themed(theme)
            .with_width(rendering.columns)
            // names hold hyphens, and whoever copies one copies it whole
            .with_word_separator(textwrap::WordSeparator::AsciiSpace)
            .with_word_splitter(textwrap::WordSplitter::NoHyphenation)
            .with_links(false);
        let mut out = String::new();
        // Writing to a string fails only if the handler does; then the bare words must do.
        let mut one = |error: &dyn Diagnostic| {
            if !out.is_empty() {
                out.push('\n');
            }
            if handler.render_report(&mut out, error).is_err() {
                out.push_str(&error.to_string());
            }
        };
        one(&Part::of(self, true, rendering.columns));
        for error in &self.0.related {
            one(&Part::of(error, false, rendering.columns));
        }
        out
    }
}

/// One error of a rendering, without those it is made of.
#[derive(Debug, Error)]
#[error("{error}")]
struct Part<'a> {
    error: &'a DataError,
    /// Whether its code is shown: once for several.
    code: bool,
    excerpt: Option<Excerpt>,
}

impl<'a> Part<'a> {
    fn of(error: &'a DataError, code: bool, columns: usize) -> Self {
        let text = error.0.text.as_ref();
        Self {
            error,
            code,
            excerpt: text.and_then(|t| Excerpt::of(t.name(), t.inner(), &error.0.labels, columns)),
        }
    }
}

impl Diagnostic for Part<'_> {
    fn code<'b>(&'b self) -> Option<Box<dyn Display + 'b>> {
        self.code.then(|| self.error.code()).flatten()
    }

    fn help<'b>(&'b self) -> Option<Box<dyn Display + 'b>> {
        self.error.help()
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.excerpt.as_ref().map(|e| e as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let excerpt = self.excerpt.as_ref()?;
        Some(Box::new(excerpt.labels.iter().cloned()))
    }
}

impl Diagnostic for DataError {
    fn code<'a>(&'a self) -> Option<Box<dyn Display + 'a>> {
        Some(Box::new(self.0.problem.code()))
    }

    fn help<'a>(&'a self) -> Option<Box<dyn Display + 'a>> {
        let help = self.0.help.as_ref()?;
        Some(Box::new(help))
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        let text = self.0.text.as_ref()?;
        Some(text)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        (!self.0.labels.is_empty())
            .then(|| Box::new(self.0.labels.iter().cloned()) as Box<dyn Iterator<Item = _>>)
    }

    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn Diagnostic> + 'a>> {
        (!self.0.related.is_empty()).then(|| {
            Box::new(self.0.related.iter().map(|e| e as &dyn Diagnostic))
                as Box<dyn Iterator<Item = _>>
        })
    }
}

/// A quarrel with one value of a file, known by its path (`branches[2].start.at`).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Complaint {
    /// Path of the value from the root of the file.
    pub(super) path: String,
    /// What was found.
    pub(super) message: String,
    /// How to mend it.
    pub(super) help: Option<String>,
}

impl Complaint {
    pub(super) fn new(path: impl Display, message: impl Display) -> Self {
        Self {
            path: path.to_string(),
            message: message.to_string(),
            help: None,
        }
    }

    /// What another layer says is wrong, at its place.
    pub(super) fn of(path: impl Display, refusal: Refusal) -> Self {
        Self {
            path: path.to_string(),
            message: refusal.what,
            help: refusal.help,
        }
    }

    pub(super) fn help(mut self, help: impl Display) -> Self {
        self.help = Some(help.to_string());
        self
    }
}

/// Finds each complaint's place in the text; `Ok` if there are none.
pub(super) fn point_out(
    name: &str,
    text: &Arc<str>,
    complaints: Vec<Complaint>,
) -> Result<(), DataError> {
    if complaints.is_empty() {
        return Ok(());
    }
    let map = RonMap::of(text);
    let mut placed: Vec<_> = complaints
        .into_iter()
        .map(|complaint| (map.locate(&complaint.path), complaint))
        .collect();
    // as a reader meets them
    placed.sort_by_key(|(place, _)| place.span.start);
    let errors = placed
        .into_iter()
        .map(|(_, complaint)| point_to(name, text, &map, complaint))
        .collect();
    DataError::collect(name, errors)
}

/// One complaint as an error at its place.
pub(super) fn point_to(
    name: &str,
    text: &Arc<str>,
    map: &RonMap<'_>,
    complaint: Complaint,
) -> DataError {
    let place = map.locate(&complaint.path);
    let words = match (place.exact, step_number(&complaint.path)) {
        (true, None) => "here".to_owned(),
        (true, Some(step)) => format!("here, in step {step}"),
        (false, _) => format!("{} belongs here", place_in_words(&complaint.path)),
    };
    let error = DataError::new(Problem::NotAccepted, rounded(&complaint.message))
        .in_text(name, text)
        .with_label(place.label(text), words);
    match complaint.help {
        Some(help) => error.with_help(help),
        None => error,
    }
}

/// The number by which a report calls the step a path lies in: it counts from 1.
pub(super) fn step_number(path: &str) -> Option<usize> {
    let (index, _) = path.strip_prefix("script[")?.split_once(']')?;
    index.parse().ok().map(|index: usize| index + 1)
}

/// A path of a file as a reader knows it: `step 19 (script[18].act)`.
pub(super) fn place_in_words(path: &str) -> String {
    match step_number(path) {
        Some(step) => format!("step {step} (`{path}`)"),
        None => format!("`{path}`"),
    }
}

/// A message with its long decimals rounded: 5 Fr is 1.6666666666666665 mm only to a machine.
fn rounded(message: &str) -> String {
    // tenths of a micrometre: finer than any device is made or any vessel is measured; numbers
    // below 0.1 may be of another kind and stay as they are
    const DECIMALS: usize = 4;
    let mut out = String::with_capacity(message.len());
    let mut rest = message;
    while let Some(start) = rest.find(|c: char| c.is_ascii_digit()) {
        let (before, number) = rest.split_at(start);
        let end = number
            .find(|c: char| !(c.is_ascii_digit() || c == '.'))
            .unwrap_or(number.len());
        let (number, after) = number.split_at(end);
        out.push_str(before);
        match (number.split_once('.'), number.parse::<f64>()) {
            (Some((_, decimals)), Ok(value)) if decimals.len() > DECIMALS && value >= 0.1 => {
                let text = format!("{value:.DECIMALS$}");
                out.push_str(text.trim_end_matches('0').trim_end_matches('.'));
            }
            _ => out.push_str(number),
        }
        rest = after;
    }
    out.push_str(rest);
    out
}

/// The nearest of `known` to a misspelt name, if any is near enough.
pub(super) fn nearest<'a>(
    found: &str,
    known: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    // 0.6 takes two slips in five letters and keeps unrelated short names apart; a shared stem
    // with another unit (`radius_cm` for `radius_mm`) is far above it.
    const LEAST_LIKENESS: f64 = 0.6;
    let folded = found.to_lowercase();
    known
        .into_iter()
        .map(|name| {
            let likeness = strsim::normalized_damerau_levenshtein(&folded, &name.to_lowercase());
            (likeness, name)
        })
        .filter(|&(likeness, _)| likeness >= LEAST_LIKENESS)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

/// What there is to choose from, as advice: the likest if one is near, else all or none.
pub(super) fn choices<'a>(found: &str, names: impl Iterator<Item = &'a str>) -> String {
    let mut once: Vec<&str> = Vec::new();
    for name in names {
        if !once.contains(&name) {
            once.push(name);
        }
    }
    match (nearest(found, once.iter().copied()), once.as_slice()) {
        (_, []) => "there are none to choose from".to_owned(),
        (Some(near), _) => format!("did you mean `{near}`?"),
        (None, [only]) => format!("there is only `{only}`"),
        (None, _) => format!("there are {}", listed(once)),
    }
}

/// Names in back-ticks with commas, for advice.
pub(super) fn listed<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
    let names: Vec<String> = names.into_iter().map(|n| format!("`{n}`")).collect();
    names.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_nearest_takes_slips_and_leaves_strangers() {
        let known = ["length", "turn_deg", "roll_deg", "lumen", "lumen_end"];
        for (found, wanted) in [
            ("lenght", Some("length")),
            ("Lumen", Some("lumen")),
            ("turn", None),
            ("turn_rad", Some("turn_deg")),
            ("colour", None),
        ] {
            assert_eq!(nearest(found, known), wanted, "{found}");
        }
    }

    #[test]
    fn exact_long_decimals_are_rounded_and_others_kept() {
        for (message, shown) in [
            ("is 1.6666666666666665 mm", "is 1.6667 mm"),
            ("0.30000000000000004", "0.3"),
            ("9.99999999 of 10", "10 of 10"),
            (
                "runs[12].length 2.032 to 80. End",
                "runs[12].length 2.032 to 80. End",
            ),
            ("version 1.2.3456789", "version 1.2.3456789"),
            ("0.000012345", "0.000012345"),
            ("nothing", "nothing"),
        ] {
            assert_eq!(rounded(message), shown, "{message}");
        }
    }

    #[test]
    fn exact_several_errors_are_counted_and_one_stays_itself() {
        let one = || DataError::new(Problem::Empty, "nothing");
        let other = || DataError::new(Problem::Empty, "nothing else");
        assert!(DataError::collect("f", vec![]).is_ok(), "none is no error");
        let single = DataError::collect("f", vec![one()]).unwrap_err();
        assert_eq!(single.problem(), Problem::Empty, "{single}");
        let twice = DataError::collect("f", vec![one(), one()]).unwrap_err();
        assert_eq!(twice.to_string(), "nothing", "the same is told once");
        let both = DataError::collect("f", vec![one(), other()]).unwrap_err();
        assert_eq!(both.to_string(), "2 things to mend in f");
        assert_eq!(both.parts().len(), 2, "{both}");
        let text = both.render(Rendering::default());
        assert_eq!(text.matches("nothing").count(), 2, "{text}");
        assert!(
            !text.contains('\u{1b}'),
            "no colour unless asked for: {text}"
        );
        let colour = Rendering {
            colour: true,
            ..Rendering::default()
        };
        let text = both.render(colour);
        assert!(text.contains('\u{1b}'), "colour where asked for: {text}");
    }
}
