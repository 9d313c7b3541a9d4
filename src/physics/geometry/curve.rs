//! Space curves by arc length.

use super::spline::{Cubic, natural_spline};
use super::{Frame, GeometryError, Point, Vector};
use crate::math;
use crate::units::Allowed;
use nalgebra::Isometry3;

/// One stretch of vessel: straight (`turn_rad == 0`) or a circular arc.
///
/// `roll_rad` is the direction of the bend's plane, measured from the first normal of the twist-free
/// frame carried along from the start of the curve: roll 0 then roll pi make an S, equal rolls a C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// Length along the centre line, mm, > 0.
    pub length_mm: f64,
    /// Change of direction over the run, rad, >= 0.
    pub turn_rad: f64,
    /// Direction of the bend, rad.
    pub roll_rad: f64,
    /// Lumen diameter at the start of the run, mm.
    pub diameter_start_mm: f64,
    /// Lumen diameter at its end, mm; linear in between.
    pub diameter_end_mm: f64,
}

/// A space curve without corners, known by its arc length from 0 to [`Curve::length_mm`].
///
/// Made of exact arcs ([`Curve::from_runs`]), of a spline ([`Curve::through_points`]), or of parts
/// of both ([`Curve::section`], the centre line of a [`Track`](super::Track)). Every method takes an
/// arc length and clamps it to the curve. Arcs are exact to rounding; on splines arc lengths are
/// good to 1e-10 of the length and frames turn about the tangent by less than 1e-6 rad a radian of
/// turning.
///
/// Where two arcs meet the direction is continuous and the curvature is not: at the seam the
/// curvature of the later piece is returned.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    pieces: Vec<Piece>,
}

/// A piece with the twist-free frame at its start.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    pub(super) start_mm: f64,
    pub(super) length_mm: f64,
    pub(super) frame: Frame,
    /// Integral of curvature from the start of the curve to the start of the piece.
    turning_before_rad: f64,
    turning_rad: f64,
    shape: Shape,
}

/// What a piece is between its ends, relative to the frame at its start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Shape {
    /// A straight stretch or a circular arc.
    Arc { turn_rad: f64, roll_rad: f64 },
    /// A span of a spline.
    Cubic(Cubic),
}

impl Piece {
    pub(super) fn new(frame: Frame, length_mm: f64, shape: Shape) -> Self {
        Self {
            start_mm: 0.0,
            length_mm,
            frame,
            turning_before_rad: 0.0,
            turning_rad: match shape {
                Shape::Arc { turn_rad, .. } => turn_rad.abs(),
                Shape::Cubic(cubic) => cubic.turning_to(1.0),
            },
            shape,
        }
    }

    fn frame_at(&self, along_mm: f64) -> Frame {
        match self.shape {
            Shape::Arc { turn_rad, roll_rad } => {
                let share = along_mm / self.length_mm;
                self.frame.along_arc(along_mm, turn_rad * share, roll_rad)
            }
            Shape::Cubic(cubic) => {
                let u = cubic.parameter_at(along_mm, self.length_mm);
                self.frame.carried_to(
                    self.frame.origin_mm + cubic.offset(u),
                    cubic.velocity(u).normalize(),
                )
            }
        }
    }

    /// The part from one place to another, run backwards if `to < from`; its normals are a hint.
    fn part(&self, from_mm: f64, to_mm: f64) -> Self {
        let start = self.frame_at(from_mm);
        let backwards = to_mm < from_mm;
        let frame = if backwards { start.reversed() } else { start };
        let length_mm = (to_mm - from_mm).abs();
        let shape = match self.shape {
            Shape::Arc { turn_rad, roll_rad } => Shape::Arc {
                turn_rad: turn_rad * length_mm / self.length_mm,
                // reversing a frame flips its second normal
                roll_rad: if backwards { -roll_rad } else { roll_rad },
            },
            Shape::Cubic(cubic) => Shape::Cubic(cubic.part(
                cubic.parameter_at(from_mm, self.length_mm),
                cubic.parameter_at(to_mm, self.length_mm),
            )),
        };
        Self::new(frame, length_mm, shape)
    }

