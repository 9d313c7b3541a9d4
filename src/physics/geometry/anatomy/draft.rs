//! The tree while it grows, with its notes.

use super::super::{
    Branch, Frame, GeometryError, Landmark, Lumen, Ostium, Place, Point, Tree, Vector,
};
use super::kept::{Allowances, End, Length, Stretch};
use super::ledger::Ledger;
use super::means::Mean;
use super::pen::{Pen, diameter_mm};
use crate::math;

#[derive(Debug)]
pub(super) struct Draft {
    pub(super) tree: Tree,
    pub(super) ledger: Ledger,
    pub(super) allowances: Allowances,
    /// Entered lengths, and where they lie on the tree.
    pub(super) lengths: Vec<Stretch>,
}

/// Where a branch starts and how far its first stretch runs inside its parent.
#[derive(Debug, Clone, Copy)]
pub(super) struct Origin {
    pub(super) ostium: Ostium,
    pub(super) place_mm: Point,
    pub(super) heading: Vector,
    /// From the parent's centre line to its wall, mm.
    pub(super) inside_mm: f64,
}

impl Draft {
    pub(super) fn new(allowances: Allowances) -> Self {
        Self {
            allowances,
            lengths: Vec::new(),
            tree: Tree {
                branches: Vec::new(),
                landmarks: Vec::new(),
                lesions: Vec::new(),
                clots: Vec::new(),
            },
            ledger: Ledger::default(),
        }
    }

    /// A length that a device runs along, noted as entered and drawn such that it is found again.
    pub(super) fn length(
        &mut self,
        field: &'static str,
        measured: Option<f64>,
        otherwise: Mean,
    ) -> Length {
        let entered_mm = self.ledger.mm(field, measured, otherwise);
        self.allowances.length(field, entered_mm)
    }

    /// Says where an entered length lies on the tree.
    pub(super) fn stretch(
        &mut self,
        field: impl Into<String>,
        from: (usize, f64),
        to: (usize, f64),
        entered_mm: f64,
    ) {
        let place = |(branch, at_mm)| Place { branch, at_mm };
        self.lengths.push(Stretch {
            field: field.into(),
            from: place(from),
            to: End::At(place(to)),
            entered_mm,
            along_the_vessel: true,
        });
    }

    /// The same for a place counted from another one in the direction of flow.
    pub(super) fn beyond(
        &mut self,
        field: impl Into<String>,
        from: (usize, f64),
        to: (usize, f64),
        entered_mm: f64,
    ) {
        self.stretch(field, from, to, entered_mm);
        self.end_as(End::Beyond);
    }

    /// The same for what may run on past the end of its branch.
    pub(super) fn along(
        &mut self,
        field: impl Into<String>,
        from: (usize, f64),
        drawn_mm: f64,
        entered_mm: f64,
    ) {
        self.stretch(field, from, from, entered_mm);
        self.end_as(|_| End::Along(drawn_mm));
    }

    fn end_as(&mut self, end: impl Fn(Place) -> End) {
        if let Some(Stretch { to, .. }) = self.lengths.last_mut()
            && let End::At(place) = *to
        {
            *to = end(place);
        }
    }

    /// The same for the distance of two origins along a vessel that routes leave there.
    pub(super) fn between_origins(
        &mut self,
        field: &str,
        from: (usize, f64),
        to: (usize, f64),
        entered_mm: f64,
    ) {
        self.stretch(field, from, to, entered_mm);
        if let Some(last) = self.lengths.last_mut() {
            last.along_the_vessel = false;
        }
    }

    /// Adds a branch; returns its index.
    pub(super) fn branch(
        &mut self,
        name: impl Into<String>,
        ostium: Option<Ostium>,
        pen: Pen,
        knots_mm: Vec<(f64, f64)>,
        wall_stiffness_n_per_mm2: f64,
    ) -> Result<usize, GeometryError> {
        let lumen = Lumen { knots_mm };
        let curve = pen.finish(&lumen)?;
        self.tree.branches.push(Branch {
            name: name.into(),
            ostium,
            curve,
            lumen,
            wall_stiffness_n_per_mm2,
        });
        Ok(self.tree.branches.len() - 1)
    }

    pub(super) fn mark(&mut self, name: impl Into<String>, branch: usize, at_mm: f64) {
        self.tree.landmarks.push(Landmark {
            name: name.into(),
            place: Place { branch, at_mm },
        });
    }

    pub(super) fn length_mm(&self, branch: usize) -> f64 {
        self.tree.branches[branch].curve.length_mm()
    }

    pub(super) fn frame(&self, branch: usize, at_mm: f64) -> Frame {
        self.tree.branches[branch].curve.frame_at(at_mm)
    }

    /// A child at the end of a branch.
    pub(super) fn at_end(&self, branch: usize, heading: Vector) -> Origin {
        let at_mm = self.length_mm(branch);
        Origin {
            ostium: Ostium { branch, at_mm },
            place_mm: self.frame(branch, at_mm).origin_mm,
            heading,
            inside_mm: 0.0,
        }
    }

    /// A child at the side of a branch, at an angle to its flow and leaning to one side.
    pub(super) fn at_side(
        &self,
        branch: usize,
        at_mm: f64,
        takeoff_rad: f64,
        lean: Vector,
    ) -> Origin {
        let frame = self.frame(branch, at_mm);
        let radius_mm = 0.5 * diameter_mm(&self.tree.branches[branch].lumen, at_mm);
        Origin {
            ostium: Ostium { branch, at_mm },
            place_mm: frame.origin_mm,
            heading: super::pen::tilted(frame.tangent, lean, takeoff_rad),
            inside_mm: radius_mm / math::sin(takeoff_rad),
        }
    }
}

/// A refusal that names the field.
pub(super) fn refuse(
    field: impl Into<String>,
    found: impl Into<String>,
    needed: impl Into<String>,
    mend: impl Into<String>,
) -> GeometryError {
    GeometryError::Measurement {
        field: field.into(),
        found: found.into(),
        needed: needed.into(),
        mend: mend.into(),
    }
}
