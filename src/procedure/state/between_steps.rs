//! Where every device is between two steps, and the arithmetic of nested lengths.

use super::stent::DeployedStent;
use crate::device::{Accessory, LumenKind};
use crate::geometry::TrackLesion;
use crate::procedure::script::{Plan, Region};

/// A device inside the body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InPlace {
    /// Station of its tip, mm from the arteriotomy; of the *folded* tip for an open retriever.
    pub tip_mm: f64,
    /// How much of it has passed the access hub, mm along itself.
    pub fed_mm: f64,
    /// Catheter whose hub it entered through; none: the access itself.
    pub through: Option<usize>,
}

/// A shaped tip in an ostium.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seat {
    /// Station of the ostium, mm.
    pub ostium_mm: f64,
    /// Contrast has shown that it sits there.
    pub shown: bool,
}

/// The state between two steps.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// By device: where it is, if it is in the body.
    pub in_place: Vec<Option<InPlace>>,
    /// `(rider, rail)`: devices loaded over a rail.
    pub rides: Vec<(usize, usize)>,
    /// Stents in the vessel.
    pub stents: Vec<DeployedStent>,
    /// By device: a retriever standing open.
    pub open: Vec<bool>,
    /// By device: its balloon is up.
    pub inflated: Vec<bool>,
    /// By device: suction on its lumen.
    pub suction: Vec<bool>,
    /// `(part, rail)`: clips and insertion tools on rails.
    pub attached: Vec<(usize, usize)>,
    /// What planes A and B look at.
    pub watching: [Option<Region>; 2],
    /// By plane: a run was made on it since it was pointed where it looks.
    pub run_on: [bool; 2],
    /// By plane: that run lies on it as a map.
    pub roadmap: [bool; 2],
    /// By device: its shaped tip sits in an ostium.
    pub seated: Vec<Option<Seat>>,
    /// By device: saline pressed through its lumen at this pressure, atm.
    pub flushed_atm: Vec<Option<f64>>,
    /// By device: where its markers lay when last looked at, mm; none for what is no open retriever.
    pub markers_mm: Vec<Option<f64>>,
    /// Work on the neck without suction and with blood flowing has been told of.
    pub unprotected_told: bool,
    /// By lesion of the track: residual lumen now, mm.
    pub residual_mm: Vec<f64>,
    /// By lesion: the lumen at rest, without the stent that holds it open, mm.
    pub rest_mm: Vec<f64>,
    /// By lesion: the widest that has stood in its middle since a balloon or a stent opened it, mm; zero where nothing has.
    pub passed_mm: Vec<f64>,
    /// By lesion: tips that have crossed it from below so far.
    pub crossings: Vec<usize>,
    /// By lesion: contrast beyond it has shown the true lumen.
    pub true_lumen_shown: Vec<bool>,
    /// By lesion: it was crossed and then let go of.
    pub access_lost: Vec<bool>,
}

impl State {
    /// Everything outside, every lesion as the vessel has it.
    #[must_use]
    pub fn start(plan: &Plan) -> Self {
        let devices = plan.devices.len();
        let lesions = &plan.track.lesions;
        Self {
            in_place: vec![None; devices],
            rides: Vec::new(),
            stents: Vec::new(),
            open: vec![false; devices],
            inflated: vec![false; devices],
            suction: vec![false; devices],
            attached: Vec::new(),
            watching: [None; 2],
            run_on: [false; 2],
            roadmap: [false; 2],
            seated: vec![None; devices],
            flushed_atm: vec![None; devices],
            markers_mm: vec![None; devices],
            unprotected_told: false,
            residual_mm: lesions.iter().map(|l| l.residual_mm).collect(),
            rest_mm: lesions.iter().map(|l| l.residual_mm).collect(),
            passed_mm: vec![0.0; lesions.len()],
            crossings: vec![0; lesions.len()],
            true_lumen_shown: vec![false; lesions.len()],
            access_lost: vec![false; lesions.len()],
        }
    }

    /// Station of a device's folded tip, mm, if it is in the body.
    #[must_use]
    pub fn tip_mm(&self, device: usize) -> Option<f64> {
        self.in_place[device].map(|p| p.tip_mm)
    }

    /// Length of `device` between the hub it enters through (its valves counted as gone) and its
    /// own end or hub, mm; negative where it is too short.
    ///
    /// An inner device passes *all* of the catheter whose hub it enters, also the part of it that
    /// is still outside; see [`Device::outside_mm`](crate::device::Device::outside_mm).
    #[must_use]
    pub fn outside_mm(&self, plan: &Plan, device: usize) -> Option<f64> {
        let at = self.in_place[device]?;
        self.outside_beyond_mm(plan, device, at.through)
    }

