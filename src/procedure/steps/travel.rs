//! Tips on their way along the route: how far they come, and what they meet.

use super::stepper::{Outcome, Stepper};
use crate::device::DeviceClass;
use crate::procedure::placing::{DepthTarget, Motion};
use crate::procedure::reason::{Access, Finding, Reach, Vessel};
use crate::procedure::state::InPlace;

/// Length by which a device may want of being long enough and still count as just so, mm: lengths of rods
/// are found to a hundredth of it, and told to the millimetre.
const JUST_FED_MM: f64 = 0.1;

impl Stepper<'_> {
    /// Moves a tip as far as wished or as far as it comes, and tells what it meets.
    pub(super) fn move_tip(&mut self, device: usize, wished_mm: f64, motion: Motion) -> Outcome {
        let Some(at) = self.state.in_place[device] else {
            return Ok(());
        };
        let end_mm = self.plan.track.length_mm();
        if motion == Motion::Forward {
            self.pass_lesions(device, [at.tip_mm, wished_mm.min(end_mm)])?;
        }
        let mut placed =
            self.placed(&[(device, DepthTarget::Tip(wished_mm.min(end_mm)))], motion)?;
        if motion == Motion::Forward {
            if wished_mm > end_mm + 1e-9 {
                self.tell(Finding::failure(Reach::RouteEnds {
                    device: self.name(device),
                    short_mm: wished_mm - end_mm,
                }));
            }
            let most_fed_mm = self.most_fed_mm(device, at);
            if placed.fed_mm[device] > Some(most_fed_mm + JUST_FED_MM) {
                placed = self.placed(&[(device, DepthTarget::Fed(most_fed_mm))], motion)?;
                self.tell_too_short(
                    device,
                    at,
                    wished_mm,
                    placed.tip_mm[device].unwrap_or(at.tip_mm),
                );
            }
            let to_mm = placed.tip_mm[device].unwrap_or(wished_mm);
            self.tell_on_the_way(device, at, to_mm)?;
            self.keep_dilated(device, to_mm);
        }
        self.take_over(placed, &[device]);
        if motion == Motion::Forward {
            self.tell_unengaged(device);
        }
        Ok(())
    }

    /// What a tip meets on its way forward.
    pub(super) fn tell_on_the_way(&mut self, device: usize, at: InPlace, to_mm: f64) -> Outcome {
        self.tell_unled(device, at, to_mm);
        self.tell_vessel(device, at, to_mm)?;
        self.count_crossings(device, at.tip_mm, to_mm);
        Ok(())
    }

    /// Feeds a device until its hub meets the valve: it cannot be too short for that.
    pub(super) fn feed_to_hub(&mut self, device: usize) -> Outcome {
        let Some(at) = self.state.in_place[device] else {
            return Ok(());
        };
        let most_fed_mm = self.most_fed_mm(device, at);
        let longest_mm = self.plan.fed_mm(self.plan.track.length_mm());
        let target = DepthTarget::Fed(most_fed_mm.min(longest_mm));
        let placed = self.placed(&[(device, target)], Motion::Forward)?;
        let to_mm = placed.tip_mm[device].unwrap_or(at.tip_mm);
        self.tell_vessel(device, at, to_mm)?;
        self.count_crossings(device, at.tip_mm, to_mm);
        self.keep_dilated(device, to_mm);
        self.take_over(placed, &[device]);
        Ok(())
    }

    /// Most of a device that can be fed, keeping what a hand needs to hold; never less than is fed.
    pub(super) fn most_fed_mm(&self, device: usize, at: InPlace) -> f64 {
        let reserve_mm = self.plan.devices[device].grip_mm(&self.plan.rules);
        self.state
            .most_fed_mm(self.plan, device, at.through, reserve_mm)
            .map_or(f64::INFINITY, |fed| fed.max(at.fed_mm))
    }

    fn tell_too_short(&mut self, device: usize, at: InPlace, wished_mm: f64, furthest_mm: f64) {
        let stacked = &self.plan.devices[device];
        // a sheath that is in to its hub takes no length away but that of the hub
        let around = at
            .through
            .filter(|outer| self.state.outside_mm(self.plan, *outer) > Some(0.5));
        self.tell(Finding::failure(Reach::TooShort {
            device: stacked.name.clone(),
            reaches: self.plan.spot(furthest_mm),
            short_mm: wished_mm - furthest_mm,
            usable_mm: stacked.device.usable_length_mm,
            grip_mm: stacked.is_rail().then(|| stacked.grip_mm(&self.plan.rules)),
            around: around.map(|outer| self.name(outer)),
            sheath: self.short_sheath_around(at).map(|outer| self.name(outer)),
        }));
    }

    /// The short sheath that a catheter goes in through, and could go in without.
    pub(super) fn short_sheath_around(&self, at: InPlace) -> Option<usize> {
        let sheath = |k: &usize| self.plan.devices[*k].device.class == DeviceClass::AccessSheath;
        at.through.filter(sheath)
    }

    /// A guide or a selector pushed up beyond the arch with nothing inside that leads it there: its open rim
    /// scrapes along the wall (common practice, no source: a guide follows a wire, better a wire and a
    /// catheter that tapers).
    fn tell_unled(&mut self, device: usize, at: InPlace, to_mm: f64) {
        let stacked = &self.plan.devices[device];
        let guides = matches!(
            stacked.device.class,
            DeviceClass::Guide
                | DeviceClass::BalloonGuide
                | DeviceClass::LongSheath
                | DeviceClass::Selector
        );
        let Ok(arch_mm) = self.plan.track.landmark("common-carotid-origin") else {
            return;
        };
        if self.turning || !guides || to_mm <= arch_mm.max(at.tip_mm) {
            return;
        }
        let inside = (0..self.plan.devices.len()).filter(|k| {
            self.state.hubs_passed(*k).contains(&device) || self.state.rides.contains(&(device, *k))
        });
        // what leads it lies beyond the arch, and not behind its tip
        let led = inside
            .filter_map(|k| self.state.tip_mm(k))
            .any(|tip_mm| tip_mm >= arch_mm.max(at.tip_mm));
        if !led {
            self.tell(Finding::warning(Vessel::Unled {
                device: stacked.name.clone(),
                place: self.plan.spot(to_mm),
            }));
        }
    }

    /// The device against every stretch of vessel that it lies bare in after the move.
    fn tell_vessel(&mut self, device: usize, at: InPlace, to_mm: f64) -> Outcome {
        let stacked = &self.plan.devices[device];
        let bare_from_mm = self.state.bare_from_mm(device);
        let track = &self.plan.track;
        // what passes a station is everything from the tip to what lies there in the end
        let widest_to = |from_tip_mm: f64| stacked.device.max_outer_between(0.0, from_tip_mm);
        let mut tightest: Option<(f64, f64, f64)> = None;
        for station in track
            .stations
            .iter()
            .filter(|s| s.s_mm >= bare_from_mm && s.s_mm <= to_mm)
        {
            let outer_mm = widest_to(to_mm - station.s_mm);
            let lumen_mm = track.healthy_diameter_at(station.s_mm);
            if tightest.is_none_or(|(o, l, _)| outer_mm / lumen_mm > o / l) {
                tightest = Some((outer_mm, lumen_mm, station.s_mm));
            }
        }
        if let Some((outer_mm, lumen_mm, s_mm)) = tightest
            && outer_mm > lumen_mm
        {
            self.tell(Finding::failure(Vessel::WiderThanVessel {
                device: stacked.name.clone(),
                outer_mm,
                lumen_mm,
                place: self.plan.spot(s_mm),
            }));
        }
        self.tell_access_artery(device, bare_from_mm, at, to_mm);
        self.tell_lesions(device, bare_from_mm, [at.tip_mm, to_mm])
    }

    /// A device that nearly fills the artery it enters by.
    fn tell_access_artery(&mut self, device: usize, bare_from_mm: f64, at: InPlace, to_mm: f64) {
        let Some(artery) = self.plan.track.segments.first() else {
            return;
        };
        let (from_mm, until_mm) = (bare_from_mm.max(artery.start_mm), artery.end_mm.min(to_mm));
        if from_mm >= until_mm || at.tip_mm > artery.end_mm {
            return;
        }
        let narrowest_mm = self
            .plan
            .track
            .stations
            .iter()
            .filter(|s| s.s_mm >= from_mm && s.s_mm <= until_mm)
            .map(|s| self.plan.track.healthy_diameter_at(s.s_mm))
            .fold(f64::INFINITY, f64::min);
        let outer_mm = self.plan.devices[device]
            .device
            .max_outer_between(0.0, to_mm - from_mm);
        let fill = outer_mm / narrowest_mm;
        if fill > self.plan.rules.access_fill && fill <= 1.0 {
            self.tell(Finding::warning(Vessel::FillsAccess {
                device: self.name(device),
                outer_mm,
                lumen_mm: narrowest_mm,
            }));
        }
    }

    fn count_crossings(&mut self, device: usize, from_mm: f64, to_mm: f64) {
        for clot in self.plan.track.clots.clone() {
            let past = |k: usize| self.state.tip_mm(k).is_some_and(|tip| tip >= clot.end_mm);
            let led = (0..self.plan.devices.len()).any(past);
            if from_mm < clot.end_mm && to_mm >= clot.end_mm && !led {
                self.tell_no_roadmap(device, &clot.name, clot.start_mm);
            }
        }
        for lesion in 0..self.plan.track.lesions.len() {
            let end_mm = self.plan.track.lesions[lesion].end_mm;
            if from_mm >= end_mm || to_mm < end_mm {
                continue;
            }
            let led = self.state.across(self.plan, lesion).any(|k| k != device);
            if self.state.access_lost[lesion] && !led {
                let lesion = self.plan.track.lesions[lesion].name.clone();
                self.tell(Finding::warning(Access::CrossedAgain { lesion }));
            }
            if !led {
                let told = &self.plan.track.lesions[lesion];
                let (name, middle_mm) = (told.name.clone(), told.middle_mm());
                self.tell_no_roadmap(device, &name, middle_mm);
            }
            self.state.crossings[lesion] += 1;
        }
    }
}
