//! The vessel as a closed surface for printing a phantom: its lumen as a core, or a wall with open ends.
//!
//! Branches join without seams: facets are taken from the signed distance to their union. Millimetres,
//! right-handed, facets anticlockwise as seen from outside.

mod cones;
mod cut;
mod shell;
mod solid;
mod tets;

use crate::geometry::{GeometryError, Tree};
use shell::{Shell, TooMany};
use solid::Solid;
use std::fmt;

/// What is made, and how finely.
#[derive(Debug, Clone, PartialEq)]
pub struct StlSettings {
    /// Names of the branches that are made; empty: all.
    pub branches: Vec<String>,
    /// Thickness of a wall round the lumen, mm; none: the lumen itself, closed at its ends.
    pub wall_mm: Option<f64>,
    /// Largest edge of facets over the radius of the vessel there. Default 0.45: fourteen and more edges
    /// round. The file grows with its inverse square. Gaps narrower than a facet, as inside a sharp kink, may be
    /// bridged.
    pub facet: f64,
}

impl Default for StlSettings {
    fn default() -> Self {
        Self {
            branches: Vec::new(),
            wall_mm: None,
            facet: 0.45,
        }
    }
}

/// A closed surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Phantom {
    /// Corners, mm.
    pub corners_mm: Vec<[f64; 3]>,
    /// Corners of each facet, anticlockwise as seen from outside.
    pub facets: Vec<[u32; 3]>,
    /// Volume inside the surface, mm3.
    pub volume_mm3: f64,
}

/// Why no surface was made.
#[derive(Debug, Clone, PartialEq)]
pub enum StlError {
    /// A setting out of its range.
    OutOfRange {
        /// Which.
        what: &'static str,
        /// What it was.
        found: f64,
        /// What it must be.
        needed: &'static str,
    },
    /// A branch that the vessel does not have.
    Unknown(GeometryError),
    /// The surface does not close.
    NotClosed {
        /// Where, in words: branch, millimetres along it, nearest landmark.
        place: String,
    },
    /// More corners than facets can name, or more facets than the format can count.
    TooLarge,
}

impl fmt::Display for StlError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfRange {
                what,
                found,
                needed,
            } => write!(f, "{what} is {found}, must be {needed}"),
            Self::Unknown(error) => error.fmt(f),
            Self::NotClosed { place } => write!(
                f,
                "the surface of the vessel does not close {place}; a slightly other facet or wall moves the lattice it is taken from"
            ),
            Self::TooLarge => write!(
                f,
                "the surface has more facets than the format can count; name branches, or take larger facets"
            ),
        }
    }
}

impl std::error::Error for StlError {}

/// The surface of a vessel with its lesions as they are before treatment.
///
/// Lumens narrower than 0.3 mm are made 0.3 mm wide. Ends at which no branch begins are cut square.
///
/// # Errors
/// [`StlError::OutOfRange`] for a wall outside 0.2 to 20 mm or facets outside 0.1 to 1;
/// [`StlError::Unknown`] for a branch that is not there; [`StlError::NotClosed`] where the surface is not two-manifold.
pub fn phantom(tree: &Tree, settings: &StlSettings) -> Result<Phantom, StlError> {
    let within = |what, found: f64, least: f64, most: f64, needed| {
        if found >= least && found <= most {
            Ok(())
        } else {
            Err(StlError::OutOfRange {
                what,
                found,
                needed,
            })
        }
    };
    within("facet", settings.facet, 0.1, 1.0, "between 0.1 and 1")?;
    if let Some(wall_mm) = settings.wall_mm {
        within("wall_mm", wall_mm, 0.2, 20.0, "between 0.2 and 20 mm")?;
    }
    let mut made = vec![settings.branches.is_empty(); tree.branches.len()];
    for name in &settings.branches {
        made[tree.branch(name).map_err(StlError::Unknown)?] = true;
    }
    let solid = Solid::new(tree, &made, settings.wall_mm, settings.facet);
    let shell = Shell::of(&tets::parts(&solid)).map_err(|TooMany| StlError::TooLarge)?;
    closed(shell.without_crumbs().in_single(), &solid)
}

