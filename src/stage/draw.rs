//! Drawing one moment: where every device lies between two settled shapes, and what that looks like.

use super::Stage;
use super::axis_by_station::{AxisByStation, Between};
use super::card::edge_state;
use super::keys::{Key, Scenes, state_between};
use super::marks::{core_mm, marks};
use super::mesh::direction;
use super::moment::{
    DrawnContact, DrawnDevice, DrawnPlaque, EdgeBand, EdgeState, Moment, Node, Section,
    SectionDevice, SectionStruts,
};
use super::payload::held_within;
use super::timeline::ease;
use super::vessel::{MISSED_MM, lumen_radius_mm, ring, room_mm};
use crate::device::{LumenKind, Payload};
use crate::geometry::{Frame, Point};
use crate::math;
use crate::procedure::{EdgeKind, Plan, State};

/// The axis of a device between two settled shapes.
struct InterpolatedAxis<'a> {
    between: Between<'a>,
    /// Station of its folded tip, mm.
    tip_mm: f64,
    /// Length of it between access and tip, mm.
    path_mm: f64,
    /// Devices that may hold it: `(device, from, to)` in stations, the innermost first.
    holders: Vec<(usize, f64, f64)>,
    /// Where it comes out of one of them.
    blends: Vec<ExitBlend>,
}

/// Where a device comes out of what holds it: on its way from one shape to the next the shapes of both may
/// not meet there, so that it is led over.
#[derive(Debug, Clone, Copy)]
struct ExitBlend {
    s_mm: f64,
    /// It is free towards the tip, or (at a port) towards the hub.
    towards_tip: bool,
    /// From where its own shape has it to where it is held, mm.
    off_mm: [f64; 2],
}

/// How far ahead of its tip a device pushes a lesion open, mm: a tip that leans needs that much.
const AHEAD_MM: f64 = 0.5;

/// Length over which a device is led from where it is held to its own shape, mm.
const BLEND_MM: f64 = 30.0;

/// One moment being drawn.
pub(super) struct Drawing<'a> {
    pub(super) stage: &'a Stage,
    pub(super) step: usize,
    pub(super) share: f64,
    pub(super) state: State,
    scene: Option<&'a Scenes>,
    axes: Vec<Option<InterpolatedAxis<'a>>>,
    keys: Option<(&'a Key, &'a Key, f64)>,
}

impl<'a> Drawing<'a> {
    pub(super) fn new(stage: &'a Stage, step: usize, share: f64) -> Self {
        let step = step.min(stage.scenes.len().saturating_sub(1));
        Self::of(stage, stage.scenes.get(step), step, share)
    }

    /// The same with another scene in the place of a step's own.
    pub(super) fn of(stage: &'a Stage, scene: Option<&'a Scenes>, step: usize, share: f64) -> Self {
        let (state, keys) = match scene {
            Some(scene) => (
                state_between(&stage.plan, &scene.before, &scene.after, share),
                between(scene, share),
            ),
            None => (State::start(&stage.plan), None),
        };
        let mut drawing = Self {
            stage,
            step,
            share,
            state,
            scene,
            axes: Vec::new(),
            keys,
        };
        drawing.axes = (0..stage.plan.devices.len())
            .map(|k| drawing.axis(k))
            .collect();
        // what lies further out is led first
        let mut order: Vec<usize> = (0..drawing.axes.len()).collect();
        order.sort_by_key(|k| drawing.axes[*k].as_ref().map_or(0, |w| w.holders.len()));
        for k in order {
            let blends = drawing.blends(k);
            if let Some(axis) = &mut drawing.axes[k] {
                axis.blends = blends;
            }
        }
        drawing
    }

    fn blends(&self, k: usize) -> Vec<ExitBlend> {
        let Some(axis) = &self.axes[k] else {
            return Vec::new();
        };
        let ends = axis
            .holders
            .iter()
            .flat_map(|(j, from_mm, to_mm)| [(*j, *from_mm, false), (*j, *to_mm, true)]);
        ends.filter(|(j, s_mm, _)| *s_mm > 0.0 && self.around(k, *s_mm) == Some(*j))
            .map(|(_, s_mm, towards_tip)| {
                let held = self.offset_in(k, s_mm);
                let own = axis.between.offset(s_mm);
                ExitBlend {
                    s_mm,
                    towards_tip,
                    off_mm: [0, 1].map(|i| held[i] - own[i]),
                }
            })
            .collect()
    }

