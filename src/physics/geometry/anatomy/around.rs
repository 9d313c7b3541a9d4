//! The same person once more, as far as measurements leave it open: every number of the form drawn from what it may be.

use super::form::{ClotPlace, LesionPlace, Measurements};
use super::helps::slot;
use super::ledger::{NoteValue, Origin, ValueNote};
use super::{Anatomy, Known, means::source};
use crate::math::{normal_quantile, normal_share};

/// Draws end so many spreads from the mean, as those of whole persons do (`sample.rs`).
const ENDS_AT: f64 = 2.5;
/// Errors of readings on an angiogram, one standard deviation (from memory): of a length, mm and a share of it; of a
/// diameter, mm; of an angle, degrees; of a stenosis, per cent.
const LENGTH_MM: f64 = 2.0;
const LENGTH_SHARE: f64 = 0.02;
const DIAMETER_MM: f64 = 0.3;
const ANGLE_DEG: f64 = 5.0;
const STENOSIS_PERCENT: f64 = 5.0;
/// Above this a stenosis is no longer one that is measured by its lumen.
const MOST_PERCENT: f64 = 99.0;

/// A number of a form that may be other than is reckoned with.
#[derive(Debug, Clone, PartialEq)]
pub struct Doubtful {
    /// The field: `common_carotid.length`, `lesions[0].nascet_percent`.
    pub field: String,
    /// What is reckoned with, in its unit.
    pub usual: f64,
    /// One standard deviation.
    pub spread: f64,
    /// Least and most that are drawn; infinite where only the spread ends them.
    pub between: (f64, f64),
    /// What it rests on.
    pub known: Known,
}

impl Doubtful {
    /// The value below which a share of its law lies (0 to 1): a normal law, cut off beyond 2.5 spreads and beyond
    /// what no person has.
    #[must_use]
    pub fn at(&self, share: f64) -> f64 {
        let z = |value: f64| ((value - self.usual) / self.spread).clamp(-ENDS_AT, ENDS_AT);
        let (low, high) = (
            normal_share(z(self.between.0)),
            normal_share(z(self.between.1)),
        );
        let drawn = self.usual + self.spread * normal_quantile(low + (high - low) * share);
        drawn.clamp(self.between.0, self.between.1)
    }
}

impl Measurements {
    /// Every number of the form that is not known for sure, in the order of the notes: assumed ones with the spread of
    /// the people they are the mean of, measured ones with the error of a reading.
    ///
    /// `anatomy` is what [`Measurements::build`] made of the form. Classes (types, shapes) stay as they are.
    #[must_use]
    pub fn doubtful(&self, anatomy: &Anatomy) -> Vec<Doubtful> {
        let mut found: Vec<Doubtful> = Vec::new();
        let mut form = self.clone();
        for note in &anatomy.values {
            let known_already = found.iter().any(|d| d.field == note.name);
            if known_already || slot(&mut form, &note.name).is_none() {
                continue;
            }
            found.extend(doubt(note));
        }
        if let Some(whole_mm) = self.femoral.puncture_to_left_subclavian {
            found.push(read("femoral.puncture_to_left_subclavian", whole_mm));
        }
        for (i, lesion) in self.lesions.iter().enumerate() {
            found.push(read(&format!("lesions[{i}].length"), lesion.length));
            if lesion.nascet_percent < MOST_PERCENT && !lesion.near_occlusion {
                found.push(Doubtful {
                    field: format!("lesions[{i}].nascet_percent"),
                    usual: lesion.nascet_percent,
                    spread: STENOSIS_PERCENT,
                    between: (0.0, MOST_PERCENT),
                    known: Known::Measured,
                });
            }
        }
        if let Some(clot) = &self.clot {
            found.push(read("clot.length", clot.length));
        }
        for doubtful in &mut found {
            doubtful.between.0 = doubtful.between.0.max(least(&doubtful.field));
        }
        found.retain(|d| d.spread > 0.0 && d.between.0 < d.between.1);
        found
    }

