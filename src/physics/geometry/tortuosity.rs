//! How winding a curve is.

use super::bends::{self, Cell, Parting};
use super::{Curve, GeometryError, Vector};
use crate::math;
use crate::units::Allowed;
use serde::{Deserialize, Serialize};

/// Two neighbouring normals count as an inflection when `|N1 - N2|^2` exceeds this, that is when
/// they differ by more than 60 degrees (Bullitt et al. 2003).
const INFLECTION: f64 = 1.0;

/// How tortuosity is measured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[non_exhaustive]
pub struct TortuositySettings {
    /// Wished spacing of the samples, mm, adjusted to whole cells. Coarser underestimates the sum
    /// of angles, finer costs time; the error falls with its square.
    pub step_mm: f64,
    /// The limbs of a bend may be this far apart along the curve, mm: long enough for an acute bend
    /// of a neck artery (150 degrees at a radius of 5 mm are 13 mm), too short for a wide curve.
    pub bend_window_mm: f64,
    /// Less curvature than this, 1/mm, is straight: has no plane and takes part in no inflection. 0.012
    /// is a radius of 83 mm: what tracing on images leaves bends nearly as much, in a plane of its own every few
    /// millimetres. Lower, the planes of the aorta's long curves count as well, and with them noise.
    pub straight_below_per_mm: f64,
    /// A place has a plane only at the crest of its bend: where it bends by at least this share of the most around
    /// it, 0 to 1. From one bend to the next curvature passes near nothing, and there a tenth of a millimetre turns the
    /// plane by half a turn. Lower, more of that noise counts; at 1 only the very peaks do.
    pub crest_share: f64,
    /// How far around a place its crest is sought, mm to either side: less than bends of a siphon lie apart.
    pub crest_window_mm: f64,
    /// Neighbouring peaks of curvature are two bends if it falls below this share of the lower one in between, 0 to 1.
    pub valley_share: f64,
    /// Bends that turn by less than this, degrees, are not counted.
    pub least_bend_deg: f64,
}

impl TortuositySettings {
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

    pub(super) fn check(&self) -> Result<(), GeometryError> {
        for (what, found) in [
            ("step_mm", self.step_mm),
            ("bend_window_mm", self.bend_window_mm),
            ("straight_below_per_mm", self.straight_below_per_mm),
            ("crest_window_mm", self.crest_window_mm),
            ("least_bend_deg", self.least_bend_deg),
        ] {
            refuse_unless_positive(what, found)?;
        }
        for (what, found) in [
            ("crest_share", self.crest_share),
            ("valley_share", self.valley_share),
        ] {
            if !(found > 0.0 && found < 1.0) {
                return Err(GeometryError::OutOfRange {
                    what: what.into(),
                    found,
                    needed: Allowed::in_words("between 0 and 1, both excluded")
                        .above(0.0)
                        .below(1.0),
                });
            }
        }
        Ok(())
    }
}

fn refuse_unless_positive(what: &str, found: f64) -> Result<(), GeometryError> {
    if Allowed::POSITIVE.allows(found) {
        return Ok(());
    }
    Err(GeometryError::OutOfRange {
        what: what.into(),
        found,
        needed: Allowed::POSITIVE,
    })
}

impl Default for TortuositySettings {
    fn default() -> Self {
        Self {
            step_mm: 0.5,
            bend_window_mm: 15.0,
            straight_below_per_mm: 0.012,
            crest_share: 0.9,
            crest_window_mm: 6.0,
            valley_share: 0.85,
            least_bend_deg: 20.0,
        }
    }
}

/// How winding a stretch of a curve is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Tortuosity {
    /// Length along the curve, mm.
    pub length_mm: f64,
    /// Straight distance between the ends, mm.
    pub chord_mm: f64,
    /// Length over chord; infinite for a closed curve.
    pub distance_metric: f64,
    /// Places where the bend turns to another side.
    pub inflections: u32,
    /// `(inflections + 1)` times the distance metric: without an inflection it is the latter.
    pub inflection_count_metric: f64,
    /// Sum over the samples of `sqrt(in-plane angle^2 + torsion angle^2)`, over the length, rad/mm.
    pub sum_of_angles_rad_per_mm: f64,
    /// Integral of curvature, degrees.
    pub turning_deg: f64,
    /// Bends: stretches about one peak of curvature and in one plane, that turn by more than a little.
    pub bends: u32,
    /// The sharpest bend.
    pub sharpest: Bend,
}

/// A bend.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Bend {
    /// Arc length on the curve of its middle, with half of its turning on either side, mm.
    pub middle_mm: f64,
    /// Angle between its limbs, degrees: 180 is straight.
    pub interior_deg: f64,
    /// Its grade, where it lies in the neck artery: see [`Measures`](super::Measures). None elsewhere, and
    /// where nothing says which stretch is the neck.
    pub grade: Option<KinkGrade>,
}

