//! A self-expanding stent against wall and plaque: the diameter it holds, station by station.

use crate::device::{BalloonSpec, StentSpec};
use crate::geometry::stenosed_mm;
use crate::mechanics::error::MechanicsError;
use crate::units::Allowed;
use serde::{Deserialize, Serialize};
use std::f64::consts::{PI, TAU};

/// How plaque and artery resist being widened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaqueLaw {
    /// Force per length of lesion for each mm that its lumen is widened, N/mm2.
    pub stiffness_n_per_mm2: f64,
    /// Share of a balloon's widening that the plaque in a stent keeps when the balloon is let down, 0
    /// to 1.
    pub kept: f64,
    /// The same for a balloon without a stent.
    pub kept_bare: f64,
    /// Modulus times thickness of a healthy artery, N/mm.
    pub artery_n_per_mm: f64,
}

/// A vessel at one station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bed {
    /// Lumen with nothing in it, mm.
    pub rest_mm: f64,
    /// Lumen of the artery without the lesion, mm.
    pub healthy_mm: f64,
    /// Stiffness of the plaque over the default (`1` for plaque, below for a flap).
    pub plaque_share: f64,
    /// A ring that does not give.
    pub rigid: bool,
}

impl Bed {
    /// A healthy stretch of a diameter (mm).
    #[must_use]
    pub fn healthy(diameter_mm: f64) -> Self {
        Self {
            rest_mm: diameter_mm,
            healthy_mm: diameter_mm,
            plaque_share: 1.0,
            rigid: false,
        }
    }
}

impl PlaqueLaw {
    /// The same with another stiffness of the plaque.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self {
            stiffness_n_per_mm2: self.stiffness_n_per_mm2 * factor,
            ..self
        }
    }

    /// Stiffness at which a stent takes a stenosis from one NASCET percentage to another in an
    /// artery of `reference_mm` (mm), N/mm2: closed form, because one station stands for itself.
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] where the percentages do not fall or the stent is too narrow.
    pub fn calibrated_stiffness_n_per_mm2(
        stent: &StentSpec,
        reference_mm: f64,
        before_percent: f64,
        after_percent: f64,
    ) -> Result<f64, MechanicsError> {
        let [before_mm, after_mm] =
            [before_percent, after_percent].map(|percent| stenosed_mm(reference_mm, percent));
        if !(before_mm >= 0.0 && after_mm > before_mm) {
            return Err(MechanicsError::OutOfRange {
                what: "after_percent".into(),
                found: after_percent,
                needed: Allowed::in_words("below before_percent, which is at most 100")
                    .below(before_percent),
            });
        }
        Ok(outward(stent, after_mm)? / (after_mm - before_mm))
    }

    /// Share (0 to 1) of a balloon's widening that must be kept so that the stent then holds `left_mm`; all diameters mm.
    ///
    /// # Errors
    /// As [`Self::calibrated_stiffness_n_per_mm2`].
    pub fn calibrated_kept(
        &self,
        stent: &StentSpec,
        before_mm: f64,
        balloon_mm: f64,
        left_mm: f64,
    ) -> Result<f64, MechanicsError> {
        let rest_mm = left_mm - outward(stent, left_mm)? / self.stiffness_n_per_mm2;
        Ok((rest_mm - before_mm) / (balloon_mm - before_mm))
    }

    /// Force per length with which a bed answers being held at a diameter (mm), N/mm.
    ///
    /// Plaque gives linearly from its lumen at rest to the healthy one; beyond that the artery is
    /// stretched as a thin tube, `2 pi E h (D - H) / H`.
    #[must_use]
    pub fn resistance_n_per_mm(&self, bed: &Bed, diameter_mm: f64) -> f64 {
        let in_plaque_mm = (diameter_mm.min(bed.healthy_mm) - bed.rest_mm).max(0.0);
        let stretched_mm = (diameter_mm - bed.healthy_mm.max(bed.rest_mm)).max(0.0);
        self.stiffness_n_per_mm2 * bed.plaque_share * in_plaque_mm
            + TAU * self.artery_n_per_mm * stretched_mm / bed.healthy_mm
    }

    /// Diameter that a stent holds in a bed, mm: where its outward force meets the bed's
    /// resistance. Wider beds leave it at its free diameter, rigid ones at theirs.
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] for a bed whose diameters are not finite and sound.
    pub fn held_mm(&self, stent: &StentSpec, bed: &Bed) -> Result<f64, MechanicsError> {
        if !(bed.healthy_mm > 0.0 && bed.healthy_mm.is_finite() && bed.rest_mm >= 0.0) {
            return Err(MechanicsError::OutOfRange {
                what: "lumen of the bed, mm".into(),
                found: bed.healthy_mm.min(bed.rest_mm),
                needed: Allowed::in_words("finite and above 0 (0 where shut)").at_least(0.0),
            });
        }
        let free_mm = stent.free_diameter_mm;
        if bed.rest_mm >= free_mm {
            return Ok(free_mm);
        }
        if bed.rigid {
            return Ok(bed.rest_mm);
        }
        // The difference falls with the diameter, from a push at rest to a resistance when free.
        // Halving to a thousandth of a micrometre.
        const ROUNDS: u32 = 44;
        let (mut low_mm, mut high_mm) = (bed.rest_mm, free_mm);
        for _ in 0..ROUNDS {
            let middle_mm = 0.5 * (low_mm + high_mm);
            let push = outward(stent, middle_mm)?;
            if push > self.resistance_n_per_mm(bed, middle_mm) {
                low_mm = middle_mm;
            } else {
                high_mm = middle_mm;
            }
        }
        Ok(0.5 * (low_mm + high_mm))
    }

    /// Diameter that a balloon reaches at a pressure (atm) against a bed, mm: what the bed pushes
    /// back is missing across the balloon's wall.
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] above the rated pressure.
    pub fn balloon_mm(
        &self,
        balloon: &BalloonSpec,
        pressure_atm: f64,
        bed: &Bed,
    ) -> Result<f64, MechanicsError> {
        if let Err(refused) = balloon.check_pressure(pressure_atm) {
            return Err(MechanicsError::OutOfRange {
                what: refused.to_string(),
                found: pressure_atm,
                needed: Allowed::in_words("within the balloon's range")
                    .above(0.0)
                    .at_most(balloon.rated_pressure_atm),
            });
        }
        let free_mm = balloon.diameter_at_mm(pressure_atm);
        if bed.rigid {
            return Ok(free_mm.min(bed.rest_mm));
        }
        // One atm of back pressure costs a percent of diameter: a few rounds settle it.
        const ROUNDS: u32 = 12;
        let mut diameter_mm = free_mm;
        for _ in 0..ROUNDS {
            let back_mpa = self.resistance_n_per_mm(bed, diameter_mm) / (PI * diameter_mm);
            diameter_mm = balloon.diameter_at_mm(pressure_atm - back_mpa / crate::device::ATM_MPA);
        }
        Ok(diameter_mm)
    }

    /// Lumen at rest after a balloon reached `balloon_mm` in a bed, inside a stent or not, mm.
    #[must_use]
    pub fn rest_after_mm(&self, bed: &Bed, balloon_mm: f64, stented: bool) -> f64 {
        if bed.rigid {
            return bed.rest_mm;
        }
        let kept = if stented { self.kept } else { self.kept_bare };
        bed.rest_mm + kept * (balloon_mm - bed.rest_mm).max(0.0)
    }
}

