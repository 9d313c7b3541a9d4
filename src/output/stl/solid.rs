//! The vessel as a solid: a union of cones along its centre lines, cut square at open ends, and how finely it
//! has to be looked at.
//!
//! Every function here changes at most [`STEEPEST`] times as fast as distance; `tets.rs` rests on that.

use super::cones::{Cone, Cones, GRADING, LastAsked};
use crate::geometry::{Branch, Landmark, Lesion, Point, Tree, Vector};
use crate::math;

/// Narrowest lumen that is made, mm: what is shut in the patient cannot be flushed in a phantom.
const NARROWEST_MM: f64 = 0.3;

/// Functions whose signs make the solid: outside the lumen, inside the wall's outer side, not cut off.
pub(super) const FUNCTIONS: usize = 3;

/// Change of any of them over distance: that of roundings' widths is a quarter, and a quarter of that counts.
pub(super) const STEEPEST: f64 = 1.0625;
/// Of a function that changes its sign nowhere.
const NEVER: f64 = 1e9;
/// Branches near a part of space whose distances from a place are kept: more than meet in any artery.
const FEW: usize = 32;
/// Whoever looks at a part of space only needs to know the ends within this of it, mm.
pub(super) const FAR_MM: f64 = 8.0;

/// An end that is cut open.
#[derive(Debug)]
pub(super) struct End {
    /// From the end outwards, as far as the lumen is led on, with its radius there.
    lumen: Cone,
    /// Away from the vessel.
    out: Vector,
    /// What is cut off lies in this, beyond the plane of the cut.
    within: Cone,
}

impl End {
    fn new(lumen: Cone, out: Vector, ahead_mm: f64, wall_mm: f64) -> Self {
        let b = lumen.a + out * ahead_mm;
        let radius_mm = 1.3 * (lumen.radius_a_mm + wall_mm) + 3.0 * lumen.size_mm;
        let within = Cone {
            b,
            radius_a_mm: radius_mm,
            radius_b_mm: radius_mm,
            ..lumen.clone()
        };
        Self {
            lumen: Cone { b, ..lumen },
            out,
            within,
        }
    }

    /// Distance from the plane of the cut, positive beyond it, mm.
    fn beyond_mm(&self, p: &Point) -> f64 {
        (p - self.lumen.a).dot(&self.out)
    }
}

/// Two branches that meet, and how wide the crease between them is rounded.
///
/// Towards its bottom a crease gets narrower than any facet, and what is taken from single places would bridge
/// it here and there.
#[derive(Debug)]
pub(super) struct Joint {
    at: Point,
    branches: [usize; 2],
    /// Widths of the rounding on the lumen and on the outer side, mm.
    widths_mm: [f64; 2],
    /// Distance up to which it is as wide as that, mm.
    within_mm: f64,
}

impl Joint {
    /// Distance over which the rounding fades, over its width: it changes by a quarter of a way.
    const FADES: f64 = 4.0;

    /// How much of the rounding is left at a place.
    fn share(&self, p: &Point) -> f64 {
        let beyond_mm = (p - self.at).norm() - self.within_mm;
        (1.0 - beyond_mm / (Self::FADES * self.widths_mm[1])).clamp(0.0, 1.0)
    }
}

/// The lesser of two distances, rounded where they differ by less than a width.
fn rounded(a: f64, b: f64, width: f64) -> f64 {
    let near = (width - (a - b).abs()).max(0.0);
    let fill = if width > 0.0 {
        near * near / (4.0 * width)
    } else {
        0.0
    };
    a.min(b) - fill
}

/// What of a solid matters in a part of space.
#[derive(Debug)]
pub(super) struct Near<'a> {
    ends: Vec<&'a End>,
    /// Each with the places of its branches among those that meet here.
    joints: Vec<(&'a Joint, [usize; 2])>,
    /// Branches that meet here.
    branches: Vec<usize>,
    /// Widest rounding, mm.
    widest_mm: f64,
    /// Cones of which one may be the nearest.
    cones: Cones,
    /// The distance that was asked for last.
    last: LastAsked,
}

