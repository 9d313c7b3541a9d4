//! What does not move: the wall of the route, the rest of the vessel as context, and the lumen at any time.

use super::{Detail, Mesh, Node};
use crate::geometry::{Branch, Frame, Point, Track, Tree, Vector};

/// A branch drawn as context.
#[derive(Debug, Clone, PartialEq)]
pub struct ContextBranch {
    /// Its name in the vessel.
    pub name: String,
    /// Its wall where it lies outside the route and all other branches.
    pub mesh: Mesh,
}

/// A round section of a wall.
pub(super) fn ring(frame: &Frame, station_mm: f64, radius_mm: f64) -> Node {
    Node {
        at: frame.origin_mm,
        along: frame.tangent,
        across: frame.n1,
        station_mm,
        from_tip_mm: 0.0,
        radius_mm,
        marked: false,
        indentation_mm: 0.0,
    }
}

/// Stations at which things along the route are drawn: near enough that chords leave arcs by no more than
/// the detail's sag.
pub(super) fn stations(track: &Track, detail: &Detail) -> Vec<f64> {
    /// In a lesion the lumen changes within millimetres.
    const LESION_STEP_MM: f64 = 0.75;
    let length_mm = track.length_mm();
    let sharpest = |from_mm: f64, to_mm: f64| {
        let a = track.stations.partition_point(|s| s.s_mm < from_mm);
        let b = track.stations.partition_point(|s| s.s_mm <= to_mm);
        let inside = track.stations[a..b.max(a)].iter();
        inside.map(|s| s.curvature_per_mm).fold(0.0, f64::max)
    };
    let mut found = vec![0.0];
    let mut at_mm: f64 = 0.0;
    while at_mm < length_mm {
        let curvature = sharpest(at_mm - 1.0, at_mm + detail.most_spacing_mm);
        let mut step_mm = (8.0 * detail.sag_mm / curvature.max(1e-9)).sqrt();
        let lesion = track
            .lesions
            .iter()
            .any(|l| at_mm + detail.most_spacing_mm > l.start_mm && at_mm < l.end_mm);
        if lesion {
            step_mm = step_mm.min(LESION_STEP_MM);
        }
        at_mm += step_mm.clamp(detail.least_spacing_mm, detail.most_spacing_mm);
        if length_mm - at_mm < 0.5 * detail.least_spacing_mm {
            at_mm = length_mm;
        }
        found.push(at_mm);
    }
    found
}

/// The healthy wall of the route.
pub(super) fn wall(track: &Track, stations: &[f64]) -> Vec<Node> {
    let rings = stations
        .iter()
        .map(|s| ring(&track.frame_at(*s), *s, 0.5 * track.healthy_diameter_at(*s)));
    rings.collect()
}

/// Radius of the lumen with these residual lumens, mm.
pub(super) fn lumen_radius_mm(track: &Track, residual_mm: &[f64], s_mm: f64) -> f64 {
    let healthy_mm = track.healthy_diameter_at(s_mm);
    let narrowed_mm = track
        .lesions
        .iter()
        .zip(residual_mm)
        .map(|(lesion, residual_mm)| healthy_mm + (residual_mm - healthy_mm) * lesion.depth(s_mm))
        .fold(healthy_mm, f64::min);
    0.5 * narrowed_mm
}

/// What sections of a ball miss, mm, where the lumen has edges (at ostia) and devices lean most.
pub(super) const MISSED_MM: f64 = 1.5e-2;

/// Room for the axis of something round of radius `r_mm` at a station: a ball of that radius there touches
/// the wall, not the section's disc alone, so that what leans with a tapering wall stays inside too.
///
/// On the inside of a bend stations lie nearer to each other than on the centre line: `nearer`, at least 1,
/// tells by how much.
pub(super) fn room_mm(radius_at_mm: impl Fn(f64) -> f64, s_mm: f64, r_mm: f64, nearer: f64) -> f64 {
    /// Sections of the ball that are tried on either side.
    const SECTIONS: i32 = 6;
    (-SECTIONS..=SECTIONS)
        .map(|i| {
            let share = f64::from(i) / f64::from(SECTIONS + 1);
            let section_mm = r_mm * (1.0 - share * share).sqrt();
            let lumen_mm = [1.0, nearer].map(|n| radius_at_mm(s_mm + n * share * r_mm));
            lumen_mm[0].min(lumen_mm[1]) - section_mm
        })
        .fold(f64::INFINITY, f64::min)
}

/// The centre line at close places, for many quick looks.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Axis {
    places: Vec<(Point, Vector)>,
    spacing_mm: f64,
}

impl Axis {
    /// Chords this long leave the sharpest bends by a few tenths of a micrometre.
    const SPACING_MM: f64 = 0.1;

    pub(super) fn new(track: &Track) -> Self {
        let places: Vec<(Point, Vector)> = stepped(track.length_mm(), Self::SPACING_MM)
            .map(|s_mm| track.frame_at(s_mm))
            .map(|frame| (frame.origin_mm, frame.tangent))
            .collect();
        #[expect(clippy::cast_precision_loss, reason = "thousands of places")]
        let spacing_mm = track.length_mm() / (places.len() - 1) as f64;
        Self { places, spacing_mm }
    }

