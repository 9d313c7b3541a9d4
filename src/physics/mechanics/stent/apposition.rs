//! How far the rim of a stent stands off the wall, by angle round the circumference.

use crate::device::StentSpec;
use crate::geometry::Frame;
use crate::math;
use crate::mechanics::equilibrium::settle::Settle;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::scene::{End, Rod, Scene, StartSupport, TubeStation};
use crate::mechanics::rod::settings::Settings;
use crate::units::Allowed;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Where a bend pushes the end of a stent that would rather be straight.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct RimShift {
    /// Shift of the rim's centre on the first and second normal, mm.
    pub shift_mm: [f64; 2],
    /// Angle between the stent's axis and the vessel's there, rad, >= 0.
    pub tilt_rad: f64,
}

/// Shift of the end of a long stent in an even bend, mm, and its tilt, rad: a beam of stiffness `B`
/// (N mm2) on a bed of stiffness `k` (N/mm2), its end free of moment, `k0 sqrt(B / k)` and
/// `k0 (4 B / k)^(1/4)`.
///
/// # References
/// Beam on an elastic foundation with a moment at its end (Hetenyi, textbook, from memory).
#[must_use]
pub fn long_stent_shift(
    curvature_per_mm: f64,
    stiffness_n_mm2: f64,
    bed_n_per_mm2: f64,
) -> (f64, f64) {
    (
        curvature_per_mm * (stiffness_n_mm2 / bed_n_per_mm2).sqrt(),
        curvature_per_mm * math::pow(4.0 * stiffness_n_mm2 / bed_n_per_mm2, 0.25),
    )
}

/// Shift of both ends of a stent, near end first, settled as an elastic rod in the vessel's bends.
///
/// `frames`, `[n]`, n >= 5, are the vessel's frames along the stent, evenly spaced by `spacing_mm` (mm, > 0); the rod lies on
/// a bed that holds it to the centre line. The vessel is taken to keep its bends: a stent
/// straightens a real one a little, so the shift errs on the large side.
///
/// # Errors
/// [`MechanicsError::OutOfRange`] for fewer than five frames or stiffnesses not above zero, and what
/// [`Settle::settle`] refuses.
pub fn rim_shifts(
    frames: &[Frame],
    spacing_mm: f64,
    stiffness_n_mm2: f64,
    bed_n_per_mm2: f64,
) -> Result<[RimShift; 2], MechanicsError> {
    // the bending stencil needs three cells, and both ends must be told apart
    const FEWEST: usize = 5;
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    if frames.len() < FEWEST {
        return Err(MechanicsError::OutOfRange {
            what: "number of frames along the stent".into(),
            found: frames.len() as f64,
            needed: Allowed::in_words("at least 5").at_least(5.0),
        });
    }
    // a rod that fills its tube is held to the centre line by the wall's stiffness alone
    const RADIUS_MM: f64 = 1.0;
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    let tube: Vec<TubeStation> = frames
        .iter()
        .enumerate()
        .map(|(i, frame)| TubeStation {
            s_mm: i as f64 * spacing_mm,
            frame: *frame,
            radius_mm: RADIUS_MM,
            wall_stiffness_n_per_mm2: bed_n_per_mm2,
        })
        .collect();
    let mut rod = Rod::uniform(stiffness_n_mm2, 2.0 * RADIUS_MM);
    rod.start = StartSupport::Free;
    let Some(last) = tube.last() else {
        return Ok([RimShift::default(); 2]);
    };
    rod.end = End::Tip(*last);
    let rods = [rod];
    let scene = Scene {
        tube: &tube,
        rods: &rods,
        beside: &[],
    };
    let solution = Settle::new(Settings::default()).settle(&scene)?;
    let state = &solution.rods[0];
    let nodes = state.position_mm.len();
    let at = |node: usize, next: usize, frame: &Frame| {
        let along = state.position_mm[next] - state.position_mm[node];
        let cos = (along.dot(&frame.tangent) / along.norm()).abs().min(1.0);
        RimShift {
            shift_mm: state.offset_mm[node],
            tilt_rad: math::acos(cos),
        }
    };
    Ok([
        at(0, 1, &frames[0]),
        at(nodes - 1, nodes - 2, &frames[frames.len() - 1]),
    ])
}

/// The rim of a stent in its vessel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rim {
    /// Radius of the wall, mm.
    pub wall_radius_mm: f64,
    /// Radius that the rim holds, mm; below the wall's where the stent is too narrow for it.
    pub rim_radius_mm: f64,
    /// What the rim can still widen before it pushes no more, mm of radius.
    pub reserve_mm: f64,
    /// Shift of its centre, mm, on the first and second normal.
    pub shift_mm: [f64; 2],
    /// Direction of the inside of the bend, rad from the first normal.
    pub inside_rad: f64,
    /// How far a crown, straight over one cell, stands off on the inside of the bend, mm.
    pub crown_mm: f64,
    /// How far the stent's wall stands into the lumen, mm.
    pub thickness_mm: f64,
    /// Points of the rim.
    pub crowns: u32,
}

impl Rim {
    /// A round rim on a straight wall.
    #[must_use]
    pub fn even(wall_radius_mm: f64, rim_radius_mm: f64, thickness_mm: f64, crowns: u32) -> Self {
        Self {
            wall_radius_mm,
            rim_radius_mm,
            reserve_mm: 0.0,
            shift_mm: [0.0; 2],
            inside_rad: 0.0,
            crown_mm: 0.0,
            thickness_mm,
            crowns,
        }
    }

