//! Retriever, stent, balloon, suction and contrast: what acts on the vessel or its flow.

use super::{
    DeployedStent, Finding, InPlace, Motion, Region, State, Topic, Wish, step::Outcome,
    step::Stepper, step::stop,
};
use crate::device::{BalloonSpec, LumenKind, Payload, StentSpec};
use crate::geometry::LesionKind;
use crate::mechanics::annulus_flow_fraction;

/// Share of a stenosis's NASCET percentage that a self-expanding stent leaves before any balloon.
/// Lownie et al. (2005), AJNR 26:1241: mean 83 % before, 49 % right after stents without balloon.
const STENT_LEAVES: f64 = 49.0 / 83.0;
/// Share of the balloon's diameter that is lost again when it is let down inside a stent. Set so
/// that a 4.5 mm balloon in a 4.7 mm artery leaves 25 %, the middle of the 20 to 30 % that are
/// accepted (from memory).
const RECOIL_STENTED: f64 = 0.22;
/// The same without a stent: assumed; elastic recoil of bare plaque is larger.
const RECOIL_BARE: f64 = 0.40;
/// Flow share below which a lumen counts as blocked: contrast and suction move nothing.
const BLOCKED: f64 = 0.01;
/// Flow share below which a run is called poor.
const POOR: f64 = 0.30;
/// Oversize of a stent over the wider of the vessels it lands in, mm (from memory: 1 to 2 mm over the
/// common carotid).
const OVERSIZE_MM: (f64, f64) = (1.0, 2.0);