    /// Nearest place on the piece: arc length along it and distance.
    fn closest(&self, point: &Point) -> (f64, f64) {
        let along_mm = match self.shape {
            Shape::Arc { turn_rad, roll_rad } => self.closest_on_arc(point, turn_rad, roll_rad),
            Shape::Cubic(cubic) => self.closest_on_cubic(point, &cubic),
        };
        [0.0, along_mm, self.length_mm]
            .map(|a| (a, (self.frame_at(a).origin_mm - point).norm()))
            .into_iter()
            .fold((0.0, f64::INFINITY), |best, next| {
                if next.1 < best.1 { next } else { best }
            })
    }

    fn closest_on_arc(&self, point: &Point, turn_rad: f64, roll_rad: f64) -> f64 {
        let offset = point - self.frame.origin_mm;
        let forward = offset.dot(&self.frame.tangent);
        // a turn below this moves the ends of the piece by less than rounding error
        if turn_rad.abs() < 1e-12 {
            return forward.clamp(0.0, self.length_mm);
        }
        let radius = self.length_mm / turn_rad;
        let inward = offset.dot(&self.frame.across(roll_rad));
        let mut angle = math::atan2(forward, radius - inward);
        if angle < 0.0 {
            angle += std::f64::consts::TAU;
        }
        (angle * radius).clamp(0.0, self.length_mm)
    }

    fn closest_on_cubic(&self, point: &Point, cubic: &Cubic) -> f64 {
        let offset = point - self.frame.origin_mm;
        let mut u = (offset.dot(&cubic.c1) / cubic.c1.norm_squared()).clamp(0.0, 1.0);
        // Gauss-Newton on the squared distance: pieces turn little, so it settles in a few steps
        for _ in 0..30 {
            let velocity = cubic.velocity(u);
            let miss = offset - cubic.offset(u);
            let bent = 1.0 - miss.dot(&cubic.curvature_vector(u));
            let step = miss.dot(&velocity) / (velocity.norm_squared() * bent.max(0.1));
            let next = (u + step).clamp(0.0, 1.0);
            if (next - u).abs() < 1e-15 {
                break;
            }
            u = next;
        }
        cubic.length_to(u)
    }
}

impl Curve {
    /// A curve of straight stretches and exact arcs, `[n]`, n >= 1, joined without corners, from `start` on.
    ///
    /// # Errors
    /// [`GeometryError::TooFew`] without runs, [`GeometryError::OutOfRange`] for a length that is
    /// not positive or an angle that is not finite.
    pub fn from_runs(start: Frame, runs: &[Run]) -> Result<Self, GeometryError> {
        if runs.is_empty() {
            return Err(GeometryError::TooFew {
                what: "runs".into(),
                needed: 1,
                found: 0,
            });
        }
        let mut frame = start;
        let mut pieces = Vec::with_capacity(runs.len());
        for (i, run) in runs.iter().enumerate() {
            let refuse = |field: &str, found: f64, needed| GeometryError::OutOfRange {
                what: format!("runs[{i}].{field}"),
                found,
                needed,
            };
            if !(run.length_mm > 0.0 && run.length_mm.is_finite()) {
                return Err(refuse("length_mm", run.length_mm, Allowed::POSITIVE));
            }
            if !(run.turn_rad >= 0.0 && run.turn_rad.is_finite()) {
                return Err(refuse("turn_rad", run.turn_rad, Allowed::NOT_NEGATIVE));
            }
            if !run.roll_rad.is_finite() {
                return Err(refuse("roll_rad", run.roll_rad, Allowed::FINITE));
            }
            let shape = Shape::Arc {
                turn_rad: run.turn_rad,
                roll_rad: run.roll_rad,
            };
            pieces.push(Piece::new(frame, run.length_mm, shape));
            frame = frame.along_arc(run.length_mm, run.turn_rad, run.roll_rad);
        }
        Ok(Self::join(pieces))
    }

    /// The C2 cubic spline through points, mm, `[n]`, n >= 2, parametrised by chord length, with natural ends
    /// (no curvature at the first and last point). Through dense points of a smooth curve the
    /// distance to it falls with the fourth power of their spacing; it does not smooth noise.
    ///
    /// # Errors
    /// [`GeometryError::TooFew`] below two points; [`GeometryError::OutOfRange`] for coordinates
    /// that are not finite, neighbouring points that coincide, or points that fold back so that
    /// the curve would have a cusp.
    pub fn through_points(points: &[Point]) -> Result<Self, GeometryError> {
        let spans = natural_spline(points)?;
        Ok(Self::join(
            spans
                .into_iter()
                .map(|(origin_mm, cubic)| {
                    let hint = Vector::ith(cubic.c1.iamin(), 1.0);
                    let frame = Frame::new(origin_mm, cubic.c1, hint);
                    Piece::new(frame, cubic.length_to(1.0), Shape::Cubic(cubic))
                })
                .collect(),
        ))
    }

