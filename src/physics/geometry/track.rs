//! The route from access to target as a tube.

use super::route::Route;
use super::tree::{find, interpolate};
use super::{Curve, Frame, GeometryError, LesionKind, Lumen, Place, Point, Tree};
use crate::math;
use crate::units::Allowed;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// How a track is made.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[non_exhaustive]
pub struct TrackSettings {
    /// Wished spacing of the stations, mm; the cost of everything along the track is its inverse.
    /// 1 mm puts twenty stations on the half-turn of a 6 mm siphon bend.
    pub spacing_mm: f64,
    /// Curvature times usable radius must nowhere exceed this; below 1. At 1 the tube folds onto
    /// itself and its cross sections no longer order what lies in it; the last tenth is left
    /// because offsets near the inner wall get as badly conditioned as 1 / (1 - product).
    pub overlap_limit: f64,
}

impl TrackSettings {
    /// The default with some values changed, checked as a whole.
    ///
    /// # Errors
    /// [`GeometryError::OutOfRange`] with the field, what was found and its range.
    pub fn with(change: impl FnOnce(&mut Self)) -> Result<Self, GeometryError> {
        let mut settings = Self::default();
        change(&mut settings);
        check_settings(&settings)?;
        Ok(settings)
    }
}

impl Default for TrackSettings {
    fn default() -> Self {
        Self {
            spacing_mm: 1.0,
            overlap_limit: 0.9,
        }
    }
}

/// More stations than this are taken for a slip in the unit of the spacing.
const MOST_STATIONS: f64 = 1e6;

/// An ostium this close to a landmark of the tree, mm, gets no landmark of its own: below what is told apart on
/// a screen, above rounding of entered lengths.
const SAME_PLACE_MM: f64 = 0.5;

/// The route from the access to the target, sampled evenly by arc length.
///
/// Made by [`Tree::track`] or, for bare problems, by [`Track::from_curve`].
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// Spacing of the stations, mm: the wished one, adjusted so that a whole number of cells
    /// covers the length.
    pub spacing_mm: f64,
    /// Stations, `[n + 1]`; station i lies at `i * spacing_mm`, the first at the access.
    pub stations: Vec<Station>,
    /// Named places on the route, in order: landmarks of the tree, `<branch>-origin` at every
    /// ostium that bears no landmark of the tree, `<name>-start` (nearer the access) and `<name>-end` of lesions and clots.
    pub landmarks: Vec<TrackLandmark>,
    /// Usable healthy lumen along the route, not narrowed by lesions.
    pub lumen: Lumen,
    /// The centre line, from access to target.
    pub curve: Curve,
    /// The branches passed, in order and without gaps.
    pub segments: Vec<TrackSegment>,
    /// Lesions on the route, in the order of the tree.
    pub lesions: Vec<TrackLesion>,
    /// Clots on the route, in the order of the tree.
    pub clots: Vec<TrackClot>,
    /// `(arc length mm, N/mm2)`, linear through an ostium.
    stiffness: Vec<(f64, f64)>,
}

/// One station of a track.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Station {
    /// Arc length from the access, mm.
    pub s_mm: f64,
    /// Centre, unit tangent and rotation-minimising normals.
    pub frame: Frame,
    /// Curvature of the centre line, 1/mm.
    pub curvature_per_mm: f64,
    /// Usable lumen radius, mm, lesions included.
    pub radius_mm: f64,
    /// Radial stiffness of the wall, N per mm of length per mm of indentation.
    pub wall_stiffness_n_per_mm2: f64,
    /// Total turning of the centre line from the access to here, rad.
    pub turning_rad: f64,
}

/// A landmark on a track.
#[derive(Debug, Clone, PartialEq)]
pub struct TrackLandmark {
    /// Its name.
    pub name: String,
    /// Arc length from the access, mm.
    pub s_mm: f64,
}

/// The stretch of a track that lies in one branch.
#[derive(Debug, Clone, PartialEq)]
pub struct TrackSegment {
    /// Name of the branch.
    pub name: String,
    /// Where the track enters it, mm.
    pub start_mm: f64,
    /// Where it leaves it, mm.
    pub end_mm: f64,
}

