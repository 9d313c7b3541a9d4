//! Settings of the equilibrium solve, each with its default and its trade-off.

use crate::mechanics::error::MechanicsError;
use crate::units::Allowed;
use serde::{Deserialize, Serialize};

/// Settings of [`Settle`](crate::mechanics::equilibrium::settle::Settle).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[non_exhaustive]
pub struct Settings {
    /// Largest force out of balance, N. Default 1e-6: a thousandth of the lightest contact that
    /// matters (a micro-wire resting on a wall, about 1 mN); Newton's last step usually goes far
    /// below it.
    pub gradient_tolerance_n: f64,
    /// Most Newton steps over all stages. Default 1000: a usual solve takes 10 to 40, a pushed
    /// rod that has to wind round its vessel some hundreds.
    pub most_newton_steps: usize,
    /// Most work of one solve, the second try by short steps included, in unknowns that are factorised (two
    /// for every node of every factorisation): the same on every machine, where a time would not be.
    /// Default 30 million: 2 to 9 s of one core (eleven problems that reach it, three to six pushed rods, on a
    /// server processor with 512-bit vectors: 8 to 13 million a second with three rods, 3 to 6 with five or six),
    /// thirty times what four rods over 900 mm take. A solve that needs more ends with
    /// [`MechanicsError::OverBound`].
    pub most_factorised_unknowns: u64,
    /// Half-width of the contact onset, mm. Default 0.03: smaller ones make Newton's method
    /// hunt for the contact set, larger ones falsify clearances. A third of the gap bounds it, and
    /// behind walls stiffer than `onset_stiffness_n_per_mm2` it shrinks in proportion, so that a
    /// stiff wall has a sharp surface.
    pub onset_mm: f64,
    /// Wall stiffness up to which the onset keeps its full width, N/mm2. Default 10.
    pub onset_stiffness_n_per_mm2: f64,
    /// Stiffness of the contact between two devices, N/mm2. Default 20: a polymer shaft gives less
    /// than an artery; at the 0.25 N/mm that 1 N makes in a bend of 4 mm radius it gives 0.013 mm,
    /// a fifth of a close running clearance.
    pub device_stiffness_n_per_mm2: f64,
    /// Gap (half the difference of the diameters) below which two devices share one axis, mm.
    /// Default 0.02: less than diameters are known to, and far stiffer to solve than to merge.
    pub shared_axis_gap_mm: f64,
    /// Wall stiffness at which a solve from scratch starts, N/mm2. Default 10 000: stiffer walls are
    /// reached by steps of `stiffening`. Starting softer takes more stages and is slower, starting
    /// at any stiffness converges as well but hunts longer for the contacts.
    pub first_stiffness_n_per_mm2: f64,
    /// Factor from one wall stiffness to the next on the way to a stiffer wall. Default 10:
    /// smaller ones cost more stages, larger ones more steps a stage.
    pub stiffening: f64,
    /// Angle between rod and centre line beyond which the model does not hold, degrees.
    /// Default 70. Stations cannot follow a rod that turns across them at 90 degrees: loops and
    /// prolapse lie beyond. Cells grow with the angle's secant, so accuracy falls before that: in
    /// two bends of 120 degrees and 3 mm radius, halving the spacing from 1 mm moved the 100 mm
    /// path of a micro-wire by 0.01 mm where it left the centre line by 48 degrees and by 0.2 mm
    /// where it left it by 56, as a wire does that cuts the corners of a wide siphon.
    pub prolapse_deg: f64,
    /// A solve from scratch begins on every second station, and so on while this many cells are
    /// left. Default 60: below it the coarse tube no longer resembles the route.
    pub coarsest_cells: usize,
    /// Whether to estimate the smallest eigenvalue of the Hessian (some twenty solves). Default
    /// false: its sign is known from the factorisation anyway.
    pub smallest_eigenvalue: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            gradient_tolerance_n: 1e-6,
            most_newton_steps: 1000,
            most_factorised_unknowns: 30_000_000,
            onset_mm: 0.03,
            onset_stiffness_n_per_mm2: 10.0,
            device_stiffness_n_per_mm2: 20.0,
            shared_axis_gap_mm: 0.02,
            first_stiffness_n_per_mm2: 1e4,
            stiffening: 10.0,
            prolapse_deg: 70.0,
            coarsest_cells: 60,
            smallest_eigenvalue: false,
        }
    }
}

impl Settings {
    /// The default with some values changed, checked as a whole.
    ///
    /// ```
    /// use nestline_physics::mechanics::{MechanicsError, Settings};
    /// let settings = Settings::with(|s| s.gradient_tolerance_n = 1e-8)?;
    /// assert_eq!(settings.most_newton_steps, Settings::default().most_newton_steps);
    /// assert!(Settings::with(|s| s.stiffening = 0.5).is_err()); // walls would get softer
    /// # Ok::<(), MechanicsError>(())
    /// ```
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] with the field, what was found and its range.
    pub fn with(change: impl FnOnce(&mut Self)) -> Result<Self, MechanicsError> {
        let mut settings = Self::default();
        change(&mut settings);
        settings.check()?;
        Ok(settings)
    }

    pub(crate) fn check(&self) -> Result<(), MechanicsError> {
        for (what, found) in [
            ("gradient_tolerance_n", self.gradient_tolerance_n),
            ("onset_mm", self.onset_mm),
            ("onset_stiffness_n_per_mm2", self.onset_stiffness_n_per_mm2),
            (
                "device_stiffness_n_per_mm2",
                self.device_stiffness_n_per_mm2,
            ),
            ("first_stiffness_n_per_mm2", self.first_stiffness_n_per_mm2),
            ("prolapse_deg", self.prolapse_deg),
        ] {
            if !(found.is_finite() && found > 0.0) {
                return Err(MechanicsError::OutOfRange {
                    what: format!("settings.{what}"),
                    found,
                    needed: Allowed::POSITIVE,
                });
            }
        }
        if !(self.stiffening.is_finite() && self.stiffening > 1.0) {
            return Err(MechanicsError::OutOfRange {
                what: "settings.stiffening".into(),
                found: self.stiffening,
                needed: Allowed::in_words("finite and > 1").above(1.0),
            });
        }
        if !(self.shared_axis_gap_mm.is_finite() && self.shared_axis_gap_mm >= 0.0) {
            return Err(MechanicsError::OutOfRange {
                what: "settings.shared_axis_gap_mm".into(),
                found: self.shared_axis_gap_mm,
                needed: Allowed::NOT_NEGATIVE,
            });
        }
        Ok(())
    }

    /// Onset half-width of a contact with this stiffness and gap, mm.
    pub(crate) fn onset_for_mm(&self, stiffness_n_per_mm2: f64, gap_mm: f64) -> f64 {
        let sharpened =
            self.onset_mm * (self.onset_stiffness_n_per_mm2 / stiffness_n_per_mm2).min(1.0);
        sharpened.min(gap_mm / 3.0).max(0.0)
    }
}
