//! From where flat drawings of a vessel are seen. Patients lie on their backs; the world's x runs to their left, y to
//! their back, z, which is up in every drawing, to their head.

use crate::geometry::Point;

/// A direction to look from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Projection {
    /// What it is called.
    pub(super) title: &'static str,
    /// Which side is where in the picture.
    pub(super) sides: &'static str,
    /// Of a place, mm: to the right in the picture.
    pub(super) across: fn(&Point) -> f64,
}

/// As the two planes of a C-arm see it.
pub(super) const PROJECTIONS: [Projection; 2] = [
    Projection {
        title: "from the front",
        sides: "the patient's left on the right",
        across: |at| at.x,
    },
    Projection {
        title: "from the patient's left",
        sides: "the front on the left",
        across: |at| at.y,
    },
];
