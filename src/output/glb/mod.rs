//! The whole script as one animated glTF binary file, for slides, browsers and modelling programs.
//!
//! Vessel, devices, stents, retriever, balloon and clot are named nodes; the animation `rehearsal` plays
//! the film of the [`Stage`]. Devices are tubes bound to joints that follow their axes; the joint at the
//! tip is named `<device> tip`. Metres, y to the head, z to the front; `asset.extras` says so.

mod motion;
mod pack;
mod parts;

use crate::output::palette::Theme;
use crate::stage::Stage;
use motion::{looks, place, single};
use pack::{Pack, Surface, extras};
use parts::Cast;
use std::fmt;

/// How the file is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GlbSettings {
    /// How far lines between keys may leave the axes of devices, mm. Default 0.2: the width of a line;
    /// tips keep to a fifth of it. The file grows with its inverse square root.
    pub within_mm: f64,
    /// Colours.
    pub theme: Theme,
}

impl Default for GlbSettings {
    fn default() -> Self {
        Self {
            within_mm: 0.2,
            theme: Theme::Light,
        }
    }
}

/// The file could not be put together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GlbError(String);

impl fmt::Display for GlbError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the three-dimensional file cannot be written: {}",
            self.0
        )
    }
}

impl std::error::Error for GlbError {}

/// Opacity of the route's wall and of the vessel around it.
const WALL: (f32, f32) = (0.28, 0.16);

/// The bytes of a `.glb` file.
///
/// # Errors
/// [`GlbError`] where the container refuses what it is given.
pub fn glb(stage: &Stage, settings: &GlbSettings) -> Result<Vec<u8>, GlbError> {
    let mut pack = Pack::default();
    pack.root.asset.generator = Some(concat!("nestline ", env!("CARGO_PKG_VERSION")).into());
    let steps: Vec<serde_json::Value> = stage
        .steps
        .iter()
        .zip(&stage.timeline.steps)
        .map(|(card, span)| {
            serde_json::json!({
                "number": card.row.number, "say": card.row.say,
                "start_s": span.start_s, "moved_s": span.moved_s, "end_s": span.end_s,
            })
        })
        .collect();
    pack.root.asset.extras = extras(&serde_json::json!({
        "scene": stage.title,
        "unit": "metre; 1 mm of the patient is 0.001 here",
        "axes": "x to the patient's left, y to the head, z to the front",
        "shapes": stage.shapes.in_words(),
        "caution": stage.caution,
        "steps": steps,
    }));
    fixed(&mut pack, stage, settings);
    let mut cast = Cast::new(stage);
    // samples along the way half as far apart as the finest bends are wide
    const TRAVEL_MM: f64 = 3.0;
    for (step, share, time_s) in looks(stage, TRAVEL_MM) {
        let moment = stage.at_step(step, share);
        let [time, ..] = single([time_s, 0.0, 0.0]);
        cast.look(stage, &moment, time);
    }
    cast.write(&mut pack, stage, settings);
    pack.finish("rehearsal", &stage.title).map_err(GlbError)
}

/// What does not move.
fn fixed(pack: &mut Pack, stage: &Stage, settings: &GlbSettings) {
    let detail = stage.settings().detail;
    let colour = settings.theme.wall().linear();
    let wall = pack.material("vessel wall", colour, WALL.0);
    let around = pack.material("vessel around the route", colour, WALL.1);
    let route = crate::stage::Mesh::open_tube(&stage.wall, detail.wall_sides);
    let surface = Surface::from(&route);
    let primitive = pack.primitive(&surface, wall, None);
    pack.mesh_node("vessel wall", vec![primitive], None);
    for branch in &stage.context {
        let primitive = pack.primitive(&Surface::from(&branch.mesh), around, None);
        pack.mesh_node(&format!("vessel: {}", branch.name), vec![primitive], None);
    }
    for mark in &stage.landmarks {
        let node = pack.root.push(gltf_json::Node {
            name: Some(format!("landmark: {}", mark.words)),
            translation: Some(place(mark.at)),
            ..gltf_json::Node::default()
        });
        pack.top.push(node);
    }
}

impl From<&crate::stage::Mesh> for Surface {
    fn from(mesh: &crate::stage::Mesh) -> Self {
        let turn = |v: &[f32; 3], scale: f32| [v[0] * scale, v[2] * scale, -v[1] * scale];
        Self {
            positions: mesh.positions.iter().map(|p| turn(p, 1e-3)).collect(),
            normals: mesh.normals.iter().map(|n| turn(n, 1.0)).collect(),
            triangles: mesh.triangles.clone(),
            joints: Vec::new(),
        }
    }
}
