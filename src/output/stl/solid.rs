//! The vessel as a solid: signed distance to the union of its branches, and how finely it has to be looked at.

use crate::geometry::{Branch, Curve, Lesion, Point, Tree, Vector};
use crate::math;

/// Narrowest lumen that is made, mm: what is shut in the patient cannot be flushed in a phantom.
const NARROWEST_MM: f64 = 0.3;
/// Samples of a branch in one ball.
const BALL: usize = 12;
/// Growth of the size of facets per distance from the wall. Below 0.13 neighbouring tetrahedra always agree
/// on their common edges: edges that are bisected one after the other are at least 1.155 times longer.
const GRADING: f64 = 0.06;

/// One branch.
#[derive(Debug)]
struct Limb<'a> {
    curve: &'a Curve,
    branch: &'a Branch,
    lesions: Vec<&'a Lesion>,
    samples: Vec<(Point, f64)>,
    balls: Vec<(Point, f64)>,
    widest_mm: f64,
    /// Ends that are cut open: near, far.
    open: [bool; 2],
}

/// What is made of the vessel.
#[derive(Debug)]
pub(super) struct Solid<'a> {
    limbs: Vec<Limb<'a>>,
    wall_mm: Option<f64>,
    facet: f64,
    /// Factor of all radii by which facets, which lie inside round walls, keep the volume.
    fuller: f64,
}

/// Ball round points.
fn ball(points: &[(Point, f64)]) -> (Point, f64) {
    let mut low = Vector::repeat(f64::INFINITY);
    let mut high = -low;
    for (p, _) in points {
        low = low.inf(&p.coords);
        high = high.sup(&p.coords);
    }
    let middle = Point::from(0.5 * (low + high));
    let radius = points
        .iter()
        .map(|(p, _)| (p - middle).norm())
        .fold(0.0, f64::max);
    (middle, radius)
}

impl<'a> Limb<'a> {
    /// `made` tells which branches are made: where one begins or ends at another one, it leads on.
    fn new(tree: &'a Tree, own: usize, made: &[bool]) -> Self {
        let branch = &tree.branches[own];
        let length_mm = branch.curve.length_mm();
        let (narrow_mm, wide_mm) = branch
            .lumen
            .knots_mm
            .iter()
            .fold((f64::INFINITY, 0.0_f64), |(a, b), k| {
                (a.min(k.1), b.max(k.1))
            });
        let step_mm = (0.25 * narrow_mm).clamp(0.3, 2.0);
        let samples: Vec<(Point, f64)> = crate::output::stage::stepped(length_mm, step_mm)
            .map(|s_mm| (branch.curve.point_at(s_mm), s_mm))
            .collect();
        // an end at which another branch begins leads on
        let leads_on = |at_end_mm: f64| {
            tree.branches.iter().zip(made).any(|(child, made)| {
                *made
                    && child.ostium.is_some_and(|o| {
                        o.branch == own
                            && (o.at_mm - at_end_mm).abs()
                                < 0.5 * branch.lumen.diameter_at(at_end_mm)
                    })
            })
        };
        Self {
            curve: &branch.curve,
            branch,
            lesions: tree.lesions.iter().filter(|l| l.branch == own).collect(),
            balls: samples.chunks(BALL).map(ball).collect(),
            samples,
            widest_mm: wide_mm,
            open: [
                branch.ostium.is_none_or(|o| !made[o.branch]) && !leads_on(0.0),
                !leads_on(length_mm),
            ],
        }
    }

    fn radius_mm(&self, s_mm: f64) -> f64 {
        let healthy_mm = self.branch.lumen.diameter_at(s_mm);
        let narrowed = self.lesions.iter().filter_map(|lesion| {
            let share = (s_mm - lesion.start_mm) / lesion.length_mm;
            let inside = share > 0.0 && share < 1.0;
            let depth = 0.5 * (1.0 - math::cos(std::f64::consts::TAU * share));
            let residual_mm = lesion.residual_mm().max(NARROWEST_MM);
            inside.then_some(healthy_mm + (residual_mm - healthy_mm) * depth)
        });
        0.5 * narrowed.fold(healthy_mm, f64::min)
    }

    /// Distance below which nothing of it lies, mm.
    fn at_least_mm(&self, p: &Point) -> f64 {
        let balls = self.balls.iter();
        balls
            .map(|(middle, radius)| (p - middle).norm() - radius)
            .fold(f64::INFINITY, f64::min)
    }

