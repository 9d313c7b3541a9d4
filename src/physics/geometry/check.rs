//! Whether a tree hangs together and everything on it lies within it.

use super::{GeometryError, Lesion, Lumen, Place, Tree};
use crate::units::Allowed;
use std::collections::BTreeMap;

/// A branch may start this far from its parent's centre line, mm. Imported centre lines are joined
/// by coordinates printed with two or three decimals; a real gap would be a vessel's radius.
const TOUCHING_MM: f64 = 0.1;

impl Lumen {
    /// All faults of the knots, `what` naming the lumen.
    pub(super) fn check(&self, what: &str, faults: &mut Vec<GeometryError>) {
        if self.knots_mm.is_empty() {
            faults.push(GeometryError::TooFew {
                what: format!("{what}.knots_mm"),
                needed: 1,
                found: 0,
            });
        }
        let mut last_mm = f64::NEG_INFINITY;
        for (i, &(at_mm, diameter_mm)) in self.knots_mm.iter().enumerate() {
            if !at_mm.is_finite() || at_mm < last_mm {
                faults.push(GeometryError::OutOfRange {
                    what: format!("{what}.knots_mm[{i}], the arc length,"),
                    found: at_mm,
                    needed: Allowed::in_words("finite and not below the one before")
                        .at_least(last_mm),
                });
            } else {
                last_mm = at_mm;
            }
            if !(diameter_mm > 0.0 && diameter_mm.is_finite()) {
                faults.push(GeometryError::OutOfRange {
                    what: format!("{what}.knots_mm[{i}], the diameter,"),
                    found: diameter_mm,
                    needed: Allowed::POSITIVE,
                });
            }
        }
    }
}

impl Tree {
    /// Whether the tree hangs together and everything on it lies within it.
    ///
    /// # Errors
    /// Every fault found, in the order branches, landmarks, lesions, clots.
    pub fn check(&self) -> Result<(), Vec<GeometryError>> {
        let mut faults = Vec::new();
        if self.branches.is_empty() {
            faults.push(GeometryError::TooFew {
                what: "branches".into(),
                needed: 1,
                found: 0,
            });
        }
        self.check_names(&mut faults);
        for i in 0..self.branches.len() {
            self.check_branch(i, &mut faults);
        }
        for landmark in &self.landmarks {
            let what = format!("landmark `{}`", landmark.name);
            let Place { branch, at_mm } = landmark.place;
            self.check_place(&what, branch, &[at_mm], &mut faults);
        }
        for lesion in &self.lesions {
            self.check_lesion(lesion, &mut faults);
        }
        for clot in &self.clots {
            let what = format!("clot `{}`", clot.name);
            check_positive(&what, "length_mm", clot.length_mm, &mut faults);
            // only the start: a clot may run on into a child
            self.check_place(&what, clot.branch, &[clot.start_mm], &mut faults);
        }
        if faults.is_empty() {
            Ok(())
        } else {
            Err(faults)
        }
    }

    fn check_names(&self, faults: &mut Vec<GeometryError>) {
        find_repeated("branch", self.branches.iter().map(|b| &b.name), faults);
        find_repeated("landmark", self.landmarks.iter().map(|l| &l.name), faults);
        find_repeated("lesion", self.lesions.iter().map(|l| &l.name), faults);
        find_repeated("clot", self.clots.iter().map(|c| &c.name), faults);
    }

    fn check_branch(&self, index: usize, faults: &mut Vec<GeometryError>) {
        let branch = &self.branches[index];
        let what = format!("branch `{}`", branch.name);
        branch.lumen.check(&format!("{what}.lumen"), faults);
        check_positive(
            &what,
            "wall_stiffness_n_per_mm2",
            branch.wall_stiffness_n_per_mm2,
            faults,
        );
        let Some(ostium) = branch.ostium else { return };
        let of = format!("the ostium of {what}");
        if !self.check_place(&of, ostium.branch, &[ostium.at_mm], faults) {
            return;
        }
        if self.is_own_ancestor(index) {
            faults.push(GeometryError::Cycle {
                branch: branch.name.clone(),
            });
            return;
        }
        let parent = &self.branches[ostium.branch];
        let gap_mm = (parent.curve.point_at(ostium.at_mm) - branch.curve.point_at(0.0)).norm();
        if gap_mm > TOUCHING_MM {
            faults.push(GeometryError::Detached {
                branch: branch.name.clone(),
                parent: parent.name.clone(),
                gap_mm,
                allowed_mm: TOUCHING_MM,
            });
        }
    }

    fn check_lesion(&self, lesion: &Lesion, faults: &mut Vec<GeometryError>) {
        let what = format!("lesion `{}`", lesion.name);
        check_positive(&what, "length_mm", lesion.length_mm, faults);
        check_positive(&what, "reference_mm", lesion.reference_mm, faults);
        if let Some(false_lumen_mm) = lesion.false_lumen_mm {
            check_positive(&what, "false_lumen_mm", false_lumen_mm, faults);
        }
        // `!(a <= b)` would also catch NaN, yet reads worse
        if lesion.nascet_percent > 100.0 || !lesion.nascet_percent.is_finite() {
            faults.push(GeometryError::OutOfRange {
                what: format!("{what}.nascet_percent"),
                found: lesion.nascet_percent,
                needed: Allowed::in_words(
                    "finite and <= 100 (100 is shut, below 0 is wider than the reference)",
                )
                .at_most(100.0),
            });
        }
        let ends = [lesion.start_mm, lesion.start_mm + lesion.length_mm];
        self.check_place(&what, lesion.branch, &ends, faults);
    }

    /// Pushes a fault for every place off the branch; whether there was none.
    pub(super) fn check_place(
        &self,
        what: &str,
        branch: usize,
        places_mm: &[f64],
        faults: &mut Vec<GeometryError>,
    ) -> bool {
        let Some(found) = self.branches.get(branch) else {
            faults.push(GeometryError::NoSuchBranch {
                what: what.into(),
                found: branch,
                branches: self.branches.len(),
            });
            return false;
        };
        let length_mm = found.curve.length_mm();
        let before = faults.len();
        for &at_mm in places_mm {
            // places computed by summing lengths may miss the end by rounding
            if !(at_mm >= -1e-9 && at_mm <= length_mm + 1e-9) {
                faults.push(GeometryError::OffBranch {
                    what: what.into(),
                    at_mm,
                    branch: found.name.clone(),
                    length_mm,
                });
            }
        }
        faults.len() == before
    }
}

fn find_repeated<'a>(
    kind: &'static str,
    names: impl Iterator<Item = &'a String>,
    faults: &mut Vec<GeometryError>,
) {
    let mut counts = BTreeMap::new();
    for name in names {
        *counts.entry(name).or_insert(0) += 1;
    }
    faults.extend(
        counts
            .into_iter()
            .filter(|(_, count)| *count > 1)
            .map(|(name, count)| GeometryError::Duplicate {
                kind,
                name: name.clone(),
                count,
            }),
    );
}

fn check_positive(what: &str, field: &str, found: f64, faults: &mut Vec<GeometryError>) {
    if !(found > 0.0 && found.is_finite()) {
        faults.push(GeometryError::OutOfRange {
            what: format!("{what}.{field}"),
            found,
            needed: Allowed::POSITIVE,
        });
    }
}
