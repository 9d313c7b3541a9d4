//! Sleeves of stents and retrievers, balloons, clots: what is made of a device's payload.

use super::draw::Drawing;
use super::keys::ClotPlace;
use super::moment::{DrawnClot, DrawnStent, Node, WireMesh};
use super::struts::{Hoop, Pattern, RUNS_TOGETHER};
use super::vessel::stepped;
use crate::device::{Payload, RetrieverSpec, StentSpec};
use crate::math;
use crate::procedure::{Action, DeployedStent, Passed, Plan};

/// Hoops of a sleeve: two each millimetre of usual stents.
const HOOPS: u32 = 120;
/// Room left between struts and lumen, mm: chords between hoops leave the route's bends by this much.
const CHORDS_MM: f64 = 0.02;
/// How steeply struts widen beyond what covers them (assumed: 45 degrees).
const OPENING: f64 = 1.0;

pub(super) fn patterns(plan: &Plan) -> Vec<Option<Pattern>> {
    let devices = plan.devices.iter();
    devices
        .map(|d| match &d.device.payload {
            Some(Payload::Stent(spec)) => Some(Pattern::of_stent(spec)),
            Some(Payload::Retriever(spec)) => Some(Pattern::of_retriever(spec)),
            _ => None,
        })
        .collect()
}

/// Diameter of every balloon in every step, mm: by its pressure, or what an occlusion balloon opens to.
pub(super) fn balloons_mm(plan: &Plan, passed: &[Passed]) -> Vec<Vec<f64>> {
    let mut now: Vec<f64> = plan.devices.iter().map(|_| 0.0).collect();
    let steps = plan.script.iter().zip(passed);
    steps
        .map(|(step, done)| {
            if let Action::Inflate {
                device,
                pressure_atm,
            } = &step.act
                && done.effect.performed
                && let Some(k) = plan.device_index(device)
            {
                now[k] = match &plan.devices[k].device.payload {
                    Some(Payload::Balloon(spec)) => {
                        spec.diameter_at_mm(pressure_atm.unwrap_or(spec.nominal_pressure_atm))
                    }
                    Some(Payload::OcclusionBalloon(spec)) => spec.largest_diameter_mm,
                    _ => 0.0,
                };
            }
            now.clone()
        })
        .collect()
}

/// Values by material, 0 to 1, from pairs that rise.
fn by_material(pairs: &[(f64, f64)], u: f64) -> f64 {
    let after = pairs.partition_point(|p| p.0 <= u);
    match (after.checked_sub(1).map(|i| pairs[i]), pairs.get(after)) {
        (Some((a, va)), Some(&(b, vb))) => va + (vb - va) * (u - a) / (b - a),
        (Some((_, v)), None) | (None, Some(&(_, v))) => v,
        (None, None) => 0.0,
    }
}

/// Station and diameter of a stent by material from its far end.
fn lie_of_stent(spec: &StentSpec, stent: &DeployedStent) -> [Vec<(f64, f64)>; 2] {
    let mut material = 0.0;
    let mut stations = Vec::new();
    let mut diameters = Vec::new();
    let mut before: Option<(f64, f64)> = None;
    for place in &stent.profile {
        if let Some((s_mm, diameter_mm)) = before {
            let middle_mm = f64::midpoint(diameter_mm, place.diameter_mm);
            material += (s_mm - place.s_mm).abs() / spec.stretch(middle_mm).max(1e-6);
        }
        stations.push((material, place.s_mm));
        diameters.push((material, place.diameter_mm));
        before = Some((place.s_mm, place.diameter_mm));
    }
    let whole = if material > 0.0 { material } else { 1.0 };
    for pair in stations.iter_mut().chain(&mut diameters) {
        pair.0 /= whole;
    }
    [stations, diameters]
}