/// A lesion on a track: a smooth (cosine) hourglass, narrowest in its middle.
#[derive(Debug, Clone, PartialEq)]
pub struct TrackLesion {
    /// Its name.
    pub name: String,
    /// What it is.
    pub kind: LesionKind,
    /// End nearer the access, mm; may lie before the access if that is inside the lesion.
    pub start_mm: f64,
    /// End farther from the access, mm; may lie beyond the target.
    pub end_mm: f64,
    /// Diameter the NASCET percentage refers to, mm.
    pub reference_mm: f64,
    /// Diameter open at the narrowest place, mm; see [`Track::set_residual`].
    pub residual_mm: f64,
    /// Diameter of the false lumen where there is a dissection, mm.
    pub false_lumen_mm: Option<f64>,
    /// A ring that does not give.
    pub rigid: bool,
}

impl TrackLesion {
    /// Its middle, where it is narrowest, mm.
    #[must_use]
    pub fn middle_mm(&self) -> f64 {
        0.5 * (self.start_mm + self.end_mm)
    }

    /// Share of the narrowing at an arc length of the track (mm): 0 outside and at the ends, 1 in the middle.
    #[must_use]
    pub fn depth(&self, s_mm: f64) -> f64 {
        if s_mm <= self.start_mm || s_mm >= self.end_mm {
            return 0.0;
        }
        let share = (s_mm - self.start_mm) / (self.end_mm - self.start_mm);
        0.5 * (1.0 - math::cos(TAU * share))
    }
}

/// A clot on a track.
#[derive(Debug, Clone, PartialEq)]
pub struct TrackClot {
    /// Its name.
    pub name: String,
    /// End nearer the access, mm.
    pub start_mm: f64,
    /// End farther from the access, mm; may lie beyond the target.
    pub end_mm: f64,
}

impl Tree {
    /// The route from an access to a target, stations `spacing_mm` (mm, > 0) apart, with the default [`TrackSettings`] but for the spacing.
    ///
    /// # Errors
    /// As [`Tree::track_with`].
    pub fn track(
        &self,
        access: Place,
        target: Place,
        spacing_mm: f64,
    ) -> Result<Track, GeometryError> {
        self.track_with(
            access,
            target,
            &TrackSettings {
                spacing_mm,
                ..TrackSettings::default()
            },
        )
    }

    /// The route from an access to a target: the unique way through the tree, up its parents
    /// against the flow and down into children, as one curve without corners.
    ///
    /// Branches start on their parent's centre line, so the raw way has a corner at every ostium.
    /// Each is replaced by two circular arcs that start as far before it as they end after it: as
    /// wide as the walls leave room for, or else just wide enough that curvature times the radius
    /// of the narrower lumen is 0.8 of the limit. The usable radius is monotone: in the wider lumen
    /// it falls, over one radius before the bend, to what the limit allows, and in the bend to the
    /// narrower lumen's; never below that.
    /// Ostia too close together for bends of their own are turned in one go. A lesion or clot that
    /// reaches past the end of its branch is taken to run on along the route.
    ///
    /// Cost: linear in the length over the spacing and in the pieces of the branches passed.
    ///
    /// # Errors
    /// The first fault [`Tree::check`] finds; [`GeometryError::NoSuchBranch`] and
    /// [`GeometryError::OffBranch`] for the places; [`GeometryError::NoRoute`] between unconnected
    /// branches; [`GeometryError::OutOfRange`] for a setting or a route without length;
    /// [`GeometryError::SelfOverlap`] where an ostium or a bend is too sharp for its lumen.
    pub fn track_with(
        &self,
        access: Place,
        target: Place,
        settings: &TrackSettings,
    ) -> Result<Track, GeometryError> {
        check_settings(settings)?;
        let first_of = |faults: Vec<GeometryError>| match faults.into_iter().next() {
            Some(fault) => Err(fault),
            None => Ok(()),
        };
        self.check().or_else(first_of)?;
        let mut faults = Vec::new();
        for (what, place) in [("the access", access), ("the target", target)] {
            self.check_place(what, place.branch, &[place.at_mm], &mut faults);
        }
        first_of(faults)?;
        let route = Route::between(self, access, target, settings.overlap_limit)?;
        let segments = route
            .spans
            .iter()
            .map(|span| {
                let (start_mm, end_mm) = route.span_mm(span);
                TrackSegment {
                    name: self.branches[span.branch()].name.clone(),
                    start_mm,
                    end_mm,
                }
            })
            .collect();
        let lesions = self
            .lesions
            .iter()
            .filter_map(|lesion| {
                let (start_mm, end_mm) =
                    route.extent(lesion.branch, lesion.start_mm, lesion.length_mm)?;
                Some(TrackLesion {
                    name: lesion.name.clone(),
                    kind: lesion.kind,
                    start_mm,
                    end_mm,
                    reference_mm: lesion.reference_mm,
                    residual_mm: lesion.residual_mm(),
                    false_lumen_mm: lesion.false_lumen_mm,
                    rigid: lesion.rigid,
                })
            })
            .collect();
        let clots = self
            .clots
            .iter()
            .filter_map(|clot| {
                let (start_mm, end_mm) =
                    route.extent(clot.branch, clot.start_mm, clot.length_mm)?;
                Some(TrackClot {
                    name: clot.name.clone(),
                    start_mm,
                    end_mm,
                })
            })
            .collect();
        let mut track = Track {
            spacing_mm: 0.0,
            stations: Vec::new(),
            landmarks: self.landmarks_on(&route),
            lumen: route.lumen,
            curve: route.curve,
            segments,
            lesions,
            clots,
            stiffness: route.stiffness,
        };
        track.add_ends();
        track.refuse_overlap(settings.overlap_limit)?;
        track.sample(settings.spacing_mm)?;
        Ok(track)
    }

