//! Bending energy of three neighbouring nodes and its derivatives in closed form.
//!
//! With edges `e0, e1`, lengths `l0, l1`, unit tangents `t0, t1`, cell length
//! `m = (l0 + l1) / 2` and `q = 1 - t0·t1`, a node carries
//!
//! ```text
//! B (q + beta q²) / m  +  tau m (1 + gamma q)
//! ```
//!
//! `q / m` alone is the discrete curvature energy of a polyline, low by a factor `1 - θ²/24` on a
//! circle turned by `θ` a cell; an arc is longer than its chords by `1 + θ²/24 = 1 + q/12`.
//! `beta = gamma = 1/12` corrects both, so that circles are exact to fourth order.
//! At a clamped start the first edge is the tangent held, and the node's cell is half a cell long:
//! the same count gives `beta = -1/6, gamma = 1/3`.

use crate::geometry::{Frame, Vector};
use crate::mechanics::linear_algebra::number::Number;

/// Corrections at a node with a cell on either side.
const INNER: (f64, f64) = (1.0 / 12.0, 1.0 / 12.0);
/// Corrections at the held tangent of a clamped start.
const CLAMP: (f64, f64) = (-1.0 / 6.0, 1.0 / 3.0);

/// Energy with gradient and Hessian in the two offsets of each of three nodes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Local {
    pub(crate) energy: f64,
    /// By node.
    pub(crate) gradient: [[f64; 2]; 3],
    /// Blocks (0,0), (1,0), (1,1), (2,0), (2,1), (2,2), row-major.
    pub(crate) hessian: [[f64; 4]; 6],
}

/// Tangents of both edges on the two normals of each of three nodes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Projected<T> {
    pub(crate) t0: [[T; 2]; 3],
    pub(crate) t1: [[T; 2]; 3],
}

impl<T: Number> Projected<T> {
    /// Gradient by node of what has these by the first and the second edge: `x t0 + y t1` each.
    #[inline(always)]
    pub(crate) fn by_node(&self, [g0, g1]: [[T; 2]; 2]) -> [[T; 2]; 3] {
        [
            self.mix(0, -g0[0], -g0[1]),
            self.mix(1, g0[0] - g1[0], g0[1] - g1[1]),
            self.mix(2, g1[0], g1[1]),
        ]
    }

    #[inline(always)]
    fn mix(&self, node: usize, x: T, y: T) -> [T; 2] {
        let (t0, t1) = (self.t0[node], self.t1[node]);
        [y.fused(t1[0], x * t0[0]), y.fused(t1[1], x * t0[1])]
    }

    /// What `k1 t0 t0' + k2 t1 t0' + k3 t0 t1' + k4 t1 t1'` is between the normals of two nodes.
    #[inline(always)]
    fn tangents(&self, (i, j): (usize, usize), k: [T; 5]) -> [T; 4] {
        let (p, r) = (self.t0[i], self.t1[i]);
        let (pj, rj) = (self.t0[j], self.t1[j]);
        let left = [
            k[1].fused(pj[0], k[3] * rj[0]),
            k[1].fused(pj[1], k[3] * rj[1]),
        ];
        let right = [
            k[2].fused(pj[0], k[4] * rj[0]),
            k[2].fused(pj[1], k[4] * rj[1]),
        ];
        [
            p[0].fused(left[0], r[0] * right[0]),
            p[0].fused(left[1], r[0] * right[1]),
            p[1].fused(left[0], r[1] * right[0]),
            p[1].fused(left[1], r[1] * right[1]),
        ]
    }

    /// The same with `k0 I`; `gram` are the products of those normals.
    #[inline(always)]
    fn normals(&self, nodes: (usize, usize), gram: [T; 4], k: [T; 5]) -> [T; 4] {
        let t = self.tangents(nodes, k);
        [
            k[0].fused(gram[0], t[0]),
            k[0].fused(gram[1], t[1]),
            k[0].fused(gram[2], t[2]),
            k[0].fused(gram[3], t[3]),
        ]
    }

    /// The same for one node.
    #[inline(always)]
    fn own_normals(&self, node: usize, k: [T; 5]) -> [T; 4] {
        let t = self.tangents((node, node), k);
        [t[0] + k[0], t[1], t[2], t[3] + k[0]]
    }
}

