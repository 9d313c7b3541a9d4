//! A vessel as a tree of named branches with ostia, landmarks, lesions and clots.
//!
//! Branches run in the direction of flow: the aorta from its root over the arch down to its end,
//! each child from its parent's centre line outwards. An access site lies near the end of a limb
//! artery (or in the carotid), the target near the end of an intracranial one; a
//! [`Track`](super::Track) walks from one to the other, against the flow where it has to.

use super::stenosis::stenosed_mm;
use super::{Curve, GeometryError};
use serde::{Deserialize, Serialize};

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
    /// `(arc length mm, diameter mm)`, `[n]`, n >= 1, arc lengths not falling; twice the same one makes a step.
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
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

impl Lumen {
    /// The same diameter everywhere, mm.
    #[must_use]
    pub fn uniform(diameter_mm: f64) -> Self {
        Self {
            knots_mm: vec![(0.0, diameter_mm)],
        }
    }

    /// Diameter, mm, at an arc length (mm); on a step that of the later knot, 0 without knots.
    #[must_use]
    pub fn diameter_at(&self, s_mm: f64) -> f64 {
        interpolate(&self.knots_mm, s_mm).unwrap_or(0.0)
    }
}

impl Lesion {
    /// Diameter left open at the narrowest place, mm: what its NASCET percentage leaves ([`stenosed_mm`]).
    #[must_use]
    pub fn residual_mm(&self) -> f64 {
        stenosed_mm(self.reference_mm, self.nascet_percent)
    }
}

impl Tree {
    /// Index of the branch of a name.
    ///
    /// # Errors
    /// [`GeometryError::Unknown`] with the nearest name.
    pub fn branch(&self, name: &str) -> Result<usize, GeometryError> {
        find(
            "branch",
            name,
            self.branches.iter().map(|b| b.name.as_str()),
        )
    }

    /// Index of the landmark of a name.
    ///
    /// # Errors
    /// [`GeometryError::Unknown`] with the nearest name.
    pub fn landmark(&self, name: &str) -> Result<usize, GeometryError> {
        find(
            "landmark",
            name,
            self.landmarks.iter().map(|l| l.name.as_str()),
        )
    }

    /// Index of the lesion of a name.
    ///
    /// # Errors
    /// [`GeometryError::Unknown`] with the nearest name.
    pub fn lesion(&self, name: &str) -> Result<usize, GeometryError> {
        find("lesion", name, self.lesions.iter().map(|l| l.name.as_str()))
    }

    /// Index of the clot of a name.
    ///
    /// # Errors
    /// [`GeometryError::Unknown`] with the nearest name.
    pub fn clot(&self, name: &str) -> Result<usize, GeometryError> {
        find("clot", name, self.clots.iter().map(|c| c.name.as_str()))
    }

    pub(super) fn is_own_ancestor(&self, branch: usize) -> bool {
        let mut at = branch;
        // no line of ancestors is longer than the tree has branches
        for _ in 0..self.branches.len() {
            match self.branches.get(at).and_then(|b| b.ostium) {
                Some(ostium) => at = ostium.branch,
                None => return false,
            }
            if at == branch {
                return true;
            }
        }
        false
    }

    /// The branch, its parent and so on to the root; none if that never ends or leads nowhere.
    fn ancestors(&self, branch: usize) -> Option<Vec<usize>> {
        let mut line = vec![branch];
        let mut at = branch;
        while let Some(ostium) = self.branches.get(at)?.ostium {
            at = ostium.branch;
            if line.contains(&at) {
                return None;
            }
            line.push(at);
        }
        Some(line)
    }

    /// The unique way from one place to another, leg by leg; legs may have no length.
    pub(super) fn legs(&self, from: Place, to: Place) -> Result<Vec<Leg>, GeometryError> {
        let no_route = || GeometryError::NoRoute {
            from: self.branches[from.branch].name.clone(),
            to: self.branches[to.branch].name.clone(),
        };
        let up = self.ancestors(from.branch).ok_or_else(no_route)?;
        let down = self.ancestors(to.branch).ok_or_else(no_route)?;
        let turn = up
            .iter()
            .find(|b| down.contains(b))
            .copied()
            .ok_or_else(no_route)?;
        let climb = |line: &[usize], start_mm: f64| {
            let mut at_mm = start_mm;
            let mut legs = Vec::new();
            for &branch in line.iter().take_while(|b| **b != turn) {
                legs.push(Leg {
                    branch,
                    from_mm: at_mm,
                    to_mm: 0.0,
                });
                at_mm = self.branches[branch].ostium.map_or(0.0, |o| o.at_mm);
            }
            (legs, at_mm)
        };
        let (mut legs, leave_mm) = climb(&up, from.at_mm);
        let (descent, reach_mm) = climb(&down, to.at_mm);
        legs.push(Leg {
            branch: turn,
            from_mm: leave_mm,
            to_mm: reach_mm,
        });
        legs.extend(descent.iter().rev().map(|leg| Leg {
            branch: leg.branch,
            from_mm: leg.to_mm,
            to_mm: leg.from_mm,
        }));
        Ok(legs)
    }
}

/// A stretch of a route on one branch; against the flow if `to_mm < from_mm`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Leg {
    pub(super) branch: usize,
    pub(super) from_mm: f64,
    pub(super) to_mm: f64,
}

impl Leg {
    pub(super) fn length_mm(&self) -> f64 {
        (self.to_mm - self.from_mm).abs()
    }

    /// `1` along the flow, `-1` against it.
    pub(super) fn sense(&self) -> f64 {
        if self.to_mm < self.from_mm { -1.0 } else { 1.0 }
    }
}

/// Linear between knots whose places do not fall, constant beyond the ends, on a step the later
/// knot; none without knots.
pub(super) fn interpolate(knots: &[(f64, f64)], at: f64) -> Option<f64> {
    let after = knots.partition_point(|k| k.0 <= at);
    match (after.checked_sub(1).map(|i| knots[i]), knots.get(after)) {
        (Some((a, va)), Some(&(b, vb))) => Some(va + (vb - va) * (at - a) / (b - a)),
        (Some((_, v)), None) | (None, Some(&(_, v))) => Some(v),
        (None, None) => None,
    }
}

/// Index of a name, or the refusal with the nearest one (edit distance with transpositions).
pub(super) fn find<'a>(
    kind: &'static str,
    name: &str,
    names: impl Iterator<Item = &'a str> + Clone,
) -> Result<usize, GeometryError> {
    /// Names sharing less than this are no likely slip of the keyboard.
    const SIMILAR: f64 = 0.5;
    names
        .clone()
        .position(|n| n == name)
        .ok_or_else(|| GeometryError::Unknown {
            kind,
            name: name.into(),
            suggestion: names
                .map(|n| (strsim::normalized_damerau_levenshtein(n, name), n))
                .filter(|(likeness, _)| *likeness >= SIMILAR)
                .max_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(_, n)| n.into()),
        })
}
