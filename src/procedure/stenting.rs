//! Carotid stents and balloons: released, dilated, and what they leave of a stenosis.

use super::{
    DeployedStent, Finding, InPlace, Topic, bed::Beds, step::Outcome, step::Stepper, step::stop,
};
use crate::device::{BalloonSpec, Payload, StentSpec};
use crate::geometry::LesionKind;
use crate::mechanics::{Deployed, deploy, ecst_percent, nascet_percent};

/// Oversize of a stent over the wider of the vessels it lands in, mm (from memory: 1 to 2 mm over the
/// common carotid).
const OVERSIZE_MM: (f64, f64) = (1.0, 2.0);

impl Stepper<'_> {
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
        let laid = self.lay_down(&spec, distal_mm)?;
        let proximal_mm = laid.proximal_mm;
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
            profile: laid.profile,
            alone: Vec::new(),
        });
        self.tell_landing(name, &spec, proximal_mm, distal_mm);
        let stent = self.state.stents.len() - 1;
        self.open_lesions(stent, "the stent alone")?;
        let alone = self.lesions_in(stent);
        self.state.stents[stent].alone = alone;
        Ok(())
    }

    fn lay_down(&self, spec: &StentSpec, distal_mm: f64) -> Outcome<Deployed> {
        // diameters change over centimetres
        const STEP_MM: f64 = 0.5;
        let beds = Beds::now(self.plan, &self.state);
        Ok(deploy(
            spec,
            distal_mm,
            &self.plan.rules.plaque,
            STEP_MM,
            |s_mm| beds.at(s_mm),
        )?)
    }

    /// Lesions that a stent lies in, each with the narrowest lumen it leaves there, mm.
    fn lesions_in(&self, stent: usize) -> Vec<(usize, f64)> {
        let stent = &self.state.stents[stent];
        let lesions = self.plan.track.lesions.iter().enumerate();
        lesions
            .filter_map(|(i, l)| Some((i, stent.narrowest_between_mm(l.start_mm, l.end_mm)?)))
            .collect()
    }

    /// Takes over what a stent leaves of the lesions it lies in, and tells it with the range that
    /// plaque three times stiffer or softer would give.
    fn open_lesions(&mut self, stent: usize, by: &str) -> Outcome {
        let spec = self.stent_spec(stent);
        for (lesion, narrowest_mm) in self.lesions_in(stent) {
            let range = spec.map(|spec| {
                let told = &self.plan.track.lesions[lesion];
                let beds = Beds::now(self.plan, &self.state);
                let bed = beds.at(told.middle_mm());
                [3.0, 1.0 / 3.0].map(|factor| {
                    let law = self.plan.rules.plaque.times(factor);
                    law.held_mm(&spec, &bed).unwrap_or(narrowest_mm)
                })
            });
            self.widen(lesion, narrowest_mm, by, range);
        }
        Ok(())
    }

    fn stent_spec(&self, stent: usize) -> Option<StentSpec> {
        let device = self.state.stents[stent].device;
        match self.plan.devices[device].device.payload {
            Some(Payload::Stent(spec)) => Some(spec),
            _ => None,
        }
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
        for told in &self.plan.track.lesions.clone() {
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
        }
        if !covers {
            let text = format!("the stent of the {name} covers no lesion");
            self.tell(
                Finding::failure(Topic::Treatment, text).with_help("release it across the lesion"),
            );
        }
    }

    /// A lesion opened to a lumen, told in NASCET and ECST percent; it never gets narrower by
    /// treatment. `range`: the lumen with plaque three times stiffer and softer, mm.
    fn widen(&mut self, lesion: usize, to_mm: f64, by: &str, range: Option<[f64; 2]>) {
        let track = &self.plan.track;
        let told = &track.lesions[lesion];
        let now_mm = self.state.residual_mm[lesion].max(to_mm);
        let nascet = |lumen_mm: f64| nascet_percent(lumen_mm, told.reference_mm);
        let mut text = format!(
            "estimate: {by} leaves {now_mm:.1} mm in {}, NASCET {:.0} %, ECST {:.0} %",
            told.name,
            nascet(now_mm),
            ecst_percent(now_mm, track.healthy_diameter_at(told.middle_mm()))
        );
        if let Some([stiff_mm, soft_mm]) = range {
            text += &format!(
                " (NASCET {:.0} to {:.0} % for plaque three times stiffer or softer than calibrated)",
                nascet(stiff_mm.max(self.state.residual_mm[lesion])),
                nascet(soft_mm.max(now_mm))
            );
        }
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
        if spec.check_pressure(pressure_atm).is_err() {
            return stop(
                format!(
                    "{pressure_atm} atm is above the {name}'s rated {} atm",
                    spec.rated_pressure_atm
                ),
                "inflate to the rated pressure at most, or take a wider balloon",
            );
        }
        let far_mm = at.tip_mm - spec.nose_length_mm;
        let near_mm = far_mm - spec.length_mm;
        let mut dilates = false;
        for (lesion, told) in self.plan.track.lesions.clone().iter().enumerate() {
            let middle_mm = 0.5 * (told.start_mm + told.end_mm);
            if !(near_mm..=far_mm).contains(&middle_mm) {
                continue;
            }
            dilates = true;
            let law = self.plan.rules.plaque;
            let bed = Beds::now(self.plan, &self.state).at(middle_mm);
            let diameter_mm = law.balloon_mm(spec, pressure_atm, &bed)?;
            let tension_n_per_mm = spec.hoop_tension_n_per_mm(pressure_atm);
            if diameter_mm > told.reference_mm {
                let text = format!(
                    "the balloon opens to {diameter_mm:.1} mm, wider than the normal artery beyond {} ({:.1} mm)",
                    told.name, told.reference_mm
                );
                self.tell(Finding::warning(Topic::Treatment, text).with_help(format!(
                    "a balloon no wider than the distal artery: {:.1} mm",
                    BalloonSpec::no_wider_than_mm(told.reference_mm)
                )));
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
                .position(|s| (s.proximal_mm..=s.distal_mm).contains(&middle_mm));
            let rest_mm = law.rest_after_mm(&bed, diameter_mm, stented.is_some());
            self.state.rest_mm[lesion] = self.state.rest_mm[lesion].max(rest_mm);
            let text = format!(
                "at {pressure_atm} atm the {name} opens to {diameter_mm:.1} mm in {}; its wall carries {tension_n_per_mm:.1} N per mm",
                told.name
            );
            self.tell(Finding::note(Topic::Treatment, text));
            let Some(stent) = stented else {
                self.widen(lesion, rest_mm, "pre-dilation", None);
                continue;
            };
            let (proximal_mm, distal_mm) = {
                let stent = &self.state.stents[stent];
                (stent.proximal_mm, stent.distal_mm)
            };
            if near_mm < proximal_mm || far_mm > distal_mm {
                let text = format!("the balloon reaches beyond the stent in {}", told.name);
                self.tell(
                    Finding::warning(Topic::Treatment, text).with_help("keep it inside the stent"),
                );
            }
            self.settle_stent(stent)?;
            self.open_lesions(stent, "post-dilation")?;
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

    /// Lays a stent down again after its bed has changed: its far end, held by the healthy wall it
    /// was released into, stays; a braid that widens draws its near end up.
    fn settle_stent(&mut self, stent: usize) -> Outcome {
        let Some(spec) = self.stent_spec(stent) else {
            return Ok(());
        };
        let laid = self.lay_down(&spec, self.state.stents[stent].distal_mm)?;
        let stent = &mut self.state.stents[stent];
        stent.proximal_mm = laid.proximal_mm;
        stent.profile = laid.profile;
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
}
