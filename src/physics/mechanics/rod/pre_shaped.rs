//! Pre-shaped vertices: the energy of a natural curvature or angle and its derivatives, by jets. Only the few
//! pre-shaped nodes need these; everywhere else the derivatives are written out.

use super::natural::Natural;
use super::vertex_energy::{Local, VertexStencil, VoronoiCell};
use crate::geometry::{Frame, Vector};
use crate::math;
use nalgebra::{Matrix3, Matrix6, Vector6};

impl VertexStencil {
    /// What a natural curvature `kappa` (1/mm) towards a direction `d` adds:
    /// `B kappa (1 + gamma q) (kappa m / 2 - d·(t1 - t0))`, so that the node's energy is
    /// `B |curvature - kappa d|² / 2` times its arc length.
    ///
    /// `d` is `towards`, a unit vector across the centre line, carried by the shortest rotation
    /// from the centre line's `axis` to the rod's tangent. That rotation moves with the shape and
    /// is part of the derivatives: held still, it would work like a torque that turns the rod for
    /// ever. `quarter` is `towards` turned a quarter about the axis.
    ///
    /// A natural angle `phi` adds `B phi (phi / 2 / arc - d·(t1 - t0) / m)`, so that the node's energy is
    /// that of the same curvature `phi / arc`, but answers a longer cell with no more turn.
    pub(crate) fn pre_shaped(
        &self,
        frames: [&Frame; 3],
        b: f64,
        natural: Natural,
        [axis, towards, quarter]: [Vector; 3],
    ) -> PreShaped {
        let Self { t0, t1, cell } = *self;
        let VoronoiCell { a0, a1, m, .. } = cell;
        let along = |v: Vector| (Jet::dot(v, t0, a0, 0), Jet::dot(v, t1, a1, 3));
        let cosine = self.cosine_jet();
        let length = self.length_jet(m);
        // 1 / |t0 + t1| = (2 + 2 c)^(-1/2)
        let sum = 2.0 + 2.0 * cosine.value;
        let inverse = cosine.through(
            math::pow(sum, -0.5),
            -math::pow(sum, -1.5),
            3.0 * math::pow(sum, -2.5),
        );
        let (axis0, axis1) = along(axis);
        let axis_turn = axis1.plus(&axis0, -1.0);
        let axis_along = axis1.plus(&axis0, 1.0).times(&inverse);
        let d = 1.0 + axis_along.value;
        let share =
            axis_turn.times(&axis_along.through(1.0 / d, -1.0 / (d * d), 2.0 / (d * d * d)));
        // d·(t1 - t0); t1 - t0 is normal to the mean tangent
        let turn_towards = |v: Vector| {
            let (v0, v1) = along(v);
            let tilted = v1.plus(&v0, 1.0).times(&inverse).times(&share);
            v1.plus(&v0, -1.0).plus(&tilted, -1.0)
        };
        let turn = turn_towards(towards);
        let turn_by_roll = turn_towards(quarter);
        // 1 + gamma (1 - c)
        let stretch = cosine.through(1.0 + cell.gamma * cell.q, -cell.gamma, 0.0);
        // energy: `own - by turn`, both over `b` times the size of what is natural
        let (size, own, by) = match natural {
            Natural::Curvature(kappa) => {
                let half = length.through(0.5 * kappa * m, 0.5 * kappa, 0.0);
                (kappa, stretch.times(&half), stretch)
            }
            Natural::Turn(phi) => {
                let arc = length.times(&stretch);
                let over = 1.0 / arc.value;
                let half = 0.5 * phi * over;
                let own = arc.through(half, -half * over, 2.0 * half * over * over);
                let over = 1.0 / m;
                let by = length.through(over, -over * over, 2.0 * over * over * over);
                (phi, own, by)
            }
        };
        let scale = b * size;
        let energy = own.plus(&by.times(&turn), -1.0);
        let by_roll = by.times(&turn_by_roll);

        by_offsets(frames, scale, [&energy, &by_roll], [by.value, turn.value])
    }

    /// `t0·t1` by the edges.
    fn cosine_jet(&self) -> Jet {
        let Self { t0, t1, cell } = *self;
        let VoronoiCell { a0, a1, q, .. } = cell;
        let c = 1.0 - q;
        let identity = Matrix3::identity();
        let both = t0 * t1.transpose() + t1 * t0.transpose();
        Jet {
            value: c,
            gradient: stack((t1 - t0 * c) * a0, (t0 - t1 * c) * a1),
            hessian: blocks(
                (t0 * t0.transpose() * (3.0 * c) - both - identity * c) * (a0 * a0),
                (identity - t1 * t1.transpose() - t0 * t0.transpose() + t0 * t1.transpose() * c)
                    * (a0 * a1),
                (t1 * t1.transpose() * (3.0 * c) - both - identity * c) * (a1 * a1),
            ),
        }
    }