/// What is made of the vessel.
#[derive(Debug)]
pub(super) struct Solid<'a> {
    tree: &'a Tree,
    cones: Cones,
    /// The same branch by branch.
    limbs: Vec<Cones>,
    ends: Vec<End>,
    joints: Vec<Joint>,
    wall_mm: Option<f64>,
}

/// A place on a centre line with what is made there.
#[derive(Debug, Clone, Copy)]
struct Section {
    s_mm: f64,
    at: Point,
    radius_mm: f64,
    /// Radius of the largest ball round the place within the profile.
    ball_mm: f64,
}

/// How fine facets are.
struct Facets {
    /// Largest edge over the radius.
    share: f64,
    wall_mm: Option<f64>,
}

impl Facets {
    /// Largest edge on a lumen of a radius, mm.
    fn size_mm(&self, radius_mm: f64) -> f64 {
        /// Facets leave the outer side of a wall by a tenth of its thickness where they are as long as the root
        /// of this times wall and outer radius: an even facet's middle lies `edge^2 / (6 radius)` within.
        const EVEN_WALL: f64 = 0.6;
        let even = self
            .wall_mm
            .map(|w| (EVEN_WALL * w * (radius_mm + w)).sqrt());
        even.unwrap_or(f64::INFINITY).min(self.share * radius_mm)
    }

    /// Facets lie within round walls; a radius larger by as much, so that volumes hold.
    fn fuller(&self, radius_mm: f64) -> f64 {
        /// By this share of the radius times the square of their size over the radius (measured on straight and
        /// bent tubes).
        const WITHIN: f64 = 0.0141;
        let share = self.size_mm(radius_mm) / radius_mm;
        radius_mm * (1.0 + WITHIN * share * share)
    }
}

/// One branch.
struct Limb<'a> {
    own: usize,
    branch: &'a Branch,
    lesions: Vec<&'a Lesion>,
    facets: &'a Facets,
}

