//! Writing a strategy's script for a stack and a route.

use super::choices::{Choices, ClotBy, NeckBy, Order};
use super::writer::{AHEAD_OF_ASPIRATION_MM, GUIDE_PAST_LESION_MM, MICRO_PAST_LESION_MM, Writer};
use crate::geometry::LesionKind;
use crate::procedure::error::StrategyError;
use crate::procedure::script::{Action, DeviceEnd, Plan, Region, Step, Where};

impl Plan {
    /// The same vessel and stack with a script written from choices.
    ///
    /// The steps of this plan up to the guide's place in the neck are kept as they are: how a route
    /// is entered has nothing to do with the order in which neck and clot are treated. Places are
    /// ruled from the lesion, the clot and the devices' lengths. The script is a beginning: written
    /// to a file it can be edited like any other.
    ///
    /// # Errors
    /// [`StrategyError`] where the stack lacks a device, the route a lesion or a clot, or the plan its
    /// access steps.
    pub fn with_strategy(&self, choices: &Choices) -> Result<Self, StrategyError> {
        let script = Writer::new(self, choices)?.write()?;
        Ok(Self {
            name: format!("{}: {}", self.vessel.name, choices.name()),
            about: choices.about(),
            script,
            ..self.clone()
        })
    }
}

/// How far the wire goes ahead past the neck lesion, mm (common practice, no source).
const WIRE_PAST_LESION_MM: f64 = 45.0;
/// The same where a microcatheter follows it.
const WIRE_AHEAD_PAST_LESION_MM: f64 = 30.0;
/// How far the wire goes past the clot, mm (from memory: its soft tip in an M2 trunk).
const WIRE_PAST_CLOT_MM: f64 = 25.0;
/// How far the microcatheter goes past the clot, mm: the retriever's far end lies there folded.
const MICRO_PAST_CLOT_MM: f64 = 20.0;
/// How far beyond the stent the guide is brought, mm.
const GUIDE_PAST_STENT_MM: f64 = 12.0;
/// How far a balloon that leads the guide goes ahead of where that is to lie, mm.
const BALLOON_AHEAD_MM: f64 = 8.0;
/// How far below the stent the guide is drawn back at the end, mm.
const GUIDE_BELOW_STENT_MM: f64 = 15.0;
/// How far a wire is left beyond the guide's tip before the guide comes back, mm.
const WIRE_PAST_GUIDE_MM: f64 = 20.0;
/// How long after its treatment the neck is looked at once more, min (common practice, no source: 10 to 20; of
/// 73 stents in tandem lesions 14 clotted, Pop R et al., AJNR 2019;40:533).
const CONTROL_AFTER_MIN: f64 = 10.0;
/// How long the clot is given to take hold of the suction, min (from memory).
const HOLD_WITH_RETRIEVER_MIN: f64 = 1.0;
/// The same where suction alone draws it, min (from memory: 2 to 3).
const HOLD_BY_SUCTION_MIN: f64 = 2.0;

impl<'a> Writer<'a> {
    pub(super) fn write(mut self) -> Result<Vec<Step>, StrategyError> {
        match (self.choices.order, self.choices.clot_by) {
            (Order::RetrieverFirst, _) => {
                self.cross_lesion();
                self.reach_past_clot();
                let retriever = self.open_retriever()?;
                self.treat_neck(&retriever)?;
                self.fetch_with_retriever(&retriever, true);
            }
            (Order::NeckFirst, by) => {
                self.neck_over_wire()?;
                self.guide_up_over_balloon();
                self.take_out_wire();
                self.take_clot(by, false)?;
            }
            (Order::ClotFirst, by) => {
                self.take_clot(by, true)?;
                self.neck_over_wire()?;
                self.balloon_off();
                self.neck_seen("Run of the neck: the lesion after it");
            }
        }
        self.finish();
        Ok(self.script)
    }

    /// Wire, then microcatheter, across a lesion that nothing lies across; the microcatheter enters
    /// through the guide.
    fn cross_lesion(&mut self) {
        let (guide, m) = (self.roles.guide.clone(), self.roles.microcatheter.clone());
        self.insert(
            "Microcatheter to the guide's tip",
            &m,
            &guide,
            None,
            self.guide_tip(),
        );
        self.wire_into_microcatheter();
        self.follow_across_lesion();
    }

