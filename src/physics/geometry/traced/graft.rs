//! A traced piece joined into another vessel: below it, and above it where it does not reach far enough.

use super::super::{
    Branch, Clot, Curve, GeometryError, Landmark, Lesion, Lumen, Ostium, Place, Tree, Vector,
};
use crate::units::Allowed;
use nalgebra::{Isometry3, Rotation3, Translation3, Unit, UnitQuaternion};

/// Over this length before a joint the lumen of the vessel below comes to that of the piece, mm: a few diameters of a neck
/// artery, so that no step catches anything that the vessel does not have.
const TAPER_MM: f64 = 15.0;

/// The stretch of a branch that a piece takes the place of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// Index of the branch.
    pub branch: usize,
    /// Where the piece begins, mm along it.
    pub from_mm: f64,
    /// Where the vessel goes on behind the piece; nowhere where left out: what lies beyond is the piece's.
    pub to_mm: Option<f64>,
}

/// A piece to be grafted.
#[derive(Debug, Clone, Copy)]
pub struct Piece<'a> {
    /// Its branches; the first is the one that is joined at its start, and at its end where the vessel goes on.
    pub tree: &'a Tree,
    /// It is turned by this about the vessel's direction at the joint, rad.
    pub roll_rad: f64,
}

/// A vessel with a piece grafted into it.
#[derive(Debug, Clone, PartialEq)]
pub struct Grafted {
    /// The whole.
    pub tree: Tree,
    /// Where each branch of the vessel came to lie, `None` where it was left out.
    pub kept: Vec<Option<usize>>,
    /// Where each branch of the piece came to lie.
    pub piece: Vec<usize>,
    /// From arc lengths on the piece's first branch to those on the whole's, mm to add.
    pub piece_shift_mm: f64,
    /// From arc lengths behind the cut to those on the whole's, mm to add.
    pub behind_shift_mm: f64,
    /// By how much the piece was turned so that it runs on in the vessel's direction, rad.
    pub turned_rad: f64,
    cut: Cut,
}

impl Grafted {
    /// Where a place on the vessel came to lie; `None` where it was left out.
    #[must_use]
    pub fn kept_place(&self, place: Place) -> Option<Place> {
        let branch = self.kept.get(place.branch).copied().flatten()?;
        let on_cut = place.branch == self.cut.branch && place.at_mm > self.cut.from_mm;
        match (on_cut, self.cut.to_mm) {
            (false, _) => Some(Place { branch, ..place }),
            (true, Some(to_mm)) if place.at_mm >= to_mm => Some(Place {
                branch,
                at_mm: place.at_mm + self.behind_shift_mm,
            }),
            (true, _) => None,
        }
    }

    /// Where a place on the piece came to lie.
    #[must_use]
    pub fn piece_place(&self, place: Place) -> Place {
        let shift_mm = if place.branch == 0 {
            self.piece_shift_mm
        } else {
            0.0
        };
        Place {
            branch: self.piece[place.branch],
            at_mm: place.at_mm + shift_mm,
        }
    }
}

