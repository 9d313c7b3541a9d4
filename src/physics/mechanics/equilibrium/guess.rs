//! First guesses: offsets of the nodes from axes that the rods had before, or along what they lie in.

use super::solution::RodState;
use crate::geometry::{Cubic, Frame, Point, Vector, natural_spans};
use crate::math;
use crate::mechanics::rod::model::Model;
use crate::mechanics::rod::nodes::RodNodes;
use crate::mechanics::rod::scene::{Container, Scene, TubeStation};

/// Axis of a rod by arc length of the centre line.
#[derive(Debug, Clone, Default)]
pub(crate) struct FormerAxis {
    station_mm: Vec<f64>,
    offset_mm: Vec<[f64; 2]>,
    /// The same nodes in space.
    place: Vec<Point>,
    /// The C2 curve through them; empty where it is not asked for.
    spans: Vec<Cubic>,
}

impl FormerAxis {
    pub(crate) fn of(rod: &RodState) -> Self {
        Self {
            station_mm: rod.station_mm.clone(),
            offset_mm: rod.offset_mm.clone(),
            place: rod.position_mm.clone(),
            spans: Vec::new(),
        }
    }

    /// Of offsets alone.
    pub(super) fn from_offsets(station_mm: Vec<f64>, offset_mm: Vec<[f64; 2]>) -> Self {
        Self {
            station_mm,
            offset_mm,
            ..Self::default()
        }
    }

    /// Of a rod by the stored offsets, with a curve through its nodes.
    pub(crate) fn in_model(model: &Model, rod: &RodNodes) -> Self {
        let range = rod.range();
        let place: Vec<Point> = range.clone().map(|n| model.place(n)).collect();
        let chords: Vec<f64> = place.windows(2).map(|p| (p[1] - p[0]).norm()).collect();
        Self {
            station_mm: model.layout.nodes.s_mm[range.clone()].to_vec(),
            offset_mm: model.offset[range].to_vec(),
            spans: natural_spans(&place, &chords).collect(),
            place,
        }
    }

    /// From node `a` to the next in space.
    fn span(&self, a: usize) -> Cubic {
        if let Some(span) = self.spans.get(a) {
            return *span;
        }
        let (s, p) = (&self.station_mm, &self.place);
        let chord = p[a + 1] - p[a];
        let length = s[a + 1] - s[a];
        let slope = |i: usize| {
            let inner = i > 0 && i + 1 < p.len();
            inner.then(|| (p[i + 1] - p[i - 1]) * (length / (s[i + 1] - s[i - 1])))
        };
        // no curvature at an end
        let other = |slope: Vector| chord * 1.5 - slope * 0.5;
        let (from, to) = match (slope(a), slope(a + 1)) {
            (Some(from), Some(to)) => (from, to),
            (Some(from), None) => (from, other(from)),
            (None, Some(to)) => (other(to), to),
            (None, None) => (chord, chord),
        };
        Cubic {
            c1: from,
            c2: chord * 3.0 - from * 2.0 - to,
            c3: from + to - chord * 2.0,
        }
    }

    /// Straight on in space beyond its end.
    fn beyond(&self) -> (Point, Cubic) {
        let last = self.place.len() - 1;
        let none = Vector::zeros();
        let c1 = self.span(last - 1).velocity(1.0);
        (
            self.place[last],
            Cubic {
                c1,
                c2: none,
                c3: none,
            },
        )
    }
}

/// Where a span crosses a station's plane, on its normals, from a parameter near it.
fn crossing(frame: &Frame, from: Point, span: &Cubic, near: f64) -> [f64; 2] {
    let start = from - frame.origin_mm;
    let mut u = near;
    // near and nearly straight: two steps of Newton's method leave far less than the guess is off by
    for _ in 0..2 {
        let ahead = frame.tangent.dot(&(start + span.offset(u)));
        u -= ahead / frame.tangent.dot(&span.velocity(u));
    }
    let at = start + span.offset(u);
    [frame.n1.dot(&at), frame.n2.dot(&at)]
}

/// An offset of rod `k`'s tip at arc length `s_mm`, drawn in to where the vessel has room for it.
fn inside_vessel(scene: &Scene<'_>, k: usize, s_mm: f64, at: [f64; 2]) -> [f64; 2] {
    let radius = TubeStation::at(scene.tube, s_mm).map_or(0.0, |t| t.radius_mm);
    let room = (radius - 0.5 * scene.rods[k].outer_mm.at(0.0)).max(0.0);
    let r = math::hypot(at[0], at[1]);
    if r > room {
        at.map(|x| x * room / r)
    } else {
        at
    }
}