impl Drawing<'_> {
    fn hoop(&self, s_mm: f64, offset_mm: [f64; 2], radius_mm: f64) -> Hoop {
        Hoop {
            frame: self.frame_at(s_mm),
            offset_mm,
            radius_mm,
        }
    }

    /// Stents that are out or on their way out.
    pub(super) fn stents(&self) -> Vec<DrawnStent> {
        let scene = self.scene();
        let after = scene.after.stents.iter();
        after
            .filter_map(|stent| {
                let k = stent.device;
                let Some(Payload::Stent(spec)) = &self.plan().devices[k].device.payload else {
                    return None;
                };
                let pattern = self.stage.patterns[k].as_ref()?;
                let was = scene.before.stents.iter().find(|s| s.device == k);
                let released = if was.is_some() { 1.0 } else { self.share };
                if released <= 0.0 {
                    return None;
                }
                let now = lie_of_stent(spec, stent);
                let then = was.map_or_else(|| now.clone(), |was| lie_of_stent(spec, was));
                let share = if was.is_some() { self.share } else { 1.0 };
                let value = |i: usize, u: f64| {
                    let (a, b) = (by_material(&then[i], u), by_material(&now[i], u));
                    a + (b - a) * share
                };
                let struts = self.sleeve_of_stent(k, spec, pattern, released, value);
                Some(DrawnStent {
                    device: k,
                    struts,
                    proximal_mm: value(0, released),
                    distal_mm: value(0, 0.0),
                    released,
                })
            })
            .collect()
    }

    /// A stent of which a share is out; the rest is folded in its catheter.
    fn sleeve_of_stent(
        &self,
        k: usize,
        spec: &StentSpec,
        pattern: &Pattern,
        released: f64,
        value: impl Fn(usize, f64) -> f64,
    ) -> WireMesh {
        let device = &self.plan().devices[k].device;
        let folded_mm = 0.4 * device.max_outer_between(0.0, spec.nose_length_mm);
        let loaded_mm = spec.loaded_length_mm(2.0 * folded_mm);
        let front_mm = value(0, released);
        let sleeve: Vec<Hoop> = (0..=HOOPS)
            .map(|i| {
                let u = f64::from(i) / f64::from(HOOPS);
                if u > released {
                    let s_mm = front_mm - (u - released) * loaded_mm;
                    return self.hoop(s_mm, self.offset_in(k, s_mm), folded_mm);
                }
                let s_mm = value(0, u);
                let open_mm = 0.5 * value(1, u) - pattern.wire_radius_mm;
                let cone_mm = if released < 1.0 {
                    folded_mm + OPENING * (s_mm - front_mm)
                } else {
                    f64::INFINITY
                };
                let radius_mm = open_mm
                    .min(cone_mm)
                    .min(self.lumen_mm(s_mm) - pattern.wire_radius_mm - CHORDS_MM)
                    .max(folded_mm);
                // what is folded lies where its catheter lies, what is open in the middle
                let folded =
                    ((open_mm - radius_mm) / (open_mm - folded_mm).max(1e-9)).clamp(0.0, 1.0);
                let room_mm = self.lumen_mm(s_mm) - pattern.wire_radius_mm - CHORDS_MM - radius_mm;
                let leaning = self.offset_in(k, s_mm).map(|x| x * folded);
                let offset_mm = held_within(leaning, room_mm.max(0.0));
                self.hoop(s_mm, offset_mm, radius_mm)
            })
            .collect();
        pattern.on(&sleeve)
    }

    /// Struts of a retriever, with the stations of their near and far ends.
    pub(super) fn retriever(&self, k: usize, spec: &RetrieverSpec) -> Option<(WireMesh, f64, f64)> {
        let pattern = self.stage.patterns[k].as_ref()?;
        let plan = self.plan();
        let tip_mm = self.state.tip_mm(k)?;
        let folded_mm = 0.5
            * plan.devices[k]
                .device
                .max_outer_between(0.0, spec.folded_length_mm);
        let near_mm = tip_mm - spec.folded_length_mm;
        // material from the near end: station, vessel, covered
        let mut places: Vec<(f64, f64)> = vec![(0.0, near_mm)];
        let mut covered_to_mm = f64::NEG_INFINITY;
        if self.state.open[k] {
            let mut material = 0.0;
            let profile = self.state.open_profile(plan, k);
            for part in &profile {
                let share = match part.covered_by {
                    Some(_) => 1.0,
                    None => spec
                        .open_length_mm(part.vessel_mm, 2.0 * folded_mm)
                        .map_or(1.0, |length_mm| length_mm / spec.folded_length_mm),
                };
                material += part.length_mm / share;
                let end_mm = part.from_mm + part.length_mm;
                places.push((material / spec.folded_length_mm, end_mm));
                if let Some(j) = part.covered_by {
                    covered_to_mm = self.state.tip_mm(j).unwrap_or(end_mm);
                }
            }
        } else {
            places.push((1.0, tip_mm));
            covered_to_mm = f64::INFINITY;
        }
        let far_mm = places.last().map_or(tip_mm, |p| p.1);
        let wire_mm = pattern.wire_radius_mm;
        let sleeve: Vec<Hoop> = (0..=HOOPS)
            .map(|i| {
                let from_near = 1.0 - f64::from(i) / f64::from(HOOPS);
                let s_mm = by_material(&places, from_near);
                let lumen_mm = self.lumen_mm(s_mm) - CHORDS_MM;
                let open_mm = (0.5 * spec.open_diameter_mm(2.0 * lumen_mm)).min(lumen_mm) - wire_mm;
                let joined = (from_near / RUNS_TOGETHER).min(1.0);
                let least_mm = (folded_mm - wire_mm).max(wire_mm);
                let cone_mm = least_mm + OPENING * (s_mm - covered_to_mm).max(0.0);
                let radius_mm = (least_mm + (open_mm - least_mm) * joined)
                    .min(cone_mm)
                    .max(least_mm);
                let room_mm = (lumen_mm - radius_mm - wire_mm).max(0.0);
                let offset_mm = held_within(self.offset_in(k, s_mm), room_mm);
                self.hoop(s_mm, offset_mm, radius_mm)
            })
            .collect();
        Some((pattern.on(&sleeve), near_mm, far_mm))
    }

    /// A balloon where it is up, from its near end to its far end.
    pub(super) fn balloon(&self, k: usize) -> Option<Vec<Node>> {
        /// Sections of a balloon.
        const STEP_MM: f64 = 0.75;
        let scene = self.scene();
        let up = |inflated: bool| if inflated { 1.0 } else { 0.0 };
        let (was, is) = (up(scene.before.inflated[k]), up(scene.after.inflated[k]));
        let filled = was + (is - was) * self.share;
        if filled <= 0.0 {
            return None;
        }
        let device = &self.plan().devices[k].device;
        let tip_mm = self.state.tip_mm(k)?;
        let full_mm = 0.5 * self.stage.balloons_mm[self.step][k];
        let (far_mm, length_mm) = match &device.payload {
            Some(Payload::Balloon(spec)) => (tip_mm - spec.nose_length_mm, spec.length_mm),
            // an occlusion balloon is about as long as wide
            Some(Payload::OcclusionBalloon(spec)) => {
                (tip_mm - spec.nose_length_mm + full_mm, 2.0 * full_mm)
            }
            _ => return None,
        };
        let nodes = stepped(length_mm, STEP_MM).map(|along_mm| {
            let s_mm = far_mm - length_mm + along_mm;
            let shaft_mm = self.radius_mm(k, s_mm);
            // shoulders as long as the balloon is wide there
            let from_end_mm = along_mm.min(length_mm - along_mm);
            let shoulder = (from_end_mm / full_mm.max(1e-6)).min(1.0);
            let shape = (shoulder * (2.0 - shoulder)).sqrt();
            let radius_mm = (shaft_mm + (full_mm - shaft_mm).max(0.0) * filled * shape)
                .min(self.lumen_mm(s_mm))
                .max(shaft_mm.min(self.lumen_mm(s_mm)));
            let room_mm = (self.lumen_mm(s_mm) - radius_mm).max(0.0);
            let offset_mm = held_within(self.offset_in(k, s_mm), room_mm);
            self.node(s_mm, offset_mm, radius_mm)
        });
        Some(nodes.collect())
    }

    /// Clots still in the body.
    pub(super) fn clots(&self) -> Vec<DrawnClot> {
        /// Sections of a clot.
        const STEP_MM: f64 = 0.5;
        let clots = self.scene().clots.iter().enumerate();
        clots
            .filter_map(|(i, [was, is])| {
                if was.gone || (is.gone && self.share >= 1.0) {
                    return None;
                }
                let by_mm = (is.start_mm - was.start_mm) * self.share;
                let (start_mm, end_mm) = (was.start_mm + by_mm, was.end_mm + by_mm);
                let home = &self.plan().track.clots[i];
                let nodes: Vec<Node> = stepped(end_mm - start_mm, STEP_MM)
                    .map(|along_mm| {
                        let s_mm = start_mm + along_mm;
                        let home_mm = 0.5
                            * self
                                .plan()
                                .track
                                .healthy_diameter_at(home.start_mm + along_mm);
                        self.clot_node(is, s_mm, along_mm, end_mm - start_mm, home_mm)
                    })
                    .filter(|node| node.station_mm >= 0.0)
                    .collect();
                (nodes.len() > 1).then_some(DrawnClot {
                    clot: i,
                    nodes,
                    carried_by: is.carried_by,
                })
            })
            .collect()
    }

    /// A section of a clot: round at both ends, as wide as its own artery, the lumen it lies in, or the
    /// catheter it has been drawn into.
    fn clot_node(
        &self,
        place: &ClotPlace,
        s_mm: f64,
        along_mm: f64,
        length_mm: f64,
        home_mm: f64,
    ) -> Node {
        /// Share of the lumen that is drawn filled, so that clot and wall do not flicker.
        const FILLS: f64 = 0.96;
        let around = place.carried_by.and_then(|k| self.around(k, s_mm));
        let (room_mm, middle_mm) = match around {
            Some(j) => (self.inner_mm(j, s_mm), self.offset_in(j, s_mm)),
            None => (self.lumen_mm(s_mm), [0.0; 2]),
        };
        let from_end = (along_mm.min(length_mm - along_mm) / home_mm.max(1e-6)).min(1.0);
        let round = (from_end * (2.0 - from_end)).max(0.0).sqrt();
        let radius_mm = (FILLS * home_mm.min(room_mm) * round).max(0.05);
        self.node(s_mm, middle_mm, radius_mm)
    }
}

/// An offset no longer than its room.
pub(super) fn held_within(offset_mm: [f64; 2], room_mm: f64) -> [f64; 2] {
    let length_mm = math::hypot(offset_mm[0], offset_mm[1]);
    if length_mm <= room_mm {
        return offset_mm;
    }
    offset_mm.map(|x| x * room_mm / length_mm)
}
