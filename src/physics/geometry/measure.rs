//! What is read off a vessel before a procedure: lengths, diameters, stenosis, arch, tortuosity.

use super::stenosis::{area_percent, common_carotid_percent, ecst_percent, nascet_percent};
use super::tortuosity::{KinkGrade, Tortuosity, TortuositySettings, angle, tortuosity};
use super::{GeometryError, LesionKind, Track, TrackLesion, Tree, Vector};
use crate::units::Allowed;
use serde::{Deserialize, Serialize};

/// How a vessel is measured. Coordinates: x to the patient's left, y to the back, z to the head.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[non_exhaustive]
pub struct MeasureSettings {
    /// Direction towards the head, `[3]`, not all 0; need not be a unit vector.
    pub up: [f64; 3],
    /// Name of the innominate artery.
    pub innominate: String,
    /// Name of the left common carotid.
    pub left_common_carotid: String,
    /// Word that names of common carotids contain.
    pub common_carotid: String,
    /// Landmark at the lower end of the neck artery.
    pub neck_from: String,
    /// Landmark at its upper end.
    pub neck_to: String,
    /// The common carotid's diameter is taken this far before its bifurcation and, for the arch,
    /// after its origin, mm: clear of the bulb and of the flared ostium (common practice, no source).
    pub clear_of_ends_mm: f64,
    /// The direction of a branch at its origin is that of its first so many mm; 0 takes the
    /// tangent, more averages the noise of a traced centre line.
    pub take_off_window_mm: f64,
    /// How tortuosity is measured.
    pub tortuosity: TortuositySettings,
}

impl MeasureSettings {
    /// The default with some values changed, checked as a whole.
    ///
    /// # Errors
    /// [`GeometryError::OutOfRange`] with the field, what was found and its range.
    pub fn with(change: impl FnOnce(&mut Self)) -> Result<Self, GeometryError> {
        let mut settings = Self::default();
        change(&mut settings);
        settings.check()?;
        Ok(settings)
    }

    fn check(&self) -> Result<(), GeometryError> {
        for (what, found, needed) in [
            (
                "the length of `up`",
                Vector::from(self.up).norm(),
                Allowed::POSITIVE,
            ),
            (
                "clear_of_ends_mm",
                self.clear_of_ends_mm,
                Allowed::NOT_NEGATIVE,
            ),
            (
                "take_off_window_mm",
                self.take_off_window_mm,
                Allowed::NOT_NEGATIVE,
            ),
        ] {
            if !needed.allows(found) {
                return Err(GeometryError::OutOfRange {
                    what: what.into(),
                    found,
                    needed,
                });
            }
        }
        self.tortuosity.check()
    }
}

impl Default for MeasureSettings {
    fn default() -> Self {
        Self {
            up: [0.0, 0.0, 1.0],
            innominate: "innominate".into(),
            left_common_carotid: "left-common-carotid".into(),
            common_carotid: "common-carotid".into(),
            neck_from: "carotid-bifurcation".into(),
            neck_to: "skull-base".into(),
            clear_of_ends_mm: 20.0,
            take_off_window_mm: 0.0,
            tortuosity: TortuositySettings::default(),
        }
    }
}

/// Everything measured on a vessel and one route through it. Bends are graded as kinks where they lie
/// between the neck's landmarks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Measures {
    /// The route from access to target.
    pub route: Tortuosity,
    /// The branches passed.
    pub segments: Vec<SegmentMeasures>,
    /// The stretches between neighbouring landmarks at different places.
    pub stretches: Vec<Stretch>,
    /// The neck artery between its landmarks, where both are on the route.
    pub neck: Option<Tortuosity>,
    /// Lesions on the route.
    pub lesions: Vec<LesionMeasures>,
    /// The arch, where the tree has an innominate and a left common carotid.
    pub arch: Option<ArchMeasures>,
    /// Take-off angles of all branches of the tree.
    pub take_offs: Vec<TakeOff>,
}

