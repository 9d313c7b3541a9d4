//! Trade units: millimetres inside, French, inches, centimetres at the door.
//!
//! Every length inside nestline is in millimetres and every angle in radians. Files write
//! lengths as text with a unit (`"8 Fr"`, `"0.088 in"`, `"132 cm"`, `"2.1 mm"`); a bare number
//! is refused, never guessed.
//!
//! The functions of [`text`] are meant for `#[serde(deserialize_with = "...")]`, so that a file's
//! reader can point at the very number that is wrong.

mod allowed;

pub use allowed::{Allowed, Limit};
use thiserror::Error;

/// Millimetres in one inch (exact, international yard and pound agreement of 1959).
pub const MM_PER_INCH: f64 = 25.4;
/// Millimetres in one French (exact by definition of the Charrière scale).
pub const MM_PER_FRENCH: f64 = 1.0 / 3.0;
/// Newtons in one gram-force (standard gravity, exact by definition).
pub const N_PER_GRAM_FORCE: f64 = 9.806_65e-3;

/// A length in French (a third of a millimetre each).
#[must_use]
pub const fn mm_to_french(length_mm: f64) -> f64 {
    length_mm / MM_PER_FRENCH
}

/// A length in inches.
#[must_use]
pub const fn mm_to_inch(length_mm: f64) -> f64 {
    length_mm / MM_PER_INCH
}

/// A unit of length that a file may use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthUnit {
    /// millimetre
    Millimetre,
    /// centimetre
    Centimetre,
    /// inch
    Inch,
    /// French (Charrière), a third of a millimetre
    French,
}

impl LengthUnit {
    /// Millimetres in one of this unit.
    #[must_use]
    pub const fn mm(self) -> f64 {
        match self {
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Inch => MM_PER_INCH,
            Self::French => MM_PER_FRENCH,
        }
    }
}

/// What is wrong with a value, and how to mend it.
///
/// A deserializer's error carries one text. [`Refusal::in_one_text`] puts both into it and
/// [`Refusal::from_text`] takes them out again, so that nobody has to guess from the wording where
/// the advice begins.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{what}{}", help.as_ref().map(|help| format!(": {help}")).unwrap_or_default())]
pub struct Refusal {
    /// What was found, and why it will not do.
    pub what: String,
    /// How to mend it.
    pub help: Option<String>,
}

impl Refusal {
    /// Parts both in one text: a control character that no message holds.
    const PARTED: char = '\u{1f}';

    /// What is wrong, with advice.
    pub fn new(what: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            what: what.into(),
            help: Some(help.into()),
        }
    }

    /// Both in one text, for a deserializer's error.
    #[must_use]
    pub fn in_one_text(&self) -> String {
        match &self.help {
            Some(help) => format!("{}{}{help}", self.what, Self::PARTED),
            None => self.what.clone(),
        }
    }

    /// Both from one text; all of it is what is wrong where no advice is parted off.
    #[must_use]
    pub fn from_text(text: &str) -> Self {
        match text.split_once(Self::PARTED) {
            Some((what, help)) => Self::new(what, help),
            None => Self {
                what: text.to_owned(),
                help: None,
            },
        }
    }
}

/// Why a text is not a length.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum UnitError {
    /// No unit behind the number.
    #[error("the length `{found}` has no unit: {}", with_units(found))]
    MissingUnit {
        /// The text as found.
        found: String,
    },
    /// A unit nobody in the trade uses here.
    #[error("the unit `{unit}` of `{found}` is not known: {}", KNOWN_UNITS)]
    UnknownUnit {
        /// The text as found.
        found: String,
        /// The part that should have been a unit.
        unit: String,
    },
    /// A comma where the decimal point belongs.
    #[error("the length `{found}` has a decimal comma: {}", with_point(found))]
    DecimalComma {
        /// The text as found.
        found: String,
    },
    /// Not a number.
    #[error("`{found}` is not a length: {}", NUMBER_AND_UNIT)]
    NotANumber {
        /// The text as found.
        found: String,
    },
}