/// Offsets of the nodes from the axes the rods had: along these, and straight on beyond an old tip,
/// inside the vessel; `in_space` follows curves through the nodes, not offsets.
pub(crate) fn guess(model: &mut Model, scene: &Scene<'_>, axes: &[FormerAxis], in_space: bool) {
    for (k, old) in axes.iter().enumerate() {
        let (s_old, u_old) = (&old.station_mm, &old.offset_mm);
        let nodes = s_old.len();
        if nodes < 3 || u_old.len() != nodes {
            continue;
        }
        let slope = |i: usize| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(nodes - 1));
            let span = s_old[b] - s_old[a];
            [0, 1].map(|p| (u_old[b][p] - u_old[a][p]) / span)
        };
        let mut cursor = 0;
        for node in model.layout.rods[k].range() {
            let s = model.layout.nodes.s_mm[node];
            while cursor + 2 < nodes && s_old[cursor + 1] <= s {
                cursor += 1;
            }
            let (a, b) = (cursor, cursor + 1);
            let same = [a, b].into_iter().find(|i| s_old[*i].total_cmp(&s).is_eq());
            if let Some(i) = same {
                model.offset[node] = u_old[i];
                continue;
            }
            let span = s_old[b] - s_old[a];
            let t = (s - s_old[a]) / span;
            let frame = model.layout.frame(node);
            if in_space {
                let at = if t <= 1.0 {
                    crossing(frame, old.place[a], &old.span(a), t)
                } else {
                    let (from, on) = old.beyond();
                    inside_vessel(scene, k, s, crossing(frame, from, &on, t - 1.0))
                };
                if at.iter().all(|x| x.is_finite()) {
                    model.offset[node] = at;
                    continue;
                }
            }
            let (ua, ub) = (u_old[a], u_old[b]);
            if t <= 1.0 {
                let (da, db) = (slope(a), slope(b));
                let (t2, t3) = (t * t, t * t * t);
                model.offset[node] = [0, 1].map(|p| {
                    ua[p] * (1.0 - 3.0 * t2 + 2.0 * t3)
                        + ub[p] * (3.0 * t2 - 2.0 * t3)
                        + span * (da[p] * (t3 - 2.0 * t2 + t) + db[p] * (t3 - t2))
                });
                continue;
            }
            let at = [0, 1].map(|p| ua[p] + (ub[p] - ua[p]) * t);
            model.offset[node] = inside_vessel(scene, k, s, at);
        }
    }
}

/// Lays a rod of which nothing is known along what it lies in, and straight on beyond.
pub(crate) fn guess_along(model: &mut Model, scene: &Scene<'_>, k: usize) {
    let mut at = [0.0_f64; 2];
    for i in 0..model.layout.rods[k].count() {
        let node = model.layout.rods[k].first + i;
        let s = model.layout.nodes.s_mm[node];
        let around = scene.rods[k].containers.iter().find(|c| s <= c.to_mm);
        if let Some(Container::Rod(j)) = around.map(|c| c.container)
            && i < model.layout.rods[j].count()
        {
            at = model.offset[model.layout.rods[j].first + i];
        } else {
            at = inside_vessel(scene, k, s, at);
        }
        model.offset[node] = at;
    }
}

/// Sets siblings apart before they get axes of their own.
pub(crate) fn separate_siblings(model: &mut Model, scene: &Scene<'_>) {
    for pair in scene.beside {
        let [a, b] = pair.rods;
        for (k, sign, other) in [(b, 1.0, a), (a, -1.0, b)] {
            for node in model.layout.rods[k].range() {
                let s = model.layout.nodes.s_mm[node];
                if s < pair.from_mm || s > pair.to_mm || model.layout.nodes.dof[node].is_fixed() {
                    continue;
                }
                // each aside by the other's radius, so that they touch
                let aside = 0.5 * scene.rods[other].outer_mm.at(0.0) * sign;
                let at = &mut model.offset[node];
                at[0] += aside * math::cos(pair.side_rad);
                at[1] += aside * math::sin(pair.side_rad);
            }
        }
    }
}
