//! What moves: shafts, struts, balloons, clots, each a mesh bound to joints, and plaque that gives way.

use super::motion::{Motion, Pose, Tolerance};
use super::pack::{Pack, Surface};
use super::{GlbSettings, single};
use crate::device::Payload;
use crate::geometry::{Frame, Point, Vector};
use crate::math;
use crate::output::palette::look_of;
use crate::stage::{DrawnDevice, Hoop, Moment, Node, Stage, WireMesh};
use gltf_json::animation::Property;
use std::f64::consts::TAU;

/// Joints of a shaft: spacing (mm) up to a distance from its tip (mm). Tips go round the siphon, what lies
/// further back round the arch.
const SPACING: [(f64, f64); 3] = [(5.0, 180.0), (10.0, 330.0), (20.0, f64::INFINITY)];
/// Hoops between the joints of struts.
const HOOPS_A_JOINT: usize = 6;
/// Joints of a clot or a balloon.
const RINGS: usize = 17;
/// Radius with which rings are bound, mm.
const BOUND_MM: f64 = 1.0;
/// Share of the tolerance that tips keep to, and distance from the tip over which shafts get as loose again,
/// mm.
const TIPS_KEEP: f64 = 0.2;
const LOOSER_MM: f64 = 400.0;
/// Width of what is not there.
const GONE: f32 = 1e-4;

/// What a part is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    Shaft(usize),
    Struts(usize),
    Stent(usize),
    Balloon(usize),
    Clot(usize),
}

#[derive(Debug)]
struct Part {
    what: What,
    name: String,
    motions: Vec<Motion>,
    /// Place of each joint along the axis from the tip or far end, mm.
    along_mm: Vec<f64>,
    /// Radius with which it is bound, mm; for shafts their own.
    bound_mm: f64,
    /// The last look at it, and whether it was there.
    seen: Option<(f32, bool)>,
}

/// Everything that moves.
#[derive(Debug)]
pub(super) struct Cast {
    parts: Vec<Part>,
    plaques: Vec<Motion>,
    /// Residual lumen of each lesion at first and at its widest, mm.
    residual_mm: Vec<[f64; 2]>,
}

impl Cast {
    pub(super) fn new(stage: &Stage) -> Self {
        let ends: Vec<Moment> = (0..stage.timeline.steps.len())
            .map(|step| stage.at_step(step, 1.0))
            .collect();
        let first = stage.at_step(0, 0.0);
        let mut parts = Vec::new();
        for (k, device) in stage.devices.iter().enumerate() {
            let shafts = ends.iter().filter_map(|m| m.device(k));
            let longest_mm = shafts
                .filter_map(|d| Some(d.nodes.first()?.from_tip_mm))
                .fold(0.0, f64::max);
            if longest_mm > 0.0 {
                parts.push(Part::new(
                    What::Shaft(k),
                    device.name.clone(),
                    shaft_joints(longest_mm),
                    0.0,
                ));
            }
            let struts = |m: &Moment| m.device(k).and_then(|d| d.struts.clone());
            if let Some((along_mm, bound_mm)) = sleeve_joints(ends.iter().filter_map(struts)) {
                let name = format!("{} struts", device.name);
                parts.push(Part::new(What::Struts(k), name, along_mm, bound_mm));
            }
            let stent = |m: &Moment| {
                let own = m.stents.iter().find(|s| s.device == k);
                own.map(|s| s.struts.clone())
            };
            if let Some((along_mm, bound_mm)) = sleeve_joints(ends.iter().filter_map(stent)) {
                let name = format!("{} in the vessel", device.name);
                parts.push(Part::new(What::Stent(k), name, along_mm, bound_mm));
            }
            let balloon = |m: &Moment| m.device(k).and_then(|d| d.balloon.clone());
            if let Some(nodes) = ends.iter().find_map(balloon) {
                let name = format!("{} balloon", device.name);
                parts.push(Part::new(
                    What::Balloon(k),
                    name,
                    ring_joints(&nodes),
                    BOUND_MM,
                ));
            }
        }
        for clot in &first.clots {
            let name = stage.plan().track.clots[clot.clot].name.clone();
            parts.push(Part::new(
                What::Clot(clot.clot),
                name,
                ring_joints(&clot.nodes),
                BOUND_MM,
            ));
        }
        let residual_mm = first.plaques.iter().enumerate().map(|(i, plaque)| {
            let widest_mm = ends
                .iter()
                .map(|m| m.plaques[i].residual_mm)
                .fold(plaque.residual_mm, f64::max);
            [plaque.residual_mm, widest_mm]
        });
        Self {
            parts,
            plaques: vec![Motion::default(); first.plaques.len()],
            residual_mm: residual_mm.collect(),
        }
    }

