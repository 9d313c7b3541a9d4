//! Triangle meshes: tubes round a centre line, wires, and what they are made of.

use super::Node;
use crate::geometry::{Point, Vector};
use crate::math;
use std::f64::consts::TAU;

/// A triangle mesh, millimetres, triangles anticlockwise as seen from outside.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Mesh {
    /// Vertices, mm.
    pub positions: Vec<[f32; 3]>,
    /// Unit normal at each vertex, outwards.
    pub normals: Vec<[f32; 3]>,
    /// Vertices of each triangle.
    pub triangles: Vec<[u32; 3]>,
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "single precision resolves a vessel to 1e-4 mm"
)]
pub(crate) fn single(v: [f64; 3]) -> [f32; 3] {
    v.map(|x| x as f32)
}

impl Mesh {
    /// A tube of round sections with flat caps at both ends; two nodes at one place with different radii
    /// make a step. Fewer than two nodes give nothing.
    #[must_use]
    pub fn tube(nodes: &[Node], sides: usize) -> Self {
        let mut mesh = Self::default();
        mesh.add_tube(nodes, sides, true);
        mesh
    }

    /// The same without caps, for walls.
    #[must_use]
    pub fn open_tube(nodes: &[Node], sides: usize) -> Self {
        let mut mesh = Self::default();
        mesh.add_tube(nodes, sides, false);
        mesh
    }

    /// Thin wires along polylines.
    #[must_use]
    pub fn wires(wires: &[Vec<Point>], radius_mm: f64, sides: usize) -> Self {
        let mut mesh = Self::default();
        for wire in wires {
            mesh.add_wire(wire, radius_mm, sides);
        }
        mesh
    }

    /// Adds another mesh.
    pub fn append(&mut self, other: &Self) {
        let first = self.next();
        self.positions.extend_from_slice(&other.positions);
        self.normals.extend_from_slice(&other.normals);
        self.triangles
            .extend(other.triangles.iter().map(|t| t.map(|v| v + first)));
    }

    /// Without vertices that belong to no triangle.
    #[must_use]
    pub(crate) fn without_loose(self) -> Self {
        let mut place = vec![None; self.positions.len()];
        let mut kept = Self::default();
        for triangle in &self.triangles {
            let corners = triangle.map(|v| {
                *place[v as usize].get_or_insert_with(|| {
                    let at = kept.next();
                    kept.positions.push(self.positions[v as usize]);
                    kept.normals.push(self.normals[v as usize]);
                    at
                })
            });
            kept.triangles.push(corners);
        }
        kept
    }

    fn next(&self) -> u32 {
        u32::try_from(self.positions.len()).unwrap_or(u32::MAX)
    }

    pub(crate) fn vertex(&mut self, at: Point, normal: Vector) {
        self.positions.push(single(at.coords.into()));
        self.normals.push(single(normal.into()));
    }

    /// Quads between two rows of as many vertices, closed round.
    pub(crate) fn stitch(&mut self, from: u32, to: u32, sides: u32) {
        for k in 0..sides {
            let next = (k + 1) % sides;
            let [a, b, c, d] = [from + k, from + next, to + k, to + next];
            self.triangles.push([a, b, c]);
            self.triangles.push([b, d, c]);
        }
    }

    fn cap(&mut self, node: &Node, outwards: Vector, sides: u32, facing_back: bool) {
        let centre = self.next();
        self.vertex(node.at, outwards);
        for k in 0..sides {
            let at = node.at + node.around(k, sides) * node.radius_mm;
            self.vertex(at, outwards);
        }
        for k in 0..sides {
            let (a, b) = (centre + 1 + k, centre + 1 + (k + 1) % sides);
            self.triangles.push(if facing_back {
                [centre, b, a]
            } else {
                [centre, a, b]
            });
        }
    }

    fn add_tube(&mut self, nodes: &[Node], sides: usize, caps: bool) {
        let (Some(first), Some(last)) = (nodes.first(), nodes.last()) else {
            return;
        };
        if nodes.len() < 2 {
            return;
        }
        let sides = u32::try_from(sides.clamp(3, 64)).unwrap_or(3);
        let mut before = None;
        for (i, node) in nodes.iter().enumerate() {
            let row = self.next();
            let slope = slope_at(nodes, i);
            for k in 0..sides {
                let out = node.around(k, sides);
                let normal = (out - node.along * slope).normalize();
                self.vertex(node.at + out * node.radius_mm, normal);
            }
            if let Some(before) = before {
                self.stitch(before, row, sides);
            }
            before = Some(row);
        }
        if caps {
            self.cap(first, -first.along, sides, true);
            self.cap(last, last.along, sides, false);
        }
    }