    fn landmarks_on(&self, route: &Route) -> Vec<TrackLandmark> {
        let mut landmarks: Vec<TrackLandmark> = self
            .landmarks
            .iter()
            .filter_map(|landmark| {
                Some(TrackLandmark {
                    name: landmark.name.clone(),
                    s_mm: route.locate(landmark.place)?,
                })
            })
            .collect();
        let origins: Vec<TrackLandmark> = route
            .ostia
            .iter()
            .map(|&(branch, s_mm)| TrackLandmark {
                name: format!("{}-origin", self.branches[branch].name),
                s_mm,
            })
            .filter(|origin| {
                landmarks
                    .iter()
                    .all(|l| l.name != origin.name && (l.s_mm - origin.s_mm).abs() >= SAME_PLACE_MM)
            })
            .collect();
        landmarks.extend(origins);
        landmarks
    }
}

fn check_settings(settings: &TrackSettings) -> Result<(), GeometryError> {
    if !(settings.spacing_mm > 0.0 && settings.spacing_mm.is_finite()) {
        return Err(GeometryError::OutOfRange {
            what: "spacing_mm".into(),
            found: settings.spacing_mm,
            needed: Allowed::POSITIVE,
        });
    }
    if !(settings.overlap_limit > 0.0 && settings.overlap_limit < 1.0) {
        return Err(GeometryError::OutOfRange {
            what: "overlap_limit".into(),
            found: settings.overlap_limit,
            needed: Allowed::in_words("between 0 and 1, both excluded")
                .above(0.0)
                .below(1.0),
        });
    }
    Ok(())
}

impl Track {
    /// A track along one curve with a lumen and a wall of one stiffness, for bare problems; one
    /// segment named `tube`.
    ///
    /// `lumen`: diameters, mm, by arc length of the curve, mm; `wall_stiffness_n_per_mm2` > 0, N per mm of length per mm
    /// of indentation; `spacing_mm` > 0, mm, the wished distance of stations.
    ///
    /// # Errors
    /// [`GeometryError::OutOfRange`] and [`GeometryError::TooFew`] for values outside their range,
    /// [`GeometryError::SelfOverlap`] where a bend is too sharp for the lumen.
    pub fn from_curve(
        curve: Curve,
        lumen: Lumen,
        wall_stiffness_n_per_mm2: f64,
        spacing_mm: f64,
    ) -> Result<Self, GeometryError> {
        let settings = TrackSettings {
            spacing_mm,
            ..TrackSettings::default()
        };
        check_settings(&settings)?;
        let mut faults = Vec::new();
        lumen.check("lumen", &mut faults);
        if !(wall_stiffness_n_per_mm2 > 0.0 && wall_stiffness_n_per_mm2.is_finite()) {
            faults.push(GeometryError::OutOfRange {
                what: "wall_stiffness_n_per_mm2".into(),
                found: wall_stiffness_n_per_mm2,
                needed: Allowed::POSITIVE,
            });
        }
        if let Some(fault) = faults.into_iter().next() {
            return Err(fault);
        }
        let mut track = Self {
            spacing_mm: 0.0,
            stations: Vec::new(),
            landmarks: Vec::new(),
            lumen,
            segments: vec![TrackSegment {
                name: "tube".into(),
                start_mm: 0.0,
                end_mm: curve.length_mm(),
            }],
            curve,
            lesions: Vec::new(),
            clots: Vec::new(),
            stiffness: vec![(0.0, wall_stiffness_n_per_mm2)],
        };
        track.refuse_overlap(settings.overlap_limit)?;
        track.sample(spacing_mm)?;
        Ok(track)
    }