    /// Takes down where everything is.
    pub(super) fn look(&mut self, stage: &Stage, moment: &Moment, time_s: f32) {
        for part in &mut self.parts {
            let poses = part.poses(stage, moment);
            part.add(time_s, poses);
        }
        let lesions = moment.plaques.iter().zip(&self.residual_mm);
        for (motion, (plaque, [least, most])) in self.plaques.iter_mut().zip(lesions) {
            let opened = (plaque.residual_mm - least) / (most - least).max(1e-9);
            // the width of a pose must not be 0: one more
            let pose = Pose::new(Point::origin(), Vector::z(), Vector::x(), 1.0 + opened);
            motion.add(time_s, pose);
        }
    }

    pub(super) fn write(&self, pack: &mut Pack, stage: &Stage, settings: &GlbSettings) {
        self.write_plaques(pack, stage, settings);
        let mark = pack.material("radiopaque mark", settings.theme.mark().linear(), 1.0);
        for part in &self.parts {
            part.write(pack, stage, settings, mark);
        }
    }

    fn write_plaques(&self, pack: &mut Pack, stage: &Stage, settings: &GlbSettings) {
        let sides = stage.settings().detail.wall_sides;
        let moment = stage.at_step(0, 0.0);
        let colour = settings.theme.plaque().linear();
        for (i, plaque) in moment.plaques.iter().enumerate() {
            let name = &stage.plan().track.lesions[i].name;
            let material = pack.material(name, colour, 0.75);
            let surface = Surface::from(&plaque.mesh(sides));
            // the lumen grows in proportion to its narrowest place
            let [least_mm, most_mm] = self.residual_mm[i];
            let mut open = plaque.clone();
            for (inner, outer) in open.inner.iter_mut().zip(&plaque.outer) {
                let depth = (outer.radius_mm - inner.radius_mm)
                    / (outer.radius_mm - 0.5 * least_mm).max(1e-9);
                inner.radius_mm =
                    (inner.radius_mm + 0.5 * (most_mm - least_mm) * depth).min(outer.radius_mm);
            }
            let moved = Surface::from(&open.mesh(sides)).positions;
            let opens = most_mm > least_mm + 1e-6;
            let primitive = pack.primitive(&surface, material, opens.then_some(moved.as_slice()));
            let node = pack.mesh_node(name, vec![primitive], None);
            if opens {
                let keys = self.plaques[i].keys(&Tolerance {
                    place_m: 1.0,
                    turn_rad: 1.0,
                    width: 0.01,
                });
                let times: Vec<f32> = keys.iter().map(|k| k.0).collect();
                let weights: Vec<[f32; 1]> = keys.iter().map(|k| [k.1.width - 1.0]).collect();
                let times = pack.times(&times);
                pack.animate(node, Property::MorphTargetWeights, times, &weights);
            }
        }
    }
}

fn shaft_joints(longest_mm: f64) -> Vec<f64> {
    let mut found = vec![0.0];
    let mut at_mm = 0.0;
    while at_mm < longest_mm {
        let spacing = SPACING.iter().find(|(_, to_mm)| at_mm < *to_mm);
        at_mm += spacing.map_or(20.0, |s| s.0);
        found.push(at_mm);
    }
    found
}

