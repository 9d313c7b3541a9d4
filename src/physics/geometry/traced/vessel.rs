//! A traced tree with everything that a vessel file says of it.

use super::super::Lumen;
use super::{Narrowing, Traced};

/// A traced vessel, ready to be written down.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct TracedVessel {
    /// What it is called.
    pub name: String,
    /// Where its lines come from.
    pub source: String,
    /// The tree.
    pub traced: Traced,
    /// Names of its branches.
    pub names: Vec<String>,
    /// Radial stiffness of the walls, N per mm of length per mm of indentation.
    pub wall_stiffness_n_per_mm2: f64,
    /// Named places: name, branch, mm along it.
    pub landmarks: Vec<(String, usize, f64)>,
    /// Lesions.
    pub lesions: Vec<TracedLesion>,
    /// Clots: name, branch, mm along it, length in mm.
    pub clots: Vec<(String, usize, f64, f64)>,
    /// Where its routes end: name, branch, mm along it.
    pub targets: Vec<(String, usize, f64)>,
    /// Narrowings of its lumens, proposed and not taken over: branch and what was found.
    pub proposed: Vec<(usize, Narrowing)>,
    /// What it is grafted into.
    pub onto: Option<TracedOnto>,
    /// How the coordinates were taken.
    pub coordinates: String,
}

/// A lesion of a traced vessel.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct TracedLesion {
    /// Its name.
    pub name: String,
    /// The branch it lies on.
    pub branch: usize,
    /// Where it starts, mm along it.
    pub start_mm: f64,
    /// Its length, mm.
    pub length_mm: f64,
    /// NASCET percent.
    pub nascet_percent: f64,
    /// The healthy lumen beyond it, mm, where it was measured.
    pub reference_mm: Option<f64>,
}

/// The vessel a traced piece is grafted into.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct TracedOnto {
    /// Its measurements, as they stand in their file.
    pub measurements: String,
    /// Landmark at which the piece begins.
    pub from: String,
    /// Landmark from which the vessel goes on behind the piece.
    pub go_on_at: Option<String>,
    /// By what the piece is turned about the vessel's direction, degrees.
    pub roll_deg: f64,
}

impl TracedVessel {
    /// A vessel of a tree with nothing placed on it yet; branches are named by their order.
    #[must_use]
    pub fn new(name: String, source: String, traced: Traced) -> Self {
        let names = (0..traced.branches.len()).map(|i| match i {
            0 => "trunk".to_owned(),
            i => format!("side-{i}"),
        });
        Self {
            name,
            source,
            names: names.collect(),
            traced,
            wall_stiffness_n_per_mm2: 1.0,
            landmarks: Vec::new(),
            lesions: Vec::new(),
            clots: Vec::new(),
            targets: Vec::new(),
            proposed: Vec::new(),
            onto: None,
            coordinates: String::new(),
        }
    }

    /// The lumen of a branch.
    #[must_use]
    pub fn lumen(&self, branch: usize) -> Lumen {
        let branch = &self.traced.branches[branch];
        let at_mm = branch.curve.passes(&branch.points_mm);
        Lumen {
            knots_mm: at_mm
                .into_iter()
                .zip(branch.radii_mm.iter().map(|r| 2.0 * r))
                .collect(),
        }
    }

    /// Takes a proposed narrowing over as a lesion: the lumen is bridged there, and narrowed by the lesion instead.
    pub fn take_narrowing(&mut self, name: String, branch: usize, narrowing: &Narrowing) {
        let bridge = Lumen {
            knots_mm: narrowing.bridge_mm.clone(),
        };
        let traced = &mut self.traced.branches[branch];
        let at_mm = traced.curve.passes(&traced.points_mm);
        let end_mm = narrowing.start_mm + narrowing.length_mm;
        for (s, radius_mm) in at_mm.into_iter().zip(&mut traced.radii_mm) {
            if (narrowing.start_mm..=end_mm).contains(&s) {
                *radius_mm = radius_mm.max(0.5 * bridge.diameter_at(s));
            }
        }
        self.lesions.push(TracedLesion {
            name,
            branch,
            start_mm: narrowing.start_mm,
            length_mm: narrowing.length_mm,
            nascet_percent: narrowing.nascet_percent,
            reference_mm: Some(narrowing.reference_mm),
        });
    }
}

impl TracedLesion {
    /// A lesion placed by hand.
    #[must_use]
    pub fn new(
        name: String,
        branch: usize,
        start_mm: f64,
        length_mm: f64,
        nascet_percent: f64,
    ) -> Self {
        Self {
            name,
            branch,
            start_mm,
            length_mm,
            nascet_percent,
            reference_mm: None,
        }
    }
}

impl TracedOnto {
    /// A graft at a landmark, not rolled, with nothing behind it.
    #[must_use]
    pub fn new(measurements: String, from: String) -> Self {
        Self {
            measurements,
            from,
            go_on_at: None,
            roll_deg: 0.0,
        }
    }
}
