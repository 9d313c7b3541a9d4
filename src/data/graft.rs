//! A piece drawn branch by branch, joined into a vessel that was measured, or assumed.

use super::branches::{Branches, geometry_complaint};
use super::error::{Complaint, choices};
use super::vessel_file::{Vessel, measured};
use crate::geometry::anatomy::{Anatomy, End, Measurements, Origin, Stretch};
use crate::geometry::traced::{Cut, Grafted, Piece, graft};
use crate::geometry::{Place, Tree};
use crate::procedure::{ValueRow, VesselInfo};
use serde::Deserialize;

/// The form `Grafted((…))` of a vessel file.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Grafted")]
pub(super) struct GraftedForm {
    /// Measurements of the vessel around the piece; what is left out is assumed.
    onto: Measurements,
    /// Landmark of that vessel at which the piece begins.
    from: String,
    /// Landmark on the same branch from which that vessel goes on behind the piece.
    #[serde(default)]
    go_on_at: Option<String>,
    /// By what the piece is turned about the vessel's direction at the joint, degrees.
    #[serde(default)]
    roll_deg: f64,
    piece: Branches,
}

/// Groups of values that are about vessels beyond the skull base, none of which is left where a piece
/// begins there.
const OF_THE_HEAD: [&str; 14] = [
    "petrous.",
    "siphon.",
    "m1.",
    "m2.",
    "layout.petrous",
    "layout.lacerum",
    "layout.siphon",
    "layout.cavernous",
    "layout.ophthalmic",
    "layout.posterior_communicating",
    "layout.anterior",
    "layout.m1",
    "layout.m2",
    "wall.brain",
];

impl GraftedForm {
    /// The whole vessel, if nothing is wrong; all that is goes into `complaints`.
    pub(super) fn build(
        self: Box<Self>,
        info: VesselInfo,
        complaints: &mut Vec<Complaint>,
    ) -> Option<Vessel> {
        let piece = self.piece.build_piece("form.piece", complaints);
        let anatomy = match self.onto.build() {
            Ok(anatomy) => anatomy,
            Err(error) => {
                complaints.push(geometry_complaint("form.onto", &error));
                return None;
            }
        };
        let piece = piece?;
        let from = landmark(&anatomy.tree, &self.from, "form.from", complaints)?;
        let go_on = match &self.go_on_at {
            Some(name) => Some(landmark(&anatomy.tree, name, "form.go_on_at", complaints)?),
            None => None,
        };
        if let Some(place) = go_on
            && (place.branch != from.branch || place.at_mm <= from.at_mm)
        {
            let named = |p: Place| &anatomy.tree.branches[p.branch].name;
            complaints.push(
                Complaint::new(
                    "form.go_on_at",
                    format!(
                        "`{}` on `{}` does not lie behind `{}` on `{}`",
                        self.go_on_at.unwrap_or_default(),
                        named(place),
                        self.from,
                        named(from)
                    ),
                )
                .help("both ends of a graft lie on one branch, the second behind the first"),
            );
            return None;
        }
        let cut = Cut {
            branch: from.branch,
            from_mm: from.at_mm,
            to_mm: go_on.map(|place| place.at_mm),
        };
        let grafted = graft(
            &anatomy.tree,
            cut,
            Piece {
                tree: &piece.tree,
                roll_rad: self.roll_deg.to_radians(),
            },
        );
        let grafted = match grafted {
            Ok(grafted) => grafted,
            Err(error) => {
                complaints.push(geometry_complaint("form", &error));
                return None;
            }
        };
        let Some(access) = grafted.kept_place(anatomy.access) else {
            complaints.push(
                Complaint::new(
                    "form.from",
                    "devices would enter beyond the place where the piece begins",
                )
                .help("graft the piece further on, or choose another access"),
            );
            return None;
        };
        let targets = targets(&anatomy, &grafted, &piece.targets);
        let skull_base = anatomy
            .tree
            .landmarks
            .iter()
            .find(|l| l.name == "skull-base")
            .map(|l| l.place);
        let headless = cut.to_mm.is_none()
            && skull_base.is_some_and(|place| {
                place.branch == from.branch && place.at_mm <= from.at_mm + 1e-6
            });
        let lengths = anatomy
            .lengths
            .iter()
            .filter_map(|stretch| kept_stretch(stretch, &grafted))
            .collect();
        let mut vessel = measured(info, anatomy.clone(), self.onto);
        vessel.info.values = values(&anatomy, vessel.info.values, headless);
        vessel.info.values.push(joint(&self.from, &grafted));
        vessel.tree = grafted.tree;
        vessel.access = access;
        vessel.targets = targets;
        vessel.lengths = lengths;
        // populations are drawn around a whole form, not around one with a piece in it
        vessel.measurements = None;
        Some(vessel)
    }
}

