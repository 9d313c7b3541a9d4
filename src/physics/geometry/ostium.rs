//! From branch to branch as one smooth curve with a usable lumen.
//!
//! Branches start on their parent's centre line, so the raw way has a corner at every ostium. A
//! device does not turn there on the spot: it swings through the wide parent. Each corner is
//! replaced by two circular arcs that leave the parent and join the child along their tangents
//! (a biarc; one single arc where both limbs are straight), as far before the corner as after it.
//! The bend is as wide as the walls leave room for. Before it the usable radius comes down to what
//! the arcs' curvature allows, and on the wider side of its middle to the narrower lumen's.

use super::curve::{Piece, SLIVER_MM, Shape};
use super::route::{Span, Whole};
use super::tree::Leg;
use super::{Frame, GeometryError, Point, Tree, Vector};
use crate::math;

/// A bend at a corner is tightened at most to this share of the overlap limit for the sake of
/// staying within the walls; closer to 1 follows the walls still better and leaves offsets from
/// the centre line worse conditioned.
const TIGHT_SHARE: f64 = 0.8;

/// The tube of the narrower radius may cut the edge between two lumens by this share of that
/// radius: real edges are rounded, modelled ones are not (common practice, no source).
const ROUNDED_EDGE: f64 = 0.25;

/// Limbs are tried from this share of the narrower radius on: even a bend of a few degrees is
/// spread over that much, so that stations 1 mm apart see a bend and no corner.
const SHORTEST_LIMB: f64 = 0.5;

/// Growth of the trial limb length; smaller tries more lengths for a slightly shorter bend.
const LIMB_GROWTH: f64 = 1.15;

/// Cells by which a change of the usable diameter is drawn: linear pieces of a smooth step with
/// 16 cells stay within 0.3 percent of its height.
const STEP_CELLS: u32 = 16;

/// Corners turned in one go, between a leg before and a leg after.
#[derive(Debug, Clone, Copy)]
struct Corner {
    before: usize,
    after: usize,
}

/// What replaces a corner.
#[derive(Debug, Clone)]
struct Blend {
    limb_mm: f64,
    pieces: Vec<Piece>,
    length_mm: f64,
    curvature_per_mm: f64,
    radius_before_mm: f64,
    radius_after_mm: f64,
}

impl Blend {
    fn narrower_mm(&self) -> f64 {
        self.radius_before_mm.min(self.radius_after_mm)
    }

    /// Curvature times the narrower radius.
    fn strain(&self) -> f64 {
        self.curvature_per_mm * self.narrower_mm()
    }
}

/// The legs, the first and last run on to the ends of their branches so that an access or a
/// target close to an ostium still lies on a full-sized bend.
pub(super) struct Builder<'a> {
    tree: &'a Tree,
    spans: Vec<Span>,
    overlap_limit: f64,
}

impl<'a> Builder<'a> {
    pub(super) fn new(tree: &'a Tree, spans: &[Span], overlap_limit: f64) -> Self {
        let mut spans = spans.to_vec();
        let last = spans.len() - 1;
        if last > 0 {
            let end_of = |leg: &Leg| tree.branches[leg.branch].curve.length_mm();
            let first = &mut spans[0];
            let from_mm = if first.leg.sense() < 0.0 {
                end_of(&first.leg)
            } else {
                0.0
            };
            first.raw_mm -= (first.leg.from_mm - from_mm).abs();
            first.leg.from_mm = from_mm;
            let end = &mut spans[last].leg;
            end.to_mm = if end.sense() < 0.0 { 0.0 } else { end_of(end) };
        }
        Self {
            tree,
            spans,
            overlap_limit,
        }
    }

    fn leg(&self, i: usize) -> Leg {
        self.spans[i].leg
    }

    /// Place and direction of travel `along_mm` after the start of a leg.
    fn heading(&self, i: usize, along_mm: f64) -> (Point, Vector) {
        let leg = self.leg(i);
        let frame = self.tree.branches[leg.branch]
            .curve
            .frame_at(leg.from_mm + leg.sense() * along_mm);
        (frame.origin_mm, frame.tangent * leg.sense())
    }

