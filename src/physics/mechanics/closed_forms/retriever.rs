//! The pull of an open retriever: friction of its outward force on wall and clot.

use crate::mechanics::error::MechanicsError;
use crate::units::Allowed;

/// How an open retriever slides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sliding {
    /// Friction of its struts on the wall.
    pub wall_friction: f64,
    /// Friction of clot on the wall, where its struts press on the clot.
    pub clot_friction: f64,
}

/// A bare stretch of a retriever.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BareStretch {
    /// Its length, mm.
    pub length_mm: f64,
    /// Its outward force per length, N/mm.
    pub outward_n_per_mm: f64,
    /// Whether clot lies between it and the wall.
    pub on_clot: bool,
}

/// Pull at the retriever that makes it slide, N, `[on the wall, on clot]`. `stretches`: those that lie bare, `[n]`.
///
/// # Validity
/// About to slide, in a straight stretch; no suction, no clot stuck to the wall. Bends below add
/// their capstan share to it ([`capstan_factor`](super::capstan::capstan_factor)).
///
/// # Errors
/// [`MechanicsError::OutOfRange`] for lengths or forces below zero or not finite.
pub fn retriever_pull_n(
    stretches: &[BareStretch],
    sliding: &Sliding,
) -> Result<[f64; 2], MechanicsError> {
    let mut pull_n = [0.0; 2];
    for (i, stretch) in stretches.iter().enumerate() {
        for (what, found) in [
            ("length_mm", stretch.length_mm),
            ("outward_n_per_mm", stretch.outward_n_per_mm),
        ] {
            if !(found >= 0.0 && found.is_finite()) {
                return Err(MechanicsError::OutOfRange {
                    what: format!("stretches[{i}].{what}"),
                    found,
                    needed: Allowed::NOT_NEGATIVE,
                });
            }
        }
        let force_n = stretch.length_mm * stretch.outward_n_per_mm;
        if stretch.on_clot {
            pull_n[1] += sliding.clot_friction * force_n;
        } else {
            pull_n[0] += sliding.wall_friction * force_n;
        }
    }
    Ok(pull_n)
}
