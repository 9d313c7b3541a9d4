//! The three-dimensional scene of the page: centre lines and radii, from which the page's own script
//! builds the tubes.

use super::Sheet;
use crate::geometry::Point;
use crate::stage::{Mesh, Moment, Node, Stage, WireMesh};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, PreEscaped, html};
use serde::Serialize;
use std::collections::BTreeMap;

/// The script of the scene.
pub(super) const SCRIPT: &str = include_str!("scene3d.js");

/// What lies further outside than this is left out, mm: a stack is a metre and more long out there.
const OUTSIDE_MM: f64 = 70.0;
/// Nodes closer together than this, mm, are drawn as one where the tube keeps its width.
const NODE_MM: f64 = 1.2;
/// Places are kept in 16 bits; this much of the range is used.
const RANGE: f64 = 32_000.0;

/// Everything the script needs. Places and radii are 16-bit integers, little-endian, base64; times
/// `quantum_mm` and plus `middle_mm` they are millimetres.
#[derive(Debug, Serialize)]
struct Data {
    middle_mm: [f64; 3],
    quantum_mm: f64,
    wall: usize,
    branches: Vec<(usize, String)>,
    steps: Vec<Step>,
    labels: Vec<Label>,
    views: Vec<View>,
    /// Where something happens in the step that is shown first.
    first_view: &'static str,
    names: Vec<String>,
    /// Tubes as x, y, z, radius; wires as lengths of the polylines, then x, y, z; branches as x, y, z.
    blobs: Vec<String>,
}

/// Device, its tube, struts, balloon, tip, whether it moved.
type DeviceAt = (usize, usize, Option<usize>, Option<usize>, [f64; 3], bool);

#[derive(Debug, Serialize)]
struct Step {
    devices: Vec<DeviceAt>,
    /// Device a stent came from, its struts.
    stents: Vec<(usize, usize)>,
    clots: Vec<usize>,
    plaques: Vec<usize>,
}

#[derive(Debug, Serialize)]
struct Label {
    name: String,
    at_mm: [f64; 3],
}

#[derive(Debug, Serialize)]
struct View {
    name: &'static str,
    at_mm: [f64; 3],
    radius_mm: f64,
}

struct Packer {
    middle: Point,
    quantum_mm: f64,
    blobs: Vec<String>,
    known: BTreeMap<String, usize>,
}

impl Packer {
    /// Number of a piece of data; equal pieces are kept once.
    fn keep(&mut self, bytes: &[u8]) -> usize {
        let text = STANDARD.encode(bytes);
        if let Some(i) = self.known.get(&text) {
            return *i;
        }
        self.blobs.push(text.clone());
        self.known.insert(text, self.blobs.len() - 1);
        self.blobs.len() - 1
    }

    fn short(&self, value_mm: f64) -> [u8; 2] {
        #[expect(clippy::cast_possible_truncation, reason = "clamped to 16 bits")]
        let value = (value_mm / self.quantum_mm).round().clamp(-RANGE, RANGE) as i16;
        value.to_le_bytes()
    }

    fn place(&self, at: &Point, bytes: &mut Vec<u8>) {
        for i in 0..3 {
            bytes.extend(self.short(at[i] - self.middle[i]));
        }
    }

    fn tube(&mut self, nodes: &[Node]) -> usize {
        let mut bytes = Vec::new();
        let mut last: Option<&Node> = None;
        for (i, node) in nodes.iter().enumerate() {
            let near = last.is_some_and(|l| {
                (l.at - node.at).norm() < NODE_MM && (l.radius_mm - node.radius_mm).abs() < 1e-3
            });
            if near && i + 1 < nodes.len() {
                continue;
            }
            last = Some(node);
            self.place(&node.at, &mut bytes);
            bytes.extend(self.short(node.radius_mm));
        }
        self.keep(&bytes)
    }

    fn wires(&mut self, wires: &WireMesh) -> usize {
        let mut bytes = Vec::new();
        let count = |n: usize| i16::try_from(n).unwrap_or(i16::MAX).to_le_bytes();
        bytes.extend(count(wires.wires.len()));
        for wire in &wires.wires {
            bytes.extend(count(wire.len()));
        }
        for at in wires.wires.iter().flatten() {
            self.place(at, &mut bytes);
        }
        self.keep(&bytes)
    }

