//! A device against what lesions leave, along all of them that it lies in or passes.

use super::stepper::{Outcome, Stepper, stop};
use crate::device::{BalloonSpec, Payload};
use crate::mechanics::Failure;
use crate::procedure::edges::device_steps;
use crate::procedure::placing::{
    DepthTarget, LesionPassage, Motion, StackPlacement, lesion_passages, needed_range_n,
};
use crate::procedure::reason::{Finding, LedgeMet, Lesion, Narrow, Precondition};
use crate::procedure::script::Action;
use crate::procedure::state::Beds;

/// A device this thin slips through a residual lumen without being said to dilate it, mm: the
/// 0.014 in of a wire and its coating.
const WIRE_MM: f64 = 0.4;
/// Highest bare step that still rides in over plaque, mm of radius: the largest rounding of a catheter's tip (assumed, as
/// at the edge of a stent). What is higher meets plaque as a ledge, and no law says whether it stops there.
const RIDES_IN_MM: f64 = 0.25;
/// What a lesion asks for below which a passage is no stop of its own, N: what a hand hardly feels.
const LEAST_N: f64 = 0.01;
/// Diameters nearer than this, mm, are the same.
const SAME_MM: f64 = 0.01;
/// Spacing at which a lesion is looked at, mm: the lumen of the shortest changes by hundredths of a
/// millimetre over it.
const LOOK_MM: f64 = 0.25;

