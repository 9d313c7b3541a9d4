//! What a step touches: two steps that touch the same thing keep the order of the script.

use crate::procedure::script::{Action, Plan, Region};
use crate::procedure::state::State;
use crate::procedure::steps::Passed;
use std::collections::{BTreeMap, BTreeSet};

/// Something a step may change or rely on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Thing {
    /// Where a device is and what state it is in.
    Device(usize),
    /// What lies in a catheter's lumen.
    Lumen(usize),
    /// Suction on a catheter.
    Suction(usize),
    /// A clip or a tool on a rail.
    OnRail(usize),
    /// A lesion: its lumen, its stents.
    Lesion(usize),
    /// Whether the true lumen beyond a lesion has been shown.
    Shown(usize),
    /// A clot.
    Clot(usize),
    /// Where an image plane looks.
    Plane(usize),
    /// Everything: a wait lets nothing pass.
    Everything,
}

/// What a step relies on and what it changes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Footprint {
    pub(super) relies_on: Vec<Thing>,
    pub(super) changes: Vec<Thing>,
}

impl Footprint {
    pub(super) fn of(plan: &Plan, passed: &Passed, act: &Action) -> Self {
        let mut print = Self {
            relies_on: vec![Thing::Everything],
            changes: Vec::new(),
        };
        if matches!(act, Action::Wait { .. }) {
            print.changes.push(Thing::Everything);
        }
        print.devices(plan, passed);
        print.vessel(plan, passed);
        print.named(plan, passed, act);
        print
    }

    fn devices(&mut self, plan: &Plan, passed: &Passed) {
        let Passed {
            before,
            after,
            effect,
        } = passed;
        for k in 0..plan.devices.len() {
            if before.suction[k] != after.suction[k] {
                self.changes.push(Thing::Suction(k));
                self.relies_on.extend([Thing::Device(k), Thing::Lumen(k)]);
            }
            let (was, is) = (before.in_place[k], after.in_place[k]);
            // what only settles while something else moves has not been touched
            let moved = effect.moves.iter().any(|m| m.device == k);
            let entered = was.map(|p| p.through) != is.map(|p| p.through);
            let acted = before.open[k] != after.open[k] || before.inflated[k] != after.inflated[k];
            if !(moved || entered || acted) {
                continue;
            }
            self.changes.push(Thing::Device(k));
            for state in [before, after] {
                let around = state.in_place[k].map_or_else(Vec::new, |_| state.hubs_passed(k));
                self.relies_on.extend(around.into_iter().map(Thing::Device));
                self.relies_on.extend(state.inside(k).map(Thing::Device));
                for &(rider, rail) in &state.rides {
                    if rider == k {
                        self.relies_on
                            .extend([Thing::Device(rail), Thing::OnRail(rail)]);
                    }
                }
            }
            self.relies_on.push(Thing::OnRail(k));
            if was.is_none() || is.is_none() {
                let hub = was.or(is).and_then(|p| p.through);
                self.changes.extend(hub.map(Thing::Lumen));
            }
        }
    }

    fn vessel(&mut self, plan: &Plan, passed: &Passed) {
        let Passed {
            before,
            after,
            effect,
        } = passed;
        let touched = |from_mm: f64, to_mm: f64| {
            effect
                .moves
                .iter()
                .any(|m| m.from_mm.min(m.to_mm) < to_mm && m.from_mm.max(m.to_mm) > from_mm)
        };
        let new_stents = &after.stents[before.stents.len()..];
        for (i, lesion) in plan.track.lesions.iter().enumerate() {
            let stented = new_stents
                .iter()
                .any(|s| s.proximal_mm < lesion.end_mm && s.distal_mm > lesion.start_mm);
            if stented || changed(before.residual_mm[i], after.residual_mm[i]) {
                self.changes.push(Thing::Lesion(i));
            } else if touched(lesion.start_mm, lesion.end_mm) {
                self.relies_on.push(Thing::Lesion(i));
            }
            if before.true_lumen_shown[i] != after.true_lumen_shown[i] {
                self.changes.push(Thing::Shown(i));
            }
        }
        for (i, clot) in plan.track.clots.iter().enumerate() {
            if before.open != after.open {
                self.changes.push(Thing::Clot(i));
            } else if touched(clot.start_mm, clot.end_mm) {
                self.relies_on.push(Thing::Clot(i));
            }
        }
        for plane in 0..2 {
            if before.watching[plane] != after.watching[plane] {
                self.changes.push(Thing::Plane(plane));
            }
        }
        for m in &effect.moves {
            let region = plan.region_of(m.to_mm);
            if region != Region::Access {
                let watched = planes_on(after, region);
                self.relies_on.extend(watched.map(Thing::Plane));
            }
        }
    }