    /// Corners of triangles, three after three.
    fn mesh(&mut self, mesh: &Mesh) -> usize {
        let mut bytes = Vec::new();
        for corner in mesh.triangles.iter().flatten() {
            let at = mesh
                .positions
                .get(*corner as usize)
                .copied()
                .unwrap_or_default();
            self.place(&Point::from(at.map(f64::from)), &mut bytes);
        }
        self.keep(&bytes)
    }
}

fn step_of(stage: &Stage, packer: &mut Packer, moment: &Moment, moved: &[usize]) -> Step {
    Step {
        devices: moment
            .devices
            .iter()
            .map(|d| {
                let shown: Vec<Node> = d
                    .nodes
                    .iter()
                    .filter(|n| n.station_mm > -OUTSIDE_MM)
                    .copied()
                    .collect();
                (
                    d.device,
                    packer.tube(&shown),
                    d.struts.as_ref().map(|s| packer.wires(s)),
                    d.balloon.as_ref().map(|b| packer.tube(b)),
                    rounded(&d.tip),
                    moved.contains(&d.device),
                )
            })
            .filter(|d| stage.devices.len() > d.0)
            .collect(),
        stents: moment
            .stents
            .iter()
            .map(|s| (s.device, packer.wires(&s.struts)))
            .collect(),
        clots: moment.clots.iter().map(|c| packer.tube(&c.nodes)).collect(),
        plaques: moment
            .plaques
            .iter()
            .map(|p| packer.tube(&p.inner))
            .collect(),
    }
}

fn rounded(at: &Point) -> [f64; 3] {
    [at.x, at.y, at.z].map(|x| (100.0 * x).round() / 100.0)
}

fn data(sheet: &Sheet<'_>, stage: &Stage) -> Data {
    let mut low = Point::new(f64::INFINITY, f64::INFINITY, f64::INFINITY);
    let mut high = -low;
    for node in &stage.wall {
        low = low.inf(&node.at);
        high = high.sup(&node.at);
    }
    for branch in &stage.context {
        for at in &branch.mesh.positions {
            let at = Point::from(at.map(f64::from));
            low = low.inf(&at);
            high = high.sup(&at);
        }
    }
    let middle = nalgebra::center(&low, &high);
    // what hangs outside the access and the width of the walls have to fit too
    let reach_mm = 0.5 * (high - low).amax() + OUTSIDE_MM + 50.0;
    let mut packer = Packer {
        middle,
        quantum_mm: reach_mm / RANGE,
        blobs: Vec::new(),
        known: BTreeMap::new(),
    };
    let wall = packer.tube(&stage.wall);
    let branches = stage
        .context
        .iter()
        .map(|b| (packer.mesh(&b.mesh), b.name.clone()))
        .collect();
    let steps = stage
        .steps
        .iter()
        .enumerate()
        .map(|(i, card)| step_of(stage, &mut packer, &stage.at_step(i, 1.0), &card.moving))
        .collect();
    let views = views(sheet, stage, &low, &high);
    Data {
        middle_mm: rounded(&middle),
        quantum_mm: packer.quantum_mm,
        wall,
        branches,
        steps,
        labels: labels(stage),
        first_view: first_view(sheet, stage, &views),
        views,
        names: stage.devices.iter().map(|d| d.name.clone()).collect(),
        blobs: packer.blobs,
    }
}

/// Landmarks worth a name in space.
fn labels(stage: &Stage) -> Vec<Label> {
    const NAMED: [&str; 6] = [
        "arteriotomy",
        "arch-top",
        "carotid-bifurcation",
        "skull-base",
        "ica-terminus",
        "clot-start",
    ];
    let marks = stage.landmarks.iter();
    marks
        .filter(|l| NAMED.contains(&l.name.as_str()))
        .map(|l| Label {
            name: if l.name == "clot-start" {
                "clot".into()
            } else {
                l.words.clone()
            },
            at_mm: rounded(&l.at),
        })
        .collect()
}