impl Limb<'_> {
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

    /// Places so near to each other that straight cones between them leave the lumen by less than a
    /// hundredth of its radius, steps of the lumen and ends of lesions among them.
    fn places_mm(&self) -> Vec<f64> {
        /// Steps of the lumen are this long, mm.
        const STEP_MM: f64 = 1e-4;
        /// Chords leave arcs by this share of the radius.
        const SAG: f64 = 0.002;
        /// Sections of a lesion.
        const IN_A_LESION: f64 = 48.0;
        let length_mm = self.branch.curve.length_mm();
        let mut kinks: Vec<f64> = self.branch.lumen.knots_mm.iter().map(|k| k.0).collect();
        kinks.extend(kinks.clone().iter().map(|k| k - STEP_MM));
        for lesion in &self.lesions {
            kinks.extend([0.0, 0.5, 1.0].map(|x| lesion.start_mm + x * lesion.length_mm));
        }
        kinks.retain(|k| *k > 0.0 && *k < length_mm);
        kinks.push(length_mm);
        kinks.sort_by(f64::total_cmp);
        let mut found = vec![0.0];
        let mut from_mm = 0.0;
        for to_mm in kinks {
            while from_mm < to_mm {
                let radius_mm = self.radius_mm(from_mm);
                let sharpest = [0.0, 0.25, 0.5, 0.75, 1.0]
                    .map(|share| self.branch.curve.curvature_at(from_mm + share * radius_mm))
                    .into_iter()
                    .fold(1e-9, f64::max);
                let bend_mm = (8.0 * SAG * radius_mm / sharpest).sqrt();
                let in_lesion = self
                    .lesions
                    .iter()
                    .filter(|l| from_mm >= l.start_mm && from_mm < l.start_mm + l.length_mm)
                    .map(|l| l.length_mm / IN_A_LESION)
                    .fold(f64::INFINITY, f64::min);
                let step_mm = radius_mm.min(bend_mm).min(in_lesion).max(0.05);
                // no crumb before the kink
                from_mm = if from_mm + 1.3 * step_mm >= to_mm {
                    to_mm
                } else {
                    from_mm + step_mm
                };
                found.push(from_mm);
            }
        }
        found
    }

    fn sections(&self) -> Vec<Section> {
        let mut sections: Vec<Section> = self
            .places_mm()
            .into_iter()
            .map(|s_mm| {
                let radius_mm = self.facets.fuller(self.radius_mm(s_mm));
                Section {
                    s_mm,
                    at: self.branch.curve.point_at(s_mm),
                    radius_mm,
                    ball_mm: radius_mm,
                }
            })
            .collect();
        for i in 0..sections.len() {
            let own = sections[i];
            let (before, after) = sections.split_at(i);
            let near = |other: &&Section| (other.s_mm - own.s_mm).abs() < own.radius_mm;
            let around = before.iter().rev().take_while(near);
            let around = around.chain(after.iter().take_while(near));
            let least = around
                .map(|other| {
                    let along_mm = other.s_mm - own.s_mm;
                    (along_mm * along_mm + other.radius_mm * other.radius_mm).sqrt()
                })
                .fold(own.radius_mm, f64::min);
            sections[i].ball_mm = least;
        }
        sections
    }

    /// Hulls of balls, which fill bends; where the lumen tapers in a curve or steps the slices between its
    /// sections, which fill corners that balls do not reach.
    fn cones(&self) -> Vec<Cone> {
        /// Balls below this share of the section leave something out.
        const FILLS: f64 = 0.998;
        let sections = self.sections();
        let chords: Vec<Vector> = sections
            .windows(2)
            .map(|pair| pair[1].at - pair[0].at)
            .collect();
        let filled = |s: Section| s.ball_mm >= FILLS * s.radius_mm;
        let mut cones = Vec::with_capacity(sections.len());
        for (i, pair) in sections.windows(2).enumerate() {
            let (a, b) = (pair[0], pair[1]);
            let round = Cone {
                a: a.at,
                b: b.at,
                radius_a_mm: a.ball_mm,
                radius_b_mm: b.ball_mm,
                flat: false,
                size_mm: self.facets.size_mm(a.radius_mm.min(b.radius_mm)),
                branch: self.own,
                at_mm: f64::midpoint(a.s_mm, b.s_mm),
                ends: [None; 2],
            };
            if !(filled(a) && filled(b)) {
                let flat = Cone {
                    radius_a_mm: a.radius_mm,
                    radius_b_mm: b.radius_mm,
                    flat: true,
                    ..round.clone()
                };
                let before = i.checked_sub(1).map(|k| chords[k]);
                cones.push(overlapping(flat, before, chords.get(i + 1).copied()));
            }
            cones.push(round);
        }
        cones
    }

    /// The end at a branch's start or end; its plane cuts the cones of `own` that reach it.
    fn end(&self, side: usize, index: usize, wall_mm: f64, own: &mut [Cone]) -> End {
        let curve = &self.branch.curve;
        let (at_mm, frame, sense) = if side == 0 {
            (0.0, curve.start(), -1.0)
        } else {
            (curve.length_mm(), curve.end(), 1.0)
        };
        let radius_mm = self.facets.fuller(self.radius_mm(at_mm));
        let lumen = Cone {
            a: frame.origin_mm,
            b: frame.origin_mm,
            radius_a_mm: radius_mm,
            radius_b_mm: radius_mm,
            flat: false,
            size_mm: self.facets.size_mm(radius_mm),
            branch: self.own,
            at_mm,
            ends: [Some(index), None],
        };
        let end = End::new(lumen, frame.tangent * sense, 0.0, wall_mm);
        let reaches = |cone: &&mut Cone| {
            let off_mm = end.beyond_mm(&cone.a).max(end.beyond_mm(&cone.b));
            off_mm + 1.05 * (cone.radius_a_mm.max(cone.radius_b_mm) + wall_mm) > -0.1
        };
        let mark = |cone: &mut Cone| cone.ends[side] = Some(index);
        if side == 0 {
            own.iter_mut().take_while(reaches).for_each(mark);
        } else {
            own.iter_mut().rev().take_while(reaches).for_each(mark);
        }
        end
    }
}

