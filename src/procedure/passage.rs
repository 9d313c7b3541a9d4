//! Moving tips along the route, and what they meet on the way: vessel and lesion.

use super::{
    Finding, InPlace, Motion, Topic, Where, Wish, step::Outcome, step::Stepper, step::stop,
};

/// A device this thin slips through a residual lumen without being said to dilate it, mm: the
/// 0.014 in of a wire and its coating.
const WIRE_MM: f64 = 0.4;
/// Length by which a held tip may have been carried on beyond the place it is to go to, mm: a step that
/// finds it there has nothing to do.
const CARRIED_ON_MM: f64 = 5.0;
/// Length by which a device may want of being long enough and still count as just so, mm: lengths of rods
/// are found to a hundredth of it, and told to the millimetre.
const JUST_FED_MM: f64 = 0.1;

impl Stepper<'_> {
    pub(super) fn advance(&mut self, name: &str, to: &Where, nose: Option<&str>) -> Outcome {
        let (device, at) = self.in_body(name)?;
        self.check_free_to_move(device)?;
        if self.state.open[device] {
            return stop(
                format!("the {name} stands open: an open retriever is not pushed forward"),
                "re-sheathe it by advancing the microcatheter over it first",
            );
        }
        if let Some(nose) = nose {
            let (lead, lead_at) = self.in_body(nose)?;
            if !self.state.hubs_passed(lead).contains(&device) {
                return stop(
                    format!("the {nose} does not lie in the {name}: it cannot be its nose"),
                    "name a catheter or balloon inside it",
                );
            }
            if lead_at.tip_mm <= at.tip_mm {
                return stop(
                    format!("the {nose} does not reach beyond the {name}'s tip"),
                    format!("advance the {nose} first"),
                );
            }
        }
        let mut to_mm = self.resolve(to, device, at.tip_mm, true)?;
        // carried on a little by what moved before, it is there
        if to_mm < at.tip_mm && to_mm > at.tip_mm - CARRIED_ON_MM {
            to_mm = at.tip_mm;
        }
        if to_mm < at.tip_mm - 1e-9 {
            return stop(
                format!(
                    "the {name} is already {:.0} mm beyond that place",
                    at.tip_mm - to_mm
                ),
                "use Withdraw",
            );
        }
        self.check_stented_lumen(device, at.tip_mm, to_mm, nose)?;
        self.tell_rail_in_hand(device);
        self.move_tip(device, to_mm, Motion::Forward)
    }

    pub(super) fn withdraw(&mut self, name: &str, to: &Where) -> Outcome {
        if *to == Where::Out {
            return self.remove(name);
        }
        let (device, at) = self.in_body(name)?;
        self.check_free_to_move(device)?;
        let to_mm = self.resolve(to, device, at.tip_mm, false)?;
        if to_mm > at.tip_mm + 1e-9 {
            return stop(
                format!(
                    "the {name} is {:.0} mm short of that place",
                    to_mm - at.tip_mm
                ),
                "use Advance",
            );
        }
        self.check_hubs_behind(device, at, to_mm, &[device])?;
        self.move_tip(device, to_mm, Motion::Back)
    }

    pub(super) fn withdraw_together(&mut self, names: &[String], to: &Where) -> Outcome {
        let unit = names
            .iter()
            .map(|name| self.in_body(name))
            .collect::<Outcome<Vec<_>>>()?;
        let (lead, lead_at) = unit[0];
        let to_mm = self.resolve(to, lead, lead_at.tip_mm, false)?;
        if to_mm > lead_at.tip_mm + 1e-9 {
            return stop(
                format!(
                    "the {} is {:.0} mm short of that place",
                    names[0],
                    to_mm - lead_at.tip_mm
                ),
                "a unit is only withdrawn",
            );
        }
        let members: Vec<usize> = unit.iter().map(|u| u.0).collect();
        for (device, _) in &unit {
            self.check_free_to_move(*device)?;
            if let Some(left) = self.state.inside(*device).find(|k| !members.contains(k)) {
                return stop(
                    format!(
                        "the {} lies in the {} and would be dragged along",
                        self.name(left),
                        self.name(*device)
                    ),
                    format!(
                        "name the {} as part of the unit, or take it out first",
                        self.name(left)
                    ),
                );
            }
        }
        let by_mm = lead_at.tip_mm - to_mm;
        let out = *to == Where::Out;
        let mut wishes = Vec::new();
        for (device, at) in &unit {
            let to_mm = at.tip_mm - by_mm;
            if out {
                wishes.push((*device, Wish::Tip(-self.plan.hub_standoff_mm)));
            } else {
                self.check_hubs_behind(*device, *at, to_mm, &members)?;
                wishes.push((*device, Wish::Tip(to_mm)));
            }
        }
        self.tell_suction_off(&members);
        let laid = self.laid(&wishes, Motion::Back)?;
        self.take_over(laid, &members);
        if out {
            for device in members {
                self.take_out(device);
            }
        }
        Ok(())
    }

    fn check_free_to_move(&self, device: usize) -> Outcome {
        if self.state.inflated[device] {
            return stop(
                format!(
                    "the balloon of the {} is up: it is not moved inflated",
                    self.name(device)
                ),
                "deflate it first",
            );
        }
        Ok(())
    }

    /// Drawing a catheter back brings its valve to the hubs of what lies inside it.
    fn check_hubs_behind(
        &self,
        device: usize,
        at: InPlace,
        to_mm: f64,
        moving: &[usize],
    ) -> Outcome {
        let back_mm = at.tip_mm - to_mm;
        for k in self.state.inside(device).filter(|k| !moving.contains(k)) {
            let outside_mm = self.state.outside_mm(self.plan, k).unwrap_or(0.0);
            if outside_mm < back_mm {
                let (inner, outer) = (self.name(k), self.name(device));
                return stop(
                    if self.plan.devices[k].is_rail() {
                        format!(
                            "the {inner} would vanish in the {outer}: it has {outside_mm:.0} mm outside, the {outer} comes back {back_mm:.0} mm"
                        )
                    } else {
                        format!(
                            "the {outer}'s valve would run into the hub of the {inner}: {outside_mm:.0} mm lie between them, the {outer} comes back {back_mm:.0} mm"
                        )
                    },
                    format!("withdraw the {inner} first, or both together"),
                );
            }
        }
        Ok(())
    }

    /// A guide does not pass a stented lesion that is narrower than itself, unless something that
    /// tapers leads it: the stent's struts would stop its rim.
    fn check_stented_lumen(
        &mut self,
        device: usize,
        from_mm: f64,
        to_mm: f64,
        nose: Option<&str>,
    ) -> Outcome {
        let name = self.name(device).to_owned();
        let outer_mm = self.plan.devices[device].device.widest_mm();
        for (lesion, told) in self.plan.track.lesions.iter().enumerate() {
            let stented = self
                .state
                .stents
                .iter()
                .any(|s| s.proximal_mm < told.end_mm && s.distal_mm > told.start_mm);
            let middle_mm = 0.5 * (told.start_mm + told.end_mm);
            let residual_mm = self.state.residual_mm[lesion];
            let passes_middle = from_mm < middle_mm && to_mm > middle_mm;
            if !stented || !passes_middle || outer_mm <= residual_mm {
                continue;
            }
            let Some(nose) = nose else {
                return stop(
                    format!(
                        "the stented {} is {residual_mm:.1} mm wide, the {name} {outer_mm:.1} mm",
                        told.name
                    ),
                    "post-dilate it first, or lead with a balloon or an aspiration catheter (nose)",
                );
            };
            let text = format!(
                "the {name} ({outer_mm:.1} mm) rides up over the {nose} through the stented {} ({residual_mm:.1} mm)",
                told.name
            );
            self.tell(
                Finding::warning(Topic::Lesion, text)
                    .with_help("post-dilate first where time allows"),
            );
        }
        Ok(())
    }

    /// What is pushed over a rail needs the rail in a hand.
    fn tell_rail_in_hand(&mut self, device: usize) {
        let rails: Vec<usize> = self
            .state
            .inside(device)
            .filter(|k| self.plan.devices[*k].is_rail())
            .collect();
        for rail in rails {
            let outside_mm = self.state.outside_mm(self.plan, rail).unwrap_or(0.0);
            if outside_mm < self.plan.rules.grip_mm {
                let text = format!(
                    "the {} has {outside_mm:.0} mm outside the {}: too short to hold while that moves",
                    self.name(rail),
                    self.name(device)
                );
                self.tell(
                    Finding::warning(Topic::Exchange, text)
                        .with_help("a longer rail or a shorter catheter"),
                );
            }
        }
    }

    /// Moves a tip as far as wished or as far as it comes, and tells what it meets.
    pub(super) fn move_tip(&mut self, device: usize, wished_mm: f64, motion: Motion) -> Outcome {
        let Some(at) = self.state.in_place[device] else {
            return Ok(());
        };
        let end_mm = self.plan.track.length_mm();
        let mut laid = self.laid(&[(device, Wish::Tip(wished_mm.min(end_mm)))], motion)?;
        if motion == Motion::Forward {
            if wished_mm > end_mm + 1e-9 {
                let text = format!(
                    "the route ends {:.0} mm short of where the {} should go",
                    wished_mm - end_mm,
                    self.name(device)
                );
                self.tell(
                    Finding::failure(Topic::Reach, text)
                        .with_help("choose a target further out or a nearer place"),
                );
            }
            let most_fed_mm = self.most_fed_mm(device, at);
            if laid.fed_mm[device] > Some(most_fed_mm + JUST_FED_MM) {
                laid = self.laid(&[(device, Wish::Fed(most_fed_mm))], motion)?;
                self.tell_too_short(
                    device,
                    at,
                    wished_mm,
                    laid.tip_mm[device].unwrap_or(at.tip_mm),
                );
            }
            let to_mm = laid.tip_mm[device].unwrap_or(wished_mm);
            self.tell_vessel(device, at, to_mm);
            self.count_crossings(device, at.tip_mm, to_mm);
        }
        self.take_over(laid, &[device]);
        Ok(())
    }

    /// Most of a device that can be fed, keeping what a hand needs to hold; never less than is fed.
    fn most_fed_mm(&self, device: usize, at: InPlace) -> f64 {
        let reserve_mm = self.plan.devices[device].grip_mm(&self.plan.rules);
        self.state
            .most_fed_mm(self.plan, device, at.through, reserve_mm)
            .map_or(f64::INFINITY, |fed| fed.max(at.fed_mm))
    }

    fn tell_too_short(&mut self, device: usize, at: InPlace, wished_mm: f64, furthest_mm: f64) {
        let stacked = &self.plan.devices[device];
        let name = stacked.name.clone();
        let text = format!(
            "the {name} is too short: its tip comes to {}, {:.0} mm short of where it should be{}",
            self.plan.place_in_words(furthest_mm),
            wished_mm - furthest_mm,
            if stacked.is_rail() {
                format!(
                    ", with {:.0} mm left to hold it by",
                    stacked.grip_mm(&self.plan.rules)
                )
            } else {
                ", with its hub against the valve".into()
            }
        );
        // a sheath that is in to its hub takes no length away but that of the hub
        let around = at
            .through
            .filter(|outer| self.state.outside_mm(self.plan, *outer) > Some(0.5));
        let help = around.map_or_else(
            || format!("a longer {name}"),
            |outer| {
                let outer = self.name(outer);
                format!("a longer {name}, a shorter {outer} or fewer valves on it")
            },
        );
        self.tell(Finding::failure(Topic::Reach, text).with_help(help));
    }

    /// The device against every stretch of vessel that it lies bare in after the move.
    fn tell_vessel(&mut self, device: usize, at: InPlace, to_mm: f64) {
        let stacked = &self.plan.devices[device];
        let name = stacked.name.clone();
        let bare_from_mm = self
            .state
            .hubs_passed(device)
            .into_iter()
            .filter_map(|j| self.state.tip_mm(j))
            .fold(0.0, f64::max);
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
            let text = format!(
                "the {name} is {outer_mm:.2} mm wide, the vessel {lumen_mm:.2} mm, {}",
                self.plan.place_in_words(s_mm)
            );
            self.tell(
                Finding::failure(Topic::Vessel, text)
                    .with_help("a thinner device or another access"),
            );
        }
        self.tell_access_artery(device, bare_from_mm, at, to_mm);
        for lesion in 0..track.lesions.len() {
            self.tell_lesion(device, lesion, bare_from_mm, to_mm);
        }
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
            let text = format!(
                "the {} fills {:.0} % of the access artery ({outer_mm:.2} of {narrowest_mm:.2} mm)",
                self.name(device),
                100.0 * fill
            );
            self.tell(
                Finding::warning(Topic::Vessel, text)
                    .with_help("a thinner guide, or femoral access"),
            );
        }
    }

    /// A device against what a lesion leaves open: it dilates a soft one, a rigid one stops it.
    fn tell_lesion(&mut self, device: usize, lesion: usize, bare_from_mm: f64, to_mm: f64) {
        let told = &self.plan.track.lesions[lesion];
        let middle_mm = 0.5 * (told.start_mm + told.end_mm);
        if bare_from_mm > middle_mm || to_mm < middle_mm {
            return;
        }
        let stacked = &self.plan.devices[device];
        let outer_mm = stacked.device.max_outer_between(0.0, to_mm - middle_mm);
        let residual_mm = self.state.residual_mm[lesion];
        if outer_mm <= residual_mm {
            return;
        }
        let name = stacked.name.clone();
        let text = format!(
            "the {name} is {outer_mm:.2} mm wide, {} leaves {residual_mm:.2} mm",
            told.name
        );
        if told.rigid {
            self.tell(
                Finding::failure(
                    Topic::Lesion,
                    format!("{text} in a rigid ring: it does not pass"),
                )
                .with_help("a thinner device, or treat the ring first"),
            );
        } else if outer_mm <= WIRE_MM {
            self.tell(Finding::note(
                Topic::Lesion,
                format!("{text}: the wire finds its way or does not"),
            ));
        } else {
            self.tell(
                Finding::warning(
                    Topic::Lesion,
                    format!("{text}: it dilates the lesion as it passes, needs pre-dilation"),
                )
                .with_help("pre-dilate with a small balloon"),
            );
        }
    }

    fn count_crossings(&mut self, device: usize, from_mm: f64, to_mm: f64) {
        for lesion in 0..self.plan.track.lesions.len() {
            let end_mm = self.plan.track.lesions[lesion].end_mm;
            if from_mm >= end_mm || to_mm < end_mm {
                continue;
            }
            let led = self.state.across(self.plan, lesion).any(|k| k != device);
            if self.state.access_lost[lesion] && !led {
                let text = format!(
                    "{} has to be crossed again: access was given up before",
                    self.plan.track.lesions[lesion].name
                );
                self.tell(Finding::warning(Topic::Access, text).with_help(
                    "leave a wire, a pusher or a catheter across until the neck is finished",
                ));
            }
            self.state.crossings[lesion] += 1;
        }
    }
}