    fn wire_into_microcatheter(&mut self) {
        let (m, w) = (self.roles.microcatheter.clone(), self.roles.wire.clone());
        let to = Where::At(DeviceEnd::Tip.of(&m));
        self.insert("Wire to the microcatheter's tip", &w, &m, None, to);
    }

    fn follow_across_lesion(&mut self) {
        let (m, w) = (self.roles.microcatheter.clone(), self.roles.wire.clone());
        let to = self.past_lesion(WIRE_AHEAD_PAST_LESION_MM);
        self.advance("Wire across the neck lesion", &w, to);
        let to = self.past_lesion(MICRO_PAST_LESION_MM);
        self.advance("Microcatheter across the neck lesion over the wire", &m, to);
    }

    fn reach_past_clot(&mut self) {
        let (m, w) = (self.roles.microcatheter.clone(), self.roles.wire.clone());
        let to = self.past_clot(WIRE_PAST_CLOT_MM);
        self.advance("Wire past the clot", &w, to);
        let to = self.past_clot(MICRO_PAST_CLOT_MM);
        self.advance("Microcatheter past the clot", &m, to);
    }

    fn open_retriever(&mut self) -> Result<String, StrategyError> {
        let retriever = self.roles.need_retriever(&self.choices)?;
        let m = self.roles.microcatheter.clone();
        let w = self.roles.wire.clone();
        self.remove("Wire out", &w);
        self.contrast(
            "A little contrast through the microcatheter: beyond the clot, in the true lumen",
            &m,
            Region::Head,
        );
        let tool = self.roles.insertion_tool.clone();
        if let Some(tool) = &tool {
            let act = Action::Attach {
                part: tool.clone(),
                rail: retriever.clone(),
            };
            self.step("Insertion tool on the retriever's pusher", act);
        }
        let act = Action::LoadRetriever {
            retriever: retriever.clone(),
            through: m.clone(),
        };
        self.step("Retriever through the microcatheter", act);
        if let Some(part) = tool {
            self.step("Insertion tool off", Action::Detach { part });
        }
        let act = Action::Unsheathe {
            retriever: retriever.clone(),
        };
        self.step("Microcatheter back: the retriever opens", act);
        let guide = self.roles.guide.clone();
        self.contrast(
            "Run of the head: the retriever stands open across the clot",
            &guide,
            Region::Head,
        );
        let act = Action::Flush {
            device: m.clone(),
            pressure_atm: None,
        };
        self.step(
            "Saline pressed through the microcatheter, to push the pusher forward",
            act,
        );
        self.remove(
            "Microcatheter off over the pusher: the retriever cannot be folded again",
            &m,
        );
        self.look_at_markers(&retriever);
        Ok(retriever)
    }

    fn look_at_markers(&mut self, retriever: &str) {
        let retriever = retriever.to_owned();
        self.step(
            "Look at the retriever's markers",
            Action::CheckMarkers { retriever },
        );
    }

    /// Stops the flow where the guide has a balloon, else turns suction on.
    fn protect(&mut self, say_suction: &str) {
        let device = self.roles.guide.clone();
        if self.guide_has_balloon() {
            let act = Action::Inflate {
                device,
                pressure_atm: None,
            };
            self.step("Balloon of the guide up: the flow stops", act);
        } else {
            self.step(say_suction, Action::SuctionOn { device });
        }
    }

    /// Lets the blood flow again, for a run or because the work is done.
    fn let_flow(&mut self, say_suction: &str) {
        let device = self.roles.guide.clone();
        if self.guide_has_balloon() {
            self.step(
                "Balloon of the guide down: blood flows",
                Action::Deflate { device },
            );
        } else {
            self.step(say_suction, Action::SuctionOff { device });
        }
    }

    /// Blood flows, and the neck is seen.
    fn neck_seen(&mut self, say: &str) {
        let guide = self.roles.guide.clone();
        self.let_flow("Suction off for a run");
        self.contrast(say, &guide, Region::Neck);
    }