    /// The form with some of its numbers replaced; fields that it has no number for are passed over.
    #[must_use]
    pub fn with_numbers<'a>(&self, numbers: impl IntoIterator<Item = (&'a str, f64)>) -> Self {
        let mut form = self.clone();
        let mut shorter = false;
        for (field, value) in numbers {
            shorter |= field == "m1.length";
            if let Some(slot) = slot(&mut form, field) {
                *slot = Some(value);
            } else if field == "femoral.puncture_to_left_subclavian" {
                form.femoral.puncture_to_left_subclavian = Some(value);
            } else if field == "clot.length" {
                form.clot.iter_mut().for_each(|clot| clot.length = value);
            } else if let Some((index, name)) = in_list(field)
                && let Some(lesion) = form.lesions.get_mut(index)
            {
                match name {
                    "length" => lesion.length = value,
                    "nascet_percent" => lesion.nascet_percent = value,
                    _ => {}
                }
            }
        }
        if shorter {
            form.keep_clot_and_lesions_inside();
        }
        form
    }

    /// A clot and lesions stay in a vessel that is drawn shorter: what was counted from its beginning ends before it.
    fn keep_clot_and_lesions_inside(&mut self) {
        if let (Some(clot), Some(m1_mm)) = (&mut self.clot, self.m1.length)
            && let ClotPlace::M1 { beyond_terminus } = &mut clot.place
        {
            *beyond_terminus = beyond_terminus.min(0.9 * m1_mm);
        }
        for lesion in &mut self.lesions {
            if let (LesionPlace::M1 { beyond_terminus }, Some(m1_mm)) =
                (&mut lesion.place, self.m1.length)
            {
                *beyond_terminus = beyond_terminus.min((m1_mm - lesion.length).max(0.0));
            }
        }
    }
}

/// Error of a length that was read off, mm, one standard deviation.
pub(super) fn reading_mm(length_mm: f64) -> f64 {
    LENGTH_MM + LENGTH_SHARE * length_mm.abs()
}

/// The index and the field of an entry of a list: `lesions[0].length`.
fn in_list(field: &str) -> Option<(usize, &str)> {
    let (index, name) = field.strip_prefix("lesions[")?.split_once("].")?;
    Some((index.parse().ok()?, name))
}

/// A length that was read off.
fn read(field: &str, usual: f64) -> Doubtful {
    Doubtful {
        field: field.to_owned(),
        usual,
        spread: reading_mm(usual),
        between: (1.0, f64::INFINITY),
        known: Known::Measured,
    }
}

fn doubt(note: &ValueNote) -> Option<Doubtful> {
    let NoteValue::Number(usual) = note.value else {
        return None;
    };
    let (spread, known) = match note.origin {
        Origin::Assumed { source } => {
            let population = source::population(source);
            let known = Known::Like {
                people: population.people,
                whom: population.whom,
            };
            (note.spread, known)
        }
        Origin::Measured => {
            let spread = match note.unit {
                "mm" if note.name.contains("diameter") => DIAMETER_MM,
                "mm" => reading_mm(usual),
                "deg" => ANGLE_DEG,
                _ => 0.0,
            };
            (spread, Known::Measured)
        }
    };
    (spread > 0.0).then(|| Doubtful {
        field: note.name.to_string(),
        usual,
        spread,
        between: (f64::NEG_INFINITY, f64::INFINITY),
        known,
    })
}

/// What no person falls below, as in the draws of whole persons (`sample.rs`).
fn least(field: &str) -> f64 {
    match field {
        "common_carotid.length_to_chord" | "cervical_ica.length_to_chord" => 1.03,
        "arch.left_carotid_to_left_subclavian" => 9.0,
        "m1.length" => 5.0,
        "radial.radial_diameter" => 1.8,
        "m2.out_of_plane_deg" => 0.0,
        _ => 0.5,
    }
}
