//! A shaped tip turned into an ostium, and what relies on its seat.

use super::stepper::{Outcome, Stepper, stop};
use crate::device::{DeviceClass, Tip};
use crate::procedure::placing::Motion;
use crate::procedure::reason::{Access, Finding, Image, Precondition, Vessel};
use crate::procedure::script::Place;
use crate::procedure::state::Seat;

/// How far a catheter turned into an ostium lies in it, mm (common practice, no source).
const SEATED_MM: f64 = 5.0;
/// How far a wire may run beyond an ostium with no catheter in it, mm: its soft end (common practice, no
/// source). Further on it slips out of the ostium when anything is pushed over it.
const UNENGAGED_MM: f64 = 50.0;
/// How far short of its take-off a tip may stop and still sit in an ostium, mm.
const AT_OSTIUM_MM: f64 = 5.0;
/// How far a route runs in the wall of the vessel it leaves before it comes to a landmark at the ostium, mm: the
/// radius of a wide arch.
const OSTIUM_WITHIN_MM: f64 = 25.0;
/// Where a route's direction is looked at before and after an ostium, mm.
const LOOKS_MM: (f64, f64) = (30.0, 20.0);
/// What the arch's wall turns a catheter by that leans on it, degrees: a curve need not do the whole turn.
/// Assumed, between what a simple curve of 60 degrees does and what it does not (common practice, no source): the
/// left carotid of generic arches of type I and II turns off by 64 and 89 degrees, with a shared origin by 94, of
/// type III by 100 to 110.
const WALL_TURNS_DEG: f64 = 32.0;

impl Stepper<'_> {
    pub(super) fn engage(&mut self, name: &str, ostium: &str) -> Outcome {
        let (device, at) = self.in_body(name)?;
        self.check_free_to_move(device)?;
        let Tip::Curved { angle_deg, .. } = self.plan.devices[device].device.tip else {
            return stop(Precondition::NoShape {
                device: name.to_owned(),
            });
        };
        let ostium_mm = self.ostium_mm(ostium)?;
        if let Some(inside) = self.beyond_its_tip(device, at.tip_mm) {
            return stop(Precondition::ShapeFilled {
                device: name.to_owned(),
                inside,
            });
        }
        let to_mm = ostium_mm + SEATED_MM;
        if at.tip_mm > to_mm {
            return stop(Precondition::BeyondPlace {
                device: name.to_owned(),
                beyond_mm: at.tip_mm - to_mm,
            });
        }
        let so_far = self.ostia_mm().filter(|s| *s <= ostium_mm);
        let turns_deg = so_far.map(|s_mm| self.turn_at_deg(s_mm));
        let turn_deg = turns_deg.fold(self.turn_at_deg(ostium_mm), f64::max);
        if turn_deg > angle_deg + WALL_TURNS_DEG {
            self.tell(Finding::warning(Access::CurveTooSimple {
                device: name.to_owned(),
                curve_deg: angle_deg,
                turn_deg,
                ostium: ostium.to_owned(),
            }));
        }
        self.turning = true;
        self.move_tip(device, to_mm, Motion::Forward)?;
        self.state.seated[device] = Some(Seat {
            ostium_mm,
            shown: false,
        });
        Ok(())
    }

    /// Station of an ostium: where the route turns off into the side of a vessel.
    fn ostium_mm(&self, name: &str) -> Outcome<f64> {
        let Some(Place::Landmark(at_mm)) = self.plan.place(name) else {
            return stop(Precondition::NoOstium {
                place: name.to_owned(),
            });
        };
        let segment = self.plan.track.segment_at(at_mm);
        let turns_off = segment.start_mm > 0.0 && at_mm - segment.start_mm <= OSTIUM_WITHIN_MM;
        if turns_off {
            Ok(at_mm)
        } else {
            stop(Precondition::NoOstium {
                place: name.to_owned(),
            })
        }
    }

    /// What reaches beyond a catheter's tip and holds its shape straight.
    fn beyond_its_tip(&self, device: usize, tip_mm: f64) -> Option<String> {
        let found = self.state.inside(device).find(|k| {
            let inside_mm = self.state.tip_mm(*k);
            inside_mm.is_some_and(|s| s > tip_mm + 1.0)
        });
        found.map(|k| self.name(k))
    }

    /// Angle between the route's directions before and behind an ostium, degrees.
    fn turn_at_deg(&self, ostium_mm: f64) -> f64 {
        let track = &self.plan.track;
        let before = track.frame_at((ostium_mm - LOOKS_MM.0).max(0.0)).tangent;
        let behind = track.frame_at(ostium_mm + LOOKS_MM.1).tangent;
        before.angle(&behind).to_degrees()
    }

    /// Ostia at which the route turns off on its way to the neck, mm.
    fn ostia_mm(&self) -> impl Iterator<Item = f64> + use<> {
        let names = ["innominate-ostium", "common-carotid-origin"];
        let found = names.map(|name| self.plan.track.landmark(name).ok());
        found.into_iter().flatten().filter(|s| *s > 0.0)
    }

    /// A wire far beyond an ostium that no catheter sits in, or out of one whose seat nothing has shown.
    pub(super) fn tell_unengaged(&mut self, device: usize) {
        if self.plan.devices[device].device.class != DeviceClass::Wire {
            return;
        }
        let Some(tip_mm) = self.state.tip_mm(device) else {
            return;
        };
        let lies_in = |s_mm: f64| {
            (0..self.plan.devices.len()).any(|k| {
                !self.plan.devices[k].is_rail()
                    && self
                        .state
                        .tip_mm(k)
                        .is_some_and(|tip| tip >= s_mm - AT_OSTIUM_MM)
            })
        };
        let bare = self
            .ostia_mm()
            .find(|s| tip_mm > s + UNENGAGED_MM && !lies_in(*s));
        if let Some(ostium_mm) = bare {
            self.tell(Finding::warning(Vessel::Unengaged {
                device: self.name(device),
                beyond_mm: tip_mm - ostium_mm,
                place: self.plan.spot(ostium_mm),
            }));
        }
        self.tell_unseen_seat(device, tip_mm);
    }

    /// A wire that leaves a catheter in an ostium before contrast has shown where that sits.
    fn tell_unseen_seat(&mut self, wire: usize, tip_mm: f64) {
        let unseen = self.state.hubs_passed(wire).into_iter().find(|k| {
            self.state.seated[*k]
                .is_some_and(|seat| !seat.shown && tip_mm > seat.ostium_mm + SEATED_MM)
        });
        if let Some(catheter) = unseen {
            self.tell(Finding::warning(Image::SeatUnseen {
                device: self.name(catheter),
                wire: self.name(wire),
            }));
        }
    }
}
