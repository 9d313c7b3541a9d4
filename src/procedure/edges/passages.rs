//! Which edges of which stents a step's moves cross, with what, and under what cover.

use super::device_steps::{DeviceStep, device_steps};
use crate::device::{LumenKind, Payload};
use crate::procedure::script::Plan;
use crate::procedure::state::{EdgeKind, Move, State};
use serde::{Deserialize, Serialize};

/// What of a device meets the edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Meets {
    /// A step that faces forward: the one at its tip, or one behind it.
    Nose,
    /// The open struts of a retriever.
    Struts,
    /// A step that faces back.
    Back,
}

/// The catheter that covers a crossing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cover {
    /// Its index.
    pub device: usize,
    /// Smallest distance of its tip beyond the edge while the edge is crossed, mm, as the step began:
    /// before it falls back; negative where it lies short of it.
    pub beyond_mm: f64,
    /// Whether it is drawn back itself with the step.
    pub withdrawn: bool,
}

/// One crossing of one edge by one device.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgePassage {
    /// The device that crosses.
    pub device: usize,
    /// Index of the stent in [`State::stents`] before the step.
    pub stent: usize,
    /// Which edge.
    pub kind: EdgeKind,
    /// Where it is, mm.
    pub station_mm: f64,
    /// Away from the access.
    pub forward: bool,
    /// Whether the edge looks towards what arrives.
    pub faces: bool,
    /// What meets it.
    pub meets: Meets,
    /// The step behind the device's tip that meets it; none: its tip, or a retriever's struts.
    pub step: Option<DeviceStep>,
    /// What the device rides on there.
    pub riding_on: Option<usize>,
    /// Radius of that, mm.
    pub carrier_radius_mm: f64,
    /// What covers it, or, where nothing does, the catheter that stays behind and comes nearest; none:
    /// there is no catheter round it.
    pub cover: Option<Cover>,
}

impl EdgePassage {
    /// Where the device's tip stands when it meets the edge, mm.
    #[must_use]
    pub fn tip_mm(&self) -> f64 {
        self.station_mm + self.step.map_or(0.0, |s| s.from_tip_mm)
    }
}

/// Every crossing of a stent's edge by the moves of a step, device by device in order of travel.
///
/// Stents are those that lay in the vessel before the step. What passes an edge inside another
/// catheter does not meet it and is left out, but for an open retriever: how well it stays covered is
/// what the plan rests on.
#[must_use]
pub fn edge_passages(
    plan: &Plan,
    before: &State,
    after: &State,
    moves: &[Move],
) -> Vec<EdgePassage> {
    let scan = Scan {
        plan,
        before,
        after,
        moves,
    };
    let mut found = Vec::new();
    for moved in moves {
        for stent in 0..before.stents.len() {
            scan.crossings(moved, stent, &mut found);
        }
    }
    found
}

struct Scan<'a> {
    plan: &'a Plan,
    before: &'a State,
    after: &'a State,
    moves: &'a [Move],
}