/// Grade of a kink of the neck artery by the angle between its limbs.
///
/// The grades describe the internal carotid between its origin and the skull base. Elsewhere bends as
/// sharp are how the artery runs: a siphon turns by more than a right angle twice.
///
/// An interior angle of 90 degrees or less makes a kink (Benson et al., AJNR 2020,
/// <https://pmc.ncbi.nlm.nih.gov/articles/PMC7507229>); mild from 60, moderate from 30, severe below
/// (classes after Metz and after Weibel & Fields, read in a secondary source).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum KinkGrade {
    /// Interior angle above 90 degrees.
    None,
    /// 60 to 90.
    Mild,
    /// 30 to 60.
    Moderate,
    /// Below 30.
    Severe,
}

impl KinkGrade {
    /// The grade of an angle between limbs, degrees, 0 to 180.
    #[must_use]
    pub fn of(interior_deg: f64) -> Self {
        match interior_deg {
            a if a > 90.0 => Self::None,
            a if a >= 60.0 => Self::Mild,
            a if a >= 30.0 => Self::Moderate,
            _ => Self::Severe,
        }
    }
}

/// Measures the stretch of a curve between two arc lengths (clamped to it).
///
/// The curve is sampled in equal cells. The in-plane angle of a cell is the angle between the
/// tangents at its ends; its torsion angle the mean of the angles between its plane and those of
/// the bent cells before and after it. Two conventions that the publication leaves open: the
/// inflection count metric adds 1 to the count; and where a planar curve changes side its plane's
/// normal flips by 180 degrees, which is not torsion, so angles above 90 count as 180 minus
/// themselves.
///
/// A third one is ours: only cells at the crest of their bend have a plane
/// ([`TortuositySettings::crest_share`]), and torsion is counted from one of them to the next. Without it the sum
/// measures noise: routes traced at 1 mm with 0.1 mm of noise came out up to 2.4 times as winding as they are, and
/// come out within 5 % in 87 of 90 draws with it (`tests/imports.rs`). A curve whose curvature does not
/// change, straight, circle or helix, is measured as published.
///
/// The sharpest bend is the largest angle between two tangents at most
/// [`TortuositySettings::bend_window_mm`] apart.
///
/// # Errors
/// [`GeometryError::OutOfRange`] for settings not finite and > 0 or a stretch without length.
///
/// # Example
/// ```
/// use nestline_physics::geometry::{Curve, Frame, Point, Run, TortuositySettings, Vector, tortuosity};
/// let quarter = Run {
///     length_mm: 10.0 * std::f64::consts::FRAC_PI_2,
///     turn_rad: std::f64::consts::FRAC_PI_2,
///     roll_rad: 0.0,
///     diameter_start_mm: 5.0,
///     diameter_end_mm: 5.0,
/// };
/// let start = Frame::new(Point::origin(), Vector::z(), Vector::x());
/// let curve = Curve::from_runs(start, &[quarter])?;
/// let bend = tortuosity(&curve, 0.0, curve.length_mm(), &TortuositySettings::default())?;
/// assert!((bend.distance_metric - 1.110_721).abs() < 1e-6);
/// assert!((bend.sum_of_angles_rad_per_mm - 0.1).abs() < 1e-12);
/// # Ok::<(), nestline_physics::geometry::GeometryError>(())
/// ```
///
/// # References
/// Bullitt et al. (2003), *IEEE Trans. Med. Imaging* 22, 1163-1171,
/// <https://pmc.ncbi.nlm.nih.gov/articles/PMC2430603>.
pub fn tortuosity(
    curve: &Curve,
    from_mm: f64,
    to_mm: f64,
    settings: &TortuositySettings,
) -> Result<Tortuosity, GeometryError> {
    let from_mm = from_mm.clamp(0.0, curve.length_mm());
    let to_mm = to_mm.clamp(0.0, curve.length_mm());
    let length_mm = to_mm - from_mm;
    settings.check()?;
    refuse_unless_positive("the length of the stretch", length_mm)?;
    // two cells at least: one has no neighbour to bend against
    let cells = (length_mm / settings.step_mm).ceil().max(2.0);
    let step_mm = length_mm / cells;
    let mut tangents = Vec::new();
    let mut i = 0.0;
    while i <= cells {
        tangents.push(curve.tangent_at(from_mm + length_mm * (i / cells)));
        i += 1.0;
    }
    let cells: Vec<Cell> = tangents
        .windows(2)
        .map(|pair| Cell {
            turn_rad: angle(&pair[0], &pair[1]),
            normal: pair[0].cross(&pair[1]),
        })
        .collect();
    let parting = Parting {
        step_mm,
        valley_share: settings.valley_share,
        least_rad: settings.least_bend_deg.to_radians(),
    };
    let (bent, straight_sum_rad) = crests(&cells, step_mm, settings);
    let chord_mm = (curve.point_at(to_mm) - curve.point_at(from_mm)).norm();
    let distance_metric = length_mm / chord_mm;
    let flips = bent
        .windows(2)
        .filter(|w| (w[0].normal - w[1].normal).norm_squared() > INFLECTION)
        .count();
    let inflections = u32::try_from(flips).unwrap_or(u32::MAX);
    Ok(Tortuosity {
        length_mm,
        chord_mm,
        distance_metric,
        inflections,
        inflection_count_metric: (f64::from(inflections) + 1.0) * distance_metric,
        sum_of_angles_rad_per_mm: (straight_sum_rad + sum_of_angles(&bent)) / length_mm,
        bends: bends::count(&cells, &parting),
        turning_deg: (curve.turning_to(to_mm) - curve.turning_to(from_mm)).to_degrees(),
        sharpest: sharpest(&tangents, from_mm, step_mm, settings.bend_window_mm),
    })
}

