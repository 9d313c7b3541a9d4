//! An orthonormal frame that moves along a curve without twisting.

use super::{Point, Vector};
use crate::math;
use nalgebra::{Rotation3, Unit};

/// A right-handed orthonormal frame: tangent and two normals at a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Where the frame sits, mm.
    pub origin_mm: Point,
    /// Unit tangent.
    pub tangent: Vector,
    /// First unit normal.
    pub n1: Vector,
    /// Second unit normal, `tangent × n1`.
    pub n2: Vector,
}

impl Frame {
    /// A frame from a tangent and a hint for the first normal; both need not be unit vectors and
    /// the hint need not be normal to the tangent. A hint along the tangent is replaced by the
    /// axis least aligned with it.
    #[must_use]
    pub fn new(origin_mm: Point, tangent: Vector, normal_hint: Vector) -> Self {
        let tangent = tangent.normalize();
        let reject = |v: Vector| v - tangent * tangent.dot(&v);
        let mut n1 = reject(normal_hint);
        if n1.norm() < 1e-9 * normal_hint.norm().max(1e-300) || n1.norm() < 1e-12 {
            n1 = reject(Vector::ith(tangent.iamin(), 1.0));
        }
        let n1 = n1.normalize();
        Self {
            origin_mm,
            tangent,
            n1,
            n2: tangent.cross(&n1),
        }
    }

    /// Unit direction across the curve at `roll_rad` (rad) from the first normal towards the second.
    #[must_use]
    pub fn across(&self, roll_rad: f64) -> Vector {
        self.n1 * math::cos(roll_rad) + self.n2 * math::sin(roll_rad)
    }

    /// The point (mm) so far from the origin along the first and the second normal, mm, `[2]`.
    #[must_use]
    pub fn place(&self, [u, v]: [f64; 2]) -> Point {
        self.origin_mm + self.n1 * u + self.n2 * v
    }

    /// The frame after turning by `turn_rad` towards [`Self::across`]`(roll_rad)` on the spot.
    ///
    /// The normals turn with the tangent about the bend's axis, so the frame stays free of twist.
    #[must_use]
    pub fn turned(&self, turn_rad: f64, roll_rad: f64) -> Self {
        self.turned_towards(turn_rad, &self.across(roll_rad))
    }

    fn turned_towards(&self, turn_rad: f64, across: &Vector) -> Self {
        let axis = self.tangent.cross(across);
        let rotation = Rotation3::from_axis_angle(&Unit::new_normalize(axis), turn_rad);
        Self {
            origin_mm: self.origin_mm,
            tangent: rotation * self.tangent,
            n1: rotation * self.n1,
            n2: rotation * self.n2,
        }
    }

    /// The frame at the end of a straight or circular stretch of `length_mm` turning by
    /// `turn_rad` towards [`Self::across`]`(roll_rad)`. Exact for any turn.
    #[must_use]
    pub fn along_arc(&self, length_mm: f64, turn_rad: f64, roll_rad: f64) -> Self {
        let across = self.across(roll_rad);
        // sin(t)/t and (1-cos(t))/t without loss of digits near a straight line
        let half = 0.5 * turn_rad;
        let sine = math::sin(half);
        let sinc_half = if half.abs() < 1e-6 {
            1.0 - half * half / 6.0
        } else {
            sine / half
        };
        let chord = length_mm * sinc_half;
        Self {
            origin_mm: self.origin_mm + (self.tangent * math::cos(half) + across * sine) * chord,
            ..self.turned_towards(turn_rad, &across)
        }
    }

    /// The twist-free frame at a neighbouring point of the curve, by double reflection.
    ///
    /// Fourth order in the step, exact where both ends lie on one circle. `tangent` is a unit vector.
    ///
    /// # References
    /// Wang, Jüttler, Zheng & Liu (2008), *ACM Trans. Graph.* 27(1), 2,
    /// <https://doi.org/10.1145/1330511.1330513>.
    #[must_use]
    pub fn carried_to(&self, origin_mm: Point, tangent: Vector) -> Self {
        let reflect = |v: Vector, mirror: &Vector| {
            let square = mirror.norm_squared();
            if square > 0.0 {
                v - mirror * (2.0 * mirror.dot(&v) / square)
            } else {
                v
            }
        };
        let step = origin_mm - self.origin_mm;
        let halfway = reflect(self.tangent, &step);
        let normal = reflect(self.n1, &step);
        // without a step both reflections are void and the hint alone is carried over
        let normal = if step.norm_squared() > 0.0 {
            reflect(normal, &(tangent - halfway))
        } else {
            normal
        };
        Self::new(origin_mm, tangent, normal)
    }

    /// The angle that turns this frame's first normal into `across`, which is normal to the tangent.
    pub(super) fn roll_of(&self, across: &Vector) -> f64 {
        math::atan2(across.dot(&self.n2), across.dot(&self.n1))
    }

    /// The same place looked at the other way: tangent reversed, first normal kept.
    #[must_use]
    pub fn reversed(&self) -> Self {
        Self {
            origin_mm: self.origin_mm,
            tangent: -self.tangent,
            n1: self.n1,
            n2: -self.n2,
        }
    }
}