/// What is made of a surface that closes.
fn closed(shell: Shell, solid: &Solid) -> Result<Phantom, StlError> {
    if let Some(at) = shell.opening() {
        let place = solid.place_of(&at);
        return Err(StlError::NotClosed { place });
    }
    if u32::try_from(shell.facets.len()).is_err() {
        return Err(StlError::TooLarge);
    }
    Ok(Phantom {
        volume_mm3: shell.volume_mm3(),
        corners_mm: shell.corners.iter().map(|p| p.coords.into()).collect(),
        facets: shell.facets,
    })
}

impl Phantom {
    /// The bytes of a binary STL file.
    #[must_use]
    pub fn stl(&self) -> Vec<u8> {
        let mut bytes = vec![0_u8; 80];
        let title = b"nestline: vessel in mm; for training and rehearsal only";
        bytes[..title.len()].copy_from_slice(title);
        let count = u32::try_from(self.facets.len()).unwrap_or(u32::MAX);
        bytes.extend(count.to_le_bytes());
        for facet in &self.facets {
            let corners = facet.map(|n| self.corners_mm[n as usize].map(single));
            let [a, b, c] = corners.map(nalgebra::Vector3::from);
            let normal = (b - a).cross(&(c - a));
            let normal: [f32; 3] = normal.try_normalize(0.0).unwrap_or_default().into();
            for value in normal.iter().chain(corners.iter().flatten()) {
                bytes.extend(value.to_le_bytes());
            }
            bytes.extend([0, 0]);
        }
        bytes
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "single precision, as the format has it, resolves a vessel to 1e-4 mm"
)]
fn single(x: f64) -> f32 {
    x as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Branch, Curve, Frame, Landmark, Lumen, Place, Point, Run, Vector};

    #[test]
    fn exact_a_surface_that_does_not_close_says_where() {
        let run = Run {
            length_mm: 40.0,
            turn_rad: 0.0,
            roll_rad: 0.0,
            diameter_start_mm: 4.0,
            diameter_end_mm: 4.0,
        };
        let start = Frame::new(Point::origin(), Vector::z(), Vector::x());
        let tree = Tree {
            branches: vec![Branch {
                name: "trunk".into(),
                ostium: None,
                curve: Curve::from_runs(start, &[run]).unwrap(),
                lumen: Lumen::uniform(4.0),
                wall_stiffness_n_per_mm2: 1.0,
            }],
            landmarks: vec![Landmark {
                name: "gate".into(),
                place: Place {
                    branch: 0,
                    at_mm: 26.0,
                },
            }],
            lesions: Vec::new(),
            clots: Vec::new(),
        };
        let solid = Solid::new(&tree, &[true], None, 0.45);
        let mut shell = Shell::of(&tets::parts(&solid)).unwrap();
        assert_eq!(shell.opening(), None, "it closes");
        let at_mm = |shell: &Shell, facet: [u32; 3]| shell.corners[facet[0] as usize].z;
        let torn = shell.facets.iter().position(|f| {
            let z = at_mm(&shell, *f);
            z > 19.0 && z < 21.0
        });
        shell.facets.remove(torn.unwrap());
        let refused = closed(shell, &solid).unwrap_err().to_string();
        assert!(refused.contains("in trunk, "), "{refused}");
        assert!(refused.contains(" mm before gate)"), "{refused}");
        let along: f64 = refused
            .split_once("trunk, ")
            .and_then(|(_, rest)| rest.split_once(" mm"))
            .and_then(|(number, _)| number.parse().ok())
            .unwrap();
        assert!((along - 20.0).abs() < 4.0, "{refused}");
    }
}