    /// Stent and balloon over a rail; the balloon comes off again.
    fn treat_neck(&mut self, rail: &str) -> Result<(), StrategyError> {
        self.stent_and_balloon(rail)?;
        self.balloon_off();
        self.neck_seen("Run of the neck: the lesion after it");
        Ok(())
    }

    /// The same up to the balloon's deflation: it still lies where it was inflated, and the brain is protected.
    fn stent_and_balloon(&mut self, rail: &str) -> Result<(), StrategyError> {
        let guide = self.roles.guide.clone();
        self.protect("Suction on the guide while the neck is worked on");
        if self.stented() {
            let stent = self.roles.need_stent(&self.choices)?;
            let to = self.past_lesion(self.stent_tip_past_lesion_mm(&stent));
            self.insert(
                "Carotid stent system across the lesion",
                &stent,
                &guide,
                Some(rail),
                to,
            );
            let device = stent.clone();
            self.step("Stent released", Action::DeployStent { device });
            self.remove("Stent system off", &stent);
            if self.choices.neck_by == NeckBy::StentAndBalloon {
                self.neck_seen("Run of the neck: the stent before it is dilated");
                self.protect("Suction on the guide again");
            }
        }
        if self.choices.neck_by != NeckBy::StentAlone {
            let balloon = self.roles.need_balloon(&self.choices)?;
            let to = self.past_lesion(self.balloon_tip_past_lesion_mm(&balloon));
            let (say, up) = if self.stented() {
                ("Balloon into the stent", "Post-dilation")
            } else {
                ("Balloon across the lesion", "Dilation")
            };
            self.insert(say, &balloon, &guide, Some(rail), to);
            let act = Action::Inflate {
                device: balloon.clone(),
                pressure_atm: None,
            };
            self.step(up, act);
            self.step("Balloon down", Action::Deflate { device: balloon });
        }
        Ok(())
    }

    fn balloon_off(&mut self) {
        if self.choices.neck_by != NeckBy::StentAlone
            && let Some(balloon) = self.roles.balloon.clone()
        {
            self.remove("Balloon off", &balloon);
        }
    }

    /// The neck over a wire of its own; in a dissection the true lumen is shown first, through a
    /// microcatheter that then comes off.
    fn neck_over_wire(&mut self) -> Result<(), StrategyError> {
        let (guide, wire) = (self.roles.guide.clone(), self.roles.wire.clone());
        if self.lesion.kind == LesionKind::Plaque {
            let to = self.past_lesion(WIRE_PAST_LESION_MM);
            self.insert("Wire across the neck lesion", &wire, &guide, None, to);
        } else {
            self.cross_lesion();
            self.show_true_lumen();
            let m = self.roles.microcatheter.clone();
            let to = self.past_lesion(WIRE_PAST_LESION_MM);
            self.advance("Wire ahead of the microcatheter", &wire, to);
            self.remove("Microcatheter off over the wire", &m);
        }
        self.stent_and_balloon(&wire)
    }

    /// A microcatheter across a flap is shown to lie in the true lumen before anything is opened.
    fn show_true_lumen(&mut self) {
        let (m, wire) = (self.roles.microcatheter.clone(), self.roles.wire.clone());
        self.remove("Wire out, to show the lumen", &wire);
        self.contrast(
            "A little contrast beyond the flap: in the true lumen",
            &m,
            Region::Neck,
        );
        self.wire_into_microcatheter();
    }

    fn take_out_wire(&mut self) {
        let wire = self.roles.wire.clone();
        self.remove("Wire out", &wire);
    }

    fn guide_place(&self) -> Where {
        self.beyond_guide_place(0.0)
    }

    /// So far beyond where the guide is to lie.
    fn beyond_guide_place(&self, by_mm: f64) -> Where {
        match &self.roles.stent {
            Some(stent) if self.stented() => {
                Where::Past(DeviceEnd::Distal.of(stent), GUIDE_PAST_STENT_MM + by_mm)
            }
            _ => self.past_lesion(GUIDE_PAST_LESION_MM + by_mm),
        }
    }

