//! The retriever: loaded through its microcatheter, opened by drawing that back.

use super::{Finding, InPlace, Motion, Topic, Wish, step::Outcome, step::Stepper, step::stop};
use crate::device::Payload;
use crate::geometry::LesionKind;

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
        let open = self.state.open_profile(self.plan, device);
        let far_mm = open.last().map_or(bare_mm, |o| o.from_mm + o.length_mm);
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
            let text = format!(
                "the {name} is meant for vessels of {:.1} to {:.1} mm, it opens in {vessel_mm:.1} mm",
                spec.vessel_from_mm, spec.vessel_to_mm
            );
            self.tell(
                Finding::warning(Topic::Treatment, text).with_help("another size of retriever"),
            );
            break;
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
                    "the {name} stands open over the clot with {beyond_mm:.0} mm beyond it and {before_mm:.0} mm before it: {:.0} mm long in a vessel of {narrowest_mm:.1} to {widest_mm:.1} mm",
                    far_mm - near_mm
                );
                self.tell(Finding::note(Topic::Treatment, text));
            }
        }
        Ok(())
    }
}