const KNOWN_UNITS: &str = "use mm, cm, in or Fr";
const NUMBER_AND_UNIT: &str = "write a number and a unit, for example \"2.1 mm\"";

fn with_units(found: &str) -> String {
    format!("write for example \"{found} mm\", \"{found} cm\", \"{found} in\" or \"{found} Fr\"")
}

fn with_point(found: &str) -> String {
    format!("write \"{}\" with a point", found.replacen(',', ".", 1))
}

impl From<&UnitError> for Refusal {
    fn from(error: &UnitError) -> Self {
        match error {
            UnitError::MissingUnit { found } => Self::new(
                format!("the length `{found}` has no unit"),
                with_units(found),
            ),
            UnitError::UnknownUnit { found, unit } => Self::new(
                format!("the unit `{unit}` of `{found}` is not known"),
                KNOWN_UNITS,
            ),
            UnitError::DecimalComma { found } => Self::new(
                format!("the length `{found}` has a decimal comma"),
                with_point(found),
            ),
            UnitError::NotANumber { found } => {
                Self::new(format!("`{found}` is not a length"), NUMBER_AND_UNIT)
            }
        }
    }
}

/// Parts a text where its number ends; an exponent belongs to the number.
fn number_and_unit(text: &str) -> (&str, &str) {
    let signed = |c: char| c.is_ascii_digit() || matches!(c, '-' | '+');
    let mut characters = text.char_indices().peekable();
    while let Some((at, c)) = characters.next() {
        let next = characters.peek().map(|(_, next)| *next);
        let exponent = at > 0 && matches!(c, 'e' | 'E') && next.is_some_and(signed);
        if !(signed(c) || c == '.' || exponent) {
            return text.split_at(at);
        }
    }
    (text, "")
}

/// Reads a length such as `"8 Fr"`, `"0.088 in"`, `"132 cm"` or `"2.1mm"`; returns millimetres.
///
/// # Errors
/// [`UnitError`] if the number or the unit is missing or unknown.
///
/// # Example
/// ```
/// use nestline_physics::units::parse_length_mm;
/// assert!((parse_length_mm("0.088 in")? - 2.2352).abs() < 1e-12);
/// assert!(parse_length_mm("0.088").is_err());
/// # Ok::<(), nestline_physics::units::UnitError>(())
/// ```
pub fn parse_length_mm(text: &str) -> Result<f64, UnitError> {
    let text = text.trim();
    let found = || text.to_owned();
    let (number, unit) = number_and_unit(text);
    let decimals = unit.strip_prefix(',').unwrap_or_default();
    if !number.contains('.') && decimals.starts_with(|c: char| c.is_ascii_digit()) {
        return Err(UnitError::DecimalComma { found: found() });
    }
    let number: f64 = number
        .parse()
        .map_err(|_| UnitError::NotANumber { found: found() })?;
    let unit = match unit.trim() {
        "" => return Err(UnitError::MissingUnit { found: found() }),
        "mm" => LengthUnit::Millimetre,
        "cm" => LengthUnit::Centimetre,
        "in" | "\"" => LengthUnit::Inch,
        "Fr" | "F" | "French" => LengthUnit::French,
        other => {
            return Err(UnitError::UnknownUnit {
                found: found(),
                unit: other.to_owned(),
            });
        }
    };
    Ok(number * unit.mm())
}

/// Deserializers for lengths, diameters, angles and percentages with their plausible ranges.
///
/// Ranges are wide enough for any human vessel and any device of the trade and narrow enough to
/// catch a wrong unit (an inch read as a millimetre is off by 25, a French by 3).
pub mod text {
    use super::{
        LengthUnit, NUMBER_AND_UNIT, Refusal, UnitError, number_and_unit, parse_length_mm,
    };
    use serde::de::{Deserializer, Error, Unexpected, Visitor};
    use std::fmt;