    /// A tube of round sections through points, each with its radius; one segment named `tube`.
    ///
    /// | argument | unit | shape | range |
    /// | --- | --- | --- | --- |
    /// | `points` | mm | `[n]`, n >= 2 | finite, neighbours apart, in order from the access |
    /// | `radii_mm` | mm | `[n]`, one for each point | > 0 |
    /// | `wall_stiffness_n_per_mm2` | N per mm of length per mm of indentation | scalar | > 0; 10 000 is as good as rigid for forces below 0.1 N |
    /// | `spacing_mm` | mm | scalar | > 0; adjusted so that a whole number of cells covers the length |
    ///
    /// The centre line is the spline of [`Curve::through_points`], the radius is linear in arc length between the
    /// points. Ends are natural: the curve is straight at its first and its last point.
    ///
    /// # Validity
    /// Points of a smooth course, evenly spaced, some ten to a right angle: the spline does not smooth noise, and three
    /// points do not make a circle. Where a straight run meets an arc it rings: three right angles of 300 mm radius
    /// between straight runs turn by 274 instead of 270 degrees with a point every 26 mm, by 277 with one every 100 mm
    /// on the straight. What was drawn of runs and arcs is exact by [`Curve::from_runs`] and [`Track::from_curve`].
    ///
    /// # Errors
    /// [`GeometryError::LengthMismatch`] where points and radii are not equally many; else as [`Curve::through_points`] and
    /// [`Track::from_curve`].
    ///
    /// # Example
    /// ```
    /// use nestline_physics::geometry::{Point, Track};
    /// use std::f64::consts::PI;
    /// // a right angle of 50 mm radius, a point every five degrees
    /// let points: Vec<Point> = (0..=18)
    ///     .map(|i| (PI / 36.0 * f64::from(i)).sin_cos())
    ///     .map(|(sin, cos)| Point::new(50.0 * sin, 50.0 * (1.0 - cos), 0.0))
    ///     .collect();
    /// let track = Track::through_points(&points, &[3.0; 19], 10.0, 1.0)?;
    /// assert!((track.length_mm() / (25.0 * PI) - 1.0).abs() < 1e-4);
    /// assert_eq!(track.radius_at(40.0), 3.0);
    /// # Ok::<(), nestline_physics::geometry::GeometryError>(())
    /// ```
    pub fn through_points(
        points: &[Point],
        radii_mm: &[f64],
        wall_stiffness_n_per_mm2: f64,
        spacing_mm: f64,
    ) -> Result<Self, GeometryError> {
        if radii_mm.len() != points.len() {
            return Err(GeometryError::LengthMismatch {
                what: "radii_mm".into(),
                needed: points.len(),
                found: radii_mm.len(),
            });
        }
        if let Some(i) = radii_mm.iter().position(|r| !Allowed::POSITIVE.allows(*r)) {
            return Err(GeometryError::OutOfRange {
                what: format!("radii_mm[{i}]"),
                found: radii_mm[i],
                needed: Allowed::POSITIVE,
            });
        }
        let curve = Curve::through_points(points)?;
        let diameters = radii_mm.iter().map(|radius_mm| 2.0 * radius_mm);
        let lumen = Lumen {
            knots_mm: curve.passes(points).into_iter().zip(diameters).collect(),
        };
        Self::from_curve(curve, lumen, wall_stiffness_n_per_mm2, spacing_mm)
    }