/// A slice that reaches a little into its neighbours, which lie along `before` and `after`: in a bend flat slices
/// leave slits between them on its outer side.
fn overlapping(slice: Cone, before: Option<Vector>, after: Option<Vector>) -> Cone {
    /// More than half of the angle between neighbours.
    const OVER: f64 = 0.6;
    /// Steps of the lumen are as short as this, mm, and stay.
    const STEP_MM: f64 = 0.01;
    let axis = slice.b - slice.a;
    let length_mm = axis.norm();
    if length_mm < STEP_MM {
        return slice;
    }
    let along = axis / length_mm;
    let widens = (slice.radius_b_mm - slice.radius_a_mm) / length_mm;
    let reach_mm = |neighbour: Option<Vector>, radius_mm: f64| {
        let turned = neighbour.and_then(|chord| chord.try_normalize(1e-12));
        turned.map_or(0.0, |way| OVER * radius_mm * (way - along).norm())
    };
    let back_mm = reach_mm(before, slice.radius_a_mm);
    let on_mm = reach_mm(after, slice.radius_b_mm);
    Cone {
        a: slice.a - along * back_mm,
        b: slice.b + along * on_mm,
        radius_a_mm: (slice.radius_a_mm - widens * back_mm).max(0.0),
        radius_b_mm: (slice.radius_b_mm + widens * on_mm).max(0.0),
        ..slice
    }
}

/// Which of a branch's ends are cut open: where another one that is made begins or ends, it leads on.
fn open_ends(tree: &Tree, made: &[bool]) -> Vec<[bool; 2]> {
    let mut open: Vec<[bool; 2]> = tree
        .branches
        .iter()
        .map(|branch| [branch.ostium.is_none_or(|o| !made[o.branch]), true])
        .collect();
    for (child, _) in tree.branches.iter().zip(made).filter(|(_, made)| **made) {
        let Some(ostium) = child.ostium else {
            continue;
        };
        let parent = &tree.branches[ostium.branch];
        let length_mm = parent.curve.length_mm();
        for (end, at_mm) in [0.0, length_mm].into_iter().enumerate() {
            let near_mm = 0.5 * parent.lumen.diameter_at(at_mm);
            if (ostium.at_mm - at_mm).abs() < near_mm {
                open[ostium.branch][end] = false;
            }
        }
    }
    open
}