/// A branch as far as the route passes it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct SegmentMeasures {
    /// Name of the branch.
    pub name: String,
    /// Usable healthy diameter where the route enters it, mm.
    pub diameter_start_mm: f64,
    /// The same where the route leaves it, mm.
    pub diameter_end_mm: f64,
    /// Smallest diameter at a station in it, lesions included, mm.
    pub narrowest_mm: f64,
    /// How winding it is.
    pub tortuosity: Tortuosity,
}

/// The way between two neighbouring landmarks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Stretch {
    /// Landmark nearer the access.
    pub from: String,
    /// Next landmark.
    pub to: String,
    /// How winding it is; its length too.
    pub tortuosity: Tortuosity,
}

/// A narrowing by the three usual definitions.
///
/// With A the residual lumen, B the normal artery beyond, C the original lumen at the lesion and D
/// the common carotid, the percentages are `100 (1 - A / B)` (NASCET), `100 (1 - A / C)` (ECST) and
/// `100 (1 - A / D)` (common carotid method).
///
/// # References
/// Rothwell et al. (1994), *Stroke* 25, 2435-2439, <https://pubmed.ncbi.nlm.nih.gov/7974586>.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct LesionMeasures {
    /// Its name.
    pub name: String,
    /// What it is.
    pub kind: LesionKind,
    /// A, mm.
    pub residual_mm: f64,
    /// B, mm.
    pub reference_mm: f64,
    /// C, mm: the branch's healthy lumen in the lesion's middle.
    pub original_mm: f64,
    /// Percent of B.
    pub nascet_percent: f64,
    /// Percent of C.
    pub ecst_percent: f64,
    /// Percent of D, where a common carotid leads to the lesion.
    pub common_carotid_percent: Option<f64>,
    /// Loss of cross section against B, percent, both round.
    pub area_percent: f64,
}

impl LesionMeasures {
    /// The percentages from the four diameters.
    #[must_use]
    pub fn new(lesion: &TrackLesion, original_mm: f64, common_carotid_mm: Option<f64>) -> Self {
        Self {
            name: lesion.name.clone(),
            kind: lesion.kind,
            residual_mm: lesion.residual_mm,
            reference_mm: lesion.reference_mm,
            original_mm,
            nascet_percent: nascet_percent(lesion.residual_mm, lesion.reference_mm),
            ecst_percent: ecst_percent(lesion.residual_mm, original_mm),
            common_carotid_percent: common_carotid_mm
                .map(|whole_mm| common_carotid_percent(lesion.residual_mm, whole_mm)),
            area_percent: area_percent(lesion.residual_mm, lesion.reference_mm),
        }
    }
}

/// Arch type by the height rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum ArchType {
    /// Below one diameter.
    I,
    /// One to two.
    II,
    /// Above two.
    III,
}

impl ArchType {
    /// The type of a height over the innominate origin in diameters of the left common carotid.
    #[must_use]
    pub fn of(height_in_diameters: f64) -> Self {
        match height_in_diameters {
            h if h < 1.0 => Self::I,
            h if h <= 2.0 => Self::II,
            _ => Self::III,
        }
    }
}

/// The arch by the height rule: vertical distance from the innominate's origin to the top of the
/// arch in diameters of the left common carotid (rule read in a secondary source). Both places are
/// on the arch's centre line; authors who take its outer or inner wall differ at the borders.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ArchMeasures {
    /// The type.
    pub arch_type: ArchType,
    /// Height of the top over the innominate's origin, mm.
    pub height_mm: f64,
    /// Diameter of the left common carotid clear of its ostium, mm.
    pub left_common_carotid_mm: f64,
    /// Their ratio.
    pub height_in_diameters: f64,
}