/// Joints along the longest sleeve seen, and its widest radius.
fn sleeve_joints(seen: impl Iterator<Item = WireMesh>) -> Option<(Vec<f64>, f64)> {
    let widest = seen
        .filter(|wires| wires.sleeve.len() > 1)
        .map(|wires| {
            let radius_mm = wires.sleeve.iter().map(|h| h.radius_mm).fold(0.0, f64::max);
            (wires, radius_mm)
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let (wires, radius_mm) = widest;
    let length_mm: f64 = wires
        .sleeve
        .windows(2)
        .map(|w| (w[1].frame.origin_mm - w[0].frame.origin_mm).norm())
        .sum();
    let joints = (wires.sleeve.len() - 1) / HOOPS_A_JOINT;
    #[expect(clippy::cast_precision_loss, reason = "few joints")]
    let along_mm = (0..=joints)
        .map(|i| length_mm * i as f64 / joints as f64)
        .collect();
    Some((along_mm, radius_mm))
}

fn ring_joints(nodes: &[Node]) -> Vec<f64> {
    let length_mm: f64 = nodes.windows(2).map(|w| (w[1].at - w[0].at).norm()).sum();
    #[expect(clippy::cast_precision_loss, reason = "few rings")]
    let along = |i: usize| length_mm * i as f64 / (RINGS - 1) as f64;
    (0..RINGS).map(along).collect()
}

impl Part {
    fn new(what: What, name: String, along_mm: Vec<f64>, bound_mm: f64) -> Self {
        Self {
            what,
            name,
            motions: vec![Motion::default(); along_mm.len()],
            along_mm,
            bound_mm,
            seen: None,
        }
    }

    /// Where its joints are; none where it is not there.
    fn poses(&self, stage: &Stage, moment: &Moment) -> Option<Vec<Pose>> {
        match self.what {
            What::Shaft(k) => Some(match moment.device(k) {
                Some(device) => shaft_poses(device, &self.along_mm),
                None => vec![at_the_hub(stage); self.along_mm.len()],
            }),
            What::Struts(k) => {
                let struts = moment.device(k)?.struts.as_ref()?;
                Some(self.sleeve_poses(&struts.sleeve))
            }
            What::Stent(k) => {
                let stent = moment.stents.iter().find(|s| s.device == k)?;
                Some(self.sleeve_poses(&stent.struts.sleeve))
            }
            What::Balloon(k) => ring_poses(moment.device(k)?.balloon.as_ref()?),
            What::Clot(i) => {
                let clot = moment.clots.iter().find(|c| c.clot == i)?;
                ring_poses(&clot.nodes)
            }
        }
    }

    fn sleeve_poses(&self, sleeve: &[Hoop]) -> Vec<Pose> {
        let hoops = sleeve.iter().step_by(HOOPS_A_JOINT);
        hoops
            .map(|hoop| {
                let frame = hoop.frame;
                let at = frame.place(hoop.offset_mm);
                Pose::new(at, frame.tangent, frame.n1, hoop.radius_mm / self.bound_mm)
            })
            .collect()
    }

    /// What is not there waits without width where it comes next, or where it was last.
    fn add(&mut self, time_s: f32, poses: Option<Vec<Pose>>) {
        let gone = |pose: &Pose| Pose {
            width: GONE,
            ..*pose
        };
        match poses {
            Some(poses) => {
                for (motion, pose) in self.motions.iter_mut().zip(&poses) {
                    if let Some((before_s, false)) = self.seen {
                        if motion.is_empty() {
                            motion.add(0.0, gone(pose));
                        }
                        motion.add(before_s, gone(pose));
                    }
                    motion.add(time_s, *pose);
                }
                self.seen = Some((time_s, true));
            }
            None => {
                for motion in &mut self.motions {
                    if let Some(pose) = motion.last() {
                        motion.add(time_s, gone(&pose));
                    }
                }
                self.seen = Some((time_s, false));
            }
        }
    }

    fn write(
        &self,
        pack: &mut Pack,
        stage: &Stage,
        settings: &GlbSettings,
        mark: gltf_json::Index<gltf_json::Material>,
    ) {
        if self.motions.iter().any(Motion::is_empty) {
            return;
        }
        let colour = match self.what {
            What::Clot(_) => settings.theme.clot(),
            What::Shaft(k) | What::Struts(k) | What::Stent(k) | What::Balloon(k) => {
                look_of(stage, k).colour(settings.theme)
            }
        };
        let alpha = if matches!(self.what, What::Balloon(_)) {
            0.6
        } else {
            1.0
        };
        let material = pack.material(&self.name, colour.linear(), alpha);
        let [body, marked] = self.surfaces(stage);
        let mut primitives = Vec::new();
        for (surface, material) in [(body, material), (marked, mark)] {
            if !surface.triangles.is_empty() {
                primitives.push(pack.primitive(&surface, material, None));
            }
        }
        let mut joints = Vec::new();
        for (i, motion) in self.motions.iter().enumerate() {
            // tips are read off the file, so they keep closer; what lies further back in wider vessels need not
            let loosely = match self.what {
                What::Shaft(_) if i == 0 => TIPS_KEEP,
                What::Shaft(_) => 1.0 + self.along_mm[i] / LOOSER_MM,
                _ => 1.0,
            };
            let [place_m, ..] = single([1e-3 * settings.within_mm * loosely, 0.0, 0.0]);
            let keys = motion.keys(&Tolerance {
                place_m,
                turn_rad: 0.25,
                width: 0.03,
            });
            joints.push(self.joint(pack, i, &keys));
        }
        let bind: Vec<f32> = self
            .along_mm
            .iter()
            .map(|mm| single([self.axis_sign() * 1e-3 * mm, 0.0, 0.0])[0])
            .collect();
        let skin = pack.skin(&self.name, joints, &bind);
        pack.mesh_node(&self.name, primitives, Some(skin));
    }

    /// Shafts and sleeves are counted from their far ends, rings from their near ones.
    fn axis_sign(&self) -> f64 {
        match self.what {
            What::Shaft(_) | What::Struts(_) | What::Stent(_) => -1.0,
            What::Balloon(_) | What::Clot(_) => 1.0,
        }
    }

    fn joint(
        &self,
        pack: &mut Pack,
        i: usize,
        keys: &[(f32, Pose)],
    ) -> gltf_json::Index<gltf_json::Node> {
        let first = keys[0].1;
        let widens = keys.iter().any(|k| (k.1.width - 1.0).abs() > 1e-3);
        let scale = |pose: &Pose| [pose.width, pose.width, 1.0];
        let tip = i == 0 && matches!(self.what, What::Shaft(_));
        let node = pack.root.push(gltf_json::Node {
            name: tip.then(|| format!("{} tip", self.name)),
            translation: Some(first.at),
            rotation: Some(gltf_json::scene::UnitQuaternion(first.turn)),
            scale: widens.then(|| scale(&first)),
            ..gltf_json::Node::default()
        });
        if keys.len() > 1 {
            let times: Vec<f32> = keys.iter().map(|k| k.0).collect();
            let times = pack.times(&times);
            let places: Vec<[f32; 3]> = keys.iter().map(|k| k.1.at).collect();
            pack.animate(node, Property::Translation, times, &places);
            let turns: Vec<[f32; 4]> = keys.iter().map(|k| k.1.turn).collect();
            pack.animate_turns(node, times, &turns);
            if widens {
                let widths: Vec<[f32; 3]> = keys.iter().map(|k| scale(&k.1)).collect();
                pack.animate(node, Property::Scale, times, &widths);
            }
        }
        node
    }

    /// Its surface, and its marks.
    fn surfaces(&self, stage: &Stage) -> [Surface; 2] {
        match self.what {
            What::Shaft(k) => self.shaft_surfaces(stage, k),
            What::Struts(k) | What::Stent(k) => [self.strut_surface(stage, k), Surface::default()],
            What::Balloon(_) | What::Clot(_) => [self.ring_surface(stage), Surface::default()],
        }
    }

    /// The two joints around a place, and the share of the second.
    fn joints_at(&self, along_mm: f64) -> ([u8; 2], f32) {
        let last = self.along_mm.len() - 1;
        let after = self
            .along_mm
            .partition_point(|a| *a <= along_mm)
            .clamp(1, last);
        let (a, b) = (self.along_mm[after - 1], self.along_mm[after]);
        let share = ((along_mm - a) / (b - a)).clamp(0.0, 1.0);
        let index = |i: usize| u8::try_from(i).unwrap_or(u8::MAX);
        (
            [index(after - 1), index(after)],
            single([share, 0.0, 0.0])[0],
        )
    }

    fn shaft_surfaces(&self, stage: &Stage, k: usize) -> [Surface; 2] {
        let device = &stage.plan().devices[k].device;
        let start_mm = match &device.payload {
            Some(Payload::Retriever(spec)) => spec.folded_length_mm,
            _ => 0.0,
        };
        let longest_mm = self.along_mm.last().copied().unwrap_or(0.0);
        let marks = stage.marks(k);
        let mut cuts: Vec<f64> = self.along_mm.clone();
        // joints blend smoothly, so that few rings between them make a bend round
        let rings: &[f64] = &[0.25, 0.5, 0.75];
        let between = self.along_mm.windows(2).flat_map(|w| {
            let rings = if w[0] < SPACING[0].1 {
                rings
            } else {
                &rings[1..2]
            };
            rings.iter().map(move |share| w[0] + (w[1] - w[0]) * share)
        });
        cuts.extend(between);
        let knots = device.profile.iter().map(|knot| knot.from_tip_mm);
        let ends = marks.iter().flat_map(|(a, b)| [*a, *b]);
        cuts.extend(knots.chain(ends).map(|f| f - start_mm));
        cuts.retain(|g| *g >= 0.0 && *g <= longest_mm);
        cuts.sort_by(f64::total_cmp);
        cuts.dedup_by(|a, b| *a - *b < 1e-6);
        let sides = stage.settings().detail.device_sides;
        let mut surfaces = [Surface::default(), Surface::default()];
        let mut before: Option<(usize, u32, f64)> = None;
        for pair in cuts.windows(2) {
            let middle_mm = start_mm + 0.5 * (pair[0] + pair[1]);
            let marked = usize::from(marks.iter().any(|(a, b)| middle_mm > *a && middle_mm < *b));
            let surface = &mut surfaces[marked];
            let radius_mm = |g: f64| 0.5 * device.section_in_cell(start_mm + g, middle_mm).outer_mm;
            // towards the tip z grows: the ring nearer the tip comes second
            let near = match before {
                Some((was, row, r)) if was == marked && (r - radius_mm(pair[0])).abs() < 1e-9 => {
                    row
                }
                _ => self.ring(surface, pair[0], radius_mm(pair[0]), sides),
            };
            let far = self.ring(surface, pair[1], radius_mm(pair[1]), sides);
            stitch(surface, far, near, sides);
            before = Some((marked, far, radius_mm(pair[1])));
        }
        let tip_mm = 0.5 * device.section_at(start_mm).outer_mm;
        self.cap(&mut surfaces[0], tip_mm, sides);
        surfaces
    }

    fn ring(&self, surface: &mut Surface, along_mm: f64, radius_mm: f64, sides: usize) -> u32 {
        let row = u32::try_from(surface.positions.len()).unwrap_or(u32::MAX);
        let joints = self.joints_at(along_mm);
        for i in 0..sides {
            #[expect(clippy::cast_precision_loss, reason = "few sides")]
            let turn = TAU * i as f64 / sides as f64;
            let (x, y) = (math::cos(turn), math::sin(turn));
            let z = self.axis_sign() * along_mm;
            surface
                .positions
                .push(single([x * radius_mm, y * radius_mm, z].map(|v| 1e-3 * v)));
            surface.normals.push(single([x, y, 0.0]));
            surface.joints.push(joints);
        }
        row
    }

    /// A flat end at the tip.
    fn cap(&self, surface: &mut Surface, radius_mm: f64, sides: usize) {
        let rim = self.ring(surface, 0.0, radius_mm, sides);
        let centre = u32::try_from(surface.positions.len()).unwrap_or(u32::MAX);
        surface.positions.push([0.0; 3]);
        surface.normals.push([0.0, 0.0, 1.0]);
        surface.joints.push(self.joints_at(0.0));
        let first = surface.normals.len() - 1 - sides;
        for normal in &mut surface.normals[first..first + sides] {
            *normal = [0.0, 0.0, 1.0];
        }
        let sides = u32::try_from(sides).unwrap_or(3);
        for i in 0..sides {
            surface
                .triangles
                .push([centre, rim + i, rim + (i + 1) % sides]);
        }
    }

    fn strut_surface(&self, stage: &Stage, k: usize) -> Surface {
        let Some(pattern) = stage.pattern(k) else {
            return Surface::default();
        };
        let length_mm = self.along_mm.last().copied().unwrap_or(1.0);
        let hoop = |i: usize| {
            #[expect(clippy::cast_precision_loss, reason = "few hoops")]
            let z = -length_mm * i as f64 / 60.0;
            Hoop {
                frame: Frame::new(Point::new(0.0, 0.0, z), Vector::z(), Vector::x()),
                offset_mm: [0.0; 2],
                radius_mm: self.bound_mm,
            }
        };
        let sleeve: Vec<Hoop> = (0..=60).map(hoop).collect();
        let wires = pattern.on(&sleeve);
        let sides = stage.settings().detail.wire_sides.max(3);
        let mesh = wires.mesh(sides);
        let mut surface = Surface {
            positions: mesh.positions.iter().map(|p| p.map(|x| 1e-3 * x)).collect(),
            normals: mesh.normals,
            triangles: mesh.triangles,
            joints: Vec::new(),
        };
        for u in pattern.material().flatten() {
            let joints = self.joints_at(u * length_mm);
            surface.joints.extend(std::iter::repeat_n(joints, sides));
        }
        surface
    }

    fn ring_surface(&self, stage: &Stage) -> Surface {
        let sides = stage.settings().detail.device_sides.max(12);
        let mut surface = Surface::default();
        let mut before = None;
        for along_mm in self.along_mm.clone() {
            let row = self.ring(&mut surface, along_mm, self.bound_mm, sides);
            if let Some(before) = before {
                stitch(&mut surface, before, row, sides);
            }
            before = Some(row);
        }
        surface
    }
}

/// Quads between two rings; the second lies further along the axis.
fn stitch(surface: &mut Surface, from: u32, to: u32, sides: usize) {
    let sides = u32::try_from(sides).unwrap_or(3);
    for k in 0..sides {
        let next = (k + 1) % sides;
        let [a, b, c, d] = [from + k, from + next, to + k, to + next];
        surface.triangles.push([a, b, c]);
        surface.triangles.push([b, d, c]);
    }
}

fn at_the_hub(stage: &Stage) -> Pose {
    let frame = stage.plan().track.frame_at(0.0);
    let at = frame.origin_mm + frame.tangent * stage.plan().hub_station_mm();
    Pose::new(at, frame.tangent, frame.n1, 1.0)
}

/// Joints along a drawn device; what is still outside waits where it enters.
fn shaft_poses(device: &DrawnDevice, along_mm: &[f64]) -> Vec<Pose> {
    let nodes = &device.nodes;
    let (Some(first), Some(last)) = (nodes.first(), nodes.last()) else {
        return Vec::new();
    };
    along_mm
        .iter()
        .map(|g| {
            let from_tip_mm = last.from_tip_mm + g;
            // distances fall along the nodes
            let after = nodes.partition_point(|n| n.from_tip_mm > from_tip_mm);
            let node = |n: &Node| Pose::new(n.at, n.along, n.across, 1.0);
            match (after.checked_sub(1).map(|i| nodes[i]), nodes.get(after)) {
                (None, _) => node(first),
                (Some(_), None) => node(last),
                (Some(a), Some(b)) => {
                    let span_mm = a.from_tip_mm - b.from_tip_mm;
                    let share = if span_mm > 1e-9 {
                        (a.from_tip_mm - from_tip_mm) / span_mm
                    } else {
                        0.0
                    };
                    let mix = |x: Vector, y: Vector| x + (y - x) * share;
                    Pose::new(
                        a.at + (b.at - a.at) * share,
                        mix(a.along, b.along),
                        mix(a.across, b.across),
                        1.0,
                    )
                }
            }
        })
        .collect()
}

/// Rings evenly along a tube, by number of its nodes.
fn ring_poses(nodes: &[Node]) -> Option<Vec<Pose>> {
    if nodes.len() < 2 {
        return None;
    }
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "few nodes"
    )]
    let pose = |i: usize| {
        let place = i as f64 * (nodes.len() - 1) as f64 / (RINGS - 1) as f64;
        let before = (place as usize).min(nodes.len() - 2);
        let share = place - before as f64;
        let (a, b) = (&nodes[before], &nodes[before + 1]);
        let radius_mm = a.radius_mm + (b.radius_mm - a.radius_mm) * share;
        Pose::new(
            a.at + (b.at - a.at) * share,
            a.along + (b.along - a.along) * share,
            a.across + (b.across - a.across) * share,
            radius_mm / BOUND_MM,
        )
    };
    Some((0..RINGS).map(pose).collect())
}