    /// Point and direction at a station; beyond both ends straight on.
    pub(super) fn at(&self, s_mm: f64) -> (Point, Vector) {
        // there are two at least: `stepped` ends where it was to
        let last = self.places.len().saturating_sub(2);
        let place = s_mm / self.spacing_mm;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a negative place is cut to 0"
        )]
        let i = (place.max(0.0) as usize).min(last);
        #[expect(clippy::cast_precision_loss, reason = "thousands of places")]
        let share = place - i as f64;
        let ((a, along), (b, after)) = (self.places[i], self.places[i + 1]);
        if !(0.0..=1.0).contains(&share) {
            let (end, way) = if share < 0.0 { (a, along) } else { (b, after) };
            let beyond_mm = (if share < 0.0 { share } else { share - 1.0 }) * self.spacing_mm;
            return (end + way * beyond_mm, way);
        }
        (a + (b - a) * share, along + (after - along) * share)
    }
}

/// Samples of a bore that are passed over at once where they are far away.
const STRETCH: usize = 16;

/// A tube to be asked whether a point lies in it.
struct Bore {
    samples: Vec<(Point, Vector, f64)>,
    /// Around every [`STRETCH`] samples: a ball that holds them.
    stretches: Vec<(Point, f64)>,
    low: Point,
    high: Point,
    half_step_mm: f64,
}

impl Bore {
    fn new(samples: Vec<(Point, Vector, f64)>, step_mm: f64) -> Self {
        let mut low = Point::new(f64::INFINITY, f64::INFINITY, f64::INFINITY);
        let mut high = -low;
        for (at, _, radius_mm) in &samples {
            low = low.inf(&(at - Vector::repeat(*radius_mm)));
            high = high.sup(&(at + Vector::repeat(*radius_mm)));
        }
        let stretches = samples
            .chunks(STRETCH)
            .map(|stretch| {
                let middle = stretch[stretch.len() / 2].0;
                let far = stretch.iter().map(|s| (s.0 - middle).norm());
                (middle, far.fold(0.0, f64::max))
            })
            .collect();
        Self {
            samples,
            stretches,
            low,
            high,
            half_step_mm: 0.5 * step_mm,
        }
    }

    /// The sample nearest to a point.
    fn nearest(&self, point: &Point) -> Option<&(Point, Vector, f64)> {
        let mut found = None;
        let mut least_mm2 = f64::INFINITY;
        for (stretch, (middle, reach_mm)) in self.samples.chunks(STRETCH).zip(&self.stretches) {
            let away_mm = (middle - point).norm() - reach_mm;
            if away_mm > 0.0 && away_mm * away_mm > least_mm2 {
                continue;
            }
            for sample in stretch {
                let away_mm2 = (sample.0 - point).norm_squared();
                if away_mm2 < least_mm2 {
                    least_mm2 = away_mm2;
                    found = Some(sample);
                }
            }
        }
        found
    }

    /// How far a point lies within the wall, mm; none where it does not.
    fn depth_mm(&self, point: &Point) -> Option<f64> {
        let outside = (0..3).any(|i| point[i] < self.low[i] || point[i] > self.high[i]);
        if outside {
            return None;
        }
        let nearest = self.nearest(point)?;
        let off = point - nearest.0;
        let along_mm = off.dot(&nearest.1);
        // beyond a flat end
        (along_mm.abs() <= 1.5 * self.half_step_mm + 0.3 * nearest.2)
            .then(|| nearest.2 - (off - nearest.1 * along_mm).norm())
            .filter(|depth_mm| *depth_mm > 0.0)
    }
}

fn bore_of(branch: &Branch) -> Bore {
    const STEP_MM: f64 = 1.0;
    Bore::new(
        stepped(branch.curve.length_mm(), STEP_MM)
            .map(|s_mm| {
                let frame = branch.curve.frame_at(s_mm);
                (
                    frame.origin_mm,
                    frame.tangent,
                    0.5 * branch.lumen.diameter_at(s_mm),
                )
            })
            .collect(),
        STEP_MM,
    )
}

/// Places from 0 to a length, `step_mm` or a little less apart.
pub(super) fn stepped(length_mm: f64, step_mm: f64) -> impl Iterator<Item = f64> {
    let cells = (length_mm / step_mm).ceil().max(1.0);
    let mut i = -1.0;
    std::iter::from_fn(move || {
        i += 1.0;
        (i <= cells).then(|| length_mm * i / cells)
    })
}

