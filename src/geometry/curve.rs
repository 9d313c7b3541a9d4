//! Space curves by arc length.

use super::{Frame, GeometryError};

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

/// A space curve, smooth inside, known by its arc length from 0 to [`Curve::length_mm`].
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    pieces: Vec<Piece>,
}

/// A piece with a closed form and the frame at its start.
#[derive(Debug, Clone, PartialEq)]
struct Piece {
    start_mm: f64,
    length_mm: f64,
    frame: Frame,
    turn_rad: f64,
    roll_rad: f64,
}

impl Curve {
    /// A curve of straight stretches and exact arcs, joined without corners.
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
        let mut start_mm = 0.0;
        let mut pieces = Vec::with_capacity(runs.len());
        for (i, run) in runs.iter().enumerate() {
            let refuse = |field: &str, found: f64, needed| GeometryError::OutOfRange {
                what: format!("runs[{i}].{field}"),
                found,
                needed,
            };
            if !(run.length_mm > 0.0 && run.length_mm.is_finite()) {
                return Err(refuse("length_mm", run.length_mm, "finite and > 0"));
            }
            if !(run.turn_rad >= 0.0 && run.turn_rad.is_finite()) {
                return Err(refuse("turn_rad", run.turn_rad, "finite and >= 0"));
            }
            if !run.roll_rad.is_finite() {
                return Err(refuse("roll_rad", run.roll_rad, "finite"));
            }
            pieces.push(Piece {
                start_mm,
                length_mm: run.length_mm,
                frame,
                turn_rad: run.turn_rad,
                roll_rad: run.roll_rad,
            });
            frame = frame.along_arc(run.length_mm, run.turn_rad, run.roll_rad);
            start_mm += run.length_mm;
        }
        Ok(Self { pieces })
    }

    /// Length along the curve, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.pieces.last().map_or(0.0, |p| p.start_mm + p.length_mm)
    }

    /// Point, tangent and twist-free normals at an arc length (clamped to the curve).
    #[must_use]
    pub fn frame_at(&self, s_mm: f64) -> Frame {
        let i = self
            .pieces
            .partition_point(|p| p.start_mm <= s_mm)
            .saturating_sub(1);
        let p = &self.pieces[i];
        let along = (s_mm - p.start_mm).clamp(0.0, p.length_mm);
        p.frame
            .along_arc(along, p.turn_rad * along / p.length_mm, p.roll_rad)
    }
}