/// Joins a piece into a vessel. The piece is moved so that it starts where the vessel is cut, and turned by the least
/// angle so that it runs on in the same direction; what lies behind it is moved likewise. Centre lines are joined
/// without a corner; the lumen below comes to that of the piece over 15 mm, so that nothing of the piece is changed.
///
/// # Errors
/// [`GeometryError::OutOfRange`] for a cut outside its branch; [`GeometryError::TooFew`] for a piece without branches;
/// what joining curves refuses.
pub fn graft(whole: &Tree, cut: Cut, piece: Piece<'_>) -> Result<Grafted, GeometryError> {
    let base = &whole.branches[cut.branch];
    let length_mm = base.curve.length_mm();
    check(cut, length_mm)?;
    let Some(first) = piece.tree.branches.first() else {
        return Err(GeometryError::TooFew {
            what: "branches".into(),
            needed: 1,
            found: 0,
        });
    };
    let to_piece = onto(&first.curve, 0.0, &base.curve, cut.from_mm, piece.roll_rad);
    let turned_rad = to_piece.rotation.angle();
    let moved = first.curve.moved(&to_piece);
    let mut pieces = base.curve.parts(0.0, cut.from_mm);
    pieces.extend(moved.parts(0.0, moved.length_mm()));
    let piece_end_mm = cut.from_mm + moved.length_mm();
    let behind = cut.to_mm.map(|to_mm| {
        (
            to_mm,
            onto(&base.curve, to_mm, &moved, moved.length_mm(), 0.0),
        )
    });
    if let Some((to_mm, motion)) = &behind {
        let rest = base.curve.moved(motion);
        pieces.extend(rest.parts(*to_mm, length_mm));
    }
    let behind_shift_mm = cut.to_mm.map_or(0.0, |to_mm| piece_end_mm - to_mm);
    let mut done = Grafted {
        tree: Tree {
            branches: Vec::new(),
            landmarks: Vec::new(),
            lesions: Vec::new(),
            clots: Vec::new(),
        },
        kept: vec![None; whole.branches.len()],
        piece: Vec::new(),
        piece_shift_mm: cut.from_mm,
        behind_shift_mm,
        turned_rad,
        cut,
    };
    keep_branches(whole, &mut done, behind.map(|(_, motion)| motion));
    let joined = done.kept[cut.branch].unwrap_or(0);
    done.tree.branches[joined].curve = Curve::join(pieces);
    done.tree.branches[joined].lumen =
        joined_lumen(&base.lumen, &first.lumen, &done, moved.length_mm());
    add_piece(&piece, joined, &to_piece, &mut done);
    keep_places(whole, piece.tree, &mut done);
    Ok(done)
}

fn check(cut: Cut, length_mm: f64) -> Result<(), GeometryError> {
    let inside = |found: f64, least: f64, what: &str| {
        let needed = Allowed::in_words("on the branch")
            .at_least(least)
            .at_most(length_mm);
        if needed.allows(found) {
            return Ok(());
        }
        Err(GeometryError::OutOfRange {
            what: what.into(),
            found,
            needed,
        })
    };
    inside(
        cut.from_mm,
        f64::MIN_POSITIVE,
        "the place where the piece begins",
    )?;
    cut.to_mm.map_or(Ok(()), |to_mm| {
        inside(to_mm, cut.from_mm, "the place where the vessel goes on")
    })
}

/// The motion that brings a place of one curve onto a place of another, directions agreeing.
fn onto(moved: &Curve, at_mm: f64, fixed: &Curve, there_mm: f64, roll_rad: f64) -> Isometry3<f64> {
    let (from, to) = (moved.frame_at(at_mm), fixed.frame_at(there_mm));
    let least = UnitQuaternion::rotation_between(&from.tangent, &to.tangent).unwrap_or_else(|| {
        // straight back: about any direction across it
        let across =
            Unit::new_normalize(from.tangent.cross(&Vector::ith(from.tangent.iamin(), 1.0)));
        UnitQuaternion::from_axis_angle(&across, std::f64::consts::PI)
    });
    let roll = UnitQuaternion::from_axis_angle(&Unit::new_normalize(to.tangent), roll_rad);
    let turn = roll * least;
    let turned = Rotation3::from(turn) * from.origin_mm;
    Isometry3::from_parts(Translation3::from(to.origin_mm - turned), turn)
}

