//! Balloons: inflated, what they open, let down.

use super::stepper::{Outcome, Stepper, stop};
use crate::device::{BalloonSpec, Payload};
use crate::geometry::LesionKind;
use crate::procedure::reason::{Ballooning, Finding, OpenedBy, PayloadNeed};
use crate::procedure::state::{Beds, InPlace};

impl Stepper<'_> {
    pub(super) fn inflate(&mut self, name: &str, pressure_atm: Option<f64>) -> Outcome {
        let (device, at) = self.in_body(name)?;
        if self.state.inflated[device] {
            return stop(PayloadNeed::BalloonUpAlready {
                device: name.to_owned(),
            });
        }
        match self.plan.devices[device].device.payload.clone() {
            Some(Payload::OcclusionBalloon(spec)) => {
                let centre_mm = at.tip_mm - spec.nose_length_mm;
                let vessel_mm = self.plan.track.healthy_diameter_at(centre_mm);
                if pressure_atm.is_some() {
                    return stop(PayloadNeed::FilledByVolume {
                        device: name.to_owned(),
                    });
                }
                if spec.largest_diameter_mm < vessel_mm {
                    self.tell(Finding::warning(Ballooning::DoesNotStopFlow {
                        device: name.to_owned(),
                        opens_mm: spec.largest_diameter_mm,
                        vessel_mm,
                    }));
                }
            }
            Some(Payload::Balloon(spec)) => self.dilate(name, at, &spec, pressure_atm)?,
            _ => {
                return stop(PayloadNeed::NoBalloon {
                    device: name.to_owned(),
                });
            }
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
            return stop(PayloadNeed::AboveRated {
                device: name.to_owned(),
                pressure_atm,
                rated_atm: spec.rated_pressure_atm,
            });
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
            let law = self.plan.values.plaque_law();
            let bed = Beds::now(self.plan, &self.state).at(middle_mm);
            let diameter_mm = law.balloon_mm(spec, pressure_atm, &bed)?;
            let tension_n_per_mm = spec.hoop_tension_n_per_mm(pressure_atm);
            if diameter_mm > told.reference_mm {
                self.tell(Finding::warning(Ballooning::BalloonWide {
                    lesion: told.name.clone(),
                    opens_mm: diameter_mm,
                    reference_mm: told.reference_mm,
                    fitting_mm: BalloonSpec::no_wider_than_mm(told.reference_mm),
                }));
            }
            if told.kind != LesionKind::Plaque {
                self.tell(Finding::warning(Ballooning::DilatesDissection {
                    lesion: told.name.clone(),
                }));
            }
            let stented = self
                .state
                .stents
                .iter()
                .position(|s| (s.proximal_mm..=s.distal_mm).contains(&middle_mm));
            let rest_mm = law.rest_after_mm(&bed, diameter_mm, stented.is_some());
            self.state.rest_mm[lesion] = self.state.rest_mm[lesion].max(rest_mm);
            self.state.passed_mm[lesion] = 0.0;
            self.tell(Finding::note(Ballooning::BalloonOpens {
                device: name.to_owned(),
                pressure_atm,
                opens_mm: diameter_mm,
                lesion: told.name.clone(),
                tension_n_per_mm,
            }));
            let Some(stent) = stented else {
                self.widen(lesion, rest_mm, OpenedBy::PreDilation, None);
                continue;
            };
            let (proximal_mm, distal_mm) = {
                let stent = &self.state.stents[stent];
                (stent.proximal_mm, stent.distal_mm)
            };
            if near_mm < proximal_mm || far_mm > distal_mm {
                self.tell(Finding::warning(Ballooning::BalloonBeyondStent {
                    lesion: told.name.clone(),
                }));
            }
            self.settle_stent(stent)?;
            self.open_lesions(stent, OpenedBy::PostDilation)?;
        }
        if !dilates {
            self.tell(Finding::warning(Ballooning::BalloonMissesLesion {
                device: name.to_owned(),
            }));
        }
        Ok(())
    }

    pub(super) fn deflate(&mut self, name: &str) -> Outcome {
        let (device, _) = self.in_body(name)?;
        if !self.state.inflated[device] {
            return stop(PayloadNeed::BalloonNotUp {
                device: name.to_owned(),
            });
        }
        self.state.inflated[device] = false;
        Ok(())
    }
}