/// Branches that meet: each that is made with its parent, and with those that leave the parent near it.
fn joints(tree: &Tree, made: &[bool], facets: &Facets) -> Vec<Joint> {
    /// The reach of a rounding over the sum of both radii: at a shallow angle the crease is long.
    const REACH: f64 = 3.0;
    /// Width of the rounding over the size of facets: they cannot leap across what is left open.
    const WIDTH: f64 = 2.0;
    let radius_mm =
        |branch: usize, at_mm: f64| 0.5 * tree.branches[branch].lumen.diameter_at(at_mm);
    let joint = |branches: [usize; 2], at: Point, radii_mm: [f64; 2]| {
        let size_mm = facets.size_mm(radii_mm[0].min(radii_mm[1]));
        let outer_mm = size_mm + GRADING * facets.wall_mm.unwrap_or(0.0);
        Joint {
            at,
            branches,
            widths_mm: [WIDTH * size_mm, WIDTH * outer_mm],
            within_mm: REACH * (radii_mm[0] + radii_mm[1] + facets.wall_mm.unwrap_or(0.0)),
        }
    };
    let mut children: Vec<(usize, f64, usize)> = tree
        .branches
        .iter()
        .enumerate()
        .filter(|(own, _)| made[*own])
        .filter_map(|(own, branch)| branch.ostium.map(|o| (o.branch, o.at_mm, own)))
        .collect();
    children.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut found = Vec::new();
    for (i, (parent, at_mm, own)) in children.iter().enumerate() {
        let at = tree.branches[*own].curve.point_at(0.0);
        let own_mm = radius_mm(*own, 0.0);
        if made[*parent] {
            let radii_mm = [own_mm, radius_mm(*parent, *at_mm)];
            found.push(joint([*own, *parent], at, radii_mm));
        }
        for (other_parent, other_at_mm, other) in &children[i + 1..] {
            let radii_mm = [own_mm, radius_mm(*other, 0.0)];
            let apart_mm = other_at_mm - at_mm;
            if other_parent != parent || apart_mm > REACH * (own_mm + radius_mm(*parent, *at_mm)) {
                break;
            }
            found.push(joint([*own, *other], at, radii_mm));
        }
    }
    found
}

impl<'a> Solid<'a> {
    /// The lumen of the branches that are made, or a wall of a thickness round it; `facet` is the largest edge
    /// over the radius.
    pub(super) fn new(tree: &'a Tree, made: &[bool], wall_mm: Option<f64>, facet: f64) -> Self {
        let facets = Facets {
            share: facet,
            wall_mm,
        };
        let mut lesions: Vec<Vec<&Lesion>> = vec![Vec::new(); tree.branches.len()];
        for lesion in &tree.lesions {
            lesions[lesion.branch].push(lesion);
        }
        let open = open_ends(tree, made);
        let (mut cones, mut ends) = (Vec::new(), Vec::new());
        for (own, branch) in tree.branches.iter().enumerate().filter(|(i, _)| made[*i]) {
            let limb = Limb {
                own,
                branch,
                lesions: std::mem::take(&mut lesions[own]),
                facets: &facets,
            };
            let mut found = limb.cones();
            for side in [0, 1].into_iter().filter(|side| open[own][*side]) {
                ends.push(limb.end(side, ends.len(), wall_mm.unwrap_or(0.0), &mut found));
            }
            cones.extend(found);
        }
        let short = Self {
            tree,
            cones: Cones::new(cones),
            limbs: Vec::new(),
            ends,
            joints: joints(tree, made, &facets),
            wall_mm,
        };
        short.led_out()
    }

    /// With the lumen led on beyond its open ends, so that facets meet the cut at right angles; where the cut
    /// lies within the wall of another branch, out of that.
    fn led_out(self) -> Self {
        let wall_mm = self.wall_mm.unwrap_or(0.0);
        let longer = |end: &End| {
            let radius_mm = end.lumen.radius_a_mm;
            let step_mm = 0.25 * radius_mm;
            let mut ahead_mm = step_mm;
            let mut covered_mm = 0.0;
            while ahead_mm < 2.0 * (radius_mm + wall_mm) {
                if self.kept_mm(
                    &self.cones,
                    &(end.lumen.a + end.out * ahead_mm),
                    f64::INFINITY,
                ) < 0.0
                {
                    covered_mm = ahead_mm;
                }
                ahead_mm += step_mm;
            }
            let ahead_mm = covered_mm + 2.0 * step_mm;
            End::new(end.lumen.clone(), end.out, ahead_mm, wall_mm)
        };
        let ends: Vec<End> = self.ends.iter().map(longer).collect();
        let mut cones = self.cones.all().to_vec();
        cones.extend(ends.iter().map(|end| end.lumen.clone()));
        let mut limbs: Vec<Vec<Cone>> = vec![Vec::new(); self.tree.branches.len()];
        for cone in &cones {
            limbs[cone.branch].push(cone.clone());
        }
        Self {
            cones: Cones::new(cones),
            limbs: limbs.into_iter().map(Cones::new).collect(),
            ends,
            ..self
        }
    }