    struct Length {
        what: &'static str,
        least_mm: f64,
        most_mm: f64,
    }

    impl Length {
        fn check<E: Error>(&self, text: &str) -> Result<f64, E> {
            let refuse = |refusal: &Refusal| E::custom(refusal.in_one_text());
            let mm = parse_length_mm(text).map_err(|error| refuse(&self.unread(&error)))?;
            if mm >= self.least_mm && mm <= self.most_mm {
                return Ok(mm);
            }
            let (least, most) = (self.least_mm, self.most_mm);
            Err(refuse(&Refusal::new(
                format!(
                    "the {} \"{text}\" is outside {least} to {most} mm",
                    self.what
                ),
                other_unit(text, least, most),
            )))
        }
    }

    impl Length {
        /// What to say of a text that is no length: units and numbers that would be accepted.
        fn unread(&self, error: &UnitError) -> Refusal {
            let Refusal { what, help } = Refusal::from(error);
            let (least, most) = (self.least_mm, self.most_mm);
            let help = match error {
                UnitError::MissingUnit { found } => {
                    let units = units_within(found, least, most);
                    let written = units.iter().map(|(name, _)| format!("\"{found} {name}\""));
                    let written: Vec<String> = written.collect();
                    match written.split_last() {
                        None => Some(range(least, most)),
                        Some((only, [])) => Some(format!("write {only}")),
                        Some((last, others)) => {
                            Some(format!("write for example {} or {last}", others.join(", ")))
                        }
                    }
                }
                UnitError::NotANumber { .. } => Some(format!(
                    "{NUMBER_AND_UNIT}; {least} to {most} mm are accepted"
                )),
                _ => help,
            };
            Refusal { what, help }
        }
    }

    fn range(least_mm: f64, most_mm: f64) -> String {
        format!("give {least_mm} to {most_mm} mm, in mm, cm, in or Fr, in quotes")
    }

    /// Units with which a number lies within a range, and the length it then is, mm.
    fn units_within(number: &str, least_mm: f64, most_mm: f64) -> Vec<(&'static str, f64)> {
        let Ok(number) = number.parse::<f64>() else {
            return Vec::new();
        };
        [
            (LengthUnit::Millimetre, "mm"),
            (LengthUnit::Centimetre, "cm"),
            (LengthUnit::Inch, "in"),
            (LengthUnit::French, "Fr"),
        ]
        .into_iter()
        .map(|(unit, name)| (name, number * unit.mm()))
        .filter(|(_, mm)| (least_mm..=most_mm).contains(mm))
        .collect()
    }

    /// Advice for a length out of range: the units that would bring it in, else the range.
    pub(super) fn other_unit(text: &str, least_mm: f64, most_mm: f64) -> String {
        let (number, _) = number_and_unit(text.trim());
        let mut fitting = units_within(number, least_mm, most_mm);
        // the trade's units first: an inch or a French is what was meant most often
        fitting.sort_by_key(|(name, _)| ["in", "Fr", "cm", "mm"].iter().position(|n| n == name));
        if fitting.is_empty() {
            return range(least_mm, most_mm);
        }
        let written = fitting
            .iter()
            .map(|(name, mm)| format!("\"{number} {name}\" ({mm:.3} mm)"));
        format!(
            "is the unit right? {} would be accepted",
            written.collect::<Vec<_>>().join(" or ")
        )
    }