    fn guide_up(&mut self, say: &str, nose: Option<String>) {
        let act = Action::Advance {
            device: self.roles.guide.clone(),
            to: self.guide_place(),
            nose,
        };
        self.step(say, act);
    }

    /// The guide through the opened neck with the balloon as its nose, which then comes off.
    fn guide_up_over_balloon(&mut self) {
        let balloon = self.roles.balloon.clone();
        let nose = balloon.filter(|_| self.choices.neck_by != NeckBy::StentAlone);
        let say = if nose.is_some() {
            "Guide up through the neck over the balloon"
        } else {
            "Guide up through the stent"
        };
        let guide = self.roles.guide.clone();
        self.neck_seen("Run of the neck: the lesion after it");
        if let Some(balloon) = &nose {
            let to = self.beyond_guide_place(BALLOON_AHEAD_MM);
            self.advance("Balloon ahead, to lead the guide", balloon, to);
        }
        self.guide_up(say, nose);
        self.balloon_off();
        self.contrast("Run of the head through the guide", &guide, Region::Head);
    }

    /// The clot from crossing to its way out. `neck_shut`: the lesion has not been treated and the
    /// guide lies below it.
    fn take_clot(&mut self, by: ClotBy, neck_shut: bool) -> Result<(), StrategyError> {
        match by {
            ClotBy::Retriever => {
                if neck_shut {
                    self.cross_lesion();
                } else {
                    let (guide, m) = (self.roles.guide.clone(), self.roles.microcatheter.clone());
                    let to = self.guide_tip();
                    self.insert("Microcatheter to the guide's tip", &m, &guide, None, to);
                    self.wire_into_microcatheter();
                }
                self.reach_past_clot();
                let retriever = self.open_retriever()?;
                self.fetch_with_retriever(&retriever, false);
            }
            ClotBy::Suction => self.fetch_by_suction(neck_shut),
        }
        Ok(())
    }

    /// Aspiration catheter over the pusher, the guide after it where it is to shield a stent, and all
    /// of it back.
    fn fetch_with_retriever(&mut self, retriever: &str, guide_follows: bool) {
        let (guide, a) = (self.roles.guide.clone(), self.roles.aspiration.clone());
        self.insert(
            "Aspiration catheter over the pusher to the guide's tip",
            &a,
            &guide,
            Some(retriever),
            self.guide_tip(),
        );
        self.look_at_markers(retriever);
        let device = a.clone();
        self.step(
            "Suction on the aspiration catheter",
            Action::SuctionOn { device },
        );
        let to = self.before_clot(1.0);
        self.advance("Aspiration catheter to the clot under suction", &a, to);
        if guide_follows {
            self.guide_up(
                "Guide beyond the stent, the aspiration catheter as its nose",
                Some(a.clone()),
            );
        }
        self.hold_and_pull(
            HOLD_WITH_RETRIEVER_MIN,
            vec![retriever.to_owned(), a],
            &guide,
        );
    }

    fn fetch_by_suction(&mut self, neck_shut: bool) {
        let (guide, a) = (self.roles.guide.clone(), self.roles.aspiration.clone());
        let (m, w) = (self.roles.microcatheter.clone(), self.roles.wire.clone());
        let to = self.guide_tip();
        self.insert(
            "Aspiration catheter to the guide's tip",
            &a,
            &guide,
            None,
            to,
        );
        let to = Where::At(DeviceEnd::Tip.of(&a));
        self.insert("Microcatheter to its tip", &m, &a, None, to);
        self.wire_into_microcatheter();
        if neck_shut {
            self.follow_across_lesion();
            if self.lesion.kind != LesionKind::Plaque {
                self.show_true_lumen();
            }
        }
        for at_mm in self.stages_mm(neck_shut) {
            let ahead = |by_mm: f64| {
                let mm = (at_mm + by_mm - self.lesion.end_mm).round();
                Where::Past(format!("{}-end", self.lesion.name), mm)
            };
            let (follows, wire, micro) = (
                ahead(-AHEAD_OF_ASPIRATION_MM),
                ahead(AHEAD_OF_ASPIRATION_MM),
                ahead(0.0),
            );
            self.advance("Wire further up", &w, wire);
            self.advance("Microcatheter after it", &m, micro);
            self.advance("Aspiration catheter after both", &a, follows);
        }
        let to = Where::At(format!("{}-start", self.clot.name));
        self.advance("Wire to the clot", &w, to);
        let to = self.before_clot(5.0);
        self.advance("Microcatheter to the clot", &m, to);
        let to = self.before_clot(1.0);
        self.advance("Aspiration catheter to the clot over both", &a, to);
        self.remove("Wire out", &w);
        self.remove("Microcatheter out", &m);
        let device = a.clone();
        self.step(
            "Suction on the aspiration catheter",
            Action::SuctionOn { device },
        );
        self.hold_and_pull(HOLD_BY_SUCTION_MIN, vec![a], &guide);
    }

