//! The retriever: loaded through its microcatheter, opened by drawing that back.

use super::stepper::{Outcome, Stepper, stop};
use crate::device::Payload;
use crate::geometry::LesionKind;
use crate::procedure::placing::{DepthTarget, Motion};
use crate::procedure::reason::{Access, Finding, Precondition, RetrieverNeed, Retrieving};
use crate::procedure::state::InPlace;

impl Stepper<'_> {
    pub(super) fn load_retriever(&mut self, name: &str, through: &str) -> Outcome {
        let device = self.device(name)?;
        let (outer, at) = self.in_body(through)?;
        if self.state.in_place[device].is_some() {
            return stop(Precondition::AlreadyInBody {
                device: name.to_owned(),
            });
        }
        if let Some(other) = self.state.inside(outer).next() {
            return stop(RetrieverNeed::LumenTaken {
                by: self.name(other),
                catheter: through.to_owned(),
            });
        }
        for clot in &self.plan.track.clots {
            if at.tip_mm < clot.end_mm {
                return stop(RetrieverNeed::ShortOfClot {
                    catheter: through.to_owned(),
                    short_mm: clot.end_mm - at.tip_mm,
                });
            }
        }
        for (lesion, told) in self.plan.track.lesions.iter().enumerate() {
            if told.kind != LesionKind::Plaque && !self.state.true_lumen_shown[lesion] {
                self.effect
                    .findings
                    .push(Finding::warning(Access::TrueLumenUnproven {
                        catheter: through.to_owned(),
                        lesion: told.name.clone(),
                    }));
            }
        }
        self.tell_long_clots();
        self.state.in_place[device] = Some(InPlace {
            tip_mm: self.plan.hub_station_mm(),
            fed_mm: 0.0,
            through: Some(outer),
        });
        self.move_tip(device, at.tip_mm, Motion::Forward)
    }

    /// Clots that are longer than the artery they begin in.
    fn tell_long_clots(&mut self) {
        let track = &self.plan.track;
        for clot in &track.clots {
            let from = track.segment_at(clot.start_mm);
            let into = track.segment_at(clot.end_mm.min(track.length_mm()));
            if from.name == into.name && clot.end_mm <= track.length_mm() {
                continue;
            }
            self.effect
                .findings
                .push(Finding::note(Retrieving::ClotRunsOn {
                    clot: clot.name.clone(),
                    from: from.name.clone(),
                    into: into.name.clone(),
                    beyond_mm: clot.end_mm - from.end_mm,
                }));
        }
    }

    pub(super) fn unsheathe(&mut self, name: &str) -> Outcome {
        let (device, at) = self.in_body(name)?;
        if self.state.open[device] {
            return stop(RetrieverNeed::OpenAlready {
                device: name.to_owned(),
            });
        }
        let Some(Payload::Retriever(spec)) = self.plan.devices[device].device.payload else {
            return stop(RetrieverNeed::NoRetriever {
                device: name.to_owned(),
            });
        };
        let Some(sheath) = at.through else {
            return stop(RetrieverNeed::Uncovered {
                device: name.to_owned(),
            });
        };
        let Some(sheath_at) = self.state.in_place[sheath] else {
            return stop(Precondition::NotInBody {
                device: self.name(sheath),
            });
        };
        let bare_mm = at.tip_mm - spec.folded_length_mm;
        if sheath_at.tip_mm < bare_mm {
            return stop(RetrieverNeed::SheathShort {
                sheath: self.name(sheath),
                device: name.to_owned(),
            });
        }
        let outside_mm = self.state.outside_mm(self.plan, device).unwrap_or(0.0);
        if outside_mm < sheath_at.tip_mm - bare_mm {
            return stop(RetrieverNeed::PusherVanishes {
                device: name.to_owned(),
                sheath: self.name(sheath),
                outside_mm,
            });
        }
        let placed = self.placed(&[(sheath, DepthTarget::Tip(bare_mm))], Motion::Back)?;
        self.take_over(placed, &[sheath]);
        self.state.open[device] = true;
        let open = self.state.open_profile(self.plan, device);
        let far_mm = open.last().map_or(bare_mm, |o| o.from_mm + o.length_mm);
        self.state.markers_mm[device] = Some(far_mm);
        let near_mm = bare_mm;
        let narrowest_mm = open
            .iter()
            .map(|o| o.vessel_mm)
            .fold(f64::INFINITY, f64::min);
        let widest_mm = open.iter().map(|o| o.vessel_mm).fold(0.0, f64::max);
        for vessel_mm in [narrowest_mm, widest_mm] {
            if spec.check_vessel(vessel_mm).is_ok() {
                continue;
            }
            self.tell(Finding::warning(Retrieving::RetrieverSize {
                device: name.to_owned(),
                from_mm: spec.vessel_from_mm,
                to_mm: spec.vessel_to_mm,
                vessel_mm,
            }));
            break;
        }
        for clot in self.plan.track.clots.clone() {
            let (beyond_mm, before_mm) = (far_mm - clot.end_mm, clot.start_mm - near_mm);
            if beyond_mm < 0.0 || before_mm < 0.0 {
                self.tell(Finding::warning(Retrieving::MissesClot {
                    device: name.to_owned(),
                    beyond_mm,
                    before_mm,
                }));
            } else {
                self.tell(Finding::note(Retrieving::OpenOverClot {
                    device: name.to_owned(),
                    beyond_mm,
                    before_mm,
                    length_mm: far_mm - near_mm,
                    vessel_mm: (narrowest_mm, widest_mm),
                }));
            }
        }
        Ok(())
    }
}