impl Stepper<'_> {
    pub(super) fn load_retriever(&mut self, name: &str, through: &str) -> Outcome {
        let device = self.device(name)?;
        let (outer, at) = self.in_body(through)?;
        if self.state.in_place[device].is_some() {
            return stop(
                format!("the {name} is in the body already"),
                "take it out before loading it again",
            );
        }
        if let Some(other) = self.state.inside(outer).next() {
            return stop(
                format!(
                    "the {} is still in the {through}: one lumen takes one of them",
                    self.name(other)
                ),
                format!("remove the {} first", self.name(other)),
            );
        }
        for clot in &self.plan.track.clots {
            if at.tip_mm < clot.end_mm {
                return stop(
                    format!(
                        "the {through}'s tip lies {:.0} mm short of the far end of the clot",
                        clot.end_mm - at.tip_mm
                    ),
                    format!("bring the {through} beyond the clot before the retriever is loaded"),
                );
            }
        }
        for (lesion, told) in self.plan.track.lesions.iter().enumerate() {
            if told.kind != LesionKind::Plaque && !self.state.true_lumen_shown[lesion] {
                let text = format!(
                    "nothing has shown yet that the {through} lies in the true lumen beyond {}",
                    told.name
                );
                self.effect
                    .findings
                    .push(Finding::warning(Topic::Access, text).with_help(format!(
                        "inject a little contrast through the {through} beyond the lesion"
                    )));
            }
        }
        self.state.in_place[device] = Some(InPlace {
            tip_mm: -self.plan.hub_standoff_mm,
            fed_mm: 0.0,
            through: Some(outer),
        });
        self.move_tip(device, at.tip_mm, Motion::Forward)
    }

    pub(super) fn unsheathe(&mut self, name: &str) -> Outcome {
        let (device, at) = self.in_body(name)?;
        if self.state.open[device] {
            return stop(
                format!("the {name} stands open already"),
                "leave this step out",
            );
        }
        let Some(Payload::Retriever(spec)) = self.plan.devices[device].device.payload else {
            return stop(
                format!("the {name} is no retriever"),
                "unsheathe a retriever",
            );
        };
        let Some(sheath) = at.through else {
            return stop(
                format!("nothing covers the {name}"),
                "load it through a microcatheter first",
            );
        };
        let sheath_name = self.name(sheath).to_owned();
        let Some(sheath_at) = self.state.in_place[sheath] else {
            return stop(
                format!("the {sheath_name} is not in the body"),
                "insert it first",
            );
        };
        let bare_mm = at.tip_mm - spec.folded_length_mm;
        if sheath_at.tip_mm < bare_mm {
            return stop(
                format!("the {sheath_name} does not cover the {name}"),
                "load it to the microcatheter's tip first",
            );
        }
        let outside_mm = self.state.outside_mm(self.plan, device).unwrap_or(0.0);
        if outside_mm < sheath_at.tip_mm - bare_mm {
            return stop(
                format!(
                    "the {name} has {outside_mm:.0} mm outside the {sheath_name}: it would vanish in it"
                ),
                "a longer pusher or a shorter microcatheter",
            );
        }
        let laid = self.laid(&[(sheath, Wish::Tip(bare_mm))], Motion::Back)?;
        self.take_over(laid, &[sheath]);
        self.state.open[device] = true;
        let (near_mm, far_mm) = (bare_mm, bare_mm + spec.free_length_mm);
        let vessel_mm = self.narrowest_between(near_mm, far_mm);
        if !(spec.vessel_from_mm..=spec.vessel_to_mm).contains(&vessel_mm) {
            let text = format!(
                "the {name} is meant for vessels of {:.1} to {:.1} mm, it opens in {vessel_mm:.1} mm",
                spec.vessel_from_mm, spec.vessel_to_mm
            );
            self.tell(
                Finding::warning(Topic::Treatment, text).with_help("another size of retriever"),
            );
        }
        for clot in self.plan.track.clots.clone() {
            let (beyond_mm, before_mm) = (far_mm - clot.end_mm, clot.start_mm - near_mm);
            if beyond_mm < 0.0 || before_mm < 0.0 {
                let text = format!(
                    "the open {name} misses part of the clot: it ends {beyond_mm:.0} mm beyond its far end and begins {before_mm:.0} mm before its near end"
                );
                self.tell(
                    Finding::warning(Topic::Treatment, text)
                        .with_help("a longer retriever, or load it further out or in"),
                );
            } else {
                let text = format!(
                    "the {name} stands open over the clot with {beyond_mm:.0} mm beyond it and {before_mm:.0} mm before it (length at rest)"
                );
                self.tell(Finding::note(Topic::Treatment, text));
            }
        }
        Ok(())
    }

    fn narrowest_between(&self, from_mm: f64, to_mm: f64) -> f64 {
        let stations = &self.plan.track.stations;
        stations
            .iter()
            .filter(|s| s.s_mm >= from_mm && s.s_mm <= to_mm)
            .map(|s| self.plan.track.healthy_diameter_at(s.s_mm))
            .fold(f64::INFINITY, f64::min)
    }

    pub(super) fn deploy_stent(&mut self, name: &str) -> Outcome {
        let (device, at) = self.in_body(name)?;
        let Some(Payload::Stent(spec)) = self.plan.devices[device].device.payload else {
            return stop(
                format!("the {name} carries no stent"),
                "name a stent system",
            );
        };
        if self.state.stents.iter().any(|s| s.device == device) {
            return stop(
                format!("the stent of the {name} is out already"),
                "leave this step out",
            );
        }
        let distal_mm = at.tip_mm - spec.nose_length_mm;
        let bare_mm = self
            .state
            .hubs_passed(device)
            .into_iter()
            .filter_map(|j| self.state.tip_mm(j))
            .fold(0.0, f64::max);
        let proximal_mm = self.near_end_mm(&spec, distal_mm);
        if proximal_mm < bare_mm {
            return stop(
                format!(
                    "the {name} would open {:.0} mm inside the catheter around it",
                    bare_mm - proximal_mm
                ),
                "draw the guide back below the stent first",
            );
        }
        self.state.stents.push(DeployedStent {
            device,
            proximal_mm,
            distal_mm,
        });
        self.tell_landing(name, &spec, proximal_mm, distal_mm);
        Ok(())
    }

    /// Near end of a stent released from its far end: every stretch of vessel takes up as much of
    /// the free length as a braid of that diameter is longer than a free one.
    fn near_end_mm(&self, spec: &StentSpec, distal_mm: f64) -> f64 {
        // diameters change over centimetres; the last step is cut to measure
        const STEP_MM: f64 = 0.5;
        let mut near_mm = distal_mm;
        let mut left_mm = spec.free_length_mm;
        while left_mm > 0.0 && near_mm > 0.0 {
            let vessel_mm = self.plan.track.healthy_diameter_at(near_mm - 0.5 * STEP_MM);
            let stretch = spec.deployed_length_mm(vessel_mm) / spec.free_length_mm;
            let step_mm = STEP_MM.min(left_mm * stretch);
            near_mm -= step_mm;
            left_mm -= step_mm / stretch;
        }
        near_mm
    }

    fn widest_between(&self, from_mm: f64, to_mm: f64) -> f64 {
        let stations = &self.plan.track.stations;
        stations
            .iter()
            .filter(|s| s.s_mm >= from_mm && s.s_mm <= to_mm)
            .map(|s| self.plan.track.healthy_diameter_at(s.s_mm))
            .fold(0.0, f64::max)
    }

    /// Where the stent's ends come to lie, its size against the vessel, and what it leaves open.
    fn tell_landing(&mut self, name: &str, spec: &StentSpec, proximal_mm: f64, distal_mm: f64) {
        let text = format!(
            "the stent lies from {} to {}, {:.0} mm long",
            self.plan.place_in_words(proximal_mm),
            self.plan.place_in_words(distal_mm),
            distal_mm - proximal_mm
        );
        self.tell(Finding::note(Topic::Treatment, text));
        let track = &self.plan.track;
        let landing_mm = track
            .healthy_diameter_at(proximal_mm)
            .max(track.healthy_diameter_at(distal_mm));
        let oversize_mm = spec.free_diameter_mm - landing_mm;
        if oversize_mm < 0.0 {
            let text = format!(
                "the {name} is {:.1} mm wide at rest, the vessel {landing_mm:.1} mm where it lands: it does not reach the wall",
                spec.free_diameter_mm
            );
            self.tell(Finding::failure(Topic::Treatment, text).with_help("a wider stent"));
        } else if oversize_mm < OVERSIZE_MM.0 || oversize_mm > OVERSIZE_MM.1 {
            let text = format!(
                "the {name} is {oversize_mm:.1} mm wider at rest than the vessel where it lands; {} to {} mm are usual",
                OVERSIZE_MM.0, OVERSIZE_MM.1
            );
            self.tell(Finding::warning(Topic::Treatment, text).with_help("another diameter"));
        }
        let widest_mm = self.widest_between(proximal_mm, distal_mm);
        if (landing_mm..widest_mm).contains(&spec.free_diameter_mm) {
            let text = format!(
                "the {name} ({:.1} mm at rest) does not reach the wall in the bulb ({widest_mm:.1} mm)",
                spec.free_diameter_mm
            );
            self.tell(Finding::warning(Topic::Treatment, text).with_help("a wider stent"));
        }
        let margin_mm = self.plan.rules.landing_margin_mm;
        let mut covers = false;
        for (lesion, told) in self.plan.track.lesions.clone().iter().enumerate() {
            if proximal_mm >= told.end_mm || distal_mm <= told.start_mm {
                continue;
            }
            covers = true;
            let (below_mm, above_mm) = (told.start_mm - proximal_mm, distal_mm - told.end_mm);
            if below_mm < 0.0 || above_mm < 0.0 {
                let text = format!(
                    "the stent leaves part of {} bare: it begins {below_mm:.0} mm below it and ends {above_mm:.0} mm above it",
                    told.name
                );
                self.tell(
                    Finding::failure(Topic::Treatment, text)
                        .with_help("a longer stent, or release it elsewhere"),
                );
            } else if below_mm.min(above_mm) < margin_mm {
                let text = format!(
                    "the stent covers {below_mm:.0} mm of healthy wall below {} and {above_mm:.0} mm above it; {margin_mm:.0} mm are wanted",
                    told.name
                );
                self.tell(
                    Finding::warning(Topic::Treatment, text)
                        .with_help("a longer stent, or release it elsewhere"),
                );
            }
            let now_mm = self.state.residual_mm[lesion];
            let percent = 100.0 * (1.0 - now_mm / told.reference_mm) * STENT_LEAVES;
            self.widen(
                lesion,
                told.reference_mm * (1.0 - percent / 100.0),
                "the stent alone",
            );
        }
        if !covers {
            let text = format!("the stent of the {name} covers no lesion");
            self.tell(
                Finding::failure(Topic::Treatment, text).with_help("release it across the lesion"),
            );
        }
    }

    /// A lesion opened to a lumen, told in NASCET percent; it never gets narrower by treatment.
    fn widen(&mut self, lesion: usize, to_mm: f64, by: &str) {
        let told = &self.plan.track.lesions[lesion];
        let now_mm = self.state.residual_mm[lesion].max(to_mm);
        let text = format!(
            "estimate: {by} leaves {now_mm:.1} mm in {}, NASCET {:.0} %",
            told.name,
            100.0 * (1.0 - now_mm / told.reference_mm)
        );
        self.state.residual_mm[lesion] = now_mm;
        self.tell(Finding::note(Topic::Treatment, text));
    }

    pub(super) fn inflate(&mut self, name: &str, pressure_atm: Option<f64>) -> Outcome {
        let (device, at) = self.in_body(name)?;
        if self.state.inflated[device] {
            return stop(
                format!("the balloon of the {name} is up already"),
                "leave this step out",
            );
        }
        match self.plan.devices[device].device.payload.clone() {
            Some(Payload::OcclusionBalloon(spec)) => {
                let centre_mm = at.tip_mm - spec.nose_length_mm;
                let vessel_mm = self.plan.track.healthy_diameter_at(centre_mm);
                if pressure_atm.is_some() {
                    return stop(
                        format!("the balloon of the {name} is filled by volume, not to a pressure"),
                        "leave pressure_atm out",
                    );
                }
                if spec.largest_diameter_mm < vessel_mm {
                    let text = format!(
                        "the balloon of the {name} opens to {:.1} mm, the vessel is {vessel_mm:.1} mm: it does not stop the flow",
                        spec.largest_diameter_mm
                    );
                    self.tell(
                        Finding::warning(Topic::Treatment, text)
                            .with_help("move it to a narrower stretch"),
                    );
                }
            }
            Some(Payload::Balloon(spec)) => self.dilate(name, at, &spec, pressure_atm)?,
            _ => return stop(format!("the {name} carries no balloon"), "name a balloon"),
        }
        self.state.inflated[device] = true;
        Ok(())
    }

    fn dilate(
        &mut self,
        name: &str,
        at: InPlace,
        spec: &BalloonSpec,
        pressure_atm: Option<f64>,
    ) -> Outcome {
        let pressure_atm = pressure_atm.unwrap_or(spec.nominal_pressure_atm);
        if pressure_atm > spec.rated_pressure_atm {
            return stop(
                format!(
                    "{pressure_atm} atm is above the {name}'s rated {} atm",
                    spec.rated_pressure_atm
                ),
                "inflate to the rated pressure at most, or take a wider balloon",
            );
        }
        let diameter_mm = spec.diameter_at_mm(pressure_atm);
        let far_mm = at.tip_mm - spec.nose_length_mm;
        let near_mm = far_mm - spec.length_mm;
        let mut dilates = false;
        for (lesion, told) in self.plan.track.lesions.clone().iter().enumerate() {
            let middle_mm = 0.5 * (told.start_mm + told.end_mm);
            if !(near_mm..=far_mm).contains(&middle_mm) {
                continue;
            }
            dilates = true;
            if diameter_mm > told.reference_mm {
                let text = format!(
                    "the balloon opens to {diameter_mm:.1} mm, wider than the normal artery beyond {} ({:.1} mm)",
                    told.name, told.reference_mm
                );
                self.tell(
                    Finding::warning(Topic::Treatment, text)
                        .with_help("a balloon no wider than the distal artery"),
                );
            }
            if told.kind != LesionKind::Plaque {
                let text = format!(
                    "{} is dissected: a balloon there can extend the flap",
                    told.name
                );
                self.tell(
                    Finding::warning(Topic::Treatment, text)
                        .with_help("stent first, dilate gently if at all"),
                );
            }
            let stented = self
                .state
                .stents
                .iter()
                .find(|s| (s.proximal_mm..=s.distal_mm).contains(&middle_mm));
            let (recoil, by) = match stented {
                Some(stent) => {
                    if near_mm < stent.proximal_mm || far_mm > stent.distal_mm {
                        let text = format!("the balloon reaches beyond the stent in {}", told.name);
                        self.tell(
                            Finding::warning(Topic::Treatment, text)
                                .with_help("keep it inside the stent"),
                        );
                    }
                    (RECOIL_STENTED, "post-dilation")
                }
                None => (RECOIL_BARE, "pre-dilation"),
            };
            self.widen(lesion, diameter_mm * (1.0 - recoil), by);
        }
        if !dilates {
            let text = format!("the balloon of the {name} is not across the middle of any lesion");
            self.tell(
                Finding::warning(Topic::Treatment, text)
                    .with_help("bring its markers across the lesion"),
            );
        }
        Ok(())
    }

    pub(super) fn deflate(&mut self, name: &str) -> Outcome {
        let (device, _) = self.in_body(name)?;
        if !self.state.inflated[device] {
            return stop(
                format!("the balloon of the {name} is not up"),
                "leave this step out",
            );
        }
        self.state.inflated[device] = false;
        Ok(())
    }

    pub(super) fn suction_on(&mut self, name: &str) -> Outcome {
        let (device, _) = self.in_body(name)?;
        if !matches!(self.plan.devices[device].device.lumen, LumenKind::Full) {
            return stop(
                format!("the {name} has no lumen from hub to tip"),
                "aspirate through a catheter",
            );
        }
        if self.state.suction[device] {
            return stop(
                format!("suction on the {name} is on already"),
                "leave this step out",
            );
        }
        self.state.suction[device] = true;
        let (share, occupants) = self.flow_share(device);
        if share < BLOCKED {
            let text = format!(
                "suction on the {name} moves nothing while the {occupants} fills its lumen ({:.2} % of the free flow)",
                100.0 * share
            );
            self.tell(
                Finding::warning(Topic::Lumen, text)
                    .with_help(format!("it works once the {occupants} is drawn back")),
            );
        }
        Ok(())
    }

    pub(super) fn suction_off(&mut self, name: &str) -> Outcome {
        let (device, _) = self.in_body(name)?;
        if !self.state.suction[device] {
            return stop(
                format!("suction on the {name} is not on"),
                "leave this step out",
            );
        }
        self.state.suction[device] = false;
        Ok(())
    }

    pub(super) fn contrast(&mut self, name: &str, region: Region) -> Outcome {
        let (device, at) = self.in_body(name)?;
        if !matches!(self.plan.devices[device].device.lumen, LumenKind::Full) {
            return stop(
                format!("the {name} has no lumen from hub to tip"),
                "inject through a catheter",
            );
        }
        if self.state.suction[device] {
            return stop(
                format!("suction on the {name} is on"),
                "turn it off before injecting",
            );
        }
        let (share, occupants) = self.flow_share(device);
        if share < BLOCKED {
            return stop(
                format!(
                    "the {name}'s lumen is blocked by the {occupants}: {:.2} % of the free flow is left",
                    100.0 * share
                ),
                format!("draw the {occupants} back, or inject through another lumen"),
            );
        }
        if share < POOR {
            let text = format!(
                "the {occupants} leaves {:.0} % of the {name}'s flow: a poor run",
                100.0 * share
            );
            self.tell(Finding::note(Topic::Lumen, text));
        }
        let shows = self.plan.region_of(at.tip_mm);
        if shows > region {
            let text = format!(
                "the {name}'s tip lies in the {} already: the {} is behind it",
                shows.in_words(),
                region.in_words()
            );
            self.tell(Finding::warning(Topic::Image, text).with_help("inject from further back"));
        }
        for (lesion, told) in self.plan.track.lesions.iter().enumerate() {
            if at.tip_mm >= told.end_mm {
                self.state.true_lumen_shown[lesion] = true;
            } else if region == Region::Head
                && self.state.residual_mm[lesion] <= 0.0
                && at.tip_mm < told.start_mm
            {
                let text = format!(
                    "{} is shut: contrast from below does not show the head",
                    told.name
                );
                self.effect.findings.push(
                    Finding::warning(Topic::Image, text)
                        .with_help("inject through a catheter beyond it"),
                );
            }
        }
        Ok(())
    }

    /// Share of a catheter's free flow that is left with what lies in it, and what that is.
    fn flow_share(&self, device: usize) -> (f64, String) {
        occupied_flow_share(self.plan, &self.state, device)
    }
}

