//! Several devices pushed forward as one: each its own rod, their hubs held together.

use super::stepper::{Outcome, Stepper, stop};
use crate::procedure::placing::{DepthTarget, Motion, StackPlacement};
use crate::procedure::reason::Finding;
use crate::procedure::reason::{Precondition, Reach, RetrieverNeed};
use crate::procedure::script::Where;
use crate::procedure::state::InPlace;

/// How far hubs that are held together may differ in what they were fed, mm: what a hand does not feel.
const TOGETHER_MM: f64 = 0.5;
/// Rounds in which the length that all are fed is found. Each leaves a few hundredths of the last miss: devices
/// cut corners alike.
const ROUNDS: usize = 3;

/// A device of a unit and where it is.
type Member = (usize, InPlace);

impl Stepper<'_> {
    pub(super) fn advance_together(&mut self, names: &[String], to: &Where) -> Outcome {
        let unit = names
            .iter()
            .map(|name| self.in_body(name))
            .collect::<Outcome<Vec<_>>>()?;
        let (lead, lead_at) = unit[0];
        for (device, _) in &unit {
            self.check_free_to_move(*device)?;
            if self.state.open[*device] {
                return stop(RetrieverNeed::OpenPushedForward {
                    device: self.name(*device),
                });
            }
        }
        let to_mm = self.resolve(to, lead, lead_at.tip_mm, true)?;
        if to_mm < lead_at.tip_mm {
            return stop(Precondition::BeyondPlace {
                device: names[0].clone(),
                beyond_mm: lead_at.tip_mm - to_mm,
            });
        }
        let placed = self.feed_together(&unit, to_mm)?;
        for (device, at) in &unit {
            let reached_mm = placed.tip_mm[*device].unwrap_or(at.tip_mm);
            self.tell_on_the_way(*device, *at, reached_mm)?;
            self.keep_dilated(*device, reached_mm);
        }
        let members: Vec<usize> = unit.iter().map(|member| member.0).collect();
        self.take_over(placed, &members);
        for device in &members {
            self.tell_unengaged(*device);
        }
        Ok(())
    }

    /// Feeds every member by the same length, so that the first one's tip comes to a place, or as far as
    /// the shortest of them lets it.
    fn feed_together(&mut self, unit: &[Member], to_mm: f64) -> Outcome<StackPlacement> {
        let (lead, lead_at) = unit[0];
        let end_mm = self.plan.track.length_mm();
        let mut by_mm = to_mm - lead_at.tip_mm;
        let mut rounds = 0;
        loop {
            let (most_mm, shortest) = self.most_together_mm(unit);
            let mut targets = vec![(lead, DepthTarget::Tip(to_mm.min(end_mm)))];
            targets.extend(fed(&unit[1..], by_mm));
            let placed = self.placed(&targets, Motion::Forward)?;
            let found_mm = placed.fed_mm[lead].map_or(by_mm, |fed_mm| fed_mm - lead_at.fed_mm);
            if found_mm > most_mm + TOGETHER_MM {
                let all: Vec<_> = fed(unit, most_mm).collect();
                let placed = self.placed(&all, Motion::Forward)?;
                self.tell_unit_short(shortest, to_mm, placed.tip_mm[lead].unwrap_or(to_mm));
                return Ok(placed);
            }
            rounds += 1;
            if (found_mm - by_mm).abs() <= TOGETHER_MM || rounds == ROUNDS {
                return Ok(placed);
            }
            by_mm = found_mm;
        }
    }

    /// Most that all can be fed, mm, and which of them has no more: those that go through a hub outside the
    /// unit run up against it.
    fn most_together_mm(&self, unit: &[Member]) -> (f64, usize) {
        let outer = unit.iter().filter(|(_, at)| {
            let through = at.through;
            !unit.iter().any(|(k, _)| through == Some(*k))
        });
        outer
            .map(|(k, at)| (self.most_fed_mm(*k, *at) - at.fed_mm, *k))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap_or((f64::INFINITY, unit[0].0))
    }

    fn tell_unit_short(&mut self, device: usize, wished_mm: f64, furthest_mm: f64) {
        let stacked = &self.plan.devices[device];
        self.tell(Finding::failure(Reach::TooShort {
            device: stacked.name.clone(),
            reaches: self.plan.spot(furthest_mm),
            short_mm: wished_mm - furthest_mm,
            usable_mm: stacked.device.usable_length_mm,
            grip_mm: stacked.is_rail().then(|| stacked.grip_mm(&self.plan.rules)),
            around: None,
            sheath: self.state.in_place[device]
                .and_then(|at| self.short_sheath_around(at))
                .map(|outer| self.name(outer)),
        }));
    }
}

/// Targets of devices that are all fed on by the same length.
fn fed(unit: &[Member], by_mm: f64) -> impl Iterator<Item = (usize, DepthTarget)> + '_ {
    let on = move |(k, at): &Member| (*k, DepthTarget::Fed(at.fed_mm + by_mm));
    unit.iter().map(on)
}
