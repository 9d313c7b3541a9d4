//! Words and lengths: every length can be shown in another unit by the reader.

pub(super) use crate::units::fixed;
use maud::{Markup, html};

/// What kind of length it is: ways are read in mm, cm or in, bores and gaps in mm, in or French.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A length along something.
    Way,
    /// A diameter, a gap, a clearance.
    Bore,
}

impl Kind {
    const fn mark(self) -> &'static str {
        match self {
            Self::Way => "l",
            Self::Bore => "d",
        }
    }
}

/// A length with its unit.
pub(super) fn length(value_mm: f64, kind: Kind, digits: usize) -> Markup {
    html! {
        span.n data-mm=(format!("{value_mm:.4}")) data-kind=(kind.mark()) { (fixed(value_mm, digits)) " mm" }
    }
}

/// A length in a table whose header carries the unit.
pub(super) fn bare(value_mm: f64, kind: Kind, digits: usize) -> Markup {
    html! {
        span data-mm=(format!("{value_mm:.4}")) data-bare=(kind.mark()) { (fixed(value_mm, digits)) }
    }
}

/// The unit of such a column.
pub(super) fn unit(kind: Kind) -> Markup {
    html! { span data-unit=(kind.mark()) { "mm" } }
}

/// Seconds as minutes.
pub(super) fn minutes(s: f64) -> String {
    format!("{:.1}", s / 60.0)
}

/// A share as percent, with a digit below ten.
pub(super) fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    if percent > 0.0 && percent < 10.0 {
        format!("{percent:.1} %")
    } else {
        format!("{percent:.0} %")
    }
}

/// A name of a place as a person writes it.
pub(super) fn place(name: &str) -> String {
    let word = |word: &str| match word {
        "m1" | "m2" | "m3" | "ica" | "mca" | "aca" => word.to_uppercase(),
        _ => match word.strip_suffix("mm") {
            // `m2-inferior-10mm` lies 10 mm into that branch
            Some(far) if far.parse::<u32>().is_ok() => format!("at {far} mm"),
            _ => word.to_owned(),
        },
    };
    let words: Vec<String> = name.replace('-', " ").split(' ').map(word).collect();
    words.join(" ")
}

/// A place in words whose lengths can be switched.
pub(super) fn at(name: &str) -> Markup {
    prose(&place(name))
}

/// A sentence from a finding: a capital at its start, a full stop at its end.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let mut out: String = letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default();
    if !out.ends_with(['.', '!', '?']) {
        out.push('.');
    }
    out
}

/// Words in which every length in mm can be switched to another unit. Whole numbers are taken for
/// ways, numbers with a fraction for bores and gaps.
pub(super) fn prose(text: &str) -> Markup {
    let mut parts: Vec<(&str, Option<(f64, usize)>)> = Vec::new();
    let mut from = 0;
    let mut search = 0;
    while let Some(found) = text[search..].find(" mm") {
        let end = search + found;
        let after = end + " mm".len();
        search = after;
        // `N/mm`, `mm2` and the like are no lengths
        if text[after..].starts_with(|c: char| c.is_alphanumeric() || c == '/') {
            continue;
        }
        let start = text[..end]
            .char_indices()
            .rev()
            .take_while(|(_, c)| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'))
            .last()
            .map_or(end, |(i, _)| i);
        let start = start.max(from);
        // sizes in names, spans of two values and places of three stay as they are written
        let span = text[..start]
            .strip_suffix(" to ")
            .or_else(|| text[..start].strip_suffix(", "))
            .is_some_and(|before| before.ends_with(|c: char| c.is_ascii_digit()));
        if span || text[..start].ends_with(" x ") {
            continue;
        }
        let number = &text[start..end];
        let Ok(value_mm) = number.parse::<f64>() else {
            continue;
        };
        let digits = number.split_once('.').map_or(0, |(_, d)| d.len());
        parts.push((&text[from..start], None));
        parts.push((&text[start..after], Some((value_mm, digits))));
        from = after;
    }
    parts.push((&text[from..], None));
    html! {
        @for (words, value) in parts {
            @if let Some((value_mm, digits)) = value {
                @let kind = if digits == 0 { Kind::Way } else { Kind::Bore };
                span.n data-mm=(value_mm) data-kind=(kind.mark()) { (words) }
            } @else {
                (words)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{place, prose, sentence};

    #[test]
    fn look_lengths_in_words_are_found_and_nothing_else_is() {
        let html =
            prose("off by -0.20 mm, 913 mm out, 1.8 N/mm, 2 mm2, 4 x 20 mm, 2.6 to 3.0 mm <b>, up to 7 mm past, at 28, -5, 0 mm")
                .into_string();
        assert!(
            html.contains(r#"data-mm="-0.2" data-kind="d">-0.20 mm</span>"#),
            "{html}"
        );
        assert!(
            html.contains(r#"data-mm="913" data-kind="l">913 mm</span>"#),
            "{html}"
        );
        assert!(
            html.contains(r#"data-mm="7" data-kind="l">7 mm</span>"#),
            "{html}"
        );
        assert!(html.matches("data-mm").count() == 3, "{html}");
        assert!(html.contains("&lt;b&gt;"), "words stay words: {html}");
    }

    #[test]
    fn look_places_are_written_as_persons_write_them() {
        assert_eq!(
            place("1 mm short of m2-inferior-10mm"),
            "1 mm short of M2 inferior at 10 mm"
        );
        assert_eq!(
            place("7 mm past carotid-bifurcation"),
            "7 mm past carotid bifurcation"
        );
    }

    #[test]
    fn look_findings_become_sentences() {
        assert!(
            sentence("the stent is short") == "The stent is short.",
            "capital and full stop"
        );
    }
}
