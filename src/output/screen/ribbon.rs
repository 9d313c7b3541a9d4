//! Tubes seen through: the longer the way through a tube, the darker, and where tubes lie over each
//! other, darker still.

use egui::{Color32, Mesh, Painter, Pos2, Shape, Vec2};

/// Across a tube: where, as a share of its radius, and how long the way through it is there, as a
/// share of its diameter. The last one is the circle's chord.
const ACROSS: [(f32, f32); 7] = [
    (-1.0, 0.0),
    (-0.92, 0.39),
    (-0.6, 0.8),
    (0.0, 1.0),
    (0.6, 0.8),
    (0.92, 0.39),
    (1.0, 0.0),
];
/// Points closer than this are one, pixels: their direction would be rounding.
const LEAST_STEP_PX: f32 = 0.4;

/// Draws a tube that takes light away.
///
/// `path` gives its middle line in pixels with its radius there, `density` how much a way through
/// its full diameter takes away, 0 to 1.
pub fn seen_through(painter: &Painter, path: &[(Pos2, f32)], colour: Color32, density: f32) {
    let mut kept: Vec<(Pos2, f32)> = Vec::with_capacity(path.len());
    for point in path {
        if kept
            .last()
            .is_none_or(|last| (last.0 - point.0).length() >= LEAST_STEP_PX)
        {
            kept.push(*point);
        }
    }
    if kept.len() < 2 {
        return;
    }
    let mut mesh = Mesh::default();
    for (k, (at, radius)) in kept.iter().enumerate() {
        let before = kept[k.saturating_sub(1)].0;
        let after = kept[(k + 1).min(kept.len() - 1)].0;
        let along: Vec2 = (after - before).normalized();
        let side = Vec2::new(-along.y, along.x);
        for (x, chord) in ACROSS {
            let tint = colour.gamma_multiply(density * chord);
            mesh.colored_vertex(*at + side * (*radius * x), tint);
        }
    }
    let columns = u32::try_from(ACROSS.len()).unwrap_or(0);
    let rows = u32::try_from(kept.len()).unwrap_or(0);
    for row in 0..rows - 1 {
        for column in 0..columns - 1 {
            let a = row * columns + column;
            mesh.add_triangle(a, a + 1, a + columns);
            mesh.add_triangle(a + 1, a + columns + 1, a + columns);
        }
    }
    painter.add(Shape::mesh(mesh));
}