impl Scan<'_> {
    /// The state that has a device in the body: it may come in or go out with the step.
    fn state_of(&self, device: usize) -> &State {
        if self.before.in_place[device].is_some() {
            self.before
        } else {
            self.after
        }
    }

    /// A tip (folded) at a share of the step, mm; shifts of held devices included.
    fn tip_mm(&self, device: usize, share: f64) -> Option<f64> {
        if let Some(m) = self.moves.iter().find(|m| m.device == device) {
            return Some(m.from_mm + share * (m.to_mm - m.from_mm));
        }
        self.before
            .tip_mm(device)
            .or_else(|| self.after.tip_mm(device))
    }

    fn crossings(&self, moved: &Move, stent: usize, found: &mut Vec<EdgePassage>) {
        let lying = &self.before.stents[stent];
        let open = self.before.open[moved.device];
        let forward = moved.to_mm > moved.from_mm;
        let mut edges = vec![
            (EdgeKind::Lower, lying.proximal_mm),
            (EdgeKind::Upper, lying.distal_mm),
        ];
        let spec = match &self.plan.devices[lying.device].device.payload {
            Some(Payload::Stent(spec)) => spec,
            _ => return,
        };
        if open && spec.has_open_cells() {
            edges.push((
                EdgeKind::Cells,
                self.sharpest_mm(lying.proximal_mm, lying.distal_mm),
            ));
        }
        let mut mine = Vec::new();
        for (kind, station_mm) in edges {
            let passage = EdgePassage {
                device: moved.device,
                stent,
                kind,
                station_mm,
                forward,
                faces: match kind {
                    EdgeKind::Upper => !forward,
                    EdgeKind::Lower => forward,
                    EdgeKind::Cells => true,
                },
                meets: if forward { Meets::Nose } else { Meets::Back },
                step: None,
                riding_on: None,
                carrier_radius_mm: 0.0,
                cover: None,
            };
            if open {
                mine.extend(self.open_retriever(moved, passage));
                continue;
            }
            let steps = device_steps(&self.plan.devices[moved.device].device);
            let met = steps.into_iter().filter(|s| s.faces_forward == forward);
            let behind: Vec<EdgePassage> = met
                .filter_map(|step| {
                    let step = Some(step);
                    self.bare(moved, EdgePassage { step, ..passage })
                })
                .collect();
            // a tip that comes back shows the edge nothing but what lies behind it
            if forward || behind.is_empty() {
                mine.extend(self.bare(moved, passage));
            }
            mine.extend(behind);
        }
        // in order of travel
        mine.sort_by(|a: &EdgePassage, b| {
            let order = a.tip_mm().total_cmp(&b.tip_mm());
            if forward { order } else { order.reverse() }
        });
        found.extend(mine);
    }

    /// Where the vessel bends most between two stations, mm.
    fn sharpest_mm(&self, from_mm: f64, to_mm: f64) -> f64 {
        let stations = self.plan.track.stations.iter();
        stations
            .filter(|s| s.s_mm > from_mm && s.s_mm < to_mm)
            .max_by(|a, b| a.curvature_per_mm.total_cmp(&b.curvature_per_mm))
            .map_or(0.5 * (from_mm + to_mm), |s| s.s_mm)
    }

    /// The catheter round a device whose tip lies furthest beyond an edge at a share of the step;
    /// `staying`: of those that are not withdrawn with it.
    fn cover_at(
        &self,
        device: usize,
        station_mm: f64,
        share: f64,
        staying: bool,
    ) -> Option<(usize, f64)> {
        let around = self.state_of(device).hubs_passed(device).into_iter();
        around
            .filter(|j| !(staying && self.moved(*j)))
            .filter_map(|j| Some((j, self.tip_mm(j, share)? - station_mm)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    fn moved(&self, device: usize) -> bool {
        self.moves.iter().any(|m| m.device == device)
    }

    fn cover(&self, device: usize, station_mm: f64, shares: [f64; 2]) -> Option<Cover> {
        // tips move evenly, so the least cover is at one end of the crossing
        let least = |staying: bool| {
            shares
                .into_iter()
                .filter_map(|share| self.cover_at(device, station_mm, share, staying))
                .min_by(|a, b| a.1.total_cmp(&b.1))
        };
        let any = least(false)?;
        // what is withdrawn with the retriever and leaves it bare says nothing about a way out
        let (device, beyond_mm) = if any.1 >= 0.0 {
            any
        } else {
            least(true).unwrap_or(any)
        };
        Some(Cover {
            device,
            beyond_mm,
            withdrawn: self.moved(device),
        })
    }

    /// An open retriever drawn back across an edge: some part of its open length passes it.
    fn open_retriever(&self, moved: &Move, passage: EdgePassage) -> Option<EdgePassage> {
        let device = moved.device;
        let back_mm = moved.from_mm - moved.to_mm;
        let near_mm = self.before.retriever_proximal_mm(self.plan, device)?;
        let far_mm = self.before.distal_end_mm(self.plan, device)?;
        let edge_mm = passage.station_mm;
        if back_mm <= 0.0 || far_mm <= edge_mm || near_mm - back_mm >= edge_mm {
            return None;
        }
        let shares = [
            ((near_mm - edge_mm) / back_mm).clamp(0.0, 1.0),
            ((far_mm - edge_mm) / back_mm).clamp(0.0, 1.0),
        ];
        Some(EdgePassage {
            meets: Meets::Struts,
            cover: self.cover(device, edge_mm, shares),
            ..passage
        })
    }

    /// Any other device whose tip, or a step behind it, passes an edge outside other catheters.
    fn bare(&self, moved: &Move, passage: EdgePassage) -> Option<EdgePassage> {
        let device = moved.device;
        let edge_mm = passage.station_mm;
        let tip_mm = passage.tip_mm();
        let (low_mm, high_mm) = (
            moved.from_mm.min(moved.to_mm),
            moved.from_mm.max(moved.to_mm),
        );
        if !(low_mm < tip_mm && high_mm >= tip_mm) {
            return None;
        }
        let share = (tip_mm - moved.from_mm) / (moved.to_mm - moved.from_mm);
        let cover = self.cover_at(device, edge_mm, share, false);
        if cover.is_some_and(|(_, beyond_mm)| beyond_mm >= 0.0) {
            return None;
        }
        // what lies in its lumen and reaches beyond its tip carries it
        let state = self.state_of(device);
        let carrier = (0..self.plan.devices.len())
            .filter(|k| *k != device && self.in_lumen_of(state, *k, device))
            .filter_map(|k| {
                let beyond_mm = self.tip_mm(k, share)? - edge_mm;
                let outer_mm = self.plan.devices[k].device.section_at(beyond_mm).outer_mm;
                (beyond_mm > 0.0).then_some((k, 0.5 * outer_mm))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1));
        Some(EdgePassage {
            riding_on: carrier.map(|c| c.0),
            carrier_radius_mm: carrier.map_or(0.0, |c| c.1),
            ..passage
        })
    }

    fn in_lumen_of(&self, state: &State, inner: usize, outer: usize) -> bool {
        match self.plan.devices[outer].device.lumen {
            LumenKind::Solid => false,
            LumenKind::Full => state.hubs_passed(inner).contains(&outer),
            LumenKind::RapidExchange { .. } => state.rides.contains(&(outer, inner)),
        }
    }
}
