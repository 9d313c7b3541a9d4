//! What is drawn at one moment.

use super::Mesh;
use super::struts::Hoop;
use crate::geometry::{Point, Vector};
use crate::procedure::{Region, State};
use crate::rehearsal::EdgeRow;
use serde::{Deserialize, Serialize};

/// A round section of a tube.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Node {
    /// Its centre, mm.
    pub at: Point,
    /// Unit direction of the tube, towards its tip.
    pub along: Vector,
    /// Unit normal from which the section's corners are counted; free of twist along the tube.
    pub across: Vector,
    /// Station of the route, mm; negative outside the body.
    pub station_mm: f64,
    /// Distance from the tip along the tube, mm.
    pub from_tip_mm: f64,
    /// Outer radius, mm.
    pub radius_mm: f64,
    /// The stretch from here towards the tip is radiopaque.
    pub marked: bool,
    /// How far the rods press it into the wall here, mm.
    pub indentation_mm: f64,
}

/// A device in the body.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnDevice {
    /// Its index in the plan (and in [`Stage::devices`](super::Stage::devices)).
    pub device: usize,
    /// Its outer surface, from outside the body to its tip. An open retriever ends where its struts
    /// begin.
    pub nodes: Vec<Node>,
    /// Radius of its lumen at each node, mm; none where it is solid.
    pub lumen_mm: Vec<Option<f64>>,
    /// Radius of the core of a wire or pusher at each node, mm; empty for what has a lumen.
    pub core_mm: Vec<f64>,
    /// Its far end in space, mm.
    pub tip: Point,
    /// Station of its far end, mm.
    pub tip_mm: f64,
    /// Length past the access hub, mm.
    pub fed_mm: f64,
    /// Length left outside behind the hub it enters through, mm; negative where it is too short.
    pub outside_mm: Option<f64>,
    /// It moves just now.
    pub moving: bool,
    /// Its lumen is on suction.
    pub suction: bool,
    /// Struts of a retriever, folded or open.
    pub struts: Option<WireMesh>,
    /// Its balloon where it is up, from its near end to its far end.
    pub balloon: Option<Vec<Node>>,
}

/// Thin wires; a device or stent keeps number and order of wires and points for good.
#[derive(Debug, Clone, PartialEq)]
pub struct WireMesh {
    /// Points along each wire, mm.
    pub wires: Vec<Vec<Point>>,
    /// Radius of the wires, mm.
    pub radius_mm: f64,
    /// The sleeve they lie on, from the far end to the near one.
    pub(crate) sleeve: Vec<Hoop>,
}

impl WireMesh {
    /// Its surface.
    #[must_use]
    pub fn mesh(&self, sides: usize) -> Mesh {
        Mesh::wires(&self.wires, self.radius_mm, sides)
    }
}

/// A stent in the vessel, or on its way out of its system.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnStent {
    /// Index of the device it came from.
    pub device: usize,
    /// Its wires or struts.
    pub struts: WireMesh,
    /// Station of its near end, mm.
    pub proximal_mm: f64,
    /// Station of its far end, mm.
    pub distal_mm: f64,
    /// Share of it that is out, 0 to 1.
    pub released: f64,
}

/// The clot.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnClot {
    /// Index in [`Track::clots`](crate::geometry::Track::clots).
    pub clot: usize,
    /// Its surface, from its near end to its far end.
    pub nodes: Vec<Node>,
    /// Device that brings it along.
    pub carried_by: Option<usize>,
}

/// Plaque between the healthy wall and the lumen.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnPlaque {
    /// Index in [`Track::lesions`](crate::geometry::Track::lesions).
    pub lesion: usize,
    /// The lumen it leaves, from its near end to its far end.
    pub inner: Vec<Node>,
    /// The healthy wall at the same stations.
    pub outer: Vec<Node>,
    /// Lumen at the narrowest place, mm.
    pub residual_mm: f64,
}

impl DrawnPlaque {
    /// Its surface: inside, outside and both ends.
    #[must_use]
    pub fn mesh(&self, sides: usize) -> Mesh {
        let mut mesh = Mesh::open_tube(&self.outer, sides);
        let mut inside = Mesh::open_tube(&self.inner, sides);
        for triangle in &mut inside.triangles {
            triangle.swap(1, 2);
        }
        for normal in &mut inside.normals {
            *normal = normal.map(|x| -x);
        }
        mesh.append(&inside);
        mesh
    }
}