    /// Arc lengths, mm, at which a curve made by [`Curve::through_points`] passes through these points, shape
    /// `[points.len()]`, rising; a point it was not made of gets the curve's length.
    ///
    /// Takes a time that grows with the number of points, and is right where the curve passes close by itself.
    #[must_use]
    pub fn passes(&self, points: &[Point]) -> Vec<f64> {
        // a piece starts at every point but the last, at exactly that place
        const SAME_MM: f64 = 1e-9;
        let mut next = 0;
        let place = |point: &Point| {
            let later = &self.pieces[next..];
            let here = |piece: &Piece| (piece.frame.origin_mm - point).norm() <= SAME_MM;
            match later.iter().position(here) {
                Some(i) => {
                    next += i + 1;
                    later[i].start_mm
                }
                None => {
                    next = self.pieces.len();
                    self.length_mm()
                }
            }
        };
        points.iter().map(place).collect()
    }

    /// Strings pieces together, carrying the first piece's normals along. The pieces must follow
    /// each other without gaps or corners; there must be at least one.
    pub(super) fn join(mut pieces: Vec<Piece>) -> Self {
        let mut end: Option<(Frame, f64, f64)> = None;
        for piece in &mut pieces {
            if let Some((frame, start_mm, turning_rad)) = end {
                let carried = Frame::new(piece.frame.origin_mm, piece.frame.tangent, frame.n1);
                if let Shape::Arc { roll_rad, .. } = &mut piece.shape {
                    *roll_rad = carried.roll_of(&piece.frame.across(*roll_rad));
                }
                piece.frame = carried;
                piece.start_mm = start_mm;
                piece.turning_before_rad = turning_rad;
            }
            end = Some((
                piece.frame_at(piece.length_mm),
                piece.start_mm + piece.length_mm,
                piece.turning_before_rad + piece.turning_rad,
            ));
        }
        Self { pieces }
    }