    fn radius(&self, i: usize, along_mm: f64) -> f64 {
        let leg = self.leg(i);
        let lumen = &self.tree.branches[leg.branch].lumen;
        0.5 * lumen.diameter_at(leg.from_mm + leg.sense() * along_mm)
    }

    fn radii(&self, corner: Corner) -> (f64, f64) {
        (
            self.radius(corner.before, self.leg(corner.before).length_mm()),
            self.radius(corner.after, 0.0),
        )
    }

    /// Growing limbs within the room, mm.
    fn limbs_mm(&self, corner: Corner, room_mm: f64) -> impl Iterator<Item = f64> {
        let (a, b) = self.radii(corner);
        let mut next_mm = Some((SHORTEST_LIMB * a.min(b)).min(room_mm));
        std::iter::from_fn(move || {
            let limb_mm = next_mm?;
            next_mm = (limb_mm < room_mm).then(|| (limb_mm * LIMB_GROWTH).min(room_mm));
            Some(limb_mm)
        })
    }

    fn is_tight(&self, blend: &Blend) -> bool {
        blend.strain() > TIGHT_SHARE * self.overlap_limit
    }

    /// The shortest limb that is not too tight, or else the gentlest, within the legs on both sides.
    fn limb_needed(&self, corner: Corner) -> f64 {
        let room_mm = self
            .leg(corner.before)
            .length_mm()
            .min(self.leg(corner.after).length_mm());
        self.shortest(corner, room_mm).limb_mm
    }

    fn shortest(&self, corner: Corner, room_mm: f64) -> Blend {
        let mut best = None::<Blend>;
        for limb_mm in self.limbs_mm(corner, room_mm) {
            let blend = self.blend_with(corner, limb_mm);
            if best.as_ref().is_none_or(|b| blend.strain() < b.strain()) {
                best = Some(blend);
            }
            if best.as_ref().is_some_and(|b| !self.is_tight(b)) {
                break;
            }
        }
        best.unwrap_or_else(|| self.blend_with(corner, room_mm))
    }

    /// Limb wished for: it starts where the parent's wall gives way.
    fn limb_wished(&self, corner: Corner, needed_mm: f64) -> f64 {
        let (a, b) = self.radii(corner);
        (a + b).max(needed_mm)
    }

    /// How far the tube of the narrower radius reaches through all the walls in the middle of a
    /// blend, where it cuts the corner most.
    fn excess(&self, corner: Corner, blend: &Blend) -> f64 {
        /// The start is next to the foot and the curves turn little on the way: 4 steps are within
        /// a few hundredths of a millimetre.
        const STEPS: u32 = 4;
        let Some(middle) = blend.pieces.last().map(|p| p.frame.origin_mm) else {
            return 0.0;
        };
        (corner.before..=corner.after)
            .map(|i| {
                let Leg {
                    branch,
                    from_mm,
                    to_mm,
                } = self.leg(i);
                let branch = &self.tree.branches[branch];
                // the foot of the perpendicular on the branch, beyond the ostium too
                let mut at_mm = match i {
                    i if i == corner.before => to_mm,
                    i if i == corner.after => from_mm,
                    _ => 0.5 * (from_mm + to_mm),
                };
                for _ in 0..STEPS {
                    let foot = branch.curve.frame_at(at_mm);
                    at_mm = (at_mm + (middle - foot.origin_mm).dot(&foot.tangent))
                        .clamp(0.0, branch.curve.length_mm());
                }
                let distance_mm = (branch.curve.point_at(at_mm) - middle).norm();
                distance_mm + blend.narrower_mm() - 0.5 * branch.lumen.diameter_at(at_mm)
            })
            .fold(f64::INFINITY, f64::min)
    }