    /// Place on the axis (beyond an open end on its straight continuation) and distance from it, mm.
    fn foot(&self, p: &Point) -> (f64, f64) {
        let mut nearest = (f64::INFINITY, 0.0);
        for (chunk, (middle, radius)) in self.samples.chunks(BALL).zip(&self.balls) {
            if (p - middle).norm() - radius > nearest.0 {
                continue;
            }
            for (at, s_mm) in chunk {
                let distance = (p - at).norm();
                if distance < nearest.0 {
                    nearest = (distance, *s_mm);
                }
            }
        }
        let length_mm = self.curve.length_mm();
        let mut s_mm = nearest.1;
        for _ in 0..3 {
            let inside_mm = s_mm.clamp(0.0, length_mm);
            let frame = self.curve.frame_at(inside_mm);
            let along = (p - frame.origin_mm).dot(&frame.tangent);
            s_mm = inside_mm + along;
            if along.abs() < 1e-6 {
                break;
            }
        }
        // ends that lead on are round
        let least = if self.open[0] { f64::NEG_INFINITY } else { 0.0 };
        let most = if self.open[1] {
            f64::INFINITY
        } else {
            length_mm
        };
        let s_mm = s_mm.clamp(least, most);
        let inside_mm = s_mm.clamp(0.0, length_mm);
        let frame = self.curve.frame_at(inside_mm);
        let at = frame.origin_mm + frame.tangent * (s_mm - inside_mm);
        (s_mm, (p - at).norm())
    }

    /// How far a place on the axis lies beyond the nearest open end, mm; negative within.
    fn beyond_mm(&self, s_mm: f64) -> f64 {
        let ends = [-s_mm, s_mm - self.curve.length_mm()];
        ends.into_iter()
            .zip(self.open)
            .filter(|(_, open)| *open)
            .map(|(beyond, _)| beyond)
            .fold(f64::NEG_INFINITY, f64::max)
    }
}

impl<'a> Solid<'a> {
    /// The lumen of the branches that are made, or a wall of a thickness round it; `facet` is the largest
    /// edge over the radius.
    pub(super) fn new(
        tree: &'a Tree,
        made: &[bool],
        wall_mm: Option<f64>,
        facet: f64,
        fuller: f64,
    ) -> Self {
        let limbs = (0..tree.branches.len()).filter(|i| made[*i]);
        Self {
            limbs: limbs.map(|i| Limb::new(tree, i, made)).collect(),
            wall_mm,
            facet,
            fuller,
        }
    }

    /// Corners of a box around everything.
    pub(super) fn bounds(&self) -> (Point, Point) {
        let mut low = Vector::repeat(f64::INFINITY);
        let mut high = -low;
        for limb in &self.limbs {
            let margin = Vector::repeat(0.5 * limb.widest_mm + self.wall_mm.unwrap_or(0.0) + 1.0);
            for (p, _) in &limb.samples {
                low = low.inf(&(p.coords - margin));
                high = high.sup(&(p.coords + margin));
            }
        }
        (low.into(), high.into())
    }

    /// Negative inside, mm.
    pub(super) fn distance_mm(&self, p: &Point) -> f64 {
        let (mut lumen, mut outer) = (f64::INFINITY, f64::INFINITY);
        let wall_mm = self.wall_mm.unwrap_or(0.0);
        for (least, limb) in self.nearest_first(p) {
            if least - 0.5 * self.fuller * limb.widest_mm - wall_mm > lumen {
                continue;
            }
            let (s_mm, distance_mm) = limb.foot(p);
            let off_mm = distance_mm - self.fuller * limb.radius_mm(s_mm);
            let beyond_mm = limb.beyond_mm(s_mm);
            match self.wall_mm {
                None => lumen = lumen.min(off_mm.max(beyond_mm)),
                Some(wall_mm) => {
                    // the lumen runs on through the cut, so that ends are open
                    lumen = lumen.min(off_mm.max(beyond_mm - wall_mm));
                    outer = outer.min((off_mm - wall_mm).max(beyond_mm));
                }
            }
        }
        if self.wall_mm.is_some() {
            outer.max(-lumen)
        } else {
            lumen
        }
    }

    /// Largest edge of facets at a place, mm.
    pub(super) fn size_mm(&self, p: &Point) -> f64 {
        /// Edges over the thickness of a wall: it must not vanish between two corners.
        const THROUGH: f64 = 0.95;
        let mut size_mm = self.wall_mm.map_or(f64::INFINITY, |w| THROUGH * w);
        for (least, limb) in self.nearest_first(p) {
            if GRADING * (least - 0.5 * limb.widest_mm) > size_mm {
                continue;
            }
            let (s_mm, distance_mm) = limb.foot(p);
            let radius_mm = 0.5 * limb.branch.lumen.diameter_at(s_mm);
            let wished = self.facet * radius_mm + GRADING * (distance_mm - radius_mm).abs();
            size_mm = size_mm.min(wished);
        }
        size_mm
    }

    /// Branches with the distance below which nothing of their axes lies, the nearest first.
    fn nearest_first(&self, p: &Point) -> Vec<(f64, &Limb<'a>)> {
        let limbs = self.limbs.iter();
        let mut found: Vec<(f64, &Limb<'a>)> = limbs.map(|l| (l.at_least_mm(p), l)).collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        found
    }
}