    /// The rim of a stent that holds `held_mm` (mm) in a vessel of `wall_mm` (mm).
    ///
    /// The rim widens by its reserve before it leaves the wall: its push falls to nothing only at
    /// the free diameter. A crown is straight over one cell `l` and stands off by `k l^2 / 2` on
    /// the inside of a bend `k`.
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] for diameters or curvature that are not finite or sound.
    pub fn of_stent(
        stent: &StentSpec,
        held_mm: f64,
        wall_mm: f64,
        curvature_per_mm: f64,
        inside_rad: f64,
        shift_mm: [f64; 2],
    ) -> Result<Self, MechanicsError> {
        for (what, found) in [("held_mm", held_mm), ("wall_mm", wall_mm)] {
            if !(found > 0.0 && found.is_finite()) {
                return Err(MechanicsError::OutOfRange {
                    what: what.into(),
                    found,
                    needed: Allowed::POSITIVE,
                });
            }
        }
        if !(curvature_per_mm >= 0.0 && curvature_per_mm.is_finite()) {
            return Err(MechanicsError::OutOfRange {
                what: "curvature_per_mm".into(),
                found: curvature_per_mm,
                needed: Allowed::NOT_NEGATIVE,
            });
        }
        let cell_mm = stent.free_strut_mm(held_mm);
        Ok(Self {
            wall_radius_mm: 0.5 * wall_mm,
            rim_radius_mm: 0.5 * held_mm.min(wall_mm),
            reserve_mm: 0.5 * (stent.free_diameter_mm - held_mm).max(0.0),
            shift_mm,
            inside_rad,
            crown_mm: 0.5 * curvature_per_mm * cell_mm * cell_mm,
            thickness_mm: stent.rim_thickness_mm(),
            crowns: stent.crowns(),
        })
    }

    /// Gap between the rim and the wall in a direction (rad from the first normal), mm, >= 0, with
    /// the shift and the crowns' stand-off multiplied by `bend_factor` (1: as computed).
    #[must_use]
    pub fn gap_with_mm(&self, angle_rad: f64, bend_factor: f64) -> f64 {
        self.gap_towards_mm(
            direction(angle_rad),
            direction(self.inside_rad),
            bend_factor,
        )
    }

    /// The same with both directions, that of the bend's inside too, given by their parts along the
    /// first and the second normal.
    pub(crate) fn gap_towards_mm(
        &self,
        towards: [f64; 2],
        inside: [f64; 2],
        bend_factor: f64,
    ) -> f64 {
        let along = |v: [f64; 2]| v[0] * towards[0] + v[1] * towards[1];
        // towards the wall where the rim is pushed, away from it on the other side
        let aside_mm = bend_factor * along(self.shift_mm);
        let room_mm = self.wall_radius_mm - self.rim_radius_mm;
        let off_mm = (room_mm - aside_mm - self.reserve_mm).max(0.0);
        // a rim that is too narrow has no reserve and stands off all round
        let crown_mm = bend_factor * self.crown_mm * along(inside).max(0.0);
        off_mm + crown_mm
    }

    /// The same as computed.
    #[must_use]
    pub fn gap_mm(&self, angle_rad: f64) -> f64 {
        self.gap_with_mm(angle_rad, 1.0)
    }

    /// Gaps at `count` even directions from the first normal on, mm, `[count]`.
    #[must_use]
    pub fn gaps_mm(&self, count: u32) -> Vec<f64> {
        (0..count)
            .map(|i| self.gap_mm(TAU * f64::from(i) / f64::from(count)))
            .collect()
    }

    /// Largest gap (mm) and its direction (rad), to a degree.
    #[must_use]
    pub fn worst_gap(&self) -> (f64, f64) {
        (0..360)
            .map(|i| f64::from(i).to_radians())
            .map(|angle_rad| (self.gap_mm(angle_rad), angle_rad))
            .fold(
                (-1.0, 0.0),
                |best, at| if at.0 > best.0 { at } else { best },
            )
    }
}

/// Parts of a direction along the first and the second normal.
pub(crate) fn direction(angle_rad: f64) -> [f64; 2] {
    let (sin, cos) = math::sin_cos(angle_rad);
    [cos, sin]
}

/// Stiffness of the bed that holds the rim across the vessel, N/mm2: the stent as a ring and the
/// artery in series.
///
/// A ring pressed aside is held like one that is squeezed: `dq/dD` of each, `q` being force per
/// length over the whole circumference.
///
/// # Errors
/// [`MechanicsError::OutOfRange`] where the stent hangs free.
pub fn bed_stiffness_n_per_mm2(
    stent: &StentSpec,
    held_mm: f64,
    artery_n_per_mm: f64,
) -> Result<f64, MechanicsError> {
    let ring = stent
        .ring_stiffness_n_per_mm2(held_mm)
        .map_err(|e| MechanicsError::OutOfRange {
            what: e.to_string(),
            found: held_mm,
            needed: Allowed::in_words("below the stent's free diameter")
                .below(stent.free_diameter_mm),
        })?;
    let artery = TAU * artery_n_per_mm / held_mm;
    Ok(ring * artery / (ring + artery))
}