    /// One corner between any two legs, those too close together merged, and the limb that each needs, mm.
    fn corners(&self) -> (Vec<Corner>, Vec<f64>) {
        let mut corners: Vec<Corner> = (1..self.spans.len())
            .map(|after| Corner {
                before: after - 1,
                after,
            })
            .collect();
        let mut needed: Vec<f64> = corners.iter().map(|c| self.limb_needed(*c)).collect();
        while let Some(i) = (1..corners.len())
            .find(|&i| self.leg(corners[i].before).length_mm() < needed[i - 1] + needed[i])
        {
            corners[i - 1].after = corners[i].after;
            needed[i - 1] = self.limb_needed(corners[i - 1]);
            corners.remove(i);
            needed.remove(i);
        }
        (corners, needed)
    }

    /// The widest bend up to the limb wished for that stays within the walls, unless that is too
    /// tight: then the least wide that is not.
    fn blend(&self, corner: Corner, wished_mm: f64, room_mm: f64) -> Blend {
        let limbs: Vec<f64> = self.limbs_mm(corner, room_mm.min(wished_mm)).collect();
        limbs
            .iter()
            .rev()
            .map(|limb_mm| self.blend_with(corner, *limb_mm))
            .find(|b| self.excess(corner, b) <= ROUNDED_EDGE * b.narrower_mm())
            .filter(|b| !self.is_tight(b))
            .unwrap_or_else(|| self.shortest(corner, room_mm))
    }

    fn blend_with(&self, corner: Corner, limb_mm: f64) -> Blend {
        let leave_mm = self.leg(corner.before).length_mm() - limb_mm;
        let pieces = biarc(
            self.heading(corner.before, leave_mm),
            self.heading(corner.after, limb_mm),
        );
        let curvature_per_mm = pieces
            .iter()
            .map(|(piece, turn_rad)| turn_rad / piece.length_mm)
            // limbs that end at one point leave no way between them
            .map(|k| if k.is_nan() { f64::INFINITY } else { k })
            .fold(0.0, f64::max);
        Blend {
            limb_mm,
            length_mm: pieces.iter().map(|(piece, _)| piece.length_mm).sum(),
            pieces: pieces.into_iter().map(|(piece, _)| piece).collect(),
            curvature_per_mm,
            radius_before_mm: self.radius(corner.before, leave_mm),
            radius_after_mm: self.radius(corner.after, limb_mm),
        }
    }

    fn blends(&self, corners: &[Corner], needed: &[f64]) -> Vec<Blend> {
        // of a leg with a corner at both ends each has what it needs and half of what is left
        let share = |leg: usize, own: usize, neighbour: Option<usize>| {
            let length_mm = self.leg(leg).length_mm();
            match neighbour.and_then(|n| needed.get(n)) {
                Some(other_mm) => needed[own] + 0.5 * (length_mm - needed[own] - other_mm),
                None => length_mm,
            }
        };
        (0..corners.len())
            .map(|i| {
                let room_mm = share(corners[i].before, i, i.checked_sub(1)).min(share(
                    corners[i].after,
                    i,
                    Some(i + 1),
                ));
                let wished_mm = self.limb_wished(corners[i], needed[i]);
                self.blend(corners[i], wished_mm, room_mm)
            })
            .collect()
    }

    fn refuse(&self, corner: Corner, blend: &Blend) -> GeometryError {
        let name = |leg: usize| &self.tree.branches[self.leg(leg).branch].name;
        GeometryError::SelfOverlap {
            station_mm: self.spans[corner.after].raw_mm,
            place: format!(
                "the turn from `{}` into `{}`",
                name(corner.before),
                name(corner.after)
            ),
            curvature_per_mm: blend.curvature_per_mm,
            radius_mm: blend.narrower_mm(),
            limit: self.overlap_limit,
        }
    }