/// How a branch leaves its parent.
///
/// The take-off angle is the angle between the branch's direction at its origin and the parent's
/// direction of flow there: 0 runs on with the flow, 90 is square, above 90 points back against it.
/// A device coming with the flow turns by this angle, one coming against it (from the groin) by 180
/// degrees minus it. Published means of 65.3, 46.9 and 63.8 degrees for innominate, left carotid and
/// left subclavian (25 cadaver arches, *Neurointervention* 2010;5:79) were read without a statement
/// of the side; a protractor on a specimen gives the acute angle, so compare with
/// `min(take_off, 180 - take_off)`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct TakeOff {
    /// The branch.
    pub branch: String,
    /// Its parent.
    pub parent: String,
    /// The angle, degrees, 0 to 180.
    pub take_off_deg: f64,
}

impl Measures {
    /// Measures a tree and a route through it.
    ///
    /// # Errors
    /// [`GeometryError::OutOfRange`] for settings out of range.
    pub fn of(
        tree: &Tree,
        track: &Track,
        settings: &MeasureSettings,
    ) -> Result<Self, GeometryError> {
        let up = Vector::from(settings.up);
        if !(up.norm() > 0.0 && up.norm().is_finite()) {
            return Err(GeometryError::OutOfRange {
                what: "the length of `up`".into(),
                found: up.norm(),
                needed: Allowed::POSITIVE,
            });
        }
        let place = |name: &str| track.landmarks.iter().find(|l| l.name == name);
        let neck_mm = place(&settings.neck_from)
            .zip(place(&settings.neck_to))
            .map(|(a, b)| [a.s_mm.min(b.s_mm), a.s_mm.max(b.s_mm)])
            .filter(|[from_mm, to_mm]| to_mm > from_mm);
        let wind = |from_mm: f64, to_mm: f64| {
            let mut winding = tortuosity(&track.curve, from_mm, to_mm, &settings.tortuosity)?;
            let bend = &mut winding.sharpest;
            // kinks are graded in the neck only
            bend.grade = neck_mm
                .filter(|[from_mm, to_mm]| (*from_mm..=*to_mm).contains(&bend.middle_mm))
                .map(|_| KinkGrade::of(bend.interior_deg));
            Ok::<_, GeometryError>(winding)
        };
        let mut segments = Vec::new();
        for segment in &track.segments {
            segments.push(SegmentMeasures {
                name: segment.name.clone(),
                diameter_start_mm: track.healthy_diameter_at(segment.start_mm),
                diameter_end_mm: track.healthy_diameter_at(segment.end_mm),
                narrowest_mm: narrowest(track, segment.start_mm, segment.end_mm),
                tortuosity: wind(segment.start_mm, segment.end_mm)?,
            });
        }
        let mut stretches = Vec::new();
        for pair in track.landmarks.windows(2) {
            if pair[1].s_mm > pair[0].s_mm {
                stretches.push(Stretch {
                    from: pair[0].name.clone(),
                    to: pair[1].name.clone(),
                    tortuosity: wind(pair[0].s_mm, pair[1].s_mm)?,
                });
            }
        }
        let neck = neck_mm.map(|[from_mm, to_mm]| wind(from_mm, to_mm));
        Ok(Self {
            route: wind(0.0, track.length_mm())?,
            segments,
            stretches,
            neck: neck.transpose()?,
            lesions: track
                .lesions
                .iter()
                .filter_map(|lesion| measure_lesion(tree, lesion, settings))
                .collect(),
            arch: measure_arch(tree, &up.normalize(), settings),
            take_offs: take_offs(tree, settings.take_off_window_mm),
        })
    }
}

/// Narrowest diameter at the stations and lesion middles of a stretch.
fn narrowest(track: &Track, start_mm: f64, end_mm: f64) -> f64 {
    let inside = |s_mm: &f64| *s_mm >= start_mm && *s_mm <= end_mm;
    track
        .stations
        .iter()
        .map(|s| s.s_mm)
        .chain(track.lesions.iter().map(TrackLesion::middle_mm))
        .filter(inside)
        .chain([start_mm, end_mm])
        .map(|s_mm| 2.0 * track.radius_at(s_mm))
        .fold(f64::INFINITY, f64::min)
}