    impl Visitor<'_> for Length {
        type Value = f64;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "a {} with its unit, such as \"2.1 mm\"", self.what)
        }
        fn visit_str<E: Error>(self, text: &str) -> Result<f64, E> {
            self.check(text)
        }
        fn visit_f64<E: Error>(self, number: f64) -> Result<f64, E> {
            self.check(&number.to_string())
        }
        fn visit_i64<E: Error>(self, number: i64) -> Result<f64, E> {
            self.check(&number.to_string())
        }
        fn visit_u64<E: Error>(self, number: u64) -> Result<f64, E> {
            self.check(&number.to_string())
        }
    }

    struct Number {
        what: &'static str,
        least: f64,
        most: f64,
    }

    impl Number {
        fn check<E: Error>(&self, number: f64) -> Result<f64, E> {
            if number >= self.least && number <= self.most {
                Ok(number)
            } else {
                let (least, most) = (self.least, self.most);
                let refusal = Refusal::new(
                    format!("the {} {number} is outside {least} to {most}", self.what),
                    format!("give {least} to {most}"),
                );
                Err(E::custom(refusal.in_one_text()))
            }
        }
    }

    impl Visitor<'_> for Number {
        type Value = f64;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "a {} from {} to {}", self.what, self.least, self.most)
        }
        fn visit_f64<E: Error>(self, number: f64) -> Result<f64, E> {
            self.check(number)
        }
        #[expect(clippy::cast_precision_loss, reason = "range checked right after")]
        fn visit_i64<E: Error>(self, number: i64) -> Result<f64, E> {
            self.check(number as f64)
        }
        #[expect(clippy::cast_precision_loss, reason = "range checked right after")]
        fn visit_u64<E: Error>(self, number: u64) -> Result<f64, E> {
            self.check(number as f64)
        }
        fn visit_str<E: Error>(self, text: &str) -> Result<f64, E> {
            Err(E::invalid_type(Unexpected::Str(text), &self))
        }
    }

    macro_rules! readers {
        ($($(#[$doc:meta])* $name:ident, $optional:ident => $visitor:expr;)*) => {$(
            $(#[$doc])*
            ///
            /// # Errors
            /// The deserializer's own, where the value has no unit, is no number or out of range.
            pub fn $name<'de, D: Deserializer<'de>>(source: D) -> Result<f64, D::Error> {
                source.deserialize_any($visitor)
            }
            /// The same for a value that may be left out.
            ///
            /// # Errors
            /// As for the value itself.
            pub fn $optional<'de, D: Deserializer<'de>>(source: D) -> Result<Option<f64>, D::Error> {
                struct Maybe;
                impl<'de> Visitor<'de> for Maybe {
                    type Value = Option<f64>;
                    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                        $visitor.expecting(f)
                    }
                    fn visit_none<E: Error>(self) -> Result<Self::Value, E> {
                        Ok(None)
                    }
                    fn visit_some<D: Deserializer<'de>>(self, source: D) -> Result<Self::Value, D::Error> {
                        $name(source).map(Some)
                    }
                }
                source.deserialize_option(Maybe)
            }
        )*};
    }

    macro_rules! counts {
        ($($(#[$doc:meta])* $name:ident: $kind:ty => $what:literal, $least:literal to $most:literal;)*) => {$(
            $(#[$doc])*
            ///
            /// # Errors
            /// The deserializer's own, where the value is no whole number or out of range.
            pub fn $name<'de, D: Deserializer<'de>>(source: D) -> Result<$kind, D::Error> {
                struct Count;
                impl Count {
                    fn refuse<T, E: Error>(found: impl fmt::Display) -> Result<T, E> {
                        let refusal = Refusal::new(
                            format!(concat!("the ", $what, " {} is no whole number from ", $least, " to ", $most), found),
                            concat!("give a whole number from ", $least, " to ", $most),
                        );
                        Err(E::custom(refusal.in_one_text()))
                    }
                }
                impl Visitor<'_> for Count {
                    type Value = $kind;
                    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                        f.write_str(concat!("a ", $what, ", a whole number from ", $least, " to ", $most))
                    }
                    fn visit_u64<E: Error>(self, number: u64) -> Result<$kind, E> {
                        match <$kind>::try_from(number) {
                            Ok(count) if ($least..=$most).contains(&count) => Ok(count),
                            _ => Self::refuse(number),
                        }
                    }
                    fn visit_i64<E: Error>(self, number: i64) -> Result<$kind, E> {
                        match u64::try_from(number) {
                            Ok(number) => self.visit_u64(number),
                            Err(_) => Self::refuse(number),
                        }
                    }
                    fn visit_f64<E: Error>(self, number: f64) -> Result<$kind, E> {
                        Self::refuse(number)
                    }
                }
                source.deserialize_any(Count)
            }
        )*};
    }

    counts! {
        /// How many of something a team has, 0 to 20: more stand at no table.
        team: usize => "number of hands, assistants or pumps", 0 to 20;
        /// How many samples are drawn, 1 to 1,000,000: their share is then known to a thousandth.
        samples: u32 => "number of samples", 1 to 1_000_000;
        /// On how many threads something is worked out, 1 to 1,024.
        threads: u32 => "number of threads", 1 to 1024;
    }

    readers! {
        /// A length along a vessel or a device, 0 to 4 m; returns mm.
        length_mm, optional_length_mm => Length { what: "length", least_mm: 0.0, most_mm: 4000.0 };
        /// A length that may point either way, -4 to 4 m; returns mm.
        signed_length_mm, optional_signed_length_mm => Length { what: "length", least_mm: -4000.0, most_mm: 4000.0 };
        /// The diameter of a device or of its lumen, 0.1 to 12 mm; returns mm.
        device_diameter_mm, optional_device_diameter_mm => Length { what: "diameter of a device", least_mm: 0.1, most_mm: 12.0 };
        /// The lumen of a vessel, 0.2 to 60 mm; returns mm.
        lumen_mm, optional_lumen_mm => Length { what: "vessel lumen", least_mm: 0.2, most_mm: 60.0 };
        /// A turning or take-off angle, 0 to 400 degrees; returns degrees.
        angle_deg, optional_angle_deg => Number { what: "angle in degrees", least: 0.0, most: 400.0 };
        /// A roll or signed angle, -360 to 360 degrees; returns degrees.
        signed_angle_deg, optional_signed_angle_deg => Number { what: "angle in degrees", least: -360.0, most: 360.0 };
        /// A stenosis by NASCET, -50 (wider than the distal artery) to 100 percent.
        stenosis_percent, optional_stenosis_percent => Number { what: "NASCET percentage", least: -50.0, most: 100.0 };
        /// A bending stiffness, 0.001 to 20000 N mm2.
        stiffness_n_mm2, optional_stiffness_n_mm2 => Number { what: "bending stiffness in N mm2", least: 1e-3, most: 2e4 };
        /// Minutes, 0 to a day.
        minutes, optional_minutes => Number { what: "number of minutes", least: 0.0, most: 1440.0 };
        /// A share, 0 to 1.
        share, optional_share => Number { what: "share", least: 0.0, most: 1.0 };
        /// The standard deviation of a logarithm or of a share, 0 to 3.
        deviation, optional_deviation => Number { what: "standard deviation", least: 0.0, most: 3.0 };
        /// The most a hand may push or pull with, 0.01 to 1000 N.
        hand_n, optional_hand_n => Number { what: "force in N", least: 0.01, most: 1000.0 };
        /// How plaque or an artery resists, 0.001 to 100 N/mm2 or N/mm.
        resistance, optional_resistance => Number { what: "resistance", least: 1e-3, most: 100.0 };
        /// A positive number that needs no further check here, 0 to 1e6.
        positive, optional_positive => Number { what: "number", least: 0.0, most: 1e6 };
    }
}

