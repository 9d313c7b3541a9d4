//! Advancing and withdrawing: what has to hold before a tip moves.

use super::stepper::{Outcome, Stepper, stop};
use crate::procedure::placing::{DepthTarget, Motion};
use crate::procedure::reason::{
    Exchange, Finding, PayloadNeed, Precondition, RailNeed, Reach, RetrieverNeed,
};
use crate::procedure::script::Where;
use crate::procedure::state::InPlace;

/// Length by which a held tip may have been carried on beyond the place it is to go to, mm: a step that
/// finds it there has nothing to do.
const CARRIED_ON_MM: f64 = 5.0;
/// Length by which it has to be beyond to be told, mm: what a tenth of a millimetre rounds to nothing is not.
const SEEN_BEYOND_MM: f64 = 0.05;

impl Stepper<'_> {
    pub(super) fn advance(&mut self, name: &str, to: &Where, nose: Option<&str>) -> Outcome {
        let (device, at) = self.in_body(name)?;
        self.check_free_to_move(device)?;
        if self.state.open[device] {
            return stop(RetrieverNeed::OpenPushedForward {
                device: name.to_owned(),
            });
        }
        if let Some(nose) = nose {
            let (lead, lead_at) = self.in_body(nose)?;
            if !self.state.hubs_passed(lead).contains(&device) {
                return stop(Precondition::NoseElsewhere {
                    device: name.to_owned(),
                    nose: nose.to_owned(),
                });
            }
            if lead_at.tip_mm <= at.tip_mm {
                return stop(Precondition::NoseBehindTip {
                    device: name.to_owned(),
                    nose: nose.to_owned(),
                });
            }
        }
        let mut to_mm = self.resolve(to, device, at.tip_mm, true)?;
        let beyond_mm = at.tip_mm - to_mm;
        if beyond_mm >= CARRIED_ON_MM {
            return stop(Precondition::BeyondPlace {
                device: name.to_owned(),
                beyond_mm,
            });
        }
        if beyond_mm > 0.0 {
            // carried on a little by what moved before, it is there
            to_mm = at.tip_mm;
            if beyond_mm >= SEEN_BEYOND_MM {
                self.tell(Finding::note(Reach::ThereAlready {
                    device: name.to_owned(),
                    beyond_mm,
                }));
            }
        }
        self.check_stented_lumen(device, at.tip_mm, to_mm, nose)?;
        self.tell_rail_in_hand(device);
        if *to == Where::Hub {
            return self.feed_to_hub(device);
        }
        self.move_tip(device, to_mm, Motion::Forward)
    }

    pub(super) fn withdraw(&mut self, name: &str, to: &Where) -> Outcome {
        let (device, at) = self.in_body(name)?;
        self.check_free_to_move(device)?;
        let to_mm = self.resolve(to, device, at.tip_mm, false)?;
        if to_mm > at.tip_mm + 1e-9 {
            return stop(Precondition::ShortOfPlace {
                device: name.to_owned(),
                short_mm: to_mm - at.tip_mm,
                unit: false,
            });
        }
        self.check_hubs_behind(device, at, to_mm, &[device])?;
        self.tell_clot_drawn(&[device], at.tip_mm - to_mm)?;
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
            return stop(Precondition::ShortOfPlace {
                device: names[0].clone(),
                short_mm: to_mm - lead_at.tip_mm,
                unit: true,
            });
        }
        let members: Vec<usize> = unit.iter().map(|u| u.0).collect();
        for (device, _) in &unit {
            self.check_free_to_move(*device)?;
            if let Some(left) = self.state.inside(*device).find(|k| !members.contains(k)) {
                return stop(Precondition::DraggedAlong {
                    inside: self.name(left),
                    around: self.name(*device),
                });
            }
        }
        let by_mm = lead_at.tip_mm - to_mm;
        let out = *to == Where::Out;
        let mut targets = Vec::new();
        for (device, at) in &unit {
            let to_mm = at.tip_mm - by_mm;
            if out {
                targets.push((*device, DepthTarget::Tip(self.plan.hub_station_mm())));
            } else {
                self.check_hubs_behind(*device, *at, to_mm, &members)?;
                targets.push((*device, DepthTarget::Tip(to_mm)));
            }
        }
        self.tell_suction_off(&members);
        self.tell_clot_drawn(&members, if out { f64::INFINITY } else { by_mm })?;
        let placed = self.placed(&targets, Motion::Back)?;
        self.take_over(placed, &members);
        if out {
            for device in members {
                self.take_out(device);
            }
        }
        Ok(())
    }

    pub(super) fn check_free_to_move(&self, device: usize) -> Outcome {
        if self.state.inflated[device] {
            return stop(PayloadNeed::BalloonUp {
                device: self.name(device),
            });
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
                let (inside, around) = (self.name(k), self.name(device));
                return stop(if self.plan.devices[k].is_rail() {
                    RailNeed::RailVanishes {
                        rail: inside,
                        around,
                        outside_mm,
                        back_mm,
                    }
                } else {
                    RailNeed::ValveMeetsHub {
                        inside,
                        around,
                        between_mm: outside_mm,
                        back_mm,
                    }
                });
            }
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
                self.tell(Finding::warning(Exchange::RailTooShortToHold {
                    rail: self.name(rail),
                    device: self.name(device),
                    outside_mm,
                }));
            }
        }
    }
}