    pub(super) fn plan(&self) -> &'a Plan {
        &self.stage.plan
    }

    pub(super) fn scene(&self) -> &'a Scenes {
        self.scene.unwrap_or(&self.stage.scenes[self.step])
    }

    fn axis(&self, k: usize) -> Option<InterpolatedAxis<'a>> {
        let tip_mm = self.state.tip_mm(k)?;
        let (before, after, share) = self.keys?;
        let axis = |key: &'a Key| -> Option<&'a AxisByStation> { key.axes[k].as_deref() };
        let between = Between {
            before: axis(before),
            after: axis(after),
            share,
        };
        let riders = self.state.riders_of(k).filter_map(|rider| {
            let LumenKind::RapidExchange { port_from_tip } =
                self.plan().devices[rider].device.lumen
            else {
                return None;
            };
            let tip_mm = self.state.tip_mm(rider)?;
            Some((rider, tip_mm - port_from_tip, tip_mm))
        });
        let hubs = self
            .state
            .hubs_passed(k)
            .into_iter()
            .filter_map(|j| Some((j, f64::NEG_INFINITY, self.state.tip_mm(j)?)));
        let holders = riders.chain(hubs).collect();
        Some(InterpolatedAxis {
            path_mm: between.path(tip_mm),
            between,
            tip_mm,
            holders,
            blends: Vec::new(),
        })
    }

    /// What holds a device at a station; none: the vessel.
    pub(super) fn around(&self, k: usize, s_mm: f64) -> Option<usize> {
        let axis = self.axes[k].as_ref()?;
        let holder = axis
            .holders
            .iter()
            .find(|(_, from_mm, to_mm)| s_mm >= *from_mm && s_mm <= *to_mm);
        holder.map(|h| h.0)
    }

    /// Distance of a station of a device from its tip along itself, mm.
    fn to_tip_mm(&self, k: usize, s_mm: f64) -> f64 {
        self.axes[k].as_ref().map_or(0.0, |axis| {
            (axis.path_mm - axis.between.path(s_mm)).max(0.0)
        })
    }

    /// Outer radius of a device at a station, mm.
    pub(super) fn radius_mm(&self, k: usize, s_mm: f64) -> f64 {
        let device = &self.plan().devices[k].device;
        0.5 * device.section_at(self.to_tip_mm(k, s_mm)).outer_mm
    }

    /// Radius of the lumen of a device at a station, mm; of its outside where it has none.
    pub(super) fn inner_mm(&self, k: usize, s_mm: f64) -> f64 {
        let section = self.plan().devices[k]
            .device
            .section_at(self.to_tip_mm(k, s_mm));
        0.5 * section.inner_mm.unwrap_or(section.outer_mm)
    }

    /// Radius of the vessel's lumen, mm: in a lesion at least what the devices in it take, which dilate it to
    /// a little beyond their tips.
    pub(super) fn lumen_mm(&self, s_mm: f64) -> f64 {
        let track = &self.plan().track;
        let free_mm = lumen_radius_mm(track, &self.state.residual_mm, s_mm);
        let in_lesion = track
            .lesions
            .iter()
            .any(|l| s_mm > l.start_mm && s_mm < l.end_mm);
        if !in_lesion {
            return free_mm;
        }
        let bare = self.axes.iter().enumerate().filter_map(|(k, axis)| {
            let tip_mm = axis.as_ref()?.tip_mm;
            (s_mm <= tip_mm + AHEAD_MM && self.around(k, s_mm.min(tip_mm)).is_none())
                .then(|| self.radius_mm(k, s_mm.min(tip_mm)))
        });
        free_mm.max(bare.sum())
    }

    /// Offset of a device's axis at a station: blended between both shapes and held inside what is around
    /// it there.
    pub(super) fn offset_in(&self, k: usize, s_mm: f64) -> [f64; 2] {
        let radius_mm = self.radius_mm(k, s_mm);
        self.offset_of(k, s_mm, radius_mm).0
    }

    /// The same with how far the shapes press it into the wall there.
    fn offset_of(&self, k: usize, s_mm: f64, radius_mm: f64) -> ([f64; 2], f64) {
        let Some(axis) = &self.axes[k] else {
            return ([0.0; 2], 0.0);
        };
        let mut wished = axis.between.offset(s_mm.max(0.0));
        for blend in &axis.blends {
            let free_mm = if blend.towards_tip {
                s_mm - blend.s_mm
            } else {
                blend.s_mm - s_mm
            };
            if (0.0..BLEND_MM).contains(&free_mm) {
                let share = 1.0 - ease(free_mm / BLEND_MM);
                for (wish, off_mm) in wished.iter_mut().zip(blend.off_mm) {
                    *wish += share * off_mm;
                }
            }
        }
        if let Some(j) = self.around(k, s_mm) {
            // what is around it may be pressed into the wall and takes it along
            let (middle, indentation_mm) = self.offset_of(j, s_mm, self.radius_mm(j, s_mm));
            let room_mm = (self.inner_mm(j, s_mm) - radius_mm).max(0.0);
            let off = held_within([0, 1].map(|i| wished[i] - middle[i]), room_mm);
            return ([0, 1].map(|i| middle[i] + off[i]), indentation_mm);
        }
        if s_mm < 0.0 {
            return (wished, 0.0);
        }
        let length_mm = math::hypot(wished[0], wished[1]);
        // far from the wall there is nothing to look at closely
        let lumen_mm = self.lumen_mm(s_mm);
        if length_mm + 1.5 * radius_mm + 0.3 < lumen_mm {
            return (wished, 0.0);
        }
        let curvature = self.plan().track.curve.curvature_at(s_mm);
        let nearer = 1.0 / (1.0 - curvature * length_mm.min(lumen_mm)).max(0.3);
        let room_mm = room_mm(|s| self.lumen_mm(s), s_mm, radius_mm, nearer) - MISSED_MM;
        let room_mm = room_mm.max(0.0);
        let indentation_mm = axis.between.indentation(s_mm);
        let held = held_within(wished, room_mm + indentation_mm);
        let beyond_mm = (math::hypot(held[0], held[1]) - room_mm).max(0.0);
        (held, beyond_mm)
    }

    pub(super) fn frame_at(&self, s_mm: f64) -> Frame {
        let near = self.stage.stations.partition_point(|s| *s < s_mm);
        let mut frame = match self.stage.stations.get(near) {
            #[expect(clippy::float_cmp, reason = "the station itself was asked for")]
            Some(s) if *s == s_mm => self.stage.frames[near],
            _ => self.plan().track.frame_at(s_mm),
        };
        if s_mm < 0.0 {
            // outside the body devices run on straight
            frame.origin_mm += frame.tangent * s_mm;
        }
        frame
    }

    fn point(&self, s_mm: f64, offset_mm: [f64; 2]) -> Point {
        self.frame_at(s_mm).place(offset_mm)
    }

    /// A round section that stands across the vessel.
    pub(super) fn node(&self, s_mm: f64, offset_mm: [f64; 2], radius_mm: f64) -> Node {
        let mut frame = self.frame_at(s_mm);
        frame.origin_mm = frame.place(offset_mm);
        ring(&frame, s_mm, radius_mm)
    }

    pub(super) fn moment(&self, time_s: f64) -> Moment {
        let devices = (0..self.axes.len())
            .filter_map(|k| self.device(k))
            .collect();
        Moment {
            time_s,
            step: self.step,
            share: self.share,
            devices,
            stents: if self.keys.is_some() {
                self.stents()
            } else {
                Vec::new()
            },
            clots: if self.keys.is_some() {
                self.clots()
            } else {
                Vec::new()
            },
            plaques: self.plaques(),
            contacts: self.contacts(),
            bands: self.bands(),
            watching: self.state.watching,
            state: self.state.clone(),
        }
    }

    fn device(&self, k: usize) -> Option<DrawnDevice> {
        let axis = self.axes[k].as_ref()?;
        let stacked = &self.plan().devices[k];
        let device = &stacked.device;
        let struts = match &device.payload {
            Some(Payload::Retriever(spec)) => self.retriever(k, spec),
            _ => None,
        };
        let (end_mm, far_mm) = match &struts {
            Some((_, near_mm, far_mm)) => (*near_mm, *far_mm),
            None => (axis.tip_mm, axis.tip_mm),
        };
        let start_mm = self.plan().hub_station_mm();
        let places = self.places(k, start_mm, end_mm);
        let mut nodes = self.nodes(k, &places);
        let radiopaque = marks(device);
        let mut lumen_mm = Vec::with_capacity(nodes.len());
        let mut cores = Vec::new();
        for (node, place) in nodes.iter_mut().zip(&places) {
            let section = device.section_in_cell(place.from_tip_mm, place.inside_mm);
            lumen_mm.push(section.inner_mm.map(|d| 0.5 * d));
            if matches!(device.lumen, LumenKind::Solid) {
                cores.push(core_mm(section.stiffness_n_mm2, node.radius_mm));
            }
            let towards_tip_mm = place.from_tip_mm - 1e-6;
            node.marked = radiopaque
                .iter()
                .any(|(near_mm, away_mm)| towards_tip_mm >= *near_mm && towards_tip_mm < *away_mm);
        }
        let tip = self.point(far_mm, self.offset_in(k, far_mm));
        let moves = self.stage.steps.get(self.step);
        Some(DrawnDevice {
            device: k,
            nodes,
            lumen_mm,
            core_mm: cores,
            tip,
            tip_mm: far_mm,
            fed_mm: self.state.in_place[k].map_or(0.0, |p| p.fed_mm),
            outside_mm: self.state.outside_mm(self.plan(), k),
            moving: self.share < 1.0 && moves.is_some_and(|m| m.moving.contains(&k)),
            suction: self.state.suction[k],
            struts: struts.map(|s| s.0),
            balloon: self.balloon(k),
        })
    }

    /// Where a device has sections: at the stations of the route, at its ends, and at the knots of its
    /// profile and the ends of its marks, twice where it makes a step.
    fn places(&self, k: usize, start_mm: f64, end_mm: f64) -> Vec<Place> {
        /// Sections nearer than this are one, mm.
        const SAME_MM: f64 = 0.05;
        let device = &self.plan().devices[k].device;
        let place = |s_mm: f64| {
            let from_tip_mm = self.to_tip_mm(k, s_mm);
            Place {
                s_mm,
                from_tip_mm,
                inside_mm: from_tip_mm,
            }
        };
        let stations = &self.stage.stations;
        let first = stations.partition_point(|s| *s < start_mm + SAME_MM);
        let past = stations.partition_point(|s| *s < end_mm - SAME_MM);
        let mut places = vec![place(start_mm)];
        places.extend(stations[first..past.max(first)].iter().map(|s| place(*s)));
        if end_mm > start_mm {
            places.push(place(end_mm));
        }
        let mut cuts: Vec<f64> = device.profile.iter().map(|knot| knot.from_tip_mm).collect();
        cuts.extend(marks(device).into_iter().flat_map(|(a, b)| [a, b]));
        cuts.sort_by(|a, b| b.total_cmp(a));
        cuts.dedup();
        let mut found: Vec<Place> = Vec::with_capacity(places.len() + 2 * cuts.len());
        let mut next = 0;
        for pair in places.windows(2) {
            found.push(pair[0]);
            let (far_mm, near_mm) = (pair[0].from_tip_mm, pair[1].from_tip_mm);
            while let Some(cut_mm) = cuts.get(next).filter(|c| **c > near_mm + 1e-9) {
                next += 1;
                if *cut_mm >= far_mm {
                    continue;
                }
                let part = (far_mm - cut_mm) / (far_mm - near_mm);
                let s_mm = pair[0].s_mm + (pair[1].s_mm - pair[0].s_mm) * part;
                for hair_mm in [1e-6, -1e-6] {
                    found.push(Place {
                        s_mm,
                        from_tip_mm: *cut_mm,
                        inside_mm: (cut_mm + hair_mm).max(0.0),
                    });
                }
            }
        }
        found.extend(places.last());
        found
    }

    fn nodes(&self, k: usize, places: &[Place]) -> Vec<Node> {
        let device = &self.plan().devices[k].device;
        let mut nodes: Vec<Node> = places
            .iter()
            .map(|place| {
                let section = device.section_in_cell(place.from_tip_mm, place.inside_mm);
                let radius_mm = 0.5 * section.outer_mm;
                let (offset_mm, indentation_mm) = self.offset_of(k, place.s_mm, radius_mm);
                let mut node = self.node(place.s_mm, offset_mm, radius_mm);
                node.from_tip_mm = place.from_tip_mm;
                node.indentation_mm = indentation_mm;
                node
            })
            .collect();
        let line: Vec<Point> = nodes.iter().map(|n| n.at).collect();
        for (i, node) in nodes.iter_mut().enumerate() {
            let along = direction(&line, i);
            node.along = along;
            node.across = (node.across - along * along.dot(&node.across))
                .try_normalize(1e-6)
                .unwrap_or(node.across);
            self.draw_in(k, node);
        }
        nodes
    }

    /// Where the lumen tapers or bends sharply and the device leans in it, its section is drawn in by what
    /// its corners still stand out; what there is no room for is indentation.
    fn draw_in(&self, k: usize, node: &mut Node) {
        /// Corners of a section that are looked at, and rounds: the second sees what the first moved.
        const CORNERS: u32 = 12;
        const ROUNDS: usize = 2;
        /// Changes of the radius along the vessel, and turning over a radius, below which a ball's room
        /// says it all.
        const TAPERS: f64 = 0.02;
        const BENDS: f64 = 0.3;
        let (s_mm, radius_mm) = (node.station_mm, node.radius_mm);
        if s_mm <= 0.0 || self.around(k, s_mm).is_some() {
            return;
        }
        let frame = self.frame_at(s_mm);
        let lumen_mm = self.lumen_mm(s_mm);
        if (node.at - frame.origin_mm).norm() + 1.2 * radius_mm + 0.1 < lumen_mm {
            return;
        }
        let reach_mm = radius_mm.max(0.5);
        let ends = [s_mm - reach_mm, s_mm + reach_mm].map(|s| self.lumen_mm(s) - lumen_mm);
        let tapers = ends.iter().any(|by_mm| by_mm.abs() > TAPERS * reach_mm);
        let bends = self.plan().track.curve.curvature_at(s_mm) * lumen_mm > BENDS;
        if !(tapers || bends || radius_mm > lumen_mm) {
            return;
        }
        for round in 0..=ROUNDS {
            let middle = node.at - frame.origin_mm;
            let excess_mm = (0..CORNERS)
                .map(|corner| node.around(corner, CORNERS) * radius_mm)
                .filter(|out| out.dot(&middle) >= 0.0)
                .map(|out| self.beyond_lumen_mm(s_mm, node.at + out))
                .fold(f64::NEG_INFINITY, f64::max)
                - node.indentation_mm;
            if excess_mm <= 0.0 {
                return;
            }
            let off_mm = middle.norm();
            if round == ROUNDS || off_mm < 1e-9 {
                node.indentation_mm += excess_mm;
                return;
            }
            node.at -= middle * (excess_mm.min(off_mm) / off_mm);
        }
    }

    /// How far a point near a station stands out of the lumen, mm; negative within.
    fn beyond_lumen_mm(&self, near_mm: f64, point: Point) -> f64 {
        let mut s_mm = near_mm;
        let (mut at, mut along) = self.stage.axis.at(s_mm);
        for _ in 0..4 {
            let by_mm = (point - at).dot(&along);
            if by_mm.abs() < 1e-3 {
                break;
            }
            s_mm += by_mm;
            (at, along) = self.stage.axis.at(s_mm);
        }
        let length_mm = self.plan().track.length_mm();
        (point - at).norm() - self.lumen_mm(s_mm.clamp(0.0, length_mm))
    }

    /// Stations between two others at which the sum of the radii of what lies there makes a bend or a step:
    /// tips, and the knots of profiles (a step counts on both its sides).
    fn opened_between(&self, start_mm: f64, end_mm: f64) -> Vec<f64> {
        /// Beside a knot, mm.
        const HAIR_MM: f64 = 1e-5;
        let axes = self.axes.iter().enumerate();
        axes.filter_map(|(k, axis)| Some((k, axis.as_ref()?.tip_mm)))
            .flat_map(|(k, tip_mm)| {
                let places = self.places(k, start_mm, end_mm.min(tip_mm));
                let knots = places
                    .into_iter()
                    .filter(Place::at_a_knot)
                    .flat_map(|place| [place.s_mm - HAIR_MM, place.s_mm + HAIR_MM]);
                std::iter::once(tip_mm + AHEAD_MM).chain(knots)
            })
            .collect()
    }

    fn plaques(&self) -> Vec<DrawnPlaque> {
        let track = &self.plan().track;
        let lesions = track.lesions.iter().enumerate();
        lesions
            .map(|(i, lesion)| {
                let start_mm = lesion.start_mm.max(0.0);
                let end_mm = lesion.end_mm.min(track.length_mm());
                let inside = |s: &&f64| **s > start_mm && **s < end_mm;
                let stations = self.stage.stations.iter();
                let opened = self.opened_between(start_mm, end_mm);
                let mut stations: Vec<f64> = stations
                    .chain(&opened)
                    .filter(inside)
                    .chain([&start_mm, &end_mm])
                    .copied()
                    .collect();
                stations.sort_by(f64::total_cmp);
                stations.dedup_by(|b, a| (*b - *a).abs() < 1e-9);
                let outer = |s: &f64| self.node(*s, [0.0; 2], 0.5 * track.healthy_diameter_at(*s));
                DrawnPlaque {
                    lesion: i,
                    inner: stations
                        .iter()
                        .map(|s| self.node(*s, [0.0; 2], self.lumen_mm(*s)))
                        .collect(),
                    outer: stations.iter().map(outer).collect(),
                    residual_mm: self.state.residual_mm[i],
                }
            })
            .collect()
    }

    fn contacts(&self) -> Vec<DrawnContact> {
        let Some((before, after, share)) = self.keys else {
            return Vec::new();
        };
        let same = std::ptr::eq(before, after);
        let fading = before.contacts.iter().map(|c| (c, 1.0 - share));
        let growing = after.contacts.iter().map(|c| (c, share));
        fading
            .filter(|_| !same)
            .chain(growing)
            .filter(|(_, share)| *share > 0.0)
            .filter_map(|(contact, share)| {
                let k = contact.device;
                let s_mm = contact.station_mm;
                self.axes[k].as_ref().filter(|w| s_mm <= w.tip_mm)?;
                let middle = self.point(s_mm, self.offset_in(k, s_mm));
                let against = contact
                    .force_n
                    .try_normalize(1e-12)
                    .map_or(middle, |way| middle - way * self.radius_mm(k, s_mm));
                Some(DrawnContact {
                    device: k,
                    on: contact.on,
                    at: against,
                    force_n: contact.force_n,
                    station_mm: s_mm,
                    share,
                })
            })
            .collect()
    }

    fn bands(&self) -> Vec<EdgeBand> {
        /// Half the width of a band, mm.
        const HALF_MM: f64 = 0.75;
        let Some(scene) = self.stage.scenes.get(self.step) else {
            return Vec::new();
        };
        // what is released in this step has its edges when it is out
        let out = if self.share >= 1.0 {
            &scene.after
        } else {
            &scene.before
        };
        let card = self.stage.steps.get(self.step);
        let stents = out.stents.iter();
        stents
            .flat_map(|stent| {
                [
                    (EdgeKind::Lower, stent.proximal_mm),
                    (EdgeKind::Upper, stent.distal_mm),
                ]
                .map(|(kind, s_mm)| (stent.device, kind, s_mm))
            })
            .map(|(k, kind, s_mm)| {
                let name = &self.plan().devices[k].name;
                let crossing = card.and_then(|card| card.worst_at(name, kind));
                let (state, words) = crossing.map_or_else(
                    || (EdgeState::Idle, EdgeState::Idle.in_words().to_owned()),
                    edge_state,
                );
                let nodes = [-HALF_MM, 0.0, HALF_MM]
                    .map(|by_mm| self.node(s_mm + by_mm, [0.0; 2], self.lumen_mm(s_mm + by_mm)));
                EdgeBand {
                    stent: k,
                    upper: kind == EdgeKind::Upper,
                    station_mm: s_mm,
                    nodes: nodes.to_vec(),
                    state,
                    words,
                    crossing: crossing.cloned(),
                }
            })
            .collect()
    }

    pub(super) fn section(&self, station_mm: f64) -> Section {
        let track = &self.plan().track;
        let s_mm = station_mm.clamp(0.0, track.length_mm());
        let stent = self.state.stents.iter().rev().find_map(|stent| {
            let diameter_mm = stent.diameter_at_mm(s_mm)?;
            let thickness_mm = match &self.plan().devices[stent.device].device.payload {
                Some(Payload::Stent(spec)) => spec.rim_thickness_mm(),
                _ => 0.0,
            };
            Some((0.5 * diameter_mm, thickness_mm))
        });
        let struts: Vec<SectionStruts> = (0..self.axes.len())
            .filter_map(|k| self.struts_at(k, s_mm))
            .collect();
        let there = (0..self.axes.len())
            .filter(|k| self.axes[*k].as_ref().is_some_and(|w| w.tip_mm >= s_mm))
            // an open retriever has no core
            .filter(|k| struts.iter().all(|s| s.device != *k));
        let mut devices: Vec<SectionDevice> = there
            .map(|k| {
                let section = self.plan().devices[k]
                    .device
                    .section_at(self.to_tip_mm(k, s_mm));
                SectionDevice {
                    device: k,
                    offset_mm: self.offset_in(k, s_mm),
                    outer_mm: 0.5 * section.outer_mm,
                    lumen_mm: section.inner_mm.map(|d| 0.5 * d),
                }
            })
            .collect();
        devices.sort_by(|a, b| b.outer_mm.total_cmp(&a.outer_mm));
        Section {
            station_mm: s_mm,
            lumen_mm: self.lumen_mm(s_mm),
            wall_mm: 0.5 * track.healthy_diameter_at(s_mm),
            stent_mm: stent,
            devices,
            struts,
        }
    }

    /// Where the struts of an open retriever pass through a cross section.
    fn struts_at(&self, k: usize, s_mm: f64) -> Option<SectionStruts> {
        let Some(Payload::Retriever(spec)) = &self.plan().devices[k].device.payload else {
            return None;
        };
        if !self.state.open[k] {
            return None;
        }
        let (mesh, near_mm, far_mm) = self.retriever(k, spec)?;
        if s_mm < near_mm || s_mm > far_mm {
            return None;
        }
        let frame = self.frame_at(s_mm);
        let reach_mm = 1.5 * self.lumen_mm(s_mm);
        let crossing = |pair: &[Point]| -> Option<[f64; 2]> {
            let [a, b] = [pair[0], pair[1]].map(|p| p - frame.origin_mm);
            let (before, after) = (a.dot(&frame.tangent), b.dot(&frame.tangent));
            if (before < 0.0) == (after < 0.0) {
                return None;
            }
            let off = a + (b - a) * (before / (before - after));
            let at = [off.dot(&frame.n1), off.dot(&frame.n2)];
            // in the siphon the same plane is met a second time
            (math::hypot(at[0], at[1]) < reach_mm).then_some(at)
        };
        Some(SectionStruts {
            device: k,
            radius_mm: mesh.radius_mm,
            at_mm: mesh
                .wires
                .iter()
                .flat_map(|wire| wire.windows(2).filter_map(crossing))
                .collect(),
        })
    }
}

/// A section of a device: its station, its distance from the tip, and on which side of a step it lies.
#[derive(Debug, Clone, Copy)]
struct Place {
    s_mm: f64,
    from_tip_mm: f64,
    inside_mm: f64,
}

impl Place {
    /// Whether it stands at a knot of the profile or an end of a mark, not at a station of the route.
    fn at_a_knot(&self) -> bool {
        (self.inside_mm - self.from_tip_mm).abs() > 0.0
    }
}

/// The settled shapes around a share of a step's motion, and the share between them.
fn between(scene: &Scenes, share: f64) -> Option<(&Key, &Key, f64)> {
    let after = scene.keys.partition_point(|key| key.share < share);
    let after = after.clamp(1, scene.keys.len().saturating_sub(1).max(1));
    let (a, b) = (scene.keys.get(after - 1)?, scene.keys.get(after)?);
    Some((
        a,
        b,
        ((share - a.share) / (b.share - a.share)).clamp(0.0, 1.0),
    ))
}
