//! Which measurement that is missing would help most: the one that moves the route's length most.

use super::form::Measurements;
use super::{Anatomy, NoteValue, Origin};

/// A value that is assumed and could be measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Help {
    /// The field of the form.
    pub field: String,
    /// What is assumed, in its unit.
    pub assumed: f64,
    /// How far persons differ: one standard deviation, in its unit.
    pub spread: f64,
    /// The unit.
    pub unit: String,
    /// By how much the route to the first target gets longer where the value is one spread above the mean, mm.
    pub longer_mm: f64,
}

macro_rules! slots {
    ($form:ident, $name:ident, $($group:ident: $($field:ident)*;)*) => {
        match $name {
            $($(concat!(stringify!($group), ".", stringify!($field)) => Some(&mut $form.$group.$field),)*)*
            _ => None,
        }
    };
}

/// The number of a form that bears a name.
pub(super) fn slot<'a>(form: &'a mut Measurements, name: &str) -> Option<&'a mut Option<f64>> {
    slots! { form, name,
        femoral: puncture_to_bifurcation bifurcation_to_renal renal_to_coeliac coeliac_to_left_subclavian
            common_iliac_diameter external_iliac_diameter common_femoral_diameter;
        radial: radial_length brachial_length axillary_length subclavian_length radial_diameter brachial_diameter;
        aorta: ascending_length ascending_diameter innominate_diameter left_carotid_diameter left_subclavian_diameter
            descending_diameter infrarenal_diameter;
        arch: height width plane_deg innominate_to_left_carotid left_carotid_to_left_subclavian innominate_takeoff_deg
            left_carotid_takeoff_deg left_subclavian_takeoff_deg;
        innominate: length diameter;
        common_carotid: length diameter length_to_chord;
        bifurcation: bulb_diameter bulb_length internal_takeoff_deg;
        cervical_ica: length diameter length_to_chord;
        petrous: vertical_length horizontal_length interior_angle_deg;
        siphon: length posterior_turn_deg posterior_bend_radius anterior_bend_radius proximal_diameter terminus_diameter;
        m1: length diameter;
        m2: superior_diameter inferior_diameter superior_length inferior_length angle_deg out_of_plane_deg;
    }
}

impl Measurements {
    /// Values that are assumed, those that move the length of the route to the first target most at the head. Reach hangs on
    /// that length; diameters decide fits, and are told nothing of here.
    #[must_use]
    pub fn would_help(&self, anatomy: &Anatomy) -> Vec<Help> {
        let Some(usual_mm) = route_mm(anatomy) else {
            return Vec::new();
        };
        let mut all = Vec::new();
        for note in &anatomy.values {
            let assumed = matches!(note.origin, Origin::Assumed { .. }) && note.spread > 0.0;
            let (NoteValue::Number(value), true) = (note.value, assumed) else {
                continue;
            };
            let mut other = self.clone();
            let Some(slot) = slot(&mut other, &note.name) else {
                continue;
            };
            *slot = Some(value + note.spread);
            let Some(mm) = other.build().ok().as_ref().and_then(route_mm) else {
                continue;
            };
            all.push(Help {
                field: note.name.to_string(),
                assumed: value,
                spread: note.spread,
                unit: note.unit.to_owned(),
                longer_mm: mm - usual_mm,
            });
        }
        all.sort_by(|a, b| b.longer_mm.abs().total_cmp(&a.longer_mm.abs()));
        all
    }
}

fn route_mm(anatomy: &Anatomy) -> Option<f64> {
    let target = anatomy.targets.first()?;
    let route = super::kept::route(&anatomy.tree, anatomy.access, target.place).ok()?;
    Some(route.curve.length_mm())
}