/// Branches of the vessel that are left, those behind the piece moved with it.
fn keep_branches(whole: &Tree, done: &mut Grafted, behind: Option<Isometry3<f64>>) {
    let mut state: Vec<Option<(bool, bool)>> = vec![None; whole.branches.len()];
    // parents may stand behind their children: as many rounds as there are branches
    for _ in 0..whole.branches.len() {
        for (i, branch) in whole.branches.iter().enumerate() {
            let found = match branch.ostium {
                None => Some((true, false)),
                Some(o) if o.branch == done.cut.branch && state[o.branch].is_some() => {
                    let (kept, moves) = state[o.branch].unwrap_or_default();
                    let beyond = o.at_mm > done.cut.from_mm;
                    let after = done.cut.to_mm.is_some_and(|to_mm| o.at_mm >= to_mm);
                    Some((kept && (!beyond || after), moves || after))
                }
                Some(o) => state[o.branch],
            };
            state[i] = found;
        }
    }
    let mut next = 0;
    for (i, found) in state.iter().enumerate() {
        if found.is_some_and(|(kept, _)| kept) {
            done.kept[i] = Some(next);
            next += 1;
        }
    }
    for (i, branch) in whole.branches.iter().enumerate() {
        let (Some(_), Some((_, moves))) = (done.kept[i], state[i]) else {
            continue;
        };
        let ostium = branch.ostium.and_then(|o| {
            let place = done.kept_place(Place {
                branch: o.branch,
                at_mm: o.at_mm,
            })?;
            Some(Ostium {
                branch: place.branch,
                at_mm: place.at_mm,
            })
        });
        let curve = match (&behind, moves) {
            (Some(motion), true) => branch.curve.moved(motion),
            _ => branch.curve.clone(),
        };
        done.tree.branches.push(Branch {
            ostium,
            curve,
            ..branch.clone()
        });
    }
}

/// The vessel's lumen, coming to the piece's at the joint, then the piece's, then what lies behind.
fn joined_lumen(below: &Lumen, piece: &Lumen, done: &Grafted, piece_mm: f64) -> Lumen {
    let from_mm = done.cut.from_mm;
    let taper_mm = (from_mm - TAPER_MM).max(0.5 * from_mm);
    let mut knots: Vec<(f64, f64)> = below
        .knots_mm
        .iter()
        .copied()
        .filter(|k| k.0 < taper_mm)
        .collect();
    knots.push((taper_mm, below.diameter_at(taper_mm)));
    knots.push((from_mm, piece.diameter_at(0.0)));
    let inside = piece
        .knots_mm
        .iter()
        .filter(|k| k.0 > 0.0 && k.0 < piece_mm);
    knots.extend(inside.map(|&(s, d)| (from_mm + s, d)));
    let end_mm = from_mm + piece_mm;
    knots.push((end_mm, piece.diameter_at(piece_mm)));
    if let Some(to_mm) = done.cut.to_mm {
        let on_mm = to_mm + TAPER_MM;
        knots.push((end_mm + TAPER_MM, below.diameter_at(on_mm)));
        let later = below.knots_mm.iter().filter(|k| k.0 > on_mm);
        knots.extend(later.map(|&(s, d)| (s + done.behind_shift_mm, d)));
    }
    Lumen { knots_mm: knots }
}

fn add_piece(piece: &Piece<'_>, joined: usize, motion: &Isometry3<f64>, done: &mut Grafted) {
    let count = done.tree.branches.len();
    done.piece = (0..piece.tree.branches.len())
        .map(|i| if i == 0 { joined } else { count + i - 1 })
        .collect();
    for branch in &piece.tree.branches[1..] {
        let ostium = branch.ostium.map(|o| {
            let place = done.piece_place(Place {
                branch: o.branch,
                at_mm: o.at_mm,
            });
            Ostium {
                branch: place.branch,
                at_mm: place.at_mm,
            }
        });
        done.tree.branches.push(Branch {
            ostium,
            curve: branch.curve.moved(motion),
            ..branch.clone()
        });
    }
}

