//! Carotid stents: released, and what they leave of a stenosis.

use super::stepper::{Outcome, Stepper, stop};
use crate::device::{Payload, StentSpec};
use crate::geometry::{ecst_percent, nascet_percent};
use crate::mechanics::{Deployed, Level, PlaqueLaw, deploy};
use crate::procedure::reason::{Ballooning, Finding, OpenedBy, PayloadNeed, Stenting};
use crate::procedure::state::{Beds, DeployedStent};

/// Oversize of a stent over the wider of the vessels it lands in, mm (from memory: 1 to 2 mm over the
/// common carotid).
const OVERSIZE_MM: (f64, f64) = (1.0, 2.0);

impl Stepper<'_> {
    pub(super) fn deploy_stent(&mut self, name: &str) -> Outcome {
        let (device, at) = self.in_body(name)?;
        let Some(Payload::Stent(spec)) = self.plan.devices[device].device.payload else {
            return stop(PayloadNeed::NoStent {
                device: name.to_owned(),
            });
        };
        if self.state.stents.iter().any(|s| s.device == device) {
            return stop(PayloadNeed::StentOut {
                device: name.to_owned(),
            });
        }
        let distal_mm = at.tip_mm - spec.nose_length_mm;
        let bare_mm = self.state.bare_from_mm(device);
        let laid = self.lay_down(&spec, distal_mm)?;
        let proximal_mm = laid.proximal_mm;
        if proximal_mm < bare_mm {
            return stop(PayloadNeed::OpensInCatheter {
                device: name.to_owned(),
                inside_mm: bare_mm - proximal_mm,
            });
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
        self.open_lesions(stent, OpenedBy::StentAlone)?;
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
            &self.plan.values.plaque_law(),
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
    /// plaque as soft or stiff as it may be would give.
    pub(super) fn open_lesions(&mut self, stent: usize, by: OpenedBy) -> Outcome {
        let spec = self.stent_spec(stent);
        for (lesion, narrowest_mm) in self.lesions_in(stent) {
            let range = spec.map(|spec| {
                let told = &self.plan.track.lesions[lesion];
                let beds = Beds::now(self.plan, &self.state);
                let bed = beds.at(told.middle_mm());
                [Level::Most, Level::Least].map(|level| {
                    let law = PlaqueLaw {
                        stiffness_n_per_mm2: self
                            .plan
                            .materials
                            .plaque
                            .stiffness_n_per_mm2
                            .at(level),
                        ..self.plan.values.plaque_law()
                    };
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
        self.tell(Finding::note(Stenting::StentLies {
            from: self.plan.spot(proximal_mm),
            to: self.plan.spot(distal_mm),
        }));
        let track = &self.plan.track;
        let landing_mm = track
            .healthy_diameter_at(proximal_mm)
            .max(track.healthy_diameter_at(distal_mm));
        let oversize_mm = spec.free_diameter_mm - landing_mm;
        if oversize_mm < 0.0 {
            self.tell(Finding::failure(Stenting::StentTooNarrow {
                device: name.to_owned(),
                free_mm: spec.free_diameter_mm,
                vessel_mm: landing_mm,
            }));
        } else if oversize_mm < OVERSIZE_MM.0 || oversize_mm > OVERSIZE_MM.1 {
            self.tell(Finding::warning(Stenting::StentOversize {
                device: name.to_owned(),
                oversize_mm,
                usual_mm: OVERSIZE_MM,
            }));
        }
        let widest_mm = self.widest_between(proximal_mm, distal_mm);
        if (landing_mm..widest_mm).contains(&spec.free_diameter_mm) {
            self.tell(Finding::warning(Stenting::StentOffBulb {
                device: name.to_owned(),
                free_mm: spec.free_diameter_mm,
                widest_mm,
            }));
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
                self.tell(Finding::failure(Stenting::LeavesBare {
                    lesion: told.name.clone(),
                    below_mm,
                    above_mm,
                }));
            } else if below_mm.min(above_mm) < margin_mm {
                self.tell(Finding::warning(Stenting::LittleCover {
                    lesion: told.name.clone(),
                    below_mm,
                    above_mm,
                    wanted_mm: margin_mm,
                }));
            }
        }
        if !covers {
            self.tell(Finding::failure(Stenting::CoversNothing {
                device: name.to_owned(),
            }));
        }
    }

    /// A lesion opened to a lumen, told in NASCET and ECST percent; it never gets narrower by
    /// treatment. `range`: the lumen with plaque three times stiffer and softer, mm.
    pub(super) fn widen(
        &mut self,
        lesion: usize,
        to_mm: f64,
        by: OpenedBy,
        range: Option<[f64; 2]>,
    ) {
        let track = &self.plan.track;
        let told = &track.lesions[lesion];
        let now_mm = self.state.residual_mm[lesion].max(to_mm);
        let nascet = |lumen_mm: f64| nascet_percent(lumen_mm, told.reference_mm);
        let finding = Finding::note(Ballooning::Opened {
            lesion: told.name.clone(),
            by,
            lumen_mm: now_mm,
            nascet_percent: nascet(now_mm),
            ecst_percent: ecst_percent(now_mm, track.healthy_diameter_at(told.middle_mm())),
            nascet_range_percent: range.map(|[stiff_mm, soft_mm]| {
                [
                    nascet(stiff_mm.max(self.state.residual_mm[lesion])),
                    nascet(soft_mm.max(now_mm)),
                ]
            }),
        });
        self.state.residual_mm[lesion] = now_mm;
        self.tell(finding);
    }

    /// Lays a stent down again after its bed has changed: its far end, held by the healthy wall it
    /// was released into, stays; a braid that widens draws its near end up.
    pub(super) fn settle_stent(&mut self, stent: usize) -> Outcome {
        let Some(spec) = self.stent_spec(stent) else {
            return Ok(());
        };
        let laid = self.lay_down(&spec, self.state.stents[stent].distal_mm)?;
        let stent = &mut self.state.stents[stent];
        stent.proximal_mm = laid.proximal_mm;
        stent.profile = laid.profile;
        Ok(())
    }
}