/// Products of the normals of two frames, row by row.
#[inline(always)]
pub(crate) fn gram(a: &Frame, b: &Frame) -> [f64; 4] {
    [
        a.n1.dot(&b.n1),
        a.n1.dot(&b.n2),
        a.n2.dot(&b.n1),
        a.n2.dot(&b.n2),
    ]
}

/// What a vertex's energy depends on: its Voronoi cell, from the middle of one edge to that of the next.
#[derive(Debug, Clone, Copy)]
pub(crate) struct VoronoiCell<T> {
    /// Inverse lengths of the edges; 0 for the tangent held at a clamped start.
    pub(crate) a0: T,
    pub(crate) a1: T,
    /// Cell length.
    pub(crate) m: T,
    /// `1 - t0·t1`, without cancellation.
    pub(crate) q: T,
    beta: f64,
    pub(crate) gamma: f64,
}

impl<T: Number> VoronoiCell<T> {
    /// With a cell on either side, from the inverse lengths of the edges, its own length and `q`.
    #[inline(always)]
    pub(crate) fn inner(a0: T, a1: T, m: T, q: T) -> Self {
        Self {
            a0,
            a1,
            m,
            q,
            beta: INNER.0,
            gamma: INNER.1,
        }
    }

    /// At a clamped start, where the first edge is the tangent held and the cell is half a cell long.
    #[inline(always)]
    pub(crate) fn clamp(a1: T, m: T, q: T) -> Self {
        Self {
            a0: a1.times(0.0),
            a1,
            m,
            q,
            beta: CLAMP.0,
            gamma: CLAMP.1,
        }
    }

    /// Arc length of the node's cell, mm.
    #[inline(always)]
    pub(crate) fn arc_mm(&self) -> T {
        self.m * self.q.times(self.gamma).plus(1.0)
    }

    /// Gradient of [`Self::arc_mm`] by edge.
    #[inline(always)]
    pub(crate) fn arc_gradient(&self) -> [[T; 2]; 2] {
        let f_q = self.m.times(self.gamma);
        let half_l = self.q.times(self.gamma).plus(1.0).times(0.5);
        self.gradient(f_q, half_l)
    }

    /// Energy of bending at unit stiffness, 1/mm.
    #[inline(always)]
    pub(crate) fn bending(&self) -> T {
        self.q * self.q.times(self.beta).plus(1.0) / self.m
    }

    /// A bound for how far below zero a buckling mode can lie, N/mm: a rod under the thrust `P` resists a
    /// wave of number `w` with `B w⁴ - P w²`, at least `-P²/(4B)` a unit of length. A bend thrusts with
    /// `B kappa²/2` by itself.
    #[inline(always)]
    pub(crate) fn softness(&self, b: T, tau: T) -> T {
        let thrust = (b * self.q / (self.m * self.m) - tau).positive();
        (thrust * thrust * self.m / b).times(0.25)
    }

    /// Gradient by edge, as `x t0 + y t1`, of what has the slope `f_q` in `q` and twice `half_l` in the
    /// cell's length.
    #[inline(always)]
    fn gradient(&self, f_q: T, half_l: T) -> [[T; 2]; 2] {
        let along = f_q * (-self.q).plus(1.0);
        let across = -f_q;
        [
            [self.a0.fused(along, half_l), across * self.a0],
            [across * self.a1, self.a1.fused(along, half_l)],
        ]
    }

    /// Energy and gradient by edge for stiffness `b` (N mm2) and axial load `tau` (N).
    #[inline(always)]
    pub(crate) fn slopes(&self, b: T, tau: T) -> (T, [[T; 2]; 2]) {
        let Self {
            m, q, beta, gamma, ..
        } = *self;
        let inverse = m.inverse();
        let bend = b * q * q.times(beta).plus(1.0) * inverse;
        let stretch = tau * q.times(gamma).plus(1.0);
        let slope = b * q.times(2.0 * beta).plus(1.0) * inverse;
        let f_q = (tau * m).times(gamma) + slope;
        let half_l = (stretch - bend * inverse).times(0.5);
        (stretch.fused(m, bend), self.gradient(f_q, half_l))
    }