/// Landmarks, lesions and clots of both. Where both name a place alike, the piece's counts: it was measured.
fn keep_places(whole: &Tree, piece: &Tree, done: &mut Grafted) {
    let at = |branch, at_mm| Place { branch, at_mm };
    for landmark in &piece.landmarks {
        done.tree.landmarks.push(Landmark {
            name: landmark.name.clone(),
            place: done.piece_place(landmark.place),
        });
    }
    for landmark in &whole.landmarks {
        let known = done.tree.landmarks.iter().any(|l| l.name == landmark.name);
        if let (false, Some(place)) = (known, done.kept_place(landmark.place)) {
            done.tree.landmarks.push(Landmark {
                name: landmark.name.clone(),
                place,
            });
        }
    }
    for lesion in &piece.lesions {
        let place = done.piece_place(at(lesion.branch, lesion.start_mm));
        done.tree.lesions.push(Lesion {
            branch: place.branch,
            start_mm: place.at_mm,
            ..lesion.clone()
        });
    }
    for lesion in &whole.lesions {
        if let Some(place) = done.kept_place(at(lesion.branch, lesion.start_mm)) {
            done.tree.lesions.push(Lesion {
                branch: place.branch,
                start_mm: place.at_mm,
                ..lesion.clone()
            });
        }
    }
    for clot in &piece.clots {
        let place = done.piece_place(at(clot.branch, clot.start_mm));
        done.tree.clots.push(Clot {
            branch: place.branch,
            start_mm: place.at_mm,
            ..clot.clone()
        });
    }
    for clot in &whole.clots {
        if let Some(place) = done.kept_place(at(clot.branch, clot.start_mm)) {
            done.tree.clots.push(Clot {
                branch: place.branch,
                start_mm: place.at_mm,
                ..clot.clone()
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::{Frame, Point, Run};
    use super::*;

    fn branch(
        name: &str,
        ostium: Option<Ostium>,
        start: Frame,
        runs: &[(f64, f64)],
        diameter_mm: f64,
    ) -> Branch {
        let runs: Vec<Run> = runs
            .iter()
            .map(|&(length_mm, turn_rad)| Run {
                length_mm,
                turn_rad,
                roll_rad: 0.0,
                diameter_start_mm: diameter_mm,
                diameter_end_mm: diameter_mm,
            })
            .collect();
        Branch {
            name: name.into(),
            ostium,
            curve: Curve::from_runs(start, &runs).unwrap(),
            lumen: Lumen::uniform(diameter_mm),
            wall_stiffness_n_per_mm2: 1.0,
        }
    }

    fn tree(branches: Vec<Branch>) -> Tree {
        Tree {
            branches,
            landmarks: Vec::new(),
            lesions: Vec::new(),
            clots: Vec::new(),
        }
    }

    /// A trunk of 100 mm along x, a child at 30 mm and one at 80 mm.
    fn whole() -> Tree {
        let along = Frame::new(Point::origin(), Vector::x(), Vector::y());
        let child = |name: &str, at_mm: f64| {
            let start = Frame::new(Point::new(at_mm, 0.0, 0.0), Vector::y(), Vector::z());
            branch(
                name,
                Some(Ostium { branch: 0, at_mm }),
                start,
                &[(20.0, 0.0)],
                3.0,
            )
        };
        tree(vec![
            branch("trunk", None, along, &[(100.0, 0.0)], 6.0),
            child("near", 30.0),
            child("far", 80.0),
        ])
    }

    /// A bent piece of 40 mm somewhere else, with a child in its middle.
    fn piece() -> Tree {
        let start = Frame::new(Point::new(5.0, 6.0, 7.0), Vector::z(), Vector::x());
        let main = branch("piece", None, start, &[(20.0, 0.0), (20.0, 1.0)], 4.0);
        let middle = main.curve.frame_at(20.0);
        let side = Frame::new(middle.origin_mm, middle.n1, middle.tangent);
        let ostium = Some(Ostium {
            branch: 0,
            at_mm: 20.0,
        });
        tree(vec![
            main,
            branch("side", ostium, side, &[(10.0, 0.0)], 2.0),
        ])
    }

    #[test]
    fn exact_a_piece_runs_on_where_the_vessel_was_cut() {
        let (whole, piece) = (whole(), piece());
        let cut = Cut {
            branch: 0,
            from_mm: 50.0,
            to_mm: None,
        };
        let done = graft(
            &whole,
            cut,
            Piece {
                tree: &piece,
                roll_rad: 0.0,
            },
        )
        .unwrap();
        let names: Vec<&str> = done.tree.branches.iter().map(|b| b.name.as_str()).collect();
        assert_eq!(names, ["trunk", "near", "side"], "what lay beyond is gone");
        let trunk = &done.tree.branches[0].curve;
        assert!((trunk.length_mm() - 90.0).abs() < 1e-9);
        let (before, after) = (trunk.frame_at(50.0 - 1e-7), trunk.frame_at(50.0 + 1e-7));
        assert!((before.origin_mm - after.origin_mm).norm() < 1e-6, "no gap");
        assert!((before.tangent - after.tangent).norm() < 1e-6, "no corner");
        assert!(
            (trunk.turning_to(90.0) - 1.0).abs() < 1e-9,
            "the piece bends as it did"
        );
        let side = done.tree.branches[2].ostium.unwrap();
        assert!(side.branch == 0 && (side.at_mm - 70.0).abs() < 1e-9);
        assert!(done.tree.check().is_ok(), "{:?}", done.tree.check());
        // the lumen of the piece is its own, the vessel's comes to it
        let lumen = &done.tree.branches[0].lumen;
        for (s, diameter_mm) in [
            (10.0, 6.0),
            (35.0, 6.0),
            (42.5, 5.0),
            (50.0, 4.0),
            (80.0, 4.0),
        ] {
            assert!(
                (lumen.diameter_at(s) - diameter_mm).abs() < 1e-9,
                "{s}: {}",
                lumen.diameter_at(s)
            );
        }
        assert!(
            (done.turned_rad - 0.5 * std::f64::consts::PI).abs() < 1e-9,
            "from z to x"
        );
        let at = |at_mm| Place { branch: 0, at_mm };
        assert_eq!(done.kept_place(at(60.0)), None);
        assert!(done.kept_place(at(40.0)).is_some());
    }

    #[test]
    fn exact_the_vessel_goes_on_behind_a_piece() {
        let (whole, piece) = (whole(), piece());
        let cut = Cut {
            branch: 0,
            from_mm: 50.0,
            to_mm: Some(70.0),
        };
        let done = graft(
            &whole,
            cut,
            Piece {
                tree: &piece,
                roll_rad: 0.7,
            },
        )
        .unwrap();
        let trunk = &done.tree.branches[0].curve;
        assert!(
            (trunk.length_mm() - 120.0).abs() < 1e-9,
            "50 before, 40 of the piece, 30 behind"
        );
        for joint_mm in [50.0, 90.0] {
            let (before, after) = (
                trunk.frame_at(joint_mm - 1e-7),
                trunk.frame_at(joint_mm + 1e-7),
            );
            assert!(
                (before.tangent - after.tangent).norm() < 1e-6,
                "no corner at {joint_mm}"
            );
        }
        let far = done.tree.branches.iter().find(|b| b.name == "far").unwrap();
        assert!(
            (far.ostium.unwrap().at_mm - 100.0).abs() < 1e-9,
            "10 mm behind the joint, as before"
        );
        assert!(done.tree.check().is_ok(), "{:?}", done.tree.check());
        let moved = done
            .kept_place(Place {
                branch: 0,
                at_mm: 75.0,
            })
            .unwrap();
        assert!((moved.at_mm - 95.0).abs() < 1e-9);
    }

    #[test]
    fn exact_cuts_outside_their_branch_are_refused() {
        for (from_mm, to_mm) in [
            (0.0, None),
            (120.0, None),
            (50.0, Some(40.0)),
            (50.0, Some(200.0)),
        ] {
            let cut = Cut {
                branch: 0,
                from_mm,
                to_mm,
            };
            let told = graft(
                &whole(),
                cut,
                Piece {
                    tree: &piece(),
                    roll_rad: 0.0,
                },
            );
            assert!(
                matches!(told, Err(GeometryError::OutOfRange { .. })),
                "{cut:?}: {told:?}"
            );
        }
        let none = tree(Vec::new());
        let cut = Cut {
            branch: 0,
            from_mm: 50.0,
            to_mm: None,
        };
        assert!(
            graft(
                &whole(),
                cut,
                Piece {
                    tree: &none,
                    roll_rad: 0.0
                }
            )
            .is_err()
        );
    }
}
