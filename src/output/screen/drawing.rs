//! From a moment of the stage to surfaces with colours.

use super::pane::{Finish, Set};
use super::scheme::solid;
use crate::output::palette::{Rgb, State, Theme, look_of};
use crate::stage::{DrawnDevice, Mesh, Moment, Node, Stage, WireMesh};
use egui::Color32;
use std::sync::Arc;

/// Opacity of the route's wall.
const WALL: f32 = 0.26;
/// Opacity of branches that are no part of the route.
const CONTEXT: f32 = 0.14;
/// Opacity of plaque.
const PLAQUE: f32 = 0.55;
/// Opacity of clot.
const CLOT: f32 = 0.8;
/// Opacity of what has a lumen: what runs in it is seen through its wall.
const CATHETER: f32 = 0.72;
/// How much darker than its coat the core of a wire is, and the corners of its sections.
const CORE: f32 = 0.45;
const CORE_SIDES: usize = 3;
/// Devices thinner than this have [`THIN_SIDES`] corners: more would not be seen, mm of radius.
const THIN_MM: f64 = 0.5;
const THIN_SIDES: usize = 6;
/// Opacity of balloons.
const BALLOON: f32 = 0.55;
/// Marks stand out of the surface that bears them by this share of its radius.
const MARK_SWELL: f64 = 1.04;

/// What is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a switch of its own in the window"
)]
pub struct Shown {
    /// The wall of the route.
    pub wall: bool,
    /// The rest of the vessel.
    pub context: bool,
    /// Plaque and clot.
    pub lesions: bool,
    /// Where devices press: arrows over the picture, none of its surfaces.
    pub contacts: bool,
    /// Edges of stents.
    pub edges: bool,
    /// Every device in one colour of its own and unlit, the rest left out: to find devices again
    /// in a picture.
    pub keyed: bool,
}

impl Default for Shown {
    fn default() -> Self {
        Self {
            wall: true,
            context: true,
            lesions: true,
            contacts: false,
            edges: true,
            keyed: false,
        }
    }
}

/// Colour by which a device is found again in a picture drawn with [`Shown::keyed`].
#[must_use]
pub fn key_colour(device: usize) -> Rgb {
    // far apart in every channel, and none of them grey
    const KEYS: [Rgb; 6] = [
        Rgb(255, 0, 0),
        Rgb(0, 255, 0),
        Rgb(0, 0, 255),
        Rgb(255, 0, 255),
        Rgb(0, 255, 255),
        Rgb(255, 255, 0),
    ];
    let Rgb(r, g, b) = KEYS[device % KEYS.len()];
    if device < KEYS.len() {
        Rgb(r, g, b)
    } else {
        Rgb(r / 2, g / 2, b / 2)
    }
}

/// What is made once for a stage: walls.
#[derive(Debug, Clone)]
pub struct Props {
    wall: Arc<Mesh>,
    context: Vec<(String, Arc<Mesh>)>,
}

impl Props {
    /// For a stage.
    #[must_use]
    pub fn new(stage: &Stage) -> Self {
        let sides = stage.settings().detail.wall_sides;
        Self {
            wall: Arc::new(Mesh::open_tube(&stage.wall, sides)),
            context: stage
                .context
                .iter()
                .map(|branch| {
                    (
                        format!("context {}", branch.name),
                        Arc::new(branch.mesh.clone()),
                    )
                })
                .collect(),
        }
    }

    /// Puts a moment into a set; returns the number of triangles. Struts thinner than `least_mm` are drawn
    /// that thick: thinner ones would be lost between the pixels.
    pub fn fill(
        &self,
        set: &mut Set,
        stage: &Stage,
        moment: &Moment,
        theme: Theme,
        shown: &Shown,
        least_mm: f64,
    ) -> usize {
        let mut parts: Vec<(String, Arc<Mesh>, Finish)> = Vec::new();
        if shown.wall && !shown.keyed {
            let finish = see_through(theme.wall(), WALL);
            parts.push(("wall".to_owned(), Arc::clone(&self.wall), finish));
        }
        if shown.context && !shown.keyed {
            let finish = see_through(theme.wall(), CONTEXT);
            for (name, mesh) in &self.context {
                parts.push((name.clone(), Arc::clone(mesh), finish));
            }
        }
        if shown.lesions && !shown.keyed {
            lesions(&mut parts, stage, moment, theme);
        }
        for device in &moment.devices {
            drawn_device(&mut parts, stage, device, theme, (shown.keyed, least_mm));
        }
        if !shown.keyed {
            payloads(&mut parts, stage, moment, theme, (shown, least_mm));
        }
        let triangles = parts.iter().map(|p| p.1.triangles.len()).sum();
        set.show(
            parts
                .iter()
                .map(|(name, mesh, finish)| (name.as_str(), Arc::clone(mesh), *finish)),
        );
        triangles
    }
}

fn see_through(colour: Rgb, opacity: f32) -> Finish {
    Finish {
        colour: solid(colour).gamma_multiply(opacity),
        flat: false,
        both_sides: true,
    }
}

fn opaque(colour: Rgb) -> Finish {
    Finish {
        colour: solid(colour),
        flat: false,
        both_sides: true,
    }
}

fn lesions(
    parts: &mut Vec<(String, Arc<Mesh>, Finish)>,
    stage: &Stage,
    moment: &Moment,
    theme: Theme,
) {
    let sides = stage.settings().detail.wall_sides;
    for plaque in &moment.plaques {
        parts.push((
            format!("plaque {}", plaque.lesion),
            Arc::new(plaque.mesh(sides)),
            see_through(theme.plaque(), PLAQUE),
        ));
    }
    for clot in &moment.clots {
        parts.push((
            format!("clot {}", clot.clot),
            Arc::new(Mesh::tube(&clot.nodes, sides)),
            see_through(theme.clot(), CLOT),
        ));
    }
}

