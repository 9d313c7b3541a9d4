//! The way through a tree: which branches, how long, and where things on it lie.

use super::curve::{Curve, Piece, SLIVER_MM};
use super::ostium::Builder;
use super::tree::{Leg, interpolate};
use super::{GeometryError, Lumen, Place, Tree};
use crate::units::Allowed;

/// The way through the tree before it is sampled.
#[derive(Debug, Clone)]
pub(super) struct Route {
    pub(super) curve: Curve,
    /// Usable healthy lumen.
    pub(super) lumen: Lumen,
    /// `(arc length mm, N/mm2)`.
    pub(super) stiffness: Vec<(f64, f64)>,
    pub(super) spans: Vec<Span>,
    /// Child branch and place of every ostium crossed.
    pub(super) ostia: Vec<(usize, f64)>,
    /// From distance along the raw legs to arc length.
    map: Vec<(f64, f64)>,
}

/// A leg and where it starts on the raw way.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    pub(super) leg: Leg,
    pub(super) raw_mm: f64,
}

impl Route {
    pub(super) fn between(
        tree: &Tree,
        access: Place,
        target: Place,
        overlap_limit: f64,
    ) -> Result<Self, GeometryError> {
        let mut spans = Vec::new();
        let mut ostia = Vec::new();
        let mut raw_mm = 0.0;
        let legs = tree.legs(access, target)?;
        for (i, &leg) in legs.iter().enumerate() {
            if let Some(previous) = i.checked_sub(1).map(|k| legs[k]) {
                let upwards = tree.branches[previous.branch]
                    .ostium
                    .is_some_and(|o| o.branch == leg.branch);
                ostia.push((if upwards { previous.branch } else { leg.branch }, raw_mm));
            }
            if leg.length_mm() > SLIVER_MM {
                spans.push(Span { leg, raw_mm });
                raw_mm += leg.length_mm();
            }
        }
        if spans.is_empty() {
            return Err(GeometryError::OutOfRange {
                what: "the length of the route from access to target".into(),
                found: raw_mm,
                needed: Allowed::in_words("> 0 mm").above(0.0),
            });
        }
        let whole = Builder::new(tree, &spans, overlap_limit).assemble()?;
        whole.cut(spans, ostia, raw_mm)
    }

    /// Where a place on a branch lies on the route, if the route passes it.
    pub(super) fn locate(&self, place: Place) -> Option<f64> {
        self.spans.iter().find_map(|span| {
            let (low_mm, high_mm) = span.range_mm();
            (span.leg.branch == place.branch
                && place.at_mm >= low_mm - SLIVER_MM
                && place.at_mm <= high_mm + SLIVER_MM)
                .then(|| self.to_route(span.raw_of(place.at_mm)))
        })
    }

    /// Ends, nearer the access first, of something that starts on a branch and lies along the
    /// route; it may run past the leg at either end. None if the route passes none of it.
    pub(super) fn extent(
        &self,
        branch: usize,
        start_mm: f64,
        length_mm: f64,
    ) -> Option<(f64, f64)> {
        let span = self.spans.iter().find(|s| s.leg.branch == branch)?;
        let (low_mm, high_mm) = span.range_mm();
        let end_mm = start_mm + length_mm;
        let passed = start_mm < high_mm && end_mm > low_mm;
        passed.then(|| {
            let (a, b) = (span.raw_of(start_mm), span.raw_of(end_mm));
            (self.to_route(a.min(b)), self.to_route(a.max(b)))
        })
    }

    /// From distance along the raw legs to arc length; beyond the ends with slope 1.
    fn to_route(&self, raw_mm: f64) -> f64 {
        through(&self.map, raw_mm)
    }

    /// Start and end of a span on the route.
    pub(super) fn span_mm(&self, span: &Span) -> (f64, f64) {
        (
            self.to_route(span.raw_mm),
            self.to_route(span.raw_mm + span.leg.length_mm()),
        )
    }
}

impl Span {
    pub(super) fn branch(&self) -> usize {
        self.leg.branch
    }

    fn range_mm(&self) -> (f64, f64) {
        let Leg { from_mm, to_mm, .. } = self.leg;
        (from_mm.min(to_mm), from_mm.max(to_mm))
    }

    /// Distance along the raw way of a place on the branch.
    fn raw_of(&self, at_mm: f64) -> f64 {
        self.raw_mm + (at_mm - self.leg.from_mm) * self.leg.sense()
    }
}

fn through(map: &[(f64, f64)], raw_mm: f64) -> f64 {
    let inside = match (map.first(), map.last()) {
        (Some(first), Some(last)) => raw_mm.clamp(first.0, last.0),
        _ => raw_mm,
    };
    interpolate(map, inside).unwrap_or(inside) + (raw_mm - inside)
}

/// The assembled way, still with its overlong ends.
#[derive(Debug, Default)]
pub(super) struct Whole {
    pub(super) pieces: Vec<Piece>,
    pub(super) diameters: Vec<(f64, f64)>,
    pub(super) stiffness: Vec<(f64, f64)>,
    pub(super) map: Vec<(f64, f64)>,
}

impl Whole {
    pub(super) fn length_mm(&self) -> f64 {
        self.pieces.last().map_or(0.0, |p| p.start_mm + p.length_mm)
    }

    pub(super) fn pieces_extend(&mut self, pieces: Vec<Piece>) {
        for mut piece in pieces {
            piece.start_mm = self.length_mm();
            self.pieces.push(piece);
        }
    }

    /// The way between access (0 on the raw way) and target (`raw_mm` on it).
    fn cut(
        self,
        spans: Vec<Span>,
        ostia: Vec<(usize, f64)>,
        raw_mm: f64,
    ) -> Result<Route, GeometryError> {
        let from_mm = through(&self.map, 0.0);
        let to_mm = through(&self.map, raw_mm);
        let curve = Curve::join(self.pieces).section(from_mm, to_mm)?;
        let length_mm = curve.length_mm();
        let clip = |knots: Vec<(f64, f64)>| {
            let at = |s_mm: f64| interpolate(&knots, s_mm + from_mm).unwrap_or(0.0);
            let mut clipped = vec![(0.0, at(0.0))];
            clipped.extend(
                knots
                    .iter()
                    .map(|&(s_mm, value)| (s_mm - from_mm, value))
                    .filter(|(s_mm, _)| *s_mm > 0.0 && *s_mm < length_mm),
            );
            clipped.push((length_mm, at(length_mm)));
            clipped
        };
        let map: Vec<(f64, f64)> = self
            .map
            .into_iter()
            .map(|(raw, s)| (raw, s - from_mm))
            .collect();
        let ostia = ostia
            .into_iter()
            .map(|(branch, raw)| (branch, through(&map, raw)))
            .collect();
        Ok(Route {
            curve,
            lumen: Lumen {
                knots_mm: clip(self.diameters),
            },
            stiffness: clip(self.stiffness),
            spans,
            ostia,
            map,
        })
    }
}
