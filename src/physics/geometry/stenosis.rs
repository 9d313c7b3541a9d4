//! Percentages of stenosis, and what a percentage leaves open: the only place where they are worked out.
//!
//! # References
//! `100 (1 - A / B)` with the lumen `A` at the narrowest place; Rothwell et al. (1994), *Stroke* 25:2435-9.

/// Percentage of a lumen (mm) against another one, mm.
fn percent(lumen_mm: f64, whole_mm: f64) -> f64 {
    100.0 * (1.0 - lumen_mm / whole_mm)
}

/// NASCET percent of a lumen (mm) against the normal distal artery (mm).
///
/// Negative where the lumen is the wider of both.
///
/// # References
/// `100 (1 - A / B)`; Rothwell et al. (1994), *Stroke* 25:2435-9.
#[must_use]
pub fn nascet_percent(lumen_mm: f64, distal_mm: f64) -> f64 {
    percent(lumen_mm, distal_mm)
}

/// ECST percent of a lumen (mm) against the lumen estimated at the lesion itself (mm).
///
/// # References
/// `100 (1 - A / C)`; Rothwell et al. (1994), *Stroke* 25:2435-9.
#[must_use]
pub fn ecst_percent(lumen_mm: f64, original_mm: f64) -> f64 {
    percent(lumen_mm, original_mm)
}

/// Common carotid percent of a lumen (mm) against the common carotid artery below it (mm).
///
/// # References
/// Definitions compared by Rothwell et al. (1994), *Stroke* 25:2435-9.
#[must_use]
pub fn common_carotid_percent(lumen_mm: f64, common_carotid_mm: f64) -> f64 {
    percent(lumen_mm, common_carotid_mm)
}

/// Loss of cross section of a lumen (mm) against a reference (mm), percent, both round.
#[must_use]
pub fn area_percent(lumen_mm: f64, reference_mm: f64) -> f64 {
    let share = lumen_mm / reference_mm;
    100.0 * (1.0 - share * share)
}

/// Diameter that a percentage of stenosis leaves open, mm: its definition solved for the lumen. 100 percent
/// leave 0, a negative percentage more than the reference (mm), as mild plaque in a wide bulb does.
#[must_use]
pub fn stenosed_mm(reference_mm: f64, percent: f64) -> f64 {
    reference_mm * (1.0 - percent / 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_there_and_back() {
        for (reference_mm, percent) in [(4.7, 83.0), (5.0, 0.0), (4.36, -15.0), (4.0, 100.0)] {
            let lumen_mm = stenosed_mm(reference_mm, percent);
            let back = nascet_percent(lumen_mm, reference_mm);
            assert!((back - percent).abs() < 1e-12, "{percent} became {back}");
        }
        assert!(
            (area_percent(1.0, 2.0) - 75.0).abs() < 1e-12,
            "half as wide"
        );
    }
}