    /// Length from access to target, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.curve.length_mm()
    }

    /// Centre (mm), unit tangent and twist-free normals at an arc length (mm, clamped to the track); exact, not
    /// interpolated between stations.
    #[must_use]
    pub fn frame_at(&self, s_mm: f64) -> Frame {
        self.curve.frame_at(s_mm)
    }

    /// Usable lumen radius with lesions, mm, at an arc length (mm). A lesion never widens the lumen.
    #[must_use]
    pub fn radius_at(&self, s_mm: f64) -> f64 {
        let healthy_mm = self.lumen.diameter_at(s_mm);
        let narrowed_mm = self
            .lesions
            .iter()
            .map(|l| healthy_mm + (l.residual_mm - healthy_mm) * l.depth(s_mm))
            .fold(healthy_mm, f64::min);
        0.5 * narrowed_mm
    }

    /// Usable healthy lumen diameter, mm, at an arc length (mm).
    #[must_use]
    pub fn healthy_diameter_at(&self, s_mm: f64) -> f64 {
        self.lumen.diameter_at(s_mm)
    }

    /// Integral of the centre line's curvature between two arc lengths (mm), rad, >= 0.
    #[must_use]
    pub fn turning_between(&self, a_mm: f64, b_mm: f64) -> f64 {
        (self.curve.turning_to(b_mm) - self.curve.turning_to(a_mm)).abs()
    }

    /// The segment at an arc length (mm); at a seam the later one, beyond the ends the last or first.
    #[must_use]
    pub fn segment_at(&self, s_mm: f64) -> &TrackSegment {
        let after = self.segments.partition_point(|s| s.start_mm <= s_mm);
        &self.segments[after.saturating_sub(1)]
    }

    /// An arc length (mm) in words: the branch and the last landmark passed in it
    /// (`internal-carotid, 12 mm past carotid-bifurcation`).
    #[must_use]
    pub fn place_name(&self, s_mm: f64) -> String {
        let segment = self.segment_at(s_mm);
        let passed = self
            .landmarks
            .iter()
            .rfind(|l| l.s_mm <= s_mm && l.s_mm >= segment.start_mm);
        match passed {
            Some(l) => format!("{}, {:.0} mm past {}", segment.name, s_mm - l.s_mm, l.name),
            None => format!(
                "{}, {:.0} mm into it",
                segment.name,
                s_mm - segment.start_mm
            ),
        }
    }

    /// Arc length of a landmark, mm.
    ///
    /// # Errors
    /// [`GeometryError::Unknown`] with the nearest name.
    pub fn landmark(&self, name: &str) -> Result<f64, GeometryError> {
        let names = self.landmarks.iter().map(|l| l.name.as_str());
        find("landmark on the route", name, names).map(|i| self.landmarks[i].s_mm)
    }

    /// Index of a lesion in [`Track::lesions`].
    ///
    /// # Errors
    /// [`GeometryError::Unknown`] with the nearest name.
    pub fn lesion(&self, name: &str) -> Result<usize, GeometryError> {
        let names = self.lesions.iter().map(|l| l.name.as_str());
        find("lesion on the route", name, names)
    }

    /// Opens or closes a lesion (ballooning, stenting, recoil) and updates the stations.
    ///
    /// `residual_mm` >= 0 is the diameter at the narrowest place; 0 is shut, more than the healthy
    /// lumen leaves the healthy lumen.
    ///
    /// # Errors
    /// [`GeometryError::OutOfRange`] for a lesion that is not there or a diameter out of range.
    pub fn set_residual(&mut self, lesion: usize, residual_mm: f64) -> Result<(), GeometryError> {
        if !(residual_mm >= 0.0 && residual_mm.is_finite()) {
            return Err(GeometryError::OutOfRange {
                what: "residual_mm".into(),
                found: residual_mm,
                needed: Allowed::NOT_NEGATIVE,
            });
        }
        let count = self.lesions.len();
        let Some(found) = self.lesions.get_mut(lesion) else {
            return Err(GeometryError::TooFew {
                what: "lesions on the route".into(),
                needed: lesion + 1,
                found: count,
            });
        };
        found.residual_mm = residual_mm;
        let (start_mm, end_mm) = (found.start_mm, found.end_mm);
        let first = self.stations.partition_point(|s| s.s_mm < start_mm);
        let past = self.stations.partition_point(|s| s.s_mm <= end_mm);
        for i in first..past {
            self.stations[i].radius_mm = self.radius_at(self.stations[i].s_mm);
        }
        Ok(())
    }

    /// The same route with all its walls stiffer by a factor > 0.
    #[must_use]
    pub fn with_walls_times(&self, factor: f64) -> Self {
        let mut track = self.clone();
        for (_, stiffness) in &mut track.stiffness {
            *stiffness *= factor;
        }
        for station in &mut track.stations {
            station.wall_stiffness_n_per_mm2 *= factor;
        }
        track
    }

    /// Landmarks for the ends of lesions and clots, then all in order.
    fn add_ends(&mut self) {
        let lesions = self.lesions.iter().map(|l| (&l.name, l.start_mm, l.end_mm));
        let clots = self.clots.iter().map(|c| (&c.name, c.start_mm, c.end_mm));
        let ends: Vec<(String, f64)> = lesions
            .chain(clots)
            .flat_map(|(name, start_mm, end_mm)| {
                [
                    (format!("{name}-start"), start_mm),
                    (format!("{name}-end"), end_mm),
                ]
            })
            .collect();
        let length_mm = self.length_mm();
        for (name, s_mm) in ends {
            let on_route = (0.0..=length_mm).contains(&s_mm);
            if on_route && self.landmarks.iter().all(|l| l.name != name) {
                self.landmarks.push(TrackLandmark { name, s_mm });
            }
        }
        self.landmarks.sort_by(|a, b| a.s_mm.total_cmp(&b.s_mm));
    }

    /// Refuses the worst place where the healthy tube would overlap itself.
    fn refuse_overlap(&self, limit: f64) -> Result<(), GeometryError> {
        /// Places where the limit is met by construction may miss it by rounding.
        const ROUNDING: f64 = 1e-9;
        // with their own diameters: a step has two at one place
        let knots = self.lumen.knots_mm.iter().copied();
        let pieces = self.curve.pieces().iter().flat_map(|p| {
            // both ends from inside the piece, as curvature jumps from piece to piece
            let inset = 1e-6 * p.length_mm;
            [
                p.start_mm + inset,
                p.start_mm + 0.5 * p.length_mm,
                p.start_mm + p.length_mm - inset,
            ]
            .map(|s_mm| (s_mm, self.lumen.diameter_at(s_mm)))
        });
        let worst = knots
            .chain(pieces)
            .map(|(s_mm, d_mm)| (s_mm, self.curve.curvature_at(s_mm), 0.5 * d_mm))
            // of equally bad places the first
            .fold((0.0, 0.0, 0.0), |worst, next| {
                if next.1 * next.2 > worst.1 * worst.2 * (1.0 + ROUNDING) {
                    next
                } else {
                    worst
                }
            });
        let (station_mm, curvature_per_mm, radius_mm) = worst;
        if curvature_per_mm * radius_mm > limit * (1.0 + ROUNDING) {
            return Err(GeometryError::SelfOverlap {
                station_mm,
                place: self.place_name(station_mm),
                curvature_per_mm,
                radius_mm,
                limit,
            });
        }
        Ok(())
    }

    fn sample(&mut self, wished_mm: f64) -> Result<(), GeometryError> {
        let length_mm = self.length_mm();
        let cells = (length_mm / wished_mm).round().max(1.0);
        if cells > MOST_STATIONS {
            return Err(GeometryError::OutOfRange {
                what: format!("spacing_mm on a route of {length_mm:.0} mm"),
                found: wished_mm,
                needed: Allowed::in_words("wide enough for at most a million stations")
                    .at_least(length_mm / (MOST_STATIONS + 0.5)),
            });
        }
        self.spacing_mm = length_mm / cells;
        let mut stations = Vec::new();
        let mut i = 0.0;
        while i <= cells {
            let s_mm = length_mm * (i / cells);
            stations.push(Station {
                s_mm,
                frame: self.curve.frame_at(s_mm),
                curvature_per_mm: self.curve.curvature_at(s_mm),
                radius_mm: self.radius_at(s_mm),
                wall_stiffness_n_per_mm2: interpolate(&self.stiffness, s_mm).unwrap_or(0.0),
                turning_rad: self.curve.turning_to(s_mm),
            });
            i += 1.0;
        }
        self.stations = stations;
        Ok(())
    }
}
