//! Suction and contrast through a lumen with what lies in it.

use super::stepper::{Outcome, Stepper, stop};
use crate::device::LumenKind;
use crate::procedure::reason::{Filled, Finding, Image, Lumen, LumenNeed, PartNeed, Use};
use crate::procedure::script::{Action, Region};
use crate::procedure::state::{BLOCKED, lumen_flow};

/// Pressure of a small syringe in one hand, atm (from memory: 3 to 10).
const FLUSH_ATM: f64 = 5.0;
/// Flow share below which a run is called poor.
const POOR: f64 = 0.30;

impl Stepper<'_> {
    pub(super) fn suction_on(&mut self, name: &str) -> Outcome {
        let (device, _) = self.in_body(name)?;
        if !matches!(self.plan.devices[device].device.lumen, LumenKind::Full) {
            return stop(PartNeed::NoThroughLumen {
                device: name.to_owned(),
                wanted_for: Use::Suction,
            });
        }
        if self.state.suction[device] {
            return stop(LumenNeed::SuctionOnAlready {
                device: name.to_owned(),
            });
        }
        self.state.suction[device] = true;
        let (share, occupants) = self.flow_share(device);
        if share < BLOCKED {
            self.tell(Finding::warning(Lumen::SuctionMovesNothing(Filled {
                device: name.to_owned(),
                occupants,
                share,
            })));
        }
        Ok(())
    }

    pub(super) fn suction_off(&mut self, name: &str) -> Outcome {
        let (device, _) = self.in_body(name)?;
        if !self.state.suction[device] {
            return stop(LumenNeed::SuctionNotOn {
                device: name.to_owned(),
            });
        }
        self.state.suction[device] = false;
        Ok(())
    }

    pub(super) fn contrast(&mut self, name: &str, region: Region) -> Outcome {
        let (device, at) = self.in_body(name)?;
        if !matches!(self.plan.devices[device].device.lumen, LumenKind::Full) {
            return stop(PartNeed::NoThroughLumen {
                device: name.to_owned(),
                wanted_for: Use::Contrast,
            });
        }
        if self.state.suction[device] {
            return stop(LumenNeed::InjectsUnderSuction {
                device: name.to_owned(),
            });
        }
        let (share, occupants) = self.flow_share(device);
        if share < BLOCKED {
            return stop(LumenNeed::LumenBlocked(Filled {
                device: name.to_owned(),
                occupants,
                share,
            }));
        }
        if share < POOR {
            self.tell(Finding::note(Lumen::PoorRun(Filled {
                device: name.to_owned(),
                occupants,
                share,
            })));
        }
        for plane in 0..2 {
            self.state.run_on[plane] |= self.state.watching[plane] == Some(region);
        }
        if let Some(seat) = &mut self.state.seated[device] {
            seat.shown = true;
        }
        let shows = self.plan.region_of(at.tip_mm);
        if shows > region {
            self.tell(Finding::warning(Image::InjectsBehind {
                device: name.to_owned(),
                lies_in: shows,
                shows: region,
            }));
        }
        for (lesion, told) in self.plan.track.lesions.iter().enumerate() {
            if at.tip_mm >= told.end_mm {
                self.state.true_lumen_shown[lesion] = true;
            } else if region == Region::Head
                && self.state.residual_mm[lesion] <= 0.0
                && at.tip_mm < told.start_mm
            {
                self.effect
                    .findings
                    .push(Finding::warning(Image::ShutBelow {
                        lesion: told.name.clone(),
                    }));
            }
        }
        Ok(())
    }

    /// Saline pressed through a catheter's lumen from its hub.
    pub(super) fn flush(&mut self, name: &str, pressure_atm: Option<f64>) -> Outcome {
        let (device, _) = self.in_body(name)?;
        if !matches!(self.plan.devices[device].device.lumen, LumenKind::Full) {
            return stop(PartNeed::NoThroughLumen {
                device: name.to_owned(),
                wanted_for: Use::Flush,
            });
        }
        if self.state.suction[device] {
            return stop(LumenNeed::InjectsUnderSuction {
                device: name.to_owned(),
            });
        }
        self.state.flushed_atm[device] = Some(pressure_atm.unwrap_or(FLUSH_ATM));
        Ok(())
    }

    /// Share of a catheter's free flow that is left with what lies in it, and what that is.
    fn flow_share(&self, device: usize) -> (f64, Vec<String>) {
        let flow = lumen_flow(self.plan, &self.state, device);
        let names = flow.occupants.iter().map(|k| self.name(*k)).collect();
        (flow.least_share, names)
    }

    /// Lumens that the script puts on suction at some step, off while the open retriever is pulled.
    pub(super) fn tell_suction_off(&mut self, moving: &[usize]) {
        if !moving.iter().any(|k| self.state.open[*k]) {
            return;
        }
        let meant = self.plan.script.iter().filter_map(|step| match &step.act {
            Action::SuctionOn { device } => self.plan.device_index(device),
            _ => None,
        });
        let mut off: Vec<usize> = meant.filter(|k| !self.state.suction[*k]).collect();
        off.sort_unstable();
        off.dedup();
        for device in off {
            self.tell(Finding::warning(Lumen::SuctionOff {
                device: self.name(device),
                in_body: self.state.in_place[device].is_some(),
            }));
        }
    }
}