    /// Hessian for stiffness `b` (N mm2) and axial load `tau` (N), as in [`Local`]; `grams` are the
    /// products of the normals of nodes (1,0), (2,0), (2,1).
    #[inline(always)]
    pub(crate) fn hessian(
        &self,
        on: &Projected<T>,
        grams: [[T; 4]; 3],
        b: T,
        tau: T,
    ) -> [[T; 4]; 6] {
        let Self {
            a0,
            a1,
            m,
            q,
            beta,
            gamma,
        } = *self;
        let c = (-q).plus(1.0);
        let inverse = m.inverse();
        let bend = b * q * q.times(beta).plus(1.0) * inverse * inverse;
        let slope = b * q.times(2.0 * beta).plus(1.0) * inverse;
        let f_q = (tau * m).times(gamma) + slope;
        let f_l = tau * q.times(gamma).plus(1.0) - bend;
        let f_qq = (b * inverse).times(2.0 * beta);
        let f_ql = tau.times(gamma) - slope * inverse;

        // Hessian by edge: k0 I + k1 t0 t0' + k2 t1 t0' + k3 t0 t1' + k4 t1 t1'.
        let by = Slopes {
            f_q_c: f_q * c,
            turning: f_q - f_qq * c,
            twice: f_qq * c - f_q.times(3.0),
            f_ql,
            half_l: f_l.times(0.5),
            half_ql: f_ql.times(0.5),
            quarter_ll: (bend * inverse).times(0.5),
            c,
        };
        let (mixed0, mixed1) = (by.mixed(a0), by.mixed(a1));
        let h00 = [by.own(a0), by.along(a0), mixed0, mixed0, f_qq * a0 * a0];
        let h11 = [by.own(a1), f_qq * a1 * a1, mixed1, mixed1, by.along(a1)];
        let a01 = a0 * a1;
        let turning = by.turning * a01;
        let h10 = [
            -(f_q * a01),
            turning - by.half_ql * a1,
            (by.half_ql * (a0 + a1) - turning).fused(c, by.quarter_ll),
            f_qq * a01,
            turning - by.half_ql * a0,
        ];
        let h01 = [h10[0], h10[1], h10[3], h10[2], h10[4]];
        let middle = less(less(h00, h01), less(h10, h11));
        let far = [-h10[0], -h10[1], -h10[2], -h10[3], -h10[4]];
        [
            on.own_normals(0, h00),
            on.normals((1, 0), grams[0], less(h10, h00)),
            on.own_normals(1, middle),
            on.normals((2, 0), grams[1], far),
            on.normals((2, 1), grams[2], less(h10, h11)),
            on.own_normals(2, h11),
        ]
    }
}

/// Slopes of a cell's energy, and of its slopes.
struct Slopes<T> {
    f_q_c: T,
    turning: T,
    twice: T,
    f_ql: T,
    half_l: T,
    half_ql: T,
    quarter_ll: T,
    c: T,
}

// (no closures and nothing of the standard library that takes one: either would be compiled apart,
// without the vector instructions its caller may use)
impl<T: Number> Slopes<T> {
    /// For an edge of inverse length `a`: the part without a direction, that along the edge itself, and
    /// that along one edge and the other.
    #[inline(always)]
    fn own(&self, a: T) -> T {
        self.f_q_c.fused(a, self.half_l) * a
    }

    #[inline(always)]
    fn along(&self, a: T) -> T {
        let twice = self.twice.fused(a, self.f_ql) * a;
        twice.fused(self.c, self.quarter_ll - self.half_l * a)
    }

    #[inline(always)]
    fn mixed(&self, a: T) -> T {
        (self.turning * a - self.half_ql) * a
    }
}

#[inline(always)]
fn less<T: Number>(a: [T; 5], b: [T; 5]) -> [T; 5] {
    [
        a[0] - b[0],
        a[1] - b[1],
        a[2] - b[2],
        a[3] - b[3],
        a[4] - b[4],
    ]
}

/// Unit tangent, inverse length and length of an edge.
#[inline(always)]
pub(crate) fn measured(e: Vector) -> (Vector, f64, f64) {
    let l = e.norm();
    let a = 1.0 / l;
    (e * a, a, l)
}

/// Two edges that meet at a node.
#[derive(Debug, Clone, Copy)]
pub(crate) struct VertexStencil {
    pub(crate) t0: Vector,
    pub(crate) t1: Vector,
    pub(crate) cell: VoronoiCell<f64>,
}

impl VertexStencil {
    /// Between two edges by their unit tangents, inverse lengths and lengths.
    #[inline(always)]
    pub(crate) fn between(
        (t0, a0, l0): (Vector, f64, f64),
        (t1, a1, l1): (Vector, f64, f64),
    ) -> Self {
        let q = 0.5 * (t1 - t0).norm_squared();
        let cell = VoronoiCell::inner(a0, a1, 0.5 * (l0 + l1), q);
        Self { t0, t1, cell }
    }