    pub(super) fn cones(&self) -> &Cones {
        &self.cones
    }

    pub(super) fn wall_mm(&self) -> f64 {
        self.wall_mm.unwrap_or(0.0)
    }

    /// How far the outer side lies from the cones at most, mm: roundings fill a quarter of their width.
    pub(super) fn most_beyond_mm(&self) -> f64 {
        let widths = self.joints.iter().map(|joint| joint.widths_mm[1]);
        self.wall_mm() + 0.25 * widths.fold(0.0, f64::max)
    }

    /// What matters within a distance of a place.
    pub(super) fn near(&self, p: &Point, within_mm: f64) -> Near<'_> {
        let end = |end: &&End| end.within.distance_mm(p) < within_mm + FAR_MM;
        let reaches = |joint: &&Joint| {
            let reach_mm = joint.within_mm + Joint::FADES * joint.widths_mm[1];
            (p - joint.at).norm() < within_mm + reach_mm
        };
        let mut near = Near {
            ends: self.ends.iter().filter(end).collect(),
            joints: Vec::new(),
            branches: Vec::new(),
            widest_mm: 0.0,
            cones: self.cones.nearest_within(p, within_mm),
            last: LastAsked::nothing(),
        };
        for joint in self.joints.iter().filter(reaches) {
            let places = joint.branches.map(|branch| {
                let known = near.branches.iter().position(|known| *known == branch);
                known.unwrap_or_else(|| {
                    near.branches.push(branch);
                    near.branches.len() - 1
                })
            });
            near.joints.push((joint, places));
            near.widest_mm = near.widest_mm.max(joint.widths_mm[1]);
        }
        near
    }

    /// A distance with what joints fill of their creases, rounded as on the lumen and as on the outer side, mm.
    ///
    /// `of_limb` gives the distance from a branch up to a bound: farther branches leave a crease as it is. A branch
    /// meets many others where these lie close, and is asked once.
    fn with_creases(
        &self,
        p: &Point,
        near: &Near,
        least_mm: f64,
        of_limb: impl Fn(&Cones, f64) -> f64,
    ) -> [f64; 2] {
        let mut filled_mm = [least_mm; 2];
        let mut known_mm = [None; FEW];
        let most_mm = least_mm + 1.25 * near.widest_mm;
        let mut of_branch = |place: usize, reach_mm: f64| {
            let limb = &self.limbs[near.branches[place]];
            let Some(known) = known_mm.get_mut(place) else {
                return of_limb(limb, reach_mm);
            };
            known
                .get_or_insert_with(|| of_limb(limb, most_mm))
                .min(reach_mm)
        };
        for (joint, [own, other]) in &near.joints {
            let share = joint.share(p);
            if share <= 0.0 {
                continue;
            }
            let widths_mm = joint.widths_mm.map(|width_mm| share * width_mm);
            // it reaches no farther than its width, and fills no more than a quarter of that
            let reach_mm = least_mm + 1.25 * widths_mm[1];
            let own_mm = of_branch(*own, reach_mm);
            if own_mm >= reach_mm {
                continue;
            }
            let other_mm = of_branch(*other, reach_mm);
            for (filled_mm, width_mm) in filled_mm.iter_mut().zip(widths_mm) {
                *filled_mm = filled_mm.min(rounded(own_mm, other_mm, width_mm));
            }
        }
        filled_mm
    }

    /// Distances to the lumen, mm, with the creases between branches rounded as on the lumen and as on the
    /// outer side.
    fn lumen_mm(&self, p: &Point, near: &Near) -> [f64; 2] {
        let least_mm = near
            .last
            .value(p, 1.0, |below_mm| near.cones.distance_below_mm(p, below_mm));
        self.with_creases(p, near, least_mm, |limb, below_mm| {
            limb.distance_below_mm(p, below_mm)
        })
    }

    /// Distance from what is kept of some cones, every branch with its own ends cut, mm; no more than a bound.
    fn kept_mm(&self, cones: &Cones, p: &Point, below_mm: f64) -> f64 {
        let wall_mm = self.wall_mm();
        let cut = |cone: &Cone, distance_mm: f64| {
            let ends = cone.ends.iter().flatten();
            ends.map(|i| self.ends[*i].beyond_mm(p) + wall_mm)
                .fold(distance_mm, f64::max)
        };
        cones.least_of_below(p, below_mm + wall_mm, cut) - wall_mm
    }

    /// The same of all of the outer side, mm, with creases rounded: where branches are made without the one
    /// that they leave, their cut ends meet in one as sharp as any.
    fn kept_of_all_mm(&self, p: &Point, near: &Near) -> f64 {
        let least_mm = self.kept_mm(&self.cones, p, f64::INFINITY);
        let filled_mm = self.with_creases(p, near, least_mm, |limb, below_mm| {
            self.kept_mm(limb, p, below_mm)
        });
        filled_mm[1]
    }

    /// Positive where nothing is cut off, mm.
    ///
    /// Cut off is what lies beyond an end's plane unless it belongs to something else. The plane's distance
    /// stands here as it is, so that facets cut it flat.
    fn uncut_mm(&self, p: &Point, near: &Near) -> f64 {
        if near.ends.is_empty() {
            return NEVER;
        }
        let within = |end: &&End| end.within.distance_mm(p).max(-end.beyond_mm(p));
        let nearest_mm = near.ends.iter().map(within).fold(FAR_MM, f64::min);
        if nearest_mm >= FAR_MM {
            return FAR_MM;
        }
        nearest_mm.max(-self.kept_of_all_mm(p, near)).min(FAR_MM)
    }

    /// All functions at a place.
    pub(super) fn values(&self, p: &Point, near: &Near) -> [f64; FUNCTIONS] {
        let [lumen_mm, outer_mm] = self.lumen_mm(p, near);
        let uncut_mm = self.uncut_mm(p, near);
        match self.wall_mm {
            Some(wall_mm) => [lumen_mm, outer_mm - wall_mm, uncut_mm],
            None => [NEVER, lumen_mm, uncut_mm],
        }
    }

    /// One of them.
    pub(super) fn value(&self, which: usize, p: &Point, near: &Near) -> f64 {
        if which == 2 {
            self.uncut_mm(p, near)
        } else {
            let [lumen_mm, outer_mm] = self.lumen_mm(p, near);
            match (which, self.wall_mm) {
                (1, Some(wall_mm)) => outer_mm - wall_mm,
                _ => lumen_mm,
            }
        }
    }

    /// A place in words: branch, how far along, and how far from the nearest landmark.
    pub(super) fn place_of(&self, p: &Point) -> String {
        let Some(cone) = self.cones.nearest(p) else {
            return "nowhere".into();
        };
        let on_it = |l: &&Landmark| l.place.branch == cone.branch;
        let away_mm = |l: &&Landmark| cone.at_mm - l.place.at_mm;
        let landmark = self
            .tree
            .landmarks
            .iter()
            .filter(on_it)
            .min_by(|a, b| away_mm(a).abs().total_cmp(&away_mm(b).abs()));
        let name = &self.tree.branches[cone.branch].name;
        let along = format!("in {name}, {:.1} mm from its start", cone.at_mm);
        match landmark {
            Some(landmark) => {
                let by_mm = away_mm(&landmark);
                let side = if by_mm < 0.0 { "before" } else { "beyond" };
                format!("{along} ({:.1} mm {side} {})", by_mm.abs(), landmark.name)
            }
            None => along,
        }
    }
}