/// Cells that have a plane, their normals of length one, and the turn of all others, rad.
fn crests(cells: &[Cell], step_mm: f64, settings: &TortuositySettings) -> (Vec<Cell>, f64) {
    let straight_rad = settings.straight_below_per_mm * step_mm;
    let mut bent = Vec::new();
    let mut others_rad = 0.0;
    for (i, cell) in cells.iter().enumerate() {
        // cells whose middles lie within the window
        let within = |k: &usize| f64_of(i.abs_diff(*k)) * step_mm <= settings.crest_window_mm;
        let turn = |k: usize| cells[k].turn_rad;
        let before = (0..i).rev().take_while(within).map(turn);
        let after = (i + 1..cells.len()).take_while(within).map(turn);
        let peak_rad = before.chain(after).fold(cell.turn_rad, f64::max);
        if cell.turn_rad < straight_rad || cell.turn_rad < settings.crest_share * peak_rad {
            others_rad += cell.turn_rad;
        } else {
            bent.push(Cell {
                normal: cell.normal.normalize(),
                ..*cell
            });
        }
    }
    (bent, others_rad)
}

/// A count as a number.
fn f64_of(count: usize) -> f64 {
    u32::try_from(count).map_or(f64::from(u32::MAX), f64::from)
}

fn sum_of_angles(bent: &[Cell]) -> f64 {
    let torsion: Vec<f64> = bent
        .windows(2)
        .map(|w| {
            let between = angle(&w[0].normal, &w[1].normal);
            between.min(std::f64::consts::PI - between)
        })
        .collect();
    bent.iter()
        .enumerate()
        .map(|(i, cell)| {
            let before = i.checked_sub(1).map(|k| torsion[k]);
            let after = torsion.get(i).copied();
            let twist = match (before, after) {
                (Some(a), Some(b)) => 0.5 * (a + b),
                (Some(one), None) | (None, Some(one)) => one,
                (None, None) => 0.0,
            };
            math::hypot(cell.turn_rad, twist)
        })
        .sum()
}

fn sharpest(tangents: &[Vector], from_mm: f64, step_mm: f64, window_mm: f64) -> Bend {
    /// Of bends equal up to rounding the first is taken, in whatever pose the vessel lies.
    const EQUAL: f64 = 1e-9;
    // the distance of unit vectors rises with their angle and is cheaper
    let mut widest = 0.0;
    let mut limbs = 0..1;
    for (i, first) in tangents.iter().enumerate() {
        let mut apart_mm = step_mm;
        for (k, second) in tangents.iter().enumerate().skip(i + 1) {
            // the window may be met up to rounding
            if apart_mm > window_mm * (1.0 + 1e-12) {
                break;
            }
            let apart = (second - first).norm_squared();
            if apart > widest * (1.0 + EQUAL) {
                widest = apart;
                limbs = i..k;
            }
            apart_mm += step_mm;
        }
    }
    let interior_deg = 180.0 - angle(&tangents[limbs.start], &tangents[limbs.end]).to_degrees();
    // its middle has half of the turning on either side
    let turns = || tangents.windows(2).map(|w| angle(&w[0], &w[1]));
    let half_rad = 0.5 * turns().skip(limbs.start).take(limbs.len()).sum::<f64>();
    let mut turned_rad = 0.0;
    let mut middle_mm = from_mm;
    for (i, turn_rad) in turns().enumerate() {
        let left_rad = half_rad - turned_rad;
        if i >= limbs.start && turn_rad > 0.0 {
            middle_mm += step_mm * (left_rad / turn_rad).clamp(0.0, 1.0);
            turned_rad += turn_rad;
            if turned_rad >= half_rad {
                break;
            }
        } else {
            middle_mm += step_mm;
        }
    }
    Bend {
        middle_mm,
        // parallel limbs are a whole half-turn, not one by a rounding more
        interior_deg: interior_deg.max(0.0),
        grade: None,
    }
}

/// Angle between two vectors, rad, precise also where it is small.
pub(super) fn angle(a: &Vector, b: &Vector) -> f64 {
    math::atan2(a.cross(b).norm(), a.dot(b))
}