    pub(super) fn assemble(&self) -> Result<Whole, GeometryError> {
        let (corners, needed) = self.corners();
        let mut blends = self.blends(&corners, &needed);
        // usable radius at both ends of every blend
        let mut ends = Vec::with_capacity(blends.len());
        for (corner, blend) in corners.iter().zip(&blends) {
            let cap_mm = self.overlap_limit / blend.curvature_per_mm;
            if blend.narrower_mm() > cap_mm {
                return Err(self.refuse(*corner, blend));
            }
            ends.push((
                blend.radius_before_mm.min(cap_mm),
                blend.radius_after_mm.min(cap_mm),
            ));
        }
        let mut whole = Whole::default();
        for i in 0..=blends.len() {
            let leg = if i == 0 { 0 } else { corners[i - 1].after };
            let from_mm = if i == 0 { 0.0 } else { blends[i - 1].limb_mm };
            let to_mm = self.leg(leg).length_mm() - blends.get(i).map_or(0.0, |b| b.limb_mm);
            if to_mm - from_mm <= SLIVER_MM && i > 0 && i < blends.len() {
                let common = ends[i - 1].1.min(ends[i].0);
                ends[i - 1].1 = common;
                ends[i].0 = common;
            }
            let start_mm = whole.length_mm();
            if i > 0 {
                let drawn = through_ostium(2.0 * ends[i - 1].0, 2.0 * ends[i - 1].1);
                let blend_mm = blends[i - 1].length_mm;
                let blend_from = start_mm - blend_mm;
                whole
                    .diameters
                    .extend(drawn.map(|(share, d)| (blend_from + share * blend_mm, d)));
            }
            let kept = Kept {
                leg,
                from_mm,
                to_mm,
                radius_from_mm: i.checked_sub(1).map(|k| ends[k].1),
                radius_to_mm: ends.get(i).map(|e| e.0),
            };
            self.keep(&kept, &mut whole);
            if let Some(blend) = blends.get_mut(i) {
                whole.pieces_extend(std::mem::take(&mut blend.pieces));
            }
        }
        Ok(whole)
    }

    /// Appends what is left of a leg between its blends.
    fn keep(&self, kept: &Kept, whole: &mut Whole) {
        let leg = self.leg(kept.leg);
        let branch = &self.tree.branches[leg.branch];
        let on_branch = |along_mm: f64| leg.from_mm + leg.sense() * along_mm;
        let start_mm = whole.length_mm();
        let length_mm = (kept.to_mm - kept.from_mm).max(0.0);
        let raw_mm = self.spans[kept.leg].raw_mm + kept.from_mm;
        whole.map.push((raw_mm, start_mm));
        whole.map.push((raw_mm + length_mm, start_mm + length_mm));
        for at_mm in [start_mm, start_mm + length_mm] {
            whole
                .stiffness
                .push((at_mm, branch.wall_stiffness_n_per_mm2));
        }
        if length_mm <= SLIVER_MM {
            return;
        }
        whole.pieces_extend(
            branch
                .curve
                .parts(on_branch(kept.from_mm), on_branch(kept.to_mm)),
        );
        let healthy = |along_mm: f64| branch.lumen.diameter_at(on_branch(along_mm));
        let inside = |along_mm: &f64| *along_mm > kept.from_mm && *along_mm < kept.to_mm;
        let mut drawn: Vec<(f64, f64)> = branch
            .lumen
            .knots_mm
            .iter()
            .map(|&(at_mm, d)| ((at_mm - leg.from_mm) * leg.sense(), d))
            .filter(|(along_mm, _)| inside(along_mm))
            .collect();
        if leg.sense() < 0.0 {
            drawn.reverse();
        }
        drawn.push((kept.from_mm, healthy(kept.from_mm)));
        drawn.push((kept.to_mm, healthy(kept.to_mm)));
        // the usable radius comes down to the blend's over one lumen radius
        let most_mm = if kept.radius_from_mm.is_some() && kept.radius_to_mm.is_some() {
            0.5 * length_mm
        } else {
            length_mm
        };
        let approaches = [
            (kept.from_mm, kept.radius_from_mm, 1.0),
            (kept.to_mm, kept.radius_to_mm, -1.0),
        ]
        .map(|(end_mm, radius_mm, inwards)| {
            let full_mm = healthy(end_mm);
            let drop_mm = radius_mm.map_or(0.0, |r| (full_mm - 2.0 * r).max(0.0));
            (end_mm, drop_mm, inwards, (0.5 * full_mm).min(most_mm))
        });
        for (end_mm, drop_mm, inwards, reach_mm) in approaches {
            if drop_mm > 0.0 {
                drawn.extend((1..=STEP_CELLS).map(|k| {
                    let along_mm =
                        end_mm + inwards * reach_mm * f64::from(k) / f64::from(STEP_CELLS);
                    (along_mm, healthy(along_mm))
                }));
            }
        }
        // stable, so that steps of the lumen keep their order
        drawn.sort_by(|a, b| a.0.total_cmp(&b.0));
        whole
            .diameters
            .extend(drawn.into_iter().map(|(along_mm, d)| {
                let dip_mm: f64 = approaches
                    .iter()
                    .map(|(end_mm, drop_mm, _, reach_mm)| {
                        let share = ((along_mm - end_mm).abs() / reach_mm).min(1.0);
                        drop_mm * (1.0 - step(share))
                    })
                    .sum();
                (start_mm + along_mm - kept.from_mm, d - dip_mm)
            }));
    }
}

