//! Entries that are each possible and together unusual: told, not refused.

use super::form::Measurements;
use super::{Anatomy, NoteValue, Origin};

/// Two values that seldom go together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doubt {
    /// The field to look at first.
    pub field: String,
    /// What is unusual, in words.
    pub what: String,
}

/// Diameters along the flow: the second is the narrower one in nearly everybody (from memory).
const NARROWS: [(&str, &str); 8] = [
    ("aorta.ascending_diameter", "aorta.descending_diameter"),
    ("aorta.descending_diameter", "aorta.infrarenal_diameter"),
    ("common_carotid.diameter", "cervical_ica.diameter"),
    ("bifurcation.bulb_diameter", "cervical_ica.diameter"),
    ("siphon.proximal_diameter", "siphon.terminus_diameter"),
    ("siphon.terminus_diameter", "m1.diameter"),
    ("m1.diameter", "m2.inferior_diameter"),
    ("m1.diameter", "m2.superior_diameter"),
];

/// A length twice as far from its mean as nineteen of twenty are.
const FAR_SPREADS: f64 = 4.0;

impl Measurements {
    /// What is unusual about the entries, seen together with what is assumed.
    #[must_use]
    pub fn doubts(&self, anatomy: &Anatomy) -> Vec<Doubt> {
        let number = |name: &str| {
            let note = anatomy.values.iter().find(|note| note.name == name)?;
            match note.value {
                NoteValue::Number(value) => Some((value, note.origin == Origin::Measured)),
                _ => None,
            }
        };
        let mut doubts = Vec::new();
        for (wide, narrow) in NARROWS {
            let (Some((wide_mm, wide_read)), Some((narrow_mm, narrow_read))) =
                (number(wide), number(narrow))
            else {
                continue;
            };
            if narrow_mm > wide_mm && (wide_read || narrow_read) {
                let how = |read: bool| if read { "measured" } else { "assumed" };
                doubts.push(Doubt {
                    field: if narrow_read { narrow } else { wide }.to_owned(),
                    what: format!(
                        "{narrow} is {narrow_mm} mm ({}), wider than {wide} before it, {wide_mm} mm ({})",
                        how(narrow_read),
                        how(wide_read)
                    ),
                });
            }
        }
        doubts.extend(self.far_from_means());
        doubts
    }

    /// Entries far from what is assumed where nothing is entered.
    fn far_from_means(&self) -> Vec<Doubt> {
        let blank = Self::new(self.sex, self.age_years, self.access, self.side);
        let Ok(usual) = blank.build() else {
            return Vec::new();
        };
        let mut form = self.clone();
        let mut found = Vec::new();
        for note in usual.values.iter().filter(|note| note.spread > 0.0) {
            let NoteValue::Number(mean) = note.value else {
                continue;
            };
            let Some(entered) = super::helps::slot(&mut form, &note.name).and_then(|slot| *slot)
            else {
                continue;
            };
            let spreads = (entered - mean).abs() / note.spread;
            if spreads > FAR_SPREADS {
                found.push(Doubt {
                    field: note.name.to_string(),
                    what: format!(
                        "{} is {entered} {}, {spreads:.0} spreads from the mean of {mean:.1} {}",
                        note.name, note.unit, note.unit
                    ),
                });
            }
        }
        found
    }
}
