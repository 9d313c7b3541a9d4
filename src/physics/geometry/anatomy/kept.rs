//! Entered lengths that hold on the way a device goes, and not only on the branches drawn.
//!
//! A route swings through an ostium on a bend that is shorter than the corner of the two branches.
//! What the bend saves would be missing from the lengths on both sides of it, so branches are
//! drawn that much longer: a few rounds of drawing, reading off and drawing again.

use super::super::route::Route;
use super::super::{GeometryError, Place, TrackSettings, Tree};
use std::collections::BTreeMap;

/// Rounds of drawing: the savings hardly change with the lengths, so each leaves a tenth or less.
pub(super) const ROUNDS: usize = 6;
/// Lengths are promised to the tenth of a millimetre; a twentieth of that is lost in no sum.
pub(super) const WITHIN_MM: f64 = 5e-3;

/// A length as it stands on the form, and as it is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Length {
    pub(super) entered_mm: f64,
    pub(super) drawn_mm: f64,
}

/// How much longer than entered each length is drawn, mm, by the field it is entered in.
#[derive(Debug, Clone, Default)]
pub(super) struct Allowances(BTreeMap<String, f64>);

impl Allowances {
    pub(super) fn length(&self, field: &str, entered_mm: f64) -> Length {
        let more_mm = self.0.get(field).copied().unwrap_or(0.0);
        Length {
            entered_mm,
            drawn_mm: entered_mm + more_mm,
        }
    }

    /// How far something may be moved out of its vessel by the rounding of these rounds, mm: what was
    /// entered is checked before the first.
    pub(super) fn slack_mm(&self) -> f64 {
        if self.0.is_empty() { 0.0 } else { 1.0 }
    }

    /// Draws what came out too short longer by what is missing.
    pub(super) fn make_up(&mut self, lengths: &[Stretch], routes: &[Route]) {
        for stretch in lengths.iter().filter(|stretch| stretch.along_the_vessel) {
            if let Some(found_mm) = stretch.on_any(routes) {
                let more_mm = self.0.entry(stretch.field.clone()).or_default();
                *more_mm += stretch.entered_mm - found_mm;
            }
        }
    }
}

/// An entered length and the places on the tree that it lies between.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// The field of the form (`common_carotid.length`).
    pub field: String,
    /// Where it starts.
    pub from: Place,
    /// Where it ends.
    pub to: End,
    /// Its value, mm; negative where a place lies against the flow of what it is counted from.
    pub entered_mm: f64,
    /// Whether a device runs along all of it. The distance of two origins along the aorta is kept
    /// there; a route that turns off at one of them cuts its corner.
    pub along_the_vessel: bool,
}

/// The far end of a [`Stretch`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum End {
    /// At a place, in whichever direction the route leads.
    At(Place),
    /// At a place, in the direction of the route: the length may be negative.
    Beyond(Place),
    /// So many mm along the branch, and on along the route past its end.
    Along(f64),
}

impl Stretch {
    /// Its length on a route, mm; `None` where the route does not pass all of it.
    fn on(&self, route: &Route) -> Option<f64> {
        let between = |to: Place| Some(route.locate(to)? - route.locate(self.from)?);
        match self.to {
            End::At(place) => between(place).map(f64::abs),
            End::Beyond(place) => between(place),
            End::Along(length_mm) => {
                let (near_mm, far_mm) =
                    route.extent(self.from.branch, self.from.at_mm, length_mm)?;
                Some(far_mm - near_mm)
            }
        }
    }

    fn on_any(&self, routes: &[Route]) -> Option<f64> {
        routes.iter().find_map(|route| self.on(route))
    }
}

/// The entered lengths that a route keeps no better than to `within_mm`, with what it makes of them,
/// mm.
///
/// # Errors
/// As [`Tree::track_with`] for the places and the ostia between them.
pub fn changed_lengths(
    tree: &Tree,
    access: Place,
    target: Place,
    lengths: &[Stretch],
    within_mm: f64,
) -> Result<Vec<(Stretch, f64)>, GeometryError> {
    let route = route(tree, access, target)?;
    Ok(lengths
        .iter()
        .filter_map(|stretch| Some((stretch.clone(), stretch.on(&route)?)))
        .filter(|(stretch, found_mm)| (found_mm - stretch.entered_mm).abs() > within_mm)
        .collect())
}

pub(super) fn route(tree: &Tree, access: Place, target: Place) -> Result<Route, GeometryError> {
    Route::between(tree, access, target, TrackSettings::default().overlap_limit)
}

/// The farthest that any length lies from what was entered, mm.
pub(super) fn worst_mm(lengths: &[Stretch], routes: &[Route]) -> f64 {
    lengths
        .iter()
        .filter(|stretch| stretch.along_the_vessel)
        .filter_map(|stretch| Some((stretch.on_any(routes)? - stretch.entered_mm).abs()))
        .fold(0.0, f64::max)
}