    /// What only the action's own words tell.
    fn named(&mut self, plan: &Plan, passed: &Passed, act: &Action) {
        let device = |name: &str| plan.device_index(name).map(Thing::Device);
        let lesions = || (0..plan.track.lesions.len()).map(Thing::Lesion);
        match act {
            Action::Contrast { through, region } => {
                if let Some(k) = plan.device_index(through) {
                    self.relies_on
                        .extend([Thing::Device(k), Thing::Lumen(k), Thing::Suction(k)]);
                }
                match region {
                    Region::Access => {}
                    Region::Neck => self.relies_on.extend(lesions()),
                    Region::Head => {
                        let clots = 0..plan.track.clots.len();
                        self.relies_on.extend(clots.map(Thing::Clot));
                    }
                }
                let watched = planes_on(&passed.after, *region).map(Thing::Plane);
                self.relies_on.extend(watched);
            }
            Action::LoadRetriever { retriever, .. } => {
                let shown = (0..plan.track.lesions.len()).map(Thing::Shown);
                self.relies_on.extend(shown);
                self.relies_on
                    .extend(plan.device_index(retriever).map(Thing::OnRail));
            }
            Action::DeployStent { device: d } | Action::Inflate { device: d, .. } => {
                let shown = (0..plan.track.lesions.len()).map(Thing::Shown);
                self.relies_on.extend(shown);
                self.changes.extend(device(d));
            }
            Action::Deflate { device: d } => {
                self.changes.extend(device(d));
                self.relies_on.extend(lesions());
            }
            Action::Attach { rail, .. } => {
                self.changes
                    .extend(plan.device_index(rail).map(Thing::OnRail));
            }
            Action::Detach { part } => {
                let rails = passed.before.attached.iter();
                self.changes.extend(
                    rails
                        .filter(|a| plan.parts[a.0].name == *part)
                        .map(|a| Thing::OnRail(a.1)),
                );
            }
            Action::Roadmap { plane } => self.changes.push(Thing::Plane(plane.index())),
            Action::CheckMarkers { retriever } => self.relies_on.extend(device(retriever)),
            Action::Flush { device: d, .. } => self.changes.extend(device(d)),
            Action::Advance { nose, .. } => {
                self.relies_on.extend(nose.as_ref().and_then(|n| device(n)));
            }
            _ => {}
        }
        if let Some((owner, _)) = act.place().and_then(|name| plan.device_end(name)) {
            self.relies_on.push(Thing::Device(owner));
        }
    }
}

/// Whether two diameters differ at all; they are copies of each other where nothing was done.
fn changed(before_mm: f64, after_mm: f64) -> bool {
    (before_mm - after_mm).abs() > 0.0
}

/// Planes that look at a region.
pub(super) fn planes_on(state: &State, region: Region) -> impl Iterator<Item = usize> + '_ {
    (0..2).filter(move |p| state.watching[*p] == Some(region))
}

/// Who touched a thing last.
#[derive(Debug, Default)]
struct Touched {
    changed_by: Option<usize>,
    /// Since then.
    relied_on_by: Vec<usize>,
}

/// By footprint: the earlier ones it has to wait for. Those that another one of them waits for already are
/// left out, so that long scripts take no longer than in proportion.
pub(super) fn waits(prints: &[Footprint]) -> Vec<Vec<usize>> {
    let mut things: BTreeMap<Thing, Touched> = BTreeMap::new();
    let mut waits = Vec::with_capacity(prints.len());
    for (i, print) in prints.iter().enumerate() {
        let mut earlier = BTreeSet::new();
        for thing in &print.relies_on {
            let touched = things.entry(*thing).or_default();
            earlier.extend(touched.changed_by);
        }
        for thing in &print.changes {
            let touched = things.entry(*thing).or_default();
            earlier.extend(touched.changed_by);
            earlier.extend(&touched.relied_on_by);
        }
        for thing in &print.relies_on {
            let touched = things.entry(*thing).or_default();
            if touched.relied_on_by.last() != Some(&i) {
                touched.relied_on_by.push(i);
            }
        }
        for thing in &print.changes {
            let by_now = Touched {
                changed_by: Some(i),
                relied_on_by: Vec::new(),
            };
            things.insert(*thing, by_now);
        }
        waits.push(earlier.into_iter().collect());
    }
    waits
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Everything each has to wait for, at first hand or not.
    fn all_of(waits: &[Vec<usize>]) -> Vec<BTreeSet<usize>> {
        let mut all: Vec<BTreeSet<usize>> = Vec::new();
        for earlier in waits {
            let mut mine: BTreeSet<usize> = earlier.iter().copied().collect();
            for e in earlier {
                mine.extend(&all[*e]);
            }
            all.push(mine);
        }
        all
    }

    #[test]
    fn property_waits_are_those_of_every_pair() {
        // footprints of a plain recurrence, so that every kind of meeting occurs
        let mut seed = 7_usize;
        let mut next = |below: usize| {
            seed = (seed * 1_103_515_245 + 12_345) % 2_147_483_648;
            (seed / 65_536) % below
        };
        let prints: Vec<Footprint> = (0..300)
            .map(|_| Footprint {
                relies_on: (0..next(3)).map(|_| Thing::Device(next(9))).collect(),
                changes: (0..next(2)).map(|_| Thing::Device(next(9))).collect(),
            })
            .collect();
        let pairs: Vec<Vec<usize>> = (0..prints.len())
            .map(|later| {
                let b = &prints[later];
                let meets = |x: &[Thing], y: &[Thing]| x.iter().any(|thing| y.contains(thing));
                let waits_for = |a: &Footprint| {
                    meets(&a.changes, &b.relies_on)
                        || meets(&a.changes, &b.changes)
                        || meets(&a.relies_on, &b.changes)
                };
                (0..later).filter(|i| waits_for(&prints[*i])).collect()
            })
            .collect();
        let few = waits(&prints);
        assert_eq!(all_of(&few), all_of(&pairs), "another order");
        let count = |waits: &[Vec<usize>]| waits.iter().map(Vec::len).sum::<usize>();
        assert!(
            count(&few) * 3 < count(&pairs),
            "{} of {}",
            count(&few),
            count(&pairs)
        );
    }
}