    fn add_wire(&mut self, wire: &[Point], radius_mm: f64, sides: usize) {
        let Some(mut across) = wire
            .windows(2)
            .map(|w| w[1] - w[0])
            .find(|v| v.norm() > 1e-9)
            .map(|along| any_normal(&along))
        else {
            return;
        };
        let nodes: Vec<Node> = wire
            .iter()
            .enumerate()
            .map(|(i, at)| {
                let along = direction(wire, i);
                across = (across - along * along.dot(&across))
                    .try_normalize(1e-9)
                    .unwrap_or_else(|| any_normal(&along));
                Node {
                    at: *at,
                    along,
                    across,
                    station_mm: 0.0,
                    from_tip_mm: 0.0,
                    radius_mm,
                    marked: false,
                    indentation_mm: 0.0,
                }
            })
            .collect();
        self.add_tube(&nodes, sides, false);
    }
}

/// Direction of a polyline at one of its points.
pub(crate) fn direction(line: &[Point], i: usize) -> Vector {
    let (a, b) = (i.saturating_sub(1), (i + 1).min(line.len() - 1));
    (line[b] - line[a])
        .try_normalize(1e-12)
        .unwrap_or_else(Vector::z)
}

pub(crate) fn any_normal(along: &Vector) -> Vector {
    let axis = Vector::ith(along.iamin(), 1.0);
    along.cross(&axis).normalize()
}

/// Growth of the radius along a tube.
fn slope_at(nodes: &[Node], i: usize) -> f64 {
    let (a, b) = (
        &nodes[i.saturating_sub(1)],
        &nodes[(i + 1).min(nodes.len() - 1)],
    );
    let length_mm = (b.at - a.at).norm();
    if length_mm < 0.05 {
        return 0.0;
    }
    ((b.radius_mm - a.radius_mm) / length_mm).clamp(-3.0, 3.0)
}

impl Node {
    /// Direction of one of `sides` corners of the section here, unit.
    #[must_use]
    pub fn around(&self, corner: u32, sides: u32) -> Vector {
        let turn = TAU * f64::from(corner) / f64::from(sides);
        self.across * math::cos(turn) + self.along.cross(&self.across) * math::sin(turn)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn straight(radii: &[(f64, f64)]) -> Vec<Node> {
        radii
            .iter()
            .map(|(z, radius_mm)| Node {
                at: Point::new(0.0, 0.0, *z),
                along: Vector::z(),
                across: Vector::x(),
                station_mm: *z,
                from_tip_mm: 0.0,
                radius_mm: *radius_mm,
                marked: false,
                indentation_mm: 0.0,
            })
            .collect()
    }

    /// Signed volume by the divergence theorem: positive where triangles face outwards.
    fn volume(mesh: &Mesh) -> f64 {
        mesh.triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|v| {
                    let p = mesh.positions[v as usize].map(f64::from);
                    Vector::from(p)
                });
                a.dot(&b.cross(&c)) / 6.0
            })
            .sum()
    }

    #[test]
    fn exact_volume_of_a_prism_faces_outwards() {
        let mesh = Mesh::tube(&straight(&[(0.0, 2.0), (5.0, 2.0), (10.0, 2.0)]), 6);
        // hexagon of circumradius 2: area 3 sqrt(3) / 2 r^2
        let exact = 10.0 * 1.5 * 3.0_f64.sqrt() * 4.0;
        assert!((volume(&mesh) - exact).abs() < 1e-4, "{}", volume(&mesh));
    }

    #[test]
    fn exact_normals_of_a_cone_lean_forward() {
        // r falls by 1 over 1 mm: the wall leans by 45 degrees
        let mesh = Mesh::tube(&straight(&[(0.0, 2.0), (1.0, 1.0)]), 8);
        let lean = mesh.normals[0][2];
        assert!((lean - 0.5_f32.sqrt()).abs() < 1e-6, "{lean}");
    }
}
