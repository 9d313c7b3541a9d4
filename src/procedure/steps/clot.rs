//! Clot in an open retriever on its way out: whether it is stripped off where that is narrow.

use super::stepper::{Outcome, Stepper};
use crate::device::{Payload, RetrieverSpec};
use crate::mechanics::{BareStretch, retriever_pull_n};
use crate::procedure::reason::{Finding, Likelihood, Narrowing, Retrieving, Severity};
use crate::procedure::state::State;

/// Diameter of clot and struts over that of a lumen from which clot may be stripped off, and from which it likely is:
/// clot fills its artery, and gives way to two thirds of its diameter (assumed; no rate of stripping is known).
const STRIPS: (f64, f64) = (1.0, 1.5);
/// Spacing at which lumens are looked at, mm.
const LOOK_MM: f64 = 0.5;

/// The narrowest place of a way.
struct Narrowest {
    through: Narrowing,
    s_mm: f64,
    lumen_mm: f64,
}

impl Stepper<'_> {
    /// What an open retriever with clot in it is drawn through, `members` moving together by `by_mm` from where they lie.
    pub(super) fn tell_clot_drawn(&mut self, members: &[usize], by_mm: f64) -> Outcome {
        let open: Vec<usize> = members
            .iter()
            .copied()
            .filter(|k| self.state.open[*k])
            .collect();
        for device in open {
            let Some(Payload::Retriever(spec)) = self.plan.devices[device].device.payload.clone()
            else {
                continue;
            };
            let Some(clot) = self.plan.track.clots.first() else {
                continue;
            };
            let clot_mm = (self.plan.track).healthy_diameter_at(
                0.5 * (clot.start_mm + clot.end_mm.min(self.plan.track.length_mm())),
            );
            let Some(cord_mm) = State::folded_mm(self.plan, device)
                .map(|folded_mm| crate::math::hypot(clot_mm, folded_mm))
            else {
                continue;
            };
            let Some(narrowest) = self.narrowest(device, members, by_mm) else {
                continue;
            };
            let stripped = likelihood(cord_mm / narrowest.lumen_mm);
            let severity = match (stripped, &narrowest.through) {
                (Likelihood::Unlikely, _) => continue,
                (Likelihood::Possible, Narrowing::Mouth(_)) => Severity::Note,
                (Likelihood::Likely, Narrowing::Lesion(_)) => Severity::Failure,
                _ => Severity::Warning,
            };
            let drag_n = self.drag_n(&spec, &narrowest)?;
            let found = Retrieving::ClotThroughNarrow {
                device: self.name(device),
                through: narrowest.through,
                lumen_mm: narrowest.lumen_mm,
                cord_mm,
                drag_n,
                stripped,
            };
            self.tell(Finding::new(severity, found));
        }
        Ok(())
    }

    /// The narrowest lumen that what lies bare of a retriever is drawn through.
    fn narrowest(&self, device: usize, members: &[usize], by_mm: f64) -> Option<Narrowest> {
        let near_mm = self.state.retriever_proximal_mm(self.plan, device)?;
        let far_mm = self.state.distal_end_mm(self.plan, device)?;
        let around = self.state.hubs_passed(device);
        let furthest = |with_it: bool| {
            let tips = around.iter().filter(|k| members.contains(k) == with_it);
            let tips = tips.filter_map(|k| Some((*k, self.state.tip_mm(*k)?)));
            tips.max_by(|a, b| a.1.total_cmp(&b.1))
        };
        let covered_mm = furthest(true).map_or(near_mm, |(_, tip_mm)| tip_mm.max(near_mm));
        let stays = furthest(false);
        let swallowed_mm = stays.map_or(self.plan.hub_station_mm(), |(_, tip_mm)| tip_mm);
        let lowest_mm = (covered_mm - by_mm).max(swallowed_mm).max(0.0);
        // where it lies it is not drawn through anything
        let mut narrowest: Option<Narrowest> = None;
        let mut s_mm = lowest_mm;
        while s_mm < covered_mm.min(far_mm) {
            let (lumen_mm, lesion) = self.lumen_now_mm(s_mm);
            if narrowest.as_ref().is_none_or(|n| lumen_mm < n.lumen_mm) {
                let through = lesion.map_or(Narrowing::Vessel, |lesion| {
                    Narrowing::Lesion(self.plan.track.lesions[lesion].name.clone())
                });
                narrowest = Some(Narrowest {
                    through,
                    s_mm,
                    lumen_mm,
                });
            }
            s_mm += LOOK_MM;
        }
        let Some((catheter, tip_mm)) = stays.filter(|s| covered_mm - by_mm < s.1 && far_mm > s.1)
        else {
            return narrowest;
        };
        let mouth_mm = self.plan.devices[catheter]
            .device
            .section_at(0.0)
            .inner_mm?;
        if narrowest.as_ref().is_none_or(|n| mouth_mm < n.lumen_mm) {
            narrowest = Some(Narrowest {
                through: Narrowing::Mouth(self.name(catheter)),
                s_mm: tip_mm,
                lumen_mm: mouth_mm,
            });
        }
        narrowest
    }

    /// Lumen at a station as it is now, mm, and the lesion that narrows it.
    fn lumen_now_mm(&self, s_mm: f64) -> (f64, Option<usize>) {
        let open_mm = self.state.lumen_at_mm(self.plan, s_mm);
        let stented = self
            .state
            .stents
            .iter()
            .any(|s| s.diameter_at_mm(s_mm).is_some());
        let lesions = self.plan.track.lesions.iter().enumerate();
        let here = lesions.filter(|(_, l)| s_mm > l.start_mm && s_mm < l.end_mm);
        here.map(|(i, _)| match stented {
            true => (open_mm, Some(i)),
            false => (self.state.lesion_lumen_mm(self.plan, i, s_mm), Some(i)),
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap_or((open_mm, None))
    }

    /// What a retriever's own push rubs with where it lies over the narrowest place, N.
    fn drag_n(&self, spec: &RetrieverSpec, narrowest: &Narrowest) -> Outcome<f64> {
        let half_mm = 0.5 * spec.folded_length_mm;
        let mut stretches = Vec::new();
        let mut s_mm = narrowest.s_mm - half_mm;
        while s_mm < narrowest.s_mm + half_mm {
            let lumen_mm = match narrowest.through {
                Narrowing::Mouth(_) if s_mm < narrowest.s_mm => narrowest.lumen_mm,
                _ => self.lumen_now_mm(s_mm).0,
            };
            stretches.push(BareStretch {
                length_mm: LOOK_MM,
                outward_n_per_mm: spec.outward_n_per_mm(lumen_mm),
                on_clot: false,
            });
            s_mm += LOOK_MM;
        }
        Ok(
            retriever_pull_n(&stretches, &self.plan.values.friction.sliding())?
                .iter()
                .sum(),
        )
    }
}

fn likelihood(ratio: f64) -> Likelihood {
    match ratio {
        r if r <= STRIPS.0 => Likelihood::Unlikely,
        r if r <= STRIPS.1 => Likelihood::Possible,
        _ => Likelihood::Likely,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_a_cord_against_a_lumen() {
        for (ratio, word) in [
            (0.9, Likelihood::Unlikely),
            (1.1, Likelihood::Possible),
            (1.6, Likelihood::Likely),
        ] {
            assert_eq!(likelihood(ratio), word, "{ratio}");
        }
    }
}
