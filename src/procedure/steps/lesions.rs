//! A device against what lesions leave, along all of them that it lies in or passes.

use super::stepper::{Outcome, Stepper, stop};
use crate::procedure::edges::device_steps;
use crate::procedure::reason::{Finding, Lesion, Narrow, Precondition};

/// A device this thin slips through a residual lumen without being said to dilate it, mm: the
/// 0.014 in of a wire and its coating.
const WIRE_MM: f64 = 0.4;
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
            let mut stents = self.state.stents.iter();
            if !stents.any(|s| s.proximal_mm < told.end_mm && s.distal_mm > told.start_mm) {
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

    /// A device against what a lesion leaves open, bare from a station to its tip: it dilates a soft one, a
    /// rigid one stops it.
    pub(super) fn tell_lesion(
        &mut self,
        device: usize,
        lesion: usize,
        bare_from_mm: f64,
        to_mm: f64,
    ) {
        let stacked = &self.plan.devices[device];
        // what passes a station is everything from the tip to what lies there in the end
        let passes_mm = |s_mm: f64| stacked.device.max_outer_between(0.0, to_mm - s_mm);
        let tightest = self.tightest_in(lesion, [bare_from_mm, to_mm], passes_mm);
        let Some((outer_mm, residual_mm)) = tightest.filter(|(o, l)| o > l) else {
            return;
        };
        let told = &self.plan.track.lesions[lesion];
        let found = Narrow {
            device: stacked.name.clone(),
            outer_mm,
            lesion: told.name.clone(),
            residual_mm,
        };
        self.tell(if told.rigid {
            Finding::failure(Lesion::RigidRing(found))
        } else if outer_mm <= WIRE_MM {
            Finding::note(Lesion::WireFindsWay(found))
        } else {
            Finding::warning(Lesion::Dilates(found))
        });
    }
}