impl Stepper<'_> {
    /// Where, of the places of a lesion between two stations, what passes is widest against what is left:
    /// both diameters, mm. None where the lesion does not reach in between.
    fn tightest_in(
        &self,
        lesion: usize,
        [from_mm, to_mm]: [f64; 2],
        outer_at: impl Fn(f64) -> f64,
    ) -> Option<(f64, f64)> {
        let told = &self.plan.track.lesions[lesion];
        let (from_mm, to_mm) = (from_mm.max(told.start_mm), to_mm.min(told.end_mm));
        if from_mm > to_mm {
            return None;
        }
        let cells = ((to_mm - from_mm) / LOOK_MM).ceil().max(1.0);
        let mut places = vec![told.middle_mm().clamp(from_mm, to_mm)];
        let mut i = 0.0;
        while i <= cells {
            places.push(from_mm + (to_mm - from_mm) * i / cells);
            i += 1.0;
        }
        places
            .into_iter()
            .map(|s_mm| {
                let lumen_mm = self.state.lesion_lumen_mm(self.plan, lesion, s_mm);
                (outer_at(s_mm), lumen_mm)
            })
            .max_by(|a, b| (a.0 - a.1).total_cmp(&(b.0 - b.1)))
    }

    /// A guide does not pass a stented lesion that is narrower than itself, unless something that
    /// tapers leads it: the stent's struts would stop its rim. What lies there already has passed.
    pub(super) fn check_stented_lumen(
        &mut self,
        device: usize,
        from_mm: f64,
        to_mm: f64,
        nose: Option<&str>,
    ) -> Outcome {
        let shape = &self.plan.devices[device].device;
        let steps = device_steps(shape);
        // its tip arrives with all that follows, and what lies there already with the steps that pass
        let arrives_mm = |s_mm: f64| {
            if s_mm > from_mm {
                return shape.max_outer_between(0.0, to_mm - s_mm);
            }
            let passed_mm = from_mm - s_mm..to_mm - s_mm;
            let met = steps.iter().filter(|s| s.faces_forward);
            let passing = met.filter(|s| passed_mm.contains(&s.from_tip_mm));
            passing.map(|s| 2.0 * s.outer_radius_mm).fold(0.0, f64::max)
        };
        for (lesion, told) in self.plan.track.lesions.iter().enumerate() {
            if !self.state.is_stented(told) {
                continue;
            }
            let tightest = self.tightest_in(lesion, [0.0, to_mm], arrives_mm);
            let Some((outer_mm, residual_mm)) = tightest.filter(|(o, l)| o > l) else {
                continue;
            };
            let found = Narrow {
                device: self.name(device),
                outer_mm,
                lesion: told.name.clone(),
                residual_mm,
            };
            let Some(nose) = nose else {
                return stop(Precondition::StentedLesionNarrow(found));
            };
            self.tell(Finding::warning(Lesion::RidesUp {
                device: found.device,
                outer_mm,
                nose: nose.to_owned(),
                lesion: found.lesion,
                residual_mm,
            }));
        }
        Ok(())
    }

    /// A device against what every lesion leaves open, bare from a station to its tip: a rigid ring stops it, a wire finds
    /// its way, everything else dilates, or stops at a ledge of its own.
    pub(super) fn tell_lesions(
        &mut self,
        device: usize,
        bare_from_mm: f64,
        [from_mm, to_mm]: [f64; 2],
    ) -> Outcome {
        let passages = lesion_passages(self.plan, &self.state, device, [from_mm, to_mm])?;
        for lesion in 0..self.plan.track.lesions.len() {
            let passage = passages.iter().find(|p| p.lesion == lesion);
            self.tell_lesion(device, lesion, bare_from_mm, [from_mm, to_mm], passage)?;
        }
        Ok(())
    }

    fn tell_lesion(
        &mut self,
        device: usize,
        lesion: usize,
        bare_from_mm: f64,
        [from_mm, to_mm]: [f64; 2],
        passage: Option<&LesionPassage>,
    ) -> Outcome {
        let stacked = &self.plan.devices[device];
        // what passes a station is everything from the tip to what lies there in the end; what has passed it before
        // has been told
        let up_to_mm = |tip_mm: f64, s_mm: f64| match tip_mm >= s_mm {
            true => stacked.device.max_outer_between(0.0, tip_mm - s_mm),
            false => 0.0,
        };
        let passes_mm = |s_mm: f64| {
            let now_mm = up_to_mm(to_mm, s_mm);
            if now_mm > up_to_mm(from_mm, s_mm) + SAME_MM {
                now_mm
            } else {
                0.0
            }
        };
        let tightest = self.tightest_in(lesion, [bare_from_mm, to_mm], passes_mm);
        let Some((outer_mm, residual_mm)) = tightest.filter(|(o, l)| o > l) else {
            return Ok(());
        };
        let told = &self.plan.track.lesions[lesion];
        let narrow = Narrow {
            device: stacked.name.clone(),
            outer_mm,
            lesion: told.name.clone(),
            residual_mm,
        };
        let step_mm = passage.map_or(0.0, |p| p.ledge_mm);
        if told.rigid {
            self.tell(Finding::failure(Lesion::RigidRing(narrow)));
        } else if outer_mm <= WIRE_MM {
            self.tell(Finding::note(Lesion::WireFindsWay(narrow)));
        } else if step_mm > RIDES_IN_MM {
            let met = self.ledge_met(lesion, narrow, step_mm);
            let shut = told.residual_mm < WIRE_MM && self.state.rest_mm[lesion] < WIRE_MM;
            self.tell(if shut {
                Finding::failure(Lesion::OnlyAWire(met))
            } else {
                Finding::undecided(Lesion::Ledge(met))
            });
        } else if let Some(passage) = passage {
            let middle_mm = told.middle_mm();
            let way_mm = [from_mm, to_mm];
            let range_n = needed_range_n(self.plan, &self.state, device, lesion, way_mm)?;
            self.tell(Finding::warning(Lesion::Dilates {
                narrow,
                needed_n: passage.needed_n,
                needed_range_n: range_n,
                leaves_mm: self.left_after_mm(device, lesion, [middle_mm, to_mm]),
            }));
        }
        Ok(())
    }

    fn ledge_met(&self, lesion: usize, narrow: Narrow, step_mm: f64) -> LedgeMet {
        // what the step may stand above what is open
        let wanted_mm = narrow.outer_mm - 2.0 * RIDES_IN_MM;
        LedgeMet {
            balloon_mm: self.balloon_that_leaves_mm(lesion, wanted_mm),
            dilated_later: self.dilates_later(),
            narrow,
            step_mm,
        }
    }

    /// The smallest balloon, in half millimetres, after which a lesion stays so far open, mm; none where
    /// it would be too wide for the artery.
    fn balloon_that_leaves_mm(&self, lesion: usize, wanted_mm: f64) -> Option<f64> {
        let rest_mm = self.state.rest_mm[lesion];
        let kept = self.plan.values.plaque.kept_bare;
        let balloon_mm = rest_mm + (wanted_mm - rest_mm) / kept;
        let balloon_mm = 0.5 * (2.0 * balloon_mm).ceil();
        let most_mm = BalloonSpec::no_wider_than_mm(self.plan.track.lesions[lesion].reference_mm);
        (balloon_mm <= most_mm).then_some(balloon_mm)
    }

    /// Whether the script dilates with a balloon at all: it has not yet, or the lesion would be open.
    fn dilates_later(&self) -> bool {
        self.plan.script.iter().any(|step| match &step.act {
            Action::Inflate { device, .. } => self.plan.device_index(device).is_some_and(|k| {
                matches!(
                    self.plan.devices[k].device.payload,
                    Some(Payload::Balloon(_))
                )
            }),
            _ => false,
        })
    }

    /// Lumen that a lesion keeps once a device has passed its middle with its tip, `[middle, tip]`, mm.
    fn left_after_mm(&self, device: usize, lesion: usize, [middle_mm, to_mm]: [f64; 2]) -> f64 {
        let rest_mm = self.state.rest_mm[lesion];
        let shape = &self.plan.devices[device].device;
        if to_mm < middle_mm || self.plan.track.lesions[lesion].rigid {
            return rest_mm;
        }
        let outer_mm = shape.max_outer_between(0.0, to_mm - middle_mm);
        let outer_mm = outer_mm.max(self.state.passed_mm[lesion]);
        let bed = Beds::now(self.plan, &self.state).at(middle_mm);
        let law = self.plan.values.plaque_law();
        law.rest_after_mm(&bed, outer_mm, false).max(rest_mm)
    }

    /// What a device has dilated stays partly open. What a stent's own system dilates is left to the stent: the stiffness
    /// of plaque is calibrated by what is open after both.
    pub(super) fn keep_dilated(&mut self, device: usize, to_mm: f64) {
        let shape = &self.plan.devices[device].device;
        if matches!(shape.payload, Some(Payload::Stent(_))) {
            return;
        }
        let bare_from_mm = self.state.bare_from_mm(device);
        for lesion in 0..self.plan.track.lesions.len() {
            let told = &self.plan.track.lesions[lesion];
            let middle_mm = told.middle_mm();
            let stented = self.state.is_stented(told);
            if stented || bare_from_mm > middle_mm || to_mm <= middle_mm {
                continue;
            }
            let left_mm = self.left_after_mm(device, lesion, [middle_mm, to_mm]);
            let outer_mm = shape.max_outer_between(0.0, to_mm - middle_mm);
            if outer_mm > self.state.rest_mm[lesion] {
                self.state.passed_mm[lesion] = self.state.passed_mm[lesion].max(outer_mm);
            }
            self.state.residual_mm[lesion] = self.state.residual_mm[lesion].max(left_mm);
        }
    }

    /// Brings a device up to the place where lesions ask most of it on its way between two tips (mm), and tells where
    /// less arrives there than they ask for. Nothing where it meets none, or most of all where it is to go.
    pub(super) fn pass_lesions(&mut self, device: usize, [from_mm, to_mm]: [f64; 2]) -> Outcome {
        let passages = lesion_passages(self.plan, &self.state, device, [from_mm, to_mm])?;
        let rides_in = |p: &&LesionPassage| p.ledge_mm <= RIDES_IN_MM && p.needed_n > LEAST_N;
        let worst = passages.iter().filter(rides_in);
        let Some(worst) = worst.max_by(|a, b| a.needed_n.total_cmp(&b.needed_n)) else {
            return Ok(());
        };
        let target = [(device, DepthTarget::Tip(worst.tip_mm))];
        let placed = self.placed(&target, Motion::Forward)?;
        if stopped(&placed) {
            self.tell_not_through(device, worst)?;
        } else if worst.tip_mm < to_mm {
            self.take_over(placed, &[device]);
        }
        Ok(())
    }

    /// How much of what a lesion asks for arrives there, by halving.
    fn tell_not_through(&mut self, device: usize, worst: &LesionPassage) -> Outcome {
        const ROUNDS: usize = 6;
        let target = [(device, DepthTarget::Tip(worst.tip_mm))];
        let (mut arrives, mut stops) = (0.0, 1.0);
        for _ in 0..ROUNDS {
            let share = 0.5 * (arrives + stops);
            let placed = self.placer.place_by_share(
                self.plan,
                &self.state,
                &target,
                Motion::Forward,
                share,
            )?;
            if stopped(&placed) {
                stops = share;
            } else {
                arrives = share;
            }
        }
        if arrives <= 0.0 {
            // it comes to no rest whatever the lesion asks for: the move itself tells why
            return Ok(());
        }
        let told = &self.plan.track.lesions[worst.lesion];
        let stacked = &self.plan.devices[device];
        let behind_mm = (worst.tip_mm - told.middle_mm()).max(0.0);
        let outer_mm = stacked.device.max_outer_between(0.0, behind_mm);
        let narrow = Narrow {
            device: stacked.name.clone(),
            outer_mm,
            lesion: told.name.clone(),
            residual_mm: self.state.rest_mm[worst.lesion],
        };
        self.tell(Finding::failure(Lesion::NotThrough {
            narrow,
            needed_n: worst.needed_n,
            arrives_n: arrives * worst.needed_n,
            limit_n: self.plan.rules.hub_force_limit_n,
            balloon_mm: self.balloon_that_leaves_mm(worst.lesion, outer_mm),
            dilated_later: self.dilates_later(),
        }));
        Ok(())
    }
}

/// Whether a push ended before its place: locked up, above the limit, or at no rest.
fn stopped(placed: &StackPlacement) -> bool {
    let stops = |f: &Failure| matches!(f, Failure::LockUp { .. } | Failure::HubForce { .. });
    placed.unsolved.is_some() || placed.failures.iter().any(stops)
}