/// Where to look from the start: everything, neck, head.
fn views(sheet: &Sheet<'_>, stage: &Stage, low: &Point, high: &Point) -> Vec<View> {
    let around = |name: &'static str, from_mm: f64, to_mm: f64| {
        let places = stage
            .wall
            .iter()
            .filter(|n| n.station_mm >= from_mm && n.station_mm <= to_mm)
            .map(|n| n.at);
        let (mut a, mut b) = (*high, *low);
        for at in places {
            a = a.inf(&at);
            b = b.sup(&at);
        }
        View {
            name,
            at_mm: rounded(&nalgebra::center(&a, &b)),
            radius_mm: (0.5 * (b - a).norm()).max(10.0),
        }
    };
    let track = &sheet.plan.track;
    let at = |name: &str| track.landmark(name).ok();
    let mut out = vec![View {
        name: "whole",
        at_mm: rounded(&nalgebra::center(low, high)),
        radius_mm: 0.5 * (high - low).norm(),
    }];
    if let Some(arch) = at("arch-top") {
        out.push(around("arch", arch - 60.0, arch + 60.0));
    }
    if let (Some(a), Some(b)) = (at("carotid-bifurcation"), at("skull-base")) {
        out.push(around("neck", a - 45.0, b));
        out.push(around("head", b, track.length_mm()));
    }
    if let Some(stent) = sheet.outcome().stents.first() {
        out.push(around(
            "stent",
            stent.proximal_mm - 6.0,
            stent.distal_mm + 6.0,
        ));
    }
    out
}

/// The view on what the step that is shown first is about: the stent where an edge is crossed, else where the tip of
/// what moves is.
fn first_view(sheet: &Sheet<'_>, stage: &Stage, views: &[View]) -> &'static str {
    let step = sheet.first_step;
    let has = |name: &str| views.iter().any(|v| v.name == name);
    if has("stent") && sheet.outcome().edges.iter().any(|e| e.step == step) {
        return "stent";
    }
    let row = sheet.outcome().steps.iter().find(|s| s.number == step);
    let moved = row.and_then(|s| s.devices.iter().rfind(|d| d.moved));
    let at = |name: &str| stage.plan().track.landmark(name).ok();
    let wanted = match (
        moved,
        at("arch-top"),
        at("carotid-bifurcation"),
        at("skull-base"),
    ) {
        (Some(row), _, _, Some(skull_mm)) if row.tip_mm > skull_mm => "head",
        (Some(row), _, Some(bifurcation_mm), _) if row.tip_mm > bifurcation_mm - 45.0 => "neck",
        (Some(row), Some(arch_mm), _, _) if row.tip_mm > arch_mm - 60.0 => "arch",
        (Some(_), ..) => "whole",
        (None, ..) => "neck",
    };
    if has(wanted) { wanted } else { "whole" }
}

/// Canvas, buttons, data.
pub(super) fn section(sheet: &Sheet<'_>, stage: &Stage) -> Markup {
    let data = data(sheet, stage);
    // plain numbers and words always serialise; `<` must not end the element
    let text = serde_json::to_string(&data)
        .unwrap_or_default()
        .replace('<', "\\u003c");
    html! {
        div.viewbar role="group" aria-label="Views" {
            @for view in &data.views { button type="button" data-view=(view.name) { (view.name) } }
            button type="button" data-turn="0" { "from the front" }
            button type="button" data-turn="90" { "from the side" }
            button type="button" data-follow="1" aria-pressed="false" { "follow the tip" }
        }
        div #stage {
            canvas #view tabindex="0" role="img" aria-label="Vessel with the devices after the chosen step, in space. Arrow keys turn it, plus and minus zoom, W A S D move it; the diagrams show the same in the plane." {
                "This browser draws no pictures in space. The diagrams show the same in the plane."
            }
            div #labels aria-hidden="true" {}
            p #nogl hidden { "This browser shows no WebGL 2, so the picture in space is left out. The diagrams show the same in the plane." }
        }
        p.note.hint {
            "Drag or use the arrow keys to turn, wheel (after a click) or plus and minus to zoom, right button or W A S D to move."
        }
        p.note { (stage.shapes.in_words()) }
        ul.legend {
            @for d in &stage.devices { li { (sheet.key(&d.name)) (d.name) } }
            li { span.key.keyclot aria-hidden="true" {} "clot" }
            li { span.key.keyplaque aria-hidden="true" {} "plaque" }
        }
        script #scene-data type="application/json" { (PreEscaped(text)) }
    }
}