/// What is left of a leg, and the usable radii the blends beside it start from.
struct Kept {
    leg: usize,
    from_mm: f64,
    to_mm: f64,
    radius_from_mm: Option<f64>,
    radius_to_mm: Option<f64>,
}

/// The smooth step `t^2 (3 - 2 t)`.
fn step(t: f64) -> f64 {
    t * t * (3.0 - 2.0 * t)
}

/// A smooth step from one diameter to the other over that half of a blend that lies in the wider
/// lumen, since in its middle it passes the edge of the narrower: share of the length and diameter.
fn through_ostium(from: f64, to: f64) -> impl Iterator<Item = (f64, f64)> {
    let start = if from >= to { 0.0 } else { 0.5 };
    let step = (0..=STEP_CELLS).map(move |k| {
        let share = f64::from(k) / f64::from(STEP_CELLS);
        (start + 0.5 * share, from + (to - from) * step(share))
    });
    std::iter::once((0.0, from))
        .chain(step)
        .chain(std::iter::once((1.0, to)))
}

/// Two arcs that lead from one heading to another without a corner, with the turn of each; the
/// joint is chosen so that its distance from both ends' tangent lines is the same.
///
/// # References
/// Bolton (1975), Biarc curves, *Computer-Aided Design* 7(2), 89-92 (from memory).
fn biarc(start: (Point, Vector), end: (Point, Vector)) -> [(Piece, f64); 2] {
    let chord = end.0 - start.0;
    let sum = start.1 + end.1;
    let openness = 2.0 * (1.0 - start.1.dot(&end.1));
    let along = chord.dot(&sum);
    let square = chord.norm_squared();
    // root of openness d^2 + 2 along d - square = 0, in the form that survives openness -> 0
    let tangent_mm = square / (along + (along * along + openness * square).sqrt());
    let joint = start.0 + (chord + (start.1 - end.1) * tangent_mm) * 0.5;
    let first = arc(start.0, start.1, joint);
    // a circle meets its chord at the same angle at both ends: mirror the tangent in the chord
    let way = (joint - start.0).normalize();
    let passing = way * (2.0 * start.1.dot(&way)) - start.1;
    let second = arc(joint, passing, end.0);
    [first, second]
}

/// The circular arc from a point along a tangent to another point, and its turn.
fn arc(from: Point, tangent: Vector, to: Point) -> (Piece, f64) {
    let chord = to - from;
    let aside = chord - tangent * tangent.dot(&chord);
    let half_turn = math::atan2(aside.norm(), chord.dot(&tangent));
    let frame = Frame::new(from, tangent, aside);
    let length_mm = if half_turn > 0.0 {
        chord.norm() * half_turn / math::sin(half_turn)
    } else {
        chord.norm()
    };
    let turn_rad = 2.0 * half_turn;
    let shape = Shape::Arc {
        turn_rad,
        roll_rad: 0.0,
    };
    (Piece::new(frame, length_mm, shape), turn_rad)
}