    pub(super) fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    /// Length along the curve, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.pieces.last().map_or(0.0, |p| p.start_mm + p.length_mm)
    }

    fn piece_at(&self, s_mm: f64) -> (&Piece, f64) {
        let i = self
            .pieces
            .partition_point(|p| p.start_mm <= s_mm)
            .saturating_sub(1);
        let piece = &self.pieces[i];
        (piece, (s_mm - piece.start_mm).clamp(0.0, piece.length_mm))
    }

    /// Point (mm), unit tangent and twist-free normals at an arc length (mm, clamped to the curve).
    #[must_use]
    pub fn frame_at(&self, s_mm: f64) -> Frame {
        let (piece, along_mm) = self.piece_at(s_mm);
        piece.frame_at(along_mm)
    }

    /// The frame at the start.
    #[must_use]
    pub fn start(&self) -> Frame {
        self.frame_at(0.0)
    }

    /// The frame at the end.
    #[must_use]
    pub fn end(&self) -> Frame {
        self.frame_at(self.length_mm())
    }

    /// Point (mm) at an arc length (mm).
    #[must_use]
    pub fn point_at(&self, s_mm: f64) -> Point {
        self.frame_at(s_mm).origin_mm
    }

    /// Unit tangent at an arc length (mm).
    #[must_use]
    pub fn tangent_at(&self, s_mm: f64) -> Vector {
        self.frame_at(s_mm).tangent
    }

    /// Curvature at an arc length (mm), 1/mm, >= 0.
    #[must_use]
    pub fn curvature_at(&self, s_mm: f64) -> f64 {
        let (piece, along_mm) = self.piece_at(s_mm);
        match piece.shape {
            Shape::Arc { turn_rad, .. } => turn_rad.abs() / piece.length_mm,
            Shape::Cubic(cubic) => cubic.curvature(cubic.parameter_at(along_mm, piece.length_mm)),
        }
    }

    /// Torsion at an arc length (mm), 1/mm, positive for a right-handed screw; 0 on arcs and straights.
    ///
    /// A spline through points has a piecewise constant third derivative, so its torsion is first
    /// order in the spacing of the points (second order half-way between them). The change of plane
    /// where two arcs meet is no finite torsion and is not in here.
    #[must_use]
    pub fn torsion_at(&self, s_mm: f64) -> f64 {
        let (piece, along_mm) = self.piece_at(s_mm);
        match piece.shape {
            Shape::Arc { .. } => 0.0,
            Shape::Cubic(cubic) => cubic.torsion(cubic.parameter_at(along_mm, piece.length_mm)),
        }
    }

    /// Integral of curvature from the start to an arc length (mm), rad, >= 0.
    #[must_use]
    pub fn turning_to(&self, s_mm: f64) -> f64 {
        let (piece, along_mm) = self.piece_at(s_mm);
        piece.turning_before_rad
            + match piece.shape {
                Shape::Arc { turn_rad, .. } => turn_rad.abs() * along_mm / piece.length_mm,
                Shape::Cubic(cubic) => {
                    cubic.turning_to(cubic.parameter_at(along_mm, piece.length_mm))
                }
            }
    }

    /// The nearest place of the curve to a point (mm): its arc length and its distance, both mm. Of several
    /// equally near places the first is taken.
    #[must_use]
    pub fn closest(&self, point: &Point) -> (f64, f64) {
        let mut best = (0.0, f64::INFINITY);
        for piece in &self.pieces {
            // no point of the piece is farther from its start than its length
            if (piece.frame.origin_mm - point).norm() - piece.length_mm > best.1 {
                continue;
            }
            let (along_mm, distance_mm) = piece.closest(point);
            if distance_mm < best.1 {
                best = (piece.start_mm + along_mm, distance_mm);
            }
        }
        best
    }

    /// The same curve, moved and turned as a whole.
    #[must_use]
    pub fn moved(&self, motion: &Isometry3<f64>) -> Self {
        let piece = |piece: &Piece| {
            let frame = &piece.frame;
            Piece {
                frame: Frame::new(
                    motion * frame.origin_mm,
                    motion * frame.tangent,
                    motion * frame.n1,
                ),
                shape: match piece.shape {
                    Shape::Cubic(cubic) => Shape::Cubic(Cubic {
                        c1: motion * cubic.c1,
                        c2: motion * cubic.c2,
                        c3: motion * cubic.c3,
                    }),
                    arc @ Shape::Arc { .. } => arc,
                },
                ..*piece
            }
        };
        Self {
            pieces: self.pieces.iter().map(piece).collect(),
        }
    }

    /// The part of the curve from one arc length to another, mm, run backwards if `to_mm < from_mm`;
    /// both are clamped to the curve. Its normals start as the curve's own (the first one where it
    /// runs backwards).
    ///
    /// # Errors
    /// [`GeometryError::OutOfRange`] if nothing is left between the two.
    pub fn section(&self, from_mm: f64, to_mm: f64) -> Result<Self, GeometryError> {
        let pieces = self.parts(from_mm, to_mm);
        if pieces.is_empty() {
            return Err(GeometryError::OutOfRange {
                what: "the length of a section".into(),
                found: (to_mm - from_mm).abs(),
                needed: Allowed::in_words("> 0 mm").above(0.0),
            });
        }
        Ok(Self::join(pieces))
    }

    /// Pieces of a section, not yet joined.
    pub(super) fn parts(&self, from_mm: f64, to_mm: f64) -> Vec<Piece> {
        let (low_mm, high_mm) = (from_mm.min(to_mm), from_mm.max(to_mm));
        let first = self
            .pieces
            .partition_point(|p| p.start_mm + p.length_mm <= low_mm);
        let mut parts: Vec<Piece> = self.pieces[first..]
            .iter()
            .take_while(|p| p.start_mm < high_mm)
            .filter_map(|piece| {
                let a = (low_mm - piece.start_mm).max(0.0);
                let b = (high_mm - piece.start_mm).min(piece.length_mm);
                // slivers left by rounding have no direction of their own
                (b - a > SLIVER_MM).then(|| {
                    if from_mm <= to_mm {
                        piece.part(a, b)
                    } else {
                        piece.part(b, a)
                    }
                })
            })
            .collect();
        if from_mm > to_mm {
            parts.reverse();
        }
        parts
    }
}

/// Pieces shorter than this are dropped, mm: a millionth of a wire's diameter, yet far above the
/// rounding error of a two-metre route.
pub(super) const SLIVER_MM: f64 = 1e-9;