fn drawn_device(
    parts: &mut Vec<(String, Arc<Mesh>, Finish)>,
    stage: &Stage,
    device: &DrawnDevice,
    theme: Theme,
    (keyed, least_mm): (bool, f64),
) {
    let sides = sides_of(device, stage.settings().detail.device_sides);
    let described = &stage.devices[device.device];
    let finish = if keyed {
        Finish {
            colour: solid(key_colour(device.device)),
            flat: true,
            both_sides: true,
        }
    } else {
        let colour = look_of(stage, device.device).colour(theme);
        let hollow = device.lumen_mm.iter().any(Option::is_some);
        if hollow || !device.core_mm.is_empty() {
            see_through(colour, CATHETER)
        } else {
            opaque(colour)
        }
    };
    parts.push((
        format!("device {}", described.name),
        Arc::new(Mesh::tube(&device.nodes, sides)),
        finish,
    ));
    if keyed {
        if let Some(struts) = &device.struts {
            let mesh = struts.mesh(stage.settings().detail.wire_sides);
            parts.push((format!("struts {}", described.name), Arc::new(mesh), finish));
        }
        return;
    }
    // what is thinner than two pixels is not seen in its coat
    let thickest_mm = 2.0 * device.core_mm.iter().copied().fold(0.0, f64::max);
    if device.core_mm.len() == device.nodes.len() && thickest_mm > 2.0 * least_mm {
        let core: Vec<Node> = device
            .nodes
            .iter()
            .zip(&device.core_mm)
            .map(|(node, radius_mm)| Node {
                radius_mm: *radius_mm,
                ..*node
            })
            .collect();
        let colour = solid(look_of(stage, device.device).colour(theme))
            .lerp_to_gamma(solid(theme.ink()), CORE);
        parts.push((
            format!("core {}", described.name),
            Arc::new(Mesh::tube(&core, CORE_SIDES)),
            Finish {
                colour,
                flat: false,
                both_sides: true,
            },
        ));
    }
    let mut marks = Mesh::default();
    for mark in marked(&device.nodes) {
        marks.append(&Mesh::tube(&mark, sides));
    }
    if !marks.triangles.is_empty() {
        parts.push((
            format!("marks {}", described.name),
            Arc::new(marks),
            opaque(theme.mark()),
        ));
    }
}

fn sides_of(device: &DrawnDevice, sides: usize) -> usize {
    let thin = device.nodes.iter().all(|n| n.radius_mm < THIN_MM);
    if thin { sides.min(THIN_SIDES) } else { sides }
}

/// Radiopaque stretches, a little thicker than what bears them.
fn marked(nodes: &[Node]) -> Vec<Vec<Node>> {
    let swollen = |node: &Node| Node {
        radius_mm: node.radius_mm * MARK_SWELL,
        ..*node
    };
    let mut stretches: Vec<Vec<Node>> = Vec::new();
    let mut open = false;
    for pair in nodes.windows(2) {
        if pair[0].marked {
            if !open {
                stretches.push(vec![swollen(&pair[0])]);
            }
            if let Some(stretch) = stretches.last_mut() {
                stretch.push(swollen(&pair[1]));
            }
        }
        open = pair[0].marked;
    }
    stretches
}

fn payloads(
    parts: &mut Vec<(String, Arc<Mesh>, Finish)>,
    stage: &Stage,
    moment: &Moment,
    theme: Theme,
    (shown, least_mm): (&Shown, f64),
) {
    let detail = &stage.settings().detail;
    for device in &moment.devices {
        let described = &stage.devices[device.device];
        let colour = look_of(stage, device.device).colour(theme);
        if let Some(struts) = &device.struts {
            parts.push((
                format!("struts {}", described.name),
                Arc::new(thickened(struts, least_mm).mesh(detail.wire_sides)),
                opaque(colour),
            ));
        }
        if let Some(balloon) = &device.balloon {
            parts.push((
                format!("balloon {}", described.name),
                Arc::new(Mesh::tube(balloon, detail.wall_sides)),
                see_through(colour, BALLOON),
            ));
        }
    }
    for stent in &moment.stents {
        let described = &stage.devices[stent.device];
        parts.push((
            format!("stent {}", described.name),
            Arc::new(thickened(&stent.struts, least_mm).mesh(detail.wire_sides)),
            opaque(look_of(stage, stent.device).colour(theme)),
        ));
    }
    if shown.edges {
        for band in &moment.bands {
            let state = State::from(band.state);
            let side = if band.upper { "upper" } else { "lower" };
            parts.push((
                format!("edge {} {side}", stage.devices[band.stent].name),
                Arc::new(Mesh::open_tube(&band.nodes, detail.wall_sides)),
                see_through(state.colour(theme), 0.6),
            ));
        }
    }
}

fn thickened(struts: &WireMesh, least_mm: f64) -> WireMesh {
    WireMesh {
        radius_mm: struts.radius_mm.max(0.5 * least_mm),
        ..struts.clone()
    }
}

/// Width at which a device is drawn as a line over the picture where its true width would be lost,
/// in design pixels.
#[must_use]
pub fn least_width_px(outer_mm: f32) -> f32 {
    1.5 + 1.15 * outer_mm
}

/// Ground of a label, which lets a little of the picture through.
pub(crate) fn veil(colour: Color32) -> Color32 {
    colour.gamma_multiply(0.86)
}