    /// Cell length by the edges.
    fn length_jet(&self, m: f64) -> Jet {
        let Self { t0, t1, cell } = *self;
        let VoronoiCell { a0, a1, .. } = cell;
        let identity = Matrix3::identity();
        Jet {
            value: m,
            gradient: stack(t0, t1) * 0.5,
            hessian: blocks(
                (identity - t0 * t0.transpose()) * (0.5 * a0),
                Matrix3::zeros(),
                (identity - t1 * t1.transpose()) * (0.5 * a1),
            ),
        }
    }
}

/// Derivatives by the edges of an energy and of what turns with the roll, both over `scale`, as those by the
/// nodes' offsets; the product of `by` and `turn` is the second derivative by the roll, over `scale` too.
fn by_offsets(
    frames: [&Frame; 3],
    scale: f64,
    [energy, by_roll]: [&Jet; 2],
    [by, turn]: [f64; 2],
) -> PreShaped {
    // Node coordinates: e0 = x1 - x0, e1 = x2 - x1.
    let directions = [
        stack(-frames[0].n1, Vector::zeros()),
        stack(-frames[0].n2, Vector::zeros()),
        stack(frames[1].n1, -frames[1].n1),
        stack(frames[1].n2, -frames[1].n2),
        stack(Vector::zeros(), frames[2].n1),
        stack(Vector::zeros(), frames[2].n2),
    ];
    let pick = |v: &Vector6<f64>, scale: f64| -> [[f64; 2]; 3] {
        std::array::from_fn(|i| {
            [
                scale * v.dot(&directions[2 * i]),
                scale * v.dot(&directions[2 * i + 1]),
            ]
        })
    };
    let block = |i: usize, j: usize| {
        std::array::from_fn(|k| {
            scale * directions[2 * i + k / 2].dot(&(energy.hessian * directions[2 * j + k % 2]))
        })
    };
    PreShaped {
        local: Local {
            energy: scale * energy.value,
            gradient: pick(&energy.gradient, scale),
            hessian: [
                block(0, 0),
                block(1, 0),
                block(1, 1),
                block(2, 0),
                block(2, 1),
                block(2, 2),
            ],
        },
        roll_gradient: -scale * by_roll.value,
        roll_hessian: scale * by * turn,
        roll_cross: pick(&by_roll.gradient, -scale),
    }
}

fn stack(x: Vector, y: Vector) -> Vector6<f64> {
    Vector6::new(x.x, x.y, x.z, y.x, y.y, y.z)
}

fn blocks(h00: Matrix3<f64>, h01: Matrix3<f64>, h11: Matrix3<f64>) -> Matrix6<f64> {
    let mut h = Matrix6::zeros();
    h.fixed_view_mut::<3, 3>(0, 0).copy_from(&h00);
    h.fixed_view_mut::<3, 3>(0, 3).copy_from(&h01);
    h.fixed_view_mut::<3, 3>(3, 0).copy_from(&h01.transpose());
    h.fixed_view_mut::<3, 3>(3, 3).copy_from(&h11);
    h
}

/// A quantity with its first two derivatives by the two edges. Only the few pre-shaped nodes need
/// it; everywhere else the derivatives are written out.
#[derive(Debug, Clone, Copy)]
struct Jet {
    value: f64,
    gradient: Vector6<f64>,
    hessian: Matrix6<f64>,
}

impl Jet {
    /// `v·t`, `t` the unit vector along the edge whose entries start at `first`; `a` is its inverse
    /// length.
    fn dot(v: Vector, t: Vector, a: f64, first: usize) -> Self {
        let vt = v.dot(&t);
        let mut gradient = Vector6::zeros();
        gradient
            .fixed_rows_mut::<3>(first)
            .copy_from(&((v - t * vt) * a));
        let mut hessian = Matrix6::zeros();
        let bent = -(v * t.transpose() + t * v.transpose()) - Matrix3::identity() * vt
            + t * t.transpose() * (3.0 * vt);
        hessian
            .fixed_view_mut::<3, 3>(first, first)
            .copy_from(&(bent * (a * a)));
        Self {
            value: vt,
            gradient,
            hessian,
        }
    }

    fn plus(&self, other: &Self, scale: f64) -> Self {
        Self {
            value: self.value + scale * other.value,
            gradient: self.gradient + other.gradient * scale,
            hessian: self.hessian + other.hessian * scale,
        }
    }

    fn times(&self, other: &Self) -> Self {
        let cross = self.gradient * other.gradient.transpose();
        Self {
            value: self.value * other.value,
            gradient: self.gradient * other.value + other.gradient * self.value,
            hessian: self.hessian * other.value
                + other.hessian * self.value
                + cross
                + cross.transpose(),
        }
    }

    /// A function of it, by value and derivatives there.
    fn through(&self, value: f64, first: f64, second: f64) -> Self {
        Self {
            value,
            gradient: self.gradient * first,
            hessian: self.hessian * first + self.gradient * self.gradient.transpose() * second,
        }
    }
}

/// [`Local`] with the derivatives by the roll of the natural curvature.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PreShaped {
    pub(crate) local: Local,
    pub(crate) roll_gradient: f64,
    pub(crate) roll_hessian: f64,
    pub(crate) roll_cross: [[f64; 2]; 3],
}
