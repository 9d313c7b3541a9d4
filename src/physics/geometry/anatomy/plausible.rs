//! Bounds of what a form may say: outside them a unit or a digit is wrong.

use super::super::GeometryError;
use super::draft::refuse;
use super::form::Measurements;
use std::ops::RangeInclusive;

/// Field, what was entered, and what any adult has, mm.
type Bound = (&'static str, Option<f64>, RangeInclusive<f64>);

macro_rules! bounds {
    ($form:ident, $($group:ident.$field:ident: $range:expr;)*) => {
        vec![$((concat!(stringify!($group), ".", stringify!($field)), $form.$group.$field, $range)),*]
    };
}

/// From memory: beyond what any adult has, and far from the tenfold of a slipped unit.
fn bounds(form: &Measurements) -> Vec<Bound> {
    bounds! { form,
        femoral.puncture_to_bifurcation: 100.0..=400.0;
        femoral.bifurcation_to_renal: 30.0..=250.0;
        femoral.renal_to_coeliac: 5.0..=150.0;
        femoral.coeliac_to_left_subclavian: 100.0..=500.0;
        femoral.puncture_to_left_subclavian: 300.0..=1200.0;
        femoral.common_iliac_diameter: 2.0..=40.0;
        femoral.external_iliac_diameter: 2.0..=25.0;
        femoral.common_femoral_diameter: 2.0..=25.0;
        radial.radial_length: 100.0..=400.0;
        radial.brachial_length: 100.0..=450.0;
        radial.axillary_length: 30.0..=250.0;
        radial.subclavian_length: 30.0..=250.0;
        radial.radial_diameter: 0.8..=8.0;
        radial.brachial_diameter: 1.0..=12.0;
        aorta.ascending_length: 10.0..=200.0;
        aorta.ascending_diameter: 10.0..=60.0;
        aorta.innominate_diameter: 10.0..=60.0;
        aorta.left_carotid_diameter: 10.0..=60.0;
        aorta.left_subclavian_diameter: 10.0..=60.0;
        aorta.descending_diameter: 8.0..=60.0;
        aorta.infrarenal_diameter: 6.0..=60.0;
        arch.height: 0.0..=120.0;
        arch.width: 30.0..=200.0;
        arch.innominate_to_left_carotid: 0.0..=120.0;
        arch.left_carotid_to_left_subclavian: 0.0..=120.0;
        innominate.length: 5.0..=120.0;
        innominate.diameter: 4.0..=30.0;
        common_carotid.length: 30.0..=300.0;
        common_carotid.diameter: 2.0..=20.0;
        common_carotid.chord: 20.0..=300.0;
        bifurcation.bulb_diameter: 2.0..=25.0;
        bifurcation.bulb_length: 1.0..=80.0;
        cervical_ica.length: 30.0..=300.0;
        cervical_ica.diameter: 0.5..=15.0;
        cervical_ica.chord: 15.0..=300.0;
        petrous.vertical_length: 3.0..=40.0;
        petrous.horizontal_length: 3.0..=50.0;
        siphon.length: 10.0..=120.0;
        siphon.posterior_bend_radius: 0.5..=20.0;
        siphon.anterior_bend_radius: 0.5..=20.0;
        siphon.proximal_diameter: 0.5..=12.0;
        siphon.terminus_diameter: 0.5..=10.0;
        m1.length: 2.0..=60.0;
        m1.diameter: 0.5..=8.0;
        m2.superior_diameter: 0.3..=6.0;
        m2.inferior_diameter: 0.3..=6.0;
        m2.superior_length: 5.0..=150.0;
        m2.inferior_length: 5.0..=150.0;
    }
}

/// The first entry that no adult's vessel has.
pub(super) fn check(form: &Measurements) -> Result<(), GeometryError> {
    let out = bounds(form).into_iter().find_map(|(field, mm, range)| {
        let mm = mm.filter(|mm| !range.contains(mm))?;
        Some((field, mm, range))
    });
    match out {
        None => Ok(()),
        Some((field, mm, range)) => Err(refuse(
            field,
            format!("{mm} mm"),
            format!("from {} to {} mm", range.start(), range.end()),
            "no adult's vessel is outside that: is the unit right, and every digit?",
        )),
    }
}