/// A number with so many digits and no minus before a zero.
#[must_use]
pub fn fixed(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        Some(zero) if zero.chars().all(|c| matches!(c, '0' | '.')) => zero.to_owned(),
        _ => text,
    }
}

/// The same with a sign: a plus before a zero, whichever side of it the value lies on.
#[must_use]
pub fn signed(value: f64, digits: usize) -> String {
    let text = fixed(value, digits);
    if text.starts_with('-') {
        text
    } else {
        format!("+{text}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_no_minus_stands_before_a_zero() {
        for (value, digits, plain, with_sign) in [
            (-0.04, 1, "0.0", "+0.0"),
            (-0.06, 1, "-0.1", "-0.1"),
            (0.0, 2, "0.00", "+0.00"),
            (12.34, 1, "12.3", "+12.3"),
            (-0.4, 0, "0", "+0"),
        ] {
            assert_eq!(fixed(value, digits), plain);
            assert_eq!(signed(value, digits), with_sign);
        }
    }

    #[test]
    fn exact_trade_units() {
        // Definitions: 1 Fr = 1/3 mm, 1 in = 25.4 mm.
        for (text, mm) in [
            ("8 Fr", 8.0 / 3.0),
            ("0.088 in", 2.2352),
            ("132 cm", 1320.0),
            ("2.1mm", 2.1),
            (" 5F ", 5.0 / 3.0),
            ("-3 mm", -3.0),
        ] {
            let found = parse_length_mm(text).unwrap();
            assert!((found - mm).abs() < 1e-12, "{text}: {found} against {mm}");
        }
    }

    #[test]
    fn exact_french_and_inch_table() {
        let mut rows = include_str!("../../tests/data/trade_sizes.csv")
            .lines()
            .filter(|line| !line.starts_with('#'));
        assert_eq!(rows.next(), Some("written,french,mm,inch"));
        let mut looked = 0;
        for row in rows {
            let cells: Vec<&str> = row.split(',').collect();
            let number = |i: usize| cells[i].parse::<f64>().unwrap();
            let (french, mm, inch) = (number(1), number(2), number(3));
            // by definition an inch is a round number of mm, and three French are one mm
            let (text, within_mm) = match cells[0] {
                "Fr" => (format!("{french} Fr"), 5e-4),
                _ => (format!("{inch} in"), 1e-12),
            };
            let found = parse_length_mm(&text).unwrap();
            assert!((found - mm).abs() <= within_mm, "{text} is {found} mm");
            let found_inch = mm_to_inch(found);
            assert!(
                (found_inch - inch).abs() <= 5e-5,
                "{text} is {found_inch} in"
            );
            let found_french = mm_to_french(found);
            assert!(
                (found_french - french).abs() <= 5e-3,
                "{text} is {found_french} Fr"
            );
            looked += 1;
        }
        assert_eq!(looked, 17, "both sides of the table");
    }

    #[test]
    fn exact_no_zero_has_a_minus() {
        for (value, digits, text) in [
            (-0.4, 0, "0"),
            (-0.004, 2, "0.00"),
            (-0.0, 1, "0.0"),
            (-0.6, 0, "-1"),
            (-0.05, 2, "-0.05"),
            (12.0, 0, "12"),
        ] {
            assert_eq!(fixed(value, digits), text, "{value} with {digits} digits");
        }
    }

    #[test]
    fn exact_refusals_say_how_to_mend() {
        for (text, message) in [
            ("132", "write for example \"132 mm\""),
            ("132 km", "use mm, cm, in or Fr"),
            ("4,7 mm", "write \"4.7 mm\" with a point"),
            ("wide", "write a number and a unit"),
            ("", "write a number and a unit"),
        ] {
            let error = parse_length_mm(text).unwrap_err();
            let found = error.to_string();
            assert!(found.contains(message), "{text}: {found}");
            let refusal = Refusal::from(&error);
            assert_eq!(refusal.to_string(), found, "the same in two parts");
            assert_eq!(Refusal::from_text(&refusal.in_one_text()), refusal);
        }
    }

    #[test]
    fn exact_other_units_are_offered_only_where_they_fit() {
        let help = text::other_unit("0.088 mm", 0.2, 60.0);
        assert!(help.contains("\"0.088 in\" (2.235 mm)"), "{help}");
        assert!(!help.contains("Fr"), "0.088 Fr is 0.03 mm: {help}");
        let help = text::other_unit("0.0022 mm", 0.2, 60.0);
        assert!(help.starts_with("give 0.2 to 60 mm"), "{help}");
    }
}
