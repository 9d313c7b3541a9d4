//! How a pre-shaped node is bent by nature.

/// How a node is bent by nature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Natural {
    /// With this curvature, 1/mm, however long its cell is.
    Curvature(f64),
    /// By this angle, rad, however long its cell is.
    Turn(f64),
}

impl Natural {
    /// Whether it is straight.
    pub(crate) fn is_none(self) -> bool {
        let (Self::Curvature(size) | Self::Turn(size)) = self;
        size <= 0.0
    }

    /// What it adds to the energy of a cell at unit stiffness, 1/mm: `along` is the curvature towards it.
    pub(crate) fn energy(self, arc_mm: f64, along: f64) -> f64 {
        match self {
            Self::Curvature(kappa) => arc_mm * kappa * (0.5 * kappa - along),
            Self::Turn(turn) => turn * (0.5 * turn / arc_mm - along),
        }
    }
}