/// Every branch of the vessel where it lies outside the route and outside the other branches.
pub(super) fn context(tree: &Tree, track: &Track, detail: &Detail) -> Vec<ContextBranch> {
    /// A branch is taken to lie on the route's wall within this distance, mm: two walls in one place
    /// flicker.
    const SAME_WALL_MM: f64 = 0.1;
    let route = Bore::new(
        track
            .stations
            .iter()
            .map(|s| {
                (
                    s.frame.origin_mm,
                    s.frame.tangent,
                    0.5 * track.healthy_diameter_at(s.s_mm) + SAME_WALL_MM,
                )
            })
            .collect(),
        track.spacing_mm,
    );
    let bores: Vec<Bore> = tree.branches.iter().map(bore_of).collect();
    let branches = tree.branches.iter().enumerate();
    branches
        .map(|(own, branch)| {
            let hidden = |point: &Point| {
                route.depth_mm(point).is_some()
                    || bores
                        .iter()
                        .enumerate()
                        .any(|(i, bore)| i != own && bore.depth_mm(point).is_some())
            };
            ContextBranch {
                name: branch.name.clone(),
                mesh: bare_wall(branch, detail, hidden),
            }
        })
        .filter(|branch| !branch.mesh.triangles.is_empty())
        .collect()
}

/// The wall of a branch where it is not hidden; its rim lies on what hides it.
fn bare_wall(branch: &Branch, detail: &Detail, hidden: impl Fn(&Point) -> bool) -> Mesh {
    let widest_mm = branch
        .lumen
        .knots_mm
        .iter()
        .map(|k| k.1)
        .fold(0.0, f64::max);
    // a quarter of the width shows the bends of a branch nobody works in
    let step_mm = (widest_mm / 4.0).clamp(detail.least_spacing_mm, 2.0 * detail.most_spacing_mm);
    let sides = u32::try_from(detail.context_sides.max(6)).unwrap_or(6);
    let places: Vec<f64> = stepped(branch.curve.length_mm(), step_mm).collect();
    let on_wall = |s_mm: f64, k: u32| {
        let node = ring(
            &branch.curve.frame_at(s_mm),
            s_mm,
            0.5 * branch.lumen.diameter_at(s_mm),
        );
        let out = node.around(k, sides);
        (node.at + out * node.radius_mm, out)
    };
    let covered: Vec<Vec<bool>> = places
        .iter()
        .map(|s| (0..sides).map(|k| hidden(&on_wall(*s, k).0)).collect())
        .collect();
    // where a line along the wall comes out between two rows
    let rim = |inside_mm: f64, outside_mm: f64, k: u32| {
        let (mut a, mut b) = (inside_mm, outside_mm);
        for _ in 0..12 {
            let middle = f64::midpoint(a, b);
            if hidden(&on_wall(middle, k).0) {
                a = middle;
            } else {
                b = middle;
            }
        }
        b
    };
    let mut mesh = Mesh::default();
    for (i, row) in covered.iter().enumerate() {
        for (k, is_covered) in (0..sides).zip(row) {
            let neighbour = [i.checked_sub(1), Some(i + 1)]
                .into_iter()
                .flatten()
                .find(|j| covered.get(*j).is_some_and(|r| !r[k as usize]));
            let s_mm = match (is_covered, neighbour) {
                (true, Some(j)) => rim(places[i], places[j], k),
                _ => places[i],
            };
            let (at, out) = on_wall(s_mm, k);
            mesh.vertex(at, out);
        }
    }
    let rows = u32::try_from(places.len()).unwrap_or(0);
    for i in 1..rows {
        mesh.stitch((i - 1) * sides, i * sides, sides);
    }
    // a triangle with no bare corner shows nothing
    let bare: Vec<bool> = covered.iter().flatten().map(|c| !c).collect();
    mesh.triangles
        .retain(|t| t.iter().any(|v| bare[*v as usize]));
    mesh.without_loose()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math;

    #[test]
    fn property_nearest_sample() {
        let samples: Vec<(Point, Vector, f64)> = (0..75)
            .map(|i| {
                let t = 0.17 * f64::from(i);
                let at = Point::new(9.0 * math::cos(t), 7.0 * math::sin(t), 1.1 * t);
                (at, Vector::x(), 1.0)
            })
            .collect();
        let bore = Bore::new(samples.clone(), 1.0);
        for i in 0..400 {
            let t = f64::from(i);
            let point = Point::new(
                12.0 * math::sin(1.3 * t),
                12.0 * math::cos(0.7 * t),
                20.0 * math::sin(0.11 * t),
            );
            let away = |s: &(Point, Vector, f64)| (s.0 - point).norm_squared();
            let exact = samples.iter().map(away).fold(f64::INFINITY, f64::min);
            let found = away(bore.nearest(&point).unwrap());
            assert!((found - exact).abs() < 1e-12, "{found} against {exact}");
        }
    }

    #[test]
    fn exact_room_in_a_cone() {
        // wall falls by 1 in 2: a ball of radius 1 at R = 5 has 5 - sqrt(1 + 1/4) of room
        let room = room_mm(|s| 5.0 - 0.5 * s, 0.0, 1.0, 1.0);
        let exact = 5.0 - 1.25_f64.sqrt();
        assert!((room - exact).abs() < 0.01, "{room} against {exact}");
        assert!(
            (room_mm(|_| 2.0, 0.0, 0.5, 1.0) - 1.5).abs() < 1e-12,
            "a cylinder"
        );
    }
}