    /// Between a unit tangent held and an edge.
    #[inline(always)]
    pub(crate) fn clamped(t0: Vector, (t1, a1, l1): (Vector, f64, f64)) -> Self {
        let q = 0.5 * (t1 - t0).norm_squared();
        let cell = VoronoiCell::clamp(a1, 0.5 * l1, q);
        Self { t0, t1, cell }
    }

    /// Its edges on the normals of the frames of its nodes.
    #[inline(always)]
    pub(crate) fn on(&self, frames: [&Frame; 3]) -> Projected<f64> {
        let onto = |t: &Vector| frames.map(|f| [f.n1.dot(t), f.n2.dot(t)]);
        Projected {
            t0: onto(&self.t0),
            t1: onto(&self.t1),
        }
    }

    /// Curvature vector: direction of the turn, length `|t1 - t0| / m`, exact on circles to
    /// fourth order.
    #[inline]
    pub(crate) fn curvature_per_mm(&self) -> Vector {
        (self.t1 - self.t0) * (1.0 / self.cell.m)
    }

    /// Unit tangent at the node.
    pub(crate) fn tangent(&self) -> Vector {
        (self.t0 + self.t1).normalize()
    }

    /// Energy, gradient and Hessian at once.
    #[cfg(test)]
    fn evaluate(&self, frames: [&Frame; 3], b: f64, tau: f64) -> Local {
        let on = self.on(frames);
        let grams = [
            gram(frames[1], frames[0]),
            gram(frames[2], frames[0]),
            gram(frames[2], frames[1]),
        ];
        let (energy, by_edge) = self.cell.slopes(b, tau);
        Local {
            energy,
            gradient: on.by_node(by_edge),
            hessian: self.cell.hessian(&on, grams, b, tau),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Point;
    use crate::math;
    use crate::mechanics::rod::natural::Natural;

    /// Three frames in general position and offsets.
    fn setting() -> ([Frame; 3], [f64; 6]) {
        let f0 = Frame::new(
            Point::new(0.3, -0.2, 0.1),
            Vector::new(1.0, 0.2, -0.1),
            Vector::y(),
        );
        let f1 = f0.along_arc(1.1, 0.25, 0.7);
        let f2 = f1.along_arc(0.8, 0.15, 2.1);
        ([f0, f1, f2], [0.1, -0.2, 0.25, 0.05, -0.1, 0.15])
    }

    fn stencil(frames: &[Frame; 3], x: &[f64; 6], clamp: bool) -> VertexStencil {
        let at = |i: usize| {
            frames[i].origin_mm.coords + frames[i].n1 * x[2 * i] + frames[i].n2 * x[2 * i + 1]
        };
        if clamp {
            VertexStencil::clamped(frames[0].tangent, measured(at(2) - at(1)))
        } else {
            VertexStencil::between(measured(at(1) - at(0)), measured(at(2) - at(1)))
        }
    }

    const LOWER: [(usize, usize); 6] = [(0, 0), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2)];

    fn check(evaluate: impl Fn(&[f64; 6]) -> Local, x: [f64; 6], first: usize) {
        let here = evaluate(&x);
        let step = 1e-5;
        for j in first..6 {
            let (mut up, mut down) = (x, x);
            up[j] += step;
            down[j] -= step;
            let (up, down) = (evaluate(&up), evaluate(&down));
            let slope = (up.energy - down.energy) / (2.0 * step);
            let found = here.gradient[j / 2][j % 2];
            assert!(
                (slope - found).abs() < 1e-7,
                "gradient {j}: {found} against {slope}"
            );
            for (block, (r, c)) in here.hessian.iter().zip(LOWER) {
                if r < first / 2 || c < first / 2 {
                    continue;
                }
                for p in 0..2 {
                    if c == j / 2 {
                        let slope = (up.gradient[r][p] - down.gradient[r][p]) / (2.0 * step);
                        let found = block[2 * p + j % 2];
                        assert!(
                            (slope - found).abs() < 1e-6,
                            "({r},{c}) {p} {j}: {found} against {slope}"
                        );
                    }
                    if r == j / 2 {
                        let slope = (up.gradient[c][p] - down.gradient[c][p]) / (2.0 * step);
                        let found = block[2 * (j % 2) + p];
                        assert!(
                            (slope - found).abs() < 1e-6,
                            "({r},{c})' {p} {j}: {found} against {slope}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn property_derivatives_match_finite_differences() {
        let (frames, x) = setting();
        let by = [&frames[0], &frames[1], &frames[2]];
        check(|x| stencil(&frames, x, false).evaluate(by, 3.0, -0.7), x, 0);
        check(|x| stencil(&frames, x, true).evaluate(by, 3.0, 0.4), x, 4);
    }

    #[test]
    fn property_derivatives_of_a_pre_shaped_node_match_finite_differences() {
        let (frames, x) = setting();
        for natural in [Natural::Curvature(0.2), Natural::Turn(0.19)] {
            check_pre_shaped(&frames, &x, natural);
        }
    }

    fn check_pre_shaped(frames: &[Frame; 3], x: &[f64; 6], natural: Natural) {
        let by = [&frames[0], &frames[1], &frames[2]];
        let evaluate = |x: &[f64; 6], roll: f64| {
            let towards = frames[1].across(roll);
            let quarter = frames[1].across(roll + std::f64::consts::FRAC_PI_2);
            stencil(frames, x, false).pre_shaped(
                by,
                3.0,
                natural,
                [frames[1].tangent, towards, quarter],
            )
        };
        check(|x| evaluate(x, 0.9).local, *x, 0);
        let step = 1e-5;
        let (up, here, down) = (
            evaluate(x, 0.9 + step),
            evaluate(x, 0.9),
            evaluate(x, 0.9 - step),
        );
        let slope = (up.local.energy - down.local.energy) / (2.0 * step);
        assert!((slope - here.roll_gradient).abs() < 1e-8, "roll: {slope}");
        let slope = (up.roll_gradient - down.roll_gradient) / (2.0 * step);
        assert!(
            (slope - here.roll_hessian).abs() < 1e-8,
            "roll, roll: {slope}"
        );
        for i in 0..6 {
            let slope = (up.local.gradient[i / 2][i % 2] - down.local.gradient[i / 2][i % 2])
                / (2.0 * step);
            let found = here.roll_cross[i / 2][i % 2];
            assert!(
                (slope - found).abs() < 1e-8,
                "roll, {i}: {found} against {slope}"
            );
        }
    }

    #[test]
    fn exact_circle_to_fourth_order() {
        // Energy of a rod bent to radius R over length L: B L / (2 R²); arc length R θ.
        for turn in [0.05_f64, 0.1, 0.2] {
            let radius = 5.0;
            let f0 = Frame::new(Point::origin(), Vector::x(), Vector::y());
            let f1 = f0.along_arc(radius * turn, turn, 0.0);
            let f2 = f1.along_arc(radius * turn, turn, 0.0);
            let frames = [f0, f1, f2];
            let node = stencil(&frames, &[0.0; 6], false);
            let arc = radius * turn;
            let tolerance = math::power(turn, 4) / 100.0;
            assert!(
                (node.cell.arc_mm() / arc - 1.0).abs() < tolerance,
                "arc at {turn}"
            );
            let energy = node.cell.bending() / (0.5 * arc / (radius * radius));
            assert!(
                (energy - 1.0).abs() < tolerance,
                "energy at {turn}: {energy}"
            );
            let curvature = node.curvature_per_mm().norm() * radius;
            assert!(
                (curvature - 1.0).abs() < tolerance,
                "curvature at {turn}: {curvature}"
            );
            // natural curvature equal to the circle's: no energy
            let by = [&frames[0], &frames[1], &frames[2]];
            let shaped = node.pre_shaped(
                by,
                1.0,
                Natural::Curvature(1.0 / radius),
                [f1.tangent, f1.n1, f1.n2],
            );
            let left = node.cell.bending() + shaped.local.energy;
            assert!(
                left.abs() < tolerance * node.cell.bending(),
                "shaped at {turn}: {left}"
            );
            // half a cell at a clamp
            let node = VertexStencil::clamped(f0.tangent, measured(f1.origin_mm - f0.origin_mm));
            assert!(
                (node.cell.arc_mm() / (0.5 * arc) - 1.0).abs() < tolerance,
                "half arc"
            );
            let energy = node.cell.bending() / (0.25 * arc / (radius * radius));
            assert!(
                (energy - 1.0).abs() < tolerance,
                "half energy at {turn}: {energy}"
            );
        }
    }
}