/// A place where a device presses on something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrawnContact {
    /// The device.
    pub device: usize,
    /// The device it presses on; none: the vessel.
    pub on: Option<usize>,
    /// Where, mm.
    pub at: Point,
    /// Force on the device, N.
    pub force_n: Vector,
    /// Station, mm.
    pub station_mm: f64,
    /// How much of it there is yet, or still, on the way from one settled shape to the next, 0 to 1.
    pub share: f64,
}

/// What a stent's edge does to what crosses it in a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EdgeState {
    /// Nothing crosses it.
    Idle,
    /// What crosses has room.
    Clear,
    /// A catheter covers what crosses.
    Shielded,
    /// What crosses may catch.
    MayCatch,
    /// What crosses catches more often than the scene lets pass.
    Catches,
}

impl EdgeState {
    /// In words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Idle => "nothing moves across",
            Self::Clear => "clear",
            Self::Shielded => "shielded",
            Self::MayCatch => "may catch",
            Self::Catches => "catches",
        }
    }
}

/// The edge of a stent as a band round the vessel.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeBand {
    /// Index of the device the stent came from.
    pub stent: usize,
    /// The far edge, or the near one.
    pub upper: bool,
    /// Station, mm.
    pub station_mm: f64,
    /// The band, two nodes or more along the vessel.
    pub nodes: Vec<Node>,
    /// What it does in this step: the gravest of its crossings.
    pub state: EdgeState,
    /// The same in words, for example `retriever: catches in 94 % of samples, clearance -0.17 mm`.
    pub words: String,
    /// The crossing that decides.
    pub crossing: Option<EdgeRow>,
}

/// Round things in one cross section of the vessel, in the plane of the first and second normal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Section {
    /// Station, mm.
    pub station_mm: f64,
    /// Radius of the lumen, mm.
    pub lumen_mm: f64,
    /// Radius of the healthy wall, mm.
    pub wall_mm: f64,
    /// Outer radius of a stent there and thickness of its struts, mm.
    pub stent_mm: Option<(f64, f64)>,
    /// Devices there, outermost first.
    pub devices: Vec<SectionDevice>,
    /// Open retrievers there.
    pub struts: Vec<SectionStruts>,
}

/// Struts of an open retriever in a cross section.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SectionStruts {
    /// Index of the device.
    pub device: usize,
    /// Radius of a strut, mm.
    pub radius_mm: f64,
    /// Where they pass, on the first and second normal from the middle of the vessel, mm.
    pub at_mm: Vec<[f64; 2]>,
}

/// A device in a cross section.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SectionDevice {
    /// Its index.
    pub device: usize,
    /// Offset of its axis from the middle of the vessel on the first and second normal, mm.
    pub offset_mm: [f64; 2],
    /// Outer radius, mm.
    pub outer_mm: f64,
    /// Radius of its lumen, mm.
    pub lumen_mm: Option<f64>,
}

/// Everything that is drawn at one moment of the film.
#[derive(Debug, Clone, PartialEq)]
pub struct Moment {
    /// Film clock, s.
    pub time_s: f64,
    /// Index of the step in the script (its number less 1).
    pub step: usize,
    /// Share of the step's motion that is done, 0 to 1, eased.
    pub share: f64,
    /// Devices in the body, in the order of the stack.
    pub devices: Vec<DrawnDevice>,
    /// Stents.
    pub stents: Vec<DrawnStent>,
    /// Clots still in the body.
    pub clots: Vec<DrawnClot>,
    /// Plaque of every lesion.
    pub plaques: Vec<DrawnPlaque>,
    /// Contacts.
    pub contacts: Vec<DrawnContact>,
    /// Edges of all stents that are out.
    pub bands: Vec<EdgeBand>,
    /// Where planes A and B look.
    pub watching: [Option<Region>; 2],
    /// The state of the procedure at this moment: lengths on their way, what opens open already.
    pub state: State,
}

impl Moment {
    /// A device, if it is in the body.
    #[must_use]
    pub fn device(&self, device: usize) -> Option<&DrawnDevice> {
        self.devices.iter().find(|d| d.device == device)
    }
}
