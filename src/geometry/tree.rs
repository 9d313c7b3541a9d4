//! A vessel as a tree of named branches with ostia, landmarks, lesions and clots.
//!
//! Branches run in the direction of flow: the aorta from its root over the arch down to its end,
//! each child from its parent's centre line outwards. An access site lies near the end of a limb
//! artery (or in the carotid), the target near the end of an intracranial one; a
//! [`Track`](super::Track) walks from one to the other, against the flow where it has to.

use super::Curve;

/// A vessel.
#[derive(Debug, Clone, PartialEq)]
pub struct Tree {
    /// Branches; a parent may stand before or after its children.
    pub branches: Vec<Branch>,
    /// Named places.
    pub landmarks: Vec<Landmark>,
    /// Narrowings and dissections.
    pub lesions: Vec<Lesion>,
    /// Clots.
    pub clots: Vec<Clot>,
}

/// A named branch.
#[derive(Debug, Clone, PartialEq)]
pub struct Branch {
    /// Its name, in lower case with hyphens (`common-carotid`).
    pub name: String,
    /// Where it leaves its parent; the root has none.
    pub ostium: Option<Ostium>,
    /// Its centre line, starting on the parent's centre line.
    pub curve: Curve,
    /// Its healthy lumen along the centre line.
    pub lumen: Lumen,
    /// Radial stiffness of the wall, N per mm of length per mm of indentation.
    pub wall_stiffness_n_per_mm2: f64,
}

/// The place on its parent's centre line where a branch starts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ostium {
    /// Index of the parent.
    pub branch: usize,
    /// Arc length on the parent, mm.
    pub at_mm: f64,
}

/// Lumen diameter by arc length: linear between knots, constant beyond the ends.
#[derive(Debug, Clone, PartialEq)]
pub struct Lumen {
    /// `(arc length mm, diameter mm)`, arc lengths not falling; twice the same one makes a step.
    pub knots_mm: Vec<(f64, f64)>,
}

/// A place on a branch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Index of the branch.
    pub branch: usize,
    /// Arc length on it, mm.
    pub at_mm: f64,
}

/// A named place.
#[derive(Debug, Clone, PartialEq)]
pub struct Landmark {
    /// Its name, in lower case with hyphens (`carotid-bifurcation`).
    pub name: String,
    /// Where it is.
    pub place: Place,
}

/// What narrows or splits the lumen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LesionKind {
    /// Atheroma.
    Plaque,
    /// A flap with a true and a false lumen.
    Dissection,
    /// Both.
    PlaqueAndDissection,
}

/// A lesion of the wall.
#[derive(Debug, Clone, PartialEq)]
pub struct Lesion {
    /// Its name (`neck-lesion`).
    pub name: String,
    /// What it is.
    pub kind: LesionKind,
    /// Index of the branch it lies on.
    pub branch: usize,
    /// Proximal end in the direction of flow, mm along the branch.
    pub start_mm: f64,
    /// Length, mm.
    pub length_mm: f64,
    /// NASCET percent: `100 (1 - residual / reference)`.
    pub nascet_percent: f64,
    /// Diameter of the normal distal artery that the percentage refers to, mm.
    pub reference_mm: f64,
    /// Diameter of the false lumen where there is a dissection, mm.
    pub false_lumen_mm: Option<f64>,
    /// A ring of calcium that does not give: a device wider than the residual lumen does not fit.
    pub rigid: bool,
}

/// A clot.
#[derive(Debug, Clone, PartialEq)]
pub struct Clot {
    /// Its name (`clot`).
    pub name: String,
    /// Index of the branch it starts on.
    pub branch: usize,
    /// Proximal end in the direction of flow, mm along the branch.
    pub start_mm: f64,
    /// Length along the route to the target, mm; may run on into a child branch.
    pub length_mm: f64,
}
