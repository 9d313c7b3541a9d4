//! Places along a branch as files write them.

use super::error::{Complaint, listed, nearest};
use crate::units::{Refusal, parse_length_mm};
use serde::de::{Deserialize, Deserializer, Error, Visitor};
use std::fmt;

/// A place along a branch: `"35 mm"` from its start, `"end"`, `"end - 2 cm"`, or a landmark on it
/// with or without a length to add (`"carotid-bifurcation + 15 mm"`).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Along {
    anchor: Anchor,
    offset_mm: f64,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Anchor {
    Start,
    End,
    Landmark(String),
}

/// What a place is worked out on.
pub(super) struct OnBranch<'a> {
    /// Index of the branch.
    pub(super) index: usize,
    /// Its name.
    pub(super) name: &'a str,
    /// Its length, mm.
    pub(super) length_mm: f64,
    /// Landmarks of the vessel: name, branch, arc length in mm.
    pub(super) landmarks: &'a [(String, usize, f64)],
}

impl Along {
    fn parse(text: &str) -> Result<Self, Refusal> {
        let text = text.trim();
        if text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '.' | '+' | '-')) {
            let offset_mm = parse_length_mm(text).map_err(|e| Refusal::from(&e))?;
            return Ok(Self {
                anchor: Anchor::Start,
                offset_mm,
            });
        }
        // names hold hyphens, so a sign counts only between blanks
        let cut = [" + ", " - "].iter().find_map(|sign| text.find(sign));
        let (name, offset_mm) = match cut {
            None => (text, 0.0),
            Some(cut) => {
                let (name, rest) = text.split_at(cut);
                let length = parse_length_mm(&rest[3..]).map_err(|e| Refusal::from(&e))?;
                let sign = if rest.starts_with(" -") { -1.0 } else { 1.0 };
                (name.trim(), sign * length)
            }
        };
        let anchor = match name {
            "" => {
                return Err(Refusal::new(
                    "the place is empty",
                    "write a length, `end` or a landmark",
                ));
            }
            "end" => Anchor::End,
            name => Anchor::Landmark(name.to_owned()),
        };
        Ok(Self { anchor, offset_mm })
    }

    /// The landmark it is counted from, if any.
    pub(super) fn landmark(&self) -> Option<&str> {
        match &self.anchor {
            Anchor::Landmark(name) => Some(name),
            Anchor::Start | Anchor::End => None,
        }
    }

    /// Arc length on the branch, mm.
    pub(super) fn resolve(&self, path: &str, on: &OnBranch<'_>) -> Result<f64, Complaint> {
        let anchor_mm = match &self.anchor {
            Anchor::Start => 0.0,
            Anchor::End => on.length_mm,
            Anchor::Landmark(name) => landmark_mm(name, path, on)?,
        };
        let at_mm = anchor_mm + self.offset_mm;
        // room for the rounding of sums of run lengths
        let slack_mm = 1e-9 * on.length_mm;
        if (-slack_mm..=on.length_mm + slack_mm).contains(&at_mm) {
            return Ok(at_mm.clamp(0.0, on.length_mm));
        }
        // as many decimals as tell both apart
        let decimals = (1..6)
            .find(|&d| format!("{at_mm:.d$}") != format!("{:.d$}", on.length_mm))
            .unwrap_or(6);
        Err(Complaint::new(
            path,
            format!(
                "the place lies {at_mm:.decimals$} mm along `{}`, which goes from 0 to {:.decimals$} mm",
                on.name, on.length_mm
            ),
        )
        .help("places are measured from the start of the branch, in the direction of flow; its end is `end`"))
    }
}

fn landmark_mm(name: &str, path: &str, on: &OnBranch<'_>) -> Result<f64, Complaint> {
    let here = || {
        on.landmarks
            .iter()
            .filter(|(_, branch, _)| *branch == on.index)
            .map(|(name, _, _)| name.as_str())
    };
    match on.landmarks.iter().find(|(known, _, _)| known == name) {
        Some((_, branch, at_mm)) if *branch == on.index => Ok(*at_mm),
        Some(_) => Err(Complaint::new(
            path,
            format!("the landmark `{name}` does not lie on `{}`", on.name),
        )
        .help("name a landmark of that branch, or give a length from its start")),
        None => {
            let error = Complaint::new(path, format!("no landmark is named `{name}`"));
            let near = nearest(name, here().chain(["end"]));
            Err(match near {
                Some(near) => error.help(format!("did you mean `{near}`?")),
                None if here().next().is_none() => error.help(format!(
                    "`{}` has no landmarks: give a length from its start, or `end`",
                    on.name
                )),
                None => error.help(format!("`{}` has {}", on.name, listed(here()))),
            })
        }
    }
}

impl<'de> Deserialize<'de> for Along {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        struct Text;
        impl Visitor<'_> for Text {
            type Value = Along;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a place such as \"35 mm\", \"end - 2 cm\" or \"arch-top + 5 mm\"")
            }
            fn visit_str<E: Error>(self, text: &str) -> Result<Along, E> {
                Along::parse(text).map_err(|refusal| E::custom(refusal.in_one_text()))
            }
            fn visit_f64<E: Error>(self, number: f64) -> Result<Along, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_i64<E: Error>(self, number: i64) -> Result<Along, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_u64<E: Error>(self, number: u64) -> Result<Along, E> {
                self.visit_str(&number.to_string())
            }
        }
        source.deserialize_any(Text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Result<f64, String> {
        let landmarks = [
            ("carotid-bifurcation".to_owned(), 1, 80.0),
            ("arch-top".to_owned(), 0, 10.0),
        ];
        let on = OnBranch {
            index: 1,
            name: "carotid",
            length_mm: 200.0,
            landmarks: &landmarks,
        };
        Along::parse(text)
            .map_err(|refusal| refusal.to_string())?
            .resolve("at", &on)
            .map_err(|c| format!("{} ({})", c.message, c.help.unwrap_or_default()))
    }

    #[test]
    fn exact_places() {
        for (text, mm) in [
            ("35 mm", 35.0),
            ("3.5 cm", 35.0),
            ("end", 200.0),
            ("end - 2 cm", 180.0),
            ("carotid-bifurcation", 80.0),
            ("carotid-bifurcation + 15 mm", 95.0),
            (" carotid-bifurcation - 1.5 cm ", 65.0),
        ] {
            let found = at(text).unwrap();
            assert!((found - mm).abs() < 1e-9, "{text}: {found} against {mm}");
        }
    }

    #[test]
    fn exact_refusals_say_how_to_mend() {
        for (text, message) in [
            ("35", "write for example \"35 mm\""),
            ("end + 1 mm", "goes from 0 to 200.0 mm"),
            (
                "200.004 mm",
                "lies 200.004 mm along `carotid`, which goes from 0 to 200.000 mm",
            ),
            ("-1 mm", "goes from 0 to 200.0 mm"),
            ("carotid-bifurkation", "did you mean `carotid-bifurcation`?"),
            ("arch-top", "does not lie on `carotid`"),
            ("", "the place is empty"),
            ("carotid-bifurcation + 5", "has no unit"),
        ] {
            let found = at(text).unwrap_err();
            assert!(found.contains(message), "{text}: {found}");
        }
    }
}
