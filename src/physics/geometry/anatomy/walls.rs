//! Stiffness of the walls.

use super::form::Wall;
use super::ledger::Ledger;
use super::means::{fixed, source};

/// Radial stiffness by group of arteries, N per mm of length per mm of indentation.
#[derive(Debug, Clone, Copy)]
pub(super) struct Walls {
    pub(super) aorta_n_per_mm2: f64,
    pub(super) limbs_n_per_mm2: f64,
    pub(super) neck_n_per_mm2: f64,
    pub(super) internal_carotid_n_per_mm2: f64,
    pub(super) brain_n_per_mm2: f64,
}

/// A wall squeezed between a device and the tissue behind it, `k = 4/3 E w / h`.
///
/// An incompressible layer of modulus `E` in plane strain answers a flat squeeze with `4/3 E`; `w`
/// is the width of the strip that the device touches, `h` the thickness. The bed behind is taken
/// as rigid, so the value errs on the stiff side; how much is not known.
fn squeeze_n_per_mm2(modulus_mpa: f64, strip_mm: f64, thickness_mm: f64) -> f64 {
    4.0 / 3.0 * modulus_mpa * strip_mm / thickness_mm
}

impl Walls {
    pub(super) fn note(wall: &Wall, ledger: &mut Ledger) -> Self {
        // strips: half the girth of a large catheter, of a microcatheter in the brain
        let mut take = |name: &'static str, measured, modulus, strip, thickness| {
            let otherwise = fixed(squeeze_n_per_mm2(modulus, strip, thickness), source::WALL);
            ledger.number(name, "N/mm2", measured, otherwise)
        };
        Self {
            aorta_n_per_mm2: take("wall.aorta_n_per_mm2", wall.aorta_n_per_mm2, 0.4, 2.5, 1.6),
            limbs_n_per_mm2: take("wall.limbs_n_per_mm2", wall.limbs_n_per_mm2, 0.4, 2.5, 1.0),
            neck_n_per_mm2: take("wall.neck_n_per_mm2", wall.neck_n_per_mm2, 0.4, 2.5, 0.7),
            internal_carotid_n_per_mm2: take(
                "wall.internal_carotid_n_per_mm2",
                wall.internal_carotid_n_per_mm2,
                0.8,
                2.0,
                0.6,
            ),
            brain_n_per_mm2: take("wall.brain_n_per_mm2", wall.brain_n_per_mm2, 1.6, 1.2, 0.3),
        }
    }
}