fn landmark(tree: &Tree, name: &str, path: &str, complaints: &mut Vec<Complaint>) -> Option<Place> {
    let found = tree.landmarks.iter().find(|l| l.name == name);
    if found.is_none() {
        let names = tree.landmarks.iter().map(|l| l.name.as_str());
        complaints.push(
            Complaint::new(path, format!("no landmark is named `{name}`"))
                .help(choices(name, names)),
        );
    }
    found.map(|l| l.place)
}

/// The piece's targets, then those of the vessel that are left.
fn targets(
    anatomy: &Anatomy,
    grafted: &Grafted,
    piece: &[(String, Place)],
) -> Vec<(String, Place)> {
    let mut all: Vec<(String, Place)> = Vec::new();
    let goes_on = grafted.behind_shift_mm.abs() > 0.0;
    let ours = piece
        .iter()
        .map(|(name, place)| (name.clone(), grafted.piece_place(*place)));
    let kept = anatomy.targets.iter();
    let kept = kept.filter_map(|t| Some((t.name.to_owned(), grafted.kept_place(t.place)?)));
    if goes_on {
        all.extend(kept);
        all.extend(ours);
    } else {
        all.extend(ours);
        all.extend(kept);
    }
    let mut names: Vec<String> = Vec::new();
    all.retain(|(name, _)| {
        let new = !names.contains(name);
        names.push(name.clone());
        new
    });
    all
}

/// An entered length, where both of its ends are left.
fn kept_stretch(stretch: &Stretch, grafted: &Grafted) -> Option<Stretch> {
    let from = grafted.kept_place(stretch.from)?;
    let to = match stretch.to {
        End::At(place) => End::At(grafted.kept_place(place)?),
        End::Beyond(place) => End::Beyond(grafted.kept_place(place)?),
        along @ End::Along(_) => along,
    };
    Some(Stretch {
        from,
        to,
        ..stretch.clone()
    })
}

/// Values of what is left, those assumed with their spread.
fn values(anatomy: &Anatomy, rows: Vec<ValueRow>, headless: bool) -> Vec<ValueRow> {
    let told = anatomy.values.iter().zip(rows).filter(|(note, _)| {
        !(headless && OF_THE_HEAD.iter().any(|group| note.name.starts_with(group)))
    });
    told.map(|(note, mut row)| {
        if let (Some(source), true) = (
            &mut row.assumed_from,
            matches!(note.origin, Origin::Assumed { .. }),
        ) {
            if note.spread > 0.0 {
                *source = format!("{source}; spread {:.1} {}", note.spread, note.unit);
            } else {
                source.push_str("; spread not known");
            }
        }
        row
    })
    .collect()
}

fn joint(from: &str, grafted: &Grafted) -> ValueRow {
    ValueRow {
        name: "graft.turned".into(),
        value: format!("{:.1}", grafted.turned_rad.to_degrees()),
        unit: "deg".into(),
        assumed_from: Some(format!(
            "the piece was turned by this to run on from `{from}`; how it lies about that direction is not known unless `roll_deg` says it"
        )),
    }
}
