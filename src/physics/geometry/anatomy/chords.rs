//! Length, straight distance and their ratio: two of them give the third, three may contradict each other.

use super::super::GeometryError;
use super::draft::refuse;
use super::form::{Measurements, NeckShape};

/// Lengths are read to some millimetres and ratios to some hundredths: what differs by more contradicts.
const AGREE_WITHIN: f64 = 0.05;

/// The form with what follows from straight distances; `None` where none was entered.
pub(super) fn settled(form: &Measurements) -> Result<Option<Measurements>, GeometryError> {
    if form.common_carotid.chord.is_none() && form.cervical_ica.chord.is_none() {
        return Ok(None);
    }
    let mut form = form.clone();
    let common = &mut form.common_carotid;
    settle(
        "common_carotid",
        &mut common.length,
        &mut common.length_to_chord,
        common.chord,
    )?;
    let neck = &mut form.cervical_ica;
    if neck.chord.is_some()
        && !matches!(
            neck.shape,
            None | Some(NeckShape::Tortuous { turn_deg: None })
        )
    {
        return Err(refuse(
            "cervical_ica.chord",
            "entered",
            "left out unless the neck is tortuous without a turn of its own",
            "a shape with angles of its own has its straight distance: leave `chord` out, or the shape",
        ));
    }
    settle(
        "cervical_ica",
        &mut neck.length,
        &mut neck.length_to_chord,
        neck.chord,
    )?;
    if neck.chord.is_some() && neck.shape.is_none() {
        neck.shape = Some(NeckShape::Tortuous { turn_deg: None });
    }
    Ok(Some(form))
}

fn settle(
    group: &str,
    length: &mut Option<f64>,
    ratio: &mut Option<f64>,
    chord: Option<f64>,
) -> Result<(), GeometryError> {
    let Some(chord_mm) = chord else { return Ok(()) };
    let field = format!("{group}.chord");
    match (*length, *ratio) {
        (Some(length_mm), _) if length_mm < chord_mm => Err(refuse(
            field,
            format!("{chord_mm} mm"),
            format!("at most the length along the vessel, {length_mm} mm"),
            "no way is shorter than the straight one: measure both again",
        )),
        (Some(length_mm), Some(ratio))
            if (length_mm / chord_mm / ratio - 1.0).abs() > AGREE_WITHIN =>
        {
            Err(refuse(
                field,
                format!("{chord_mm} mm"),
                format!(
                    "about {:.0} mm, or the ratio about {:.2}: {length_mm} mm along with a ratio of {ratio} end {:.0} mm apart",
                    length_mm / ratio,
                    length_mm / chord_mm,
                    length_mm / ratio
                ),
                "the three contradict each other: measure again, or leave out the one that is trusted least",
            ))
        }
        (Some(_), Some(_)) => Ok(()),
        (Some(length_mm), None) => {
            *ratio = Some(length_mm / chord_mm);
            Ok(())
        }
        (None, Some(ratio)) => {
            *length = Some(chord_mm * ratio);
            Ok(())
        }
        (None, None) => Err(refuse(
            field,
            format!("{chord_mm} mm alone"),
            "entered together with the length or the ratio",
            "add `length` or `length_to_chord`",
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::super::form::{Access, Sex, Side};
    use super::*;

    fn form(length: Option<f64>, ratio: Option<f64>, chord: f64) -> Measurements {
        let mut form = Measurements::new(Sex::Male, 70.0, Access::FemoralRight, Side::Left);
        form.cervical_ica.length = length;
        form.cervical_ica.length_to_chord = ratio;
        form.cervical_ica.chord = Some(chord);
        form
    }

    #[test]
    fn exact_two_give_the_third_and_three_may_contradict() {
        let neck = |f: &Measurements| settled(f).unwrap().unwrap().cervical_ica;
        let found = neck(&form(Some(84.0), None, 70.0));
        assert!(
            (found.length_to_chord.unwrap() - 1.2).abs() < 1e-12,
            "{found:?}"
        );
        let found = neck(&form(None, Some(1.2), 70.0));
        assert!((found.length.unwrap() - 84.0).abs() < 1e-12, "{found:?}");
        assert!(
            settled(&form(Some(84.0), Some(1.21), 70.0)).is_ok(),
            "as near as they are read"
        );
        let told = settled(&form(Some(80.0), Some(1.4), 30.0))
            .unwrap_err()
            .to_string();
        assert!(told.contains("57 mm") && told.contains("2.67"), "{told}");
        let told = settled(&form(Some(60.0), None, 70.0))
            .unwrap_err()
            .to_string();
        assert!(told.contains("at most the length"), "{told}");
        assert!(settled(&form(None, None, 70.0)).is_err());
        let built = form(Some(84.0), None, 70.0).build().unwrap();
        let ica = built.tree.branch("internal-carotid").unwrap();
        let end = built.tree.landmark("skull-base").unwrap();
        let place = built.tree.landmarks[end].place;
        let curve = &built.tree.branches[ica].curve;
        let chord_mm = (curve.point_at(place.at_mm) - curve.point_at(0.0)).norm();
        assert!((chord_mm - 70.0).abs() < 3.0, "{chord_mm}");
    }
}