fn outward(stent: &StentSpec, diameter_mm: f64) -> Result<f64, MechanicsError> {
    stent
        .outward_n_per_mm(diameter_mm)
        .map_err(|e| MechanicsError::OutOfRange {
            what: e.to_string(),
            found: diameter_mm,
            needed: Allowed::in_words("above 0 and at most the stent's free diameter")
                .above(0.0)
                .at_most(stent.free_diameter_mm),
        })
}

/// A stent at one station.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StentStation {
    /// Station, mm.
    pub s_mm: f64,
    /// Diameter it holds, mm.
    pub diameter_mm: f64,
    /// Diameter of the artery round it, mm: its own where it holds the wall open.
    pub wall_mm: f64,
}

/// A stent as it lies.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Deployed {
    /// Station of its end nearer the access, mm.
    pub proximal_mm: f64,
    /// Station of its far end, mm.
    pub distal_mm: f64,
    /// By station from the far end to the near one, `[n]`.
    pub profile: Vec<StentStation>,
}

impl Deployed {
    /// Length, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.distal_mm - self.proximal_mm
    }
}

/// Lays a stent down from its far end: every stretch of vessel takes up as much of the length at
/// rest as the stent there is longer than at rest.
///
/// `bed` gives the vessel by station (mm); `step_mm` is the length of the stretches: the error of
/// the length is second order in it, 0.5 mm against the centimetres over which diameters change.
///
/// # Errors
/// As [`PlaqueLaw::held_mm`]; [`MechanicsError::OutOfRange`] for a step that is not above zero.
pub fn deploy(
    stent: &StentSpec,
    distal_mm: f64,
    law: &PlaqueLaw,
    step_mm: f64,
    bed: impl Fn(f64) -> Bed,
) -> Result<Deployed, MechanicsError> {
    if !(step_mm > 0.0 && step_mm.is_finite()) {
        return Err(MechanicsError::OutOfRange {
            what: "step_mm".into(),
            found: step_mm,
            needed: Allowed::POSITIVE,
        });
    }
    let at = |s_mm: f64| -> Result<StentStation, MechanicsError> {
        let bed = bed(s_mm);
        let diameter_mm = law.held_mm(stent, &bed)?;
        Ok(StentStation {
            s_mm,
            diameter_mm,
            wall_mm: diameter_mm.max(bed.rest_mm),
        })
    };
    let mut profile = vec![at(distal_mm)?];
    let (mut near_mm, mut left_mm) = (distal_mm, stent.free_length_mm);
    while left_mm > 1e-12 * stent.free_length_mm {
        let stretch = stent.stretch(at(near_mm - 0.5 * step_mm)?.diameter_mm);
        let whole_mm = step_mm.min(left_mm * stretch);
        // the last stretch is shorter: its middle lies elsewhere
        let stretch = if whole_mm < step_mm {
            stent.stretch(at(near_mm - 0.5 * whole_mm)?.diameter_mm)
        } else {
            stretch
        };
        let taken_mm = (whole_mm / stretch).min(left_mm);
        near_mm -= taken_mm * stretch;
        left_mm -= taken_mm;
        profile.push(at(near_mm)?);
    }
    Ok(Deployed {
        proximal_mm: near_mm,
        distal_mm,
        profile,
    })
}