fn measure_lesion(
    tree: &Tree,
    on_track: &TrackLesion,
    settings: &MeasureSettings,
) -> Option<LesionMeasures> {
    let lesion = tree.lesions.iter().find(|l| l.name == on_track.name)?;
    let middle_mm = lesion.start_mm + 0.5 * lesion.length_mm;
    let original_mm = tree.branches[lesion.branch].lumen.diameter_at(middle_mm);
    // the first common carotid on the way back to the heart, below the lesion
    let mut branch = lesion.branch;
    let mut above_mm = lesion.start_mm;
    let mut common_carotid_mm = None;
    for _ in 0..tree.branches.len() {
        let here = tree.branches.get(branch)?;
        if here.name.contains(&settings.common_carotid) {
            let at_mm = (above_mm - settings.clear_of_ends_mm).max(0.0);
            common_carotid_mm = Some(here.lumen.diameter_at(at_mm));
            break;
        }
        let Some(ostium) = here.ostium else { break };
        branch = ostium.branch;
        above_mm = ostium.at_mm;
    }
    Some(LesionMeasures::new(
        on_track,
        original_mm,
        common_carotid_mm,
    ))
}

fn measure_arch(tree: &Tree, up: &Vector, settings: &MeasureSettings) -> Option<ArchMeasures> {
    let innominate = &tree.branches[tree.branch(&settings.innominate).ok()?];
    let carotid = &tree.branches[tree.branch(&settings.left_common_carotid).ok()?];
    let ostium = innominate.ostium?;
    let aorta = &tree.branches.get(ostium.branch)?.curve;
    let origin_mm = aorta.point_at(ostium.at_mm).coords.dot(up);
    let height_mm = highest(aorta, up) - origin_mm;
    let left_common_carotid_mm = carotid.lumen.diameter_at(settings.clear_of_ends_mm);
    let height_in_diameters = height_mm / left_common_carotid_mm;
    Some(ArchMeasures {
        arch_type: ArchType::of(height_in_diameters),
        height_mm,
        left_common_carotid_mm,
        height_in_diameters,
    })
}

/// Height of the highest point of a curve.
fn highest(curve: &super::Curve, up: &Vector) -> f64 {
    /// Samples to find the top between, mm: two tops closer together than this are one.
    const STEP_MM: f64 = 1.0;
    /// Halvings of the bracket: the height is flat at the top, so 30 are far beyond rounding.
    const HALVINGS: u32 = 30;
    let height = |s_mm: f64| curve.point_at(s_mm).coords.dot(up);
    let rise = |s_mm: f64| curve.tangent_at(s_mm).dot(up);
    let length_mm = curve.length_mm();
    let (mut best_mm, mut top) = (0.0, height(0.0));
    let mut s_mm = 0.0;
    while s_mm < length_mm {
        s_mm = (s_mm + STEP_MM).min(length_mm);
        if height(s_mm) > top {
            (best_mm, top) = (s_mm, height(s_mm));
        }
    }
    // the tangent is level somewhere around the highest sample
    let (mut low_mm, mut high_mm) = (
        (best_mm - STEP_MM).max(0.0),
        (best_mm + STEP_MM).min(length_mm),
    );
    for _ in 0..HALVINGS {
        let middle_mm = 0.5 * (low_mm + high_mm);
        if rise(middle_mm) > 0.0 {
            low_mm = middle_mm;
        } else {
            high_mm = middle_mm;
        }
    }
    top.max(height(0.5 * (low_mm + high_mm)))
}

fn take_offs(tree: &Tree, window_mm: f64) -> Vec<TakeOff> {
    tree.branches
        .iter()
        .filter_map(|branch| {
            let ostium = branch.ostium?;
            let parent = tree.branches.get(ostium.branch)?;
            let start = branch.curve.start();
            let direction = if window_mm > 0.0 {
                branch.curve.point_at(window_mm) - start.origin_mm
            } else {
                start.tangent
            };
            let flow = parent.curve.tangent_at(ostium.at_mm);
            Some(TakeOff {
                branch: branch.name.clone(),
                parent: parent.name.clone(),
                take_off_deg: angle(&direction, &flow).to_degrees(),
            })
        })
        .collect()
}