    /// The same, as if it had entered through `hub`.
    #[must_use]
    pub fn outside_beyond_mm(&self, plan: &Plan, device: usize, hub: Option<usize>) -> Option<f64> {
        let at = self.in_place[device]?;
        let hub_mm = self.hub_offset_mm(plan, hub)?;
        let outside_mm = plan.devices[device].device.outside_mm(at.fed_mm, hub_mm);
        Some(outside_mm + self.extended_mm(plan, device))
    }

    /// Length that extensions on a rail add to it, mm.
    fn extended_mm(&self, plan: &Plan, rail: usize) -> f64 {
        let on_rail = self.attached.iter().filter(|(_, on)| *on == rail);
        let added = on_rail.map(|(part, _)| match &plan.parts[*part].accessory {
            Accessory::Extension { length_mm, .. } => *length_mm,
            _ => 0.0,
        });
        added.fold(0.0, |sum, mm| sum + mm)
    }

    /// Length of any device that lies between the access hub and the hub (valves included) it
    /// enters through, mm, counted beyond what it has fed past the access: what of the outer
    /// catheter, its hub and its valves still lies outside.
    pub(in crate::procedure) fn hub_offset_mm(
        &self,
        plan: &Plan,
        hub: Option<usize>,
    ) -> Option<f64> {
        Some(match hub {
            None => 0.0,
            Some(j) => {
                let (outer, fed_mm) = (&plan.devices[j], self.in_place[j]?.fed_mm);
                outer.device.outside_with_hub_mm(fed_mm, outer.valves_mm)
            }
        })
    }

    /// Largest length that can be fed past the access through `hub`, keeping `reserve_mm` outside.
    #[must_use]
    pub fn most_fed_mm(
        &self,
        plan: &Plan,
        device: usize,
        hub: Option<usize>,
        reserve_mm: f64,
    ) -> Option<f64> {
        let hub_mm = self.hub_offset_mm(plan, hub)?;
        Some(plan.devices[device].device.most_fed_mm(hub_mm, reserve_mm))
    }

    /// Devices that entered through `device`'s hub.
    pub fn inside(&self, device: usize) -> impl Iterator<Item = usize> + '_ {
        (0..self.in_place.len())
            .filter(move |k| self.in_place[*k].is_some_and(|p| p.through == Some(device)))
    }

    /// Catheters around `device` by the hubs it passed, the nearest first.
    #[must_use]
    pub fn hubs_passed(&self, device: usize) -> Vec<usize> {
        let mut chain = Vec::new();
        let mut next = self.in_place[device].and_then(|p| p.through);
        // a device cannot enter through itself; the bound only guards a broken state
        while let Some(j) = next
            && chain.len() <= self.in_place.len()
        {
            chain.push(j);
            next = self.in_place[j].and_then(|p| p.through);
        }
        chain
    }

    /// What holds `device` at a station: the innermost lumen it lies in there, or the vessel.
    ///
    /// Chosen station by station: a rapid-exchange rider holds its rail from its tip to its port
    /// only; behind the port both lie side by side in the next catheter out.
    #[must_use]
    pub fn container_at(&self, plan: &Plan, device: usize, s_mm: f64) -> Option<usize> {
        let rider = self.rides.iter().find_map(|&(rider, rail)| {
            let LumenKind::RapidExchange { port_from_tip } = plan.devices[rider].device.lumen
            else {
                return None;
            };
            let tip_mm = self.tip_mm(rider)?;
            (rail == device && s_mm <= tip_mm && s_mm >= tip_mm - port_from_tip).then_some(rider)
        });
        rider.or_else(|| {
            self.hubs_passed(device)
                .into_iter()
                .find(|j| self.tip_mm(*j).is_some_and(|tip| s_mm <= tip))
        })
    }

    /// The rapid-exchange riders on a rail.
    pub fn riders_of(&self, rail: usize) -> impl Iterator<Item = usize> + '_ {
        self.rides.iter().filter(move |r| r.1 == rail).map(|r| r.0)
    }

    /// Station from which on a device lies bare, mm: beyond all catheters whose hubs it has passed.
    #[must_use]
    pub fn bare_from_mm(&self, device: usize) -> f64 {
        let around = self.hubs_passed(device).into_iter();
        around.filter_map(|j| self.tip_mm(j)).fold(0.0, f64::max)
    }

    /// Whether a stent lies in a lesion, in part at least.
    #[must_use]
    pub fn is_stented(&self, lesion: &TrackLesion) -> bool {
        let mut stents = self.stents.iter();
        stents.any(|s| s.proximal_mm < lesion.end_mm && s.distal_mm > lesion.start_mm)
    }

    /// Devices whose tip lies beyond a lesion's far end: they hold the way across it.
    pub fn across(&self, plan: &Plan, lesion: usize) -> impl Iterator<Item = usize> + '_ {
        let end_mm = plan.track.lesions[lesion].end_mm;
        (0..self.in_place.len()).filter(move |k| self.tip_mm(*k).is_some_and(|tip| tip >= end_mm))
    }
}