/// Share of the free flow left through a catheter's lumen with the shafts that lie in it: the
/// narrowest cross-section between hub and tip, shafts gathered into one concentric one of the same
/// area. Concentric is the least that can flow; eccentric shafts let up to 2.5 times as much through.
#[must_use]
pub(super) fn occupied_flow_share(
    plan: &super::Plan,
    state: &State,
    device: usize,
) -> (f64, String) {
    let Some(at) = state.in_place[device] else {
        return (1.0, String::new());
    };
    let outer = &plan.devices[device].device;
    let inside: Vec<usize> = state
        .inside(device)
        .chain((0..plan.devices.len()).filter(|k| {
            state.hubs_passed(*k).contains(&device) && !state.inside(device).any(|i| i == *k)
        }))
        .collect();
    let mut names: Vec<&str> = Vec::new();
    let mut least = 1.0_f64;
    // every 8 mm of a long catheter: shafts change over centimetres
    const SAMPLES: u32 = 200;
    for i in 0..=SAMPLES {
        let from_tip_mm = outer.usable_length_mm * f64::from(i) / f64::from(SAMPLES);
        let Some(inner_mm) = outer.section_at(from_tip_mm).inner_mm else {
            continue;
        };
        let s_mm = at.tip_mm - from_tip_mm;
        let mut area_mm2 = 0.0;
        for &k in &inside {
            let Some(tip_mm) = state.tip_mm(k) else {
                continue;
            };
            // only what lies in this lumen itself: a wire in a microcatheter takes no extra room
            if tip_mm < s_mm || state.container_at(plan, k, s_mm) != Some(device) {
                continue;
            }
            let shaft_mm = plan.devices[k].device.section_at(tip_mm - s_mm).outer_mm;
            area_mm2 += shaft_mm * shaft_mm;
            if !names.contains(&plan.devices[k].name.as_str()) {
                names.push(&plan.devices[k].name);
            }
        }
        least = least.min(annulus_flow_fraction((area_mm2.sqrt() / inner_mm).min(1.0)));
    }
    (least, names.join(" and the "))
}