    fn hold_and_pull(&mut self, minutes: f64, unit: Vec<String>, guide: &str) {
        let device = guide.to_owned();
        if self.guide_has_balloon() {
            let device = device.clone();
            let act = Action::Inflate {
                device,
                pressure_atm: None,
            };
            self.step("Balloon of the guide up: the flow stops", act);
        }
        self.step("Suction on the guide", Action::SuctionOn { device });
        self.step("Time for the clot to be drawn in", Action::Wait { minutes });
        let act = Action::WithdrawTogether {
            devices: unit.clone(),
            to: Where::Short(DeviceEnd::Tip.of(guide), 10.0),
        };
        self.step("Clot and what holds it drawn into the guide together", act);
        let act = Action::WithdrawTogether {
            devices: unit,
            to: Where::Out,
        };
        self.step("All of it out", act);
        let device = guide.to_owned();
        self.step(
            "Suction on the guide off once the blood runs clear",
            Action::SuctionOff { device },
        );
        if self.guide_has_balloon() {
            let device = guide.to_owned();
            self.step(
                "Balloon of the guide down: blood flows",
                Action::Deflate { device },
            );
        }
        self.contrast("Run of the head: is the artery open?", guide, Region::Head);
    }

    /// What still lies across the neck stays until the last run; where nothing does, a wire is left there
    /// before the guide comes back.
    fn finish(&mut self) {
        let (guide, wire) = (self.roles.guide.clone(), self.roles.wire.clone());
        let went_up = self.script.iter().any(
            |s| matches!(&s.act, Action::Advance { device, to, .. } if *device == guide && *to == self.guide_place()),
        );
        if went_up {
            let to = match &self.roles.stent {
                Some(stent) if self.stented() => {
                    Where::Short(DeviceEnd::Proximal.of(stent), GUIDE_BELOW_STENT_MM)
                }
                _ => Where::Short(format!("{}-start", self.lesion.name), GUIDE_BELOW_STENT_MM),
            };
            let beyond = Where::Past(DeviceEnd::Tip.of(&guide), WIRE_PAST_GUIDE_MM);
            self.insert(
                "Wire through the guide, left across the neck lesion",
                &wire,
                &guide,
                None,
                beyond,
            );
            let act = Action::Withdraw {
                device: guide.clone(),
                to,
            };
            self.step("Guide back below the neck lesion over the wire", act);
        } else if self.choices.order != Order::ClotFirst {
            let to = self.past_lesion(WIRE_PAST_LESION_MM);
            self.insert(
                "Wire through the guide, left across the neck lesion",
                &wire,
                &guide,
                None,
                to,
            );
        }
        self.contrast("Run of the neck with the wire across", &guide, Region::Neck);
        let minutes = CONTROL_AFTER_MIN;
        self.step(
            "Ten minutes, in which a stent that clots shows it",
            Action::Wait { minutes },
        );
        self.contrast("Run of the neck after them", &guide, Region::Neck);
        self.contrast("Last run of the head", &guide, Region::Head);
        self.take_out_wire();
        self.remove("Guide out", &guide);
        if let Some(sheath) = self.roles.sheath.clone() {
            self.remove("Sheath out, the puncture closed", &sheath);
        }
    }
}
