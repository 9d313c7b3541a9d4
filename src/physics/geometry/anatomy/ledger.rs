//! Where every number of an anatomy comes from.

use super::super::{GeometryError, Vector};
use super::means::{Mean, fixed, source};
use std::borrow::Cow;

/// A value used in building an anatomy.
#[derive(Debug, Clone, PartialEq)]
pub struct ValueNote {
    /// The field of the form, or the name of a quantity that no form asks for.
    pub name: Cow<'static, str>,
    /// The value.
    pub value: NoteValue,
    /// Its unit; empty for words, ratios and directions.
    pub unit: &'static str,
    /// Measured on the person, or assumed from a source.
    pub origin: Origin,
    /// Standard deviation of the population that an assumed number is the mean of, in its unit; 0 where none is known.
    pub spread: f64,
}

/// The value of a note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoteValue {
    /// A number.
    Number(f64),
    /// A class, such as an arch type.
    Word(&'static str),
    /// A direction or place: patient's left, posterior, cranial.
    Triple([f64; 3]),
}

/// What a value rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Entered on the form.
    Measured,
    /// Not entered.
    Assumed {
        /// Publication, or `from memory`, `common practice, no source`, `derived from …`.
        source: &'static str,
    },
}

#[derive(Debug, Default)]
pub(super) struct Ledger {
    pub(super) notes: Vec<ValueNote>,
}

impl Ledger {
    fn take(
        &mut self,
        name: impl Into<Cow<'static, str>>,
        unit: &'static str,
        measured: Option<f64>,
        otherwise: Mean,
    ) -> f64 {
        let (value, origin) = measured.map_or(
            (
                otherwise.value,
                Origin::Assumed {
                    source: otherwise.source,
                },
            ),
            |value| (value, Origin::Measured),
        );
        self.notes.push(ValueNote {
            name: name.into(),
            value: NoteValue::Number(value),
            unit,
            spread: if origin == Origin::Measured {
                0.0
            } else {
                otherwise.sd
            },
            origin,
        });
        value
    }

    /// A refusal, with the word that the field it names was not entered where that is so.
    pub(super) fn told_if_assumed(&self, error: GeometryError) -> GeometryError {
        let GeometryError::Measurement {
            field,
            found,
            needed,
            mend,
        } = error
        else {
            return error;
        };
        let assumed = self.notes.iter().any(|note| {
            note.name == field.as_str() && matches!(note.origin, Origin::Assumed { .. })
        });
        let (found, mend) = if assumed {
            (
                format!("{found} (not entered, assumed)"),
                format!("{mend}; or enter {field}"),
            )
        } else {
            (found, mend)
        };
        GeometryError::Measurement {
            field,
            found,
            needed,
            mend,
        }
    }

    /// A length, mm.
    pub(super) fn mm(
        &mut self,
        name: impl Into<Cow<'static, str>>,
        measured: Option<f64>,
        otherwise: Mean,
    ) -> f64 {
        self.take(name, "mm", measured, otherwise)
    }

    /// An angle noted in degrees; returns rad.
    pub(super) fn rad(
        &mut self,
        name: &'static str,
        measured_deg: Option<f64>,
        otherwise: Mean,
    ) -> f64 {
        self.take(name, "deg", measured_deg, otherwise).to_radians()
    }

    /// A number of another unit.
    pub(super) fn number(
        &mut self,
        name: impl Into<Cow<'static, str>>,
        unit: &'static str,
        measured: Option<f64>,
        otherwise: Mean,
    ) -> f64 {
        self.take(name, unit, measured, otherwise)
    }

    /// A share of a length, or another ratio, that no form asks for.
    pub(super) fn share(&mut self, name: &'static str, share: f64) -> f64 {
        self.take(name, "", None, fixed(share, source::MODEL))
    }

    /// A class.
    pub(super) fn word<T: Copy>(
        &mut self,
        name: &'static str,
        measured: Option<T>,
        otherwise: (T, &'static str),
        word: impl Fn(T) -> &'static str,
    ) -> T {
        let origin = match measured {
            Some(_) => Origin::Measured,
            None => Origin::Assumed {
                source: otherwise.1,
            },
        };
        let value = measured.unwrap_or(otherwise.0);
        self.notes.push(ValueNote {
            name: name.into(),
            value: NoteValue::Word(word(value)),
            unit: "",
            origin,
            spread: 0.0,
        });
        value
    }

    /// A direction that no form asks for; returns the unit vector.
    pub(super) fn heading(
        &mut self,
        name: &'static str,
        heading: Vector,
        source: &'static str,
    ) -> Vector {
        let heading = heading.normalize();
        self.triple(name, "", heading, source);
        heading
    }

    /// A place that no form asks for, mm.
    pub(super) fn place_mm(
        &mut self,
        name: &'static str,
        place_mm: Vector,
        source: &'static str,
    ) -> Vector {
        self.triple(name, "mm", place_mm, source);
        place_mm
    }

    fn triple(&mut self, name: &'static str, unit: &'static str, v: Vector, source: &'static str) {
        self.notes.push(ValueNote {
            name: name.into(),
            value: NoteValue::Triple([v.x, v.y, v.z]),
            unit,
            origin: Origin::Assumed { source },
            spread: 0.0,
        });
    }
}
